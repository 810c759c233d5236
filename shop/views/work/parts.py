"""The parts of a sheet: taken to its tray, used, and what nobody planned."""

from decimal import Decimal
from typing import Any
from uuid import uuid4

from django.contrib import messages
from django.http import HttpResponse, HttpResponseRedirect
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_POST

from inventory.quantities import QuantityRefused
from inventory.services import StockRefused, in_words
from inventory.services.naming import quantity_of
from shop.forms.taking import AddPartForm
from shop.http import PageRequest
from shop.models import RigDrawer, Role, ServiceSheet, SheetPart
from shop.services import sheet_parts
from shop.services.paper import IN_TRAY, part_places
from shop.services.refusals import SheetClosed, SheetRefused, UsedMoreThanTaken, UsedNotEntered
from shop.views.taking import put_in_tray
from shop.views.work.frame import (
    find_open_sheet,
    find_sheet,
    frame,
    last_checks_url,
    typed_text,
    typed_uuid,
)


def work_parts(request: PageRequest, number: int) -> HttpResponse:
    sheet = find_open_sheet(request, number)
    if isinstance(sheet, HttpResponseRedirect):
        return sheet
    return _parts_page(request, sheet)


@require_POST
def take_parts(request: PageRequest, number: int) -> HttpResponse:
    """Move what was promised into the tray of the sheet."""
    sheet = find_sheet(number)
    try:
        moved = sheet_parts.take_parts(
            sheet=sheet,
            author=request.user,
            at=timezone.now(),
            request_id=typed_uuid(request.POST.get("request_id")),
        )
    except (SheetRefused, StockRefused) as refusal:
        messages.error(request, str(refusal))
    else:
        taken = sum(1 for movement in moved if movement.quantity_steps > 0)
        parts = "1 part" if taken == 1 else f"{taken or 'No'} parts"
        messages.success(request, f"{parts} taken to the tray of sheet {sheet}.")
    return redirect(_back_to(request, reverse("shop:work_parts", args=[number])))


@require_POST
def used(request: PageRequest, number: int) -> HttpResponse:
    """Note how much of each part was used, all of the page at once."""
    sheet = find_sheet(number)
    now = timezone.now()
    errors: dict[int, str] = {}
    rows = list(sheet.parts.select_related("part"))
    for row in rows:
        text = typed_text(request, f"used-{row.pk}")
        if not text:
            continue
        try:
            steps = quantity_of(row.part, text)
            if steps == row.used_steps:
                continue
            sheet_parts.enter_used(
                sheet_part=row,
                used_steps=steps,
                event_id=typed_uuid(request.POST.get(f"event-{row.pk}")),
                author=request.user,
                at=now,
                recorded_at=now,
            )
        except SheetClosed as refusal:
            messages.error(request, str(refusal))
            return redirect("shop:sheet", number)
        except QuantityRefused as refusal:
            errors[row.pk] = str(refusal)
    if errors:
        return _parts_page(request, sheet, errors=errors, typed=request.POST, status=422)
    try:
        sheet_parts.check_used(sheet)
    except UsedMoreThanTaken as refusal:
        # Noted all the same; said here, where it can be put right, before the signature refuses it.
        messages.warning(request, str(refusal))
        return redirect("shop:work_parts", number)
    except UsedNotEntered as refusal:
        messages.warning(request, f"What was typed is noted. {refusal}")
    else:
        messages.success(request, "Parts used are noted.")
    return redirect("shop:work_sign", number)


@require_POST
def add_part(request: PageRequest, number: int) -> HttpResponse:
    """Take a part that was not planned, by its number, from a bin or the rig's own drawer."""
    sheet = find_sheet(number)
    if not sheet.is_open:
        messages.error(request, str(SheetClosed(sheet)))
        return redirect("shop:sheet", number)
    form = _add_form(request, sheet, request.POST)
    if form.is_valid():
        part = form.cleaned_data["part"]
        if put_in_tray(form, sheet=sheet, part=part, author=request.user):
            messages.success(request, f"{part} is in the tray of this sheet.")
            return redirect("shop:work_parts", number)
    return _parts_page(request, sheet, add_form=form, status=422)


def _add_form(request: PageRequest, sheet: ServiceSheet, sent: Any = None) -> AddPartForm:
    drawer = RigDrawer.objects.filter(rig=sheet.rig_id).select_related("location").first()
    return AddPartForm(
        sent,
        now=timezone.now(),
        sheet=sheet,
        drawer=drawer.location.code if drawer else "",
        is_manager=request.user.role == Role.MANAGER,
    )


def _parts_page(
    request: PageRequest,
    sheet: ServiceSheet,
    *,
    errors: dict[int, str] | None = None,
    add_form: AddPartForm | None = None,
    typed: Any = None,
    status: int = 200,
) -> HttpResponse:
    rows = list(sheet.parts.select_related("part", "for_kit", "line__position").order_by("pk"))
    places = part_places(sheet, rows)
    tray = sheet_parts.in_tray(sheet)
    typed = typed or {}
    shown = [
        {
            "row": row,
            "taken": in_words(row.part, tray[row.part_id]) if tray.get(row.part_id) else "",
            "planned": in_words(row.part, row.planned_steps) if row.planned_steps else "",
            "short": in_words(row.part, row.short_steps) if row.short_steps else "",
            "places": places[row.part_id],
            "used": typed.get(f"used-{row.pk}", _used_text(row, tray)),
            "error": (errors or {}).get(row.pk, ""),
            "event_id": uuid4(),
        }
        for row in rows
    ]
    return render(
        request,
        "shop/work/parts.html",
        frame(sheet, "parts")
        | {
            "rows": shown,
            "to_take": any(place != IN_TRAY for row in shown for place, _lot in row["places"]),
            "anything_taken": bool(tray),
            "request_id": uuid4(),
            "add_form": add_form or _add_form(request, sheet),
            "back_url": last_checks_url(sheet),
            "next_url": reverse("shop:work_sign", args=[sheet.number]),
        },
        status=status,
    )


def _used_text(row: SheetPart, tray: dict[int, int]) -> str:
    if row.used_steps is None:
        return ""
    return f"{Decimal(row.used_steps) / row.part.steps_per_unit:f}"


def _back_to(request: PageRequest, otherwise: str) -> str:
    """The page that the form stood on: the sheet's own pages only."""
    back = request.POST.get("back", "")
    return back if back.startswith("/sheets/") else otherwise
