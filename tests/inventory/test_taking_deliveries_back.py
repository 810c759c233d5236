"""A receipt that came by an order is reversed: the order waits for it again."""

from typing import Any
from uuid import uuid4

import pytest

from inventory.models import Core, Movement, Part, PurchaseOrder, PurchaseOrderLine
from inventory.services import prove, reverse
from inventory.services.buying import Terms, close_order, to_come_steps
from inventory.services.buying_receipts import Arrival, SlipReceivedBefore, send_core_back
from inventory.services.buying_times import waits_of
from tests.inventory.factories import AT, BinFactory
from tests.inventory.test_buying import line_of, sent, signed, supplier_of, take_in

pytestmark = pytest.mark.django_db
State = PurchaseOrder.State


@pytest.fixture
def batteries() -> tuple[PurchaseOrder, Part]:
    """An order under way for three batteries, $18 back for each old one."""
    supplier, parts = supplier_of(battery=Terms(pack_steps=1, lead_time_days=5, core_cents=1_800))
    return sent(supplier, battery=(parts["battery"], 3)), parts["battery"]


def came(order: PurchaseOrder, part: Part, steps: int, slip: str = "S-1") -> Movement:
    line = line_of(order, part)
    receipt = take_in(order, slip, Arrival(line, BinFactory(), steps))
    return Movement.objects.get(lot=receipt.lines.get().lot)


def taken_back(movement: Movement, **more: Any) -> list[Movement]:
    given = {"request_id": uuid4(), "reason": "typed wrong", **more}
    return reverse(movement=movement, **signed(**given))


def state_of(order: PurchaseOrder) -> tuple[str, int, int]:
    order.refresh_from_db()
    line: PurchaseOrderLine = order.lines.get()
    return order.state, line.received_steps, to_come_steps(line)


def test_it_is_to_come_again_and_a_closed_order_is_open_again(batteries: Any) -> None:
    order, part = batteries
    first, second = came(order, part, 2), came(order, part, 1, "S-2")
    assert state_of(order) == (State.CLOSED, 3, 0)
    taken_back(second)
    assert state_of(order) == (State.PARTLY, 2, 1)
    assert (order.closed_at, order.closed_by) == (None, None)
    taken_back(first)
    assert state_of(order) == (State.SENT, 0, 3)
    assert prove() == []


def test_sent_twice_it_is_taken_back_once(batteries: Any) -> None:
    order, part = batteries
    movement, request_id = came(order, part, 2), uuid4()
    first = taken_back(movement, request_id=request_id)
    assert taken_back(movement, request_id=request_id) == first
    assert state_of(order) == (State.SENT, 0, 3)


def test_an_order_closed_by_hand_stays_closed_and_waits_for_nothing(batteries: Any) -> None:
    order, part = batteries
    movement = came(order, part, 2)
    close_order(order=order, because="sold out", **signed())
    taken_back(movement)
    assert state_of(order) == (State.CLOSED, 0, 0)
    assert order.closed_because == "sold out"


def test_what_came_beyond_the_order_closes_it_still_when_it_is_taken_back(batteries: Any) -> None:
    order, part = batteries
    came(order, part, 1)
    more = came(order, part, 4, "S-2")
    assert state_of(order) == (State.CLOSED, 5, 0)
    taken_back(more)
    assert state_of(order) == (State.PARTLY, 1, 2)


def test_old_parts_are_owed_no_more_unless_they_went_back(batteries: Any) -> None:
    order, part = batteries
    kept, gone = came(order, part, 1), came(order, part, 1, "S-2")
    _, second = Core.objects.order_by("pk")
    send_core_back(core=second, on=AT.date(), **signed())
    taken_back(kept)
    taken_back(gone)
    assert list(Core.objects.all()) == [second]


def test_a_delivery_taken_back_says_nothing_about_the_lead_time(batteries: Any) -> None:
    order, part = batteries
    movement = came(order, part, 2)
    key = order.supplier_id, part.pk
    assert [wait.came for wait in waits_of([key[0]], today=AT.date())[key]] == [True]
    taken_back(movement)
    assert [wait.came for wait in waits_of([key[0]], today=AT.date())[key]] == [False]


def test_the_slip_of_a_delivery_taken_back_says_how_to_enter_it_anew(batteries: Any) -> None:
    order, part = batteries
    movement = came(order, part, 2)
    with pytest.raises(SlipReceivedBefore) as before:
        came(order, part, 2)
    assert "reversed" not in str(before.value)
    taken_back(movement)
    with pytest.raises(SlipReceivedBefore, match=r"reversed since: .* S-1 \(2\)\."):
        came(order, part, 2)
    came(order, part, 2, "S-1 (2)")
    assert state_of(order) == (State.PARTLY, 2, 1)
