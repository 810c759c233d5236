"""Counters: a new one, what one counts, and its end."""

from typing import Any

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from equipment.forms.fields import SpokenForm
from equipment.forms.rigs import ChangeCounterForm, CounterForm
from equipment.models import Component, Counter, Reading, Rig
from equipment.services import CounterRefused, change_counter, create_counter, retire_counter
from equipment.views.common import (
    PageRequest,
    component_url,
    draw,
    get_component,
    get_rig,
    is_sound,
    of_rig,
    put_beside,
    typed,
    zone,
)


@require_http_methods(["GET", "HEAD", "POST"])
def new_counter(request: PageRequest, number: int) -> HttpResponse:
    """Add a counter to a rig."""
    rig = get_rig(number)
    form = CounterForm(typed(request), now=timezone.now())
    if is_sound(request, form) and _counted(form, rig=rig):
        messages.success(request, f"{form.cleaned_data['name']} counts from now on.")
        return redirect("equipment:rig_setup", rig.number)
    context = {
        "title": "New counter",
        "line": rig.name,
        "form": form,
        "submit": "Add it",
        "back_url": reverse("equipment:rig_setup", args=[rig.number]),
        "back_label": "what it is made of",
    }
    return draw(request, "equipment/form.html", of_rig(rig, **context))


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


@require_http_methods(["GET", "HEAD", "POST"])
def change(request: PageRequest, pk: int) -> HttpResponse:
    """What a counter counts, how its face counts it, and what it is called."""
    counter = get_object_or_404(_counters(), pk=pk)
    was_read = Reading.objects.filter(counter=counter).exists()
    form = ChangeCounterForm(typed(request), now=timezone.now(), counter=counter, was_read=was_read)
    if is_sound(request, form):
        try:
            change_counter(counter=counter, zone=zone(), **form.values())
        except CounterRefused as refused:
            form.add_error(refused.field or None, str(refused))
        except ValidationError as refused:
            put_beside(form, refused, __all__="name")
        else:
            messages.success(request, "Changed. Lives and due dates follow.")
            return redirect(_home(counter))
    intro = (
        "It was read already, so its readings stand for what they counted: to count something "
        "else, retire it and add another. Only strokes and cycles may still be taken for each "
        "other; then every life by it is worked out anew."
        if was_read
        else ""
    )
    return draw(
        request,
        "equipment/form.html",
        _about(counter, title=f"Change {counter.name}", form=form, submit="Save", intro=intro),
    )


@require_http_methods(["GET", "HEAD", "POST"])
def retire(request: PageRequest, pk: int) -> HttpResponse:
    """End a counter, after asking: its readings and the lives it drove stay."""
    now = timezone.now()
    counter = get_object_or_404(_counters(), pk=pk)
    form = SpokenForm(typed(request), now=now)
    if is_sound(request, form):
        try:
            retire_counter(counter=counter, at=now, zone=zone())
        except CounterRefused as refused:
            form.add_error(None, str(refused))
        else:
            messages.success(request, f"{counter.name} is retired. Its readings stay.")
            return redirect(_home(counter))
    intro = (
        "It is read no more, from now on. Its readings stay, and so does every life that it "
        "drove. What wears by it goes on by another counter of the same kind, where there is "
        "one; else it stands still. For a new face on the same counter take a reading instead, "
        "and say that it has a new face."
    )
    return draw(
        request,
        "equipment/form.html",
        _about(counter, title=f"Retire {counter.name}", form=form, submit="Retire it", intro=intro),
    )


def _counters() -> Any:
    return Counter.objects.filter(is_retired=False).select_related(
        "rig", "component__type__kind", "kind"
    )


def _home(counter: Counter) -> str:
    if counter.rig:
        return reverse("equipment:rig_setup", args=[counter.rig.number])
    assert counter.component
    return component_url(counter.component)


def _about(counter: Counter, **context: Any) -> dict[str, Any]:
    if counter.rig:
        about = {"line": counter.rig.name, "back_label": "what it is made of"}
        return of_rig(counter.rig, **about, back_url=_home(counter), **context)
    assert counter.component
    tag = counter.component.tag
    return {
        "line": f"travels with {counter.component.type.kind} {tag}",
        "back_label": tag,
        "back_url": _home(counter),
        **context,
    }


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
