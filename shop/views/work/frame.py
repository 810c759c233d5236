"""What the parts of a sheet under way share: the sheet, how far it is, what was typed."""

from uuid import UUID

from django.contrib import messages
from django.http import Http404, HttpResponseRedirect
from django.shortcuts import get_object_or_404, resolve_url
from django.utils.text import format_lazy
from django.utils.translation import gettext_lazy

from equipment.views.common import say_at
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
    to = resolve_url("shop:sheet", number)
    if request.method != "POST":
        return HttpResponseRedirect(to)
    if sheet.state != ServiceSheet.State.SIGNED:
        return lead(request, to, messages.ERROR, SheetClosed(sheet))
    if f"{sheet.signing_id}" == request.POST.get("signing_id"):  # the same finger, twice
        return lead(request, to, messages.SUCCESS, signed_words(sheet))
    return lead(request, to, messages.ERROR, AlreadySigned(sheet))


def lead(
    request: PageRequest, to: str, level: int, said: object, *more: object
) -> HttpResponseRedirect:
    """Lead to another page with a word about what was done, in the language of that page.

    to: its address. level: of django.contrib.messages. said, more: sentences that are put into
    words here: refusals, lazy texts; empty ones are left out.
    """
    say_at(to, request, level, said, *more)
    return HttpResponseRedirect(to)


def signed_words(sheet: ServiceSheet) -> object:
    return format_lazy(gettext_lazy("Sheet {sheet} is signed."), sheet=sheet)


def typed_text(request: PageRequest, name: str) -> str:
    """What was typed, without the NUL that no keyboard has and PostgreSQL refuses."""
    return request.POST.get(name, "").replace("\x00", "").strip()


def typed_uuid(text: str | None) -> UUID:
    try:
        return UUID(text or "")
    except ValueError as error:
        raise Http404 from error
