"""Time at work on sheets: taps in, stretches and minutes out. No Django, no clock.

Somebody taps "start" and "stop"; nothing that was tapped is ever changed. What follows from it is
worked out here from all taps of a person together, whatever order they arrived in: a phone without
signal sends its own later. A person is at work on one sheet at a time, so a start on another sheet
ends the stretch on the first.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from enum import StrEnum
from typing import Final
from zoneinfo import ZoneInfo

#: A stretch that ends on another day than it began may last so long before it is asked about.
#: Common practice, no source: a late finish runs past midnight, a forgotten clock until morning.
LONGEST_OVER_MIDNIGHT: Final = timedelta(hours=6)
#: And one within a day so long. Common practice, no source.
LONGEST: Final = timedelta(hours=14)


class End(StrEnum):
    """What ended a stretch."""

    RUNNING = "running"
    STOPPED = "stopped"
    ELSEWHERE = "elsewhere"  # started on another sheet
    AGAIN = "again"  # started anew on the same sheet after a night
    CLOSED = "closed"  # the sheet was signed or struck


@dataclass(frozen=True, slots=True)
class Tap:
    """One start or stop.

    person, sheet: any numbers that name them. at: the instant, in UTC. order: which of two taps
    of one instant came later. is_sure: a stop that was meant, however long the stretch.
    """

    person: int
    sheet: int
    starts: bool
    at: datetime
    order: int = 0
    is_sure: bool = False


@dataclass(frozen=True, slots=True)
class Stretch:
    """Work on one sheet without a break. `end` is None while it runs; `other` is the sheet that
    it was left for."""

    person: int
    sheet: int
    start: datetime
    end: datetime | None = None
    ended_by: End = End.RUNNING
    other: int | None = None
    is_sure: bool = False

    def is_asked(self, *, now: datetime, zone: ZoneInfo) -> bool:
        """Whether it lasts too long to be believed before somebody says until when it lasted."""
        return not self.is_sure and too_long(self.start, self.end or now, zone=zone)

    def seconds(self, *, now: datetime) -> float:
        """How long it lasts, until `now` while it runs; never below nothing."""
        return max(((self.end or now) - self.start).total_seconds(), 0.0)


@dataclass(frozen=True, slots=True)
class Worked:
    """One person's time on one sheet.

    minutes: what is known, a stretch that runs counted until now; what is asked about is not in
    it. since: when the stretch that runs began. asked: stretches that somebody must say the end of.
    """

    person: int
    minutes: int
    since: datetime | None = None
    asked: tuple[Stretch, ...] = ()


def too_long(start: datetime, end: datetime, *, zone: ZoneInfo) -> bool:
    """Whether a stretch was probably left running: over a night, or longer than a day's work."""
    lasted = end - start
    if lasted > LONGEST:
        return True
    other_day = start.astimezone(zone).date() != end.astimezone(zone).date()
    return other_day and lasted > LONGEST_OVER_MIDNIGHT


def stretches(
    taps: Iterable[Tap], *, closed: Mapping[int, datetime], zone: ZoneInfo
) -> list[Stretch]:
    """Return what the taps of one or more people say, by person and start.

    closed: when a sheet was signed or struck; what ran on it ends there, and what is tapped later
    says nothing. A start while it runs and a stop while nothing runs say nothing either, except
    that a start after a night begins anew. For a true picture of a sheet all taps of its people
    since its first one are needed, those on other sheets too.
    """
    by_person: dict[int, list[Tap]] = {}
    for tap in taps:
        if tap.sheet not in closed or tap.at < closed[tap.sheet]:
            by_person.setdefault(tap.person, []).append(tap)
    found: list[Stretch] = []
    for person in sorted(by_person):
        found += _of_one(by_person[person], closed, zone)
    return found


def _of_one(taps: Sequence[Tap], closed: Mapping[int, datetime], zone: ZoneInfo) -> list[Stretch]:
    done: list[Stretch] = []
    runs: Stretch | None = None
    # A sure stop goes before whatever else was tapped at its instant: it answers about that.
    for tap in sorted(taps, key=lambda each: (each.at, not each.is_sure, each.order)):
        if runs and runs.sheet in closed and closed[runs.sheet] <= tap.at:
            done.append(_ended(runs, closed[runs.sheet], End.CLOSED))
            runs = None
        if not tap.starts:
            if runs and runs.sheet == tap.sheet:
                done.append(_ended(runs, tap.at, End.STOPPED, is_sure=tap.is_sure))
                runs = None
            continue
        if runs and runs.sheet == tap.sheet:
            if not too_long(runs.start, tap.at, zone=zone):
                continue
            done.append(_ended(runs, tap.at, End.AGAIN))
        elif runs:
            done.append(_ended(runs, tap.at, End.ELSEWHERE, other=tap.sheet))
        runs = Stretch(tap.person, tap.sheet, tap.at)
    if runs and runs.sheet in closed:
        runs = _ended(runs, closed[runs.sheet], End.CLOSED)
    return [*done, runs] if runs else done


def _ended(
    stretch: Stretch, at: datetime, by: End, *, other: int | None = None, is_sure: bool = False
) -> Stretch:
    return replace(stretch, end=at, ended_by=by, other=other, is_sure=is_sure)


def worked(
    found: Iterable[Stretch], *, sheet: int, now: datetime, zone: ZoneInfo
) -> dict[int, Worked]:
    """Return each person's time on a sheet, in the order in which they began.

    Minutes are rounded once, over all of a person's stretches; who worked at all has at least one.
    """
    of_sheet = sorted((each for each in found if each.sheet == sheet), key=lambda each: each.start)
    by_person: dict[int, list[Stretch]] = {}
    for each in of_sheet:
        by_person.setdefault(each.person, []).append(each)
    made = {}
    for person, own in by_person.items():
        asked = tuple(each for each in own if each.is_asked(now=now, zone=zone))
        seconds = sum(each.seconds(now=now) for each in own if each not in asked)
        runs = own[-1] if own[-1].end is None and own[-1] not in asked else None
        made[person] = Worked(
            person=person,
            minutes=max(int((seconds + 30) // 60), 1 if seconds > 0 else 0),
            since=runs.start if runs else None,
            asked=asked,
        )
    return made
