"""Counts, adjustments, scrap, and undoing by a row that names what it undoes."""

from datetime import date
from typing import Any

import pytest

from inventory.models import Balance, Location, Lot, Movement, Part
from inventory.services import (
    AlreadyReversed,
    CannotReverse,
    IssueLine,
    NotEnoughOnHand,
    NothingToMove,
    StockRefused,
    TransferLine,
    adjust,
    count,
    issue,
    prove,
    reverse,
    scrap,
    transfer,
)
from tests.inventory.factories import AT, BinFactory, PartFactory, received, who_and_when

pytestmark = pytest.mark.django_db


@pytest.fixture
def part() -> Part:
    return PartFactory(number="PK-2", usual_cost_cents=1_000)


@pytest.fixture
def shelf() -> Location:
    return BinFactory(code="K-03")


def fresh(lot: Lot) -> tuple[int, int]:
    lot.refresh_from_db()
    return lot.quantity_left_steps, lot.value_left_cents


def undo(movement: Movement, **more: Any) -> list[Movement]:
    return reverse(movement=movement, reason="Entered wrongly", **who_and_when(**more))


# --- adjust, scrap --------------------------------------------------------------------------------


def test_what_is_found_is_worth_as_much_as_the_rest_of_its_lot(part: Part, shelf: Location) -> None:
    lot = received(part, shelf, 4, 600)
    adjust(
        part=part, location=shelf, lot=lot, quantity_steps=2, reason="Fell behind", **who_and_when()
    )
    assert fresh(lot) == (6, 900)
    assert prove() == []


def test_found_without_a_lot_it_is_a_new_one_at_the_usual_cost(part: Part, shelf: Location) -> None:
    [row] = adjust(
        part=part, location=shelf, quantity_steps=2, reason="Found in a van", **who_and_when()
    )
    assert (row.lot.code, row.value_cents) == ("found", 2_000)


def test_found_of_a_lot_used_up_it_is_worth_the_usual_cost(part: Part, shelf: Location) -> None:
    lot = received(part, shelf, 1, 5)
    issue(lines=[IssueLine(part, shelf, 1)], **who_and_when())
    adjust(part=part, location=shelf, lot=lot, quantity_steps=1, reason="Lay by", **who_and_when())
    assert fresh(lot) == (1, 1_000)
    assert prove() == []


def test_what_is_missing_goes_first_expiry_first(part: Part, shelf: Location) -> None:
    received(part, shelf, 2, 200)
    expired = received(part, shelf, 2, 100, expires_on=date(2026, 1, 1))
    [row] = adjust(
        part=part, location=shelf, quantity_steps=-1, reason="Not there", **who_and_when()
    )
    assert (row.lot, row.value_cents) == (expired, -50)


def test_an_adjustment_by_nothing_or_below_zero_is_refused(part: Part, shelf: Location) -> None:
    received(part, shelf, 2)
    with pytest.raises(NothingToMove):
        adjust(part=part, location=shelf, quantity_steps=0, reason="", **who_and_when())
    with pytest.raises(NotEnoughOnHand):
        adjust(part=part, location=shelf, quantity_steps=-3, reason="", **who_and_when())


def test_scrap_takes_what_has_expired_first(part: Part, shelf: Location) -> None:
    received(part, shelf, 2)
    expired = received(part, shelf, 2, 300, expires_on=date(2026, 1, 1))
    [row] = scrap(
        part=part, location=shelf, quantity_steps=2, reason="Past its date", **who_and_when()
    )
    assert (row.kind, row.lot, row.value_cents) == ("scrap", expired, -300)
    with pytest.raises(NothingToMove):
        scrap(part=part, location=shelf, quantity_steps=-1, reason="", **who_and_when())


# --- count ----------------------------------------------------------------------------------------


def test_a_count_that_agrees_writes_nothing(part: Part, shelf: Location) -> None:
    received(part, shelf, 3)
    assert count(part=part, location=shelf, counted_steps=3, **who_and_when()) == []
    assert count(part=PartFactory(), location=shelf, counted_steps=0, **who_and_when()) == []


def test_a_count_sets_the_shelf_right(part: Part, shelf: Location) -> None:
    older, newer = received(part, shelf, 3, 300), received(part, shelf, 3, 600)
    [down] = count(part=part, location=shelf, counted_steps=5, **who_and_when())
    assert (down.lot, down.quantity_steps, down.value_cents) == (older, -1, -100)
    [up] = count(part=part, location=shelf, counted_steps=7, **who_and_when())
    assert (up.lot, up.quantity_steps, up.value_cents) == (newer, 2, 400)
    [zero, rest] = count(part=part, location=shelf, counted_steps=0, **who_and_when())
    assert (zero.quantity_steps, rest.quantity_steps) == (-2, -5)
    assert prove() == []


def test_one_lot_is_counted_by_itself(part: Part, shelf: Location) -> None:
    received(part, shelf, 3)
    lot = received(part, shelf, 3, 300)
    [row] = count(part=part, location=shelf, lot=lot, counted_steps=1, **who_and_when())
    assert (row.lot, row.quantity_steps) == (lot, -2)


def test_something_counted_where_nothing_was_known_is_a_new_lot(
    part: Part, shelf: Location
) -> None:
    [row] = count(part=part, location=shelf, counted_steps=4, **who_and_when())
    assert (row.lot.code, row.value_cents) == ("found", 4_000)


def test_a_count_below_zero_is_refused(part: Part, shelf: Location) -> None:
    with pytest.raises(StockRefused, match="below zero"):
        count(part=part, location=shelf, counted_steps=-1, **who_and_when())


# --- reverse --------------------------------------------------------------------------------------


def test_a_reversed_issue_is_as_if_it_had_not_been(part: Part, shelf: Location) -> None:
    lot = received(part, shelf, 3, 100)
    [taken] = issue(
        lines=[IssueLine(part, shelf, 2)], **who_and_when(source_kind="sheet", source_number=412)
    )
    [undone] = undo(taken)
    assert undone.reverses == taken
    assert (undone.quantity_steps, undone.value_cents) == (2, 67)
    assert (undone.source_kind, undone.source_number) == ("sheet", 412)
    assert fresh(lot) == (3, 100)
    assert sum(row.value_cents for row in Movement.objects.spent().of_source("sheet", 412)) == 0
    assert prove() == []


def test_a_reversed_receipt_takes_its_lot_back(part: Part, shelf: Location) -> None:
    lot = received(part, shelf, 3, 100)
    undo(Movement.objects.get(lot=lot))
    assert fresh(lot) == (0, 0)


def test_it_is_reversed_once(part: Part, shelf: Location) -> None:
    movement = Movement.objects.get(lot=received(part, shelf, 3, 100))
    undone = undo(movement)
    with pytest.raises(AlreadyReversed, match="reversed already"):
        undo(movement)
    with pytest.raises(CannotReverse, match="Enter it again"):
        undo(undone[0])


def test_sent_twice_a_reversal_counts_once(part: Part, shelf: Location) -> None:
    movement = Movement.objects.get(lot=received(part, shelf, 3, 100))
    told = who_and_when()
    first = reverse(movement=movement, reason="Wrong", **told)
    assert reverse(movement=movement, reason="Wrong", **told) == first


@pytest.mark.parametrize(
    ("quantity", "words"),
    [
        (2, "The 2 pieces of that receipt are no longer in K-03."),
        (1, "The 1 piece of that receipt is no longer in K-03."),
    ],
)
def test_what_is_no_longer_there_cannot_be_taken_back(
    quantity: int, words: str, part: Part, shelf: Location
) -> None:
    lot = received(part, shelf, quantity, 100)
    transfer(
        lines=[TransferLine(part, shelf, BinFactory(), 1)],
        **who_and_when(),
    )
    with pytest.raises(CannotReverse) as refused:
        undo(Movement.objects.get(lot=lot, kind="receipt"))
    assert str(refused.value) == words
    assert fresh(lot) == (quantity, 100)


def test_both_ends_of_a_transfer_are_reversed_and_no_other(part: Part, shelf: Location) -> None:
    lot, other_lot = received(part, shelf, 3, 100), received(PartFactory(), shelf, 3, 100)
    drawer = BinFactory(drawer=True)
    rows = transfer(
        lines=[
            TransferLine(part, shelf, drawer, 2),
            TransferLine(other_lot.part, shelf, drawer, 2),
        ],
        **who_and_when(),
    )
    undone = undo(rows[3])
    assert [row.reverses for row in undone] == rows[2:]
    assert Balance.objects.get(lot=other_lot, location=shelf).quantity_steps == 3
    undone = undo(rows[0])
    assert [row.reverses for row in undone] == rows[:2]
    assert Balance.objects.get(lot=lot, location=shelf).quantity_steps == 3
    assert prove() == []


def test_a_lot_is_not_left_worth_something_with_nothing_in_it(part: Part, shelf: Location) -> None:
    lot = received(part, shelf, 3, 100)
    issue(lines=[IssueLine(part, shelf, 1)], **who_and_when())  # 33, so 67 are left of 2
    adjust(part=part, location=shelf, lot=lot, quantity_steps=1, reason="Found", **who_and_when())
    assert fresh(lot) == (3, 101)  # 67 ÷ 2 rounded half up
    with pytest.raises(CannotReverse, match=r"The cost of lot L-1 .* changed since"):
        undo(Movement.objects.get(lot=lot, kind="receipt"))
    assert fresh(lot) == (3, 101)


def test_a_reversal_is_told_when_it_happened_and_by_whom(part: Part, shelf: Location) -> None:
    movement = Movement.objects.get(lot=received(part, shelf, 3, 100))
    [undone] = undo(movement)
    undone.refresh_from_db()
    assert (undone.at, undone.reason, undone.author.sign_in) == (
        AT,
        "Entered wrongly",
        "stockkeeper",
    )
