"""Several logs at once: each is read that can be; the days are told as all of them leave them."""

from collections.abc import Iterable, Mapping
from dataclasses import replace
from datetime import datetime
from zoneinfo import ZoneInfo

from django.contrib.auth.base_user import AbstractBaseUser

from equipment.models import Rig
from equipment.services.shiftlogs.files import Source
from equipment.services.shiftlogs.looking import NO_ANSWERS, look_closely
from equipment.services.shiftlogs.outcome import REFUSED, Outcome, Progress, no_progress
from equipment.services.shiftlogs.reading import as_it_stands, read_log
from equipment.services.shiftlogs.studying import Stopped, Study
from equipment.shiftlogs.blocks import Rules
from equipment.shiftlogs.layout import AnswerRefused, Layout


def read_many(
    *,
    rig: Rig,
    sources: Iterable[Source],
    author: AbstractBaseUser,
    at: datetime,
    zone: ZoneInfo,
    rules: Rules,
    answers: Mapping[str, str] = NO_ANSWERS,
    layout: Layout | None = None,
    progress: Progress = no_progress,
) -> list[Outcome]:
    """Read each as `read_log` does; the days of all are those that stand at the end.

    An answer that is no choice refuses the file that it was meant for.
    """
    found = []
    for source in sources:
        try:
            outcome = read_log(
                rig=rig, source=source, author=author, at=at, zone=zone, rules=rules,
                answers=answers, layout=layout, progress=_named(source, progress),
            )  # fmt: skip
        except AnswerRefused as refused:
            outcome = Outcome(source.name, REFUSED, str(refused))
        found.append(outcome)
    return [
        as_it_stands(each, rig, [day.date for day in each.days], zone) if each.is_done else each
        for each in found
    ]


def look_at_many(
    *,
    rig: Rig,
    sources: Iterable[Source],
    now: datetime,
    zone: ZoneInfo,
    rules: Rules,
    answers: Mapping[str, str] = NO_ANSWERS,
    layout: Layout | None = None,
    progress: Progress = no_progress,
) -> list[Outcome]:
    """Look at each as `look_at` does, beside those before it; nothing is written.

    The days of all are those that would stand at the end.
    """
    beside: list[Study] = []
    found: list[Outcome] = []
    for source in sources:
        try:
            study, outcome = look_closely(
                rig=rig, source=source, at=now, zone=zone, rules=rules, answers=answers,
                layout=layout, beside=beside, progress=_named(source, progress),
            )  # fmt: skip
        except Stopped as stopped:
            outcome = stopped.outcome
        except AnswerRefused as refused:
            outcome = Outcome(source.name, REFUSED, str(refused))
        else:
            beside.append(study)
        found.append(outcome)
    if len(beside) < 2:
        return found
    latest = {day.date: day for outcome in found if outcome.is_done for day in outcome.days}
    return [
        replace(each, days=tuple(latest[day.date] for day in each.days)) if each.is_done else each
        for each in found
    ]


def _named(source: Source, progress: Progress) -> Progress:
    if progress is no_progress:
        return progress
    return lambda what, share: progress(f"{source.name}: {what}", share)
