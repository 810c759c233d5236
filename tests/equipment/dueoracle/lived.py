"""Shops whose true use follows no formula of ours: how often did what was said come true?

Use of a rig: jobs in blocks, dead days and half days within them, a busy season, days of all
sizes (log-normal, not gamma), a level of its own. Readings come irregularly, the last one days or
weeks late. Then, on one morning, the day is turned, the kept rows are read, the future is lived
through, and each row is held against the day on which it truly fell due.

What people entered is put in at once, not by a service each; everything kept follows from it by
`rebuild_all` and `turn_day`. A kept date is a whole day, the first by whose end the odds reach
10, 50 or 90 %: the share that fell due before it and the share by its end stand on both sides of
what was promised, and what counts is half-way between them. Its standard error is that of shops
drawn, since the services of one shop are not independent.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from decimal import Decimal
from uuid import UUID

import numpy as np

from equipment.models import (
    Component,
    ComponentKind,
    Counter,
    Due,
    Installation,
    JobBooking,
    Position,
    Reading,
    Rig,
)
from equipment.services import (
    TriggerPlan,
    create_kind,
    create_service,
    create_type,
    rebuild_all,
    turn_day,
)
from tests.equipment.factories import ZONE, PersonFactory

PAST, AHEAD = 200, 500
BEGIN = date(2026, 3, 2)
TODAY = BEGIN + timedelta(days=PAST)
#: How much busier than usual the busiest day of the year is, for all rigs of a shop. [1]
SEASON = 0.1
#: Intervals that services have, as parts of a year's use of a usual rig.
PARTS = (0.60, 0.64, 0.69, 0.75, 0.82, 0.92)
CHANCES = (0.1, 0.5, 0.9)


@dataclass(frozen=True)
class Kind:
    """A sort of shop. work: days of a week that a rig is at a job, on the whole. [d]

    stay: mean length of a job. [d] free: how much of a working day is used on a day that nobody
    booked. [1] booked: how far ahead jobs stand in the book; None: all; 0: none ever do. [d]
    """

    name: str
    work: float
    stay: float
    free: float = 0.0
    booked: int | None = None


KINDS = (
    Kind("one shift a week", 1.0, 1.3),
    Kind("one shift a week, booked 3 weeks ahead", 1.0, 1.3, booked=21),
    Kind("one shift a week, no bookings", 1.0, 1.3, booked=0),
    Kind("three days a week", 3.0, 9.0, free=0.1),
    Kind("three days a week, booked 3 weeks ahead", 3.0, 9.0, free=0.1, booked=21),
    Kind("three days a week, no bookings", 3.0, 9.0, booked=0),
    Kind("every day", 6.5, 9.0, free=0.3),
    Kind("every day, no bookings", 6.5, 9.0, booked=0),
)


@dataclass(frozen=True)
class Life:
    """What truly happens to one rig: use by day, and its jobs as (first, last) day numbers."""

    use: np.ndarray
    jobs: list[tuple[int, int]]


def live(draw: np.random.Generator, kind: Kind, *, turn: float) -> Life:
    """turn: where in the year the season of the whole shop begins, 0 to 1."""
    length = PAST + AHEAD
    level = float(draw.lognormal(7.0, 0.35))
    booked = np.zeros(length, dtype=bool)
    jobs = []
    share = min(kind.work / 6.0, 0.97)
    day = int(draw.integers(0, round(kind.stay / share) + 1))
    while day < length:
        stay = max(int(draw.geometric(1 / kind.stay)), 1)
        jobs.append((day, min(day + stay - 1, length - 1)))
        booked[day : day + stay] = True
        gap = stay * (1 - share) / share
        day += stay + round(draw.exponential(gap))
    season = 1 + SEASON * np.sin((np.arange(length) / 365 + turn) * 2 * np.pi)
    size = draw.lognormal(-0.08, 0.4, size=length) * season * level
    works = np.where(booked, draw.random(length) < 0.85, draw.random(length) < kind.free)
    return Life(use=np.where(works, size, 0.0).round(), jobs=jobs)


class Shop:
    """One shop of a kind, its past entered."""

    def __init__(self, kind: Kind, *, rigs: int, seed: int, turn: float = 0.0) -> None:
        self.kind = kind
        self.draw = np.random.default_rng(seed)
        self.author = PersonFactory.create()
        self.lives = [live(self.draw, kind, turn=turn) for _ in range(rigs)]
        self.pump = create_kind(name="Pump", flow=ComponentKind.Flow.MATERIAL, flow_order=50)
        year = float(np.mean([each.use.sum() for each in self.lives])) * 365 / (PAST + AHEAD)
        for part in PARTS:
            create_service(
                kind=self.pump,
                name=f"Service {part}",
                author=self.author,
                at=_moment(0, 1),
                zone=ZONE,
                triggers=[TriggerPlan("strokes", Decimal(round(year * part)))],
                tolerance_percent=Decimal(10),
            )
        self._enter()
        rebuild_all(zone=ZONE)
        turn_day(today=TODAY, zone=ZONE)

    def _enter(self) -> None:
        """Rigs, pumps, counters, jobs and readings of the past, as if typed."""
        begin = _moment(0, 1)
        places = range(1, len(self.lives) + 1)
        type_ = create_type(kind=self.pump, name="Pump", displacement_in3=Decimal("23.1"))
        self.components = Component.objects.bulk_create(
            Component(type=type_, tag=f"P{n}", side="A", in_service_on=BEGIN, created_at=begin)
            for n in places
        )
        rigs = Rig.objects.bulk_create(
            Rig(number=n, name=f"Rig {n}", created_at=begin) for n in places
        )
        positions = Position.objects.bulk_create(
            Position(rig=rig, order=1, kind=self.pump, side="A") for rig in rigs
        )
        Installation.objects.bulk_create(
            Installation(
                component=component, position=position, installed_at=begin, author=self.author
            )
            for component, position in zip(self.components, positions, strict=True)
        )
        counters = Counter.objects.bulk_create(
            Counter(
                rig=rig,
                name="A strokes",
                counts=Counter.Counts.STROKES,
                side="A",
                started_at=begin,
                last_at=begin,
            )
            for rig in rigs
        )
        JobBooking.objects.bulk_create(
            JobBooking(
                rig=rig,
                job=f"Job {first}",
                first_day=BEGIN + timedelta(days=first),
                last_day=BEGIN + timedelta(days=last),
                author=self.author,
            )
            for rig, life in zip(rigs, self.lives, strict=True)
            for first, last in self._known(life)
        )
        Reading.objects.bulk_create(
            reading
            for counter, life in zip(counters, self.lives, strict=True)
            for reading in self._readings(counter, life)
        )

    def _known(self, life: Life) -> list[tuple[int, int]]:
        """The jobs that stand in the book today."""
        if self.kind.booked is None:
            return life.jobs
        until = PAST + self.kind.booked
        return [job for job in life.jobs if self.kind.booked and job[0] < until]

    def _readings(self, counter: Counter, life: Life) -> Iterator[Reading]:
        """Every few days, at the end of a day; the last one up to three weeks ago."""
        lives = np.cumsum(life.use)
        day = int(self.draw.integers(2, 9))
        until = PAST - int(self.draw.integers(1, 21))
        while day < until:
            yield Reading(
                counter=counter,
                at=_moment(day, 18),
                value=Decimal(int(lives[day])),
                author=self.author,
                recorded_at=_moment(day, 18),
                request_id=UUID(int=int(self.draw.integers(1, 2**62)), version=4),
            )
            day += int(self.draw.integers(3, 16))

    def outcomes(self) -> Iterator[tuple[Due, date]]:
        """Yield each row that is not known to be past, and the day on which it truly fell due;
        the day after all that was lived through where it never did.
        """
        lives = {
            component.pk: np.cumsum(life.use)
            for component, life in zip(self.components, self.lives, strict=True)
        }
        for row in Due.objects.filter(is_past_due=False).order_by("pk"):
            reached = int(np.searchsorted(lives[row.component_id], float(row.interval)))
            yield row, BEGIN + timedelta(days=reached)


Outcomes = list[tuple[Due, date]]


@dataclass(frozen=True)
class Share:
    """A share of cases, and its standard error over the shops. [1]"""

    value: float
    error: float

    @classmethod
    def of(cls, shops: list[list[float]]) -> "Share":
        every = np.array([value for shop in shops for value in shop])
        if not len(every):
            return cls(float("nan"), float("nan"))
        mean = every.mean()
        off = np.array([sum(value - mean for value in shop) for shop in shops])
        return cls(float(mean), float(np.sqrt((off**2).sum()) / len(every)))

    def __str__(self) -> str:
        return f"{100 * self.value:5.1f} ± {100 * self.error:3.1f}"


def by_date(shops: list[Outcomes], name: str) -> Share:
    """How many fell due by a kept date, half of that day counted."""
    return Share.of(
        [
            [
                ((day < getattr(row, name)) + (day <= getattr(row, name))) / 2
                for row, day in outcomes
            ]
            for outcomes in shops
        ]
    )


def before_stay(shops: list[Outcomes], times: float = 1.0) -> tuple[Share, Share]:
    """What the odds before the next stay said, and how many fell due before it."""
    far = date(9000, 1, 1)
    away = [[(row, day) for row, day in outcomes if row.stay_on < far] for outcomes in shops]
    return (
        Share.of([[row.odds_due_permille / 1000 for row, _ in shop] for shop in away]),
        Share.of([[float(day < row.stay_on) for row, day in shop] for shop in away]),
    )


def line(kind: Kind, shops: list[Outcomes]) -> str:
    shares = ", ".join(str(by_date(shops, name)) for name in ("due_10", "due_date", "due_90"))
    said, came = before_stay(shops)
    odds = f"; before the stay said {said}, came {came}" if kind.booked != 0 else ""
    return f"{kind.name:42s}{sum(map(len, shops)):5d} cases  {shares} %{odds}"


def run(kind: Kind, *, shops: int, rigs: int, seed: int) -> list[Outcomes]:
    """What came of some shops of a kind, their seasons begun all round the year."""
    from django.db import transaction

    found = []
    for number in range(shops):
        with transaction.atomic():
            shop = Shop(kind, rigs=rigs, seed=seed + number, turn=number / shops)
            found.append(list(shop.outcomes()))
            transaction.set_rollback(True)
    return found


def _moment(day: int, hour: int) -> datetime:
    return datetime.combine(BEGIN + timedelta(days=day), time(hour), tzinfo=ZONE)
