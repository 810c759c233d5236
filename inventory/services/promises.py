"""Promising parts to something (a sheet), and saying what is short.

A promise binds nothing in the database, since a count must always be able to tell the truth. It is
per part and place, not per lot.
"""

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime

from django.contrib.auth.base_user import AbstractBaseUser
from django.db import transaction
from django.db.models import Sum

from inventory.models import Balance, KitLine, Location, Lot, Part, Reservation
from inventory.services.posting import NothingToMove, day_of


@dataclass(frozen=True, slots=True)
class Need:
    """So much of a part is needed, > 0. [steps]"""

    part: Part
    quantity_steps: int


@dataclass(frozen=True, slots=True)
class Held:
    """Promised in a place. as_kit: a whole kit. for_part: what the need named (perhaps a kit)."""

    part: Part
    location: Location
    quantity_steps: int
    as_kit: bool
    for_part: Part


@dataclass(frozen=True, slots=True)
class Short:
    """Not there. Of a kit that is not whole, the lines that are missing; for_part names the kit."""

    part: Part
    quantity_steps: int
    for_part: Part


@dataclass(frozen=True, slots=True)
class ReserveResult:
    held: list[Held]
    short: list[Short]


def reserve(
    *,
    needs: Sequence[Need],
    places: Sequence[Location],
    source_kind: str,
    source_number: int,
    author: AbstractBaseUser,
    at: datetime,
) -> ReserveResult:
    """Promise parts to a source, in place of all it was promised before.

    places: in order of preference. Free is what lies there, in date, less what others were
    promised. A kit is held whole where one is free; else its lines are, and what is missing of
    them is short. Raises NothingToMove.
    """
    for need in needs:
        if need.quantity_steps <= 0:
            raise NothingToMove(need.part)
    with transaction.atomic():
        inside = _inside(need.part for need in needs)
        parts = {need.part.pk for need in needs}
        parts |= {line.part_id for lines in inside.values() for line in lines}
        # The lots' lock makes two sheets that want the last kit queue.
        list(
            Lot.objects.select_for_update()
            .filter(part__in=parts, quantity_left_steps__gt=0)
            .order_by("pk")
        )
        release(source_kind=source_kind, source_number=source_number)
        hand_out = _HandOut(
            inside=inside,
            places=places,
            free=free_steps(parts, places, today=day_of(at)),
        )
        for need in needs:
            hand_out.meet(need.part, need.quantity_steps, for_part=need.part)
        promised: Counter[tuple[int, int]] = Counter()
        for held in hand_out.held:
            promised[held.part.pk, held.location.pk] += held.quantity_steps
        Reservation.objects.bulk_create(
            Reservation(
                part_id=part,
                location_id=place,
                quantity_steps=quantity,
                source_kind=source_kind,
                source_number=source_number,
                author_id=author.pk,
                created_at=at,
            )
            for (part, place), quantity in promised.items()
        )
    return ReserveResult(held=hand_out.held, short=hand_out.short)


def release(*, source_kind: str, source_number: int) -> int:
    """Take back every promise made to a source; return how many there were."""
    return Reservation.objects.of_source(source_kind, source_number).delete()[0]


def promised_elsewhere(
    *, part: Part, location: Location, source_kind: str, source_number: int
) -> int:
    """How much of a part in a place others than this source were promised. [steps]

    Taking more than what lies there less this takes what others count on: the page asks first.
    """
    others = Reservation.objects.of_others(source_kind, source_number).at(part, location)
    return others.aggregate(total=Sum("quantity_steps"))["total"] or 0


@dataclass(slots=True)
class _HandOut:
    """Gives out what is free, place by place, and notes what is not there."""

    inside: dict[int, list[KitLine]]
    places: Sequence[Location]
    free: Counter[tuple[int, int]]
    held: list[Held]
    short: list[Short]

    def __init__(
        self,
        *,
        inside: dict[int, list[KitLine]],
        places: Sequence[Location],
        free: Counter[tuple[int, int]],
    ) -> None:
        self.inside = inside
        self.places = places
        self.free = free
        self.held = []
        self.short = []

    def meet(self, part: Part, quantity_steps: int, *, for_part: Part) -> None:
        missing = quantity_steps
        for place in self.places:
            given = min(missing, max(0, self.free[part.pk, place.pk]))
            if given:
                self.free[part.pk, place.pk] -= given
                missing -= given
                self.held.append(
                    Held(
                        part=part,
                        location=place,
                        quantity_steps=given,
                        as_kit=part.is_kit,
                        for_part=for_part,
                    )
                )
        if not missing:
            return
        lines = self.inside.get(part.pk)
        if not lines:
            self.short.append(Short(part=part, quantity_steps=missing, for_part=for_part))
            return
        for line in lines:
            self.meet(line.part, line.quantity_steps * missing, for_part=for_part)


def _inside(parts: Iterable[Part]) -> dict[int, list[KitLine]]:
    """The lines of all kits among the parts, and of the kits in them."""
    inside: dict[int, list[KitLine]] = {}
    wanted = {part.pk for part in parts if part.is_kit}
    while wanted:
        found: dict[int, list[KitLine]] = {pk: [] for pk in wanted}
        for line in KitLine.objects.filter(kit__in=wanted).select_related("part").order_by("pk"):
            found[line.kit_id].append(line)
        inside |= found
        inner = {line.part_id for lines in found.values() for line in lines if line.part.is_kit}
        wanted = inner - inside.keys()
    return inside


def free_steps(
    parts: Iterable[int], places: Iterable[Location], *, today: date
) -> Counter[tuple[int, int]]:
    """By part and place: what lies there in date, less what is promised. [steps]"""
    free: Counter[tuple[int, int]] = Counter()
    here = {"part__in": set(parts), "location__in": {place.pk for place in places}}
    lying = Balance.objects.there().filter(**here, lot__expires_on__gte=today)
    for part, place, quantity in lying.values_list("part_id", "location_id", "quantity_steps"):
        free[part, place] += quantity
    for part, place, quantity in Reservation.objects.filter(**here).values_list(
        "part_id", "location_id", "quantity_steps"
    ):
        free[part, place] -= quantity
    return free
