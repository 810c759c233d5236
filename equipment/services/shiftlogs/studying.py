"""One log by itself, read to its end: known, asked about, refused, or studied whole."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, timedelta
from typing import BinaryIO, Final
from zoneinfo import ZoneInfo

from equipment.models import LogContradiction, Rig, ShiftDay, ShiftLog
from equipment.services.shiftlogs.facts import RigOfTheTime
from equipment.services.shiftlogs.files import Source, SourceRefused
from equipment.services.shiftlogs.keeping import day_of
from equipment.services.shiftlogs.outcome import (
    ASKS,
    KNOWN,
    REFUSED,
    BadRow,
    Outcome,
    Progress,
    no_progress,
)
from equipment.services.shiftlogs.packing import Packing
from equipment.services.shiftlogs.reckoning import (
    Piece,
    Together,
    fit_days,
    watched,
)
from equipment.shiftlogs.blocks import Day, RigFacts, Rules
from equipment.shiftlogs.days import reckoning as pure
from equipment.shiftlogs.guessing import doubts, guess, text
from equipment.shiftlogs.layout import (
    OTHER,
    RUNNING,
    AnswerRefused,
    Layout,
    LogRefused,
    Question,
)
from equipment.shiftlogs.reading import stream as reading

#: A layout whose date order turns out wrong is guessed anew, but not for ever.
GUESSES: Final = 3
SKIP: Final = "skip"
REFUSE: Final = "refuse"
#: A larger file is not read twice for a picture of a guess. [bytes]
DRAWN_AS_GUESSED: Final = 16 * 1024**2
EPOCH: Final = datetime(1970, 1, 1, tzinfo=UTC)


@dataclass(frozen=True, slots=True)
class Study:
    """A log that was read to its end, with every question answered.

    days: as this file alone tells them, by date.
    """

    source: Source
    digest: str
    size: int
    layout: Layout
    answers: Mapping[str, str]
    days: Mapping[date, Day]
    rows: int
    bad_rows: int
    bad_rows_shown: tuple[BadRow, ...]
    notes: tuple[str, ...]
    preview: tuple[tuple[str, ...], ...]

    @property
    def first_at(self) -> datetime:
        return min(day.first_at for day in self.days.values())

    @property
    def last_at(self) -> datetime:
        return max(day.last_at for day in self.days.values())

    @property
    def piece(self) -> Piece:
        return Piece(self.source.open, self.layout, self.answers, self.size)


class Stopped(Exception):
    """The log goes no further; the outcome says why."""

    def __init__(self, outcome: Outcome) -> None:
        self.outcome = outcome
        super().__init__(outcome.reason)


def study_source(
    *,
    rig: RigOfTheTime,
    source: Source,
    at: datetime,
    rules: Rules,
    answers: Mapping[str, str],
    layout: Layout | None,
    packing: Packing,
    progress: Progress,
) -> Study:
    """Read a log to its end. Raises Stopped where it is known, asks something or is refused;
    AnswerRefused.

    packing: what is to hash the file meanwhile, and to keep a copy of it.
    """
    try:
        with source.open() as content:
            progress("Looking whether it was read before", 0.0)
            packing.begin(content)
            try:
                return _study(rig, source, content, packing, at, rules, answers, layout, progress)
            except (LogRefused, AnswerRefused):
                # What was read before is known, whatever is said of it now.
                refuse_twice(rig.rig, packing.digest, source.name, rig.zone)
                raise
    except (LogRefused, SourceRefused) as refused:
        raise Stopped(Outcome(source.name, REFUSED, str(refused))) from refused
    except OSError as unread:
        why = f"It cannot be read: {(unread.strerror or str(unread)).lower()}."
        raise Stopped(Outcome(source.name, REFUSED, why)) from unread


def refuse_twice(rig: Rig, digest: str, name: str, zone: ZoneInfo) -> None:
    """Stop where the very same file was read before: for this rig it is known, else refused."""
    log = ShiftLog.objects.in_force().select_related("rig", "author").filter(digest=digest).first()
    if log is None:
        return
    when = log.at.astimezone(zone)
    read = f"by {log.author} on {when.day} {when:%b %Y}, as “{log.name}”"
    if log.rig_id != rig.pk:
        raise Stopped(
            Outcome(name, REFUSED, f"This file was read as a log of rig {log.rig}, {read}.")
        )
    raise Stopped(known(log, name, f"This file was read before, {read}. Nothing changes.", zone))


def known(log: ShiftLog, name: str, reason: str, zone: ZoneInfo) -> Outcome:
    """The outcome of a file that was read before: its days as they stand."""
    rows = list(ShiftDay.objects.filter(logs=log).order_by("date"))
    return Outcome(
        name,
        KNOWN,
        reason,
        days=tuple(day_of(row, zone) for row in rows),
        contradictions=open_contradictions(log.rig, [row.date for row in rows]),
        layout=log.kept,
        notes=tuple(log.notes),
        rows=log.rows,
        bad_rows=log.bad_rows,
        bad_rows_shown=tuple(BadRow(**each) for each in log.bad_rows_shown),
        log=log,
    )


def open_contradictions(rig: Rig, dates: Iterable[date]) -> tuple[LogContradiction, ...]:
    """What is not settled about these days of a rig."""
    return tuple(
        rig.log_contradictions.open()
        .select_related("counter", "against")
        .filter(date__in=list(dates))
        .order_by("at", "pk")
    )


def _study(
    rig: RigOfTheTime,
    source: Source,
    content: BinaryIO,
    packing: Packing,
    at: datetime,
    rules: Rules,
    answers: Mapping[str, str],
    layout: Layout | None,
    progress: Progress,
) -> Study:
    sample = text.sample_of(content)
    facts = rig.at(at)
    evidence = None
    for _ in range(GUESSES):
        understood = guess.understand(
            sample, facts=facts, answers=answers, layout=layout, evidence=evidence,
            name=source.name,
        )  # fmt: skip
        refuse_twice(rig.rig, packing.digest, source.name, rig.zone)
        so_far = Outcome(
            source.name,
            ASKS,
            questions=understood.questions,
            layout=understood.layout,
            notes=understood.notes,
            preview=understood.preview,
        )
        if understood.questions:
            days = _as_guessed(content, understood.layout, rig, facts, rules, answers, packing.size)
            raise Stopped(replace(so_far, days=days))
        layout_found, kept = understood.layout, dict(answers)
        if understood.date is not None:
            kept["date"] = understood.date.isoformat()
        reader, reckoned, facts = _read(
            content, layout_found, rig, facts, rules, kept, packing.size, progress
        )
        if not reader.misfit:
            break
        evidence = guess.Evidence((reader.misfit_cell,))
    else:
        raise LogRefused(reader.misfit)
    bad = tuple(BadRow(each.line, each.text, each.reason) for each in reader.bad.shown)
    so_far = replace(so_far, rows=reader.rows, bad_rows=reader.bad.count, bad_rows_shown=bad)
    questions = (
        *_about_bad_rows(so_far, answers),
        *_about_states(reader, answers),
        *reckoned.questions,
    )
    if questions:
        raise Stopped(replace(so_far, questions=questions, days=tuple(reckoned.days)))
    if not reckoned.days:
        raise LogRefused("Not one row of it can be read.")
    together = Together({day.date: day for day in reckoned.days})
    fit_days(
        together,
        facts,
        rig,
        lambda other: _read(
            content, layout_found, rig, other, rules, kept, packing.size, progress, fixed=True
        )[1],
    )
    return Study(
        source=source,
        digest=packing.digest,
        size=packing.size,
        layout=layout_found,
        answers=kept,
        days=together.days,
        rows=reader.rows,
        bad_rows=reader.bad.count,
        bad_rows_shown=bad,
        notes=(*understood.notes, *reckoned.notes),
        preview=understood.preview,
    )


def _read(
    content: BinaryIO,
    layout: Layout,
    rig: RigOfTheTime,
    facts: RigFacts,
    rules: Rules,
    answers: Mapping[str, str],
    size: int,
    progress: Progress,
    *,
    fixed: bool = False,
) -> tuple[reading.Reader, pure.Reckoned, RigFacts]:
    """Read and reckon; unless fixed, with the pumps of the first row. Returns these facts too."""
    content.seek(0)
    reader = reading.read(content, layout, facts=facts, answers=answers, date=doubts.day(answers))
    reckoner: pure.Reckoner | None = None
    for block in watched(reader, content, size, "Reading the rows", progress):
        if reckoner is None:
            if not fixed:
                facts = rig.at(instant(block.instant_us[0]))
            reckoner = pure.Reckoner(facts, rules, answers)
        reckoner.add(block)
    reckoned = reckoner.close() if reckoner else pure.Reckoned(days=[])
    return reader, reckoned, facts


def _as_guessed(
    content: BinaryIO,
    layout: Layout,
    rig: RigOfTheTime,
    facts: RigFacts,
    rules: Rules,
    answers: Mapping[str, str],
    size: int,
) -> tuple[Day, ...]:
    """The days as they would be if the guess held: for a picture beside the questions, no more."""
    if size > DRAWN_AS_GUESSED:
        return ()
    try:
        _, reckoned, _ = _read(content, layout, rig, facts, rules, answers, size, no_progress)
    except (LogRefused, AnswerRefused):
        return ()
    return tuple(reckoned.days)


def instant(microseconds: int) -> datetime:
    """An instant of a block as a datetime, in UTC."""
    return EPOCH + timedelta(microseconds=int(microseconds))


def _about_states(reader: reading.Reader, answers: Mapping[str, str]) -> tuple[Question, ...]:
    """Ask what words mean that say neither that the rig runs nor that it stands."""
    column = reader.layout.column(RUNNING)
    if not reader.unknown_states or column is None or answers.get("columns"):
        return ()
    place = column.index + 1
    words = named(sorted(reader.unknown_states)[:5])
    return (
        Question(
            "columns",
            (
                (f"{place}={RUNNING}", "the rig runs then"),
                (f"{place}={OTHER}", "leave the column out: all logged time without gaps counts"),
            ),
            f"Column {place} ({column.heading or 'without heading'}) says whether the rig runs, "
            f"and it is not known what {words} means.",
        ),
    )


def _about_bad_rows(so_far: Outcome, answers: Mapping[str, str]) -> tuple[Question, ...]:
    """Ask whether bad rows may be left out. Raises LogRefused where a person said no."""
    if not so_far.bad_rows:
        return ()
    many = so_far.bad_rows > 1
    rows = f"{so_far.bad_rows:,} rows" if many else "1 row"
    said = answers.get("bad_rows", "").strip().casefold()
    if said in ("skip", "yes", "leave out"):
        return ()
    if said in ("refuse", "no"):
        raise LogRefused(f"{rows} cannot be read, and nothing was to be left out.")
    if said:
        raise AnswerRefused("bad_rows", f"“{said}” is no answer here. Say skip or refuse.")
    first = so_far.bad_rows_shown[0]
    return (
        Question(
            key="bad_rows",
            choices=(
                (SKIP, f"Leave {'them' if many else 'it'} out, and read the rest"),
                (REFUSE, "Do not read this file"),
            ),
            why=f"{rows} of {so_far.rows + so_far.bad_rows:,} cannot be read. "
            f"The first is line {first.line:,}: {first.reason}",
        ),
    )


def named(names: Sequence[str]) -> str:
    quoted = [f"“{name}”" for name in names]
    return quoted[0] if len(quoted) == 1 else f"{', '.join(quoted[:-1])} and {quoted[-1]}"
