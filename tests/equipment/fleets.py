"""Simulated fleets that know nothing of our formulas: how rigs work, and when they are read.

Days are numbers from MONDAY on, negative before it; use is in strokes of a hundredth of a shift.
"""

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import date, timedelta
from typing import Final

import numpy as np
import numpy.typing as npt

from equipment.usage.learning import Spans
from equipment.usage.usedays import Away, Calendar

MONDAY: Final = date(2026, 3, 2)
#: Rigs have been at work for so long before they come to us, so that none begins idle. [d]
BEFORE: Final = 84
#: Long enough for every service to fall due. [d]
AHEAD: Final = 500

Floats = npt.NDArray[np.float64]
Job = tuple[int, int, int]  # first day, last day, how hard in hundredths


@dataclass(frozen=True, slots=True)
class Work:
    """How the rigs of a fleet work. pattern: fills a rig's days. season: how far its use swings
    over the year, up and down. [1] is_heavy: a few days of a job make most of its use.
    """

    pattern: "Callable[[Draw], list[Job]]"
    season: float = 0.0
    is_heavy: bool = False


@dataclass(slots=True)
class Draw:
    """One rig being drawn."""

    chance: np.random.Generator
    work: Work
    mean: float
    level: Floats  # of the season, by day
    used: Floats = field(init=False)

    def __post_init__(self) -> None:
        self.used = np.zeros(len(self.level))

    def days(self, n: int) -> Floats:
        """Use of some days around 1."""
        if self.work.is_heavy:
            return np.exp(self.chance.normal(-0.32, 0.8, n))
        return self.chance.gamma(3, 1 / 3, n)

    def spray(self, first: int, last: int, *, hard: float, dry: float, weekend: bool) -> None:
        """One job: its days resemble each other, on some it rains."""
        days = np.arange(first, min(last + 1, len(self.used)))
        at_work = self.chance.random(len(days)) < dry
        if not weekend:
            at_work &= days % 7 < 6
        alike = self.chance.gamma(6, 1 / 6)
        self.used[days] += (
            self.mean * hard * alike * self.days(len(days)) * at_work * self.level[days]
        )


def every_day(rig: Draw) -> list[Job]:
    """Monday to Saturday, week after week."""
    jobs = []
    for monday in range(0, len(rig.used), 7):
        rig.spray(monday, monday + 5, hard=1.0, dry=0.88, weekend=False)
        jobs.append((monday, monday + 5, 100))
    return jobs


def one_shift_a_week(rig: Draw) -> list[Job]:
    """On some day of the week; now and then none in a fortnight."""
    jobs, day = [], int(rig.chance.integers(0, 7))
    while day < len(rig.used):
        if rig.chance.random() < 0.9:
            rig.spray(day, day, hard=1.0, dry=1.0, weekend=True)
            jobs.append((day, day, 100))
        day += int(rig.chance.choice([5, 6, 7, 7, 7, 8, 9, 14]))
    return jobs


def jobs_in_blocks(rig: Draw) -> list[Job]:
    """Jobs of two to ten days, idle weeks between, tried out in the yard at times."""
    jobs, day = [], int(rig.chance.integers(0, 8))
    is_free = np.ones(len(rig.used), dtype=bool)
    while day < len(rig.used):
        last = day + int(rig.chance.integers(1, 10))
        hard = int(rig.chance.choice([50, 100, 100, 150]))
        rig.spray(day, last, hard=hard / 100, dry=0.85, weekend=True)
        jobs.append((day, last, hard))
        is_free[day : last + 1] = False
        gap = rig.chance.choice([1, 2, 2, 3, 5, 12]) / rig.level[min(last, len(rig.used) - 1)]
        day = last + 1 + max(1, round(gap))
    rig.used += 0.3 * rig.mean * (is_free & (rig.chance.random(len(is_free)) < 0.06))
    return jobs


def long_jobs(rig: Draw) -> list[Job]:
    """Jobs of ten days to five weeks, and as long at home."""
    jobs, day = [], int(rig.chance.integers(0, 20))
    while day < len(rig.used):
        last = day + int(rig.chance.integers(9, 35))
        hard = int(rig.chance.choice([80, 100, 120]))
        rig.spray(day, last, hard=hard / 100, dry=0.85, weekend=False)
        jobs.append((day, last, hard))
        day = last + 1 + int(rig.chance.choice([2, 4, 7, 10, 14, 25]))
    return jobs


#: Days from one reading to the next.
OFTEN: Final = (1, 1, 2, 3, 7, 9)
LATE: Final = (3, 7, 7, 10, 14, 21, 30)


@dataclass(frozen=True, slots=True)
class Rig:
    """A rig, its jobs, and what it had used by the first moment of each day since MONDAY.

    read_at: the instants of its readings. [d]
    """

    jobs: tuple[Job, ...]
    total: Floats
    read_at: Floats

    @property
    def mean(self) -> float:
        """Use of a calendar day, over all its days."""
        return float(self.total[-1]) / (len(self.total) - 1)

    def life(self, at: Floats) -> Floats:
        """What it had used by some instants: it is at work from seven to five."""
        day = np.floor(at).astype(int)
        passed = np.clip((at - day - 7 / 24) / (10 / 24), 0.0, 1.0)
        return self.total[day] + passed * (self.total[day + 1] - self.total[day])

    def day_reached(self, use: float) -> int:
        """The day on which some use was reached."""
        return int(np.searchsorted(self.total[1:], use))

    def known_jobs(self, *, history: int, booked_ahead: int | None) -> list[Job]:
        """The jobs that stand in the book today; None: all there will ever be."""
        if booked_ahead is None:
            return list(self.jobs)
        return [job for job in self.jobs if booked_ahead and job[0] < history + booked_ahead]

    def spans(self, jobs: list[Job], *, history: int) -> Spans:
        """What the service makes of its readings and the bookings known."""
        calendar = Calendar(
            first_day=MONDAY,
            last_day=MONDAY + timedelta(days=history),
            jobs=[
                Away(MONDAY + timedelta(days=first), MONDAY + timedelta(days=last), hard / 100)
                for first, last, hard in jobs
                if first <= history
            ],
        )
        booked, free = calendar.parts(self.read_at)
        return Spans(
            days=np.diff(self.read_at),
            booked=booked,
            free=free,
            used=np.diff(self.life(self.read_at)),
            ages=history - self.read_at[1:],
        )


def draw_fleet(
    chance: np.random.Generator,
    *,
    work: Work,
    rigs: int,
    history: int,
    readings: tuple[int, ...],
    alike: float,
) -> list[Rig]:
    """Return rigs of one shop: one season, each its own pace.

    alike: 1 over the squared relative spread of their paces. [1] history: days of readings. [d]
    """
    days = np.arange(BEFORE + history + AHEAD)
    level = 1 + work.season * np.sin(2 * np.pi * (days / 365 + chance.random()))
    fleet = []
    for _ in range(rigs):
        rig = Draw(chance, work, 100 * chance.gamma(alike, 1 / alike), level)
        jobs = work.pattern(rig)
        at = [0.0]
        while True:
            later = np.floor(at[-1]) + chance.choice(readings) + chance.choice([0.3, 0.5, 0.71])
            if later >= history:
                break
            at.append(later)
        fleet.append(
            Rig(
                jobs=tuple(
                    (max(first - BEFORE, 0), last - BEFORE, hard)
                    for first, last, hard in jobs
                    if last >= BEFORE
                ),
                total=np.concatenate(([0.0], np.cumsum(rig.used[BEFORE:]))),
                read_at=np.array(at),
            )
        )
    return fleet
