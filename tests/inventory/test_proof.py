"""`manage.py prove_ledger` finds what was changed behind the ledger's back."""

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any
from uuid import uuid4

import pytest
from django.core.management import CommandError, call_command
from django.db import connection, transaction

from inventory import guards
from inventory.models import Count, Lot, Movement, ReceiptLine
from inventory.services import (
    IssueLine,
    TransferLine,
    break_kit,
    correct_cost,
    issue,
    prove,
    put_back,
    reverse,
    summary,
    transfer,
)
from inventory.services.counting import (
    approve_count,
    enter_counted,
    finish_count,
    not_entered,
    start_count,
)
from tests.inventory.broken_rows import a_receipt, saved
from tests.inventory.factories import (
    AT,
    BinFactory,
    PartFactory,
    PersonFactory,
    kit_of,
    received,
    who_and_when,
)

pytestmark = pytest.mark.django_db


@pytest.fixture
def lot() -> Lot:
    """A little history: received, carried, issued, undone; and a kit broken."""
    part, shelf, drawer = PartFactory(number="PK-2"), BinFactory(code="K-03"), BinFactory()
    lot = received(part, shelf, 7, 1_000, lot_code="2287")
    transfer(lines=[TransferLine(part, shelf, drawer, 3)], **who_and_when())
    [taken] = issue(lines=[IssueLine(part, drawer, 2)], **who_and_when())
    reverse(movement=taken, reason="Wrong drawer", **who_and_when())
    kit, _ = kit_of(seal=2, spring=1)
    received(kit, shelf, 1, 841_150)
    break_kit(kit=kit, location=shelf, to_location=shelf, quantity=1, **who_and_when())
    return lot


def sql(statement: str, *values: Any) -> None:
    with connection.cursor() as cursor:
        cursor.execute(statement, values)
        assert cursor.rowcount == 1


def forge(setting: str, movement: Movement) -> None:
    """Change a line with the guards taken down, as nobody does by accident."""
    guards.lift_all(connection)
    sql(f"UPDATE inventory_movement SET {setting} WHERE id = %s", movement.pk)
    guards.install_all(connection)


@contextmanager
def unchecked(table: str, constraint: str) -> Iterator[None]:
    """Without a check that the database makes; PostgreSQL puts it back with the test's rollback."""
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            cursor.execute("SET CONSTRAINTS ALL IMMEDIATE")
            cursor.execute(f"ALTER TABLE {table} DROP CONSTRAINT {constraint}")
            yield
        else:
            cursor.execute("PRAGMA ignore_check_constraints = ON")
            yield
            cursor.execute("PRAGMA ignore_check_constraints = OFF")


def test_a_ledger_that_adds_up_is_summed_up(lot: Lot, capsys: pytest.CaptureFixture[str]) -> None:
    call_command("prove_ledger")
    said = capsys.readouterr().out
    # 1 receipt, 2 of the transfer, 1 issue, 1 reversal, 1 receipt, 3 of the broken kit
    assert said == "The ledger adds up: 9 movements, 4 parts, 8,421.50 on hand.\n"
    assert summary().value_cents == 842_150


def test_an_empty_ledger_adds_up(capsys: pytest.CaptureFixture[str]) -> None:
    call_command("prove_ledger")
    assert capsys.readouterr().out == "The ledger adds up: 0 movements, 0 parts, 0.00 on hand.\n"


@pytest.mark.parametrize(
    ("statement", "what"),
    [
        (
            "UPDATE inventory_balance SET quantity_steps = quantity_steps + 1 "
            "WHERE lot_id = %s AND quantity_steps = 4",
            "PK-2: quantity of lot 2287 in K-03: ledger 4, kept 5",
        ),
        (
            "DELETE FROM inventory_balance WHERE lot_id = %s AND quantity_steps = 4",
            "PK-2: quantity of lot 2287 in K-03: ledger 4, kept 0",
        ),
        (
            "UPDATE inventory_lot SET quantity_received_steps = 8 WHERE id = %s",
            "PK-2: quantity received of lot 2287: ledger 7, kept 8",
        ),
        (
            "UPDATE inventory_lot SET value_received_cents = 999 WHERE id = %s",
            "PK-2: value received of lot 2287: ledger 1,000, kept 999",
        ),
        (
            "UPDATE inventory_lot SET quantity_left_steps = 6 WHERE id = %s",
            "PK-2: quantity left of lot 2287: ledger 7, kept 6",
        ),
        (
            "UPDATE inventory_lot SET value_left_cents = value_left_cents - 1 WHERE id = %s",
            "PK-2: value left of lot 2287: ledger 1,000, kept 999",
        ),
    ],
)
def test_a_figure_changed_behind_its_back_is_named(
    statement: str, what: str, lot: Lot, capsys: pytest.CaptureFixture[str]
) -> None:
    sql(statement, lot.pk)
    with pytest.raises(CommandError, match="does not add up for PK-2") as ended:
        call_command("prove_ledger")
    assert ended.value.returncode == 1
    assert capsys.readouterr().err == what + "\n"


def test_a_line_forged_past_the_guards_is_named(lot: Lot) -> None:
    reversal = Movement.objects.get(kind="reversal")
    guards.lift_all(connection)
    sql("UPDATE inventory_movement SET value_cents = 0 WHERE id = %s", reversal.pk)
    guards.install_all(connection)
    assert [each.what for each in prove()] == [
        "value left of lot 2287",
        f"reversal {reversal.pk} and what it reverses",
    ]


def test_a_line_of_another_parts_lot_is_named(lot: Lot) -> None:
    issued = Movement.objects.get(kind="issue")
    guards.lift_all(connection)
    sql(
        "UPDATE inventory_movement SET part_id = %s WHERE id = %s",
        PartFactory(number="XX-9").pk,
        issued.pk,
    )
    guards.install_all(connection)
    found = {(each.part_number, each.what) for each in prove()}
    assert ("XX-9", f"part of movement {issued.pk} and of its lot") in found


def test_balances_that_add_up_to_less_than_their_lot_are_named(lot: Lot) -> None:
    """A step gone from a balance and its line shows at the lot, whose balances are its rest."""
    sql(
        "UPDATE inventory_balance SET quantity_steps = quantity_steps - 1 "
        "WHERE lot_id = %s AND quantity_steps = 4",
        lot.pk,
    )
    in_drawer = Movement.objects.get(lot=lot, kind="transfer", quantity_steps=-3)
    forge("quantity_steps = -4", in_drawer)
    assert {each.what for each in prove()} == {
        "quantity left of lot 2287",
        f"quantity that movement {in_drawer.pk} and those with it carried",
    }


def test_a_lot_used_up_that_is_worth_something_is_named(lot: Lot) -> None:
    """The ledger may agree to the cent: what is not there is worth nothing all the same."""
    place = Movement.objects.get(lot=lot, kind="receipt").location
    issue(lines=[IssueLine(lot.part, place, 4)], **who_and_when())
    drawer = Movement.objects.get(kind="reversal").location
    [last] = issue(lines=[IssueLine(lot.part, drawer, 3)], **who_and_when())
    assert prove() == []
    forge("value_cents = value_cents + 1", last)
    with unchecked("inventory_lot", "lot_used_up_is_worth_nothing"):
        sql("UPDATE inventory_lot SET value_left_cents = 1 WHERE id = %s", lot.pk)
    assert [(each.part_number, each.what, each.kept) for each in prove()] == [
        ("PK-2", "value of lot 2287, used up", 1)
    ]


def test_a_lot_worth_less_than_nothing_is_named(lot: Lot) -> None:
    forge("value_cents = value_cents - 2000", Movement.objects.get(lot=lot, kind="receipt"))
    with unchecked("inventory_lot", "lot_value_never_negative"):
        sql("UPDATE inventory_lot SET value_left_cents = -1000 WHERE id = %s", lot.pk)
    assert [(each.what, each.ledger, each.kept) for each in prove()] == [
        ("value received of lot 2287", -1_000, 1_000),
        ("value of lot 2287, below zero", 0, -1_000),
    ]


def test_what_lies_in_a_place_below_zero_is_named(lot: Lot) -> None:
    """Four steps too many taken from the shelf, in the ledger, the balance and the lot alike."""
    shelf = Movement.objects.get(lot=lot, kind="receipt").location
    [taken] = issue(lines=[IssueLine(lot.part, shelf, 1)], **who_and_when())
    forge("quantity_steps = quantity_steps - 4", taken)
    with unchecked("inventory_balance", "balance_never_negative"):
        sql(
            "UPDATE inventory_balance SET quantity_steps = -1 "
            "WHERE lot_id = %s AND location_id = %s",
            lot.pk,
            shelf.pk,
        )
    sql("UPDATE inventory_lot SET quantity_left_steps = 2 WHERE id = %s", lot.pk)
    assert [(each.what, each.ledger) for each in prove()] == [
        ("quantity of lot 2287 in K-03, below zero", -1),
        (f"quantity of lot 2287 in K-03 after movement {taken.pk}", -1),
    ]


def test_a_line_that_took_what_came_later_is_named() -> None:
    """At the end it adds up; on the day it could not have happened."""
    part, place = PartFactory(), BinFactory(code="K-09")
    lot = received(part, place, 5, 500)
    told = {"source_kind": "sheet", "source_number": 7}
    [taken] = issue(lines=[IssueLine(part, place, 3)], **told, **who_and_when())
    [back] = put_back(part=part, location=place, quantity_steps=3, **told, **who_and_when())
    assert prove() == []
    forge("quantity_steps = -6", taken)
    forge("quantity_steps = 6", back)
    assert [(each.what, each.ledger) for each in prove()] == [
        (f"quantity of lot {lot.code} in K-09 after movement {taken.pk}", -1)
    ]


def test_a_reversal_in_another_place_is_named(lot: Lot) -> None:
    reversal = Movement.objects.get(kind="reversal")
    forge(f"location_id = {BinFactory(code='K-04').pk}", reversal)
    assert f"reversal {reversal.pk} and what it reverses" in {each.what for each in prove()}


def test_a_cent_lost_between_a_kit_and_its_parts_is_named(lot: Lot) -> None:
    """The part's lot says the same as its line, so only the whole shows it."""
    first, _, laid = Movement.objects.filter(kind="break").order_by("pk")
    forge("value_cents = value_cents - 1", laid)
    sql(
        "UPDATE inventory_lot SET value_left_cents = value_left_cents - 1, "
        "value_received_cents = value_received_cents - 1 WHERE id = %s",
        laid.lot_id,
    )
    assert [(each.what, each.ledger, each.kept) for each in prove()] == [
        (f"value that movement {first.pk} and those with it carried", 0, -1)
    ]


def test_lines_whose_lot_is_gone_are_named(lot: Lot) -> None:
    """A join would leave them out, and with them the balance: all would seem to add up."""
    with transaction.atomic():
        sql("DELETE FROM inventory_lot WHERE id = %s", lot.pk)
        found = {(each.part_number, each.what) for each in prove()}
        transaction.set_rollback(True)
    assert ("PK-2", f"quantity left of lot {lot.pk}, which is gone") in found


def test_a_lot_that_no_line_brought_is_named(lot: Lot) -> None:
    Lot.objects.create(
        part=lot.part,
        code="2290",
        received_at=AT,
        quantity_received_steps=3,
        value_received_cents=0,
        quantity_left_steps=0,
        value_left_cents=0,
    )
    assert [each.what for each in prove()] == ["quantity received of lot 2290"]


def test_the_proof_costs_the_same_however_long_the_ledger(
    lot: Lot, django_assert_num_queries: Any
) -> None:
    for _ in range(2):
        # savepoint; parts, places and lots; ledger and balances; ledger by lot and first lines;
        # parts of lots; reversals; costs; counts and what they posted; deliveries and what they
        # brought; transfers and kits; history; release
        with django_assert_num_queries(19):
            assert prove() == []
        for _ in range(10):
            received(PartFactory(), BinFactory(), 1)


def test_a_change_of_cost_in_another_lot_is_named(lot: Lot) -> None:
    """Both lots say what their lines add up to: only the line that it is about shows it."""
    receipt = Movement.objects.get(lot=lot, kind="receipt")
    other = received(lot.part, receipt.location, 2, 100, lot_code="2288")
    [change] = correct_cost(movement=receipt, value_cents=1_030, **who_and_when(reason="invoice"))
    assert prove() == []
    forge(f"lot_id = {other.pk}", change)
    for each, cents in ((lot, -30), (other, 30)):
        sql(
            "UPDATE inventory_lot SET value_left_cents = value_left_cents + %s WHERE id = %s",
            cents,
            each.pk,
        )
    assert [(each.part_number, each.what, each.ledger, each.kept) for each in prove()] == [
        (
            "PK-2",
            f"lot of cost change {change.pk} and of the movement it is about",
            other.pk,
            lot.pk,
        )
    ]


@pytest.fixture
def counted(lot: Lot) -> Count:
    """Four on the shelf by the books, three were seen, and a manager approved it."""
    shelf, who = Movement.objects.get(lot=lot, kind="receipt").location, PersonFactory()
    count = start_count(location=shelf, kind="cycle", **who_and_when())
    told = {"count": count, "author": who, "at": AT}
    enter_counted(part=lot.part, counted_steps=3, event_id=uuid4(), **told)
    finish_count(none_of=not_entered(count), **told)
    approve_count(**told)
    return count


def test_a_count_whose_line_was_changed_is_named(counted: Count) -> None:
    assert prove() == []
    sql("UPDATE inventory_countline SET counted_steps = 4 WHERE counted_steps = 3")
    found = [(each.part_number, each.what, each.ledger, each.kept) for each in prove()]
    assert found == [("PK-2", f"difference that count {counted.number} posted", -1, 0)]
    sql("UPDATE inventory_countline SET counted_steps = 1 WHERE counted_steps = 4")
    assert [(each.ledger, each.kept) for each in prove()] == [(-1, -3)]


def test_a_count_that_posted_and_is_not_approved_is_named(counted: Count) -> None:
    sql("UPDATE inventory_count SET state = 'dropped' WHERE id = %s", counted.pk)
    assert {(each.what, each.kept) for each in prove()} == {
        (f"difference that count {counted.number} posted", 0)
    }


def test_a_count_taken_back_in_the_ledger_is_no_contradiction(counted: Count) -> None:
    for posted in Movement.objects.filter(kind="count", source_number=counted.number):
        reverse(movement=posted, reason="Found again", **who_and_when())
    assert prove() == []


def test_a_delivery_that_is_not_what_its_lots_brought_is_named(lot: Lot) -> None:
    other = received(lot.part, BinFactory(), 2, 100, lot_code="2288")
    request_id = Movement.objects.get(lot=other).request_id
    receipt = saved(a_receipt(packing_slip="S-77", freight_cents=30, request_id=request_id))
    line = ReceiptLine.objects.create(receipt=receipt, lot=other, goods_cents=70)
    assert prove() == []
    guards.lift_all(connection)
    sql("UPDATE inventory_receipt SET freight_cents = 29 WHERE id = %s", receipt.pk)
    assert [(each.part_number, each.what, each.ledger, each.kept) for each in prove()] == [
        ("PK-2", "goods and freight of packing slip S-77", 100, 99)
    ]
    sql("UPDATE inventory_receipt SET freight_cents = 30 WHERE id = %s", receipt.pk)
    sql("UPDATE inventory_receiptline SET lot_id = %s WHERE id = %s", lot.pk, line.pk)
    guards.install_all(connection)
    assert [each.what for each in prove()] == ["number of lots that packing slip S-77 brought"]
