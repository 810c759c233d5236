"""Taking in what came of an order, by its packing slip."""

from datetime import date, datetime

from django.contrib import messages
from django.db.models import Max
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from inventory.forms.orders import ArrivalForm, DeliveryForm
from inventory.models import Location, Movement, PurchaseOrder, PurchaseOrderLine
from inventory.services import StockRefused, in_words
from inventory.services.buying import to_come_steps
from inventory.services.buying_receipts import Arrival, SlipReceivedBefore, receive_delivery
from inventory.views.common import draw, signed_in, typed
from inventory.views.orders import get_order


@require_http_methods(["GET", "HEAD", "POST"])
def receive_order(request: HttpRequest, order: int) -> HttpResponse:
    """What came: all that is to come until somebody says less; nothing is posted by halves."""
    now = timezone.now()
    shown = get_order(order)
    symbol: str = request.shop.currency  # type: ignore[attr-defined]
    form = DeliveryForm(typed(request), now=now, symbol=symbol)
    lines = list(shown.lines.select_related("part", "order").order_by("pk"))
    rows = _rows(request, lines, now, symbol)
    if request.method == "POST" and (done := _received(request, shown, form, rows, now)):
        messages.success(request, done)
        return redirect("inventory:order", shown.number)
    context = {
        "order": shown,
        "form": form,
        "is_open": shown.state in PurchaseOrder.UNDER_WAY,
        "rows": [
            {
                "form": row,
                "part": row.line.part,
                "ordered": in_words(row.line.part, row.line.quantity_steps),
                "rest": in_words(row.line.part, rest) if rest else "",
            }
            for row in rows
            for rest in (to_come_steps(row.line),)
        ],
    }
    return draw(request, "inventory/order_receive.html", context)


def _rows(
    request: HttpRequest, lines: list[PurchaseOrderLine], now: datetime, symbol: str
) -> list[ArrivalForm]:
    usual = _usual_places([line.part_id for line in lines])
    today: date = timezone.localdate(now)
    return [
        ArrivalForm(
            typed(request), line=line, usual_place=usual.get(line.part_id), symbol=symbol,
            today=today,
        )
        for line in lines
    ]  # fmt: skip


def _usual_places(parts: list[int]) -> dict[int, Location]:
    """By part, the place into which the last of it was received. One query."""
    receipts = Movement.objects.filter(
        kind=Movement.Kind.RECEIPT, part__in=parts, location__retired=False
    )
    last = receipts.order_by().values("part").annotate(last=Max("pk")).values("last")
    rows = Movement.objects.filter(pk__in=last).select_related("location")
    return {row.part_id: row.location for row in rows}


def _received(
    request: HttpRequest,
    order: PurchaseOrder,
    form: DeliveryForm,
    rows: list[ArrivalForm],
    now: datetime,
) -> str:
    """Post the delivery and say so; nothing where the form goes back."""
    # All of them are read, so that every error shows at once.
    sound = [form.is_valid(), *(row.is_valid() for row in rows)]
    if not all(sound):
        return ""
    arrivals = [arrival for row in rows if (arrival := row.arrival())]
    form.ask_about(arrivals)
    if form.errors:
        return ""
    data = form.cleaned_data
    try:
        receive_delivery(
            order=order,
            packing_slip=data["packing_slip"],
            arrivals=arrivals,
            freight_cents=data["freight"],
            author=signed_in(request),
            at=data["at"],
            request_id=data["request_id"],
        )
    except SlipReceivedBefore as before:
        form.add_error("packing_slip", str(before))
        return ""
    except StockRefused as refused:
        form.add_error(None, str(refused))
        return ""
    return _said(arrivals, order)


def _said(arrivals: list[Arrival], order: PurchaseOrder) -> str:
    words = [
        f"{in_words(each.line.part, each.quantity_steps)} of {each.line.part.number} "
        f"into {each.location.code}"
        for each in arrivals
    ]
    more = len(words) - 3
    came = ", ".join(words[:3]) + (f" and {more} more" if more > 0 else "")
    waits = PurchaseOrderLine.objects.to_come().filter(order=order).exists()
    rest = "the rest is to come" if waits else "nothing more is to come"
    return f"Received {came}; {rest}."
