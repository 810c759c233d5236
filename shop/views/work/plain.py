"""What a phone sends whose script does not run: each form by itself, answered with the page.

The others send entries, which a browser keeps until they have arrived (`entries`).
"""

import re

from django.contrib import messages
from django.http import HttpResponse, HttpResponseRedirect
from django.shortcuts import get_object_or_404, redirect, resolve_url
from django.utils import timezone
from django.utils.text import format_lazy
from django.utils.translation import gettext, gettext_lazy, ngettext_lazy
from django.views.decorators.http import require_POST

from equipment.counters import ReadingRefused
from equipment.forms.readings import FaceForm
from equipment.services import ReadingsRefused
from inventory.quantities import QuantityRefused
from inventory.services import StockRefused
from inventory.services.naming import quantity_of
from shop.http import PageRequest
from shop.models import ServiceSheet, SheetStep
from shop.services import sheet_parts, signing, taking_off, working
from shop.services.answers import typed_value
from shop.services.refusals import (
    AlreadySigned,
    ChecksLocked,
    ChecksOpen,
    SheetClosed,
    SheetRefused,
    UsedMoreThanTaken,
    UsedNotEntered,
)
from shop.services.replaced import NoPartUsed, refuse_without_parts
from shop.views.taking import put_in_tray
from shop.views.work.checks import READ_AGAIN, RefusedAnswer
from shop.views.work.frame import (
    find_open_sheet,
    find_sheet,
    lead,
    signed_words,
    typed_text,
    typed_uuid,
)
from shop.views.work.page import address_of, work_page
from shop.views.work.parts import RefusedUses, add_form_of
from shop.views.work.sign import RefusedSignature, faces_of


@require_POST
def answer(request: PageRequest, number: int, pk: int) -> HttpResponse:
    """Take one answer."""
    step = get_object_or_404(SheetStep.objects.select_related("sheet"), pk=pk, sheet__number=number)
    now, unit = timezone.now(), typed_text(request, "unit")
    if typed_text(request, "answer") == READ_AGAIN:
        asked = RefusedAnswer(pk, "", request.POST)
        return work_page(request, find_sheet(number), refused_answer=asked)
    try:
        working.answer_step(
            step=step,
            event_id=typed_uuid(request.POST.get("event_id")),
            author=request.user,
            at=now,
            recorded_at=now,
            answer=typed_text(request, "answer"),
            value=typed_value(step, typed_text(request, "value"), unit),
            left_value=typed_value(
                step, typed_text(request, "left_value"), unit, field="left_value"
            ),
            choice=typed_text(request, "choice"),
            note=typed_text(request, "note"),
            remedy=typed_text(request, "remedy"),
            finding_text=typed_text(request, "finding_text"),
            is_grave=bool(request.POST.get("is_grave")),
        )
    except SheetClosed as refusal:
        return lead(request, resolve_url("shop:sheet", number), messages.ERROR, refusal)
    except SheetRefused as refusal:
        first = refusal.missing[0] if isinstance(refusal, ChecksLocked) else None
        refused = RefusedAnswer(pk, str(refusal), request.POST, first)
        return work_page(request, find_sheet(number), refused_answer=refused, status=422)
    return redirect(address_of(step.sheet, f"step-{pk}"))


@require_POST
def take_parts(request: PageRequest, number: int) -> HttpResponse:
    """Move what was promised into the tray of the sheet."""
    sheet = find_sheet(number)
    back = _back_to(request, address_of(sheet, "parts"))
    try:
        moved = sheet_parts.take_parts(
            sheet=sheet,
            author=request.user,
            at=timezone.now(),
            request_id=typed_uuid(request.POST.get("request_id")),
        )
    except (SheetRefused, StockRefused) as refusal:
        return lead(request, back, messages.ERROR, refusal)
    taken = sum(1 for movement in moved if movement.quantity_steps > 0)
    text = (
        ngettext_lazy(
            "{n} part taken to the tray of sheet {sheet}.",
            "{n} parts taken to the tray of sheet {sheet}.",
            taken,
        )
        if taken
        else gettext_lazy("No parts taken to the tray of sheet {sheet}.")
    )
    return lead(request, back, messages.SUCCESS, format_lazy(text, n=taken, sheet=sheet))


@require_POST
def used(request: PageRequest, number: int) -> HttpResponse:
    """Note how much of each part was used, all of the page at once."""
    sheet = find_sheet(number)
    now = timezone.now()
    if off := typed_text(request, "take_off"):
        return _take_off(request, sheet, off)
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
            return lead(request, resolve_url("shop:sheet", number), messages.ERROR, refusal)
        except QuantityRefused as refusal:
            errors[row.pk] = refusal.said(gettext)
    if errors:
        refused = RefusedUses(errors, request.POST)
        return work_page(request, sheet, refused_uses=refused, status=422)
    try:
        sheet_parts.check_used(sheet)
    except UsedMoreThanTaken as refusal:
        # Noted all the same; said here, where it can be put right, before the signature refuses it.
        return lead(request, address_of(sheet, "parts"), messages.WARNING, refusal)
    except UsedNotEntered as refusal:
        noted = gettext_lazy("What was typed is noted.")
        return lead(request, address_of(sheet, "sign"), messages.WARNING, noted, refusal)
    noted = gettext_lazy("Parts used are noted.")
    return lead(request, address_of(sheet, "sign"), messages.SUCCESS, noted)


def _take_off(request: PageRequest, sheet: ServiceSheet, typed: str) -> HttpResponse:
    """Take off a part that nobody planned. typed: "12 1b4e…", its row and the request."""
    pk, _, event = typed.partition(" ")
    key = int(pk) if re.fullmatch(r"[0-9]{1,18}", pk) else 0
    row = get_object_or_404(sheet.parts.select_related("part"), pk=key)
    back = address_of(sheet, "parts")
    now = timezone.now()
    try:
        taking_off.take_off_part(
            row=row, author=request.user, at=now, recorded_at=now, request_id=typed_uuid(event)
        )
    except (SheetRefused, StockRefused) as refusal:
        return lead(request, back, messages.ERROR, refusal)
    text = format_lazy(gettext_lazy("{part} is taken off."), part=row.part.name)
    return lead(request, back, messages.SUCCESS, text)


@require_POST
def add_part(request: PageRequest, number: int) -> HttpResponse:
    """Take a part that was not planned, by its number, from a bin or the rig's own drawer."""
    sheet = find_sheet(number)
    if not sheet.is_open:
        return lead(request, resolve_url("shop:sheet", number), messages.ERROR, SheetClosed(sheet))
    form = add_form_of(request, sheet, request.POST)
    if form.is_valid():
        part = form.cleaned_data["part"]
        if put_in_tray(form, sheet=sheet, part=part, author=request.user):
            there = format_lazy(gettext_lazy("{part} is in the tray of this sheet."), part=part)
            return lead(request, address_of(sheet, "parts"), messages.SUCCESS, there)
    return work_page(request, sheet, add_form=form, status=422)


@require_POST
def sign(request: PageRequest, number: int) -> HttpResponse:
    """Keep the readings, and sign unless it is for later."""
    sheet = find_open_sheet(request, number)
    if isinstance(sheet, HttpResponseRedirect):
        return sheet
    now = timezone.now()
    faces = faces_of(sheet, request.POST)
    if not _enter_readings(request, sheet, faces):
        refused = RefusedSignature(faces, "", request.POST)
        return work_page(request, sheet, refused_signature=refused, status=422)
    if request.POST.get("act") == "keep":
        kept = gettext_lazy("Readings are kept on the sheet until it is signed.")
        return lead(request, address_of(sheet, "sign"), messages.SUCCESS, kept)
    minutes = typed_text(request, "labour_minutes")
    try:
        if not minutes.isdecimal() or int(minutes) > 60 * 24 * 7:
            raise SheetRefused(gettext_lazy("Say how long the work took, in minutes."))
        if not request.POST.get("no_parts"):
            refuse_without_parts(sheet)
        signing.sign_sheet(
            sheet=sheet,
            author=request.user,
            at=now,
            signature=typed_text(request, "signature"),
            labour_minutes=int(minutes),
            leave_undone=bool(request.POST.get("leave_undone")),
            signing_id=typed_uuid(request.POST.get("signing_id")),
        )
    except AlreadySigned as refusal:
        return lead(request, resolve_url("shop:sheet", number), messages.ERROR, refusal)
    except ReadingsRefused as refusal:
        for face in faces:
            if error := refusal.errors.get(face.counter.pk):
                face.refuse(error)
        refused = RefusedSignature(faces, "", request.POST)
        return work_page(request, sheet, refused_signature=refused, status=422)
    except NoPartUsed as question:
        refused = RefusedSignature(faces, "", request.POST, no_part_used=str(question))
        return work_page(request, sheet, refused_signature=refused, status=422)
    except (ChecksOpen, UsedNotEntered, UsedMoreThanTaken, SheetRefused, StockRefused) as refusal:
        refused = RefusedSignature(faces, str(refusal), request.POST)
        return work_page(request, sheet, refused_signature=refused, status=422)
    return lead(request, resolve_url("shop:sheet", number), messages.SUCCESS, signed_words(sheet))


def _enter_readings(request: PageRequest, sheet: ServiceSheet, faces: list[FaceForm]) -> bool:
    """Keep each reading that was typed and differs from what is kept; False where one is refused,
    with the reason beside it."""
    now = timezone.now()
    is_sound = True
    for face in faces:
        if not face.is_valid():
            is_sound = False
            continue
        new = face.reading()
        if new is None or face.is_as_kept(new):
            continue
        try:
            working.enter_reading(
                sheet=sheet,
                new=new,
                event_id=typed_uuid(request.POST.get(f"event-{face.counter.pk}")),
                author=request.user,
                at=now,
                recorded_at=now,
            )
        except ReadingRefused as refusal:
            face.refuse(refusal)
            is_sound = False
        except SheetRefused as refusal:
            face.add_error("value", str(refusal))
            is_sound = False
    return is_sound


def _back_to(request: PageRequest, otherwise: str) -> str:
    """The page that the form stood on: the sheet's own pages only."""
    back = request.POST.get("back", "")
    return back if back.startswith("/sheets/") else otherwise
