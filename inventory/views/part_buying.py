"""Who sells a part, how long that takes, what of it is on its way and what came last."""

from datetime import date
from typing import Any

from inventory.delivery_words import lead_time_in_words
from inventory.models import Movement, Part, PurchaseOrderLine, SupplierPart
from inventory.quantities import format_money
from inventory.services import in_words
from inventory.services.buying_receipts import standing_lines
from inventory.services.suppliers import took_by_part

#: Deliveries that are shown.
LAST_DELIVERIES = 3


def part_buying(part: Part, *, symbol: str, today: date) -> dict[str, Any]:
    """Return what the part's page says of buying. A number of queries that does not grow."""
    sold = list(
        SupplierPart.objects.filter(part=part)
        .select_related("supplier")
        .prefetch_related("price_breaks")
        .order_by("supplier__retired", "-preferred", "supplier__name")
    )
    took = took_by_part(sold, today=today)
    return {
        "sold": [
            {
                "sold": each,
                "pack": in_words(part, each.pack_steps),
                "prices": ", ".join(
                    f"{format_money(row.pack_price_cents, symbol)} a pack"
                    + (f" from {row.from_packs}" if row.from_packs > 1 else "")
                    for row in each.price_breaks.all()
                ),
                "lead_time": lead_time_in_words(each.lead_time_days, took[each.pk]),
            }
            for each in sold
        ],
        "to_come": [
            {
                "line": line,
                "quantity": in_words(part, line.to_come_steps),  # type: ignore[attr-defined]
                "late_days": (today - line.expected_on).days
                if line.expected_on and line.expected_on < today
                else 0,
            }
            for line in PurchaseOrderLine.objects.to_come()
            .filter(part=part)
            .select_related("order__supplier")
            .order_by("expected_on", "pk")
        ],
        "deliveries": _deliveries(part, symbol),
    }


def _deliveries(part: Part, symbol: str) -> list[dict[str, Any]]:
    """What came last and was not taken back. Two queries."""
    rows = list(
        standing_lines()
        .filter(lot__part=part)
        .select_related("receipt__supplier", "lot", "order_line__order")
        .order_by("-receipt__received_at", "-pk")[:LAST_DELIVERIES]
    )
    booked = {
        row.lot_id: row
        for row in Movement.objects.filter(
            kind=Movement.Kind.RECEIPT, lot__in=[each.lot_id for each in rows]
        )
    }
    return [
        {
            "line": each,
            "quantity": in_words(part, booked[each.lot_id].quantity_steps),
            "cost": format_money(booked[each.lot_id].value_cents, symbol),
        }
        for each in rows
    ]
