"""Due rows and their clocks as they are kept: which columns, read whole, and laid out as arrays."""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields
from datetime import date, datetime
from decimal import Decimal
from typing import Any, Final

import numpy as np

from equipment import combining, forecast, triggers
from equipment import due as dates
from equipment.models import Counter, Due, DueClock, Wear, WearSource
from equipment.services.lives import Key

#: What a reading moves of a due row.
MOVED_OF_DUE: Final = (
    "measure",
    "interval",
    "since",
    "is_at_least",
    "rate_per_day",
    "read_on",
    "due_10",
    "due_date",
    "due_90",
    "window_from",
    "late_date",
    "is_past_due",
    "is_past_tolerance",
    "stay_on",
    "odds_due_permille",
    "odds_due_most_permille",
    "odds_late_permille",
    "bigger_date",
)
KEPT_OF_DUE: Final = (
    "version_id",
    "rig_id",
    "position_id",
    "rig_number",
    "kind_id",
    "skill",
    "is_listed",
    "tolerance",
    "early",
    "renewed_at",
    "brought_on",
    "brought_because",
    "postponed_to",
    "kit_cents",
    *MOVED_OF_DUE,
)
KEPT_OF_CLOCK: Final = (
    "interval",
    "life_at_renewal",
    "since",
    "is_at_least",
    "allowed_of",
    "counted_from",
    "due_date",
    "window_from",
    "late_date",
    "is_past_due",
    "is_renewed",
    "because",
)
#: The same by the names of their fields.
DUE_FIELDS: Final = tuple(field.removesuffix("_id") for field in KEPT_OF_DUE)


@dataclass(slots=True)
class FlatDue:
    """A due row read flat, with what its dates follow from and MOVED_OF_DUE.

    A fleet of model instances takes several times as long to build. Fields as of `Due`.
    """

    id: int
    component_id: int
    rig_id: int | None
    next_stay: date | None
    version_id: int
    service_id: int
    rule: str
    is_listed: bool
    tolerance: Decimal
    early: Decimal
    renewed_at: datetime
    brought_on: date
    postponed_to: date | None
    measure: str
    interval: Decimal
    since: Decimal
    is_at_least: bool
    rate_per_day: Decimal | None
    read_on: date
    due_10: date
    due_date: date
    due_90: date
    window_from: date
    late_date: date
    is_past_due: bool
    is_past_tolerance: bool
    stay_on: date
    odds_due_permille: int
    odds_due_most_permille: int
    odds_late_permille: int
    bigger_date: date


@dataclass(slots=True)
class FlatClock:
    """A clock read flat, with KEPT_OF_CLOCK. Fields as of `DueClock`."""

    id: int
    due_id: int
    measure: str
    interval: Decimal
    life_at_renewal: Decimal
    since: Decimal
    is_at_least: bool
    allowed_of: Decimal
    counted_from: date
    due_date: date
    window_from: date
    late_date: date
    is_past_due: bool
    is_renewed: bool
    because: str


@dataclass(frozen=True, slots=True)
class OpenSource:
    """What drives a wear now; fields as of `WearSource`."""

    counter_id: int
    counter: Counter
    per_count: Decimal
    began_at: datetime
    ended_at: None = None


_ELSEWHERE: Final = {
    "next_stay": "rig__stay_on",
    "service_id": "version__service_id",
    "rule": "version__rule",
}
_OF_DUE: Final = [_ELSEWHERE.get(field.name, field.name) for field in fields(FlatDue)]
_OF_CLOCK: Final = [field.name for field in fields(FlatClock)]
AnyDue = Due | FlatDue
AnyClock = DueClock | FlatClock
#: A due row with the clocks of its triggers.
Entry = tuple[AnyDue, Sequence[AnyClock]]
Sources = Mapping[Key, Sequence[WearSource | OpenSource]]


def flat_entries(rows: Any) -> list[tuple[FlatDue, list[FlatClock]]]:
    """Read due rows flat, each with its clocks in the order of `equipment.due.MEASURES`.

    rows: a queryset of due rows.
    """
    clocks: dict[int, list[FlatClock]] = defaultdict(list)
    asked = rows.order_by()
    for values in DueClock.objects.filter(due__in=asked.values("pk")).values_list(*_OF_CLOCK):
        clock = FlatClock(*values)
        clocks[clock.due_id].append(clock)
    for of_row in clocks.values():
        if len(of_row) > 1:
            of_row.sort(key=lambda clock: dates.MEASURES.index(clock.measure))
    known = (FlatDue(*values) for values in asked.order_by("pk").values_list(*_OF_DUE))
    # Where nobody holds a lock, a row may have come since its clocks were read.
    return [(row, clocks[row.id]) for row in known if row.id in clocks]


@dataclass(frozen=True, slots=True)
class Kept:
    """Due rows as they are kept, with all that their dates follow from."""

    entries: Sequence[tuple[FlatDue, list[FlatClock]]]
    wear: Mapping[Key, Wear]
    sources: Mapping[Key, Sequence[OpenSource]]

    @classmethod
    def of(cls, rows: Any) -> "Kept":
        """rows: a queryset of due rows."""
        entries = flat_entries(rows)
        components = {row.component_id for row, _ in entries}
        wear = Wear.objects.only("component", "measure", "life", "rate_per_day", "read_at")
        driving = (
            WearSource.objects.filter(installation__component__in=components, ended_at=None)
            .order_by("pk")
            .values_list(
                "installation__component_id", "measure", "counter_id", "per_count", "began_at"
            )
        )
        counters = Counter.objects.only(
            "started_at", "last_at", "moved_at", "rate_per_day"
        ).in_bulk({counter for _, _, counter, _, _ in driving})
        sources: dict[Key, list[OpenSource]] = defaultdict(list)
        for component, measure, counter, per_count, began_at in driving:
            source = OpenSource(counter, counters[counter], per_count, began_at)
            sources[component, measure].append(source)
        return cls(
            entries,
            {(row.component_id, row.measure): row for row in wear.filter(component__in=components)},
            sources,
        )


@dataclass(frozen=True, slots=True)
class Flat:
    """Due rows with their clocks one after the other.

    clocks: each with its row. starts: where those of each row begin. is_all: by row, whether all of
    its triggers must be reached.
    """

    rows: Sequence[AnyDue]
    clocks: Sequence[tuple[AnyDue, AnyClock]]
    starts: combining.Ordinals
    is_all: combining.Flags

    @classmethod
    def of(cls, entries: Sequence[Entry]) -> "Flat":
        return cls(
            rows=[row for row, _ in entries],
            clocks=[(row, clock) for row, clocks in entries for clock in clocks],
            starts=np.concatenate(([0], np.cumsum([len(clocks) for _, clocks in entries])[:-1])),
            is_all=np.array([row.rule == dates.ALL_OF_THEM for row, _ in entries]),
        )

    def days(self, name: str) -> forecast.Days:
        """Return a date of every clock, as ordinals."""
        return np.array(
            [getattr(clock, name).toordinal() for _, clock in self.clocks], dtype=np.int64
        )


def set_dates(clock: AnyClock, found: triggers.Dates) -> None:
    """Keep the dates of a trigger of time on its clock."""
    clock.due_date, clock.window_from = found.due_date, found.window_from
    clock.late_date, clock.is_past_due = found.late_date, found.is_past_due
