"""What the rigs cost in parts, the sheets behind each figure, and the list to take away."""

from collections.abc import Iterator
from typing import Any

from django.http import Http404, HttpResponse, StreamingHttpResponse
from django.shortcuts import get_object_or_404, render
from django.views.decorators.http import require_safe

from equipment.models import Rig
from inventory.quantities import to_money, to_units
from inventory.services import in_words
from shop import exporting, spendwords
from shop.drawing.bars import SpendBar, top_of
from shop.forms.spend import PeriodForm
from shop.http import PageRequest
from shop.periods import Period
from shop.services.spend import (
    RigSpend,
    has_books_on,
    sheets_behind,
    shelf_value,
    spend_per_rig,
)

#: What is charged to no rig stands under this word in addresses and lists.
SHOP_STOCK = "shop stock"


@require_safe
def spend(request: PageRequest) -> HttpResponse:
    """Parts spend per rig and per gallon, the dearest gallon first."""
    form, period = _period(request)
    zone = request.shop.zone
    earlier = period.a_year_earlier()
    now = spend_per_rig(since=period.moments(zone)[0], until=period.moments(zone)[1])
    before = spend_per_rig(since=earlier.moments(zone)[0], until=earlier.moments(zone)[1])
    rates = {each.rig.pk: each.cents_per_gallon for each in before if each.rig}
    bars = {each.rig.pk: _bar(each, rates) for each in now if each.rig}
    ordered = sorted(now, key=lambda each: (each.rig is None, -(each.cents_per_gallon or -1)))
    fleet = spendwords.fleet_rate(now)
    gallons = sum(each.gallons for each in now)
    return render(
        request,
        "shop/spend.html",
        {
            "form": form,
            "sentence": spendwords.sentence(
                spendwords.when_words(form.name(), period, today=request.today),
                now,
                before,
                is_all_before=has_books_on(earlier.first, zone),
            ),
            "cells": [
                (
                    f"Parts used, {spendwords.days_words(period, today=request.today)}",
                    _money(request, _total(now)),
                ),
                ("Gallons sprayed", f"{gallons:,.0f}"),
                ("On the shelf, bins and drawers", _money(request, shelf_value())),
                ("Charged to shop stock", _money(request, _of_stock(now))),
            ],
            "rows": [(each, bars.get(each.rig.pk) if each.rig else None) for each in ordered],
            "top": top_of(list(bars.values())),
            "fleet": None if fleet is None else float(fleet),
            "query": request.GET.urlencode(),
            "has_earlier": any(rate is not None for rate in rates.values()),
            "total": _total(now),
            "total_gallons": gallons,
        },
        status=422 if form.errors else 200,
    )


@require_safe
def rig_spend(request: PageRequest, number: int) -> HttpResponse:
    """The sheets behind a rig's figure, with the parts on each."""
    return _behind(request, get_object_or_404(Rig, number=number))


@require_safe
def stock_spend(request: PageRequest) -> HttpResponse:
    """The sheets whose parts are charged to no rig."""
    return _behind(request, None)


@require_safe
def spend_file(request: PageRequest, way: str) -> HttpResponse | StreamingHttpResponse:
    """Every part of every sheet of the period, one a line, to take away."""
    if way not in exporting.KINDS:
        raise Http404
    form, period = _period(request)
    if form.errors:
        return spend(request)
    since, until = period.moments(request.shop.zone)
    head = [
        "Rig", "Sheet", "Signed on", "Part number", "Part", "Quantity", "Unit",
        f"Cost, {request.shop.currency}",
    ]  # fmt: skip

    def rows() -> Iterator[list[exporting.Value]]:
        for rig in (*Rig.objects.order_by("number"), None):
            for behind in sheets_behind(rig=rig, since=since, until=until):
                signed = behind.sheet.signed_at
                for line in behind.lines:
                    yield [
                        str(rig) if rig else SHOP_STOCK,
                        str(behind.sheet),
                        signed.astimezone(request.shop.zone).date() if signed else None,
                        line.part.number,
                        line.part.name,
                        to_units(line.steps, line.part.steps_per_unit),
                        line.part.unit_name,
                        to_money(line.cents),
                    ]

    name = f"spend-{period.first}-to-{period.last}"
    return exporting.file_of(way, name=name, head=head, rows=rows())


def _behind(request: PageRequest, rig: Rig | None) -> HttpResponse:
    form, period = _period(request)
    since, until = period.moments(request.shop.zone)
    found = sheets_behind(rig=rig, since=since, until=until)
    own = next(each for each in _with_stock(since, until) if each.rig == rig)
    cells = [
        (
            f"Parts used, {spendwords.days_words(period, today=request.today)}",
            _money(request, own.cents),
        )
    ]
    if rig:
        rate = own.cents_per_gallon
        cells += [
            ("Gallons sprayed", f"{own.gallons:,.0f}"),
            ("A gallon", "too few gallons" if rate is None else f"{rate:,.1f} ¢"),
        ]
    total = own.cents
    went = sorted(own.went_into.items(), key=lambda each: (-each[1], each[0]))
    return render(
        request,
        "shop/rig_spend.html",
        {
            "rig": rig,
            "title": f"What {rig.name} cost" if rig else "Charged to shop stock",
            "form": form,
            "cells": cells,
            "went": [(what, cents, share(cents, total)) for what, cents in went if cents],
            "sheets": [
                (behind, [(line, in_words(line.part, line.steps)) for line in behind.lines])
                for behind in found
            ],
            "total": total,
            "query": request.GET.urlencode(),
        },
        status=422 if form.errors else 200,
    )


def share(cents: int, total: int) -> str:
    """A part of a whole in whole per cent; empty where there is no whole."""
    return f"{round(100 * cents / total)} %" if total > 0 else ""


def _with_stock(since: Any, until: Any) -> list[RigSpend]:
    spends = spend_per_rig(since=since, until=until)
    return spends if spends and spends[-1].rig is None else [*spends, RigSpend(None)]


def _period(request: PageRequest) -> tuple[PeriodForm, Period]:
    form = PeriodForm(request.GET or None, today=request.today)
    if not form.is_bound:
        form = PeriodForm({"period": "12-months"}, today=request.today)
    return form, form.chosen()


def _used_words(period: Period, request: PageRequest) -> str:
    return f"Parts used, {spendwords.days_words(period, today=request.today)}"


def _money(request: PageRequest, cents: int) -> str:
    sign = "−" if cents < 0 else ""
    return f"{sign}{request.shop.currency}{to_money(abs(cents)):,f}"


def _total(spends: list[RigSpend]) -> int:
    return sum(each.cents for each in spends)


def _of_stock(spends: list[RigSpend]) -> int:
    return sum(each.cents for each in spends if each.rig is None)


def _bar(each: RigSpend, rates: dict[int, Any]) -> SpendBar:
    assert each.rig is not None
    rate, before = each.cents_per_gallon, rates.get(each.rig.pk)
    return SpendBar(
        each.rig.number,
        each.rig.name,
        None if rate is None else float(rate),
        None if before is None else float(before),
    )
