"""A manager's second look at a signed sheet."""

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from equipment.models import Finding
from shop.forms.after import SecondLookForm
from shop.http import PageRequest
from shop.models import SecondLook, ServiceSheet
from shop.services import sheet_parts
from shop.services.refusals import SheetRefused
from shop.services.second_look import look_again, refuse_own
from shop.views.sheets import find_sheet, groups_of, part_rows


@require_http_methods(["GET", "HEAD", "POST"])
def second_look(request: PageRequest, number: int) -> HttpResponse:
    """What was signed, and whether it is right."""
    sheet = find_sheet(number)
    lines = sheet.lines.select_related(
        "version__service", "component__type__kind", "position__kind", "finding"
    ).order_by("order")
    form = SecondLookForm(
        request.POST if request.method == "POST" else None, now=timezone.now(), lines=lines
    )
    if request.method == "POST" and form.is_valid():
        data = form.cleaned_data
        try:
            look = look_again(
                sheet=sheet,
                outcome=data["outcome"],
                text=data["text"],
                line=data["line"],
                is_grave=data["is_grave"],
                opens_work=data["follows"] != "correction",
                author=request.user,
                at=timezone.now(),
                request_id=data["request_id"],
            )
        except SheetRefused as refusal:
            form.add_error(None, str(refusal))
        else:
            if look.outcome == SecondLook.Outcome.PASSED:
                messages.success(request, f"Sheet {sheet} is looked at: it is right.")
                return redirect("shop:sheet", number)
            if look.finding is not None:
                messages.success(request, "What is not right is found work now.")
            if data["follows"] in ("correction", "both"):
                messages.success(request, f"Now say what sheet {sheet} should have said.")
                return redirect("shop:correct_sheet", number)
            return redirect("shop:sheet", number)
    if not sheet.is_second_look_wanted and not form.is_bound:
        messages.error(request, f"No second look at sheet {sheet} is wanted.")
        return redirect("shop:sheet", number)
    return render(
        request,
        "shop/second_look.html",
        {
            "sheet": sheet,
            "rig": sheet.rig,
            "form": form,
            "not_yours": _why_not(request, sheet),
            "groups": groups_of(sheet, list(lines), request),
            "parts": [row for row in part_rows(sheet) if row["used"]],
            "readings": sheet.readings.filter(is_in_force=True).select_related("counter", "author"),
            "found": Finding.objects.filter(
                source_kind=sheet_parts.SOURCE, source_number=sheet.number
            ).order_by("pk"),
        },
        status=422 if request.method == "POST" else 200,
    )


def _why_not(request: PageRequest, sheet: ServiceSheet) -> str:
    try:
        refuse_own(sheet, request.user)
    except SheetRefused as refusal:
        return str(refusal)
    return ""
