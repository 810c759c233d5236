"""What a rig is made of: its name, its positions, its counters."""

from typing import Any

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_safe

from equipment.forms.rigs import ChangeRigForm, CounterForm, NewRigForm, PositionForm
from equipment.models import Component, Rig
from equipment.services import (
    add_position,
    assembling,
    create_counter,
    create_rig,
    lay_up_rig,
    return_rig,
)
from equipment.views.common import (
    PageRequest,
    component_url,
    draw,
    fitted_in,
    get_component,
    get_rig,
    is_sound,
    of_rig,
    put_beside,
    typed,
    zone,
)
from equipment.views.readings import counters_of


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
            for position in rig.positions.select_related("kind").order_by("order")
        ],
        "counters": [
            {"counter": counter, "place": place} for counter, place in counters_of(rig, fitted)
        ],
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
            if data["is_laid_up"] != rig.is_laid_up:
                turn = lay_up_rig if data["is_laid_up"] else return_rig
                turn(rig=rig, author=request.user, at=now)
            messages.success(request, "Changed.")
            return redirect("equipment:rig_setup", rig.number)
    return draw(request, "equipment/form.html", _about(rig, form, "Change the rig", "Save"))


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
def new_counter(request: PageRequest, number: int) -> HttpResponse:
    """Add a counter to a rig."""
    rig = get_rig(number)
    form = CounterForm(typed(request), now=timezone.now())
    if is_sound(request, form) and _counted(form, rig=rig):
        messages.success(request, f"{form.cleaned_data['name']} counts from now on.")
        return redirect("equipment:rig_setup", rig.number)
    return draw(request, "equipment/form.html", _about(rig, form, "New counter", "Add it"))


@require_http_methods(["GET", "HEAD", "POST"])
def new_component_counter(request: PageRequest, tag: str) -> HttpResponse:
    """Add a counter that travels with a component."""
    shown = get_component(tag)
    form = CounterForm(typed(request), now=timezone.now(), component=shown)
    if is_sound(request, form) and _counted(form, component=shown):
        messages.success(request, f"{form.cleaned_data['name']} counts from now on.")
        return redirect(component_url(shown))
    context = {
        "title": "New counter",
        "line": f"travels with {shown.type.kind} {shown.tag}",
        "form": form,
        "submit": "Add it",
        "back_url": component_url(shown),
        "back_label": shown.tag,
    }
    return draw(request, "equipment/form.html", context)


def _counted(
    form: CounterForm, *, rig: Rig | None = None, component: Component | None = None
) -> bool:
    """Create the counter; False with what is wrong put beside its field."""
    data: dict[str, Any] = dict(form.cleaned_data)
    side, kind = data.pop("side", ""), data.pop("kind", None)
    owner = rig or component
    assert owner is not None
    try:
        create_counter(
            rig=rig,
            component=component,
            side=side or None,
            kind=kind,
            started_at=form.now,
            order=owner.counters.count(),
            zone=zone(),
            **data,
        )
    except ValidationError as refused:
        put_beside(form, refused, __all__="name")
        return False
    return True


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
