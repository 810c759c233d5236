"""Whether the parts of a service are there, and what they usually cost.

For a whole page of due rows in a number of queries that does not grow with the rows. It counts as
a sheet does when it reserves: the shop's bins and the rig's own drawer, in date, less what is
promised; a whole kit first, then what its lines hold.
"""

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import date
from typing import Any

from django.db.models import Sum

from inventory.models import Balance, KitLine, Location, Part, Reservation
from inventory.services import in_words
from shop.models import PartsNeed, RigDrawer

#: Stands for the shop's bins where a place is asked for; drawers are named by their rig.
BINS = 0

#: A service of a rig: their keys.
Asked = tuple[int, int | None]
#: What is spoken for, by part, BINS or rig, and name of the place; "": in all of them. [steps]
Taken = Counter[tuple[int, int, str]]


@dataclass(frozen=True, slots=True)
class Kit:
    """The parts of one service.

    short: what is missing, [steps] of each part. lying: what is here, [steps] of each part in each
    place, by the place's name.
    """

    is_needed: bool
    short: tuple[tuple[Part, int], ...] = ()
    cost_cents: int = 0
    lying: tuple[tuple[Part, str, int], ...] = ()

    @property
    def is_short(self) -> bool:
        return bool(self.short)

    @property
    def word(self) -> str:
        """ "none needed", "here", "short 1"."""
        if not self.is_needed:
            return "none needed"
        if not self.short:
            return "here"
        if len(self.short) > 1:
            return f"short {len(self.short)} parts"
        part, steps = self.short[0]
        whole, rest = divmod(steps, part.steps_per_unit)
        return f"short {whole}" if not rest else f"short {in_words(part, steps)}"

    @property
    def short_text(self) -> str:
        """What is missing, by name."""
        return "; ".join(part.name for part, _ in self.short)

    @property
    def places_text(self) -> str:
        """Where what is here lies: "C-03 and drawer of rig 04"."""
        return " and ".join(dict.fromkeys(place for _, place, _ in self.lying))


def where_text(kits: Iterable[Kit]) -> str:
    """What of several kits lies where: "packing kit: 2 in C-03, 1 in drawer of rig 04"."""
    lying: dict[Part, Counter[str]] = {}
    for kit in kits:
        for part, place, steps in kit.lying:
            lying.setdefault(part, Counter())[place] += steps
    return "; ".join(
        f"{part.name}: "
        + ", ".join(f"{in_words(part, steps)} in {place}" for place, steps in places.items())
        for part, places in lying.items()
    )


NONE_NEEDED = Kit(is_needed=False)


@dataclass(slots=True)
class Stock:
    """What is needed and what is free, read once for a page."""

    needs: dict[int, list[PartsNeed]] = field(default_factory=dict)
    lines: dict[int, list[KitLine]] = field(default_factory=dict)
    free: Counter[tuple[int, int]] = field(default_factory=Counter)
    #: The same in each place, by part and BINS or rig: its name and the steps. In order of names.
    places: dict[tuple[int, int], dict[str, int]] = field(default_factory=dict)

    def kit(self, asked: Asked) -> Kit:
        """The parts of one service, as if nothing else were done."""
        return self._kit(asked, Counter())

    def kits(self, asked: Iterable[Asked]) -> list[Kit]:
        """The parts of several services done together: the last kit is there only once."""
        taken: Taken = Counter()
        return [self._kit(each, taken) for each in asked]

    def _kit(self, asked: Asked, taken: Taken) -> Kit:
        service, rig = asked
        needs = self.needs.get(service, [])
        if not needs:
            return NONE_NEEDED
        short: dict[Part, int] = {}
        lying: list[tuple[Part, str, int]] = []
        for need in needs:
            self._meet(need.part, need.quantity_steps, rig, taken, short, lying)
        cost = sum(need.part.cost_of(need.quantity_steps) for need in needs)
        return Kit(is_needed=True, short=tuple(short.items()), cost_cents=cost, lying=tuple(lying))

    def _meet(
        self,
        part: Part,
        steps: int,
        rig: int | None,
        taken: Taken,
        short: dict[Part, int],
        lying: list[tuple[Part, str, int]],
    ) -> None:
        for place in (BINS, rig):
            if place is None:
                continue
            key = (part.pk, place, "")
            given = min(steps, max(0, self.free[part.pk, place] - taken[key]))
            taken[key] += given
            steps -= given
            for name, there in self.places.get((part.pk, place), {}).items():
                in_place = (part.pk, place, name)
                from_here = min(given, max(0, there - taken[in_place]))
                if from_here:
                    lying.append((part, name, from_here))
                taken[in_place] += from_here
                given -= from_here
        if not steps:
            return
        lines = self.lines.get(part.pk)
        if not lines:
            short[part] = short.get(part, 0) + steps
            return
        for line in lines:
            self._meet(line.part, line.quantity_steps * steps, rig, taken, short, lying)


def stock_for(asked: Sequence[Asked], *, today: date) -> Stock:
    """Read what these services need and what of it is free for their rigs."""
    stock = Stock()
    for need in PartsNeed.objects.filter(
        service__in={service for service, _ in asked}
    ).select_related("part"):
        stock.needs.setdefault(need.service_id, []).append(need)
    parts = {need.part_id for needs in stock.needs.values() for need in needs}
    if not parts:
        return stock
    wanted = {need.part_id for needs in stock.needs.values() for need in needs if need.part.is_kit}
    while wanted:
        found: dict[int, list[KitLine]] = {pk: [] for pk in wanted}
        for line in KitLine.objects.filter(kit__in=wanted).select_related("part").order_by("pk"):
            found[line.kit_id].append(line)
        stock.lines |= found
        parts |= {line.part_id for lines in found.values() for line in lines}
        wanted = {
            line.part_id for lines in found.values() for line in lines if line.part.is_kit
        } - stock.lines.keys()
    drawers = {
        location: (rig, f"drawer of rig {number:02d}")
        for location, rig, number in RigDrawer.objects.filter(
            rig__in={rig for _, rig in asked if rig}
        ).values_list("location", "rig", "rig__number")
    }
    _add(stock, Balance.objects.there().filter(lot__expires_on__gte=today), parts, drawers, 1)
    _add(stock, Reservation.objects.all(), parts, drawers, -1)
    return stock


def _add(
    stock: Stock, rows: Any, parts: set[int], drawers: dict[int, tuple[int, str]], sign: int
) -> None:
    """Count what lies in the bins and in these drawers, or what is promised of it."""
    places = rows.filter(part__in=parts, location__kind=Location.Kind.BIN) | rows.filter(
        part__in=parts, location__in=drawers
    )
    sums = places.values("part", "location", "location__kind", "location__code").annotate(
        steps=Sum("quantity_steps")
    )
    for row in sums.order_by("location__code"):
        in_bin = row["location__kind"] == Location.Kind.BIN
        place, name = (BINS, row["location__code"]) if in_bin else drawers[row["location"]]
        key = row["part"], place
        stock.free[key] += sign * row["steps"]
        there = stock.places.setdefault(key, {})
        there[name] = there.get(name, 0) + sign * row["steps"]
