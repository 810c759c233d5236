"""Components: the list, the page of one with its life, a new one, a service done elsewhere."""

from datetime import date, datetime
from typing import Any, Final

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import IntegerField, OuterRef, Prefetch, QuerySet, Subquery, Value
from django.db.models.functions import Coalesce
from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_safe
from django_tables2 import RequestConfig

from equipment.filters import ComponentFilter
from equipment.forms.components import ComponentForm, HoseForm, RenewalForm, UndoForm
from equipment.hoses import Hose, volume_text
from equipment.models import (
    Component,
    ComponentType,
    Due,
    Finding,
    Installation,
    Measure,
    Renewal,
    ServiceVersion,
    Wear,
    WearSource,
)
from equipment.models.rigs import ZERO
from equipment.services import (
    CareRefused,
    FittingRefused,
    create_component,
    create_type,
    next_stay,
    retire_component,
    set_hose,
    undo_renewal,
)
from equipment.services.assembling import renew_by_hand
from equipment.services.fallen import fallen_on_shelf
from equipment.services.side_answers import standing_on
from equipment.tables import UNITS, ComponentTable, rounded
from equipment.views.common import (
    PageRequest,
    component_url,
    draw,
    fitted_now,
    get_component,
    is_sound,
    of_rig,
    put_beside,
    typed,
    zone,
)
from equipment.views.lifeline import lifeline
from equipment.views.lifetime import lifetime
from equipment.views.watched import watched_values
from equipment.views.why import reasons

ROWS_A_PAGE: Final = 50


@require_safe
def components(request: PageRequest) -> HttpResponse:
    """Everything the shop holds that wears."""
    found = ComponentFilter(request.GET, queryset=_listed())
    table = ComponentTable(found.qs, empty_text="No component is found so.")
    RequestConfig(request, paginate={"per_page": ROWS_A_PAGE, "silent": True}).configure(table)
    context = {"filter": found, "table": table, "is_narrowed": bool(request.GET)}
    status = 200 if found.form.is_valid() else 422
    return render(request, "equipment/components.html", context, status=status)


def _listed() -> QuerySet[Component]:
    """Components with where they are: rig 0 is the shelf, since lists sort by no null."""
    fitted = Installation.objects.filter(component=OuterRef("pk"), removed_at__isnull=True)
    zero = Value(0, output_field=IntegerField())
    now = Installation.objects.filter(removed_at__isnull=True).select_related(
        "position__rig", "position__kind"
    )
    return (
        Component.objects.select_related("type__kind")
        .annotate(
            rig_number=Coalesce(Subquery(fitted.values("position__rig__number")[:1]), zero),
            place=Coalesce(Subquery(fitted.values("position__order")[:1]), zero),
        )
        .prefetch_related(Prefetch("installations", now, to_attr="fitted_now"), "wear")
    )


@require_safe
def component(request: PageRequest, tag: str) -> HttpResponse:
    """One component: where it sits, how long it has lived, what falls due, what happened."""
    shown = get_component(tag)
    fitted = fitted_now(shown)
    events, is_more = lifeline(shown, whole=request.GET.get("time") == "all")
    findings = Finding.objects.open().filter(component=shown).select_related("opened_by")
    context: dict[str, Any] = {
        "component": shown,
        "held": _held(shown.type),
        "fitted": fitted,
        "lives": _lives(shown, fitted),
        "brought": standing_on(shown),
        "dues": (dues := _dues(shown, today=request.today)),
        "reasons": reasons(shown, dues),
        "fallen": [] if fitted else fallen_on_shelf([shown], today=request.today),
        "watched": watched_values(shown, dues, zone=zone()),
        "next_stay": next_stay(rig=fitted.position.rig, today=request.today) if fitted else None,
        "counters": shown.counters.filter(is_retired=False).order_by("order", "pk"),
        "open_found": findings.order_by("-is_grave", "opened_at"),
        "lifetime": lifetime(shown),
        "events": events,
        "is_more": is_more,
    }
    if fitted:
        context = of_rig(fitted.position.rig, **context)
    return render(request, "equipment/component.html", context)


def _lives(shown: Component, fitted: Installation | None) -> list[dict[str, Any]]:
    """Its life in each measure, as of the last reading, and the counters that it comes from."""
    sources: dict[str, list[str]] = {}
    for row in WearSource.objects.filter(installation=fitted, ended_at__isnull=True).select_related(
        "counter"
    ):
        sources.setdefault(row.measure, []).append(row.counter.name)
    wear = {row.measure: row for row in Wear.objects.filter(component=shown)}
    return [
        {
            "measure": measure.label,
            "wear": wear[measure],
            "unit": UNITS[measure],
            "text": f"{rounded(wear[measure].life)} {UNITS[measure]}",
            "sources": sources.get(measure, []),
            "opening": getattr(shown, f"opening_{measure.value}"),
        }
        for measure in Measure
        if measure in wear
    ]


def _dues(shown: Component, *, today: date) -> list[Due]:
    rows = Due.objects.filter(component=shown).select_related(
        "rig", "position__kind", "component__type__kind", "version__service"
    )
    return sorted(rows, key=lambda row: row.urgency(today=today))


@require_http_methods(["GET", "HEAD", "POST"])
def hose(request: PageRequest, tag: str) -> HttpResponse:
    """Say how wide and long a make of hose is, so that sheets say what a rig's hoses hold."""
    now = timezone.now()
    shown = get_component(tag)
    make = shown.type
    if not make.is_hose:
        raise Http404
    begin = {"inner_diameter_in": make.hose_diameter_in, "length_ft": make.hose_length_ft}
    form = HoseForm(typed(request), now=now, initial=begin)
    if is_sound(request, form):
        kept = set_hose(type=make, **form.cleaned_data)
        held = _held(kept)
        messages.success(
            request,
            f"One line of “{make}” holds {held}."
            if held
            else f"How much “{make}” holds is not known now.",
        )
        return redirect(component_url(shown))
    context = {
        "title": f"What {shown} holds",
        "line": f"{make.kind}, {make}",
        "intro": f"It counts for every “{make}”. Sheets that ask for it then say how much the "
        "hoses of their rig hold.",
        "form": form,
        "submit": "Keep it",
        "back_url": component_url(shown),
        "back_label": shown.tag,
    }
    return draw(request, "equipment/form.html", context)


def _held(make: ComponentType) -> str:
    """What one line of a make of hose holds, in words; empty where it is not known."""
    held = Hose(make.name, "", make.hose_diameter_in, make.hose_length_ft).holds_gal
    return "" if held is None else volume_text(held)


@require_http_methods(["GET", "HEAD", "POST"])
def new_component(request: PageRequest) -> HttpResponse:
    """Add a component to the shelf."""
    now = timezone.now()
    form = ComponentForm(typed(request), now=now)
    if is_sound(request, form):
        data = form.cleaned_data
        try:
            with transaction.atomic():
                made = create_component(
                    type=data["type"]
                    or create_type(
                        kind=data["kind"],
                        name=data["type_name"].strip(),
                        displacement_in3=data["displacement_in3"],
                    ),
                    tag=data["tag"],
                    serial=data["serial"],
                    side=data["side"],
                    in_service_on=data["in_service_on"],
                    opening_hours=data["opening_hours"] or ZERO,
                    opening_strokes=data["opening_strokes"] or ZERO,
                    opening_gallons=data["opening_gallons"] or ZERO,
                    at=now,
                    zone=zone(),
                )
        except ValidationError as refused:
            put_beside(form, refused, name="type_name")
        else:
            messages.success(request, f"{made.tag} lies on the shelf.")
            return redirect(component_url(made))
    context = {
        "title": "New component",
        "form": form,
        "submit": "Add it",
        "back_url": reverse("equipment:components"),
        "back_label": "the components",
    }
    return draw(request, "equipment/form.html", context)


@require_http_methods(["GET", "HEAD", "POST"])
def retire(request: PageRequest, tag: str) -> HttpResponse:
    """Take a component out of the fleet, after asking."""
    shown = get_component(tag)
    form = UndoForm(typed(request), now=timezone.now())
    del form.fields["reason"]
    if is_sound(request, form):
        try:
            retire_component(component=shown, zone=zone())
        except FittingRefused as refused:
            form.add_error(None, str(refused))
        else:
            messages.success(request, f"{shown.tag} is retired. Its history stays.")
            return redirect(component_url(shown))
    context = {
        "title": f"Retire {shown.tag}",
        "intro": "It leaves the fleet, and its services leave the due list. "
        "What it lived through stays to be read.",
        "form": form,
        "submit": "Retire it",
        "back_url": component_url(shown),
        "back_label": shown.tag,
    }
    return draw(request, "equipment/form.html", context)


@require_http_methods(["GET", "HEAD", "POST"])
def renew(request: PageRequest, tag: str) -> HttpResponse:
    """Say that a service was done without a sheet of ours."""
    now = timezone.now()
    shown = get_component(tag)
    versions = ServiceVersion.objects.filter(
        is_current=True,
        service__is_retired=False,
        service__kind=shown.type.kind,
        service__side__in=["", shown.side] if shown.side else ["", "A", "B"],
    )
    form = RenewalForm(
        typed(request),
        now=now,
        versions=versions.select_related("service").order_by("service__name"),
        initial={
            "version": request.GET.get("version"),
            "day": request.today,
            "time": timezone.localtime(now).time().replace(second=0, microsecond=0),
        },
    )
    if is_sound(request, form):
        data = form.cleaned_data
        done_at = datetime.combine(data["day"], data["time"], zone())
        try:
            renew_by_hand(
                version=data["version"],
                component=shown,
                done_at=done_at,
                reason=data["reason"],
                author=request.user,
                recorded_at=now,
                request_id=data["request_id"],
                zone=zone(),
            )
        except CareRefused as refused:
            form.add_error("day", str(refused))
        else:
            messages.success(request, f"{data['version'].service} counts from then on.")
            return redirect(component_url(shown))
    context = {
        "title": "Service done without a sheet",
        "line": f"{shown.type.kind} {shown.tag}",
        "form": form,
        "submit": "It was done",
        "back_url": component_url(shown),
        "back_label": shown.tag,
    }
    return draw(request, "equipment/form.html", context)


@require_http_methods(["GET", "HEAD", "POST"])
def undo(request: PageRequest, pk: int) -> HttpResponse:
    """Undo a renewal by a row that names it."""
    now = timezone.now()
    renewal = get_object_or_404(
        Renewal.objects.select_related("version__service", "component__type__kind", "author"),
        pk=pk,
        undoes__isnull=True,
    )
    shown = renewal.component
    form = UndoForm(typed(request), now=now)
    if is_sound(request, form):
        try:
            undo_renewal(
                renewal=renewal,
                author=request.user,
                at=now,
                reason=form.cleaned_data["reason"],
                zone=zone(),
            )
        except CareRefused as refused:
            form.add_error(None, str(refused))
        else:
            messages.success(request, f"{renewal.version.service} is undone: it counts as before.")
            return redirect(component_url(shown))
    done = timezone.localtime(renewal.done_at)
    context = {
        "title": "Undo a service",
        "line": f"{shown.type.kind} {shown.tag}",
        "intro": f"{renewal.version.service}, done on {done.day} {done:%b %Y}, entered by "
        f"{renewal.author}. Undone, its life counts again from the time before. Both stay in "
        "the line of time, with your reason.",
        "form": form,
        "submit": "Undo it",
        "back_url": component_url(shown),
        "back_label": shown.tag,
    }
    return draw(request, "equipment/form.html", context)
