"""Services: what is done at which interval and why, their versions; retired and brought back."""

from collections.abc import Iterable
from dataclasses import dataclass
from itertools import pairwise
from typing import Any, Final

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.db.models import Prefetch, QuerySet
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_safe
from django_tables2 import RequestConfig

from equipment.asked import (
    Asked,
    Difference,
    check_words,
    differences,
    early_words,
    falls_due_lines,
    tolerance_words,
)
from equipment.filters import ServiceFilter
from equipment.forms.components import UndoForm
from equipment.forms.services import ReasonForm
from equipment.models import Component, ComponentKind, Due, Installation, Service, ServiceVersion
from equipment.services import CareRefused, library, restore_service, retire_service
from equipment.services.asking import asked_of, value_units, versions_to_read
from equipment.tables import AppliesTable, ServiceRow, ServiceTable
from equipment.views.common import PageRequest, draw, is_sound, typed, zone
from equipment.views.what_we_know import known_section

COMPONENTS_A_PAGE: Final = 25


@dataclass(frozen=True, slots=True)
class Group:
    """The services of one kind of component."""

    kind: ComponentKind
    table: ServiceTable


@dataclass(frozen=True, slots=True)
class PastVersion:
    """One version and what it changed against the one before it."""

    version: ServiceVersion
    changed: list[Difference]


@require_safe
def services(request: PageRequest) -> HttpResponse:
    """What is done at which interval, by kind of component."""
    found = ServiceFilter(request.GET, queryset=Service.objects.all())
    status = 200 if found.form.is_valid() else 422
    context = {"filter": found, "groups": _groups(found.qs)}
    return render(request, "equipment/services.html", context, status=status)


def _groups(listed: QuerySet[Service]) -> list[Group]:
    versions = (
        versions_to_read()
        .filter(service__in=listed, is_current=True)
        .order_by(
            "service__kind__flow_order", "service__kind__name", "service__name", "service__side"
        )
    )
    rows: dict[ComponentKind, list[ServiceRow]] = {}
    found = list(versions)
    units = value_units({version.service.kind_id for version in found})
    for version in found:
        row = ServiceRow(version.service, version, asked_of(version, units=units))
        rows.setdefault(version.service.kind, []).append(row)
    return [
        Group(kind, ServiceTable(of_kind, attrs={"aria-label": f"Services of a {kind}"}))
        for kind, of_kind in rows.items()
    ]


@require_safe
def service(request: PageRequest, pk: int) -> HttpResponse:
    """One service: what it asks and since when, what it applies to and when that falls due."""
    shown = get_service(pk)
    versions = list(versions_to_read().filter(service=shown).order_by("-version"))
    units = value_units([shown.kind_id])
    asked = [asked_of(version, units=units) for version in versions]
    current, now_asked = next(
        pair for pair in zip(versions, asked, strict=True) if pair[0].is_current
    )
    table = AppliesTable(
        _applies_to(shown), today=request.today, empty_text="It applies to no component now."
    )
    RequestConfig(request, paginate={"per_page": COMPONENTS_A_PAGE, "silent": True}).configure(
        table
    )
    context = {
        "service": shown,
        "version": current,
        "asked": now_asked,
        "falls_due": falls_due_lines(now_asked),
        "tolerance": tolerance_words(now_asked),
        "early": early_words(now_asked),
        "checks": [(check, check_words(check)) for check in now_asked.checks],
        "includes": _includes(shown, current.includes.filter(is_retired=False)),
        "included_in": _included_in(shown),
        "rigs": shown.only_rigs.order_by("number"),
        "versions": _past(versions, asked),
        "can_compare": len(versions) > 1 or shown.library_code or shown.copied_from_id,
        "further": _further(shown, now_asked),
        "table": table,
        **known_section(shown),
    }
    return render(request, "equipment/service.html", context)


def _past(versions: list[ServiceVersion], asked: list[Asked]) -> list[PastVersion]:
    """Each version, newest first, with what it changed."""
    changed = [differences(before, after) for after, before in pairwise(asked)]
    return [
        PastVersion(version, said) for version, said in zip(versions, [*changed, []], strict=True)
    ]


def _includes(shown: Service, smaller: Iterable[Service]) -> list[tuple[Service, str]]:
    """The smaller services, each with why the library lets this one stand for it."""
    why = library.includes_why()
    return [(each, why.get((shown.library_code, each.library_code), "")) for each in smaller]


def _included_in(shown: Service) -> QuerySet[Service]:
    bigger = ServiceVersion.objects.filter(includes=shown, is_current=True)
    return Service.objects.filter(versions__in=bigger, is_retired=False).order_by("name", "side")


def _further(shown: Service, asked: Asked) -> str:
    """Where the triggers come from that are not of the table itself, while they are as loaded."""
    default = library.asked_by_library(shown.library_code)
    if default is None:
        return ""
    table = {measure for measure, _ in library.tasks()[shown.library_code].intervals()}
    loaded = [each for each in default.triggers if each.measure not in table]
    if not loaded or any(each not in asked.triggers for each in loaded):
        return ""
    return library.further_why(shown.library_code)


def _applies_to(shown: Service) -> QuerySet[Component]:
    """The components in use that a service is for, with its due row where it has one."""
    found = Component.objects.in_use().filter(type__kind=shown.kind_id)
    if shown.side:
        found = found.filter(side=shown.side)
    rigs = list(shown.only_rigs.values_list("pk", flat=True))
    if rigs:
        fitted = Installation.objects.filter(removed_at__isnull=True, position__rig__in=rigs)
        found = found.filter(installations__in=fitted)
    if shown.is_retired:
        found = found.none()
    fitted_now = Installation.objects.filter(removed_at__isnull=True).select_related(
        "position__rig", "position__kind"
    )
    mine = Due.objects.filter(version__service=shown)
    return found.select_related("type").prefetch_related(
        Prefetch("installations", fitted_now, to_attr="fitted_now"),
        Prefetch("due_rows", mine, to_attr="due_of_it"),
    )


@require_http_methods(["GET", "HEAD", "POST"])
def retire(request: PageRequest, pk: int) -> HttpResponse:
    """End a service, after asking why."""
    now = timezone.now()
    shown = get_service(pk)
    form = ReasonForm(typed(request), now=now)
    if is_sound(request, form):
        retire_service(
            service=shown,
            reason=form.cleaned_data["reason"],
            author=request.user,
            at=now,
            zone=zone(),
        )
        messages.success(request, f"“{shown}” is retired. What was done stays to be read.")
        return redirect("equipment:services")
    context = {
        "title": f"Retire “{shown}”",
        "line": shown.kind,
        "intro": "It leaves the due list of every component. When it was done stays to be read, "
        "and it can be brought back.",
        "form": form,
        "submit": "Retire it",
        "back_url": reverse("equipment:service", args=[shown.pk]),
        "back_label": "the service",
    }
    return draw(request, "equipment/form.html", context)


@require_http_methods(["GET", "HEAD", "POST"])
def bring_back(request: PageRequest, pk: int) -> HttpResponse:
    """Put a retired service back into use, after asking."""
    now = timezone.now()
    shown = get_service(pk)
    form = UndoForm(typed(request), now=now)
    del form.fields["reason"]
    if is_sound(request, form):
        try:
            restore_service(service=shown, zone=zone())
        except ValidationError as refused:
            form.add_error(None, " ".join(refused.messages))
        except CareRefused as refused:
            form.add_error(None, str(refused))
        else:
            messages.success(request, f"“{shown}” is in use again.")
            return redirect("equipment:service", shown.pk)
    context: dict[str, Any] = {
        "title": f"Bring back “{shown}”",
        "line": shown.kind,
        "intro": "It falls due again on every component it is for, counted from when it was "
        "last done there.",
        "form": form,
        "submit": "Bring it back",
        "back_url": reverse("equipment:service", args=[shown.pk]),
        "back_label": "the service",
    }
    return draw(request, "equipment/form.html", context)


def get_service(pk: int) -> Service:
    """The service of an address; else a page that says there is none."""
    return get_object_or_404(
        Service.objects.select_related("kind", "copied_from", "retired_by"), pk=pk
    )
