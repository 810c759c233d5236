"""What a phone sends whose script does not run: each form by itself, answered with the page.

The others send entries, which a browser keeps until they have arrived (`entries`).
"""

from django.contrib import messages
from django.http import HttpResponse, HttpResponseRedirect
from django.shortcuts import get_object_or_404, redirect
from django.utils import timezone
from django.views.decorators.http import require_POST

from equipment.counters import ReadingRefused
from equipment.forms.readings import FaceForm
from equipment.services import ReadingsRefused
from inventory.quantities import QuantityRefused
from inventory.services import StockRefused
from inventory.services.naming import quantity_of
from shop.http import PageRequest
from shop.models import ServiceSheet, SheetStep
from shop.services import sheet_parts, signing, working
from shop.services.refusals import (
    AlreadySigned,
    ChecksOpen,
    SheetClosed,
    SheetRefused,
    UsedMoreThanTaken,
    UsedNotEntered,
)
from shop.views.taking import put_in_tray
from shop.views.work.checks import RefusedAnswer
from shop.views.work.frame import find_open_sheet, find_sheet, typed_text, typed_uuid
from shop.views.work.page import address_of, work_page
from shop.views.work.parts import RefusedUses, add_form_of
from shop.views.work.sign import RefusedSignature, faces_of


@require_POST
def answer(request: PageRequest, number: int, pk: int) -> HttpResponse:
    """Take one answer."""
    step = get_object_or_404(SheetStep.objects.select_related("sheet"), pk=pk, sheet__number=number)
    now = timezone.now()
    try:
        working.answer_step(
            step=step,
            event_id=typed_uuid(request.POST.get("event_id")),
            author=request.user,
            at=now,
            recorded_at=now,
            answer=typed_text(request, "answer"),
            value=working.typed_value(step, typed_text(request, "value")),
            choice=typed_text(request, "choice"),
            note=typed_text(request, "note"),
            remedy=typed_text(request, "remedy"),
            finding_text=typed_text(request, "finding_text"),
            is_grave=bool(request.POST.get("is_grave")),
        )
    except SheetClosed as refusal:
        messages.error(request, str(refusal))
        return redirect("shop:sheet", number)
    except SheetRefused as refusal:
        refused = RefusedAnswer(pk, str(refusal), request.POST)
        return work_page(request, find_sheet(number), refused_answer=refused, status=422)
    return redirect(address_of(step.sheet, f"step-{pk}"))


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
    return redirect(_back_to(request, address_of(sheet, "parts")))


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
        refused = RefusedUses(errors, request.POST)
        return work_page(request, sheet, refused_uses=refused, status=422)
    try:
        sheet_parts.check_used(sheet)
    except UsedMoreThanTaken as refusal:
        # Noted all the same; said here, where it can be put right, before the signature refuses it.
        messages.warning(request, str(refusal))
        return redirect(address_of(sheet, "parts"))
    except UsedNotEntered as refusal:
        messages.warning(request, f"What was typed is noted. {refusal}")
    else:
        messages.success(request, "Parts used are noted.")
    return redirect(address_of(sheet, "sign"))


@require_POST
def add_part(request: PageRequest, number: int) -> HttpResponse:
    """Take a part that was not planned, by its number, from a bin or the rig's own drawer."""
    sheet = find_sheet(number)
    if not sheet.is_open:
        messages.error(request, str(SheetClosed(sheet)))
        return redirect("shop:sheet", number)
    form = add_form_of(request, sheet, request.POST)
    if form.is_valid():
        part = form.cleaned_data["part"]
        if put_in_tray(form, sheet=sheet, part=part, author=request.user):
            messages.success(request, f"{part} is in the tray of this sheet.")
            return redirect(address_of(sheet, "parts"))
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
        messages.success(request, "Readings are kept on the sheet until it is signed.")
        return redirect(address_of(sheet, "sign"))
    minutes = typed_text(request, "labour_minutes")
    try:
        if not minutes.isdecimal() or int(minutes) > 60 * 24 * 7:
            raise SheetRefused("Say how long the work took, in minutes.")
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
        messages.error(request, str(refusal))
        return redirect("shop:sheet", sheet.number)
    except ReadingsRefused as refusal:
        for face in faces:
            if error := refusal.errors.get(face.counter.pk):
                face.refuse(error)
        refused = RefusedSignature(faces, "", request.POST)
        return work_page(request, sheet, refused_signature=refused, status=422)
    except (ChecksOpen, UsedNotEntered, UsedMoreThanTaken, SheetRefused, StockRefused) as refusal:
        refused = RefusedSignature(faces, str(refusal), request.POST)
        return work_page(request, sheet, refused_signature=refused, status=422)
    messages.success(request, f"Sheet {sheet} is signed.")
    return redirect("shop:sheet", sheet.number)


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
