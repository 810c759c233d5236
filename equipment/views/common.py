"""What the pages of equipment share."""

from collections.abc import Callable, Mapping
from datetime import date
from typing import Any
from zoneinfo import ZoneInfo

from django import forms
from django.contrib import messages
from django.contrib.auth.base_user import AbstractBaseUser
from django.core.exceptions import ValidationError
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import override

from equipment.models import Component, Finding, Installation, Rig


class PageRequest(HttpRequest):
    """A request behind the gate: somebody is signed in, the shop has its day and its zone."""

    shop: Any
    today: date
    user: AbstractBaseUser  # type: ignore[assignment]
    #: The language in which an address of ours answers whoever asks.
    language_at: Callable[[str], str]


def say_at(to: str, request: PageRequest, level: int, said: object, *more: object) -> None:
    """Say what was done on the page that comes next, in the language of that page.

    to: its address. level: of django.contrib.messages. said, more: sentences that are put into
    words here: refusals, lazy texts; empty ones are left out.
    """
    with override(request.language_at(to)):
        words = " ".join(filter(None, (str(each) for each in (said, *more))))
    messages.add_message(request, level, words)


def zone() -> ZoneInfo:
    """The shop's zone, in which every page speaks."""
    current = timezone.get_current_timezone()
    assert isinstance(current, ZoneInfo)
    return current


def get_rig(number: int) -> Rig:
    """The rig of an address; else a page that says so."""
    rig = Rig.objects.filter(number=number).first()
    if rig is None:
        raise Http404(f"There is no rig {number:02d}.")
    return rig


def get_component(tag: str) -> Component:
    """The component of an address; else a page that says so."""
    component = Component.objects.select_related("type__kind").filter(tag=tag).first()
    if component is None:
        raise Http404(f"There is no component {tag}.")
    return component


def fitted_now(component: Component) -> Installation | None:
    """Where a component sits now, with position and rig; None on the bench. One query."""
    return (
        Installation.objects.filter(component=component, removed_at__isnull=True)
        .select_related("position__rig", "position__kind")
        .first()
    )


def fitted_in(rig: Rig) -> list[Installation]:
    """What sits in a rig, in flow order. One query."""
    return list(
        Installation.objects.filter(position__rig=rig, removed_at__isnull=True)
        .select_related("position__kind", "component__type__kind")
        .order_by("position__order")
    )


def holding(rig: Rig) -> list[Finding]:
    """The found work that keeps a rig in the shop, on it or on what sits in it. One query."""
    return list(Finding.objects.holding().of_rig(rig).order_by("opened_at", "pk"))


def of_rig(rig: Rig, **context: Any) -> dict[str, Any]:
    """The context of a page of a rig: what holds it stands on each of them."""
    return {"rig": rig, "findings": holding(rig), "rig_url": rig_url(rig), **context}


def rig_url(rig: Rig) -> str:
    """The page of a rig."""
    return reverse("shop:rig", args=[rig.number])


def component_url(component: Component) -> str:
    """The page of a component."""
    return reverse("equipment:component", args=[component.tag])


def typed(request: HttpRequest) -> Any:
    """What was sent, or nothing where the page is only looked at."""
    return request.POST if request.method == "POST" else None


def is_sound(request: HttpRequest, form: forms.BaseForm) -> bool:
    """Whether a form was sent and can be acted on."""
    return request.method == "POST" and form.is_valid()


def draw(request: HttpRequest, template: str, context: Mapping[str, Any]) -> HttpResponse:
    """The page; as a refusal when it comes back from being sent."""
    status = 422 if request.method == "POST" else 200
    return render(request, template, dict(context), status=status)


def put_beside(form: forms.Form, refused: ValidationError, **names: str) -> None:
    """Put what the models refused beside the fields of a form.

    names: the form's field for a field of the model, where they are called differently.
    """
    for field, errors in _by_field(refused).items():
        name = names.get(field, field)
        form.add_error(name if name in form.fields else None, errors)


def _by_field(refused: ValidationError) -> dict[str, list[ValidationError]]:
    if hasattr(refused, "error_dict"):
        return dict(refused.error_dict)
    return {"": list(refused.error_list)}
