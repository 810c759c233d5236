"""The parts of a sheet: taken to its tray, used, and what nobody planned."""

from dataclasses import dataclass
from decimal import Decimal
from typing import Any
from uuid import uuid4

from django.utils import timezone

from inventory.quantities import to_units
from inventory.services import in_words
from inventory.services.posting import unit_in_words
from shop.forms.taking import AddPartForm
from shop.http import PageRequest
from shop.models import RigDrawer, Role, ServiceSheet, SheetPart
from shop.services import sheet_parts
from shop.services.known_parts import known_parts, known_places
from shop.services.paper.parts import IN_TRAY, part_places


@dataclass(frozen=True, slots=True)
class RefusedUses:
    """What was used, as typed, and why some of it was not taken: by the row's key."""

    errors: dict[int, str]
    typed: Any


def add_form_of(request: PageRequest, sheet: ServiceSheet, sent: Any = None) -> AddPartForm:
    drawer = RigDrawer.objects.filter(rig=sheet.rig_id).select_related("location").first()
    return AddPartForm(
        sent,
        now=timezone.now(),
        sheet=sheet,
        drawer=drawer.location.code if drawer else "",
        is_manager=request.user.role == Role.MANAGER,
    )


def parts_context(
    request: PageRequest,
    sheet: ServiceSheet,
    refused: RefusedUses | None,
    add_form: AddPartForm | None,
) -> dict[str, Any]:
    """Each part of the sheet with where it lies and how much was used of it."""
    rows = list(sheet.parts.select_related("part", "for_kit", "line__position").order_by("pk"))
    places = part_places(sheet, rows)
    tray = sheet_parts.in_tray(sheet)
    typed = refused.typed if refused else {}
    return {
        "rows": [
            {
                "row": row,
                "taken": in_words(row.part, tray[row.part_id]) if tray.get(row.part_id) else "",
                "planned": in_words(row.part, row.planned_steps) if row.planned_steps else "",
                **_likely(row, tray.get(row.part_id, 0)),
                "short": in_words(row.part, row.short_steps) if row.short_steps else "",
                "places": places[row.part_id],
                "one": unit_in_words(row.part.unit_name, is_one=True),
                "many": unit_in_words(row.part.unit_name, is_one=False),
                "unit_places": -int(to_units(1, row.part.steps_per_unit).as_tuple().exponent),
                "used": typed.get(f"used-{row.pk}", _used_text(row)),
                "error": refused.errors.get(row.pk, "") if refused else "",
                "event_id": uuid4(),
                "off_id": "" if row.planned_steps else uuid4(),
            }
            for row in rows
        ],
        "to_take": any(place != IN_TRAY for row in rows for place, _lot in places[row.part_id]),
        "take_id": uuid4(),
        "known_parts": known_parts(sheet),
        "known_places": known_places(sheet),
        "add_form": add_form or add_form_of(request, sheet),
    }


def _likely(row: SheetPart, taken: int) -> dict[str, str]:
    """What one tap says was used: what is planned, else all that lies in the tray. [steps]"""
    steps = row.planned_steps or taken
    if not steps:
        return {"likely": "", "likely_units": ""}
    units = to_units(steps, row.part.steps_per_unit)
    return {"likely": in_words(row.part, steps), "likely_units": f"{units:f}"}


def _used_text(row: SheetPart) -> str:
    if row.used_steps is None:
        return ""
    return f"{Decimal(row.used_steps) / row.part.steps_per_unit:f}"
