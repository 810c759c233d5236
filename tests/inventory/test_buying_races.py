"""Two people at one order: each lock has a twin with it taken away, which shows what it stops."""

from collections.abc import Callable
from typing import Any
from uuid import uuid4

import pytest
from django.db import IntegrityError

from inventory.models import Location, Lot, Movement, Part, PurchaseOrder, Receipt
from inventory.services import buying_receipts, prove
from inventory.services.buying import (
    OrderNotOpen,
    Terms,
    Wish,
    create_supplier,
    draft_order,
    send_order,
    set_draft_line,
    set_supplier_part,
)
from inventory.services.buying_receipts import Arrival, SlipReceivedBefore, receive_delivery
from tests.inventory.factories import BinFactory, PartFactory, who_and_when
from tests.races import all_meet_in, at_once, refused, without_row_locks

pytestmark = pytest.mark.django_db(transaction=True)


def draft(packs: int = 10) -> tuple[PurchaseOrder, Part, Location]:
    who = who_and_when()
    sent = who.pop("request_id")
    supplier, seal = create_supplier(name="Tern Seals", **who), PartFactory()
    set_supplier_part(supplier=supplier, part=seal, terms=Terms(pack_steps=1))
    order = draft_order(supplier=supplier, wishes=[Wish(seal, packs)], request_id=sent, **who)
    return order, seal, BinFactory()


def sent(order: PurchaseOrder) -> PurchaseOrder:
    who = who_and_when()
    del who["request_id"]
    return send_order(order=order, **who)


def taking(order: PurchaseOrder, place: Location, slip: str, steps: int) -> Callable[[], Any]:
    came = [Arrival(order.lines.select_related("part").get(), place, steps)]
    told = who_and_when(request_id=uuid4())
    return lambda: receive_delivery(order=order, packing_slip=slip, arrivals=came, **told)


def test_one_slip_entered_by_two_counts_once() -> None:
    order, _, place = draft()
    sent(order)
    results = at_once(*(taking(order, place, slip, 4) for slip in ("s-77", "S-77")))
    assert refused(results, SlipReceivedBefore) == 1
    assert (Receipt.objects.count(), Lot.objects.count(), Movement.objects.count()) == (1, 1, 1)
    assert order.lines.get().received_steps == 4
    assert prove() == []


@pytest.mark.postgresql
def test_twin_without_the_lock_one_slip_comes_twice(monkeypatch: pytest.MonkeyPatch) -> None:
    order, _, place = draft()
    sent(order)
    acts = [taking(order, place, slip, 4) for slip in ("s-77", "S-77")]
    without_row_locks(monkeypatch)
    all_meet_in(monkeypatch, buying_receipts, "refuse_unless_under_way")
    results = at_once(*acts)
    assert refused(results, IntegrityError) == 0  # the key tells s-77 from S-77
    assert Receipt.objects.count() == 2
    assert Lot.objects.count() == 2


def test_the_rest_of_a_line_taken_in_by_two_is_counted_in_turn() -> None:
    order, _, place = draft()
    sent(order)
    results = at_once(taking(order, place, "1", 4), taking(order, place, "2", 5))
    assert refused(results, OrderNotOpen) == 0
    assert order.lines.get().received_steps == 9
    order.refresh_from_db()
    assert order.state == PurchaseOrder.State.PARTLY


def test_the_whole_rest_taken_in_by_two_comes_once() -> None:
    order, _, place = draft()
    sent(order)
    results = at_once(taking(order, place, "1", 10), taking(order, place, "2", 10))
    assert refused(results, OrderNotOpen) == 1
    assert order.lines.get().received_steps == 10
    assert Receipt.objects.count() == 1


@pytest.mark.postgresql
def test_twin_without_the_lock_what_one_took_in_is_forgotten(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    order, _, place = draft()
    sent(order)
    acts = [taking(order, place, "1", 4), taking(order, place, "2", 5)]
    without_row_locks(monkeypatch)
    all_meet_in(monkeypatch, buying_receipts, "split_cents")
    assert refused(at_once(*acts), OrderNotOpen) == 0
    assert order.lines.get().received_steps < 9
    assert Receipt.objects.count() == 2


def test_a_line_changed_while_the_order_is_sent_is_changed_before_or_refused() -> None:
    order, seal, _ = draft()
    results = at_once(lambda: sent(order), lambda: set_draft_line(order=order, part=seal, packs=3))
    was_late = refused(results, OrderNotOpen)
    assert order.lines.get().packs == (10 if was_late else 3)
    order.refresh_from_db()
    assert order.state == PurchaseOrder.State.SENT
