"""Due rows and their clocks as they are kept: which columns, read whole, and laid out as arrays."""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from equipment import combining, forecast, triggers
from equipment import due as dates
from equipment.models import Due, DueClock, Wear, WearSource
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
#: A due row with the clocks of its triggers.
Entry = tuple[Due, Sequence[DueClock]]


@dataclass(frozen=True, slots=True)
class Kept:
    """Due rows as they are kept, with all that their dates follow from."""

    entries: Sequence[Entry]
    wear: Mapping[Key, Wear]
    sources: Mapping[Key, Sequence[WearSource]]

    @classmethod
    def of(cls, rows: Any) -> "Kept":
        """rows: a queryset of due rows."""
        clocks: dict[int, list[DueClock]] = defaultdict(list)
        for clock in (
            DueClock.objects.select_related("due__version")
            .filter(due__in=rows.order_by())
            .order_by("due_id")
        ):
            clocks[clock.due_id].append(clock)
        entries = []
        for of_row in clocks.values():
            of_row.sort(key=lambda clock: dates.MEASURES.index(clock.measure))
            entries.append((of_row[0].due, of_row))
        components = {row.component_id for row, _ in entries}
        wear = Wear.objects.filter(component__in=components)
        sources: dict[Key, list[WearSource]] = defaultdict(list)
        for source in (
            WearSource.objects.select_related("installation", "counter")
            .filter(installation__component__in=components, ended_at__isnull=True)
            .order_by("pk")
        ):
            sources[source.installation.component_id, source.measure].append(source)
        return cls(entries, {(row.component_id, row.measure): row for row in wear}, sources)


@dataclass(frozen=True, slots=True)
class Flat:
    """Due rows with their clocks one after the other.

    clocks: each with its row. starts: where those of each row begin. is_all: by row, whether all of
    its triggers must be reached.
    """

    rows: Sequence[Due]
    clocks: Sequence[tuple[Due, DueClock]]
    starts: combining.Ordinals
    is_all: combining.Flags

    @classmethod
    def of(cls, entries: Sequence[Entry]) -> "Flat":
        return cls(
            rows=[row for row, _ in entries],
            clocks=[(row, clock) for row, clocks in entries for clock in clocks],
            starts=np.concatenate(([0], np.cumsum([len(clocks) for _, clocks in entries])[:-1])),
            is_all=np.array([row.version.rule == dates.ALL_OF_THEM for row, _ in entries]),
        )

    def days(self, name: str) -> forecast.Days:
        """Return a date of every clock, as ordinals."""
        return np.array(
            [getattr(clock, name).toordinal() for _, clock in self.clocks], dtype=np.int64
        )


def set_dates(clock: DueClock, found: triggers.Dates) -> None:
    """Keep the dates of a trigger of time on its clock."""
    clock.due_date, clock.window_from = found.due_date, found.window_from
    clock.late_date, clock.is_past_due = found.late_date, found.is_past_due
