"""The parts list, a part with its ledger, and changing what a part is."""

from datetime import date
from typing import Any, Final

from django.contrib import messages
from django.db import transaction
from django.db.models import Prefetch
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.cache import patch_vary_headers
from django.views.decorators.http import require_http_methods, require_safe
from django_tables2 import RequestConfig

from inventory.filters import PartFilter
from inventory.forms.parts import PartForm, PolicyForm
from inventory.models import Balance, KitLine, Location, Movement, Part, StockPolicy
from inventory.quantities import in_packs
from inventory.sentences import Advice, Promise, Unit, buying_advice, source_name
from inventory.services import (
    StockRefused,
    SupersedesItself,
    change_part,
    create_part,
    in_words,
    set_policy,
)
from inventory.services.counting import counts_under_way
from inventory.services.packs import set_codes, set_packs
from inventory.tables import PartTable, units
from inventory.views.common import (
    draw,
    figures,
    get_part,
    is_sound,
    lying,
    part_page,
    put_beside,
    signed_in,
    typed,
)
from inventory.views.kits import kit_on_its_page
from inventory.views.part_buying import part_buying

PARTS_A_PAGE: Final = 50
LEDGER_ROWS: Final = 25


@require_safe
def parts(request: HttpRequest) -> HttpResponse:
    """All parts: found by a word, narrowed, sorted, paged."""
    today: date = request.today  # type: ignore[attr-defined]
    found = PartFilter(
        request.GET,
        queryset=Part.objects.for_parts_list(today=today),
        url=reverse("inventory:parts"),
        today=today,
    )
    symbol = request.shop.currency  # type: ignore[attr-defined]
    table = PartTable(found.qs, symbol=symbol, empty_text="No part is called that.")
    RequestConfig(request, paginate={"per_page": PARTS_A_PAGE, "silent": True}).configure(table)
    htmx = request.htmx  # type: ignore[attr-defined]
    context = {"filter": found, "table": table, "is_narrowed": found.form.has_changed()}
    if htmx and not htmx.history_restore_request:
        response = render(request, "inventory/_partials/parts_results.html", context)
    else:
        context["at_point"] = Part.objects.at_reorder_point(today=today).count()
        # 422 where the address carries a filter that does not exist: the page says so beside it.
        status = 200 if found.form.is_valid() else 422
        response = render(request, "inventory/parts.html", context, status=status)
    patch_vary_headers(response, ["HX-Request"])
    return response


@require_safe
def part(request: HttpRequest, number: str) -> HttpResponse:
    """One part: what to do about it, where it lies, what it is made of, and its ledger."""
    shown = get_part(number)
    balances = lying(shown)
    policy = StockPolicy.objects.filter(part=shown, location__isnull=True)
    context = {
        "part": shown,
        "policy": policy.select_related("set_by").first(),
        "advice": _advice(shown),
        "balances": _lies(shown, balances, request.today),  # type: ignore[attr-defined]
        "cells": figures(shown, request),
        "counts_here": counts_under_way({each.location_id for each in balances}),
        **_kit(shown, request.today),  # type: ignore[attr-defined]
        **kit_on_its_page(shown, request.today),  # type: ignore[attr-defined]
        "buying": part_buying(
            shown,
            symbol=request.shop.currency,  # type: ignore[attr-defined]
            today=request.today,  # type: ignore[attr-defined]
        ),
        **_ledger(request, shown),
    }
    return render(request, "inventory/part.html", context)


def _advice(shown: Part) -> Advice:
    promises = shown.promises.order_by("source_kind", "source_number", "pk")
    return buying_advice(
        unit=Unit(shown.unit_name, shown.steps_per_unit),
        usable_steps=shown.usable_steps,  # type: ignore[attr-defined]
        on_order_steps=shown.on_order_steps,  # type: ignore[attr-defined]
        expired_steps=shown.expired_steps,
        robbed=shown.robbed.filter(ended_at__isnull=True).count() if shown.is_kit else 0,
        in_drawers_steps=shown.in_drawers_steps,  # type: ignore[attr-defined]
        promises=[
            Promise(source_name(row.source_kind, row.source_number), row.quantity_steps)
            for row in promises
        ],
        reorder_point_steps=(
            shown.reorder_point_steps  # type: ignore[attr-defined]
            if shown.order_up_to_steps  # type: ignore[attr-defined]
            else None
        ),
        order_up_to_steps=shown.order_up_to_steps,  # type: ignore[attr-defined]
    )


def _lies(shown: Part, balances: list[Balance], today: date) -> list[dict[str, Any]]:
    """A row for each place and lot; of several lots in the bins, the one to use first says so."""
    in_bins = [each for each in balances if each.location.kind == Location.Kind.BIN]
    in_date = [each.lot for each in in_bins if each.lot.expires_on >= today]
    first = min(in_date, key=lambda lot: (lot.expires_on, lot.received_at, lot.pk), default=None)
    several = len({lot.pk for lot in in_date}) > 1
    packs = dict(shown.packs.values_list("name", "quantity_steps"))
    return [
        {
            "place": balance.location,
            "lot": balance.lot,
            "quantity": units(shown, balance.quantity_steps),
            "in_packs": in_packs(
                balance.quantity_steps,
                steps_per_unit=shown.steps_per_unit,
                unit_name=shown.unit_name,
                packs=packs,
            ),
            "counts": balance in in_bins,
            "first": several and balance.lot == first and balance in in_bins,
        }
        for balance in balances
    ]


def _kit(shown: Part, today: date) -> dict[str, Any]:
    """What a kit is made of; else the kits a part is in."""
    if not shown.is_kit:
        kits = KitLine.objects.filter(part=shown).select_related("kit").order_by("kit__number")
        return {
            "in_kits": [
                {"kit": line.kit, "quantity": units(shown, line.quantity_steps)} for line in kits
            ]
        }
    stocked = Part.objects.with_stock(today=today)
    lines = shown.lines.prefetch_related(Prefetch("part", queryset=stocked))
    rows = [
        {
            "part": line.part,
            "quantity": units(line.part, line.quantity_steps),
            "here": units(line.part, line.part.usable_steps),  # type: ignore[attr-defined]
            "makes": line.part.usable_steps // line.quantity_steps,  # type: ignore[attr-defined]
        }
        for line in lines.order_by("part__number")
    ]
    return {"lines": rows}


def _ledger(request: HttpRequest, shown: Part) -> dict[str, Any]:
    """One page of the ledger, newest first. The address carries the row it begins below."""
    rows = Movement.objects.for_ledger(shown).with_on_hand_after()
    before = request.GET.get("before", "")
    if before:
        if not before.isascii() or not before.isdecimal() or len(before) > 18:
            raise Http404("There is no such page of the ledger.")
        rows = rows.filter(pk__lt=int(before))
    page = list(rows[: LEDGER_ROWS + 1])
    has_older = len(page) > LEDGER_ROWS
    page = page[:LEDGER_ROWS]
    places = _other_places(page)
    return {
        "ledger": [_ledger_row(shown, row, places) for row in page],
        "older": page[-1].pk if has_older else None,
        "is_older_page": bool(before),
    }


def _other_places(page: list[Movement]) -> dict[int, str]:
    """Where a transfer came from or went to, by movement. One query, if any transfer is shown."""
    sent = {row.request_id for row in page if row.kind == Movement.Kind.TRANSFER}
    if not sent:
        return {}
    code = {
        (request_id, line_no): place
        for request_id, line_no, place in Movement.objects.filter(request_id__in=sent).values_list(
            "request_id", "line_no", "location__code"
        )
    }
    # The line out is followed by the line in: 1 and 2, 3 and 4.
    return {
        row.pk: code[row.request_id, row.line_no + (1 if row.line_no % 2 else -1)]
        for row in page
        if row.kind == Movement.Kind.TRANSFER
    }


def _ledger_row(shown: Part, row: Movement, places: dict[int, str]) -> dict[str, Any]:
    quantity = units(shown, row.quantity_steps)
    return {
        "movement": row,
        "quantity": ""
        if not row.quantity_steps
        else f"+{quantity}"
        if row.quantity_steps > 0
        else quantity,
        "on_hand": units(shown, row.on_hand_after_steps),  # type: ignore[attr-defined]
        "source": source_name(row.source_kind, row.source_number) if row.source_number else "",
        "other_place": places.get(row.pk, ""),
        "undone_by": getattr(row, "reversed_by", None),
    }


@require_http_methods(["GET", "HEAD", "POST"])
def new_part(request: HttpRequest) -> HttpResponse:
    """Add a part."""
    now = timezone.now()
    form = PartForm(typed(request), now=now)
    if is_sound(request, form):
        try:
            with transaction.atomic():
                made = create_part(**form.values(), author=signed_in(request), at=now)
                _packs_and_codes(made, form)
        except StockRefused as refused:
            put_beside(form, refused)
        else:
            messages.success(request, f"{made.number} {made.name} is on the list.")
            name = "inventory:kit_lines" if made.is_kit else "inventory:part"
            return redirect(name, made.number)
    context = {
        "form": form,
        "title": "New part",
        "submit": "Add the part",
        "back_url": reverse("inventory:parts"),
        "back_label": "All parts",
    }
    return draw(request, "inventory/form.html", context)


def _packs_and_codes(part: Part, form: PartForm) -> None:
    set_packs(part=part, packs=form.pack_steps)
    set_codes(part=part, codes=form.code_list)


@require_http_methods(["GET", "HEAD", "POST"])
def change(request: HttpRequest, number: str) -> HttpResponse:
    """Another name, category, cost or note for a part; its unit only until it has moved."""
    now = timezone.now()
    shown = get_part(number)
    form = PartForm(typed(request), part=shown, now=now)
    if is_sound(request, form):
        try:
            with transaction.atomic():
                changed = change_part(
                    part=shown, author=signed_in(request), at=now, **form.values()
                )
                _packs_and_codes(changed, form)
        except SupersedesItself as refused:
            form.add_error("superseded_by", str(refused))
        except StockRefused as refused:
            put_beside(form, refused)
        else:
            messages.success(request, f"{changed.number} is changed.")
            return redirect("inventory:part", changed.number)
    return draw(request, "inventory/form.html", part_page(request, shown, form, "Change", "Save"))


@require_http_methods(["GET", "HEAD", "POST"])
def policy(request: HttpRequest, number: str) -> HttpResponse:
    """Set by hand when to buy a part, and why so."""
    now = timezone.now()
    shown = get_part(number)
    in_force = StockPolicy.objects.filter(part=shown, location__isnull=True).first()
    form = PolicyForm(typed(request), part=shown, policy=in_force, now=now)
    if is_sound(request, form):
        try:
            set_to = set_policy(
                part=shown,
                reorder_point_steps=form.cleaned_data["reorder_point_steps"],
                order_up_to_steps=form.cleaned_data["order_up_to_steps"],
                reason=form.cleaned_data["reason"],
                review_on=form.cleaned_data["review_on"],
                author=signed_in(request),
                at=now,
            )
        except StockRefused as refused:
            put_beside(form, refused)
        else:
            point = in_words(shown, set_to.reorder_point_steps)
            messages.success(request, f"{shown.number} is bought when {point} are left.")
            return redirect("inventory:part", shown.number)
    context = part_page(request, shown, form, "Reorder point", "Set the reorder point")
    context["intro"] = str(_advice(shown))
    return draw(request, "inventory/form.html", context)
