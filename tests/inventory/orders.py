"""Orders in every state, for tests that walk all pages."""

from datetime import datetime, timedelta
from typing import Any
from uuid import uuid4

from django.contrib.auth.base_user import AbstractBaseUser

from inventory.models import Location, Part, PurchaseOrder
from inventory.pack_prices import PackPrice
from inventory.services.buying import (
    Terms,
    Wish,
    close_order,
    create_supplier,
    draft_order,
    send_order,
    set_supplier_part,
)
from inventory.services.buying_receipts import Arrival, receive_delivery


def orders_in_every_state(
    part: Part, place: Location, *, author: AbstractBaseUser, at: datetime
) -> list[PurchaseOrder]:
    """A draft, one under way and late, one closed by hand: numbers 1, 2 and 3.

    at: when all of it is done; of ten ordered four came.
    """
    who: dict[str, Any] = {"author": author, "at": at}
    supplier = create_supplier(name="Harbor Seals", least_order_cents=90_000, **who)
    terms = Terms(
        pack_steps=part.steps_per_unit,
        lead_time_days=3,
        core_cents=500,
        their_number="HS-7",
        preferred=True,
        prices=(PackPrice(1, 5_000), PackPrice(20, 4_500)),
    )
    set_supplier_part(supplier=supplier, part=part, terms=terms)
    orders = [
        draft_order(
            supplier=supplier,
            wishes=[Wish(part, 10 * part.steps_per_unit)],
            request_id=uuid4(),
            **who,
        )
        for _ in range(3)
    ]
    for order in orders[1:]:
        send_order(order=order, author=author, at=at - timedelta(days=9))
    receive_delivery(
        order=orders[1],
        packing_slip="HS-100",
        arrivals=[Arrival(orders[1].lines.get(), place, 4 * part.steps_per_unit)],
        freight_cents=1_000,
        request_id=uuid4(),
        **who,
    )
    close_order(order=orders[2], because="sold out for good", **who)
    return orders
