"""A lot: where it came from and went, what its invoice says after all, how long it is used."""

from typing import Any

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_safe

from inventory.forms.lots import ExtendForm, InvoiceForm
from inventory.models import Balance, Lot, Movement, ReceiptLine
from inventory.quantities import format_money
from inventory.sentences import source_name
from inventory.services import (
    StockRefused,
    correct_cost,
    extend_lot,
    in_words,
    invoiced_cents,
    latest_until,
)
from inventory.services.lineage import passages
from inventory.services.tracing import became, came_from, uses_of
from inventory.views.common import draw, is_sound, signed_in, typed


def get_lot(pk: int) -> Lot:
    """The lot of an address, with its part; else a page that says so."""
    lot = Lot.objects.select_related("part").filter(pk=pk).first()
    if lot is None:
        raise Http404("There is no such lot.")
    return lot


@require_safe
def lot(request: HttpRequest, pk: int) -> HttpResponse:
    """One lot, from the receipt that brought it to the sheets that used it."""
    shown = get_lot(pk)
    balances = (
        Balance.objects.there()
        .filter(lot=shown)
        .select_related("location")
        .order_by("location__kind", "location__code")
    )
    context = {
        "lot": shown,
        "part": shown.part,
        "cells": _cells(shown, request),
        "origin": _origin(shown),
        "receipt_line": _receipt_line(shown),
        "came_from": came_from(shown),
        "became": became(shown),
        "balances": [
            (each.location, in_words(shown.part, each.quantity_steps)) for each in balances
        ],
        "extensions": shown.extensions.select_related("author").order_by("-pk"),
        "may_extend": shown.expires and shown.quantity_left_steps > 0,
        "uses": [
            {
                "use": use,
                "quantity": in_words(use.part, use.steps),
                "source": source_name(use.source_kind, use.source_number),
            }
            for use in uses_of(shown)
        ],
        "others": _others(shown),
    }
    return render(request, "inventory/lot.html", context)


def _cells(shown: Lot, request: HttpRequest) -> list[tuple[str, str]]:
    symbol = request.shop.currency  # type: ignore[attr-defined]
    return [
        ("Came", in_words(shown.part, shown.quantity_received_steps)),
        ("Left", in_words(shown.part, shown.quantity_left_steps)),
        ("Worth", format_money(shown.value_left_cents, symbol)),
    ]


def _origin(shown: Lot) -> dict[str, Any]:
    """The line that brought the lot, what it cost, and what invoices changed about it."""
    first = shown.movements.select_related("author", "location").order_by("pk").first()
    if first is None:
        return {}
    changes = first.cost_changes.filter(reversed_by__isnull=True).select_related("author")
    return {
        "movement": first,
        "source": source_name(first.source_kind, first.source_number)
        if first.source_number
        else "",
        "cost_cents": invoiced_cents(first),
        "changes": changes.order_by("pk"),
    }


def _receipt_line(shown: Lot) -> ReceiptLine | None:
    """The supplier's delivery that brought it, where it came by one."""
    lines = ReceiptLine.objects.filter(lot=shown)
    return lines.select_related("receipt__supplier", "order_line__order").first()


def _others(shown: Lot) -> list[dict[str, Any]]:
    """What left the lot and was no use: scrapped, missing, gone into kits; and what was found."""
    kinds = Movement.Kind
    rows = (
        shown.movements.filter(
            kind__in=(kinds.SCRAP, kinds.COUNT, kinds.ADJUSTMENT, kinds.BREAK, kinds.MAKE),
            reversed_by__isnull=True,
        )
        .select_related("author", "location")
        .order_by("-pk")
    )
    went = {each.out.pk: each.into for each in passages([shown.pk])}
    came = {row.pk for each in passages(into=[shown.pk]) for row in each.into}
    return [
        {
            "movement": row,
            "quantity": ("+" if row.quantity_steps > 0 else "−")
            + in_words(shown.part, abs(row.quantity_steps)),
            "into": went.get(row.pk, ()),
        }
        for row in rows
        if row.pk not in came
    ]


@require_http_methods(["GET", "HEAD", "POST"])
def extend(request: HttpRequest, pk: int) -> HttpResponse:
    """Let a lot be used longer, and say what was looked at."""
    now = timezone.now()
    shown = get_lot(pk)
    form = ExtendForm(typed(request), lot=shown, latest=latest_until(shown), now=now)
    if is_sound(request, form):
        data = form.cleaned_data
        try:
            extend_lot(lot=shown, author=signed_in(request), at=now, **data)
        except StockRefused as refused:
            form.add_error("until", str(refused))
        else:
            messages.success(request, f"Lot {shown.code} may be used until {data['until']}.")
            return redirect("inventory:lot", shown.pk)
    until = f"{shown.expires_on:%d %b %Y}".lstrip("0") if shown.expires else ""
    context = {
        "form": form,
        "part": shown.part,
        "title": f"Extend lot {shown.code}",
        "submit": "Extend the lot",
        "intro": f"It may be used until {until}. Extended, it counts as usable again."
        if until
        else "It keeps: there is no use-by day to move.",
        "back_url": reverse("inventory:lot", args=[shown.pk]),
        "back_label": f"lot {shown.code}",
    }
    return draw(request, "inventory/form.html", context)


@require_http_methods(["GET", "HEAD", "POST"])
def invoice(request: HttpRequest, pk: int) -> HttpResponse:
    """What a receipt cost after all: its difference goes where the parts went."""
    now = timezone.now()
    movement = Movement.objects.for_ledger().filter(pk=pk, kind=Movement.Kind.RECEIPT).first()
    if movement is None:
        raise Http404("There is no such receipt.")
    part, lot = movement.part, movement.lot
    symbol = request.shop.currency  # type: ignore[attr-defined]
    so_far = invoiced_cents(movement)
    form = InvoiceForm(
        typed(request),
        part=part,
        quantity_steps=movement.quantity_steps,
        so_far_cents=so_far,
        symbol=symbol,
        now=now,
    )
    if is_sound(request, form):
        data = form.cleaned_data
        try:
            correct_cost(
                movement=movement,
                value_cents=data["amount"],
                reason=data["reason"],
                at=data["at"],
                request_id=data["request_id"],
                author=signed_in(request),
            )
        except StockRefused as refused:
            form.add_error("amount", str(refused))
        else:
            cost = format_money(data["amount"], symbol)
            messages.success(request, f"Lot {lot.code} cost {cost}: the difference is shared out.")
            return redirect("inventory:lot", lot.pk)
    context = {
        "form": form,
        "part": part,
        "title": "The invoice differs",
        "submit": "Change the cost",
        "intro": (
            f"{in_words(part, movement.quantity_steps)} came as lot {lot.code}, for "
            f"{format_money(so_far, symbol)} so far; {in_words(part, lot.quantity_left_steps)} "
            "of it are left. What is left bears its share of the difference. The rest is charged "
            "to the sheets that used it, today."
        ),
        "back_url": reverse("inventory:part", args=[part.number]),
        "back_label": f"{part.number} {part.name}",
    }
    return draw(request, "inventory/form.html", context)
