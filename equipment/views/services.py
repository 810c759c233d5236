"""Services: what is done at which interval, with its checks, and its older versions."""

from typing import Final

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.db.models import Prefetch
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_safe
from django_tables2 import RequestConfig

from equipment.filters import ServiceFilter
from equipment.forms.components import UndoForm
from equipment.forms.services import NewServiceForm, VersionForm, told
from equipment.models import Basis, Service, ServiceVersion
from equipment.services import (
    CareRefused,
    CheckPlan,
    create_service,
    publish_version,
    retire_service,
)
from equipment.tables import ServiceTable
from equipment.views.common import PageRequest, draw, is_sound, put_beside, typed, zone

ROWS_A_PAGE: Final = 100
CURRENT: Final = ServiceVersion.objects.filter(is_current=True).prefetch_related("triggers")


@require_safe
def services(request: PageRequest) -> HttpResponse:
    """What is done at which interval, by kind of component."""
    listed = Service.objects.select_related("kind").prefetch_related(
        Prefetch("versions", CURRENT.all(), to_attr="current")
    )
    found = ServiceFilter(request.GET, queryset=listed)
    table = ServiceTable(found.qs, empty_text="No service is like that.")
    RequestConfig(request, paginate={"per_page": ROWS_A_PAGE, "silent": True}).configure(table)
    status = 200 if found.form.is_valid() else 422
    context = {"filter": found, "table": table}
    return render(request, "equipment/services.html", context, status=status)


@require_safe
def service(request: PageRequest, pk: int) -> HttpResponse:
    """One service: when, what, checks with their limits, cautions, older versions."""
    shown = _get(pk)
    versions = list(
        shown.versions.select_related("author").prefetch_related("triggers").order_by("-version")
    )
    context = {
        "service": shown,
        "version": (
            shown.versions.select_related("author")
            .prefetch_related("triggers", "checks", "cautions")
            .get(is_current=True)
        ),
        "versions": versions,
    }
    return render(request, "equipment/service.html", context)


@require_http_methods(["GET", "HEAD", "POST"])
def new_service(request: PageRequest) -> HttpResponse:
    """Begin a service on every component of a kind."""
    now = timezone.now()
    form = NewServiceForm(typed(request), now=now)
    if is_sound(request, form):
        data = form.cleaned_data
        try:
            made = create_service(
                kind=data["kind"],
                name=data["name"],
                side=data["side"],
                author=request.user,
                at=now,
                zone=zone(),
                triggers=form.triggers(),
                checks=data["checks"],
                **form.asked(),
            )
        except ValidationError as refused:
            put_beside(form, refused, __all__="name")
        except CareRefused as refused:
            form.add_error(None, str(refused))
        else:
            messages.success(request, f"“{made.service}” is there. Next: the parts it needs.")
            return redirect("equipment:service", made.service.pk)
    context = {
        "title": "New service",
        "form": form,
        "submit": "Begin it",
        "back_url": reverse("equipment:services"),
        "back_label": "the services",
    }
    return draw(request, "equipment/form.html", context)


@require_http_methods(["GET", "HEAD", "POST"])
def change(request: PageRequest, pk: int) -> HttpResponse:
    """Publish a new version; the checks and cautions go along, signed sheets keep the old one."""
    now = timezone.now()
    shown = _get(pk)
    current = shown.versions.prefetch_related("triggers", "checks", "cautions").get(is_current=True)
    form = VersionForm(typed(request), now=now, initial=told(current))
    if is_sound(request, form) and _is_as_seen(form, current):
        try:
            made = publish_version(
                service=shown,
                author=request.user,
                at=now,
                zone=zone(),
                triggers=form.triggers(),
                checks=_checks(current),
                cautions=current.cautions.all(),
                basis=Basis.SHOP,
                **form.asked(),
            )
        except ValidationError as refused:
            put_beside(form, refused)
        except CareRefused as refused:
            form.add_error(None, str(refused))
        else:
            messages.success(request, f"Version {made.version} counts from now on.")
            return redirect("equipment:service", shown.pk)
    context = {
        "title": f"Change “{shown}”",
        "line": f"{shown.kind}, version {current.version}",
        "intro": "This publishes a new version with the same checks and cautions. What falls due "
        "follows at once; signed sheets keep what they read.",
        "form": form,
        "submit": "Publish it",
        "back_url": reverse("equipment:service", args=[shown.pk]),
        "back_label": "the service",
    }
    return draw(request, "equipment/form.html", context)


@require_http_methods(["GET", "HEAD", "POST"])
def retire(request: PageRequest, pk: int) -> HttpResponse:
    """End a service, after asking."""
    shown = _get(pk)
    form = UndoForm(typed(request), now=timezone.now())
    del form.fields["reason"]
    if is_sound(request, form):
        retire_service(service=shown, zone=zone())
        messages.success(request, f"“{shown}” is retired. What was done stays to be read.")
        return redirect("equipment:services")
    context = {
        "title": f"Retire “{shown}”",
        "line": shown.kind,
        "intro": "It leaves the due list of every component. When it was done stays to be read.",
        "form": form,
        "submit": "Retire it",
        "back_url": reverse("equipment:service", args=[shown.pk]),
        "back_label": "the service",
    }
    return draw(request, "equipment/form.html", context)


def _get(pk: int) -> Service:
    return get_object_or_404(Service.objects.select_related("kind"), pk=pk)


def _is_as_seen(form: VersionForm, current: ServiceVersion) -> bool:
    """Refuse to publish over a version that nobody looked at, also when a finger slips twice."""
    if form.cleaned_data["seen"] == current.version:
        return True
    form.add_error(
        None,
        f"Version {current.version} was published meanwhile, by {current.author}. Open the page "
        "again to change that one.",
    )
    return False


def _checks(version: ServiceVersion) -> list[CheckPlan]:
    return [
        CheckPlan(
            text=check.text,
            kind=check.kind,
            hint=check.hint,
            choices=tuple(check.choices),
            unit=check.unit,
            low=check.low,
            high=check.high,
            needs_electrician=check.needs_electrician,
        )
        for check in sorted(version.checks.all(), key=lambda check: check.order)
    ]
