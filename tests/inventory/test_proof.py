"""`manage.py prove_ledger` finds what was changed behind the ledger's back."""

from typing import Any

import pytest
from django.core.management import CommandError, call_command
from django.db import connection

from inventory import guards
from inventory.models import Lot, Movement
from inventory.services import (
    IssueLine,
    TransferLine,
    break_kit,
    issue,
    prove,
    reverse,
    summary,
    transfer,
)
from tests.inventory.factories import BinFactory, PartFactory, kit_of, received, who_and_when

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


def test_the_proof_costs_the_same_however_long_the_ledger(
    lot: Lot, django_assert_num_queries: Any
) -> None:
    for _ in range(2):
        # savepoint; ledger and balances; ledger and lots; parts of lots; reversals; release
        with django_assert_num_queries(8):
            assert prove() == []
        for _ in range(10):
            received(PartFactory(), BinFactory(), 1)
