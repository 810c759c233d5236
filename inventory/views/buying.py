"""What to buy now."""

from datetime import date
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe
from django_tables2 import RequestConfig

from inventory.models import Part
from inventory.quantities import format_money
from inventory.services import in_words
from inventory.tables import BuyingTable, suggested

BUYING_ROWS = 50


@require_safe
def buying(request: HttpRequest) -> HttpResponse:
    """Parts at or below their reorder point, how much to buy, and about what it costs."""
    symbol = request.shop.currency  # type: ignore[attr-defined]
    today: date = request.today  # type: ignore[attr-defined]
    fallen = Part.objects.at_reorder_point(today=today)
    table = BuyingTable(fallen, symbol=symbol, empty_text="Nothing to buy.")
    RequestConfig(request, paginate={"per_page": BUYING_ROWS, "silent": True}).configure(table)
    # The sentence speaks of all of them, whatever page of the table is shown.
    every = list(fallen)
    context: dict[str, Any] = {"table": table, "count": len(every)}
    if every:
        costs = [each.cost_of(suggested(each)) for each in every]
        context["cost"] = format_money(sum(costs), symbol)
        context["unpriced"] = sum(1 for cost in costs if not cost)
    else:
        context["next"] = _next_in_words(today)
    return render(request, "inventory/buying.html", context)


def _next_in_words(today: date) -> str:
    """The part that is closest to its reorder point, as the next thing that will come."""
    following = Part.objects.next_to_reorder_point(today=today).first()
    if following is None:
        return "No part has a reorder point yet."
    here = in_words(following, following.usable_steps)  # type: ignore[attr-defined]
    point = in_words(following, following.reorder_point_steps)  # type: ignore[attr-defined]
    return f"The next is {following}, with {here} on hand and a reorder point of {point}."
