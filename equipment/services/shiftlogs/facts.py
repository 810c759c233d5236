"""What the rig knows and its log does not say: pumps of the time, and which counter is which."""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from typing import Final
from zoneinfo import ZoneInfo

from django.db.models import Q

from equipment.models import Counter, Installation, Rig, Side
from equipment.services.wearing import STROKE_COUNTS, STROKES_PER_CYCLE
from equipment.shiftlogs import layout as roles
from equipment.shiftlogs.blocks import RigFacts
from equipment.shiftlogs.layout import Layout

#: Which counters a role of the log may be: what they count, and of which side.
_WANTED: Final[dict[str, tuple[tuple[str, ...], str]]] = {
    roles.STROKES_A: (STROKE_COUNTS, Side.A),
    roles.STROKES_B: (STROKE_COUNTS, Side.B),
    roles.GALLONS_A: ((Counter.Counts.GALLONS,), Side.A),
    roles.GALLONS_B: ((Counter.Counts.GALLONS,), Side.B),
    roles.GALLONS: ((Counter.Counts.GALLONS_BOTH,), Side.NONE),
}


@dataclass(frozen=True, slots=True)
class RigOfTheTime:
    """A rig with all that ever pumped in it, so that each day of a log finds its own pumps.

    pumps: every pump that was fitted, the earliest first.
    counters: those in use, fixed to the rig or travelling with what is fitted, in order.
    """

    rig: Rig
    zone: ZoneInfo
    pumps: tuple[Installation, ...]
    counters: tuple[Counter, ...]

    def at(self, moment: datetime) -> RigFacts:
        """What was known of the rig at a moment.

        A day before the first pump that the book knows takes that pump; a pump that was out for a
        while leaves its displacement until the next is in.
        """
        (in3_a, top_a, most_a), (in3_b, top_b, most_b) = (
            self._side(side, moment) for side in (Side.A, Side.B)
        )
        return RigFacts(
            zone=self.zone,
            in3_per_stroke_a=in3_a,
            in3_per_stroke_b=in3_b,
            rollover_a=top_a,
            rollover_b=top_b,
            max_strokes_per_minute_a=most_a,
            max_strokes_per_minute_b=most_b,
        )

    def _side(self, side: str, moment: datetime) -> tuple[float | None, float | None, float | None]:
        """Displacement, values of the face, and most in a minute, all in single strokes."""
        counter = self.match(roles.STROKES_A if side == Side.A else roles.STROKES_B)
        each = _single_strokes(counter)
        pump = self._pump(side, moment)
        most = counter.max_per_minute if counter else None
        if most is None and pump is not None:
            most = pump.component.type.max_strokes_per_minute
        rollover = counter.rollover if counter else None
        displacement = pump.component.type.displacement_in3 if pump else None
        return (
            None if displacement is None else float(displacement / each),
            None if rollover is None else float(rollover * each),
            None if most is None else float(most * each),
        )

    def _pump(self, side: str, moment: datetime) -> Installation | None:
        of_side = [row for row in self.pumps if (row.position.side or row.component.side) == side]
        # Of several at once the one nearest the gun, as `wearing.displacements_of` has it.
        of_side.sort(key=lambda row: (row.installed_at, row.position.order))
        there = [
            row
            for row in of_side
            if row.installed_at <= moment and (row.removed_at is None or moment < row.removed_at)
        ]
        if there:
            return max(there, key=lambda row: row.position.order)
        earlier = [row for row in of_side if row.installed_at <= moment]
        return earlier[-1] if earlier else next(iter(of_side), None)

    def match(self, role: str, layout: Layout | None = None) -> Counter | None:
        """The counter of the rig that a total of the log is, or None where that is not sure.

        One fixed to the rig goes before one that travels with a pump. A rig has hours of many
        things, so an hour meter is sure only where its heading is the counter's name.
        """
        if role == roles.HOURS:
            return self._hours(layout)
        counts, side = _WANTED[role]
        fit = [
            each
            for each in self.counters
            if each.counts in counts
            and (each.side or (each.component.side if each.component else "")) == side
        ]
        of_rig = [each for each in fit if each.rig_id is not None]
        for several in (of_rig, fit):
            if len(several) == 1:
                return several[0]
        return None

    def _hours(self, layout: Layout | None) -> Counter | None:
        column = layout.column(roles.HOURS) if layout else None
        heading = _bare(column.heading) if column else ""
        named = [
            each
            for each in self.counters
            if each.counts == Counter.Counts.HOURS and _bare(each.name) == heading
        ]
        return named[0] if len(named) == 1 else None


def rig_of_the_time(rig: Rig, zone: ZoneInfo) -> RigOfTheTime:
    """Read what the reckoning of any of its days needs: two queries."""
    pumps = (
        Installation.objects.select_related("component__type", "position")
        .filter(position__rig=rig, component__type__displacement_in3__isnull=False)
        .order_by("installed_at", "pk")
    )
    counters = (
        Counter.objects.select_related("component")
        .filter(
            Q(rig=rig)
            | Q(
                component__installations__position__rig=rig,
                component__installations__removed_at__isnull=True,
            ),
            is_retired=False,
        )
        .order_by("order", "pk")
        .distinct()
    )
    return RigOfTheTime(rig, zone, tuple(pumps), tuple(counters))


def of_the_face(value: float, counter: Counter) -> Decimal:
    """What the face shows for a canonical value of the log: whole display steps, rounded down.

    value: >= 0. [single strokes, gal or h]
    """
    # Six decimals first: 12.3 h counted up in seconds arrives as 12.299999999.
    exact = Decimal(repr(round(value, 6))) / _single_strokes(counter)
    return exact // counter.display_step * counter.display_step


def matched(rig: RigOfTheTime, layout: Layout) -> dict[str, Counter]:
    """Return the counters that the totals of a log are, by role."""
    found = {
        column.role: rig.match(column.role, layout)
        for column in layout.columns
        if column.role in roles.TOTALS
    }
    return {role: counter for role, counter in found.items() if counter is not None}


def unmatched(rig: RigOfTheTime, layout: Layout, names: Sequence[str]) -> list[str]:
    """Return the headings of totals that give no reading, since no counter of the rig is theirs."""
    return [
        column.heading or f"column {column.index + 1}"
        for column in layout.columns
        if column.role in names and rig.match(column.role, layout) is None
    ]


def _bare(name: str) -> str:
    """A name without its unit in brackets, capitals and signs."""
    text = re.sub(r"[\[(].*?[\])]", " ", name.casefold())
    return " ".join(re.findall(r"[^\W_]+", text))


def _single_strokes(counter: Counter | None) -> Decimal:
    """Single strokes for each unit that a counter counts; 1 for what counts no strokes."""
    is_cycles = counter is not None and counter.counts == Counter.Counts.CYCLES
    return STROKES_PER_CYCLE if is_cycles else Decimal(1)
