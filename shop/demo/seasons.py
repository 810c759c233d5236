"""Jobs, days in the shop, and what the faces of the counters show in between."""

from dataclasses import dataclass, field
from decimal import Decimal
from random import Random
from typing import Final

from equipment.counters import CONTINUED, RESET, ROLLOVER
from equipment.models import Counter
from equipment.services import NewReading, book_job
from shop.demo.fleet import RigPlan
from shop.demo.story import Story, between, dice_for

JOBS: Final = (
    "barn, Lowfield", "two houses, Marl Lane", "roof, Alder school", "loft, Quarry Row",
    "cold store, Dock 4", "pole barn, Hess farm", "church hall roof", "crawl spaces, Mill End",
    "grain store, Eastley", "attic, three units", "machine hall, Fenwick", "new houses, Oak Rise",
    "cellar walls, Bridge St", "workshop, Pine Yard", "cooler rooms, Orchard Co-op",
)  # fmt: skip
#: Where each rig is around today: (job, first day, last day), in days from today.
AROUND_TODAY: Final[dict[int, tuple[tuple[str, int, int], ...]]] = {
    1: (("barn, Lowfield", -6, 10), ("cold store, Dock 4", 16, 24)),
    2: (
        ("crawl spaces, Mill End", -26, -12),
        ("loft, Quarry Row", -8, -1),
        ("new houses, Oak Rise", 4, 9),
    ),
    4: (("machine hall, Fenwick", -14, -3), ("three-week job, Eastley", 5, 26)),
    5: (("cellar walls, Bridge St", -12, -9), ("attic, three units", 8, 12)),
    7: (
        ("church hall roof", -24, -6),
        ("roof, Alder school", -2, 3),
        ("pole barn, Hess farm", 7, 17),
    ),
    9: (("two houses, Marl Lane", -24, 9), ("grain store, Eastley", 14, 19)),
    11: (("workshop, Pine Yard", -31, -27),),
}
#: An A pump whose inlet check began to leak: rig → (since, how much more it strokes at last).
SLIPPING: Final[dict[int, tuple[int, Decimal]]] = {2: (-26, Decimal("0.10"))}
CUBIC_INCHES_A_GALLON: Final = 231


@dataclass(frozen=True, slots=True)
class Job:
    """A rig is away from first to last, both included. [days from today]"""

    name: str
    first: int
    last: int


@dataclass(slots=True)
class Face:
    """What a counter shows, and what happened to it since it was last read."""

    counter: Counter
    shows: Decimal
    step: str = CONTINUED
    before_reset: Decimal | None = None

    def count(self, more: Decimal) -> None:
        self.shows += more
        if self.counter.rollover is not None and self.shows >= self.counter.rollover:
            self.shows -= self.counter.rollover
            self.step = ROLLOVER

    def reset(self, *, seen: bool) -> None:
        self.before_reset = self._read(self.shows) if seen else None
        self.shows, self.step = Decimal(0), RESET

    def read(self) -> NewReading:
        """What is written down: whole display steps, and what happened since the last time."""
        reading = NewReading(self.counter, self._read(self.shows), self.step, self.before_reset)
        self.step, self.before_reset = CONTINUED, None
        return reading

    def _read(self, value: Decimal) -> Decimal:
        step = self.counter.display_step
        return value // step * step


@dataclass(slots=True)
class Season:
    """One rig through the months: its jobs and its faces."""

    plan: RigPlan
    jobs: list[Job]
    dice: Random
    faces: dict[str, Face] = field(default_factory=dict)
    sprayed_days: int = 0
    last_sheet: int = -10_000

    @property
    def last_stay(self) -> int:
        """The last day in the shop before the job around today."""
        return AROUND_TODAY[self.plan.number][0][1] - 1

    def job_on(self, offset: int) -> Job | None:
        return next((job for job in self.jobs if job.first <= offset <= job.last), None)

    def spray(self, offset: int) -> None:
        """One spray day: gallons out of both sides, and the hours that belong to them."""
        share = between(self.dice, 0.5, 1.5, 3)
        gallons = self.plan.gallons_a_day * share
        a_part = between(self.dice, 0.496, 0.503, 4)
        for side, part in (("A", a_part), ("B", 1 - a_part)):
            face = self.faces[f"{side} {self.plan.counts}"]
            slip = self._slip(offset) if side == "A" else Decimal(0)
            face.count(gallons * part / self._gallons_a_count() * (1 + slip))
        hours = 3 + 3 * share + between(self.dice, 0, 1, 1)
        for name, ran in (("Generator", "1"), ("Hydraulic unit", "0.62"), ("Compressor", "0.85")):
            if hour_meter := self.faces.get(f"{name} hours"):
                hour_meter.count(hours * Decimal(ran))
        self.sprayed_days += 1

    def _slip(self, offset: int) -> Decimal:
        """How much more the A pump strokes for the same gallons; it grows evenly until today."""
        since, most = SLIPPING.get(self.plan.number, (0, Decimal(0)))
        return most * (offset - since) / -since if offset > since else Decimal(0)

    def _gallons_a_count(self) -> Decimal:
        if self.plan.counts == Counter.Counts.GALLONS:
            return Decimal(1)
        make = dict(self.plan.makes).get("pump", 0)
        moved = (Decimal("4.2"), Decimal("8.4"), Decimal("5.1"))[make]
        return moved / CUBIC_INCHES_A_GALLON


def begin(story: Story, plan: RigPlan) -> Season:
    """Lay out a rig's jobs, backwards from where it is today, and book them."""
    around = [Job(*each) for each in AROUND_TODAY[plan.number]]
    earlier: list[Job] = []
    dice = dice_for(f"rig {plan.number}")
    is_spare = plan.number == 11
    end = around[0].first - dice.randint(3, 5)
    while end > story.first_day + 10:
        length = dice.choice((3, 4, 5, 5, 8, 10, 12))
        earlier.append(Job(dice.choice(JOBS), end - length + 1, end))
        gap = dice.randint(9, 20) if is_spare else dice.randint(3, 6)
        end -= length + gap
    season = Season(plan, [*reversed(earlier), *around], dice)
    rig = story.rigs[plan.number]
    for job in season.jobs:
        book_job(
            rig=rig,
            job=job.name,
            first_day=story.day(max(job.first, story.first_day)),
            last_day=story.day(job.last),
            author=story.manager,
            today=story.day(0),
            zone=story.zone,
        )
    for counter in rig.counters.all():
        season.faces[counter.name] = Face(counter, counter.first_value)
    return season
