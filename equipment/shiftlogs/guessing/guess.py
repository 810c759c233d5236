"""A layout for a file that nobody has seen, and the questions that its text leaves open.

Headings are asked first, values are the check. What the file leaves in real doubt becomes a
question; nothing is decided in silence.
"""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, time, timedelta

from equipment.shiftlogs.blocks import RigFacts
from equipment.shiftlogs.guessing import doubts
from equipment.shiftlogs.guessing.cells import MISSING, plain, read_date, read_moment
from equipment.shiftlogs.guessing.columns import Found, look
from equipment.shiftlogs.guessing.moments import Decided, Seen, decide, moment_of, see
from equipment.shiftlogs.guessing.preamble import Said, hear
from equipment.shiftlogs.guessing.roles import assign
from equipment.shiftlogs.guessing.scales import out_of_range
from equipment.shiftlogs.guessing.table import Table, find_table
from equipment.shiftlogs.guessing.text import Sample, lines_of, sample_of
from equipment.shiftlogs.guessing.timing import Timing, find_timing
from equipment.shiftlogs.guessing.which_side import languages
from equipment.shiftlogs.guessing.zone_names import named, offset_of
from equipment.shiftlogs.layout import AnswerRefused, Column, Layout, LogRefused, Question

__all__ = ["Evidence", "Sample", "Understanding", "sample_of", "understand"]


@dataclass(frozen=True, slots=True)
class Evidence:
    """What a complete read found that the sample did not show.

    cells: cells of the columns of time in file order (date and time in one, or the date alone),
        each beside the one that follows it: those that do not fit the layout, and the pairs at
        which the date changes. Date and time of two columns are joined by a blank.
    """

    cells: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Understanding:
    """What is made of a file.

    layout: the best guess. questions: open ones; () = sure. notes: what was decided and why.
    preview: the first rows of data as cells. first_line: number of the first of them, 1 first.
    headings: over each column, () where the file has none.
    date: of a log whose rows have none; a datetime where the log counts from a moment.
    """

    layout: Layout
    questions: tuple[Question, ...]
    notes: tuple[str, ...]
    preview: tuple[tuple[str, ...], ...]
    first_line: int
    headings: tuple[str, ...]
    date: date | datetime | None = None


def understand(
    sample: Sample,
    *,
    facts: RigFacts,
    answers: Mapping[str, str],
    layout: Layout | None = None,
    evidence: Evidence | None = None,
    name: str = "",
) -> Understanding:
    """Return what is made of a file.

    sample: of its bytes. facts: of the rig; its zone is the shop's. answers: by key of a question.
    layout: known, for a file with the same headings. evidence: of a complete read. name: of the
    file, for a suggestion only.
    Raises LogRefused for what is no log, or does not fit `layout`; AnswerRefused.
    """
    lines = lines_of(sample)
    table = find_table(lines)
    found, decimal, grouping = look(table)
    said = hear(table, name)
    notes: list[str] = []
    questions: list[Question] = []

    given = doubts.columns(answers, table.headings, table.width)
    if layout is not None:
        given = _by_layout(layout, table) | (given or {})
    try:
        timing = find_timing(table, found, given)
    except AnswerRefused as refusal:
        if layout is not None and "columns" not in answers:
            raise LogRefused(f"The layout does not fit: {refusal}") from refusal
        raise
    stretches = [
        see(
            rows,
            moment=timing.moment,
            day=timing.day,
            clock=timing.clock,
        )
        for rows in (table.rows, *table.later)
    ]
    if evidence and evidence.cells:
        stretches.append(_evidence(evidence))
    decided = decide(stretches, (*said.days, *timing.hints(facts)))
    if timing.order:
        decided = replace(decided, orders=(timing.order,), why="headings name year, month and day")
    order = _date_order(decided, answers, layout, _is_foreign(found), questions, notes)
    roles = assign(
        table, found, timing, said, answers, given=given, is_backward=decided.is_backward
    )
    questions = [*roles.questions, *questions]
    clock = _clock(decided, answers, layout, questions)
    zone = _zone(decided, timing, stretches, said, answers, layout, facts, order, questions)
    on = _date(timing, said, answers, facts, questions, name)
    made = Layout(
        encoding=lines.encoding,
        delimiter=table.delimiter,
        decimal=decimal,
        grouping=grouping,
        header_line=table.header_line,
        width=table.width,
        columns=roles.columns,
        date_order=order,
        clock=clock,
        zone=zone,
        newest_first=decided.is_backward or timing.is_backward,
        missing=MISSING,
        out_of_range=out_of_range(roles.columns, found),
        is_order_sure=decided.is_sure,
    )
    if layout is not None:
        questions = [each for each in questions if each.key in ("date", "date_order", "clock")]
    notes += [*roles.notes, *([f"Dates: {decided.why}."] if decided.why and order else [])]
    return Understanding(
        layout=made,
        questions=tuple(questions),
        notes=tuple(notes),
        preview=tuple(tuple(row) for row in table.rows[:20]),
        first_line=table.first,
        headings=table.headings,
        date=on,
    )


_DOTTED = re.compile(r"\d\.\s?\d{1,2}\.\s?\d{4}")


def _is_foreign(found: Sequence[Found]) -> bool:
    score = languages(found)
    return max(score.values(), default=0) > score.get("en", 0) + 0.9


def _evidence(evidence: Evidence) -> Seen:
    seen = Seen()
    for text in evidence.cells:
        both = read_moment(text)
        day = both[0] if both else read_date(text)
        if day:
            seen.days.append(day)
            seen.clocks.append(both[1] if both else None)
            seen.texts.append(text)
    return seen


def _date_order(
    decided: Decided,
    answers: Mapping[str, str],
    layout: Layout | None,
    is_foreign: bool,
    questions: list[Question],
    notes: list[str],
) -> str:
    if not decided.orders:
        return ""
    if decided.contradiction:
        raise LogRefused(f"The dates are not all written in one order: {decided.contradiction}.")
    if layout is not None and layout.date_order and layout.is_order_sure:
        if layout.date_order not in decided.orders:
            raise LogRefused(
                f"The layout does not fit: its dates are {doubts.ORDER_WORDS[layout.date_order]}, "
                f"and in this file {decided.why}."
            )
        return layout.date_order
    if answer := doubts.date_order(answers):
        if answer not in decided.orders:
            words = doubts.ORDER_WORDS[decided.orders[0]]
            raise doubts.AnswerRefused(
                "date_order", f"The dates in this file can only be {words}: {decided.why}."
            )
        return answer
    if is_foreign and decided.orders == ("dmy", "mdy") and _DOTTED.search(decided.example):
        notes.append("Dates with dots are day first where the headings are not English.")
        return "dmy"
    if len(decided.orders) > 1 and decided.example:
        questions.append(doubts.ask_date_order(decided.orders, decided.example))
    return decided.orders[0]


def _clock(
    decided: Decided,
    answers: Mapping[str, str],
    layout: Layout | None,
    questions: list[Question],
) -> str:
    if decided.is_twelve:
        return "12"
    if answer := doubts.clock(answers):
        return answer
    # A layout knows that its clock has 12 hours, and not in which half of the day a file begins.
    if decided.wraps or (layout is not None and layout.clock in ("12am", "12pm")):
        questions.append(doubts.ask_clock(decided.wraps))
    return "24"


def _zone(
    decided: Decided,
    timing: Timing,
    stretches: Sequence[Seen],
    said: Said,
    answers: Mapping[str, str],
    layout: Layout | None,
    facts: RigFacts,
    order: str,
    questions: list[Question],
) -> str:
    if (answer := doubts.zone(answers)) is not None:
        return answer
    if timing.is_epoch:
        return "UTC"
    if (other := _by_epoch(timing, stretches, facts, order)) is not None and not decided.zones:
        questions.append(doubts.ask_zone_by_epoch(other, facts.zone.key))
        return ""
    written = decided.zones or timing.zones or ((said.zone,) if said.zone else ())
    if not written:
        return layout.zone if layout is not None else ""
    if len(written) > 1 and all(map(offset_of, written)):
        return ""  # each row says its own
    found = named(written, shop=facts.zone, days=timing.dates(order) or said.days)
    if found.zone is not None:
        return found.zone
    if layout is not None and layout.zone:
        return layout.zone
    questions.append(doubts.ask_zone(", ".join(written), found.choices))
    return ""


def _by_epoch(timing: Timing, stretches: Sequence[Seen], facts: RigFacts, order: str) -> str | None:
    """Return the offset that an epoch beside the wall time tells, if it is not the shop's."""
    seen = next((each for each in stretches if each.days), None)
    if seen is None or (cell := seen.days[0]) is None or (clock := seen.clocks[0]) is None:
        return None
    if (on := cell.day(order)) is None:
        return None
    wall = datetime.combine(on, time()) + timedelta(microseconds=clock.us)
    if (ahead := timing.ahead(wall)) is None:
        return None
    own = wall.replace(tzinfo=facts.zone).utcoffset() or timedelta()
    minutes = round(ahead.total_seconds() / 900) * 15
    if abs(minutes) > 14 * 60 or abs(own - ahead) < timedelta(minutes=10):
        return None
    return f"{'-' if minutes < 0 else '+'}{abs(minutes) // 60:02d}:{abs(minutes) % 60:02d}"


def _date(
    timing: Timing,
    said: Said,
    answers: Mapping[str, str],
    facts: RigFacts,
    questions: list[Question],
    name: str,
) -> date | datetime | None:
    if not timing.needs_date:
        return None
    answer = doubts.day(answers)
    if isinstance(answer, datetime) and answer.tzinfo:
        answer = answer.astimezone(facts.zone).replace(tzinfo=None)
    start = said.start or (moment_of(timing.start) if timing.start else None)
    if isinstance(start, datetime) and start.tzinfo:
        start = start.astimezone(facts.zone).replace(tzinfo=None)
    if start is not None and answer is None:
        return start if timing.is_elapsed else _only_date(start)
    if answer is not None:
        if timing.is_elapsed and not isinstance(answer, datetime) and said.start_clock is not None:
            return datetime.combine(answer, said.start_clock)
        return answer if timing.is_elapsed else _only_date(answer)
    questions.append(
        doubts.ask_date(said.why_no_date(name, is_elapsed=timing.is_elapsed), said.date_choices())
    )
    return None


def _only_date(moment: date | datetime) -> date:
    return moment.date() if isinstance(moment, datetime) else moment


def _by_layout(layout: Layout, table: Table) -> dict[int, tuple[str, str]]:
    """Return role and unit by place, for a file that has the headings of a layout."""
    return {each.index: (each.role, each.unit) for each in _same_columns(layout, table)}


def _same_columns(layout: Layout, table: Table) -> tuple[Column, ...]:
    if table.width != layout.width:
        raise LogRefused(
            f"The layout does not fit: it has {layout.width} columns, this file has {table.width}."
        )
    if bool(layout.header_line) != bool(table.headings):
        has = "no headings" if not table.headings else "headings"
        raise LogRefused(f"The layout does not fit: this file has {has}, unlike the layout's.")
    if not table.headings:
        return layout.columns
    free: dict[str, list[int]] = {}
    for at, text in enumerate(table.headings):
        free.setdefault(plain(text), []).append(at)
    placed = []
    for column in layout.columns:
        places = free.get(plain(column.heading))
        if not places:
            raise LogRefused(
                f"The layout does not fit: this file has no column “{column.heading}”."
            )
        at = places.pop(0)
        placed.append(replace(column, index=at, heading=table.headings[at]))
    return tuple(sorted(placed, key=lambda each: each.index))
