"""Stock that comes, changes place, is counted or thrown away; and undoing a movement."""

from typing import Any

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from inventory import services
from inventory.forms.moving import AdjustForm, ReceiveForm, ReverseForm, TransferForm
from inventory.models import Movement, Part
from inventory.sentences import source_name
from inventory.services import StockRefused, TransferLine, in_words, reversed_together
from inventory.tables import units
from inventory.views.common import (
    draw,
    get_part,
    is_sound,
    may_use_expired,
    move_form,
    part_page,
    put_beside,
    signed_in,
    typed,
)


@require_http_methods(["GET", "HEAD", "POST"])
def receive(request: HttpRequest, number: str) -> HttpResponse:
    """Take in what came."""
    now = timezone.now()
    part = get_part(number)
    form = move_form(
        ReceiveForm,
        request,
        part,
        now,
        order_up_to_steps=part.order_up_to_steps,  # type: ignore[attr-defined]
        symbol=request.shop.currency,  # type: ignore[attr-defined]
    )
    if is_sound(request, form):
        data = form.cleaned_data
        try:
            services.receive(
                part=part,
                location=data["location"],
                quantity_steps=data["quantity"],
                value_cents=data["value_cents"],
                lot_code=data["lot_code"] or timezone.localdate(data["at"]).isoformat(),
                cured_on=data["cured_on"],
                expires_on=data["expires_on"],
                source_text=data["source_text"],
                reason=data["reason"],
                at=data["at"],
                request_id=data["request_id"],
                author=signed_in(request),
            )
        except StockRefused as refused:
            put_beside(form, refused, place="location")
        else:
            what = in_words(part, data["quantity"])
            messages.success(request, f"Received {what} into {data['location']}.")
            return redirect("inventory:part", part.number)
    return draw(
        request, "inventory/form.html", part_page(request, part, form, "Receive", "Receive")
    )


@require_http_methods(["GET", "HEAD", "POST"])
def transfer(request: HttpRequest, number: str) -> HttpResponse:
    """Carry some of a part to another place."""
    now = timezone.now()
    part = get_part(number)
    form = move_form(TransferForm, request, part, now, may_use_expired=may_use_expired(request))
    if is_sound(request, form):
        data = form.cleaned_data
        line = TransferLine(
            part=part,
            from_location=data["from_location"],
            to_location=data["to_location"],
            quantity_steps=data["quantity"],
            lot=data["lot"],
        )
        try:
            services.transfer(
                lines=[line],
                at=data["at"],
                request_id=data["request_id"],
                reason=data["reason"],
                expired_reason=data.get("expired_reason", ""),
                author=signed_in(request),
            )
        except StockRefused as refused:
            put_beside(form, refused, place="to_location")
        else:
            what = in_words(part, data["quantity"])
            places = f"from {data['from_location']} to {data['to_location']}"
            messages.success(request, f"Moved {what} {places}.")
            return redirect("inventory:part", part.number)
    context = part_page(request, part, form, "Move", "Move")
    if not form.held:
        context["intro"] = "None of it lies anywhere, so there is nothing to move yet."
    return draw(request, "inventory/form.html", context)


@require_http_methods(["GET", "HEAD", "POST"])
def adjust(request: HttpRequest, number: str) -> HttpResponse:
    """Make the ledger say what lies on the shelf: counted, found, missing, scrapped."""
    now = timezone.now()
    part = get_part(number)
    form = move_form(AdjustForm, request, part, now)
    if is_sound(request, form):
        try:
            done = _adjusted(request, part, form.cleaned_data)
        except StockRefused as refused:
            put_beside(form, refused, place="location")
        else:
            messages.success(request, done)
            return redirect("inventory:part", part.number)
    context = part_page(request, part, form, "Count, adjust or scrap", "Enter it")
    return draw(request, "inventory/form.html", context)


def _adjusted(request: HttpRequest, part: Part, data: dict[str, Any]) -> str:
    """Call the service that fits what happened, and say what it did."""
    common = {name: data[name] for name in ("location", "lot", "at", "request_id", "reason")}
    common |= {"part": part, "author": signed_in(request)}
    what, steps = data["what"], data["quantity"]
    words, place = in_words(part, steps), data["location"]
    if what == AdjustForm.COUNT:
        rows = services.count(counted_steps=steps, **common)
        if not rows:
            return f"Counted {words} in {place}: the ledger said the same."
        change = sum(row.quantity_steps for row in rows)
        sign = "more" if change > 0 else "less"
        return f"Counted {words} in {place}: {in_words(part, abs(change))} {sign} than the ledger."
    if what == AdjustForm.SCRAP:
        services.scrap(quantity_steps=steps, **common)
        return f"Scrapped {words} from {place}."
    found = what == AdjustForm.MORE
    services.adjust(quantity_steps=steps if found else -steps, **common)
    return f"{'Added' if found else 'Took off'} {words} in {place}."


@require_http_methods(["GET", "HEAD", "POST"])
def reverse_movement(request: HttpRequest, pk: int) -> HttpResponse:
    """Undo a movement by its opposite, after showing what that does; the ledger keeps both."""
    now = timezone.now()
    movement = Movement.objects.for_ledger().filter(pk=pk).first()
    if movement is None:
        raise Http404("There is no such movement.")
    part = movement.part
    form = ReverseForm(typed(request), now=now)
    if is_sound(request, form):
        try:
            services.reverse(
                movement=movement,
                reason=form.cleaned_data["reason"],
                request_id=form.cleaned_data["request_id"],
                author=signed_in(request),
                at=now,
            )
        except StockRefused as refused:
            put_beside(form, refused)
        else:
            messages.success(request, f"The {movement.get_kind_display().lower()} is reversed.")
            return redirect("inventory:part", part.number)
    undone_by = getattr(movement, "reversed_by", None)
    context = {
        "part": part,
        "movement": movement,
        "source": source_name(movement.source_kind, movement.source_number)
        if movement.source_number
        else "",
        "undone_by": undone_by,
        "is_reversal": movement.kind == Movement.Kind.REVERSAL,
        "rows": [
            {
                "row": row,
                "quantity": _signed(row.part, -row.quantity_steps),
                "value": -row.value_cents,
            }
            for row in reversed_together(movement)
        ],
        "form": form,
        "back_url": reverse("inventory:part", args=[part.number]),
    }
    return draw(request, "inventory/reverse.html", context)


def _signed(part: Part, steps: int) -> str:
    figure = units(part, steps)
    return f"+{figure}" if steps > 0 else figure
