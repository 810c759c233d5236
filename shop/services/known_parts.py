"""The parts that a sheet can meet, and the places: for a phone that has no shop to ask."""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

from django.db.models import Q

from inventory.models import Balance, KitLine, Location, Part
from shop.models import PartsNeed, RigDrawer, ServiceSheet

#: More of either would make the page of the sheet heavy.
MOST: Final = 300


@dataclass(frozen=True, slots=True)
class KnownParts:
    """parts: the likeliest first, with their makers' codes. is_all: whether there are no more."""

    parts: tuple[Part, ...]
    is_all: bool


def known_parts(sheet: ServiceSheet, *, most: int = MOST) -> KnownParts:
    """Return the parts that may be used on a sheet, in a number of queries that does not grow.

    First those that are planned, then what its services need, then what others on its kinds of
    component need, each with what lies in a kit of it; then what lies in the drawer of its rig,
    and in the bins in which any of those lie.
    """
    planned = list(sheet.parts.order_by("pk").values_list("part", "for_kit"))
    lines = sheet.lines.order_by("order").values_list(
        "version__service", "component__type__kind", "version__service__kind"
    )
    services = {service for service, *_ in lines}
    kinds = {kind for _, *both in lines for kind in both if kind}
    needs = PartsNeed.objects.filter(service__kind__in=kinds).order_by("pk")
    needed = list(needs.values_list("part", "service"))
    whole = dict.fromkeys(
        pk
        for pk in (
            *(pk for row in planned for pk in row),
            *(part for part, service in needed if service in services),
            *(part for part, service in needed if service not in services),
        )
        if pk is not None
    )
    asked_for = list(dict.fromkeys([*whole, *_in_kits(whole)]))
    found = dict.fromkeys([*asked_for, *_lying(sheet, asked_for)])
    rows = Part.objects.prefetch_related("codes").in_bulk(found)
    parts = tuple(rows[pk] for pk in found if pk in rows)
    return KnownParts(parts=parts[:most], is_all=len(parts) <= most)


def known_places(sheet: ServiceSheet, *, most: int = MOST) -> tuple[str, ...]:
    """Return the codes of the places it may take from: its rig's drawer, then the shop's bins."""
    drawer = RigDrawer.objects.filter(rig=sheet.rig_id).values_list("location__code", flat=True)
    bins = Location.objects.in_use().shop_bins().order_by("code").values_list("code", flat=True)
    return (*drawer, *bins)[:most]


def _in_kits(kits: Iterable[int]) -> Iterable[int]:
    lines = KitLine.objects.filter(kit__in=list(kits)).order_by("kit", "pk")
    return lines.values_list("part", flat=True)


def _lying(sheet: ServiceSheet, parts: Iterable[int]) -> list[int]:
    """What lies in the drawer of the rig, then in the bins where these parts lie."""
    there = Balance.objects.there()
    drawers = RigDrawer.objects.filter(rig=sheet.rig_id).values("location")
    bins = there.filter(part__in=list(parts), location__kind=Location.Kind.BIN).values("location")
    rows = list(
        there.filter(Q(location__in=drawers) | Q(location__in=bins))
        .order_by("part__number")
        .values_list("part", "location__kind")
    )
    in_drawer = [part for part, kind in rows if kind == Location.Kind.DRAWER]
    return [*in_drawer, *(part for part, _ in rows)]
