"""What a scanner read or a person typed, and where it leads."""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

from django.db.models import QuerySet
from django.urls import reverse

from equipment.models import Rig
from inventory.models import Location, Part, PartCode
from inventory.services.naming import on_label
from shop.models import ServiceSheet

#: Parts that are offered where several fit.
MOST_PARTS: Final = 20
_SHEET: Final = re.compile(r"(?:sheet\s*)?#?\s*(\d{1,9})", re.IGNORECASE)
_RIG: Final = re.compile(r"(?:rig\s*)?#?\s*(\d{1,4})", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class Found:
    """Where it leads; or, where no one thing is meant, the parts that fit and what to say."""

    address: str = ""
    said: str = ""
    parts: Sequence[Part] = ()


def find(text: str) -> Found:
    """Return where a scanned or typed text leads, whatever its case.

    In this order: our own address from a label, a part's number, a maker's code, a place, a
    sheet, a rig, words of a part's name.
    """
    asked = text.strip()
    if not asked:
        return Found(said="Scan or type something.")
    if ours := on_label(asked):
        address = address_of(*ours)
        return Found(address) if address else Found(said=_unknown(*ours))
    for kind in ("part", "code", "place", "sheet", "rig"):
        if address := address_of(kind, asked):
            return Found(address)
    parts = Part.objects.search(asked).order_by("number")[: MOST_PARTS + 1]
    if len(parts) == 1:
        return Found(reverse("inventory:part", args=[parts[0].number]))
    if parts:
        many = f"More than {MOST_PARTS}" if len(parts) > MOST_PARTS else str(len(parts))
        return Found(said=f"{many} parts fit “{asked}”.", parts=list(parts[:MOST_PARTS]))
    return Found(said=f"Nothing is known as “{asked}”: no part, package, place, sheet or rig.")


def address_of(kind: str, code: str) -> str:
    """Return the page of one thing; empty where there is none.

    kind: "part", "code" (of a maker's package), "place", "sheet" or "rig".
    """
    if "\x00" in code:  # no column holds it, and PostgreSQL will not look for it
        return ""
    if kind == "part" and (part := _one(Part.objects.filter(number__iexact=code), code)):
        return reverse("inventory:part", args=[part.number])
    if kind == "code" and (row := PartCode.objects.filter(code=code).first()):
        return reverse("inventory:part", args=[row.part.number])
    if kind == "place" and (place := _one(Location.objects.filter(code__iexact=code), code)):
        return reverse("inventory:location", args=[place.code])
    if kind == "sheet" and (number := _SHEET.fullmatch(code)):
        sheet = ServiceSheet.objects.filter(number=int(number[1])).first()
        return reverse("shop:sheet", args=[sheet.number]) if sheet else ""
    if kind == "rig" and (number := _RIG.fullmatch(code)):
        rig = Rig.objects.filter(number=int(number[1])).first()
        return reverse("shop:rig", args=[rig.number]) if rig else ""
    return ""


def _one(rows: QuerySet[Any], code: str) -> Any:
    """The row, or None; of two that differ in case only, the one written just so."""
    found = list(rows[:10])
    exact = [row for row in found if code in (getattr(row, "number", ""), getattr(row, "code", ""))]
    return next(iter(exact or found), None)


def _unknown(kind: str, code: str) -> str:
    words = {"part": "part", "place": "place", "sheet": "sheet", "rig": "rig", "code": "package"}
    if kind not in words:
        return "That label is not one of this shop."
    return f"There is no {words[kind]} {code} any more, or there never was."
