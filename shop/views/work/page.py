"""The sheet on the phone: one page with its four parts, so that it is there without signal."""

from typing import Any

from django.http import HttpResponse, HttpResponseRedirect
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_safe

from equipment.models import Finding
from shop.forms.taking import AddPartForm
from shop.http import PageRequest
from shop.isolation import PROOF_HOLDS
from shop.models import ServiceSheet, SheetStep
from shop.services.arriving import pen_of, snapshot
from shop.services.in_order import still_locked
from shop.services.refusals import first_named
from shop.services.replaced import rows_of_lines
from shop.statics import copy_script, copy_style
from shop.views.work.checks import RefusedAnswer, checks_context
from shop.views.work.frame import find_open_sheet
from shop.views.work.parts import RefusedUses, parts_context
from shop.views.work.sign import RefusedSignature, sign_context
from shop.views.work.tabs import before_said, checks_said, parts_said
from shop.views.work.words import words_of

Section = SheetStep.Section


@require_safe
def work(request: PageRequest, number: int) -> HttpResponse:
    """The sheet as it stands, open where the work is."""
    sheet = find_open_sheet(request, number)
    if isinstance(sheet, HttpResponseRedirect):
        return sheet
    return work_page(request, sheet)


def work_page(
    request: PageRequest,
    sheet: ServiceSheet,
    *,
    refused_answer: RefusedAnswer | None = None,
    refused_uses: RefusedUses | None = None,
    refused_signature: RefusedSignature | None = None,
    add_form: AddPartForm | None = None,
    status: int = 200,
) -> HttpResponse:
    """The whole sheet; what was refused stands where it was typed, with the reason beside it."""
    context = (
        checks_context(sheet, refused_answer, request.user.units_in(request.shop))
        | parts_context(request, sheet, refused_uses, add_form)
        | sign_context(sheet, refused_signature, request.user)
    )
    locked = still_locked(sheet, who=request.user)
    open_for_me = {step.pk for step in locked}
    before = [*context["cautions"], *context["lockouts"], *context["gauges"]]
    for shown in before:
        if shown["step"].is_each_persons and shown["step"].pk in open_for_me:
            shown["entry"] = None  # somebody else has; this person does it too
    rows = rows_of_lines(
        [each["line"] for each in context["lines"]], [each["row"] for each in context["rows"]]
    )
    for line in context["lines"]:
        for shown in line["steps"]:
            shown["parts"] = [row.pk for row in rows[line["line"].pk]]
    checks = [shown for line in context["lines"] for shown in line["steps"]]
    open_checks = [shown for shown in checks if shown["entry"] is None]
    return render(
        request,
        "shop/work/sheet.html",
        context
        | {
            "sheet": sheet,
            "rig": sheet.rig,
            "findings": Finding.objects.holding().of_rig(sheet.rig) if sheet.rig else [],
            "locked": locked,
            "missing": first_named(locked),
            "proof_holds_s": int(PROOF_HOLDS.total_seconds()),
            "before_said": before_said(before, open_for_me),
            "checks_said": checks_said(len(checks) - len(open_checks), len(checks)),
            "parts_said": parts_said(context["rows"]),
            "checks_all": len(checks),
            "checks_done": len(checks) - len(open_checks),
            "open_titles": _titles(context["lines"]),
            "pen": pen_of(request.user),
            "snapshot": snapshot(sheet, zone=request.shop.zone),
            "words": words_of(request.user),
            "copy_style": copy_style(),
            "copy_script": copy_script(),
        },
        status=status,
    )


def _titles(lines: list[dict[str, Any]]) -> list[str]:
    """The services with an open check, each once."""
    return list(
        dict.fromkeys(
            line["line"].title
            for line in lines
            if any(shown["entry"] is None for shown in line["steps"])
        )
    )


def address_of(sheet: ServiceSheet, place: str) -> str:
    """The page of the sheet at a place of it: "parts", "step-12"."""
    return f"{reverse('shop:work', args=[sheet.number])}#{place}"
