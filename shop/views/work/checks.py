"""Cautions, lockout, gauges and checks: one step after the other, each with its answer."""

from decimal import Decimal, InvalidOperation
from typing import Any
from uuid import uuid4

from django.http import Http404, HttpResponse, HttpResponseRedirect
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_POST

from shop.http import PageRequest
from shop.models import ServiceSheet, SheetLine, SheetStep, StepEntry
from shop.services import working
from shop.services.paper import limit_text, line_place
from shop.services.refusals import SheetRefused
from shop.views.work.frame import (
    find_open_sheet,
    find_sheet,
    first_checks_url,
    frame,
    typed_text,
    typed_uuid,
)

Section = SheetStep.Section
PAGES = {Section.CHECK: "checks", Section.RETURN: "sign"}
AFTER_LOCKOUT = (Section.CHECK, Section.RETURN)


def work(request: PageRequest, number: int) -> HttpResponse:
    """Open the sheet where the work is: cautions first, then the first open check."""
    sheet = find_sheet(number)
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
    sheet = find_open_sheet(request, number)
    if isinstance(sheet, HttpResponseRedirect):
        return sheet
    steps = list(steps_of(sheet).exclude(section__in=AFTER_LOCKOUT))
    return render(
        request,
        "shop/work/cautions.html",
        frame(sheet, "cautions")
        | {
            "cautions": [shown_step(s) for s in steps if s.section == Section.CAUTION],
            "lockouts": [shown_step(s) for s in steps if s.section == Section.LOCKOUT],
            "gauges": [shown_step(s) for s in steps if s.section == Section.ZERO],
            "next_url": first_checks_url(sheet),
        },
    )


def work_checks(request: PageRequest, number: int, order: int) -> HttpResponse:
    """The checks of one service, with the next one along the rig a tap away."""
    sheet = find_open_sheet(request, number)
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
        frame(sheet, "checks")
        | {
            "line": line,
            "place": line_place(line),
            "position_number": place + 1,
            "positions": len(lines),
            "steps": [shown_step(step) for step in steps_of(sheet).filter(line=line)],
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
            event_id=typed_uuid(request.POST.get("event_id")),
            author=request.user,
            at=now,
            recorded_at=now,
            answer=typed_text(request, "answer"),
            value=_decimal(typed_text(request, "value")),
            choice=typed_text(request, "choice"),
            note=typed_text(request, "note"),
            remedy=typed_text(request, "remedy"),
            finding_text=typed_text(request, "finding_text"),
            is_grave=bool(request.POST.get("is_grave")),
        )
    except SheetRefused as refusal:
        error = str(refusal)
    sheet = find_sheet(number)
    step = steps_of(sheet).get(pk=pk)
    if not request.htmx and not error:
        return redirect(f"{_page_of(step)}#step-{step.pk}")
    context = frame(sheet, PAGES.get(Section(step.section), "cautions")) | {
        "shown": shown_step(step, error=error, typed=request.POST if error else None),
        "is_swap": True,
    }
    if request.htmx:
        return render(request, "shop/work/answered.html", context, status=422 if error else 200)
    return render(request, "shop/work/refused.html", context, status=422)


def shown_step(step: SheetStep, *, error: str = "", typed: Any = None) -> dict[str, Any]:
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


def steps_of(sheet: ServiceSheet) -> Any:
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


def _page_of(step: SheetStep) -> str:
    if step.section == Section.CHECK and step.line is not None:
        return reverse("shop:work_checks", args=[step.sheet.number, step.line.order])
    if step.section == Section.RETURN:
        return reverse("shop:work_sign", args=[step.sheet.number])
    return reverse("shop:work_cautions", args=[step.sheet.number])


def _decimal(text: str) -> Decimal | None:
    """A number as typed on a phone: "1,234.5", "−20", "57"; None for anything else."""
    try:
        number = Decimal(text.strip().replace(",", "").replace("−", "-"))
    except InvalidOperation:
        return None
    return number if number.is_finite() and abs(number) < 10**8 else None
