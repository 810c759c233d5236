"""A paper sheet keyed in at the desk, on one dense page."""

from typing import Any

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from shop.forms.keying import KeyedForm
from shop.http import PageRequest
from shop.models import ServiceSheet, SheetStep
from shop.services.keying import KeyedRefused, key_in
from shop.services.paper import line_place
from shop.services.refusals import AlreadySigned, SheetClosed
from shop.views.sheets import find_sheet

Section = SheetStep.Section
_ORDER = {
    section: place
    for place, section in enumerate(("caution", "lockout", "zero", "check", "return"))
}


@require_http_methods(["GET", "HEAD", "POST"])
def keyed(request: PageRequest, number: int) -> HttpResponse:
    """Type what is written on the paper; all of it is taken, or nothing."""
    sheet = find_sheet(number)
    if not sheet.is_open:
        return _closed(request, sheet)
    now = timezone.now()
    steps = sorted(
        sheet.steps.select_related("entry__author", "entry__written_by", "line"),
        key=lambda step: (_ORDER[step.section], step.order),
    )
    worked = sheet.technician or request.user
    form = KeyedForm(
        request.POST if request.method == "POST" else None,
        now=now,
        sheet=sheet,
        steps=steps,
        initial={"writer": worked.pk, "day": request.today, "signature": worked.name},
    )
    if request.method == "POST" and form.is_valid():
        try:
            key_in(
                sheet=sheet,
                keyed=form.keyed(),
                author=request.user,
                recorded_at=now,
                request_id=form.cleaned_data["request_id"],
            )
        except (AlreadySigned, SheetClosed) as refusal:
            messages.error(request, str(refusal))
            return redirect("shop:sheet", number)
        except KeyedRefused as refusal:
            form.refuse(refusal.errors, refusal.readings)
        else:
            messages.success(request, f"Sheet {sheet} is keyed in and signed.")
            return redirect("shop:sheet", number)
    return render(
        request,
        "shop/keyed.html",
        {
            "sheet": sheet,
            "rig": sheet.rig,
            "form": form,
            "before": [
                (words_of_it, form.step_rows(section))
                for section, words_of_it in (
                    (Section.CAUTION, "Cautions"),
                    (Section.LOCKOUT, "Lockout"),
                    (Section.ZERO, "Must read zero"),
                )
            ],
            "groups": _groups(sheet, form),
            "after": form.step_rows(Section.RETURN),
            "has_electrics": any(step.needs_electrician for step in steps),
        },
        status=422 if request.method == "POST" else 200,
    )


def _groups(sheet: ServiceSheet, form: KeyedForm) -> list[dict[str, Any]]:
    lines = sheet.lines.select_related(
        "version__service", "component__type__kind", "position__kind", "finding"
    ).order_by("order")
    return [
        {
            "line": line,
            "place": line_place(line),
            "rows": form.step_rows(Section.CHECK, line.pk),
        }
        for line in lines
    ]


def _closed(request: PageRequest, sheet: ServiceSheet) -> HttpResponse:
    """Signed meanwhile: by this very form sent twice, or by somebody else."""
    if request.method == "POST" and f"{sheet.signing_id}" == request.POST.get("request_id"):
        messages.success(request, f"Sheet {sheet} is keyed in and signed.")
    elif sheet.state == ServiceSheet.State.SIGNED:
        messages.error(request, str(AlreadySigned(sheet)))
    else:
        messages.error(request, str(SheetClosed(sheet)))
    return redirect("shop:sheet", sheet.number)
