"""Looking at a log: what it says beside the other logs of its rig, and nothing written."""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import replace
from datetime import date, datetime
from types import MappingProxyType
from typing import BinaryIO, Final
from zoneinfo import ZoneInfo

from equipment.models import Rig, ShiftLog
from equipment.services.shiftlogs.facts import RigOfTheTime, matched, rig_of_the_time, unmatched
from equipment.services.shiftlogs.files import Source, as_source
from equipment.services.shiftlogs.outcome import (
    ASKS,
    KNOWN,
    READ,
    Outcome,
    Progress,
    no_progress,
)
from equipment.services.shiftlogs.packing import Packing
from equipment.services.shiftlogs.reckoning import (
    ONE_DAY,
    Together,
    piece_of,
    reckon,
)
from equipment.services.shiftlogs.studying import Stopped, Study, named, study_source
from equipment.shiftlogs.blocks import Rules
from equipment.shiftlogs.layout import (
    TOTALS,
    Layout,
)

NO_ANSWERS: Final[Mapping[str, str]] = MappingProxyType({})


def look_at(
    *,
    rig: Rig,
    source: Source | BinaryIO,
    now: datetime,
    zone: ZoneInfo,
    rules: Rules,
    name: str = "",
    answers: Mapping[str, str] = NO_ANSWERS,
    layout: Layout | None = None,
    progress: Progress = no_progress,
) -> Outcome:
    """Read a log to its end and say what would come of it; nothing is written.

    source: opened by its name, or something open and seekable, called `name`. answers: to
    questions, by key. layout: how it is written, as a person corrected or kept it; None: it is
    guessed. Raises AnswerRefused for an answer that is none of the choices.
    """
    try:
        _, outcome = look_closely(
            rig=rig, source=as_source(source, name), at=now, zone=zone, rules=rules,
            answers=answers, layout=layout, beside=(), progress=progress,
        )  # fmt: skip
    except Stopped as stopped:
        return stopped.outcome
    return outcome


def look_closely(
    *,
    rig: Rig,
    source: Source,
    at: datetime,
    zone: ZoneInfo,
    rules: Rules,
    answers: Mapping[str, str],
    layout: Layout | None,
    beside: Sequence[Study],
    progress: Progress,
) -> tuple[Study, Outcome]:
    """As `look_at`, and return what it found, to be looked beside.

    beside: logs looked at before it, as if they had been read. Raises Stopped, AnswerRefused.
    """
    facts = rig_of_the_time(rig, zone)
    with Packing(keeps=False) as packing:
        study = study_source(
            rig=facts, source=source, at=at, rules=rules, answers=answers, layout=layout,
            packing=packing, progress=progress,
        )  # fmt: skip
    if any(study.digest == each.digest for each in beside):
        raise Stopped(Outcome(source.name, KNOWN, "The same file was given twice."))
    dates, logs = touching(rig, study.days)
    together = join(study, logs, dates, rig=facts, rules=rules, beside=beside, progress=progress)
    days = tuple(together.days[each] for each in sorted(study.days))
    return study, replace(outcome_of(study, READ, facts), days=days)


def outcome_of(study: Study, status: str, rig: RigOfTheTime) -> Outcome:
    """What a study says for itself, but for its days."""
    names = {role: counter.name for role, counter in matched(rig, study.layout).items()}
    notes = list(study.notes)
    if without := unmatched(rig, study.layout, TOTALS):
        notes.append(
            f"No counter of the rig is surely what {named(without)} counts, so that makes no "
            "reading; the figures of the day stand."
        )
    return Outcome(
        study.source.name,
        status,
        layout=study.layout,
        notes=tuple(notes),
        preview=study.preview,
        rows=study.rows,
        bad_rows=study.bad_rows,
        bad_rows_shown=study.bad_rows_shown,
        counters=tuple(names.items()),
    )


# --- beside the other files of the rig ----------------------------------------------------------


def touching(rig: Rig, days: Collection[date]) -> tuple[set[date], list[ShiftLog]]:
    """Return the days whose figures a file of these days may change, and the logs that tell them.

    Besides its own days that is the day after one of them, where a log goes on over the midnight
    between: what was counted until its first row is counted from the last row of the day before.
    """
    linked = ShiftLog.days.through.objects.filter(
        shiftday__rig=rig,
        shiftlog__is_withdrawn=False,
        shiftday__date__range=(min(days), max(days) + ONE_DAY),
    ).values_list("shiftlog_id", "shiftday__date")
    of_log: dict[int, set[date]] = {}
    for log, day in linked:
        of_log.setdefault(log, set()).add(day)
    dates = set(days)
    for told in of_log.values():
        dates |= {day + ONE_DAY for day in told & set(days) if day + ONE_DAY in told}
    found = [log for log, told in of_log.items() if told & dates]
    return dates, list(ShiftLog.objects.filter(pk__in=found).order_by("at", "pk"))


def join(
    study: Study,
    logs: Sequence[ShiftLog],
    dates: Collection[date],
    *,
    rig: RigOfTheTime,
    rules: Rules,
    beside: Sequence[Study] = (),
    progress: Progress = no_progress,
) -> Together:
    """Return these days as the study and the logs together tell them. Raises Stopped (asks)."""
    near = [each for each in beside if set(each.days) & set(dates)]
    if not logs and not near:
        return Together(dict(study.days))
    pieces = [*map(piece_of, logs), *(each.piece for each in near), study.piece]
    together = reckon(pieces, rig=rig, around=study.first_at, rules=rules, progress=progress)
    together.days = {day: each for day, each in together.days.items() if day in dates}
    if together.questions:
        days = tuple(each for day, each in sorted(together.days.items()) if day in study.days)
        outcome = outcome_of(study, ASKS, rig)
        raise Stopped(replace(outcome, questions=together.questions, days=days))
    return together
