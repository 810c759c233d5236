"""Who we buy from, and how each sells a part."""

from datetime import date
from typing import Any, Final

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_safe

from inventory.delivery_words import lead_time_in_words, took_in_words
from inventory.forms.buying import Prices, SupplierForm, SupplierPartForm
from inventory.models import Part, Supplier, SupplierPart
from inventory.quantities import format_money, to_money
from inventory.services import StockRefused, in_words
from inventory.services.buying import (
    SupplierNameTaken,
    change_supplier,
    create_supplier,
    set_supplier_part,
)
from inventory.services.suppliers import (
    drop_supplier_part,
    orders_under_way,
    supplier_rows,
    took_by_part,
)
from inventory.views.common import draw, is_sound, signed_in, typed

#: Rows for prices that a page has at least, and how many empty ones it has at least.
LEAST_ROWS: Final = 4
SPARE_ROWS: Final = 2


@require_safe
def suppliers(request: HttpRequest) -> HttpResponse:
    """Suppliers in use, or those retired, with what is under way and how long they take."""
    today: date = request.today  # type: ignore[attr-defined]
    retired = request.GET.get("show") == "retired"
    rows = [
        {"row": row, "took": took_in_words(row.took)}
        for row in supplier_rows(retired=retired, today=today)
    ]
    context = {
        "rows": rows,
        "retired": retired,
        "has_retired": Supplier.objects.filter(retired=True).exists(),
    }
    return render(request, "inventory/suppliers.html", context)


def get_supplier(pk: int) -> Supplier:
    """The supplier of an address, else a page that says so."""
    found = Supplier.objects.filter(pk=pk).first()
    if found is None:
        raise Http404("There is no such supplier.")
    return found


@require_safe
def supplier(request: HttpRequest, pk: int) -> HttpResponse:
    """One supplier: how to reach them, what they sell at which price, what is under way."""
    shown = get_supplier(pk)
    symbol = request.shop.currency  # type: ignore[attr-defined]
    today: date = request.today  # type: ignore[attr-defined]
    sold = list(
        shown.parts.select_related("part").prefetch_related("price_breaks").order_by("part__number")
    )
    took = took_by_part(sold, today=today)
    context = {
        "supplier": shown,
        "cells": _cells(shown, symbol),
        "sold": [
            {
                "row": each,
                "pack": in_words(each.part, each.pack_steps),
                "prices": prices_in_words(each, symbol),
                "lead_time": lead_time_in_words(each.lead_time_days, took[each.pk]),
                "core": format_money(each.core_cents, symbol) if each.core_cents else "",
            }
            for each in sold
        ],
        "orders": orders_under_way(shown),
    }
    return render(request, "inventory/supplier.html", context)


def _cells(shown: Supplier, symbol: str) -> list[tuple[str, str]]:
    least = shown.least_order_cents
    every = shown.review_days
    return [
        ("Our account", shown.our_account or "not noted"),
        ("We order", f"every {every} day{'' if every == 1 else 's'}" if every else "when needed"),
        ("Least order", format_money(least, symbol) if least else "none"),
    ]


def prices_in_words(sold: SupplierPart, symbol: str) -> list[str]:
    """What a pack costs, a line for each break: "$9.00 from 5 packs"."""
    return [
        f"{format_money(each.pack_price_cents, symbol)}"
        + (f" from {each.from_packs:,} packs" if each.from_packs > 1 else "")
        for each in sold.price_breaks.all()
    ]


@require_http_methods(["GET", "HEAD", "POST"])
def new_supplier(request: HttpRequest) -> HttpResponse:
    """Add somebody we buy from."""
    now = timezone.now()
    form = SupplierForm(typed(request), now=now)
    if is_sound(request, form):
        try:
            made = create_supplier(**form.values(), author=signed_in(request), at=now)
        except StockRefused as refused:
            _beside(form, refused)
        else:
            messages.success(request, f"{made} is on the list. Now say what they sell.")
            return redirect("inventory:supplier", made.pk)
    context = {
        "form": form,
        "title": "New supplier",
        "submit": "Add the supplier",
        "back_url": reverse("inventory:suppliers"),
        "back_label": "Suppliers",
    }
    return draw(request, "inventory/form.html", context)


@require_http_methods(["GET", "HEAD", "POST"])
def change(request: HttpRequest, pk: int) -> HttpResponse:
    """Change what is known of a supplier, or retire it."""
    now = timezone.now()
    shown = get_supplier(pk)
    name = shown.name
    form = SupplierForm(typed(request), supplier=shown, now=now)
    if is_sound(request, form):
        try:
            changed = change_supplier(
                supplier=shown, **form.values(), author=signed_in(request), at=now
            )
        except StockRefused as refused:
            _beside(form, refused)
        else:
            ended = "retired: nothing is ordered there any more" if changed.retired else "changed"
            messages.success(request, f"{changed} is {ended}.")
            return redirect("inventory:supplier", changed.pk)
    context = {
        "form": form,
        "title": f"Change {name}",
        "submit": "Save",
        "back_url": reverse("inventory:supplier", args=[pk]),
        "back_label": name,
    }
    return draw(request, "inventory/form.html", context)


def _beside(form: SupplierForm, refused: StockRefused) -> None:
    form.add_error("name" if isinstance(refused, SupplierNameTaken) else None, str(refused))


@require_http_methods(["GET", "HEAD", "POST"])
def new_supplier_part(request: HttpRequest) -> HttpResponse:
    """Say that a supplier sells a part, in which packs and at which prices."""
    given = {"supplier": request.GET.get("supplier", ""), "part": request.GET.get("part", "")}
    initial = {name: value for name, value in given.items() if value.isprintable() and value}
    if not initial.get("supplier", "0").isdecimal() or len(initial.get("supplier", "")) > 18:
        del initial["supplier"]
    back = _back(initial)
    return _sold_page(request, None, initial, *back)


def _back(initial: dict[str, str]) -> tuple[str, str]:
    """Where a person came from: the part, else the supplier, else the list of suppliers."""
    number, pk = initial.get("part", ""), initial.get("supplier", "")
    if number and Part.objects.filter(number=number).exists():
        return reverse("inventory:part", args=[number]), number
    if pk and (found := Supplier.objects.filter(pk=pk).first()):
        return reverse("inventory:supplier", args=[found.pk]), found.name
    return reverse("inventory:suppliers"), "Suppliers"


@require_http_methods(["GET", "HEAD", "POST"])
def supplier_part(request: HttpRequest, pk: int, number: str) -> HttpResponse:
    """Change how a supplier sells a part, or say that they do not any more."""
    shown = get_supplier(pk)
    sold = (
        SupplierPart.objects.filter(supplier=shown, part__number=number)
        .select_related("part", "supplier")
        .first()
    )
    if sold is None:
        raise Http404(f"{shown} is not known to sell a part {number}.")
    if request.method == "POST" and "drop" in request.POST:
        drop_supplier_part(sold=sold)
        messages.success(request, f"{shown} does not sell {sold.part} any more.")
        return redirect("inventory:supplier", shown.pk)
    return _sold_page(request, sold, {}, reverse("inventory:supplier", args=[shown.pk]), shown.name)


def _sold_page(
    request: HttpRequest,
    sold: SupplierPart | None,
    initial: dict[str, str],
    back_url: str,
    back_label: str,
) -> HttpResponse:
    """One form with its rows of prices. "More rows" and "Save" are two buttons of it."""
    now = timezone.now()
    wants_rows = "more" in request.POST
    prefilled: dict[str, Any] = {}
    if initial and sold is None:
        usual = {"pack": "1", "least_packs": "1", "lead_time_days": "7"}
        prefilled = {"initial": {**usual, **initial}}
    if request.method != "POST" or wants_rows:
        rows = _typed_prices(request) if wants_rows else _prices_of(sold)
        formset: Any = Prices(initial=rows, prefix="prices")
        formset.extra = max(LEAST_ROWS - len(rows), SPARE_ROWS)
        form = SupplierPartForm(None, sold=sold, now=now, **prefilled)
        if wants_rows:
            kept: dict[str, Any] = {name: request.POST.get(name, "") for name in form.fields}
            kept["preferred"] = "preferred" in request.POST
            form = SupplierPartForm(None, sold=sold, now=now, initial=kept)
    else:
        form = SupplierPartForm(request.POST, sold=sold, now=now, **prefilled)
        formset = Prices(request.POST, prefix="prices")
        # Both are read, so that everything wrong is said at once.
        sound = [form.is_valid(), formset.is_valid()]
        if all(sound) and (saved := _saved(form, formset, sold)):
            messages.success(request, f"{saved.supplier} sells {saved.part} so.")
            return redirect("inventory:supplier", saved.supplier_id)
    context = {
        "form": form,
        "formset": formset,
        "sold": sold,
        "title": "How they sell it",
        "line": f"{sold.part}, from {sold.supplier}" if sold else "",
        "choices": [] if sold else list(Part.objects.in_use().order_by("number")),
        "any_supplier": sold is not None or Supplier.objects.filter(retired=False).exists(),
        "back_url": back_url,
        "back_label": back_label,
    }
    status = 422 if request.method == "POST" and not wants_rows else 200
    return render(request, "inventory/supplier_part.html", context, status=status)


def _saved(form: SupplierPartForm, formset: Any, sold: SupplierPart | None) -> SupplierPart | None:
    """What was said of the part; None where it is refused, with the reason on the page."""
    part = form.found_part
    assert part is not None, "A clean form knows its part."
    seller = sold.supplier if sold else form.cleaned_data["supplier"]
    try:
        return set_supplier_part(supplier=seller, part=part, terms=form.terms(formset.prices()))
    except StockRefused as refused:
        form.add_error(None, str(refused))
        return None


def _prices_of(sold: SupplierPart | None) -> list[dict[str, str]]:
    if sold is None:
        return [{"from_packs": "1", "price": ""}]
    return [
        {"from_packs": str(each.from_packs), "price": f"{to_money(each.pack_price_cents):f}"}
        for each in sold.price_breaks.all()
    ]


def _typed_prices(request: HttpRequest) -> list[dict[str, str]]:
    """What was typed into the rows so far, for a page with more of them."""
    rows = []
    for n in range(Prices.absolute_max):
        row = {name: request.POST.get(f"prices-{n}-{name}", "") for name in ("from_packs", "price")}
        if any(row.values()):
            rows.append(row)
    return rows
