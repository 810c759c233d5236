"""What a rig is made of: its name, its positions, its counters."""

from typing import Any, Final

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.db.models import Exists, OuterRef
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_safe

from equipment.forms.fields import SpokenForm
from equipment.forms.rigs import ChangeRigForm, NewRigForm, PositionForm
from equipment.models import Counter, Exchange, Position, Rig
from equipment.services import (
    FittingRefused,
    add_position,
    assembling,
    create_rig,
    lay_up_rig,
    remove_position,
    return_rig,
    set_pump_drive,
)
from equipment.services.fallen import fallen_on_rig
from equipment.views.common import (
    PageRequest,
    draw,
    fitted_in,
    get_rig,
    is_sound,
    of_rig,
    put_beside,
    typed,
    zone,
)
from equipment.views.readings import counters_of

#: So many are named in a message; the page of the rig has them all.
NAMED: Final = 5


@require_http_methods(["GET", "HEAD", "POST"])
def new_rig(request: PageRequest) -> HttpResponse:
    """Add a rig to the fleet, with the usual positions and counters at will."""
    now = timezone.now()
    form = NewRigForm(typed(request), now=now)
    if is_sound(request, form):
        data = form.cleaned_data
        called = {name: data[name] for name in ("number", "name", "description")}
        try:
            if data["is_usual"]:
                rig = assembling.create_usual_rig(
                    **called, first_values=form.first_values(), at=now, zone=zone()
                )
            else:
                rig = create_rig(**called, at=now)
        except ValidationError as refused:
            put_beside(form, refused)
        else:
            messages.success(request, f"Rig {rig} is there. Next: fit what sits in it.")
            return redirect("equipment:rig_setup", rig.number)
    context = {
        "title": "New rig",
        "form": form,
        "submit": "Add the rig",
        "back_url": reverse("shop:rigs"),
        "back_label": "the rigs",
    }
    return draw(request, "equipment/form.html", context)


@require_safe
def setup(request: PageRequest, number: int) -> HttpResponse:
    """The positions and counters of a rig, and what sits where."""
    rig = get_rig(number)
    fitted = fitted_in(rig)
    there = {row.position_id: row for row in fitted}
    context = {
        "places": [
            {"position": position, "row": there.get(position.pk)}
            for position in rig.positions.select_related("kind")
            .annotate(was_used=Exists(Exchange.objects.filter(position=OuterRef("pk"))))
            .order_by("order")
        ],
        "counters": [
            {"counter": counter, "place": place} for counter, place in counters_of(rig, fitted)
        ],
        "retired": Counter.objects.filter(rig=rig, is_retired=True).order_by("retired_at"),
    }
    return render(request, "equipment/rig_setup.html", of_rig(rig, **context))


@require_http_methods(["GET", "HEAD", "POST"])
def change(request: PageRequest, number: int) -> HttpResponse:
    """Call a rig something else; lay it up or bring it back."""
    now = timezone.now()
    rig = get_rig(number)
    form = ChangeRigForm(
        typed(request),
        now=now,
        initial={
            "name": rig.name,
            "description": rig.description,
            "pump_drive": rig.pump_drive,
            "is_laid_up": rig.is_laid_up,
        },
    )
    if is_sound(request, form):
        data = form.cleaned_data
        try:
            assembling.change_rig(rig=rig, name=data["name"], description=data["description"])
        except ValidationError as refused:
            put_beside(form, refused)
        else:
            if data["pump_drive"] != rig.pump_drive:
                set_pump_drive(rig=rig, pump_drive=data["pump_drive"], zone=zone())
            if data["is_laid_up"] != rig.is_laid_up:
                turn = lay_up_rig if data["is_laid_up"] else return_rig
                turn(rig=rig, today=request.today, zone=zone())
                if not data["is_laid_up"]:
                    _say_fallen(request, rig)
            messages.success(request, "Changed.")
            return redirect("equipment:rig_setup", rig.number)
    about = _about(rig, form, "Change the rig", "Save")
    if rig.is_laid_up:
        about["fallen"] = fallen_on_rig(rig, today=request.today)
    return draw(request, "equipment/form.html", about)


def _say_fallen(request: PageRequest, rig: Rig) -> None:
    """Name what fell due while the rig was laid up, now that it goes to work again."""
    fallen = fallen_on_rig(rig, today=request.today)
    if fallen is None:
        return
    rows = fallen.rows
    names = "; ".join(f"{row.component.tag}, {row.version.service}" for row in rows[:NAMED])
    more = f"; and {len(rows) - NAMED} more on its page" if len(rows) > NAMED else ""
    messages.warning(request, f"Fallen due while it was laid up: {names}{more}.")


@require_http_methods(["GET", "HEAD", "POST"])
def new_position(request: PageRequest, number: int) -> HttpResponse:
    """Add a place to a rig."""
    rig = get_rig(number)
    last = rig.positions.order_by("-order").first()
    form = PositionForm(
        typed(request), now=timezone.now(), initial={"order": last.order + 1 if last else 1}
    )
    if is_sound(request, form):
        try:
            position = add_position(rig=rig, **form.cleaned_data)
        except ValidationError as refused:
            put_beside(form, refused, __all__="order")
        else:
            messages.success(request, f"Position {position} is there, empty yet.")
            return redirect("equipment:rig_setup", rig.number)
    return draw(request, "equipment/form.html", _about(rig, form, "New position", "Add it"))


@require_http_methods(["GET", "HEAD", "POST"])
def remove(request: PageRequest, pk: int) -> HttpResponse:
    """Take a position away that was never used, after asking."""
    position = get_object_or_404(Position.objects.select_related("rig", "kind"), pk=pk)
    rig = position.rig
    form = SpokenForm(typed(request), now=timezone.now())
    if is_sound(request, form):
        try:
            remove_position(position=position)
        except FittingRefused as refused:
            form.add_error(None, str(refused))
        else:
            messages.success(request, f"{position.heading} is no position of this rig any more.")
            return redirect("equipment:rig_setup", rig.number)
    about = _about(rig, form, f"Remove {position.order} {position.label}", "Remove it")
    about["intro"] = "Nothing ever sat there, so nothing is lost."
    return draw(request, "equipment/form.html", about)


def _about(rig: Rig, form: Any, title: str, submit: str) -> dict[str, Any]:
    return of_rig(
        rig,
        title=title,
        line=rig.name,
        form=form,
        submit=submit,
        back_url=reverse("equipment:rig_setup", args=[rig.number]),
        back_label="what it is made of",
    )
