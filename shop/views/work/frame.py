"""What the four pages of a sheet under way share: the sheet, its tabs, what was typed."""

from typing import Any
from uuid import UUID

from django.contrib import messages
from django.http import Http404, HttpResponseRedirect
from django.shortcuts import get_object_or_404, redirect
from django.urls import reverse

from equipment.models import Finding
from shop.http import PageRequest
from shop.models import ServiceSheet, SheetStep
from shop.services import working
from shop.services.refusals import AlreadySigned, SheetClosed

Section = SheetStep.Section


def find_sheet(number: int) -> ServiceSheet:
    return get_object_or_404(
        ServiceSheet.objects.select_related(
            "rig", "component__type__kind", "charged_rig", "technician", "signed_by", "tray"
        ),
        number=number,
    )


def find_open_sheet(request: PageRequest, number: int) -> ServiceSheet | HttpResponseRedirect:
    sheet = find_sheet(number)
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


def frame(sheet: ServiceSheet, here: str) -> dict[str, Any]:
    """What stands on each of the four pages: the sheet, its tabs, what holds the rig."""
    steps = list(sheet.steps.values_list("section", "entry_id", "entry__value"))
    before = [s for s in steps if s[0] in working.BEFORE_THE_CHECKS]
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
        "first_checks_url": first_checks_url(sheet),
    }


def first_checks_url(sheet: ServiceSheet) -> str:
    first = sheet.lines.order_by("order").values_list("order", flat=True).first()
    return reverse("shop:work_checks", args=[sheet.number, first]) if first else ""


def last_checks_url(sheet: ServiceSheet) -> str:
    last = sheet.lines.order_by("-order").values_list("order", flat=True).first()
    return reverse("shop:work_checks", args=[sheet.number, last]) if last else ""


def typed_text(request: PageRequest, name: str) -> str:
    """What was typed, without the NUL that no keyboard has and PostgreSQL refuses."""
    return request.POST.get(name, "").replace("\x00", "").strip()


def typed_uuid(text: str | None) -> UUID:
    try:
        return UUID(text or "")
    except ValueError as error:
        raise Http404 from error
