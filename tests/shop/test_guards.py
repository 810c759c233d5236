"""What somebody signed, did or read is only added to, even by a person at the database."""

from uuid import uuid4

import pytest
from django.db import DatabaseError, connection, transaction

from equipment.models import Reading, Renewal
from inventory import guards
from shop.models import SignedCopy, StepEntry
from shop.services.signing import sign_sheet
from shop.services.working import answer_step
from tests.shop.worlds import NOW, sheet_world

CHANGES = {
    "a renewal's day": "UPDATE equipment_renewal SET counts_from = '2020-01-01'",
    "a renewal": "DELETE FROM equipment_renewal",
    "a reading's value": "UPDATE equipment_reading SET value = 0",
    "a reading": "DELETE FROM equipment_reading",
    "a signed copy's text": "UPDATE shop_signedcopy SET sha256 = ''",
    "a signed copy": "DELETE FROM shop_signedcopy",
    "an entry's value": "UPDATE shop_stepentry SET note = 'never said'",
}


@pytest.fixture
def _signed(shop, manager) -> None:
    """A sheet signed, with an entry and a renewal on it, and readings before it."""
    world = sheet_world(shop, manager)
    sheet = world.draft(world.rebuild)
    entered = {"author": manager, "at": NOW, "recorded_at": NOW}
    for step in sheet.steps.order_by("pk"):
        answer = {"caution": "done", "lockout": "done", "zero": "value", "check": "choice"}
        answer_step(
            step=step,
            event_id=uuid4(),
            answer=answer[step.section],
            value=0,
            choice="good",
            **entered,
        )
    sign_sheet(
        sheet=sheet,
        author=manager,
        at=NOW,
        signature="A. Manager",
        labour_minutes=30,
        leave_undone=False,
        signing_id=uuid4(),
    )


@pytest.mark.parametrize("change", CHANGES.values(), ids=CHANGES)
@pytest.mark.usefixtures("_signed")
def test_sql_cannot_change_it(change: str) -> None:
    assert Renewal.objects.exists()
    assert Reading.objects.exists()
    assert SignedCopy.objects.exists()
    assert StepEntry.objects.exists()
    with (
        pytest.raises(DatabaseError, match="only added to"),
        transaction.atomic(),
        connection.cursor() as cursor,
    ):
        cursor.execute(change)


@pytest.mark.usefixtures("_signed")
def test_twin_without_the_guards_sql_changes_it() -> None:
    guards.lift_all(connection)
    try:
        with connection.cursor() as cursor:
            cursor.execute(CHANGES["a reading's value"])
            cursor.execute(CHANGES["a signed copy's text"])
        assert set(Reading.objects.values_list("value", flat=True)) == {0}
        assert SignedCopy.objects.get().sha256 == ""
    finally:
        guards.install_all(connection)


@pytest.mark.usefixtures("_signed")
def test_what_follows_from_a_reading_may_be_derived_anew() -> None:
    with connection.cursor() as cursor:
        cursor.execute("UPDATE equipment_reading SET total = total + 1, is_in_force = is_in_force")
