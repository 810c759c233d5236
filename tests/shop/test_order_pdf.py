"""The order's paper over HTTP: as the order stands, for who may see what things cost."""

from collections.abc import Callable
from io import BytesIO
from uuid import uuid4

import pytest
from django.test import Client
from pypdf import PdfReader

from inventory.models import PurchaseOrder
from inventory.pack_prices import PackPrice
from inventory.services.buying import (
    Terms,
    Wish,
    create_supplier,
    draft_order,
    send_order,
    set_supplier_part,
)
from shop.models import Person, Shop
from tests.inventory.factories import AT, PartFactory

pytestmark = pytest.mark.django_db


@pytest.fixture
def draft(shop: Shop, manager: Person) -> PurchaseOrder:
    """Two boxes of ten seals at $9.00, and a spring whose price nobody knows."""
    supplier = create_supplier(
        name="Harbor Seals", contact="555 0100", our_account="A-7", author=manager, at=AT
    )
    seal, spring = PartFactory(number="S-1", name="seal"), PartFactory(number="S-2", name="spring")
    boxes = Terms(pack_steps=10, their_number="HS-10", prices=(PackPrice(1, 900),))
    set_supplier_part(supplier=supplier, part=seal, terms=boxes)
    set_supplier_part(supplier=supplier, part=spring, terms=Terms(pack_steps=1))
    return draft_order(
        supplier=supplier,
        wishes=[Wish(seal, 11), Wish(spring, 1)],
        author=manager,
        at=AT,
        request_id=uuid4(),
    )


def read(client: Client, order: PurchaseOrder) -> str:
    answer = client.get(f"/orders/{order.number}/order.pdf")
    assert answer.headers["Content-Type"] == "application/pdf"
    return " ".join(page.extract_text() for page in PdfReader(BytesIO(answer.content)).pages)


def test_a_draft_and_what_was_sent(
    client_as: Callable[..., Client], manager: Person, draft: PurchaseOrder
) -> None:
    client = client_as(manager)
    said = read(client, draft)
    for word in ("draft, not sent", "Harbor Seals", "A-7", "HS-10", "10 pieces", "$18.00"):
        assert word in said, word
    assert "1 line has no known price" in said
    send_order(order=draft, author=manager, at=AT)
    assert "not sent" not in read(client, draft)


def test_the_crew_does_not_see_prices(
    client_as: Callable[..., Client], technician: Person, draft: PurchaseOrder
) -> None:
    answer = client_as(technician).get(f"/orders/{draft.number}/order.pdf")
    assert answer.status_code == 403


def test_no_such_order(client_as: Callable[..., Client], manager: Person) -> None:
    assert client_as(manager).get("/orders/77/order.pdf").status_code == 404
