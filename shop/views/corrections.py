"""A signed sheet corrected by a sheet of its own."""

from uuid import UUID

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render, resolve_url
from django.utils import timezone
from django.utils.text import format_lazy
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_http_methods

from shop.forms.correcting import CorrectionForm
from shop.http import PageRequest
from shop.models import ServiceSheet
from shop.services.corrections import CorrectionRefused, correct_sheet
from shop.services.refusals import SheetRefused
from shop.services.standing import stands_of
from shop.views.sheets import find_sheet
from shop.views.work.frame import lead


@require_http_methods(["GET", "HEAD", "POST"])
def correct(request: PageRequest, number: int) -> HttpResponse:
    """What a signed sheet says as it stands, and what it should have said."""
    sheet = find_sheet(number)
    if sheet.corrects is not None:
        messages.error(
            request, f"Sheet {sheet} is a correction itself. What it corrects is corrected again."
        )
        return redirect("shop:correct_sheet", sheet.corrects.number)
    if sheet.state != ServiceSheet.State.SIGNED:
        text = gettext_lazy("Sheet {sheet} is not signed: nothing on it needs a correction.")
        to = resolve_url("shop:sheet", number)
        return lead(request, to, messages.ERROR, format_lazy(text, sheet=sheet))
    if request.method == "POST" and (made := _made_before(request)):
        return redirect("shop:sheet", made.number)
    now = timezone.now()
    form = CorrectionForm(
        request.POST if request.method == "POST" else None,
        now=now,
        sheet=sheet,
        stands=stands_of(sheet),
        system=request.user.units_in(request.shop),
        initial={"signature": request.user.name},
    )
    if request.method == "POST" and form.is_valid():
        try:
            new = correct_sheet(
                sheet=sheet,
                right=form.right(),
                reason=form.cleaned_data["reason"],
                signature=form.cleaned_data["signature"],
                author=request.user,
                at=now,
                request_id=form.cleaned_data["request_id"],
            )
        except CorrectionRefused as refusal:
            form.refuse(refusal.where, str(refusal))
        except SheetRefused as refusal:
            form.add_error(None, str(refusal))
        else:
            text = gettext_lazy("Sheet {new} corrects sheet {old}, which stays as it was.")
            to = resolve_url("shop:sheet", new.number)
            return lead(request, to, messages.SUCCESS, format_lazy(text, new=new, old=sheet))
    return render(
        request,
        "shop/correct_sheet.html",
        {"sheet": sheet, "rig": sheet.rig, "form": form},
        status=422 if request.method == "POST" else 200,
    )


def _made_before(request: PageRequest) -> ServiceSheet | None:
    """The correction that this very form has made: what it is about stands differently now."""
    try:
        sent = UUID(request.POST.get("request_id", ""))
    except ValueError:
        return None
    return ServiceSheet.objects.filter(request_id=sent, corrects__isnull=False).first()
