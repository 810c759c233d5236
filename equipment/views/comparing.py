"""Two services, two versions, or one and the starting library: what differs, side by side."""

from dataclasses import dataclass
from typing import Final

from django.http import HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_safe

from equipment.asked import Asked, Difference, compare
from equipment.forms.services import CompareForm
from equipment.models import Service
from equipment.services import library
from equipment.services.asking import asked_of, value_units, versions_to_read
from equipment.views.common import PageRequest
from equipment.views.services import get_service

LIBRARY: Final = "library"
VERSION: Final = "version"
SERVICE: Final = "service"
Choices = list[tuple[str, str]]


@dataclass(frozen=True, slots=True)
class Side:
    """One of the two that are compared."""

    name: str
    asked: Asked


@require_safe
def compare_service(request: PageRequest, pk: int) -> HttpResponse:
    """What two differ in, in words; by itself: the current version and what it came from."""
    shown = get_service(pk)
    versions = list(shown.versions.order_by("-version"))
    own: Choices = [
        (f"{VERSION}-{each.version}", f"version {each.version}{', current' * each.is_current}")
        for each in versions
    ]
    default = library.asked_by_library(shown.library_code)
    if default is not None:
        own.append((LIBRARY, "the starting library"))
    others = Service.objects.exclude(pk=pk).filter(kind=shown.kind_id).order_by("name", "side")
    of_kind: Choices = [(f"{SERVICE}-{each.pk}", _name(each)) for each in others]
    if shown.copied_from and shown.copied_from.kind_id != shown.kind_id:
        of_kind.append((f"{SERVICE}-{shown.copied_from_id}", _name(shown.copied_from)))
    begin = {"left": _first(shown, own, of_kind), "right": own[0][0]}
    form = CompareForm({**begin, **request.GET.dict()}, own=own, others=of_kind, now=timezone.now())
    sides: list[Side] = []
    rows: list[Difference] = []
    if form.is_valid():
        sides = [_side(shown, form.cleaned_data[name], default) for name in ("left", "right")]
        rows = compare(sides[0].asked, sides[1].asked)
    context = {
        "service": shown,
        "form": form,
        "sides": sides,
        "differing": [row for row in rows if not row.is_same],
        "same": [row for row in rows if row.is_same],
    }
    status = 200 if form.is_valid() else 422
    return render(request, "equipment/service_compare.html", context, status=status)


def _first(shown: Service, own: Choices, of_kind: Choices) -> str:
    """What a service is compared with when nobody chose: what it came from."""
    if shown.copied_from_id:
        came_from = f"{SERVICE}-{shown.copied_from_id}"
        if came_from in dict(of_kind):
            return came_from
    return LIBRARY if LIBRARY in dict(own) else own[min(1, len(own) - 1)][0]


def _side(shown: Service, chosen: str, default: Asked | None) -> Side:
    what, _, number = chosen.partition("-")
    if what == LIBRARY:
        assert default is not None, "only a service of the library has the choice"
        return Side("the starting library", default)
    versions = versions_to_read()
    if what == VERSION:
        version = versions.get(service=shown, version=int(number))
        name = f"“{shown}”, version {version.version}"
    else:
        version = versions.get(service=int(number), is_current=True)
        name = f"“{version.service}”, version {version.version}"
    return Side(name, asked_of(version, units=value_units([version.service.kind_id])))


def _name(service: Service) -> str:
    side = f", side {service.side}" if service.side else ""
    return f"{service.name}{side}{', retired' * service.is_retired}"
