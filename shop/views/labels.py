"""Labels with codes to scan: chosen on a page, printed from a file."""

from typing import Any

from django.http import HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_safe

from shop.forms.labels import LabelsForm
from shop.http import PageRequest, pdf_response
from shop.paper.label_sheets import SHEETS
from shop.paper.labels import labels_pdf, trial_pdf
from shop.services.label_paper import BINS, TooManyLabels, labels_of


@require_safe
def labels(request: PageRequest) -> HttpResponse:
    """Choose what to print labels of; ?kind=, ?only= and ?sheet= choose before."""
    first: dict[str, Any] = {
        "kind": request.GET.get("kind", BINS),
        "only": request.GET.get("only", ""),
        "sheet": request.GET.get("sheet", "") or _usual_sheet(request),
        "start": 1,
        "copies": 1,
    }
    return render(request, "shop/labels.html", {"form": LabelsForm(initial=first)})


@require_safe
def labels_file(request: PageRequest) -> HttpResponse:
    """The labels as a PDF; the page again, with what is wrong, where they cannot be printed."""
    form = LabelsForm(request.GET)
    if form.is_valid():
        asked = form.cleaned_data
        try:
            found = labels_of(
                asked["kind"],
                only=asked["only"],
                copies=asked["copies"],
                address=lambda kind, code: request.build_absolute_uri(
                    reverse("shop:go", args=[kind, code])
                ),
                today=request.today,
            )
        except TooManyLabels as refused:
            form.add_error("only", str(refused))
        else:
            if found:
                return pdf_response(
                    labels_pdf(
                        found,
                        sheet=SHEETS[asked["sheet"]],
                        start=asked["start"],
                        shop_name=request.shop.name,
                        title=f"Labels, {asked['kind']}",
                    ),
                    name=f"labels-{asked['kind']}",
                )
            said = f"“{asked['only']}”" if asked["only"] else "this"
            form.add_error("only", f"There is nothing to label for {said}.")
    return render(request, "shop/labels.html", {"form": form}, status=422)


@require_safe
def labels_trial(request: PageRequest, sheet: str) -> HttpResponse:
    """A page of plain edges and rulers, to hold against the sheet of labels."""
    if sheet not in SHEETS:
        form = LabelsForm({"sheet": sheet, "kind": BINS, "start": 1, "copies": 1})
        return render(request, "shop/labels.html", {"form": form}, status=404)
    return pdf_response(
        trial_pdf(SHEETS[sheet], shop_name=request.shop.name), name=f"test-print-{sheet}"
    )


def _usual_sheet(request: PageRequest) -> str:
    return "letter-3x10" if request.shop.units == "us" else "a4-3x8"
