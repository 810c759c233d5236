"""What the parts of a sheet under way share: the sheet, how far it is, what was typed."""

from uuid import UUID

from django.contrib import messages
from django.http import Http404, HttpResponseRedirect
from django.shortcuts import get_object_or_404, redirect

from shop.http import PageRequest
from shop.models import ServiceSheet, SheetStep
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


def typed_text(request: PageRequest, name: str) -> str:
    """What was typed, without the NUL that no keyboard has and PostgreSQL refuses."""
    return request.POST.get(name, "").replace("\x00", "").strip()


def typed_uuid(text: str | None) -> UUID:
    try:
        return UUID(text or "")
    except ValueError as error:
        raise Http404 from error
