"""What the pages of stock share."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from django import forms
from django.contrib.auth.base_user import AbstractBaseUser
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone

from inventory.forms.moving import PromiseHere
from inventory.models import Balance, Part, Reservation
from inventory.quantities import format_money
from inventory.sentences import source_name
from inventory.services import LotExpired, NotEnoughOnHand, NumberTaken, PlaceRetired, StockRefused
from inventory.tables import units


def get_part(number: str) -> Part:
    """The part of an address, with its stock, policy and value; else a page that says so."""
    rows = Part.objects.for_parts_list(today=timezone.localdate()).with_on_order()
    part = rows.filter(number=number).first()
    if part is None:
        raise Http404(f"There is no part {number}.")
    return part


def signed_in(request: HttpRequest) -> AbstractBaseUser:
    """Who is at the page. The table of access lets nobody else through to it."""
    assert isinstance(request.user, AbstractBaseUser)
    return request.user


def may_use_expired(request: HttpRequest) -> bool:
    """Whether this person may say why something expired is used after all: a manager may."""
    return getattr(request.user, "role", "") == "manager"


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


def put_beside(form: forms.Form, refused: StockRefused, **fields: str) -> None:
    """Put what a service refused beside the field it is about, where the form has it.

    fields: names of this form's fields for "quantity", "place" and "number".
    """
    about = {
        NotEnoughOnHand: "quantity",
        LotExpired: "lot",
        PlaceRetired: "place",
        NumberTaken: "number",
    }
    subject = next((word for kind, word in about.items() if isinstance(refused, kind)), "")
    name = fields.get(subject, subject)
    form.add_error(name if name in form.fields else None, str(refused))


def lying(part: Part) -> list[Balance]:
    """What there is of a part, place by place, what expires first on top. One query."""
    return list(
        Balance.objects.there()
        .filter(part=part)
        .select_related("lot", "location")
        .order_by("location__kind", "location__code", "lot__expires_on", "lot_id")
    )


def promised(part: Part) -> list[PromiseHere]:
    """To whom a part is promised, and where. One query."""
    rows = Reservation.objects.filter(part=part).order_by("source_kind", "source_number", "pk")
    return [
        PromiseHere(
            location_id=row.location_id,
            source=source_name(row.source_kind, row.source_number),
            quantity_steps=row.quantity_steps,
        )
        for row in rows
    ]


def move_form(
    kind: type[Any], request: HttpRequest, part: Part, now: datetime, **extra: Any
) -> Any:
    """A form that moves a part, knowing what lies where and what is promised."""
    return kind(
        typed(request), part=part, now=now, balances=lying(part), promises=promised(part), **extra
    )


def figures(part: Part, request: HttpRequest) -> list[tuple[str, str]]:
    """The figures of a part from `get_part`, each with its caption."""
    symbol = request.shop.currency  # type: ignore[attr-defined]
    point = part.reorder_point_steps  # type: ignore[attr-defined]
    has_point = part.order_up_to_steps > 0  # type: ignore[attr-defined]
    expired = part.expired_steps
    return [
        ("On hand", units(part, part.on_hand_steps)),  # type: ignore[attr-defined]
        *([("Expired", units(part, expired))] if expired else []),
        ("Reserved", units(part, part.reserved_steps)),  # type: ignore[attr-defined]
        ("Available", units(part, part.available_steps)),  # type: ignore[attr-defined]
        ("Reorder point", units(part, point) if has_point else "not set"),
        ("Value", format_money(part.value_cents, symbol)),  # type: ignore[attr-defined]
    ]


def part_page(
    request: HttpRequest, part: Part, form: forms.Form, title: str, submit: str
) -> dict[str, Any]:
    """What `inventory/form.html` takes for one form about one part."""
    return {
        "part": part,
        "form": form,
        "title": title,
        "submit": submit,
        "facts": figures(part, request),
        "back_url": reverse("inventory:part", args=[part.number]),
        "back_label": f"{part.number} {part.name}",
    }
