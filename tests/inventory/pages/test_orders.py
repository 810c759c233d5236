"""Orders over HTTP: drafted, changed, sent, received by packing slip, given up."""

import re
from collections.abc import Callable
from datetime import timedelta
from typing import Any
from uuid import uuid4

import pytest
from django.test import Client
from django.utils import timezone

from inventory.models import (
    Location,
    Lot,
    Movement,
    Part,
    PurchaseOrder,
    PurchaseOrderLine,
    Receipt,
)
from inventory.pack_prices import PackPrice
from inventory.services import prove
from inventory.services.buying import (
    Terms,
    Wish,
    change_supplier,
    create_supplier,
    draft_order,
    send_order,
    set_draft_line,
    set_supplier_part,
)
from shop.models import Role
from tests.inventory.factories import PartFactory, PersonFactory

pytestmark = pytest.mark.django_db
State = PurchaseOrder.State


@pytest.fixture
def seal(db: None) -> Part:
    return PartFactory(number="S-1", name="seal")


@pytest.fixture
def draft(part: Part, seal: Part) -> PurchaseOrder:
    """Order 1: two kits at $50.00 and two boxes of ten seals at $9.00; the least is $100.00."""
    who = {"author": PersonFactory(), "at": timezone.now()}
    supplier = create_supplier(name="Harbor Seals", least_order_cents=10_000, **who)
    kits = Terms(pack_steps=1, lead_time_days=6, prices=(PackPrice(1, 5_000), PackPrice(5, 4_500)))
    boxes = Terms(pack_steps=10, least_packs=2, lead_time_days=3, prices=(PackPrice(1, 900),))
    set_supplier_part(supplier=supplier, part=part, terms=kits)
    set_supplier_part(supplier=supplier, part=seal, terms=boxes)
    wishes = [Wish(part, 2), Wish(seal, 20)]
    return draft_order(supplier=supplier, wishes=wishes, request_id=uuid4(), **who)


@pytest.fixture
def sent(draft: PurchaseOrder) -> PurchaseOrder:
    return send_order(order=draft, author=PersonFactory(), at=timezone.now())


def fields_of(client: Client, address: str) -> dict[str, str]:
    """What the page would send if nothing was typed."""
    page = client.get(address).content.decode()
    found = {}
    for tag in re.findall(r"<(?:input|textarea)[^>]*>", page):
        name, value = re.search(r'name="([^"]+)"', tag), re.search(r'value="([^"]*)"', tag)
        if name and 'type="checkbox"' not in tag:
            found.setdefault(name[1], value[1] if value else "")
    for name, chosen in re.findall(
        r'<select name="([^"]+)".*?(?:<option value="([^"]*)" selected)?.*?</select>', page, re.S
    ):
        found.setdefault(name, chosen)
    return found


def line_of(order: PurchaseOrder, part: Part) -> PurchaseOrderLine:
    return order.lines.get(part=part)


def post(client: Client, order: PurchaseOrder, do: str, **typed: Any) -> Any:
    address = f"/orders/{order.number}/"
    given = {name.replace("__", "-"): value for name, value in typed.items()}
    return client.post(address, {**fields_of(client, address), "do": do, **given}, follow=True)


def drafted(order: PurchaseOrder, **packs: int) -> dict[str, str]:
    return {f"packs-{line_of(order, Part.objects.get(number=n)).pk}": v for n, v in packs.items()}


class TestDraft:
    def test_it_shows_packs_prices_and_the_day(self, desk: Client, draft: PurchaseOrder) -> None:
        page = desk.get("/orders/1/").content.decode()
        for words in ("$118.00 in all", "from 5: $45.00", "10 pieces in a pack", "Send order 1"):
            assert words in page, words
        assert "lacks" not in page

    def test_packs_change_and_the_price_with_them(
        self, desk: Client, draft: PurchaseOrder, part: Part
    ) -> None:
        line = line_of(draft, part)
        answer = post(desk, draft, "keep", **{f"packs-{line.pk}": "5", "note": "by truck"})
        assert "The draft is kept." in answer.content.decode()
        line.refresh_from_db()
        draft.refresh_from_db()
        assert (line.packs, line.pack_price_cents, draft.note) == (5, 4_500, "by truck")

    def test_sent_it_waits_for_the_promised_day(
        self, desk: Client, draft: PurchaseOrder, part: Part, seal: Part
    ) -> None:
        day = timezone.localdate() + timedelta(days=9)
        answer = post(desk, draft, "send", **{f"day-{line_of(draft, part).pk}": day.isoformat()})
        assert "Order 1 is sent" in answer.content.decode()
        draft.refresh_from_db()
        assert draft.state == State.SENT
        assert line_of(draft, part).expected_on == day
        assert line_of(draft, seal).expected_on == timezone.localdate() + timedelta(days=3)

    def test_what_somebody_changed_meanwhile_is_neither_sent_nor_overwritten(
        self, desk: Client, draft: PurchaseOrder, part: Part
    ) -> None:
        line = line_of(draft, part)
        looked = {**fields_of(desk, "/orders/1/"), f"packs-{line.pk}": "3"}
        assert desk.post("/orders/1/", {**looked, "do": "keep"}).status_code == 302
        assert desk.post("/orders/1/", {**looked, "do": "keep"}).status_code == 302
        set_draft_line(order=draft, part=part, packs=7)
        for act in ("keep", "send"):
            answer = desk.post("/orders/1/", {**looked, "do": act})
            assert answer.status_code == 422
            assert "Order 1 was changed meanwhile." in answer.content.decode()
        draft.refresh_from_db()
        assert (draft.state, line_of(draft, part).packs) == (State.DRAFT, 7)

    def test_sent_twice_it_says_so_and_nothing_else(
        self, desk: Client, draft: PurchaseOrder
    ) -> None:
        address = "/orders/1/"
        once = {**fields_of(desk, address), "do": "send"}
        assert desk.post(address, once).status_code == 302
        assert desk.post(address, once).status_code == 302

    @pytest.mark.parametrize(
        ("typed", "words"),
        [
            ("-1", "Packs are not below zero."),
            ("1.5", "Give a whole number of packs."),
            ("x", "Give a whole number of packs."),
            ("200000", "is surely a slip"),
            ("", "This is needed."),
        ],
    )
    def test_packs_that_cannot_be_stay_typed_and_nothing_changes(
        self, desk: Client, draft: PurchaseOrder, part: Part, typed: str, words: str
    ) -> None:
        line = line_of(draft, part)
        for do in ("keep", "send"):
            answer = post(desk, draft, do, **{f"packs-{line.pk}": typed, "note": "kept?"})
            page = answer.content.decode()
            assert answer.status_code == 422
            assert words in page
            assert "kept?" in page
        draft.refresh_from_db()
        assert (draft.state, draft.note) == (State.DRAFT, "")

    def test_fewer_packs_than_they_sell_is_said_beside_the_line(
        self, desk: Client, draft: PurchaseOrder, part: Part, seal: Part
    ) -> None:
        kit, box = line_of(draft, part), line_of(draft, seal)
        answer = post(desk, draft, "keep", **{f"packs-{box.pk}": "1", f"packs-{kit.pk}": "4"})
        assert answer.status_code == 422
        assert "sells 2 packs or more" in answer.content.decode()
        kit.refresh_from_db()
        assert kit.packs == 2

    def test_a_small_order_is_asked_about_and_sent_all_the_same(
        self, desk: Client, draft: PurchaseOrder, part: Part
    ) -> None:
        packs = {f"packs-{line_of(draft, part).pk}": "1"}
        answer = post(desk, draft, "send", **packs)
        assert answer.status_code == 422
        assert "$32.00 lacks to their least order of $100.00" in answer.content.decode()
        draft.refresh_from_db()
        assert (draft.state, line_of(draft, part).packs) == (State.DRAFT, 2)
        post(desk, draft, "send", sure="on", **packs)
        draft.refresh_from_db()
        assert (draft.state, line_of(draft, part).packs) == (State.SENT, 1)

    def test_a_line_is_added_and_taken_off(
        self, desk: Client, draft: PurchaseOrder, part: Part, seal: Part
    ) -> None:
        post(desk, draft, "keep", **{f"packs-{line_of(draft, seal).pk}": "0"})
        assert [line.part for line in draft.lines.all()] == [part]
        answer = desk.post("/orders/1/", {"do": "add", "part": seal.pk, "packs": "1"})
        assert answer.status_code == 422
        assert "sells 2 packs or more" in answer.content.decode()
        desk.post("/orders/1/", {"do": "add", "part": seal.pk, "packs": "3"})
        assert line_of(draft, seal).packs == 3
        other = PartFactory()
        answer = desk.post("/orders/1/", {"do": "add", "part": other.pk, "packs": "3"})
        assert "not known to sell that part" in answer.content.decode()

    def test_a_retired_supplier_is_sent_nothing(self, desk: Client, draft: PurchaseOrder) -> None:
        change_supplier(
            supplier=draft.supplier,
            name="Harbor Seals",
            retired=True,
            author=PersonFactory(),
            at=timezone.now(),
        )
        answer = post(desk, draft, "send")
        assert answer.status_code == 422
        assert "Harbor Seals is retired" in answer.content.decode()

    def test_dropped_it_says_why(self, desk: Client, draft: PurchaseOrder) -> None:
        answer = desk.post("/orders/1/", {"do": "close", "because": ""})
        assert answer.status_code == 422
        assert "Say why" in answer.content.decode()
        desk.post("/orders/1/", {"do": "close", "because": "found two"})
        draft.refresh_from_db()
        assert (draft.state, draft.closed_because) == (State.CLOSED, "found two")


def receive(client: Client, order: PurchaseOrder, **typed: Any) -> Any:
    address = f"/orders/{order.number}/receive/"
    return client.post(address, {**fields_of(client, address), **typed}, follow=True)


def line_fields(order: PurchaseOrder, part: Part, **typed: Any) -> dict[str, Any]:
    return {f"line-{line_of(order, part).pk}-{name}": value for name, value in typed.items()}


class TestReceiving:
    def test_all_of_it_is_offered_and_the_freight_lies_in_the_lots(
        self, desk: Client, sent: PurchaseOrder, part: Part, seal: Part, bin_k3: Location
    ) -> None:
        answer = receive(
            desk,
            sent,
            packing_slip="S-7",
            freight="11.80",
            **line_fields(sent, part, location=bin_k3.pk),
            **line_fields(sent, seal, location=bin_k3.pk),
        )
        page = answer.content.decode()
        assert "nothing more is to come" in page
        sent.refresh_from_db()
        assert sent.state == State.CLOSED
        kits, seals = Lot.objects.order_by("pk")
        assert (kits.quantity_left_steps, kits.value_left_cents) == (2, 11_000)
        assert (seals.quantity_left_steps, seals.value_left_cents) == (20, 1_980)
        assert "$110.00" in page
        assert prove() == []

    def test_less_leaves_the_rest_to_come_and_packs_are_read(
        self, desk: Client, sent: PurchaseOrder, part: Part, seal: Part, bin_k3: Location
    ) -> None:
        answer = receive(
            desk,
            sent,
            packing_slip="S-7",
            **line_fields(sent, part, quantity=""),
            **line_fields(sent, seal, quantity="1 pack", location=bin_k3.pk),
        )
        assert "the rest is to come" in answer.content.decode()
        sent.refresh_from_db()
        assert sent.state == State.PARTLY
        assert line_of(sent, seal).received_steps == 10
        assert line_of(sent, part).received_steps == 0

    @pytest.mark.parametrize(
        ("quantity", "asked"),
        [("21", "more than 10 times what is to come"), ("3", "1 piece of GK-1")],
    )
    def test_more_is_asked_about_and_nothing_is_posted_before(
        self,
        desk: Client,
        sent: PurchaseOrder,
        part: Part,
        seal: Part,
        bin_k3: Location,
        quantity: str,
        asked: str,
    ) -> None:
        typed = {
            "packing_slip": "S-7",
            **line_fields(sent, part, quantity=quantity, location=bin_k3.pk),
            **line_fields(sent, seal, quantity=""),
        }
        answer = receive(desk, sent, **typed)
        assert answer.status_code == 422
        assert asked in answer.content.decode()
        assert not Movement.objects.exists()
        receive(desk, sent, sure="on", **typed)
        assert line_of(sent, part).received_steps == int(quantity)

    def test_one_slip_is_received_once_and_one_sending_counts_once(
        self, desk: Client, sent: PurchaseOrder, part: Part, seal: Part, bin_k3: Location
    ) -> None:
        address = "/orders/1/receive/"
        once = {
            **fields_of(desk, address),
            "packing_slip": "S-7",
            **line_fields(sent, part, quantity="1", location=bin_k3.pk),
            **line_fields(sent, seal, quantity=""),
        }
        desk.post(address, once)
        desk.post(address, once)
        assert Receipt.objects.count() == 1
        answer = desk.post(address, {**once, "request_id": uuid4(), "packing_slip": "s-7 "})
        page = answer.content.decode()
        assert answer.status_code == 422
        assert "was received on" in page
        assert Movement.objects.count() == 1

    @pytest.mark.parametrize(
        ("typed", "words"),
        [
            ({"quantity": "1.5"}, "whole"),
            ({"quantity": "-2"}, "below zero"),
            ({"quantity": "2 gal"}, "gal"),
            ({"quantity": "1", "location": ""}, "Say where it was put."),
            ({"quantity": "1", "goods": "-3"}, "below zero"),
        ],
    )
    def test_what_cannot_be_is_said_beside_the_field_and_nothing_is_posted(
        self,
        desk: Client,
        sent: PurchaseOrder,
        part: Part,
        seal: Part,
        bin_k3: Location,
        typed: dict[str, str],
        words: str,
    ) -> None:
        answer = receive(
            desk,
            sent,
            packing_slip="S-7",
            **line_fields(sent, part, **{"location": bin_k3.pk, **typed}),
            **line_fields(sent, seal, quantity="10", location=bin_k3.pk),
        )
        page = answer.content.decode()
        assert answer.status_code == 422
        assert words in page
        assert 'value="S-7"' in page
        assert not Movement.objects.exists()

    def test_nothing_came_or_no_slip(
        self, desk: Client, sent: PurchaseOrder, part: Part, seal: Part
    ) -> None:
        nothing = {**line_fields(sent, part, quantity=""), **line_fields(sent, seal, quantity="")}
        assert "Say what came." in receive(desk, sent, packing_slip="S", **nothing).content.decode()
        assert "This is needed." in receive(desk, sent, packing_slip="", **nothing).content.decode()

    def test_a_draft_and_a_closed_order_take_nothing_in(
        self, desk: Client, draft: PurchaseOrder, part: Part, bin_k3: Location
    ) -> None:
        assert "Nothing comes by this order." in desk.get("/orders/1/receive/").content.decode()
        typed = {
            "request_id": uuid4(),
            "packing_slip": "S",
            **line_fields(draft, part, quantity="1", location=bin_k3.pk),
        }
        for words in ("send it before anything comes", "is closed: nothing more comes"):
            answer = desk.post("/orders/1/receive/", typed)
            assert answer.status_code == 422
            assert words in answer.content.decode()
            desk.post("/orders/1/", {"do": "close", "because": "no"})
        assert not Movement.objects.exists()

    def test_what_ages_asks_for_its_day(
        self, desk: Client, sent: PurchaseOrder, part: Part, seal: Part, bin_k3: Location
    ) -> None:
        Part.objects.filter(pk=seal.pk).update(keeps_months=12)
        typed = {
            "packing_slip": "S-7",
            **line_fields(sent, part, quantity=""),
            **line_fields(sent, seal, location=bin_k3.pk),
        }
        answer = receive(desk, sent, **typed)
        assert "This part ages" in answer.content.decode()
        receive(desk, sent, **typed, **line_fields(sent, seal, cured_on="1Q2026"))
        assert Lot.objects.get().cured_on is not None


class TestGivingUp:
    def test_the_rest_of_one_line(
        self, desk: Client, sent: PurchaseOrder, part: Part, seal: Part
    ) -> None:
        line = line_of(sent, part)
        answer = desk.post("/orders/1/", {"do": "cancel", "line": line.pk, "because": ""})
        assert answer.status_code == 422
        desk.post("/orders/1/", {"do": "cancel", "line": line.pk, "because": "sold out"})
        line.refresh_from_db()
        assert line.cancelled_steps == 2
        answer = desk.post("/orders/1/", {"do": "cancel", "line": line.pk, "because": "again"})
        assert "Nothing more of" in answer.content.decode()
        answer = desk.post("/orders/1/", {"do": "cancel", "line": 999_999, "because": "x"})
        assert "not in this order" in answer.content.decode()

    def test_all_of_it(self, desk: Client, sent: PurchaseOrder) -> None:
        desk.post("/orders/1/", {"do": "close", "because": "gone out of business"})
        page = desk.get("/orders/1/").content.decode()
        assert "gone out of business" in page
        assert "Receive a delivery" not in page


class TestList:
    def test_late_ones_first_drafts_after_and_closed_when_asked(
        self, desk: Client, sent: PurchaseOrder, part: Part
    ) -> None:
        PurchaseOrderLine.objects.update(expected_on=timezone.localdate() - timedelta(days=4))
        who = {"author": PersonFactory(), "at": timezone.now()}
        for _ in range(2):
            last = draft_order(
                supplier=sent.supplier, wishes=[Wish(part, 1)], request_id=uuid4(), **who
            )
        desk.post(f"/orders/{last.number}/", {"do": "close", "because": "x"})
        page = desk.get("/orders/").content.decode()
        assert re.findall(r"Order (\d)</a>", page) == ["1", "2"]
        assert "1 order is late" in page
        assert "$118.00" in page
        page = desk.get("/orders/?all=yes").content.decode()
        assert re.findall(r"Order (\d)</a>", page) == ["1", "2", "3"]

    @pytest.mark.parametrize(
        ("wanted", "found"), [("1", 1), ("harbor", 1), ("gk-1", 1), ("77", 0), ("\0", 1)]
    )
    def test_looked_for(self, desk: Client, sent: PurchaseOrder, wanted: str, found: int) -> None:
        page = desk.get("/orders/", {"q": wanted}).content.decode()
        assert len(re.findall(r"Order (\d)</a>", page)) == found

    def test_nothing_was_ordered(self, desk: Client) -> None:
        assert "Nothing was ordered yet." in desk.get("/orders/").content.decode()

    def test_the_owner_reads_and_the_crew_does_not(
        self, client_as: Callable[..., Client], sent: PurchaseOrder
    ) -> None:
        owner, crew = client_as(Role.OWNER), client_as(Role.TECHNICIAN)
        assert owner.get("/orders/1/").status_code == 200
        assert "Close order" not in owner.get("/orders/1/").content.decode()
        assert owner.post("/orders/1/", {"do": "close", "because": "x"}).status_code == 403
        assert crew.get("/orders/1/").status_code == 403
        assert owner.get("/orders/88/").status_code == 404

    def test_as_many_queries_for_many_orders_as_for_one(
        self, desk: Client, sent: PurchaseOrder, part: Part, django_assert_max_num_queries: Any
    ) -> None:
        for _ in range(4):
            draft_order(
                supplier=sent.supplier,
                wishes=[Wish(part, 1)],
                request_id=uuid4(),
                author=PersonFactory(),
                at=timezone.now(),
            )
        with django_assert_max_num_queries(16):
            desk.get("/orders/")
