"""Sheets from the manager's desk: the list, drafting, handing out, the paper."""

from datetime import date, timedelta
from typing import Any, Final
from uuid import UUID, uuid4

from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.cache import patch_vary_headers
from django.views.decorators.http import require_POST, require_safe
from django_tables2 import RequestConfig

from equipment.due import CLEAR
from equipment.models import Component, Due, Finding, Rig
from equipment.services import including
from inventory.models import Movement
from inventory.services import StockRefused, in_words
from shop import kits, rigview, words
from shop.forms.sheets import DraftForm, HandOutForm, VoidForm
from shop.http import PageRequest, page_size_of, pdf_response
from shop.models import ServiceSheet, SheetLine, SheetStep
from shop.paper.sheet import sheet_pdf as pdf_of
from shop.services import drafting, sheet_parts, working
from shop.services.after import after_signing
from shop.services.paper import (
    IN_TRAY,
    answer_text,
    limit_text,
    line_place,
    paper_to_print,
    part_places,
)
from shop.services.refusals import SheetRefused
from shop.services.signing import rig_of
from shop.services.waiting import waits_of
from shop.sheet_tables import SheetFilter, SheetTable

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


def draft_sheet(request: PageRequest) -> HttpResponse:
    """Pick services and found work of one rig, or of a component on the bench, into a sheet."""
    if request.method == "POST" and (earlier := _drafted_before(request.POST.get("request_id"))):
        return redirect("shop:sheet", earlier.number)
    given = request.POST if request.method == "POST" else request.GET
    picked = [int(pk) for pk in given.getlist("due") if pk.isdecimal() and len(pk) < 19]
    rig, component = _subject(given, picked)
    if rig is None and component is None:
        messages.error(request, "Pick the services of one rig first.")
        return redirect("shop:due")
    today = request.today
    dues = _pickable_dues(rig, component, today=request.today)
    findings = _pickable_findings(rig, component)
    strangers = [pk for pk in picked if pk not in {due.pk for due in dues}]
    if request.method == "GET" and strangers and Due.objects.filter(pk__in=strangers).exists():
        messages.error(request, "A sheet is for one rig. The services of other rigs are left out.")
    form = DraftForm(
        request.POST or None,
        dues=Due.objects.filter(pk__in=[due.pk for due in dues]),
        findings=Finding.objects.filter(pk__in=[finding.pk for finding in findings]),
        is_bench=component is not None,
        initial={"request_id": uuid4(), "planned_on": today},
    )
    error = ""
    if request.method == "POST" and form.is_valid():
        data = form.cleaned_data
        now = timezone.now()
        try:
            sheet = drafting.draft_sheet(
                rig=rig,
                component=component,
                dues=[due for due in dues if due in data["due"]],
                findings=list(data["finding"]),
                planned_on=data["planned_on"],
                note=data["note"],
                charged_rig=data.get("charged_rig"),
                author=request.user,
                at=now,
                today=today,
                request_id=data["request_id"],
            )
            if data["technician"] and sheet.state == ServiceSheet.State.DRAFTED:
                drafting.hand_out(
                    sheet=sheet, technician=data["technician"], author=request.user, at=now
                )
        except SheetRefused as refusal:
            error = str(refusal)
        else:
            messages.success(request, _drafted_text(sheet))
            return redirect("shop:sheet", sheet.number)
    chosen = set(picked) if picked else {due.pk for due in dues if _is_near(due, request)}
    rows = _draft_rows(dues, chosen, rig, today, request.shop.warning_days)
    return render(
        request,
        "shop/draft_sheet.html",
        {
            "form": form,
            "error": error,
            "rig": rig,
            "component": component,
            "near": [row for row in rows if row["picked"] or row["state"] != CLEAR],
            "later": [row for row in rows if not row["picked"] and row["state"] == CLEAR],
            "found": [
                {"finding": each, "picked": str(each.pk) in given.getlist("finding")}
                for each in findings
            ],
            "taken": _on_other_sheets(rig, component),
            "findings": Finding.objects.holding().of_rig(rig) if rig else [],
            "currency": request.shop.currency,
        },
        status=422 if request.method == "POST" else 200,
    )


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
    steps = list(
        sheet.steps.select_related("entry__author", "entry__written_by", "entry__finding").order_by(
            "section", "order"
        )
    )
    return render(
        request,
        "shop/sheet.html",
        {
            "sheet": sheet,
            "rig": rig,
            "cells": _sheet_cells(sheet, lines, request),
            "groups": _groups(lines, steps, request),
            "after": after_signing(sheet),
            "before": [
                _step_row(step, request)
                for step in steps
                if step.section in working.BEFORE_THE_CHECKS
            ],
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
            "readings": sheet.readings.filter(is_in_force=True).select_related("counter", "author"),
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
        return _sheet_page(request, sheet, error="Choose who gets the sheet.", status=422)
    try:
        drafting.hand_out(
            sheet=sheet,
            technician=form.cleaned_data["technician"],
            author=request.user,
            at=timezone.now(),
        )
    except SheetRefused as refusal:
        return _sheet_page(request, sheet, error=str(refusal), status=422)
    messages.success(request, f"Sheet {sheet} is with {form.cleaned_data['technician']}.")
    return redirect("shop:sheet", number)


@require_POST
def void_sheet(request: PageRequest, number: int) -> HttpResponse:
    sheet = find_sheet(number)
    form = VoidForm(request.POST)
    if not form.is_valid():
        return _sheet_page(request, sheet, error="Say why the sheet is void.", status=422)
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
    messages.success(request, f"Sheet {sheet} is void. Its parts are back, its services due.")
    return redirect("shop:sheet", number)


@require_POST
def reserve_again(request: PageRequest, number: int) -> HttpResponse:
    """Look again for what was short."""
    sheet = find_sheet(number)
    try:
        sheet_parts.reserve_again(sheet=sheet, author=request.user, at=timezone.now())
    except SheetRefused as refusal:
        return _sheet_page(request, sheet, error=str(refusal), status=422)
    short = sheet.parts.filter(short_steps__gt=0).count()
    messages.success(
        request, f"{short} still short." if short else "Everything it needs is reserved."
    )
    return redirect("shop:sheet", number)


@require_safe
def sheet_pdf(request: PageRequest, number: int) -> HttpResponse:
    """The sheet on paper: Letter, or A4 with ?paper=a4."""
    sheet = find_sheet(number)
    local = timezone.localtime()
    paper = paper_to_print(
        sheet,
        today=local.date(),
        url=request.build_absolute_uri(reverse("shop:work", args=[number])),
        printed=f"Printed {local.day} {local:%b %Y %H:%M}",
    )
    return pdf_response(
        pdf_of(paper, page_size=page_size_of(request)),
        name=f"sheet-{sheet}",
    )


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


def _drafted_before(request_id: str | None) -> ServiceSheet | None:
    """The sheet that this very form has drafted: its services are no longer there to pick."""
    try:
        return ServiceSheet.objects.filter(request_id=UUID(request_id or "")).first()
    except ValueError:
        return None


def _subject(given: Any, picked: list[int]) -> tuple[Rig | None, Component | None]:
    """Whom the sheet is for: named, or the rig of the first service picked."""
    if tag := given.get("component"):
        component = Component.objects.select_related("type__kind").filter(tag=tag).first()
        if component is None:
            raise Http404
        return None, component
    if (number := given.get("rig", "")).isdecimal() and len(number) < 10:
        return get_object_or_404(Rig, number=int(number)), None
    first = Due.objects.filter(pk__in=picked, rig__isnull=False).select_related("rig").first()
    return (first.rig if first else None), None


def _pickable_dues(rig: Rig | None, component: Component | None, *, today: date) -> list[Due]:
    """Due services that are on no open sheet, the first to fall first."""
    rows = Due.objects.select_related(
        "rig", "position__kind", "component__type__kind", "version__service"
    )
    rows = rows.filter(rig=rig) if rig else rows.filter(component=component)
    on_sheets = set(
        SheetLine.objects.filter(is_open=True, version__isnull=False).values_list(
            "component", "version"
        )
    )
    free = [due for due in rows if (due.component_id, due.version_id) not in on_sheets]
    within = drafting.stood_for({due.component_id for due in free})
    return rigview.first_to_fall(
        (due for due in free if (due.component_id, due.version.service_id) not in within),
        today=today,
    )


def _pickable_findings(rig: Rig | None, component: Component | None) -> list[Finding]:
    rows = Finding.objects.open().exclude(sheet_lines__is_open=True)
    rows = rows.filter(rig=rig) if rig else rows.filter(component=component)
    return list(rows.select_related("component", "opened_by").order_by("-is_grave", "pk"))


def _on_other_sheets(rig: Rig | None, component: Component | None) -> list[SheetLine]:
    lines = SheetLine.objects.filter(is_open=True)
    lines = lines.filter(sheet__rig=rig) if rig else lines.filter(sheet__component=component)
    lines = lines.select_related("sheet", "version__service", "finding")
    return list(lines.order_by("sheet__number", "order"))


def _is_near(due: Due, request: PageRequest) -> bool:
    return due.due_date <= request.today + timedelta(days=request.shop.warning_days) or (
        due.is_past_due
    )


def _draft_rows(
    dues: list[Due], chosen: set[int], rig: Rig | None, today: date, warning_days: int
) -> list[dict[str, Any]]:
    asked = [(due.version.service_id, rig.pk if rig else None) for due in dues]
    stock = kits.stock_for(asked, today=today)
    covers = including.covered((due.version, due.component) for due in dues)
    rows = []
    for due, service in zip(dues, asked, strict=True):
        state = due.state(today=today, warning_days=warning_days)
        kit = stock.kit(service)
        rows.append(
            {
                "due": due,
                "picked": due.pk in chosen,
                "state": state,
                "state_word": words.STATE_WORDS[state],
                "life": words.life_text(due, today=today),
                "stands_for": ", ".join(
                    smaller.service.name
                    for smaller in covers.get((due.component_id, due.version_id), ())
                ),
                "kit": kit,
                "minutes": words.span(due.version.planned_minutes),
            }
        )
    return rows


def _drafted_text(sheet: ServiceSheet) -> str:
    short = sheet.parts.filter(short_steps__gt=0).count()
    if short:
        return (
            f"Sheet {sheet} is drafted. {short} of its parts {'is' if short == 1 else 'are'} short."
        )
    return f"Sheet {sheet} is drafted. Everything it needs is reserved."


def _sheet_cells(
    sheet: ServiceSheet, lines: list[SheetLine], request: PageRequest
) -> list[tuple[str, ...]]:
    today, zone = request.today, request.shop.zone
    planned = sum(line.version.planned_minutes for line in lines if line.version)
    cells: list[tuple[str, ...]] = [("Planned for", words.weekday(sheet.planned_on, today=today))]
    if sheet.state == ServiceSheet.State.SIGNED and sheet.signed_at:
        cells.append(
            (
                "Signed",
                f"{sheet.signature}, {words.moment(sheet.signed_at, zone=zone, today=today)}",
                "written",
            )
        )
        cells.append(("Work", words.span(sheet.labour_minutes)))
    else:
        cells.append(("Technician", sheet.technician.name if sheet.technician else "nobody yet"))
        cells.append(("Bench time", words.span(planned)))
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
    by_line: dict[int | None, list[dict[str, Any]]] = {}
    for step in steps:
        if step.section == "check":
            by_line.setdefault(step.line_id, []).append(_step_row(step, request))
    return [
        {"line": line, "place": line_place(line), "steps": by_line.get(line.pk, [])}
        for line in lines
    ]


def _step_row(step: SheetStep, request: PageRequest) -> dict[str, Any]:
    entry = step.entry
    said = ""
    if entry is not None:
        said = answer_text(entry, step, zone=request.shop.zone)
    return {"step": step, "entry": entry, "said": said, "limit": limit_text(step)}


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
