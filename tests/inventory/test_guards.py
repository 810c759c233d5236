"""The ledger is guarded in the database itself, past all code of ours."""

from collections.abc import Iterator
from uuid import uuid4

import pytest
from django.core.checks import Tags, run_checks
from django.core.management import call_command
from django.db import IntegrityError, connection, transaction

from inventory import guards
from inventory.models import Movement, ReceiptLine
from tests.inventory import broken_rows
from tests.inventory.factories import BinFactory, PartFactory, received

pytestmark = pytest.mark.django_db

LEDGER = "inventory_movement"
CHANGES = {
    "update": f"UPDATE {LEDGER} SET value_cents = 0, reason = 'tidied up' WHERE id = %s",
    "delete": f"DELETE FROM {LEDGER} WHERE id = %s",
}
#: What came by which packing slip, and who let a lot be used longer.
OTHERS = {
    "a receipt": "UPDATE inventory_receipt SET packing_slip = 'another'",
    "no receipt": "DELETE FROM inventory_receipt",
    "a receipt's goods": "UPDATE inventory_receiptline SET goods_cents = 1",
    "no line of it": "DELETE FROM inventory_receiptline",
    "an extension": "UPDATE inventory_lotextension SET until = '2099-01-01'",
    "no extension": "DELETE FROM inventory_lotextension",
}


@pytest.fixture
def movement() -> Movement:
    return Movement.objects.get(lot=received(PartFactory(), BinFactory(), 5, 500))


@pytest.fixture
def lifted(db: None) -> Iterator[None]:
    guards.lift_all(connection)
    yield
    guards.install_all(connection)


def run(change: str, movement: Movement) -> int:
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(CHANGES[change], [movement.pk])
        return cursor.rowcount


@pytest.mark.parametrize("change", CHANGES)
def test_sql_cannot_change_the_ledger(change: str, movement: Movement) -> None:
    with pytest.raises(IntegrityError, match="only added to: reverse the entry"):
        run(change, movement)
    assert Movement.objects.get(pk=movement.pk).value_cents == 500


@pytest.mark.parametrize("change", CHANGES)
def test_twin_without_the_guard_sql_changes_it(
    change: str, movement: Movement, lifted: None
) -> None:
    assert run(change, movement) == 1


@pytest.fixture
def kept(movement: Movement) -> None:
    receipt = broken_rows.a_receipt()
    receipt.save()
    ReceiptLine(receipt=receipt, lot=movement.lot, goods_cents=500).save()
    broken_rows.an_extension(lot=movement.lot).save()


def told(change: str) -> int:
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(change)
        return cursor.rowcount


@pytest.mark.parametrize("change", OTHERS.values(), ids=OTHERS)
def test_sql_cannot_change_what_came_and_what_was_extended(change: str, kept: None) -> None:
    with pytest.raises(IntegrityError, match="only added to: reverse the entry"):
        told(change)


@pytest.mark.parametrize("change", OTHERS.values(), ids=OTHERS)
def test_twin_without_the_guard_sql_changes_those(change: str, kept: None, lifted: None) -> None:
    if change == OTHERS["no receipt"]:
        told(OTHERS["no line of it"])  # which a key of the database holds as well
    assert told(change) == 1


def test_the_check_tells_of_a_missing_guard(lifted: None) -> None:
    errors = run_checks(tags=[Tags.database], databases=["default"])
    assert {error.id for error in errors} == {"inventory.E001"}
    assert len(errors) == len(guards.APPEND_ONLY)
    assert any(LEDGER in error.msg for error in errors)
    assert all("migrate" in str(error.hint) for error in errors)


def test_the_check_is_content_while_the_guards_stand() -> None:
    assert run_checks(tags=[Tags.database], databases=["default"]) == []


@pytest.mark.parametrize("event", ["update", "delete"])
def test_one_guard_missing_is_noticed(event: str) -> None:
    on_table = f" ON {LEDGER}" if connection.vendor == "postgresql" else ""
    with connection.cursor() as cursor:
        cursor.execute(f"DROP TRIGGER {LEDGER}_refuses_{event}{on_table}")
    assert guards.missing(connection) == [LEDGER]
    guards.install_all(connection)
    assert guards.missing(connection) == []


@pytest.mark.postgresql
def test_a_guard_switched_off_is_noticed() -> None:
    with connection.cursor() as cursor:
        cursor.execute(f"ALTER TABLE {LEDGER} DISABLE TRIGGER {LEDGER}_refuses_delete")
    assert guards.missing(connection) == [LEDGER]


def test_migrate_puts_the_guards_up_again(lifted: None, movement: Movement) -> None:
    call_command("migrate", "inventory", verbosity=0)
    assert guards.missing(connection) == []
    with pytest.raises(IntegrityError):
        run("delete", movement)


def test_putting_them_up_twice_changes_nothing(movement: Movement) -> None:
    guards.install_all(connection)
    guards.install_all(connection)
    with pytest.raises(IntegrityError):
        run("delete", movement)


def test_a_table_may_leave_some_columns_open(movement: Movement) -> None:
    table = "inventory_lot"
    guards.install(connection, table, allow_columns=["code"])
    try:
        with connection.cursor() as cursor:
            cursor.execute(f"UPDATE {table} SET code = 'renamed'")
            assert cursor.rowcount == 1
        with pytest.raises(IntegrityError), transaction.atomic(), connection.cursor() as cursor:
            cursor.execute(f"UPDATE {table} SET code = 'again', value_left_cents = 0")
    finally:
        guards.lift(connection, table)


def test_the_next_entry_is_still_welcome() -> None:
    part, shelf = PartFactory(), BinFactory()
    for _ in range(2):
        received(part, shelf, 1, request_id=uuid4())
    assert Movement.objects.filter(part=part).count() == 2


@pytest.mark.django_db(transaction=True)
def test_the_flush_of_a_transactional_test_gets_past_the_guards(movement: Movement) -> None:
    """What follows this test would fail if the flush did; here the guards must stand again."""
    assert guards.missing(connection) == []
    guards.lift_all(connection)
    call_command("flush", interactive=False, verbosity=0)
    assert not Movement.objects.exists()
    assert guards.missing(connection) == []
