"""Buying over HTTP: proposals by supplier, and the order that one button drafts."""

import re
from collections.abc import Callable
from typing import Any
from uuid import uuid4

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from inventory.models import Location, Part, PurchaseOrder, Supplier
from inventory.pack_prices import PackPrice
from inventory.services.buying import (
    Terms,
    change_supplier,
    create_supplier,
    send_order,
    set_supplier_part,
)
from shop.models import Role
from tests.inventory.factories import PartFactory, PersonFactory, received
from tests.inventory.pages.browsing import buy_at, text_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def harbor(part: Part, bin_k3: Location) -> Supplier:
    """Sells the kit at $50.00, $45.00 from ten; one is here, wanted at 3 up to 10: nine lack."""
    supplier = create_supplier(
        name="Harbor Seals", least_order_cents=60_000, author=PersonFactory(), at=timezone.now()
    )
    sells(supplier, part, PackPrice(1, 5_000), PackPrice(10, 4_400))
    received(part, bin_k3, 1)
    buy_at(part, 3, 10)
    return supplier


def sells(supplier: Supplier, part: Part, *prices: PackPrice, **more: Any) -> None:
    terms = Terms(**{"pack_steps": 1, "prices": prices, **more})
    set_supplier_part(supplier=supplier, part=part, terms=terms)


def draft(client: Client, whom: Supplier, *parts: Part, **more: Any) -> Any:
    typed = {"supplier": whom.pk, "part": [part.pk for part in parts], "request_id": uuid4()}
    return client.post("/buying/", {**typed, **more})


def test_ten_cost_less_than_nine_and_the_least_order_is_said(
    desk: Client, harbor: Supplier
) -> None:
    read = text_of(desk.get("/buying/"))
    for said in (
        "10 pieces GK-1 Gun rebuild kit",
        "1 here, the reorder point is 3.",
        "10 cost $10.00 less in all than 9.",
        "$440.00 in all. $160.00 lacks to their least order of $600.00.",
        "Draft the order to Harbor Seals",
    ):
        assert said in read, said
    assert "Nobody sells it" not in read


def test_what_is_ticked_becomes_a_draft_once(desk: Client, harbor: Supplier, part: Part) -> None:
    request_id = uuid4()
    for _ in range(2):
        answer = draft(desk, harbor, part, request_id=request_id)
        assert answer.headers["Location"] == "/orders/1/"
    (line,) = PurchaseOrder.objects.get().lines.all()
    assert (line.packs, line.pack_price_cents) == (10, 4_400)


def test_what_is_drafted_or_on_order_is_not_proposed_again(
    desk: Client, harbor: Supplier, part: Part
) -> None:
    draft(desk, harbor, part)
    read = text_of(desk.get("/buying/"))
    assert "Order 1 is drafted and not sent yet" in read
    assert "Draft the order" not in read
    send_order(order=PurchaseOrder.objects.get(), author=PersonFactory(), at=timezone.now())
    read = text_of(desk.get("/buying/"))
    assert "Nothing has fallen to its reorder point." in read
    assert "Harbor Seals" not in read


def test_what_falls_next_fills_the_order_unticked(
    desk: Client, harbor: Supplier, part: Part, bin_k3: Location
) -> None:
    spring, elsewhere = PartFactory(number="SP-1"), PartFactory(number="XX-1")
    for each in (spring, elsewhere):
        received(each, bin_k3, 4)
        buy_at(each, 3, 8)
    sells(harbor, spring, PackPrice(1, 200), pack_steps=3)
    page = desk.get("/buying/")
    read = text_of(page)
    assert "6 pieces SP-1" in read
    assert "2 × 3 pieces" in read
    assert "XX-1" not in read
    boxes = re.findall(r'name="part"[^>]*?value="(\d+)"([^>]*)>', page.content.decode())
    assert [(int(pk), "checked" in rest) for pk, rest in boxes] == [
        (part.pk, True),
        (spring.pk, False),
    ]
    draft(desk, harbor, part, spring)
    assert [line.packs for line in PurchaseOrder.objects.get().lines.order_by("pk")] == [10, 2]


def test_the_preferred_sells_it_and_a_retired_one_does_not(
    desk: Client, harbor: Supplier, part: Part
) -> None:
    who = {"author": PersonFactory(), "at": timezone.now()}
    other = create_supplier(name="Tern Kits", **who)
    sells(other, part, PackPrice(1, 6_000), preferred=True)
    assert "Draft the order to Tern Kits" in text_of(desk.get("/buying/"))
    change_supplier(supplier=other, name="Tern Kits", retired=True, **who)
    assert "Draft the order to Harbor Seals" in text_of(desk.get("/buying/"))


def test_of_a_superseded_part_nothing_is_bought(desk: Client, harbor: Supplier, part: Part) -> None:
    Part.objects.filter(pk=part.pk).update(superseded_by=PartFactory())
    assert "GK-1" not in text_of(desk.get("/buying/"))


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ({"part": []}, "Tick what to order."),
        ({"part": ["x", "9999"]}, "Tick what to order."),
        ({"supplier": "77"}, "Look again."),
        ({"supplier": "x"}, "Look again."),
        ({"request_id": "x"}, "The page came incomplete."),
    ],
)
def test_refused_in_words_and_nothing_is_drafted(
    desk: Client, harbor: Supplier, part: Part, typed: dict[str, Any], said: str
) -> None:
    answer = draft(desk, harbor, part, **typed)
    assert answer.status_code == 422
    assert said in text_of(answer)
    assert not PurchaseOrder.objects.exists()


def test_the_owner_reads_and_drafts_nothing(
    client_as: Callable[..., Client], harbor: Supplier, part: Part
) -> None:
    owner = client_as(Role.OWNER)
    read = text_of(owner.get("/buying/"))
    assert "10 pieces GK-1" in read
    assert "Draft the order" not in read
    assert draft(owner, harbor, part).status_code == 403


def test_as_many_queries_for_thirty_parts_as_for_three(
    desk: Client, harbor: Supplier, bin_k3: Location
) -> None:
    def fall(count: int) -> None:
        for _ in range(count):
            fallen, following = PartFactory(), PartFactory()
            received(following, bin_k3, 4)
            for each in (fallen, following):
                sells(harbor, each, PackPrice(1, 900))
                buy_at(each, 3, 8)

    def queries() -> int:
        with CaptureQueriesContext(connection) as seen:
            desk.get("/buying/")
        return len(seen)

    fall(3)
    desk.get("/buying/")
    at_three = queries()
    fall(27)
    assert queries() == at_three
