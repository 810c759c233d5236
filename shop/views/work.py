"""The technician's copy of a sheet: cautions, checks, parts, sign. One column, one thumb."""

from decimal import Decimal, InvalidOperation
from typing import Any
from uuid import UUID, uuid4

from django.contrib import messages
from django.http import Http404, HttpResponse, HttpResponseRedirect
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_POST

from equipment.counters import ReadingRefused
from equipment.forms.readings import FaceForm
from equipment.models import Finding
from equipment.services import ReadingsRefused
from inventory.models import Location, Part
from inventory.quantities import QuantityRefused, to_steps
from inventory.services import StockRefused, in_words
from shop.http import PageRequest
from shop.models import (
    ReadingEntry,
    RigDrawer,
    ServiceSheet,
    SheetLine,
    SheetPart,
    SheetStep,
    StepEntry,
)
from shop.services import sheet_parts, signing, working
from shop.services.paper import IN_TRAY, counters_of, limit_text, line_place, part_places
from shop.services.refusals import (
    AlreadySigned,
    ChecksOpen,
    SheetClosed,
    SheetRefused,
    UsedMoreThanTaken,
    UsedNotEntered,
)

Section = SheetStep.Section


def work(request: PageRequest, number: int) -> HttpResponse:
    """Open the sheet where the work is: cautions first, then the first open check."""
    sheet = _sheet(number)
    if not sheet.is_open:
        return redirect("shop:sheet", number)
    if working.still_locked(sheet):
        return redirect("shop:work_cautions", number)
    if open_checks := working.open_checks(sheet):
        line = open_checks[0].line
        if line is not None:
            return redirect("shop:work_checks", number, line.order)
    return redirect("shop:work_sign", number)


def work_cautions(request: PageRequest, number: int) -> HttpResponse:
    sheet = _open_sheet(request, number)
    if isinstance(sheet, HttpResponseRedirect):
        return sheet
    steps = list(_steps(sheet).exclude(section=Section.CHECK))
    return render(
        request,
        "shop/work/cautions.html",
        _frame(sheet, "cautions")
        | {
            "cautions": [_shown(s) for s in steps if s.section == Section.CAUTION],
            "lockouts": [_shown(s) for s in steps if s.section == Section.LOCKOUT],
            "gauges": [_shown(s) for s in steps if s.section == Section.ZERO],
            "next_url": _first_checks_url(sheet),
        },
    )


def work_checks(request: PageRequest, number: int, order: int) -> HttpResponse:
    """The checks of one service, with the next one along the rig a tap away."""
    sheet = _open_sheet(request, number)
    if isinstance(sheet, HttpResponseRedirect):
        return sheet
    lines = list(_lines(sheet))
    place = next((i for i, line in enumerate(lines) if line.order == order), None)
    if place is None:
        raise Http404
    line = lines[place]
    following = lines[place + 1] if place + 1 < len(lines) else None
    if place:
        back = reverse("shop:work_checks", args=[number, lines[place - 1].order])
    else:
        back = reverse("shop:work_cautions", args=[number])
    return render(
        request,
        "shop/work/checks.html",
        _frame(sheet, "checks")
        | {
            "line": line,
            "place": line_place(line),
            "position_number": place + 1,
            "positions": len(lines),
            "steps": [_shown(step) for step in _steps(sheet).filter(line=line)],
            "back_url": back,
            "next_url": reverse("shop:work_checks", args=[number, following.order])
            if following
            else reverse("shop:work_parts", args=[number]),
            "next_label": f"Next: {_short_place(following)}" if following else "Next: parts",
        },
    )


@require_POST
def answer(request: PageRequest, number: int, pk: int) -> HttpResponse:
    """Take one answer; with htmx only its row comes back, else the page does."""
    step = get_object_or_404(
        SheetStep.objects.select_related("sheet__rig", "sheet__component", "line__component"),
        pk=pk,
        sheet__number=number,
    )
    now = timezone.now()
    error = ""
    try:
        working.answer_step(
            step=step,
            event_id=_uuid(request.POST.get("event_id")),
            author=request.user,
            at=now,
            recorded_at=now,
            answer=_text(request, "answer"),
            value=_decimal(_text(request, "value")),
            choice=_text(request, "choice"),
            note=_text(request, "note"),
            remedy=_text(request, "remedy"),
            finding_text=_text(request, "finding_text"),
            is_grave=bool(request.POST.get("is_grave")),
        )
    except SheetRefused as refusal:
        error = str(refusal)
    sheet = _sheet(number)
    step = _steps(sheet).get(pk=pk)
    if not request.htmx and not error:
        return redirect(f"{_page_of(step)}#step-{step.pk}")
    context = _frame(sheet, "checks" if step.section == Section.CHECK else "cautions") | {
        "shown": _shown(step, error=error, typed=request.POST if error else None),
        "is_swap": True,
    }
    if request.htmx:
        return render(request, "shop/work/answered.html", context, status=422 if error else 200)
    return render(request, "shop/work/refused.html", context, status=422)


def work_parts(request: PageRequest, number: int) -> HttpResponse:
    sheet = _open_sheet(request, number)
    if isinstance(sheet, HttpResponseRedirect):
        return sheet
    return _parts_page(request, sheet)


@require_POST
def take_parts(request: PageRequest, number: int) -> HttpResponse:
    """Move what was promised into the tray of the sheet."""
    sheet = _sheet(number)
    try:
        moved = sheet_parts.take_parts(
            sheet=sheet,
            author=request.user,
            at=timezone.now(),
            request_id=_uuid(request.POST.get("request_id")),
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
    sheet = _sheet(number)
    now = timezone.now()
    errors: dict[int, str] = {}
    rows = list(sheet.parts.select_related("part"))
    for row in rows:
        text = _text(request, f"used-{row.pk}")
        if not text:
            continue
        try:
            steps = to_steps(text, steps_per_unit=row.part.steps_per_unit)
            if steps == row.used_steps:
                continue
            sheet_parts.enter_used(
                sheet_part=row,
                used_steps=steps,
                event_id=_uuid(request.POST.get(f"event-{row.pk}")),
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
    sheet = _sheet(number)
    part = Part.objects.filter(number__iexact=_text(request, "part")).first()
    place = Location.objects.filter(code__iexact=_text(request, "place")).first()
    error = ""
    if part is None:
        error = "There is no part of that number."
    elif place is None:
        error = "There is no bin or drawer of that name."
    else:
        try:
            sheet_parts.add_part(
                sheet=sheet,
                part=part,
                location=place,
                quantity_steps=to_steps(
                    _text(request, "quantity"), steps_per_unit=part.steps_per_unit
                ),
                author=request.user,
                at=timezone.now(),
                request_id=_uuid(request.POST.get("request_id")),
                expired_reason=_text(request, "expired_reason"),
            )
        except (SheetRefused, StockRefused, QuantityRefused) as refusal:
            error = str(refusal)
    if error:
        return _parts_page(request, sheet, add_error=error, typed=request.POST, status=422)
    messages.success(request, f"{part} is in the tray of this sheet.")
    return redirect("shop:work_parts", number)


def work_sign(request: PageRequest, number: int) -> HttpResponse:
    """Readings, what is still open, the signature."""
    sheet = _open_sheet(request, number)
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
    minutes = _text(request, "labour_minutes")
    try:
        if not minutes.isdecimal() or int(minutes) > 60 * 24 * 7:
            raise SheetRefused("Say how long the work took, in minutes.")
        signing.sign_sheet(
            sheet=sheet,
            author=request.user,
            at=now,
            signature=_text(request, "signature"),
            labour_minutes=int(minutes),
            leave_undone=bool(request.POST.get("leave_undone")),
            signing_id=_uuid(request.POST.get("signing_id")),
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
                event_id=_uuid(request.POST.get(f"event-{face.counter.pk}")),
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
        _frame(sheet, "sign")
        | {
            "faces": [(face, uuid4()) for face in faces or _faces(sheet)],
            "missing": missing,
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
    versions = [line.version for line in sheet.lines.select_related("version")]
    return sum(version.labour_minutes for version in versions if version) or ""


def _parts_page(
    request: PageRequest,
    sheet: ServiceSheet,
    *,
    errors: dict[int, str] | None = None,
    add_error: str = "",
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
    drawer = RigDrawer.objects.filter(rig=sheet.rig_id).select_related("location").first()
    return render(
        request,
        "shop/work/parts.html",
        _frame(sheet, "parts")
        | {
            "rows": shown,
            "to_take": any(place != IN_TRAY for row in shown for place, _lot in row["places"]),
            "anything_taken": bool(tray),
            "drawer": drawer.location if drawer else None,
            "request_id": uuid4(),
            "add_id": typed.get("request_id") or uuid4(),
            "add_error": add_error,
            "typed": typed,
            "back_url": _last_checks_url(sheet),
            "next_url": reverse("shop:work_sign", args=[sheet.number]),
        },
        status=status,
    )


def _used_text(row: SheetPart, tray: dict[int, int]) -> str:
    if row.used_steps is None:
        return ""
    return f"{Decimal(row.used_steps) / row.part.steps_per_unit:f}"


def _frame(sheet: ServiceSheet, here: str) -> dict[str, Any]:
    """What stands on each of the four pages: the sheet, its tabs, what holds the rig."""
    steps = list(sheet.steps.values_list("section", "entry_id", "entry__value"))
    before = [s for s in steps if s[0] != Section.CHECK]
    checks = [s for s in steps if s[0] == Section.CHECK]
    read = sum(
        1
        for section, entry, value in before
        if entry is not None and (section != Section.ZERO or value == 0)
    )
    rig = sheet.rig
    return {
        "sheet": sheet,
        "rig": rig,
        "here": here,
        "cautions_done": read,
        "cautions_all": len(before),
        "checks_done": sum(1 for s in checks if s[1] is not None),
        "checks_all": len(checks),
        "parts_all": sheet.parts.count(),
        "is_locked": read < len(before),
        "locked_steps": working.still_locked(sheet) if read < len(before) else [],
        "findings": Finding.objects.holding().of_rig(rig) if rig else [],
        "first_checks_url": _first_checks_url(sheet),
    }


def _shown(step: SheetStep, *, error: str = "", typed: Any = None) -> dict[str, Any]:
    """One step with what is typed into it now, or was before it was refused."""
    entry = step.entry
    typed = typed or {}
    value = typed.get("value", "")
    if not value and entry is not None and entry.value is not None:
        value = f"{entry.value.normalize():f}"
    asks = bool(typed) and _is_outside(step, value)
    return {
        "step": step,
        "entry": entry,
        "event_id": typed.get("event_id") if error else uuid4(),
        "error": error,
        "value": value,
        "measured": _decimal(str(value)),
        "limit": limit_text(step),
        "asks": asks,
        "remedies": [(r.value, r.label) for r in StepEntry.Remedy if r.value],
        "typed": typed,
        "increment": _increment(step),
        "start": step.last_value if step.last_value is not None else (step.low or step.high or 0),
    }


def _is_outside(step: SheetStep, text: str) -> bool:
    value = _decimal(text)
    return value is not None and step.section == Section.CHECK and step.is_outside(value)


def _increment(step: SheetStep) -> str:
    """The step of the minus and plus buttons: a digit of the limit."""
    limit = step.high if step.high is not None else step.low
    if limit is None:
        return "1"
    exponent = limit.normalize().as_tuple().exponent
    places = -exponent if isinstance(exponent, int) and exponent < 0 else 0
    return f"{Decimal(1).scaleb(-places):f}"


def _sheet(number: int) -> ServiceSheet:
    return get_object_or_404(
        ServiceSheet.objects.select_related(
            "rig", "component__type__kind", "charged_rig", "technician", "signed_by", "tray"
        ),
        number=number,
    )


def _open_sheet(request: PageRequest, number: int) -> ServiceSheet | HttpResponseRedirect:
    sheet = _sheet(number)
    if sheet.is_open:
        return sheet
    if request.method == "POST":
        if sheet.state != ServiceSheet.State.SIGNED:
            messages.error(request, str(SheetClosed(sheet)))
        elif f"{sheet.signing_id}" == request.POST.get("signing_id"):
            messages.success(request, f"Sheet {sheet} is signed.")  # the same finger, twice
        else:
            messages.error(request, str(AlreadySigned(sheet)))
    return redirect("shop:sheet", number)


def _steps(sheet: ServiceSheet) -> Any:
    return sheet.steps.select_related(
        "sheet", "entry__author", "entry__finding", "line__component", "line__version"
    ).order_by("section", "order")


def _lines(sheet: ServiceSheet) -> Any:
    return sheet.lines.select_related(
        "version__service", "component__type__kind", "position__kind", "finding"
    ).order_by("order")


def _short_place(line: SheetLine | None) -> str:
    if line is None:
        return ""
    return line.position.label if line.position else line.title


def _first_checks_url(sheet: ServiceSheet) -> str:
    first = sheet.lines.order_by("order").values_list("order", flat=True).first()
    return reverse("shop:work_checks", args=[sheet.number, first]) if first else ""


def _last_checks_url(sheet: ServiceSheet) -> str:
    last = sheet.lines.order_by("-order").values_list("order", flat=True).first()
    return reverse("shop:work_checks", args=[sheet.number, last]) if last else ""


def _page_of(step: SheetStep) -> str:
    if step.section == Section.CHECK and step.line is not None:
        return reverse("shop:work_checks", args=[step.sheet.number, step.line.order])
    return reverse("shop:work_cautions", args=[step.sheet.number])


def _back_to(request: PageRequest, otherwise: str) -> str:
    """The page that the form stood on: the sheet's own pages only."""
    back = request.POST.get("back", "")
    return back if back.startswith("/sheets/") else otherwise


def _text(request: PageRequest, name: str) -> str:
    """What was typed, without the NUL that no keyboard has and PostgreSQL refuses."""
    return request.POST.get(name, "").replace("\x00", "").strip()


def _uuid(text: str | None) -> UUID:
    try:
        return UUID(text or "")
    except ValueError as error:
        raise Http404 from error


def _decimal(text: str) -> Decimal | None:
    """A number as typed on a phone: "1,234.5", "−20", "57"; None for anything else."""
    try:
        number = Decimal(text.strip().replace(",", "").replace("−", "-"))
    except InvalidOperation:
        return None
    return number if number.is_finite() and abs(number) < 10**8 else None
