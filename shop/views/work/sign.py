"""Readings, what is still open, and the signature."""

from typing import Any
from uuid import uuid4

from django.contrib import messages
from django.http import HttpResponse, HttpResponseRedirect
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone

from equipment.counters import ReadingRefused
from equipment.forms.readings import FaceForm
from equipment.models import Finding
from equipment.services import ReadingsRefused
from inventory.services import StockRefused
from shop.http import PageRequest
from shop.models import ReadingEntry, ServiceSheet, SheetStep
from shop.services import sheet_parts, signing, working
from shop.services.paper import counters_of
from shop.services.refusals import (
    AlreadySigned,
    ChecksOpen,
    SheetRefused,
    UsedMoreThanTaken,
    UsedNotEntered,
)
from shop.views.work.checks import shown_step, steps_of
from shop.views.work.frame import find_open_sheet, frame, typed_text, typed_uuid

Section = SheetStep.Section


def work_sign(request: PageRequest, number: int) -> HttpResponse:
    """Readings, what is still open, the signature."""
    sheet = find_open_sheet(request, number)
    if isinstance(sheet, HttpResponseRedirect):
        return sheet
    if request.method == "POST":
        return _sign(request, sheet)
    return _sign_page(request, sheet)


def _sign(request: PageRequest, sheet: ServiceSheet) -> HttpResponse:
    now = timezone.now()
    faces = _faces(sheet, request.POST)
    if not _enter_readings(request, sheet, faces):
        return _sign_page(request, sheet, faces=faces, status=422)
    if request.POST.get("act") == "keep":
        messages.success(request, "Readings are kept on the sheet until it is signed.")
        return redirect("shop:work_sign", sheet.number)
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
        return _sign_page(request, sheet, faces=faces, status=422)
    except (ChecksOpen, UsedNotEntered, UsedMoreThanTaken, SheetRefused, StockRefused) as refusal:
        return _sign_page(request, sheet, faces=faces, error=str(refusal), status=422)
    messages.success(request, f"Sheet {sheet} is signed.")
    return redirect("shop:sheet", sheet.number)


def _faces(sheet: ServiceSheet, sent: Any = None) -> list[FaceForm]:
    """The counters of the sheet, each with what was kept of it or is sent now."""
    kept = {entry.counter_id: entry for entry in sheet.readings.filter(is_in_force=True)}
    now = timezone.now()
    return [
        FaceForm(
            sent,
            now=now,
            counter=counter,
            initial=_kept_of(kept[counter.pk]) if counter.pk in kept else {},
        )
        for counter in counters_of(sheet)
    ]


def _kept_of(entry: ReadingEntry) -> dict[str, Any]:
    return {
        "value": entry.value,
        "step": entry.step,
        "before_reset": entry.before_reset,
        "face_start": entry.face_start,
    }


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


def _sign_page(
    request: PageRequest,
    sheet: ServiceSheet,
    *,
    error: str = "",
    faces: list[FaceForm] | None = None,
    status: int = 200,
) -> HttpResponse:
    typed: Any = request.POST if status == 422 else {}
    missing = working.open_checks(sheet)
    minutes = typed.get("labour_minutes", "") or _likely_minutes(sheet)
    return render(
        request,
        "shop/work/sign.html",
        frame(sheet, "sign")
        | {
            "faces": [(face, uuid4()) for face in faces or _faces(sheet)],
            "missing": missing,
            "returns": [
                shown_step(step) for step in steps_of(sheet).filter(section=Section.RETURN)
            ],
            "missing_lines": sorted({step.line.title for step in missing if step.line}),
            "locked": working.still_locked(sheet),
            "found": Finding.objects.filter(
                source_kind=sheet_parts.SOURCE, source_number=sheet.number
            ).order_by("pk"),
            "error": error,
            "typed": typed,
            "minutes": minutes,
            "signing_id": typed.get("signing_id") or uuid4(),
            "signature": typed.get("signature", request.user.name),
            "back_url": reverse("shop:work_parts", args=[sheet.number]),
        },
        status=status,
    )


def _likely_minutes(sheet: ServiceSheet) -> int | str:
    """Since the start where that was today; a night is no work, so else what was planned."""
    now = timezone.now()
    if sheet.started_at and timezone.localdate(sheet.started_at) == timezone.localdate(now):
        return max(1, round((now - sheet.started_at).total_seconds() / 60))
    versions = [line.version for line in sheet.lines.select_related("version__service")]
    return sum(version.planned_minutes for version in versions if version) or ""
