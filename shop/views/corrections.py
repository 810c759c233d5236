"""A signed sheet corrected by a sheet of its own."""

from uuid import UUID

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from shop.forms.correcting import CorrectionForm
from shop.http import PageRequest
from shop.models import ServiceSheet
from shop.services.corrections import CorrectionRefused, correct_sheet, stands_of
from shop.services.refusals import SheetRefused
from shop.views.sheets import find_sheet


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
        messages.error(request, f"Sheet {sheet} is not signed: nothing on it needs a correction.")
        return redirect("shop:sheet", number)
    if request.method == "POST" and (made := _made_before(request)):
        return redirect("shop:sheet", made.number)
    now = timezone.now()
    form = CorrectionForm(
        request.POST if request.method == "POST" else None,
        now=now,
        sheet=sheet,
        stands=stands_of(sheet),
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
            messages.success(request, f"Sheet {new} corrects sheet {sheet}, which stays as it was.")
            return redirect("shop:sheet", new.number)
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
