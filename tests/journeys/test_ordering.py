"""A draft is sent, comes short by its packing slip, then whole; the stock is right in the end."""

from collections.abc import Callable
from uuid import uuid4

import pytest
from playwright.sync_api import Page

from inventory.models import Balance, PurchaseOrder
from inventory.pack_prices import PackPrice
from inventory.services import prove
from inventory.services.buying import (
    Terms,
    Wish,
    create_supplier,
    draft_order,
    set_supplier_part,
)
from shop.models import Person, Role
from tests.journeys.acting import said
from tests.journeys.conftest import DESK, PHONE, Look
from tests.journeys.worlds import JourneyWorld


@pytest.mark.parametrize("width", [PHONE, DESK])
def test_from_a_draft_to_the_shelf(
    page_at: Callable[..., Page],
    sign_in_as: Callable[..., Person],
    look: Look,
    world: JourneyWorld,
    width: int,
) -> None:
    seal, place = world.sheets.seal, world.sheets.bin
    who = {"author": world.sheets.manager, "at": world.now}
    supplier = create_supplier(name="Tern Seals", least_order_cents=90_000, **who)  # type: ignore[arg-type]
    prices = (PackPrice(1, 1_000), PackPrice(4, 900))
    set_supplier_part(supplier=supplier, part=seal, terms=Terms(pack_steps=5, prices=prices))
    order = draft_order(
        supplier=supplier,
        wishes=[Wish(seal, 5)],
        request_id=uuid4(),
        **who,  # type: ignore[arg-type]
    )

    def there() -> int:
        lying = Balance.objects.filter(part=seal, location=place)
        return sum(row.quantity_steps for row in lying)

    before = there()
    page = page_at(width)
    sign_in_as(page, Role.MANAGER)
    page.goto("/orders/")
    look(page)
    page.goto(f"/orders/{order.number}/")
    page.get_by_label("Packs").first.fill("4")
    page.get_by_role("button", name="Keep as a draft").click()
    page.get_by_text("$36.00 in all.").wait_for()
    look(page)
    page.get_by_role("button", name=f"Send order {order.number}").click()
    page.get_by_text("lacks to their least order").first.wait_for()
    page.get_by_label("Yes, send it all the same").check()
    page.get_by_role("button", name=f"Send order {order.number}").click()
    said(page, "is sent")
    look(page)
    page.get_by_role("link", name="Receive a delivery").click()
    look(page)
    page.get_by_label("Number of the packing slip").fill("S-77")
    page.get_by_label("Came").fill("3 packs")
    page.get_by_label("Put into").select_option(str(place.pk))
    page.get_by_role("button", name="Take it in").click()
    page.get_by_role("heading", name="Packing slip S-77").wait_for()
    page.get_by_text("Partly received").wait_for()
    look(page)
    page.get_by_role("link", name="Receive a delivery").click()
    page.get_by_label("Number of the packing slip").fill("S-78")
    page.get_by_label("Came").fill("5")
    page.get_by_label("Put into").select_option(str(place.pk))
    page.get_by_role("button", name="Take it in").click()
    page.get_by_role("heading", name="Packing slip S-78").wait_for()
    page.get_by_text("Closed", exact=True).wait_for()
    look(page)
    order.refresh_from_db()
    assert order.state == PurchaseOrder.State.CLOSED
    assert there() == before + 20
    assert prove() == []
