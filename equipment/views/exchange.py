"""Exchanging a component: what comes out, what goes in, and what the counters showed."""

from uuid import UUID

from django.contrib import messages
from django.db.models import QuerySet
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from equipment.forms.exchanges import ExchangeForm
from equipment.models import Component, Exchange, Installation, Position
from equipment.services import FittingRefused, ReadingsRefused
from equipment.services.assembling import exchange_with_readings
from equipment.services.fallen import fallen_on_shelf
from equipment.views.common import (
    PageRequest,
    draw,
    fitted_in,
    get_rig,
    is_sound,
    of_rig,
    rig_url,
    typed,
    zone,
)
from equipment.views.readings import counters_of


@require_http_methods(["GET", "HEAD", "POST"])
def exchange(request: PageRequest, number: int, pk: int) -> HttpResponse:
    """Take a component out of a position and put another in, at one moment."""
    now = timezone.now()
    rig = get_rig(number)
    position = get_object_or_404(Position.objects.select_related("kind", "rig"), pk=pk, rig=rig)
    fitted = fitted_in(rig)
    out = next((row for row in fitted if row.position_id == position.pk), None)
    choices = fits(position)
    form = ExchangeForm(
        typed(request),
        now=now,
        choices=choices,
        is_fitted=out is not None,
        seen=out.component.tag if out else "",
        counters=counters_of(rig, fitted),
    )
    if (there := _done_already(request, out)) is not None:
        messages.success(request, f"{there} is in its place already.")
        return redirect(rig_url(rig))
    if is_sound(request, form) and _is_as_seen(form, out):
        coming = form.cleaned_data["component_in"]
        try:
            exchange_with_readings(
                position=position,
                component_in=coming,
                readings=form.readings(),
                at=form.at,
                recorded_at=now,
                author=request.user,
                reason=form.cleaned_data["reason"],
                request_id=form.cleaned_data["request_id"],
                zone=zone(),
            )
        except FittingRefused as refused:
            form.add_error("component_in", str(refused))
        except ReadingsRefused as refused:
            form.refuse(refused.errors)
        else:
            messages.success(request, _what_happened(position, out, coming))
            return redirect(rig_url(rig))
    context = {
        "form": form,
        "position": position,
        "out": out,
        "has_choices": choices.exists(),
        "fallen": fallen_on_shelf(choices, today=request.today),
    }
    return draw(request, "equipment/exchange.html", of_rig(rig, **context))


def fits(position: Position) -> QuerySet[Component]:
    """What lies on the shelf and may go there: of the kind, and not of the other side."""
    found = Component.objects.unfitted().filter(type__kind=position.kind)
    if position.side:
        found = found.filter(side__in=["", position.side])
    return found.select_related("type").order_by("tag")


def _done_already(request: PageRequest, out: Installation | None) -> str | None:
    """What the very thing that was sent had put in the position; None: it is still to be done."""
    if request.method != "POST":
        return None
    if act := sent_before(request):
        return str(act.component_in or "Nothing")
    now_there = out.component if out else None
    wanted = request.POST.get("component_in", "")
    is_there = wanted == (str(now_there.pk) if now_there else "")
    was_there = request.POST.get("seen", "") == (now_there.tag if now_there else "")
    return str(now_there or "Nothing") if is_there and not was_there else None


def sent_before(request: PageRequest) -> Exchange | None:
    """The exchange that an earlier sending of this page made: a finger that slipped."""
    try:
        number = UUID(request.POST.get("request_id", ""))
    except ValueError:
        return None
    return Exchange.objects.select_related("component_in").filter(request_id=number).first()


def _is_as_seen(form: ExchangeForm, out: Installation | None) -> bool:
    """Refuse to take out what nobody looked at."""
    if form.cleaned_data["seen"] == (out.component.tag if out else ""):
        return True
    form.look_again(out.component.tag if out else "")
    return False


def _what_happened(position: Position, out: Installation | None, coming: Component | None) -> str:
    if coming is None:
        assert out is not None
        return f"{out.component} is out; {position.label} stays empty."
    if out is None:
        return f"{coming} is fitted: {position.label}."
    return f"{out.component} is out, {coming} is in: {position.label}."
