"""Suppliers, what each sells, and the forms about it."""

from collections.abc import Callable
from datetime import timedelta
from typing import Any
from uuid import uuid4

import pytest
from django.test import Client
from django.urls import reverse

from inventory.models import Pack, Part, PriceBreak, Supplier, SupplierPart
from inventory.pack_prices import PackPrice
from inventory.services.buying import (
    Terms,
    Wish,
    create_supplier,
    draft_order,
    send_order,
    set_supplier_part,
)
from inventory.services.buying_receipts import Arrival, receive_delivery
from shop.models import Role
from tests.inventory.factories import AT, BinFactory, PartFactory, PersonFactory
from tests.inventory.pages.browsing import Page, text_of
from tests.inventory.pages.test_buying import queries_of

SUPPLIERS = reverse("inventory:suppliers")
FORMSET = {"prices-TOTAL_FORMS": "4", "prices-INITIAL_FORMS": "0"}


def seller(name: str = "Tern Seals", **more: Any) -> Supplier:
    return create_supplier(name=name, author=PersonFactory(), at=AT, **more)


def prices(*rows: tuple[str, str]) -> dict[str, str]:
    """The rows of prices as a browser sends them: from so many packs, what one costs."""
    sent = dict(FORMSET)
    for n in range(4):
        start, price = rows[n] if n < len(rows) else ("", "")
        sent |= {f"prices-{n}-from_packs": start, f"prices-{n}-price": price}
    return sent


def order_of(supplier: Supplier, part: Part, *, days_ago: int, took: int | None = None) -> None:
    """One piece ordered so many days before the day of the tests; it came after `took` days."""
    who = {"author": PersonFactory()}
    sent_at = AT - timedelta(days=days_ago)
    order = draft_order(
        supplier=supplier, wishes=[Wish(part, 1)], at=sent_at, request_id=uuid4(), **who
    )
    order = send_order(order=order, at=sent_at, **who)
    if took is not None:
        receive_delivery(
            order=order,
            packing_slip=str(uuid4())[:8],
            arrivals=[Arrival(order.lines.get(), BinFactory(), 1)],
            at=sent_at + timedelta(days=took),
            request_id=uuid4(),
            **who,
        )


class TestList:
    def test_without_any_it_says_what_comes_next(self, desk: Client) -> None:
        read = text_of(desk.get(SUPPLIERS))
        assert "No suppliers yet." in read
        assert "add a supplier" in read

    def test_parts_orders_late_ones_and_how_long_it_took(self, desk: Client, part: Part) -> None:
        supplier = seller()
        set_supplier_part(supplier=supplier, part=part, terms=Terms(pack_steps=1))
        for took in (9, 14, 11):
            order_of(supplier, part, days_ago=100, took=took)
        # Long past the day it was expected, whatever today is.
        order_of(supplier, part, days_ago=60)
        read = text_of(desk.get(SUPPLIERS))
        assert "Tern Seals 1 part 1 order under way, 1 late. " in read
        assert "The last 3 deliveries took 9 to 14 days." in read

    def test_the_retired_ones_are_behind_a_filter(self, desk: Client) -> None:
        assert 'href="?show=retired"' not in desk.get(SUPPLIERS).text
        gone = seller("Gone Ltd")
        Supplier.objects.filter(pk=gone.pk).update(retired=True)
        seller()
        assert "Gone Ltd" not in text_of(desk.get(SUPPLIERS))
        assert 'href="?show=retired"' in desk.get(SUPPLIERS).text
        shown = text_of(desk.get(SUPPLIERS, {"show": "retired"}))
        assert "Gone Ltd" in shown
        assert "Tern Seals" not in shown

    def test_as_many_queries_for_twenty_as_for_two(self, desk: Client, part: Part) -> None:
        def add(count: int) -> None:
            for _ in range(count):
                supplier = seller(f"S {uuid4()}")
                set_supplier_part(supplier=supplier, part=part, terms=Terms(pack_steps=1))
                order_of(supplier, part, days_ago=40, took=3)

        add(2)
        at_two = queries_of(desk, SUPPLIERS)
        add(18)
        assert queries_of(desk, SUPPLIERS) == at_two

    def test_the_office_reads_it_and_only_a_manager_changes(
        self, client_as: Callable[..., Client]
    ) -> None:
        supplier = seller()
        page = reverse("inventory:supplier", args=[supplier.pk])
        change = reverse("inventory:change_supplier", args=[supplier.pk])
        owner = client_as(Role.OWNER)
        assert owner.get(SUPPLIERS).status_code == owner.get(page).status_code == 200
        assert change not in owner.get(page).text
        assert owner.get(change).status_code == 403
        assert client_as(Role.TECHNICIAN).get(SUPPLIERS).status_code == 403


class TestSupplier:
    def test_added_and_changed_and_retired(self, desk: Client) -> None:
        page = Page(desk, "inventory:new_supplier")
        answer = page.send(
            name="Tern Seals", contact="555 0100", least_order_cents="150", review_days="14"
        )
        supplier = Supplier.objects.get()
        assert answer.headers["Location"] == reverse("inventory:supplier", args=[supplier.pk])
        assert (supplier.least_order_cents, supplier.review_days) == (15_000, 14)
        read = text_of(desk.get(answer.headers["Location"]))
        assert "555 0100" in read
        assert "We order every 14 days" in read
        assert "Least order $150.00" in read
        changing = Page(desk, "inventory:change_supplier", supplier.pk)
        assert changing.send(name="Tern Seals", retired="on").status_code == 302
        supplier.refresh_from_db()
        assert (supplier.retired, supplier.least_order_cents, supplier.review_days) == (True, 0, 0)
        shown = text_of(desk.get(answer.headers["Location"]))
        assert "Retired: nothing is ordered there any more." in shown
        assert "Add a part" not in shown

    @pytest.mark.parametrize(
        ("typed", "said"),
        [
            ({"name": ""}, "This is needed."),
            ({"name": "tern seals"}, "There is a supplier Tern Seals already."),
            ({"name": "X", "review_days": "1.5"}, "Give a whole number."),
            ({"name": "X", "review_days": "-1"}, "This cannot be below zero."),
            ({"name": "X", "review_days": "4000"}, "That is more than 365."),
            ({"name": "X", "least_order_cents": "lots"}, "is not a number"),
        ],
    )
    def test_refused_beside_its_field_and_kept(
        self, desk: Client, typed: dict[str, str], said: str
    ) -> None:
        seller()
        answer = Page(desk, "inventory:new_supplier").send(**{"our_account": "AC-77", **typed})
        assert answer.status_code == 422
        assert said in text_of(answer)
        assert 'value="AC-77"' in answer.text
        assert Supplier.objects.count() == 1

    def test_what_they_sell_with_breaks_and_what_it_took(self, desk: Client, part: Part) -> None:
        supplier = seller()
        set_supplier_part(
            supplier=supplier,
            part=part,
            terms=Terms(
                pack_steps=10,
                least_packs=2,
                lead_time_days=10,
                their_number="T-55",
                core_cents=4_000,
                preferred=True,
                prices=(PackPrice(1, 1_000), PackPrice(5, 900)),
            ),
        )
        for took in (12, 12, 9, 19, 12):
            order_of(supplier, part, days_ago=100, took=took)
        read = text_of(desk.get(reverse("inventory:supplier", args=[supplier.pk])))
        assert "we buy it here first; theirs: T-55" in read
        assert "10 pieces 2 packs at least $10.00 $9.00 from 5 packs" in read
        assert (
            "They say 10 days; the last 5 deliveries took 12 days, nine of ten within 19." in read
        )
        assert "$40.00 back" in read

    def test_an_unknown_one_is_not_found(self, desk: Client) -> None:
        assert desk.get(reverse("inventory:supplier", args=[99])).status_code == 404


class TestSupplierPart:
    def test_added_with_its_breaks_in_the_parts_own_unit(self, desk: Client) -> None:
        supplier = seller()
        oil = PartFactory(number="OIL-1", measured=True)
        Pack.objects.create(part=oil, name="pail", quantity_steps=500)
        answer = Page(desk, "inventory:new_supplier_part").send(
            supplier=str(supplier.pk),
            part="oil-1",
            pack="1 pail",
            least_packs="2",
            lead_time_days="9",
            core_cents="",
            preferred="on",
            **prices(("5", "36"), ("1", "40.50")),
        )
        assert answer.status_code == 302
        sold = SupplierPart.objects.get()
        assert (sold.part, sold.pack_steps, sold.least_packs) == (oil, 500, 2)
        assert (sold.lead_time_days, sold.preferred) == (9, True)
        breaks = list(PriceBreak.objects.values_list("from_packs", "pack_price_cents"))
        assert breaks == [(1, 4_050), (5, 3_600)]

    @pytest.mark.parametrize(
        ("wrong", "said"),
        [
            ({"supplier": ""}, "This is needed."),
            ({"supplier": "999"}, "That supplier is not in use."),
            ({"part": "nope"}, "There is no part nope."),
            ({"part": "GONE"}, "it is not bought any more."),
            ({"pack": "0"}, "A pack holds more than nothing."),
            ({"pack": "1.5"}, "Pieces come whole"),
            ({"pack": "two"}, "is not a number"),
            ({"least_packs": "0"}, "One is the least."),
            ({"least_packs": "9999999"}, "That is more than 100,000."),
            ({"lead_time_days": "-2"}, "This cannot be below zero."),
            ({"core_cents": "-2"}, "This cannot be below zero."),
            (prices(("1", "")), "What does a pack cost then?"),
            (prices(("", "3")), "From how many packs on?"),
            (prices(("1", "3"), ("1", "2")), "There is a price from this number on already."),
            (prices(("0", "3")), "One is the least."),
            (prices(("1", "x")), "is not a number"),
        ],
    )
    def test_refused_beside_its_field_and_all_kept(
        self, desk: Client, part: Part, wrong: dict[str, str], said: str
    ) -> None:
        supplier = seller()
        PartFactory(number="GONE", retired=True)
        typed = {
            "supplier": str(supplier.pk),
            "part": part.number,
            "their_number": "T-55",
            "pack": "10",
            "least_packs": "1",
            "lead_time_days": "9",
            **prices(("1", "12.34")),
        }
        answer = Page(desk, "inventory:new_supplier_part").send(**{**typed, **wrong})
        assert answer.status_code == 422
        assert said in text_of(answer)
        assert 'value="T-55"' in answer.text
        assert not SupplierPart.objects.exists()

    def test_a_part_that_they_sell_already_is_changed_there(self, desk: Client, part: Part) -> None:
        supplier = seller()
        set_supplier_part(supplier=supplier, part=part, terms=Terms(pack_steps=3))
        answer = Page(desk, "inventory:new_supplier_part").send(
            supplier=str(supplier.pk),
            part="GK-1",
            pack="1",
            least_packs="1",
            lead_time_days="9",
            **prices(),
        )
        assert answer.status_code == 422
        assert "sells GK-1 Gun rebuild kit already" in text_of(answer)
        assert SupplierPart.objects.get().pack_steps == 3

    def test_more_rows_keep_what_was_typed(self, desk: Client, part: Part) -> None:
        supplier = seller()
        answer = Page(desk, "inventory:new_supplier_part").send(
            supplier=str(supplier.pk),
            part="GK-1",
            their_number="T-55",
            more="yes",
            **prices(("1", "4"), ("2", "3.50"), ("4", "3"), ("8", "2")),
        )
        assert answer.status_code == 200
        assert 'value="T-55"' in answer.text
        assert 'value="3.50"' in answer.text
        assert 'name="prices-5-price"' in answer.text
        assert not SupplierPart.objects.exists()

    def test_changed_and_then_not_sold_any_more(self, desk: Client, part: Part) -> None:
        supplier = seller()
        set_supplier_part(
            supplier=supplier,
            part=part,
            terms=Terms(pack_steps=3, prices=tuple(PackPrice(n, 100) for n in (1, 2, 3, 4))),
        )
        page = Page(desk, "inventory:supplier_part", supplier.pk, part.number)
        # Four prices and room for more.
        assert 'name="prices-5-price"' in desk.get(page.url).text
        answer = page.send(pack="4", least_packs="1", lead_time_days="2", **prices(("1", "2")))
        assert answer.status_code == 302
        sold = SupplierPart.objects.get()
        assert (sold.pack_steps, sold.price_breaks.get().pack_price_cents) == (4, 200)
        assert desk.post(page.url, {"drop": "yes"}).status_code == 302
        assert not SupplierPart.objects.exists()
        assert desk.get(page.url).status_code == 404

    def test_without_a_supplier_it_says_so(self, desk: Client) -> None:
        read = text_of(desk.get(reverse("inventory:new_supplier_part")))
        assert "No supplier is in use." in read

    def test_the_address_may_name_the_part(self, desk: Client, part: Part) -> None:
        supplier = seller()
        url = reverse("inventory:new_supplier_part")
        assert 'value="GK-1"' in desk.get(url, {"part": "GK-1"}).text
        shown = desk.get(url, {"supplier": supplier.pk}).text
        assert f'<option value="{supplier.pk}" selected>' in shown
        for odd in ("a\x00b", "9" * 40, "²"):
            assert desk.get(url, {"part": odd, "supplier": odd}).status_code == 200
