"""Sheets from the manager's desk: the list, one sheet, handing out, the paper."""

from datetime import timedelta
from itertools import chain
from typing import Any, Final
from uuid import uuid4

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, render, resolve_url
from django.urls import reverse
from django.utils import timezone
from django.utils.cache import patch_vary_headers
from django.utils.text import format_lazy
from django.utils.translation import gettext, gettext_lazy, ngettext_lazy
from django.views.decorators.http import require_POST, require_safe
from django_tables2 import RequestConfig

from equipment.models import Finding
from inventory.models import Movement
from inventory.services import StockRefused, in_words
from shop import unitwords, words
from shop.forms.sheets import HandOutForm, VoidForm
from shop.http import PageRequest, page_size_of, pdf_response
from shop.models import ServiceSheet, SheetLine, SheetStep
from shop.paper.sheet import sheet_pdf as pdf_of
from shop.services import drafting, sheet_parts
from shop.services.across import compared
from shop.services.after import after_signing, marks_of
from shop.services.clocking import planned_minutes
from shop.services.knowledge import left_for_next
from shop.services.paper import paper_to_print
from shop.services.paper.entries import (
    answer_text,
    keyer_of,
    left_text,
    rivals_by_step,
    stood_before,
)
from shop.services.paper.parts import IN_TRAY, part_places
from shop.services.paper.steps import line_place
from shop.services.refusals import SheetRefused
from shop.services.signing import rig_of
from shop.services.stages import by_stage, stages_of, titles_over
from shop.services.waiting import waits_of
from shop.sheet_tables import SheetFilter, SheetTable
from shop.views.work.frame import lead

SHEETS_A_PAGE: Final = 50


@require_safe
def sheets(request: PageRequest) -> HttpResponse:
    """All sheets, narrowed, sorted, paged."""
    found = SheetFilter(request.GET, queryset=ServiceSheet.objects.for_sheets_list())
    table = SheetTable(found.qs, today=request.today, empty_text="No sheet is like that.")
    RequestConfig(request, paginate={"per_page": SHEETS_A_PAGE, "silent": True}).configure(table)
    table.waits = waits_of((row.record for row in table.paginated_rows), today=request.today)
    context = {
        "filter": found,
        "table": table,
        "is_narrowed": found.form.has_changed(),
        "next_week": request.today + timedelta(days=7 - request.today.weekday()),
    }
    if request.htmx and not request.htmx.history_restore_request:
        response = render(request, "shop/_partials/sheets_results.html", context)
    else:
        context["open_count"] = ServiceSheet.objects.open().count()
        response = render(request, "shop/sheets.html", context)
    patch_vary_headers(response, ["HX-Request"])
    return response


@require_safe
def sheet(request: PageRequest, number: int) -> HttpResponse:
    return _sheet_page(request, find_sheet(number))


def _sheet_page(
    request: PageRequest, sheet: ServiceSheet, *, error: str = "", status: int = 200
) -> HttpResponse:
    lines = list(
        sheet.lines.select_related(
            "version__service", "component__type__kind", "position__kind", "finding"
        ).order_by("order")
    )
    rig = rig_of(sheet)
    parts = part_rows(sheet)
    marks = marks_of(sheet)
    for part in parts:
        part["mark"] = marks.parts.get(part["row"].part_id, "")
    steps = list(
        sheet.steps.select_related("entry__author", "entry__written_by", "entry__finding").order_by(
            "section", "order"
        )
    )
    zone, system = request.shop.zone, request.user.units_in(request.shop)
    before = stood_before(steps, zone, system)
    rivals = rivals_by_step(sheet, steps, zone, system)
    groups = _groups_by_stage(lines, steps, request)
    for group in chain.from_iterable(groups.values()):
        for row in group["steps"]:
            row["mark"] = marks.checks.get(row["step"].pk, "")
            row["rivals"] = rivals.get(row["step"].pk, [])
    readings = sheet.readings.filter(is_in_force=True).select_related(
        "counter", "author", "written_by"
    )
    return render(
        request,
        "shop/sheet.html",
        {
            "sheet": sheet,
            "rig": rig,
            "cells": _sheet_cells(sheet, lines, request),
            "groups": groups,
            "stage_titles": titles_over(sheet),
            "after": after_signing(sheet),
            "cautions": [_step_row(step, request) for step in steps if step.section == "caution"],
            "lockouts": [
                _step_row(step, request) | {"before": before.get(step.pk, "")}
                for section in (SheetStep.Section.LOCKOUT, SheetStep.Section.ZERO)
                for step in steps
                if step.section == section
            ],
            "is_not_zero": any(step.is_not_zero for step in steps),
            "returns": [_step_row(step, request) for step in steps if step.section == "return"],
            "parts": parts,
            "has_reserved": any(
                place != IN_TRAY for each in parts for place, _lot in each["places"]
            ),
            "has_short": any(each["short"] for each in parts),
            "moves": Movement.objects.spent()
            .of_source(sheet_parts.SOURCE, sheet.number)
            .exclude(value_cents=0)
            .select_related("part", "location", "lot", "author", "reverses")
            .order_by("pk"),
            "spend_cents": _spend_cents(sheet),
            "readings": [(entry, marks.readings.get(entry.pk, "")) for entry in readings],
            "found": Finding.objects.filter(
                source_kind=sheet_parts.SOURCE, source_number=sheet.number
            ).order_by("pk"),
            "findings": Finding.objects.holding().of_rig(rig) if rig else [],
            "hand_out_form": HandOutForm(initial={"technician": sheet.technician_id}),
            "void_form": VoidForm(initial={"request_id": uuid4()}),
            "request_id": uuid4(),
            "error": error,
            "currency": request.shop.currency,
        },
        status=status,
    )


@require_POST
def hand_out(request: PageRequest, number: int) -> HttpResponse:
    sheet = find_sheet(number)
    form = HandOutForm(request.POST)
    if not form.is_valid():
        return _sheet_page(request, sheet, error=gettext("Choose who gets the sheet."), status=422)
    try:
        drafting.hand_out(
            sheet=sheet,
            technician=form.cleaned_data["technician"],
            author=request.user,
            at=timezone.now(),
        )
    except SheetRefused as refusal:
        return _sheet_page(request, sheet, error=str(refusal), status=422)
    words_of_it = format_lazy(
        gettext_lazy("Sheet {sheet} is with {person}."),
        sheet=sheet,
        person=form.cleaned_data["technician"],
    )
    return _lead_back(request, number, words_of_it)


@require_POST
def void_sheet(request: PageRequest, number: int) -> HttpResponse:
    sheet = find_sheet(number)
    form = VoidForm(request.POST)
    if not form.is_valid():
        return _sheet_page(request, sheet, error=gettext("Say why the sheet is void."), status=422)
    try:
        drafting.void_sheet(
            sheet=sheet,
            author=request.user,
            at=timezone.now(),
            reason=form.cleaned_data["reason"],
            request_id=form.cleaned_data["request_id"],
        )
    except (SheetRefused, StockRefused) as refusal:
        return _sheet_page(request, sheet, error=str(refusal), status=422)
    text = gettext_lazy("Sheet {sheet} is void. Its parts are back, its services due.")
    return _lead_back(request, number, format_lazy(text, sheet=sheet))


@require_POST
def reserve_again(request: PageRequest, number: int) -> HttpResponse:
    """Look again for what was short."""
    sheet = find_sheet(number)
    try:
        sheet_parts.reserve_again(sheet=sheet, author=request.user, at=timezone.now())
    except SheetRefused as refusal:
        return _sheet_page(request, sheet, error=str(refusal), status=422)
    short = sheet.parts.filter(short_steps__gt=0).count()
    words_of_it = (
        format_lazy(ngettext_lazy("{n} still short.", "{n} still short.", short), n=short)
        if short
        else gettext_lazy("Everything it needs is reserved.")
    )
    return _lead_back(request, number, words_of_it)


def _lead_back(request: PageRequest, number: int, said: object) -> HttpResponse:
    """Lead back to the page of a sheet, which says what was done."""
    return lead(request, resolve_url("shop:sheet", number), messages.SUCCESS, said)


@require_safe
def sheet_pdf(request: PageRequest, number: int) -> HttpResponse:
    """The sheet on paper: Letter, or A4 with ?paper=a4."""
    sheet = find_sheet(number)
    paper = paper_to_print(
        sheet,
        today=request.today,
        system=request.user.units_in(request.shop),
        url=request.build_absolute_uri(reverse("shop:work", args=[number])),
        printed_at=timezone.now(),
    )
    file = pdf_of(paper, page_size=page_size_of(request))
    return pdf_response(file, name=gettext("sheet-{number}").format(number=sheet))


def find_sheet(number: int) -> ServiceSheet:
    return get_object_or_404(
        ServiceSheet.objects.select_related(
            "rig",
            "component__type__kind",
            "charged_rig",
            "technician",
            "drafted_by",
            "signed_by",
            "written_by",
            "corrects",
            "voided_by",
            "tray",
        ),
        number=number,
    )


def _sheet_cells(
    sheet: ServiceSheet, lines: list[SheetLine], request: PageRequest
) -> list[tuple[str, ...]]:
    today, zone = request.today, request.shop.zone
    cells: list[tuple[str, ...]] = [
        (gettext("Planned for"), words.weekday(sheet.planned_on, today=today))
    ]
    if sheet.state == ServiceSheet.State.SIGNED and sheet.signed_at:
        cells.append(
            (
                gettext("Signed"),
                f"{sheet.signature}, {words.moment(sheet.signed_at, zone=zone, today=today)}",
                "written",
            )
        )
        cells.append((gettext("Work"), words.span(sheet.labour_minutes)))
    else:
        technician = sheet.technician.name if sheet.technician else gettext("nobody yet")
        cells.append((gettext("Technician"), technician))
        cells.append((gettext("Bench time"), words.span(planned_minutes(lines))))
    return cells


def groups_of(
    sheet: ServiceSheet, lines: list[SheetLine], request: PageRequest
) -> list[dict[str, Any]]:
    """The lines of a sheet, each with its checks and what was said to them."""
    steps = sheet.steps.select_related(
        "entry__author", "entry__written_by", "entry__finding"
    ).order_by("section", "order")
    return _groups(lines, list(steps), request)


def _groups(
    lines: list[SheetLine], steps: list[SheetStep], request: PageRequest
) -> list[dict[str, Any]]:
    rows = _check_rows(lines, steps, request)
    left = left_for_next(line.pk for line in lines)
    return [
        {
            "line": line,
            "place": line_place(line),
            "steps": [rows[step.pk] for step in steps if step.line_id == line.pk],
            "left": left_text(left[line.pk], zone=request.shop.zone) if line.pk in left else "",
        }
        for line in lines
    ]


def _groups_by_stage(
    lines: list[SheetLine], steps: list[SheetStep], request: PageRequest
) -> dict[str, list[dict[str, Any]]]:
    """The same in the order of the work; is_first: the line stands nowhere before."""
    rows = _check_rows(lines, steps, request)
    left = left_for_next(line.pk for line in lines)
    told: set[int] = set()
    groups: dict[str, list[dict[str, Any]]] = {}
    for stage, of_stage in by_stage(lines, steps, stages_of(steps)).items():
        groups[stage] = [
            {
                "line": line,
                "place": line_place(line),
                "steps": [rows[step.pk] for step in of_line],
                "is_first": line.pk not in told,
                "left": left_text(left[line.pk], zone=request.shop.zone)
                if line.pk in left and line.pk not in told
                else "",
            }
            for line, of_line in of_stage
        ]
        told.update(line.pk for line, _ in of_stage)
    return groups


def _check_rows(
    lines: list[SheetLine], steps: list[SheetStep], request: PageRequest
) -> dict[int, dict[str, Any]]:
    """By key, the checks as the page shows them."""
    against = compared(steps, lines, request.user.units_in(request.shop))
    return {
        step.pk: _step_row(step, request)
        | {"apart": against[step.pk].said if step.pk in against else ""}
        for step in steps
        if step.section == "check"
    }


def _step_row(step: SheetStep, request: PageRequest) -> dict[str, Any]:
    entry = step.entry
    system = request.user.units_in(request.shop)
    said = ""
    if entry is not None:
        said = answer_text(
            entry, step, zone=request.shop.zone, system=system, keyer=keyer_of(step.sheet)
        )
    return {
        "step": step,
        "entry": entry,
        "said": said,
        "limit": unitwords.limits(step.in_units(system)),
    }


def part_rows(sheet: ServiceSheet) -> list[dict[str, Any]]:
    rows = list(sheet.parts.select_related("part", "for_kit").order_by("pk"))
    places = part_places(sheet, rows)
    return [
        {
            "row": row,
            "planned": in_words(row.part, row.planned_steps) if row.planned_steps else "",
            "short": in_words(row.part, row.short_steps) if row.short_steps else "",
            "used": "" if row.used_steps is None else in_words(row.part, row.used_steps),
            "places": places[row.part_id],
        }
        for row in rows
    ]


def _spend_cents(sheet: ServiceSheet) -> int:
    values = Movement.objects.filter(
        source_kind=sheet_parts.SOURCE, source_number=sheet.number
    ).values_list("value_cents", flat=True)
    return -sum(values)
