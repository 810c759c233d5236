"""The page on which a sheet is drafted: what may be picked, and what is said about it."""

from collections.abc import Mapping, Sequence
from datetime import date, timedelta
from typing import Any, Final
from uuid import UUID, uuid4

from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render, resolve_url
from django.utils import timezone
from django.utils.functional import lazy
from django.utils.text import format_lazy
from django.utils.translation import gettext, gettext_lazy, ngettext_lazy

from equipment.due import CLEAR
from equipment.models import Component, Due, Finding, Rig
from equipment.services import including
from shop import kits, rigview, words
from shop.forms.sheets import DraftForm
from shop.http import PageRequest
from shop.models import ServiceSheet, SheetLine
from shop.services import drafting, open_lines
from shop.services.refusals import OpenElsewhere, SheetRefused
from shop.views.work.frame import lead
from shop.whereabouts import bookings_of, whereabouts

#: So many services are named; of more it is said how many. [1]
MOST_NAMED: Final = 6


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
    dues = _pickable_dues(rig, component, today=request.today)
    findings = _pickable_findings(rig, component)
    if request.method == "GET":
        for words_of_it in _left_out(set(picked) - {due.pk for due in dues}, rig, component):
            messages.error(request, words_of_it)
    bookings = bookings_of([rig], since=request.today) if rig else {}
    place = whereabouts(bookings[rig.pk], today=request.today) if rig and bookings else None
    form = DraftForm(
        request.POST or None,
        dues=Due.objects.filter(pk__in=[due.pk for due in dues]),
        findings=Finding.objects.filter(pk__in=[finding.pk for finding in findings]),
        is_bench=component is not None,
        initial={
            "request_id": uuid4(),
            "planned_on": (place and place.back_on) or request.today,
        },
    )
    error = ""
    if request.method == "POST" and form.is_valid():
        asked = [due for due in dues if due in form.cleaned_data["due"]]
        try:
            sheet = _draft(request, form.cleaned_data, rig, component, asked)
        except OpenElsewhere as question:
            form.add_error("sure", question.questions)
        except SheetRefused as refusal:
            error = str(refusal)
        else:
            said = (_drafted_text(sheet), *_folded_texts(sheet, asked))
            return lead(request, resolve_url("shop:sheet", sheet.number), messages.SUCCESS, *said)
    chosen = set(picked) if picked else {due.pk for due in dues if _is_near(due, request)}
    rows = _draft_rows(dues, chosen, rig, request.today, request.shop.warning_days)
    return render(
        request,
        "shop/draft_sheet.html",
        {
            "form": form,
            "error": error,
            "rig": rig,
            "component": component,
            "place": place,
            "near": [row for row in rows if row["picked"] or row["state"] != CLEAR],
            "later": [row for row in rows if not row["picked"] and row["state"] == CLEAR],
            "found": [
                {"finding": each, "picked": str(each.pk) in given.getlist("finding")}
                for each in findings
            ],
            "taken": _on_other_sheets(rig, component),
            "currency": request.shop.currency,
        },
        status=422 if request.method == "POST" else 200,
    )


def _draft(
    request: PageRequest,
    said: Mapping[str, Any],
    rig: Rig | None,
    component: Component | None,
    dues: Sequence[Due],
) -> ServiceSheet:
    """Draft the sheet and hand it out where the form says to whom. Raises SheetRefused."""
    now = timezone.now()
    sheet = drafting.draft_sheet(
        rig=rig,
        component=component,
        dues=dues,
        findings=list(said["finding"]),
        planned_on=said["planned_on"],
        note=said["note"],
        charged_rig=said.get("charged_rig"),
        author=request.user,
        at=now,
        today=request.today,
        request_id=said["request_id"],
        is_sure=said["sure"],
    )
    if said["technician"] and sheet.state == ServiceSheet.State.DRAFTED:
        drafting.hand_out(sheet=sheet, technician=said["technician"], author=request.user, at=now)
    return sheet


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
    within = open_lines.stood_for({due.component_id for due in free})
    return rigview.first_to_fall(
        (due for due in free if (due.component_id, due.version.service_id) not in within),
        today=today,
    )


def _left_out(strangers: set[int], rig: Rig | None, component: Component | None) -> list[str]:
    """Say which picked services cannot be on this sheet, and why."""
    rows = (
        Due.objects.filter(pk__in=strangers)
        .select_related("rig", "component", "version__service")
        .order_by("rig__number", "component__tag", "pk")
    )
    elsewhere, taken = [], []
    for due in rows:
        is_own = due.rig_id == rig.pk if rig else due.component == component
        what = f"{due.version.service.name} of {due.component.tag}"
        if is_own:
            taken.append(what)
        else:
            elsewhere.append(f"{what} ({f'rig {due.rig}' if due.rig else 'on no rig'})")
    whom = "one rig" if rig else "one component"
    said = []
    if elsewhere:
        said.append(f"A sheet is for {whom}. Left out: {_named(elsewhere)}.")
    if taken:
        said.append(f"Left out, since an open sheet has it: {_named(taken)}.")
    return said


def _named(names: Sequence[str]) -> str:
    more = len(names) - MOST_NAMED
    return ", ".join(names[:MOST_NAMED]) + (f" and {more} more" if more > 0 else "")


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
    within = {
        due.pk: {
            smaller.service_id: smaller.service.name
            for smaller in covers.get((due.component_id, due.version_id), ())
        }
        for due in dues
    }
    shared = open_lines.overlaps(dues)
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
                "parts_of_it": ", ".join(within[due.pk].values()),
                "part_of": ", ".join(
                    other.version.service.name
                    for other in dues
                    if other.component_id == due.component_id
                    and due.version.service_id in within[other.pk]
                ),
                "overlaps": [each for each in shared if each.due == due],
                "kit": kit,
                "minutes": words.span(due.version.planned_minutes),
            }
        )
    return rows


def _drafted_text(sheet: ServiceSheet) -> object:
    short = sheet.parts.filter(short_steps__gt=0).count()
    text = (
        ngettext_lazy(
            "Sheet {sheet} is drafted. {n} of its parts is short.",
            "Sheet {sheet} is drafted. {n} of its parts are short.",
            short,
        )
        if short
        else gettext_lazy("Sheet {sheet} is drafted. Everything it needs is reserved.")
    )
    return format_lazy(text, sheet=sheet, n=short)


def _folded_texts(sheet: ServiceSheet, asked: Sequence[Due]) -> list[object]:
    """Say which picked services have no line of their own, since a bigger one includes them."""
    said: list[object] = []
    for line in sheet.lines.select_related("version__service", "component").order_by("order"):
        smaller = [
            due.version.service.name
            for due in asked
            if due.component_id == line.component_id and due.version.service.name in line.covers
        ]
        if smaller:
            said.append(lazy(_folded_text, str)(line, smaller))
    return said


def _folded_text(line: SheetLine, smaller: Sequence[str]) -> str:
    text = gettext("Part of “{bigger}” of {component}, on one line with it: {smaller}.")
    return text.format(
        bigger=line.title, component=line.component, smaller=", ".join(map(gettext, smaller))
    )
