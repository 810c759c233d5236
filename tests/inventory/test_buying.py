"""Suppliers, orders, deliveries and old parts owed back."""

from collections.abc import Callable
from datetime import date, timedelta
from typing import Any
from uuid import uuid4

import pytest
from django.db.models import Sum
from hypothesis import given
from hypothesis import strategies as st

from inventory.costing import split_cents
from inventory.lead_times import Wait
from inventory.models import (
    Core,
    Location,
    Lot,
    Movement,
    Part,
    PurchaseOrder,
    PurchaseOrderLine,
    Receipt,
    StockPolicy,
    Supplier,
    SupplierPart,
)
from inventory.pack_prices import PackPrice
from inventory.services import NothingToMove, PlaceRetired, StockRefused, prove
from inventory.services.buying import (
    NotSoldThere,
    OrderNotOpen,
    PartNotBought,
    SupplierNameTaken,
    SupplierRetired,
    Terms,
    Wish,
    cancel_rest,
    change_supplier,
    close_order,
    create_supplier,
    draft_order,
    send_order,
    set_draft_line,
    set_supplier_part,
)
from inventory.services.buying_receipts import (
    Arrival,
    SlipReceivedBefore,
    credit_core,
    delivery_questions,
    receive_delivery,
    send_core_back,
)
from inventory.services.buying_times import late_orders, lead_times, waits_of
from inventory.services.suppliers import bought_from
from inventory.tables import suggested
from tests.inventory.factories import AT, BinFactory, PartFactory, PersonFactory

pytestmark = pytest.mark.django_db
State = PurchaseOrder.State
TODAY = AT.date()


def signed(**more: Any) -> dict[str, Any]:
    return {"author": PersonFactory(), "at": AT, **more}


def supplier_of(name: str = "Tern Seals", **parts: Terms) -> tuple[Supplier, dict[str, Part]]:
    supplier = create_supplier(name=name, **signed())
    made = {number: PartFactory(number=number) for number in parts}
    for number, terms in parts.items():
        set_supplier_part(supplier=supplier, part=made[number], terms=terms)
    return supplier, made


def sent(supplier: Supplier, **wishes: tuple[Part, int]) -> PurchaseOrder:
    order = draft_order(
        supplier=supplier,
        wishes=[Wish(part, steps) for part, steps in wishes.values()],
        **signed(request_id=uuid4()),
    )
    return send_order(order=order, **signed())


@pytest.fixture
def seals() -> tuple[PurchaseOrder, Part, Part, Location]:
    """An order under way: 20 seals in tens at $9 the pack, 3 springs at $1 each."""
    supplier, parts = supplier_of(
        seal=Terms(
            pack_steps=10, lead_time_days=12, prices=(PackPrice(1, 1_000), PackPrice(2, 900))
        ),
        spring=Terms(pack_steps=1, lead_time_days=5, prices=(PackPrice(1, 100),)),
    )
    order = sent(supplier, seal=(parts["seal"], 14), spring=(parts["spring"], 3))
    return order, parts["seal"], parts["spring"], BinFactory()


def line_of(order: PurchaseOrder, part: Part) -> PurchaseOrderLine:
    return PurchaseOrderLine.objects.select_related("order", "part").get(order=order, part=part)


def take_in(
    order: PurchaseOrder, slip: str, *arrivals: Arrival, freight: int = 0, **more: Any
) -> Receipt:
    given = {"request_id": uuid4(), **more}
    return receive_delivery(
        order=order, packing_slip=slip, arrivals=arrivals, freight_cents=freight, **signed(**given)
    )


def everything() -> tuple[int, ...]:
    """Rows that a delivery writes, to see that a refused one wrote none."""
    tables = (Receipt, Lot, Movement, Core)
    return tuple(table.objects.count() for table in tables)


class TestSuppliers:
    def test_a_name_is_taken_whatever_its_case_and_needed(self) -> None:
        create_supplier(name=" Tern Seals ", **signed())
        with pytest.raises(SupplierNameTaken, match="TERN SEALS already"):
            create_supplier(name="TERN SEALS", **signed())
        with pytest.raises(StockRefused, match="needs a name"):
            create_supplier(name="  ", **signed())
        assert list(Supplier.objects.values_list("name", flat=True)) == ["Tern Seals"]

    def test_only_one_supplier_of_a_part_is_preferred(self) -> None:
        first, parts = supplier_of(seal=Terms(pack_steps=1, preferred=True))
        second = create_supplier(name="Other", **signed())
        set_supplier_part(
            supplier=second, part=parts["seal"], terms=Terms(pack_steps=5, preferred=True)
        )
        assert SupplierPart.objects.get(preferred=True).supplier == second
        assert SupplierPart.objects.get(preferred=False).supplier == first

    @pytest.mark.parametrize(
        ("terms", "said"),
        [
            (Terms(pack_steps=0), "holds more than nothing"),
            (Terms(pack_steps=1, least_packs=0), "The least is one pack"),
            (Terms(pack_steps=1, core_cents=-1), "not below zero"),
            (Terms(pack_steps=1, prices=(PackPrice(2, 5), PackPrice(2, 4))), "already"),
            (Terms(pack_steps=1, prices=(PackPrice(1, -5),)), "not below zero"),
            (Terms(pack_steps=1, their_number="9" * 61), "longer than 60"),
        ],
    )
    def test_terms_that_cannot_be(self, terms: Terms, said: str) -> None:
        supplier = create_supplier(name="Tern Seals", **signed())
        with pytest.raises(StockRefused, match=said):
            set_supplier_part(supplier=supplier, part=PartFactory(), terms=terms)
        assert not SupplierPart.objects.exists()


class TestDrafting:
    def test_packs_are_whole_no_fewer_than_the_least_and_priced_by_their_number(self) -> None:
        prices = (PackPrice(1, 1_000), PackPrice(3, 800))
        supplier, parts = supplier_of(
            seal=Terms(pack_steps=10, prices=prices, their_number="TS-1"),
            oil=Terms(pack_steps=4, least_packs=6),
        )
        order = draft_order(
            supplier=supplier,
            wishes=[Wish(parts["seal"], 12), Wish(parts["oil"], 1), Wish(parts["seal"], 9)],
            **signed(request_id=uuid4()),
        )
        seal, oil = line_of(order, parts["seal"]), line_of(order, parts["oil"])
        assert (seal.packs, seal.quantity_steps, seal.price_cents) == (3, 30, 2_400)
        assert seal.their_number == "TS-1"
        assert (oil.packs, oil.pack_price_cents) == (6, 0)
        assert (order.number, order.state) == (1, State.DRAFT)
        assert PurchaseOrderLine.objects.on_order() == {}

    def test_sent_twice_it_is_drafted_once_and_numbers_go_on(self) -> None:
        supplier, parts = supplier_of(seal=Terms(pack_steps=1))
        key = uuid4()
        both = [
            draft_order(
                supplier=supplier, wishes=[Wish(parts["seal"], 1)], **signed(request_id=key)
            )
            for _ in range(2)
        ]
        assert both[0] == both[1]
        assert sent(supplier, seal=(parts["seal"], 2)).number == 2

    def test_refused_and_nothing_is_drafted(self) -> None:
        supplier, parts = supplier_of(seal=Terms(pack_steps=1))
        stranger, old = PartFactory(), PartFactory(retired=True)

        def refuse(kind: type[StockRefused], said: str, *wishes: Wish) -> None:
            with pytest.raises(kind, match=said):
                draft_order(supplier=supplier, wishes=wishes, **signed(request_id=uuid4()))

        refuse(StockRefused, "Say what to order")
        refuse(NothingToMove, "above zero", Wish(parts["seal"], 0))
        refuse(NothingToMove, "above zero", Wish(parts["seal"], -3))
        refuse(NotSoldThere, "not known to sell", Wish(parts["seal"], 1), Wish(stranger, 1))
        refuse(PartNotBought, "not bought any more", Wish(old, 1))
        refuse(StockRefused, "more than anybody orders", Wish(parts["seal"], 10**6))
        change_supplier(supplier=supplier, name=supplier.name, retired=True, **signed())
        refuse(SupplierRetired, "Tern Seals is retired", Wish(parts["seal"], 1))
        assert not PurchaseOrder.objects.exists()

    def test_the_lines_of_a_draft_change_and_those_of_an_order_do_not(self) -> None:
        supplier, parts = supplier_of(seal=Terms(pack_steps=10, least_packs=2))
        order = draft_order(
            supplier=supplier, wishes=[Wish(parts["seal"], 1)], **signed(request_id=uuid4())
        )
        set_draft_line(order=order, part=parts["seal"], packs=5)
        assert line_of(order, parts["seal"]).packs == 5
        with pytest.raises(StockRefused, match="sells 2 packs or more"):
            set_draft_line(order=order, part=parts["seal"], packs=1)
        send_order(order=order, **signed())
        with pytest.raises(OrderNotOpen, match="was sent already"):
            set_draft_line(order=order, part=parts["seal"], packs=7)
        assert line_of(order, parts["seal"]).packs == 5


class TestSending:
    def test_a_line_is_expected_after_the_lead_time_or_when_promised(self) -> None:
        supplier, parts = supplier_of(
            seal=Terms(pack_steps=1, lead_time_days=12), spring=Terms(pack_steps=1)
        )
        order = draft_order(
            supplier=supplier,
            wishes=[Wish(part, 4) for part in parts.values()],
            **signed(request_id=uuid4()),
        )
        promised = TODAY + timedelta(days=30)
        send_order(order=order, expected={parts["spring"].pk: promised}, **signed())
        assert line_of(order, parts["seal"]).expected_on == TODAY + timedelta(days=12)
        assert line_of(order, parts["spring"]).expected_on == promised
        assert PurchaseOrderLine.objects.on_order() == {part.pk: 4 for part in parts.values()}
        with pytest.raises(OrderNotOpen, match="Order 1 was sent already"):
            send_order(order=order, **signed())

    def test_an_empty_draft_a_past_promise_and_a_retired_supplier_are_refused(self) -> None:
        supplier, parts = supplier_of(seal=Terms(pack_steps=1))
        seal = parts["seal"]
        order = draft_order(supplier=supplier, wishes=[Wish(seal, 1)], **signed(request_id=uuid4()))
        with pytest.raises(StockRefused, match="before the order is sent"):
            send_order(order=order, expected={seal.pk: TODAY - timedelta(days=1)}, **signed())
        set_draft_line(order=order, part=seal, packs=0)
        with pytest.raises(StockRefused, match="asks for nothing yet"):
            send_order(order=order, **signed())
        set_draft_line(order=order, part=seal, packs=1)
        change_supplier(supplier=supplier, name=supplier.name, retired=True, **signed())
        with pytest.raises(SupplierRetired):
            send_order(order=order, **signed())
        order.refresh_from_db()
        assert (order.state, order.sent_at) == (State.DRAFT, None)


class TestReceiving:
    def test_freight_is_shared_by_worth_and_lies_in_the_lots(self, seals: Any) -> None:
        """Landed cost by worth, by hand: goods $18 and $3, freight $10: $8.57 and $1.43."""
        order, seal, spring, place = seals
        receipt = take_in(
            order,
            "S-77",
            Arrival(line_of(order, seal), place, 20, lot_code="L-9"),
            Arrival(line_of(order, spring), place, 3),
            freight=1_000,
        )
        lots = {line.lot.part_id: line for line in receipt.lines.select_related("lot")}
        assert (lots[seal.pk].goods_cents, lots[spring.pk].goods_cents) == (1_800, 300)
        assert lots[seal.pk].lot.value_left_cents == 1_800 + 857
        assert lots[spring.pk].lot.value_left_cents == 300 + 143
        assert (lots[seal.pk].lot.code, lots[spring.pk].lot.code) == ("L-9", TODAY.isoformat())
        order.refresh_from_db()
        assert (order.state, order.closed_at) == (State.CLOSED, AT)
        assert Movement.objects.of_source("order", order.number).count() == 2
        assert not list(prove())

    def test_less_leaves_the_rest_to_come_and_more_is_taken_in(self, seals: Any) -> None:
        order, seal, spring, place = seals
        take_in(order, "1", Arrival(line_of(order, seal), place, 6))
        order.refresh_from_db()
        assert order.state == State.PARTLY
        assert PurchaseOrderLine.objects.on_order() == {seal.pk: 14, spring.pk: 3}
        take_in(
            order,
            "2",
            Arrival(line_of(order, seal), place, 10),
            Arrival(line_of(order, seal), place, 9, goods_cents=0),
            Arrival(line_of(order, spring), place, 2),
        )
        assert line_of(order, seal).received_steps == 25
        assert PurchaseOrderLine.objects.on_order() == {spring.pk: 1}
        cancel_rest(line=line_of(order, spring), because="out of stock there", **signed())
        order.refresh_from_db()
        assert (order.state, order.closed_because) == (State.CLOSED, "out of stock there")
        assert PurchaseOrderLine.objects.on_order() == {}

    def test_a_slip_is_received_once_whatever_its_case(self, seals: Any) -> None:
        order, seal, _, place = seals
        take_in(order, "ab-12", Arrival(line_of(order, seal), place, 1))
        before = everything()
        with pytest.raises(SlipReceivedBefore, match="ab-12 of Tern Seals was received on 2026"):
            take_in(order, "  AB-12 ", Arrival(line_of(order, seal), place, 1))
        assert everything() == before
        assert line_of(order, seal).received_steps == 1

    def test_one_slip_number_of_two_suppliers_is_two_deliveries(self, seals: Any) -> None:
        order, seal, _, place = seals
        take_in(order, "1", Arrival(line_of(order, seal), place, 1))
        other, parts = supplier_of("Other", hose=Terms(pack_steps=1))
        second = sent(other, hose=(parts["hose"], 1))
        take_in(second, "1", Arrival(line_of(second, parts["hose"]), place, 1))
        assert Receipt.objects.count() == 2

    def test_sent_twice_it_counts_once(self, seals: Any) -> None:
        order, seal, _, place = seals
        key = uuid4()
        both = [
            take_in(order, "1", Arrival(line_of(order, seal), place, 4), request_id=key)
            for _ in range(2)
        ]
        assert both[0] == both[1]
        assert line_of(order, seal).received_steps == 4
        assert Lot.objects.aggregate(all=Sum("quantity_left_steps"))["all"] == 4

    @pytest.mark.parametrize(
        ("change", "kind", "said"),
        [
            ({"quantity_steps": 0}, NothingToMove, "above zero"),
            ({"quantity_steps": -2}, NothingToMove, "above zero"),
            ({"goods_cents": -1}, StockRefused, "cannot be below zero"),
            ({"lot_code": "x" * 61}, StockRefused, "longer than 60"),
            (
                {"cured_on": date(2026, 1, 1), "expires_on": date(2025, 1, 1)},
                StockRefused,
                "expire before its cure date",
            ),
        ],
    )
    def test_one_bad_line_and_nothing_is_posted(
        self, seals: Any, change: dict[str, Any], kind: type[StockRefused], said: str
    ) -> None:
        order, seal, spring, place = seals
        good = Arrival(line_of(order, seal), place, 20)
        given = {"line": line_of(order, spring), "location": place, "quantity_steps": 1, **change}
        with pytest.raises(kind, match=said):
            take_in(order, "1", good, Arrival(**given))
        order.refresh_from_db()
        assert everything() == (0, 0, 0, 0)
        assert (order.state, line_of(order, seal).received_steps) == (State.SENT, 0)

    def test_what_else_is_refused(self, seals: Any) -> None:
        order, seal, _, place = seals
        mine = Arrival(line_of(order, seal), place, 1)
        supplier, parts = supplier_of("Other", hose=Terms(pack_steps=1))
        strange = line_of(sent(supplier, hose=(parts["hose"], 1)), parts["hose"])
        with pytest.raises(StockRefused, match="number of the packing slip"):
            take_in(order, "  ", mine)
        with pytest.raises(StockRefused, match="Say what came"):
            take_in(order, "1")
        with pytest.raises(StockRefused, match="freight cannot be below zero"):
            take_in(order, "1", mine, freight=-1)
        with pytest.raises(StockRefused, match="is not in this order"):
            take_in(order, "1", mine, Arrival(strange, place, 1))
        with pytest.raises(PlaceRetired):
            take_in(order, "1", Arrival(line_of(order, seal), BinFactory(retired=True), 1))
        assert everything() == (0, 0, 0, 0)

    def test_a_draft_and_a_closed_order_take_nothing_in(self, seals: Any) -> None:
        order, seal, _, place = seals
        draft = draft_order(
            supplier=order.supplier, wishes=[Wish(seal, 1)], **signed(request_id=uuid4())
        )
        with pytest.raises(OrderNotOpen, match="is a draft"):
            take_in(draft, "1", Arrival(line_of(draft, seal), place, 1))
        close_order(order=order, because="they went out of business", **signed())
        with pytest.raises(OrderNotOpen, match="is closed"):
            take_in(order, "1", Arrival(line_of(order, seal), place, 1))
        with pytest.raises(OrderNotOpen, match="closed already"):
            close_order(order=order, because="again", **signed())
        assert everything() == (0, 0, 0, 0)

    def test_what_ages_needs_its_day_and_keeps_from_it(self) -> None:
        supplier = create_supplier(name="Tern Seals", **signed())
        ring = PartFactory(storage_group="A")
        set_supplier_part(supplier=supplier, part=ring, terms=Terms(pack_steps=1))
        order = sent(supplier, ring=(ring, 2))
        with pytest.raises(StockRefused, match="ages: give the day or quarter"):
            take_in(order, "1", Arrival(line_of(order, ring), BinFactory(), 2))
        cured = date(2026, 1, 31)
        take_in(order, "1", Arrival(line_of(order, ring), BinFactory(), 2, cured_on=cured))
        lot = Lot.objects.get()
        assert (lot.cured_on, lot.expires_on) == (cured, ring.use_by(cured))

    def test_far_more_than_is_to_come_is_asked_about(self, seals: Any) -> None:
        order, seal, spring, place = seals
        assert not delivery_questions([Arrival(line_of(order, seal), place, 200)])
        (question,) = delivery_questions(
            [Arrival(line_of(order, seal), place, 201), Arrival(line_of(order, spring), place, 30)]
        )
        assert question.startswith("201 pieces of seal")


class TestOnOrder:
    def test_what_is_on_order_is_not_bought_again_until_it_is_cancelled(self, seals: Any) -> None:
        order, seal, _, place = seals
        StockPolicy.objects.create(
            part=seal,
            reorder_point_steps=10,
            order_up_to_steps=40,
            set_by=PersonFactory(),
            set_at=AT,
        )

        def fallen() -> list[Part]:
            return list(Part.objects.at_reorder_point(today=TODAY))

        assert fallen() == []
        assert Part.objects.next_to_reorder_point(today=TODAY).get() == seal
        take_in(order, "1", Arrival(line_of(order, seal), place, 8))
        assert fallen() == []
        cancel_rest(line=line_of(order, seal), because="never comes", **signed())
        assert fallen() == [seal]
        again = sent(order.supplier, seal=(seal, 1))
        assert fallen() == []
        close_order(order=again, because="wrong part", **signed())
        (short,) = fallen()
        assert suggested(short) == 32

    def test_an_order_too_small_is_filled_up(self, seals: Any) -> None:
        _, seal, _, _ = seals
        StockPolicy.objects.create(
            part=seal,
            reorder_point_steps=20,
            order_up_to_steps=45,
            set_by=PersonFactory(),
            set_at=AT,
        )
        (short,) = Part.objects.at_reorder_point(today=TODAY)
        assert suggested(short) == 25


class TestHowLongItTakes:
    def test_it_learns_from_what_came_and_what_is_late(self, seals: Any) -> None:
        order, seal, spring, place = seals
        sold = {each.part_id: each for each in SupplierPart.objects.all()}
        later = AT + timedelta(days=20)

        def middle(part: Part, day: date) -> int:
            return lead_times(list(sold.values()), today=day)[sold[part.pk].pk].days_for(0.5)

        assert (middle(seal, TODAY), middle(spring, TODAY)) == (12, 5)
        assert not late_orders(today=TODAY + timedelta(days=5))
        assert late_orders(today=TODAY + timedelta(days=6)) == [order]
        take_in(order, "1", Arrival(line_of(order, seal), place, 20), at=later)
        assert waits_of([order.supplier_id], today=later.date()) == {
            (order.supplier_id, seal.pk): [Wait(20, came=True)],
            (order.supplier_id, spring.pk): [Wait(20, came=False)],
        }
        assert middle(seal, later.date()) > 12
        assert middle(spring, later.date()) > 5

    def test_one_query_for_any_number_of_parts(
        self, seals: Any, django_assert_num_queries: Any
    ) -> None:
        sold = list(SupplierPart.objects.all())
        with django_assert_num_queries(1):
            assert len(lead_times(sold, today=TODAY)) == 2


class TestClosing:
    def test_it_needs_a_reason_and_a_rest(self, seals: Any) -> None:
        order, seal, _, place = seals
        calls: list[Callable[[], object]] = [
            lambda: close_order(order=order, because=" ", **signed()),
            lambda: cancel_rest(line=line_of(order, seal), because="", **signed()),
        ]
        for call in calls:
            with pytest.raises(StockRefused, match="Say why"):
                call()
        take_in(order, "1", Arrival(line_of(order, seal), place, 20))
        with pytest.raises(StockRefused, match="Nothing more of seal"):
            cancel_rest(line=line_of(order, seal), because="late", **signed())

    def test_a_draft_is_dropped(self) -> None:
        supplier, parts = supplier_of(seal=Terms(pack_steps=1))
        order = draft_order(
            supplier=supplier, wishes=[Wish(parts["seal"], 1)], **signed(request_id=uuid4())
        )
        assert close_order(order=order, because="not needed", **signed()).state == State.CLOSED


class TestCores:
    def test_old_parts_are_owed_sent_back_and_credited(self) -> None:
        supplier, parts = supplier_of(pump=Terms(pack_steps=1, core_cents=4_000))
        order = sent(supplier, pump=(parts["pump"], 2))
        take_in(order, "1", Arrival(line_of(order, parts["pump"]), BinFactory(), 2))
        core = Core.objects.get()
        assert (core.quantity_steps, core.credit_cents, core.owed_since) == (2, 8_000, TODAY)
        assert core.supplier == supplier
        with pytest.raises(StockRefused, match="once they went back"):
            credit_core(core=core, on=TODAY, cents=8_000, **signed())
        with pytest.raises(StockRefused, match="before the new ones came"):
            send_core_back(core=core, on=TODAY - timedelta(days=1), **signed())
        send_core_back(core=core, on=TODAY, **signed())
        with pytest.raises(StockRefused, match="went back on 2026-03-02 already"):
            send_core_back(core=core, on=TODAY, **signed())
        with pytest.raises(StockRefused, match="cannot be below zero"):
            credit_core(core=core, on=TODAY, cents=-1, **signed())
        credit_core(core=core, on=TODAY, cents=7_500, **signed())
        core.refresh_from_db()
        assert (core.credited_on, core.credited_cents) == (TODAY, 7_500)
        with pytest.raises(StockRefused, match="credited on 2026-03-02 already"):
            credit_core(core=core, on=TODAY, cents=1, **signed())

    def test_a_part_without_credit_owes_nothing(self, seals: Any) -> None:
        order, seal, _, place = seals
        take_in(order, "1", Arrival(line_of(order, seal), place, 20))
        assert not Core.objects.exists()


@given(
    freight=st.integers(0, 10**7),
    worth=st.lists(st.integers(0, 10**7), min_size=1, max_size=12),
)
def test_the_shares_of_a_freight_add_up_and_none_is_a_cent_from_its_part(
    freight: int, worth: list[int]
) -> None:
    shares = split_cents(freight, worth)
    assert sum(shares) == freight
    weights = worth if any(worth) else [1] * len(worth)
    for share, weight in zip(shares, weights, strict=True):
        assert abs(share * sum(weights) - freight * weight) < sum(weights)


def test_bought_of_the_preferred_first_then_of_the_quickest() -> None:
    slow, parts = supplier_of("Slow", seal=Terms(pack_steps=1, lead_time_days=9))
    quick, liked = (create_supplier(name=name, **signed()) for name in ("Quick", "Liked"))
    seal = parts["seal"]
    assert [bought_from([seal.pk])[seal.pk].supplier, bought_from([])] == [slow, {}]
    set_supplier_part(supplier=quick, part=seal, terms=Terms(pack_steps=1, lead_time_days=3))
    assert bought_from([seal.pk])[seal.pk].supplier == quick
    set_supplier_part(
        supplier=liked, part=seal, terms=Terms(pack_steps=1, lead_time_days=30, preferred=True)
    )
    assert bought_from([seal.pk])[seal.pk].supplier == liked
    change_supplier(supplier=liked, name="Liked", retired=True, **signed())
    assert bought_from([seal.pk])[seal.pk].supplier == quick
