"""What happened to one component and its rig, as plain figures."""

from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from decimal import Decimal


@dataclass(frozen=True)
class Booked:
    """A job of the rig; both days included."""

    first_day: date
    last_day: date
    intensity: float = 1.0


@dataclass(frozen=True)
class Counted:
    """A counter behind one measure of the component, from a moment on, until another.

    totals: what it had counted at its readings, in order, the first where it began.
    rate: (shape, alpha, beta) of the gamma process, or None. share: what a free day counts.
    load: what a day that nobody has planned yet counts; open_shape: of its use-days.
    """

    measure: str
    totals: tuple[tuple[datetime, Decimal], ...]
    per_count: Decimal
    began_at: datetime
    ended_at: datetime | None
    rate: tuple[float, float, float] | None
    share: float
    load: float
    open_shape: float

    def total(self, moment: datetime) -> float:
        """By a straight line between the readings; level after the last one."""
        before = self.totals[0]
        for each in self.totals:
            if each[0] > moment:
                part = (moment - before[0]) / (each[0] - before[0])
                return float(before[1]) + max(part, 0.0) * float(each[1] - before[1])
            before = each
        return float(before[1])

    def gained(self, moment: datetime) -> float:
        """How much of its measure the component has had from it by a moment."""
        if moment < self.began_at:
            return 0.0
        until = moment if self.ended_at is None else min(moment, self.ended_at)
        gain = self.total(until) - self.total(self.began_at)
        return max(gain, 0.0) * float(self.per_count)

    def a_day(self) -> float | None:
        """Its mean gain of a day over the 90 days up to its last reading; None of under a week."""
        (first, _), (last, _) = self.totals[0], self.totals[-1]
        if last - first < timedelta(days=7):
            return None
        begins = max(last - timedelta(days=90), first)
        return (self.total(last) - self.total(begins)) / ((last - begins) / timedelta(days=1))

    def read_at(self) -> datetime:
        return max(self.totals[-1][0], self.began_at)


@dataclass(frozen=True)
class Way:
    """One trigger, as the version says it."""

    measure: str
    interval: Decimal
    first_at: Decimal | None = None
    season: tuple[int, int] | None = None
    after: int | None = None
    watched: str = ""
    low: Decimal | None = None
    high: Decimal | None = None


@dataclass(frozen=True)
class Asked:
    """What the current version of a service asks for."""

    service: int
    ways: tuple[Way, ...]
    is_all: bool
    tolerance: Decimal
    early: Decimal
    is_hard_limit: bool
    is_fixed: bool


@dataclass(frozen=True)
class Doing:
    """A service done, in force or undone since.

    number: in the order in which they were said. undone_number: of what undid it, in that order.
    grid: ("days" | "months", interval) of a version that renewed fixed, else None.
    """

    number: int
    service: int
    done_at: datetime
    grid: tuple[str, int] | None
    early: Decimal
    undone_number: int | None = None


@dataclass(frozen=True)
class Story:
    """Everything that the due row of one service on one component follows from."""

    came_on: date
    opening: dict[str, Decimal]
    counted: tuple[Counted, ...]
    used_on: date | None
    jobs: tuple[Booked, ...]
    asked: Asked
    doings: tuple[Doing, ...]
    #: Days of the service that an AFTER trigger follows, with their moments, by service.
    others: dict[int, tuple[datetime, ...]] = field(default_factory=dict)
    #: (moment, value) by name.
    measured: dict[str, tuple[tuple[datetime, Decimal], ...]] = field(default_factory=dict)
    postponed: tuple[datetime, date] | None = None
    brought: tuple[datetime, date] | None = None
    stay_on: date | None = None
    #: Whether it sits in a rig that works.
    is_listed: bool = True
    #: When the shop got the service: what was to be done before is not missed. None: long ago.
    asked_at: datetime | None = None
    #: The first day that the shop has not planned; from it on, days after the last job are open.
    open_from: date = date(2026, 1, 5)
