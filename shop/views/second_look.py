"""A manager's second look at a signed sheet."""

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render, resolve_url
from django.utils import timezone
from django.utils.text import format_lazy
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_http_methods

from equipment.models import Finding
from shop.forms.after import SecondLookForm
from shop.http import PageRequest
from shop.models import SecondLook, ServiceSheet
from shop.services import sheet_parts
from shop.services.refusals import SheetRefused
from shop.services.second_look import look_again, refuse_own
from shop.views.sheets import find_sheet, groups_of, part_rows
from shop.views.work.frame import lead


@require_http_methods(["GET", "HEAD", "POST"])
def second_look(request: PageRequest, number: int) -> HttpResponse:
    """What was signed, and whether it is right."""
    sheet = find_sheet(number)
    to = resolve_url("shop:sheet", number)
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
                text = gettext_lazy("Sheet {sheet} is looked at: it is right.")
                return lead(request, to, messages.SUCCESS, format_lazy(text, sheet=sheet))
            found = gettext_lazy("What is not right is found work now.")
            if data["follows"] in ("correction", "both"):
                if look.finding is not None:
                    messages.success(request, str(found))
                messages.success(request, f"Now say what sheet {sheet} should have said.")
                return redirect("shop:correct_sheet", number)
            return lead(request, to, messages.SUCCESS, found) if look.finding else redirect(to)
    if not sheet.is_second_look_wanted and not form.is_bound:
        text = gettext_lazy("No second look at sheet {sheet} is wanted.")
        return lead(request, to, messages.ERROR, format_lazy(text, sheet=sheet))
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
