"""Receiving, issuing, carrying, putting back."""

from datetime import UTC, date, datetime
from typing import Any
from uuid import uuid4

import pytest
from django.db import IntegrityError
from django.utils import timezone

from inventory.models import Balance, Location, Lot, Movement, Part
from inventory.services import (
    IssueLine,
    LotOfAnotherPart,
    NotEnoughOnHand,
    NothingToMove,
    NotIssued,
    PlaceRetired,
    StockRefused,
    TransferLine,
    issue,
    prove,
    put_back,
    receive,
    retire_location,
    reverse,
    transfer,
)
from inventory.services.posting import Posting
from tests.inventory.factories import AT, BinFactory, PartFactory, received, who_and_when

pytestmark = pytest.mark.django_db


@pytest.fixture
def part() -> Part:
    return PartFactory(number="PK-2")


@pytest.fixture
def shelf() -> Location:
    return BinFactory(code="K-03")


@pytest.fixture
def tray() -> Location:
    return BinFactory(tray=True)


def on_hand(lot: Lot, place: Location) -> int:
    balance = Balance.objects.filter(lot=lot, location=place).first()
    return balance.quantity_steps if balance else 0


def take(part: Part, place: Location, steps: int, lot: Lot | None = None, **more: Any) -> Any:
    line = IssueLine(part=part, location=place, quantity_steps=steps, lot=lot)
    return issue(lines=[line], **who_and_when(**more))


def carry(part: Part, start: Location, end: Location, steps: int, lot: Lot | None = None) -> Any:
    line = TransferLine(
        part=part, from_location=start, to_location=end, quantity_steps=steps, lot=lot
    )
    return transfer(lines=[line], **who_and_when())


# --- receive ------------------------------------------------------------------------------------


def test_a_receipt_brings_a_lot_with_its_dates_and_cost(part: Part, shelf: Location) -> None:
    movement = receive(
        part=part,
        location=shelf,
        quantity_steps=4,
        value_cents=5_000,
        lot_code="2287",
        cured_on=date(2025, 10, 1),
        expires_on=date(2030, 10, 1),
        source_text="slip 88-12",
        **who_and_when(),
    )
    lot = Lot.objects.get()
    assert (lot.code, lot.quantity_left_steps, lot.value_left_cents) == ("2287", 4, 5_000)
    assert (lot.cured_on, lot.expires_on) == (date(2025, 10, 1), date(2030, 10, 1))
    assert (movement.kind, movement.quantity_steps, movement.value_cents) == ("receipt", 4, 5_000)
    assert (movement.source_kind, movement.source_text) == ("receipt", "slip 88-12")
    assert on_hand(lot, shelf) == 4
    assert prove() == []


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"quantity_steps": 0}, "above zero"),
        ({"quantity_steps": -3}, "above zero"),
        ({"value_cents": -1}, "below zero"),
        ({"cured_on": date(2026, 2, 1), "expires_on": date(2026, 1, 1)}, "before its cure date"),
        ({"lot_code": "x" * 61}, "longer than 60 letters"),
        ({"source_text": "x" * 121}, "longer than 120 letters"),
    ],
)
def test_a_nonsense_receipt_is_refused(
    change: dict[str, Any], words: str, part: Part, shelf: Location
) -> None:
    given = {"quantity_steps": 1, "value_cents": 1, "lot_code": "L", **who_and_when()}
    with pytest.raises(StockRefused, match=words):
        receive(part=part, location=shelf, **{**given, **change})
    assert not Lot.objects.exists()


# --- issue --------------------------------------------------------------------------------------


def test_an_issue_draws_first_expiry_then_first_in(part: Part, shelf: Location) -> None:
    never = received(part, shelf, 5, 500)
    late = received(part, shelf, 5, 1_000, expires_on=date(2031, 1, 1))
    soon = received(part, shelf, 5, 2_000, expires_on=date(2027, 1, 1))
    rows = take(part, shelf, 12)
    assert [(row.lot, row.quantity_steps, row.value_cents) for row in rows] == [
        (soon, -5, -2_000),
        (late, -5, -1_000),
        (never, -2, -200),
    ]
    assert prove() == []


def test_a_named_lot_is_drawn_whatever_its_turn(part: Part, shelf: Location) -> None:
    received(part, shelf, 5, 500)
    newer = received(part, shelf, 5, 1_000)
    [row] = take(part, shelf, 2, newer)
    assert (row.lot, row.value_cents) == (newer, -400)


def test_what_has_expired_is_passed_over(part: Part, shelf: Location) -> None:
    expired = received(part, shelf, 2, expires_on=date(2026, 3, 1))
    today = received(part, shelf, 1, expires_on=date(2026, 3, 2))
    [row] = take(part, shelf, 1)
    assert row.lot == today
    with pytest.raises(NotEnoughOnHand, match=r"none there. 2 pieces more there, but expired"):
        take(part, shelf, 1)
    [row] = take(part, shelf, 1, expired, expired_reason="Looked at")
    assert row.lot == expired


def test_what_lies_in_a_tray_was_picked_and_may_expire_there(part: Part, tray: Location) -> None:
    expired = received(part, tray, 2, expires_on=date(2026, 3, 1))
    [row] = take(part, tray, 2)
    assert row.lot == expired


def test_expiry_goes_by_the_shops_day(part: Part, shelf: Location) -> None:
    received(part, shelf, 1, expires_on=date(2026, 3, 1))
    two_at_night = datetime(2026, 3, 2, 2, 0, tzinfo=UTC)  # the evening of 1 March in Chicago
    with timezone.override("America/Chicago"):
        assert take(part, shelf, 1, at=two_at_night)


def test_too_much_is_refused_in_words_and_whole(part: Part, shelf: Location) -> None:
    received(part, shelf, 3)
    other = PartFactory()
    lot = received(other, shelf, 5)
    lines = [
        IssueLine(part=other, location=shelf, quantity_steps=2),
        IssueLine(part=part, location=shelf, quantity_steps=5),
    ]
    with pytest.raises(NotEnoughOnHand) as refused:
        issue(lines=lines, **who_and_when())
    assert str(refused.value) == (
        "Not enough of PK-2 Packing set in K-03: 5 pieces asked, 3 pieces there."
    )
    assert (refused.value.asked_steps, refused.value.there_steps) == (5, 3)
    assert on_hand(lot, shelf) == 5
    assert not Movement.objects.filter(kind="issue").exists()


def test_two_lines_cannot_both_take_the_last(part: Part, shelf: Location) -> None:
    received(part, shelf, 3)
    lines = [IssueLine(part=part, location=shelf, quantity_steps=2)] * 2
    with pytest.raises(NotEnoughOnHand, match="1 piece there"):
        issue(lines=lines, **who_and_when())


def test_measured_stock_is_said_in_its_unit(shelf: Location) -> None:
    oil = PartFactory(measured=True, number="OIL-1")
    received(oil, shelf, 75)
    with pytest.raises(NotEnoughOnHand, match=r"1\.00 qt asked, 0\.75 qt there"):
        take(oil, shelf, 100)


def test_nothing_and_less_are_refused(part: Part, shelf: Location) -> None:
    received(part, shelf, 3)
    for steps in (0, -1):
        with pytest.raises(NothingToMove):
            take(part, shelf, steps)


def test_a_lot_belongs_to_its_part(part: Part, shelf: Location) -> None:
    lot = received(PartFactory(), shelf, 3)
    with pytest.raises(LotOfAnotherPart):
        take(part, shelf, 1, lot)


def test_a_lot_that_lies_elsewhere_is_not_here(part: Part, shelf: Location) -> None:
    lot = received(part, BinFactory(), 3)
    with pytest.raises(NotEnoughOnHand, match="of lot L-1: 1 piece asked, none there"):
        take(part, shelf, 1, lot)


def test_every_lot_closes_at_zero(part: Part, shelf: Location) -> None:
    lot = received(part, shelf, 3, 100)
    values = [take(part, shelf, 1)[0].value_cents for _ in range(3)]
    assert values == [-33, -34, -33]  # 100 ÷ 3, 67 ÷ 2 rounded half up, the rest
    lot.refresh_from_db()
    assert (lot.quantity_left_steps, lot.value_left_cents) == (0, 0)


def test_25_lines_cost_no_more_statements_than_3(django_assert_num_queries: Any) -> None:
    shelf = BinFactory()
    parts = [PartFactory() for _ in range(28)]
    for part in parts:
        received(part, shelf, 5, 500)
    for some in (parts[:3], parts[3:]):
        lines = [IssueLine(part=part, location=shelf, quantity_steps=1) for part in some]
        told = who_and_when()
        # savepoint; lock lots; lock balances; sent before?; lots; balances; movements; release
        with django_assert_num_queries(8):
            issue(lines=lines, **told)


# --- sent twice -----------------------------------------------------------------------------------


def test_sent_twice_counts_once(part: Part, shelf: Location) -> None:
    lot = received(part, shelf, 3, 300)
    told = uuid4()
    first = take(part, shelf, 3, request_id=told)
    again = take(part, shelf, 3, request_id=told)
    assert again == first
    assert on_hand(lot, shelf) == 0
    slip = uuid4()
    lots = {received(part, shelf, 2, request_id=slip).pk for _ in range(2)}
    assert len(lots) == 1


def test_twin_without_the_key_it_counts_twice(part: Part, shelf: Location) -> None:
    lot = received(part, shelf, 3, 300)
    for _ in range(2):
        take(part, shelf, 1)
    assert on_hand(lot, shelf) == 1


def test_twin_without_the_look_back_the_database_still_refuses(
    part: Part, shelf: Location, monkeypatch: pytest.MonkeyPatch
) -> None:
    lot = received(part, shelf, 3, 300)
    told = uuid4()
    take(part, shelf, 1, request_id=told)
    monkeypatch.setattr(Posting, "earlier", lambda self: [])
    with pytest.raises(IntegrityError):
        take(part, shelf, 1, request_id=told)
    assert on_hand(lot, shelf) == 2


# --- transfer -------------------------------------------------------------------------------------


def test_a_transfer_moves_lots_and_no_money(part: Part, shelf: Location, tray: Location) -> None:
    first = received(part, shelf, 2, 200)
    second = received(part, shelf, 2, 300)
    rows = carry(part, shelf, tray, 3)
    assert [(row.lot, row.location, row.quantity_steps, row.value_cents) for row in rows] == [
        (first, shelf, -2, 0),
        (first, tray, 2, 0),
        (second, shelf, -1, 0),
        (second, tray, 1, 0),
    ]
    second.refresh_from_db()
    assert (second.quantity_left_steps, second.value_left_cents) == (2, 300)
    assert (on_hand(second, shelf), on_hand(second, tray)) == (1, 1)
    assert prove() == []


def test_a_transfer_goes_somewhere_else(part: Part, shelf: Location) -> None:
    received(part, shelf, 2)
    with pytest.raises(StockRefused, match="lies in K-03 already"):
        carry(part, shelf, shelf, 1)


def test_nothing_is_put_in_a_retired_place(part: Part, shelf: Location) -> None:
    told = who_and_when()
    received(part, shelf, 2)
    with pytest.raises(StockRefused, match="not empty"):
        retire_location(location=shelf, author=told["author"], at=AT)
    closed = retire_location(location=BinFactory(), author=told["author"], at=AT)
    with pytest.raises(PlaceRetired):
        carry(part, shelf, closed, 1)
    with pytest.raises(PlaceRetired):
        received(part, closed, 1)


# --- put back -------------------------------------------------------------------------------------


def back(part: Part, place: Location, steps: int, number: int = 412) -> list[Movement]:
    return put_back(
        part=part,
        location=place,
        quantity_steps=steps,
        source_kind="sheet",
        source_number=number,
        **who_and_when(),
    )


def test_what_was_not_used_comes_back_at_the_cost_it_went_for(part: Part, shelf: Location) -> None:
    lot = received(part, shelf, 3, 100)
    take(part, shelf, 2, source_kind="sheet", source_number=412)  # 66.67, so 67
    [row] = back(part, shelf, 1)
    assert (row.kind, row.lot, row.value_cents) == ("return", lot, 34)  # 33.5 rounded half up
    spent = Movement.objects.spent().of_source("sheet", 412)
    assert sum(each.value_cents for each in spent) == -33
    lot.refresh_from_db()
    assert (lot.quantity_left_steps, lot.value_left_cents) == (2, 67)
    assert prove() == []


def test_the_lot_issued_last_comes_back_first(part: Part, shelf: Location) -> None:
    first, second = received(part, shelf, 2, 200), received(part, shelf, 2, 600)
    take(part, shelf, 4, source_kind="sheet", source_number=412)
    rows = back(part, shelf, 3)
    assert [(row.lot, row.quantity_steps) for row in rows] == [(second, 2), (first, 1)]


def test_no_more_comes_back_than_was_issued_for_it(part: Part, shelf: Location) -> None:
    received(part, shelf, 5, 500)
    take(part, shelf, 2, source_kind="sheet", source_number=412)
    take(part, shelf, 2, source_kind="sheet", source_number=413)
    back(part, shelf, 1)
    with pytest.raises(NotIssued, match="2 pieces of PK-2 Packing set cannot be put back: 1 piece"):
        back(part, shelf, 2)
    with pytest.raises(NotIssued, match="none issued"):
        back(part, shelf, 1, number=999)


def test_an_issue_partly_put_back_is_not_reversed_on_top(part: Part, shelf: Location) -> None:
    lot = received(part, shelf, 5, 500)
    [taken] = take(part, shelf, 2, source_kind="sheet", source_number=412)
    [returned] = back(part, shelf, 1)
    with pytest.raises(StockRefused, match="was put back since"):
        reverse(movement=taken, reason="Wrong sheet", **who_and_when())
    reverse(movement=returned, reason="Was used after all", **who_and_when())
    reverse(movement=taken, reason="Wrong sheet", **who_and_when())
    assert on_hand(lot, shelf) == 5
    assert prove() == []
