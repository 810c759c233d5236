"""An invoice that comes late: its difference stays with what is left and follows what went."""

from typing import Any

import pytest

from inventory.models import Location, Lot, Movement, Part
from inventory.services import (
    AlreadyReversed,
    CannotReverse,
    CostStands,
    IssueLine,
    TransferLine,
    break_kit,
    correct_cost,
    invoiced_cents,
    issue,
    make_kit,
    prove,
    put_back,
    reverse,
    scrap,
    transfer,
)
from tests.inventory.factories import BinFactory, PartFactory, kit_of, received, who_and_when

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


def receipt_of(lot: Lot) -> Movement:
    return lot.movements.get(kind="receipt")


def invoice(lot: Lot, cents: int, **more: Any) -> list[Movement]:
    told = who_and_when(**more)
    rows = correct_cost(movement=receipt_of(lot), value_cents=cents, reason="Invoice 88", **told)
    assert prove() == []
    return rows


def used(part: Part, shelf: Location, steps: int, sheet: int) -> Movement:
    [row] = issue(
        lines=[IssueLine(part, shelf, steps)],
        **who_and_when(source_kind="sheet", source_number=sheet),
    )
    return row


def spent(sheet: int) -> int:
    rows = Movement.objects.spent().of_source("sheet", sheet)
    return -sum(rows.values_list("value_cents", flat=True))


def test_what_is_left_bears_all_of_it_where_nothing_went(part: Part, shelf: Location) -> None:
    lot = received(part, shelf, 4, 400)
    [row] = invoice(lot, 500)
    assert (row.kind, row.quantity_steps, row.value_cents) == ("cost", 0, 100)
    assert (row.about, row.source_kind, row.reason) == (receipt_of(lot), "receipt", "Invoice 88")
    assert fresh(lot) == (4, 500)
    assert invoiced_cents(receipt_of(lot)) == 500


def test_the_share_of_what_was_used_is_charged_to_the_sheet_that_used_it(
    part: Part, shelf: Location
) -> None:
    lot = received(part, shelf, 4, 400)
    taken = used(part, shelf, 1, sheet=412)
    whole, share = invoice(lot, 800)
    assert (whole.value_cents, share.value_cents) == (400, -100)
    assert (share.about, share.source_kind, share.source_number) == (taken, "sheet", 412)
    assert fresh(lot) == (3, 600)
    assert spent(412) == 200


def test_thirds_that_do_not_divide_lose_no_cent(part: Part, shelf: Location) -> None:
    """A dollar more over three pieces: 34, 33, 33, by largest remainder. (No source.)"""
    lot = received(part, shelf, 3, 300)
    for sheet in (1, 2):
        used(part, shelf, 1, sheet)
    rows = invoice(lot, 400)
    assert [row.value_cents for row in rows] == [100, -33, -33]
    assert fresh(lot) == (1, 134)
    assert (spent(1), spent(2)) == (133, 133)
    used(part, shelf, 1, 3)
    assert fresh(lot) == (0, 0)
    assert spent(1) + spent(2) + spent(3) == 400


def test_a_lot_used_up_is_charged_whole_and_stays_worth_nothing(
    part: Part, shelf: Location
) -> None:
    lot = received(part, shelf, 3, 300)
    used(part, shelf, 3, 7)
    invoice(lot, 1_000)
    assert fresh(lot) == (0, 0)
    assert spent(7) == 1_000
    invoice(lot, 0)
    assert (fresh(lot), spent(7)) == ((0, 0), 0)


def test_what_was_put_back_or_undone_bears_its_share_on_the_shelf(
    part: Part, shelf: Location
) -> None:
    lot = received(part, shelf, 10, 1_000)
    used(part, shelf, 4, 7)
    back = {"source_kind": "sheet", "source_number": 7, "part": part, "location": shelf}
    put_back(quantity_steps=3, **back, **who_and_when())
    undone = used(part, shelf, 2, 8)
    reverse(movement=undone, reason="Not used", **who_and_when())
    rows = invoice(lot, 2_000)
    assert [row.value_cents for row in rows] == [1_000, -100]
    assert (spent(7), spent(8)) == (200, 0)
    assert fresh(lot) == (9, 1_800)


def test_what_is_put_back_later_comes_back_at_what_it_cost_after_all(
    part: Part, shelf: Location
) -> None:
    lot = received(part, shelf, 4, 400)
    used(part, shelf, 2, 7)
    invoice(lot, 800)
    back = {"source_kind": "sheet", "source_number": 7, "part": part, "location": shelf}
    [row] = put_back(quantity_steps=2, **back, **who_and_when())
    assert row.value_cents == 400
    assert (fresh(lot), spent(7)) == ((4, 800), 0)
    assert prove() == []


def test_an_issue_undone_later_gives_its_share_back_too(part: Part, shelf: Location) -> None:
    lot = received(part, shelf, 4, 400)
    taken = used(part, shelf, 1, 7)
    _, share = invoice(lot, 800)
    undone = reverse(movement=taken, reason="Wrong part", **who_and_when())
    assert {row.reverses_id for row in undone} == {taken.pk, share.pk}
    assert (fresh(lot), spent(7)) == ((4, 800), 0)
    assert prove() == []


def test_scrap_bears_its_share_and_it_is_no_spend_of_a_sheet(part: Part, shelf: Location) -> None:
    lot = received(part, shelf, 4, 400)
    [gone] = scrap(part=part, location=shelf, quantity_steps=1, reason="Cut", **who_and_when())
    transfer(lines=[TransferLine(part, shelf, BinFactory(), 1)], **who_and_when())
    _, share = invoice(lot, 800)
    assert (share.about, share.value_cents) == (gone, -100)
    assert not Movement.objects.spent().exists()
    assert fresh(lot) == (3, 600)


def test_a_second_invoice_counts_from_the_first(part: Part, shelf: Location) -> None:
    lot = received(part, shelf, 2, 200)
    used(part, shelf, 1, 7)
    invoice(lot, 400)
    invoice(lot, 300)
    assert (fresh(lot), spent(7), invoiced_cents(receipt_of(lot))) == ((1, 150), 150, 300)


def test_it_follows_a_kit_that_was_opened_and_one_that_was_made(shelf: Location) -> None:
    kit, [seal, spring] = kit_of(seal=2, spring=1)
    lot = received(kit, shelf, 2, 2_000)
    break_kit(kit=kit, location=shelf, to_location=shelf, quantity=1, **who_and_when())
    used(seal, shelf, 1, 7)
    received(seal, shelf, 1, 333, lot_code="other")
    make_kit(kit=kit, location=shelf, quantity=1, **who_and_when())
    made = Lot.objects.latest("pk")
    before = fresh(made)[1]
    [other] = issue(lines=[IssueLine(kit, shelf, 1, made)], **who_and_when())
    invoice(lot, 4_000)
    assert fresh(lot) == (1, 2_000)
    # 1,000 more in the opened kit: 667 for its two seals, 333 for its spring. The half cent of the
    # seals lies with the one that went first, in the issue and again in the change.
    assert spent(7) == 334 + 334
    assert fresh(made) == (0, 0)
    changed = Movement.objects.filter(about=other)
    assert [-row.value_cents for row in changed] == [333 + 333]
    assert before == 333 + 333 + 333
    assert spring.lots.get().value_left_cents == 0


def test_a_receipt_whose_cost_changed_is_undone_with_its_change(
    part: Part, shelf: Location
) -> None:
    lot = received(part, shelf, 2, 200)
    invoice(lot, 301)
    reverse(movement=receipt_of(lot), reason="Not ours", **who_and_when())
    assert fresh(lot) == (0, 0)
    assert prove() == []
    with pytest.raises(CostStands, match="was reversed"):
        invoice(lot, 400)


def test_a_change_is_taken_back_whole_until_the_lot_moves(part: Part, shelf: Location) -> None:
    lot = received(part, shelf, 3, 300)
    used(part, shelf, 1, 7)
    whole, share = invoice(lot, 400)
    undone = reverse(movement=share, reason="Wrong invoice", **who_and_when())
    assert {row.reverses_id for row in undone} == {whole.pk, share.pk}
    assert (fresh(lot), spent(7)) == ((2, 200), 100)
    assert prove() == []
    with pytest.raises(AlreadyReversed):
        reverse(movement=whole, reason="Again", **who_and_when())
    whole, _ = invoice(lot, 500)
    used(part, shelf, 1, 8)
    with pytest.raises(CannotReverse, match="moved since"):
        reverse(movement=whole, reason="Wrong invoice", **who_and_when())


def test_sent_twice_it_counts_once(part: Part, shelf: Location) -> None:
    lot = received(part, shelf, 2, 200)
    told = who_and_when()
    first = invoice(lot, 301, **told)
    assert invoice(lot, 301, **told) == first
    assert fresh(lot) == (2, 301)


def test_what_is_no_invoice_is_refused(part: Part, shelf: Location) -> None:
    lot = received(part, shelf, 2, 200)
    with pytest.raises(CostStands, match="below zero"):
        invoice(lot, -1)
    with pytest.raises(CostStands, match="that much already"):
        invoice(lot, 200)
    taken = used(part, shelf, 1, 7)
    with pytest.raises(CostStands, match="Only a receipt"):
        correct_cost(movement=taken, value_cents=5, reason="", **who_and_when())
    assert not Movement.objects.filter(kind="cost").exists()
