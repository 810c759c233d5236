"""An order, gathered for its paper."""

from datetime import datetime

from inventory.models import PurchaseOrder, PurchaseOrderLine
from inventory.quantities import format_money
from inventory.services import in_words
from shop import words
from shop.models import Shop
from shop.paper.order_paper import OrderPaper, OrderPaperLine


def order_paper(order: PurchaseOrder, *, shop: Shop, printed_at: datetime) -> OrderPaper:
    """Gather an order as it stands. printed_at: in the shop's zone."""
    lines = list(order.lines.select_related("part").order_by("pk"))
    today = printed_at.date()
    sent = order.sent_at.astimezone(shop.zone).date() if order.sent_at else None
    cells = [
        ("Our account", order.supplier.our_account),
        ("Sent on", words.day(sent, today=today) if sent else ""),
        ("Ordered by", (order.sent_by or order.drafted_by).name),
    ]
    total = sum(line.price_cents for line in lines)
    unpriced = sum(not line.pack_price_cents for line in lines)
    return OrderPaper(
        shop_name=shop.name,
        number=order.number,
        supplier=order.supplier.name,
        contact=order.supplier.contact,
        cells=tuple((caption, value) for caption, value in cells if value),
        lines=tuple(_line(each, shop, printed_at) for each in lines),
        total=_total(total, unpriced, shop.currency),
        note=order.note,
        printed_text=f"Printed {printed_at.day} {printed_at:%b %Y %H:%M}",
        is_draft=order.state == PurchaseOrder.State.DRAFT,
    )


def _line(line: PurchaseOrderLine, shop: Shop, printed_at: datetime) -> OrderPaperLine:
    price, total = (
        format_money(cents, shop.currency) if line.pack_price_cents else ""
        for cents in (line.pack_price_cents, line.price_cents)
    )
    return OrderPaperLine(
        their_number=line.their_number,
        name=line.part.name,
        our_number=line.part.number,
        packs=f"{line.packs:,}",
        pack=in_words(line.part, line.pack_steps),
        by=words.day(line.expected_on, today=printed_at.date()) if line.expected_on else "",
        price=price,
        total=total,
    )


def _total(cents: int, unpriced: int, currency: str) -> str:
    if not unpriced:
        return f"Total {format_money(cents, currency)}"
    lines = "1 line has" if unpriced == 1 else f"{unpriced} lines have"
    if not cents:
        return "No prices known"
    return f"Total {format_money(cents, currency)}; {lines} no known price"
