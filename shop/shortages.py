"""Parts that open sheets wait for, as Today and Buying show them."""

from collections.abc import Iterable
from dataclasses import dataclass

from inventory.models import Balance, Location
from inventory.services import in_words
from shop.models import ServiceSheet, SheetPart


@dataclass(frozen=True, slots=True)
class ShortPart:
    """A part of a sheet that is not all there. elsewhere: whose drawer has some."""

    row: SheetPart
    need: str
    here: str
    elsewhere: str


def short_parts(sheets: Iterable[ServiceSheet]) -> list[ShortPart]:
    """What these sheets are short of, by the day it is wanted. Two queries."""
    rows = list(
        SheetPart.objects.filter(sheet__in=sheets, short_steps__gt=0)
        .select_related("part", "sheet__rig", "sheet__component", "for_kit")
        .order_by("sheet__planned_on", "sheet__number", "part__number")
    )
    drawers: dict[int, list[str]] = {}
    balances = Balance.objects.there().filter(
        part__in={row.part_id for row in rows}, location__kind=Location.Kind.DRAWER
    )
    for balance in balances.select_related("part", "location__rig_drawer__rig"):
        drawer = getattr(balance.location, "rig_drawer", None)
        whose = f"{drawer.rig}’s drawer" if drawer else balance.location.code
        has = in_words(balance.part, balance.quantity_steps)
        drawers.setdefault(balance.part_id, []).append(f"{whose} has {has}")
    return [
        ShortPart(
            row=row,
            need=in_words(row.part, row.planned_steps),
            here=in_words(row.part, row.planned_steps - row.short_steps),
            elsewhere="; ".join(drawers.get(row.part_id, [])),
        )
        for row in rows
    ]
