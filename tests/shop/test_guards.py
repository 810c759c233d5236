"""What somebody signed, did or read is only added to, even by a person at the database."""

from uuid import uuid4

import pytest
from django.db import DatabaseError, connection, transaction

from equipment.models import BroughtForward, Postponement, Reading, Renewal, SideAnswer
from inventory import guards
from shop.models import (
    Arrival,
    Correction,
    SecondLook,
    Settlement,
    SignedCopy,
    StepEntry,
    Unsettled,
)
from shop.services.clocking import start_time
from shop.services.handing_over import hand_over
from shop.services.isolating import keep_beginning
from shop.services.signing import sign_sheet
from shop.services.waiting import wait_for_parts
from shop.services.working import answer_step
from tests.shop.worlds import NOW, sheet_world

CHANGES = {
    "a renewal's day": "UPDATE equipment_renewal SET counts_from = '2020-01-01'",
    "a renewal": "DELETE FROM equipment_renewal",
    "a reading's value": "UPDATE equipment_reading SET value = 0",
    "a reading": "DELETE FROM equipment_reading",
    "a signed copy's text": "UPDATE shop_signedcopy SET sha256 = ''",
    "a signed copy": "DELETE FROM shop_signedcopy",
    "a second look": "UPDATE shop_secondlook SET text = 'never seen'",
    "who looked again": "DELETE FROM shop_secondlook",
    "what was corrected": "UPDATE shop_correction SET now = 'never said'",
    "a correction": "DELETE FROM shop_correction",
    "an isolation point's words": "UPDATE shop_isolationpoint SET isolate = 'never said'",
    "an isolation point": "DELETE FROM shop_isolationpoint",
    "an entry's value": "UPDATE shop_stepentry SET note = 'never said'",
    "a postponement's day": "UPDATE equipment_postponement SET until = '2030-01-01'",
    "a postponement": "DELETE FROM equipment_postponement",
    "a day wanted": "UPDATE equipment_broughtforward SET due_on = '2030-01-01'",
    "what was wanted": "DELETE FROM equipment_broughtforward",
    "what was said of two sides": "UPDATE equipment_sideanswer SET reason = 'never said'",
    "an answer about two sides": "DELETE FROM equipment_sideanswer",
    "when somebody began": "UPDATE shop_timeentry SET at = '2020-01-01 00:00:00+00'",
    "a time": "DELETE FROM shop_timeentry",
    "what was handed over with": "UPDATE shop_handover SET words = 'never said'",
    "a hand over": "DELETE FROM shop_handover",
    "what was waited for": "UPDATE shop_waitentry SET missing = 'never said'",
    "a wait": "DELETE FROM shop_waitentry",
    "how much was missing": "UPDATE shop_missingpart SET steps = 0",
    "a missing part": "DELETE FROM shop_missingpart",
    "when an entry came": "UPDATE shop_arrival SET at = '2020-01-01 00:00:00+00'",
    "an arrival": "DELETE FROM shop_arrival",
    "why an entry waits": "UPDATE shop_unsettled SET reason = 'never said'",
    "an entry that waits": "DELETE FROM shop_unsettled",
    "how it was settled": "UPDATE shop_settlement SET note = 'never said'",
    "a settlement": "DELETE FROM shop_settlement",
}

#: Tables of what a person said until it is taken off: that may be done once.
TAKEN_OFF = ("equipment_postponement", "equipment_broughtforward")
TAKE_OFF = "UPDATE {} SET taken_off_by_id = author_id, taken_off_at = at"
PUT_BACK = "UPDATE {} SET taken_off_by_id = NULL, taken_off_at = NULL"


@pytest.fixture
def _signed(shop, manager) -> None:
    """A sheet signed, with an entry and a renewal on it, and readings before it."""
    world = sheet_world(shop, manager)
    keep_beginning(rig=world.fleet.rig, author=manager, at=NOW)
    sheet = world.draft(world.rebuild)
    entered = {"author": manager, "at": NOW, "recorded_at": NOW}
    start_time(sheet=sheet, event_id=uuid4(), **entered)
    hand_over(sheet=sheet, words="side B is open", to=manager, event_id=uuid4(), **entered)
    wait_for_parts(sheet=sheet, missing="", parts=[world.seal], event_id=uuid4(), **entered)
    for step in sheet.steps.order_by("pk"):
        answer = {
            "caution": "done",
            "lockout": "done",
            "zero": "value",
            "check": "choice",
            "return": "done",
        }
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
    came = {
        "sheet": sheet,
        "phone": uuid4(),
        "kind": "take",
        "payload": {},
        "clock_error_seconds": 0,
        **entered,
    }
    Arrival.objects.create(event_id=uuid4(), **came)
    waits = Unsettled.objects.create(event_id=uuid4(), reason="it is signed", **came)
    Settlement.objects.create(
        unsettled=waits, how="set_aside", note="done by hand", author=manager, at=NOW
    )
    Correction.objects.create(
        sheet=sheet, about="labour", title="Work", was="90 min", now="30 min", value=30
    )
    SecondLook.objects.create(
        sheet=sheet, outcome="passed", author=manager, at=NOW, request_id=uuid4()
    )
    said = {"author": manager, "at": NOW, "reason": "waiting for the seal"}
    about = {"component": world.rebuild.component, "service": world.rebuild.version.service}
    Postponement.objects.create(until=NOW.date(), request_id=uuid4(), **about, **said)
    BroughtForward.objects.create(due_on=NOW.date(), request_id=uuid4(), **about, **said)
    SideAnswer.objects.create(
        rig=world.fleet.rig,
        what=SideAnswer.What.DISMISSED,
        compared="strokes",
        more="A",
        since=NOW.date(),
        size=1,
        request_id=uuid4(),
        **said,
    )


def _sql(text: str) -> int:
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(text)
        return cursor.rowcount


@pytest.mark.parametrize("change", CHANGES.values(), ids=CHANGES)
@pytest.mark.usefixtures("_signed")
def test_sql_cannot_change_it(change: str) -> None:
    assert Renewal.objects.exists()
    assert Reading.objects.exists()
    assert SignedCopy.objects.exists()
    assert StepEntry.objects.exists()
    with pytest.raises(DatabaseError, match="only added to"):
        _sql(change)


@pytest.mark.usefixtures("_signed")
def test_twin_without_the_guards_sql_changes_it() -> None:
    guards.lift_all(connection)
    try:
        for name, change in CHANGES.items():
            if change.startswith("UPDATE"):
                assert _sql(change), name
        assert set(Reading.objects.values_list("value", flat=True)) == {0}
        assert SignedCopy.objects.get().sha256 == ""
        for name in (
            "an answer about two sides",
            "who looked again",
            "a correction",
            "a postponement",
            "what was wanted",
            "a signed copy",
            "a time",
            "a hand over",
            "a missing part",
            "a wait",
        ):
            assert _sql(CHANGES[name]), name
    finally:
        guards.install_all(connection)


@pytest.mark.parametrize("table", TAKEN_OFF)
@pytest.mark.usefixtures("_signed")
def test_it_is_taken_off_once_and_stays_so(table: str) -> None:
    assert _sql(TAKE_OFF.format(table)) == 1
    for change in (TAKE_OFF, PUT_BACK):
        with pytest.raises(DatabaseError, match="only added to"):
            _sql(change.format(table))


@pytest.mark.parametrize("table", TAKEN_OFF)
@pytest.mark.usefixtures("_signed")
def test_twin_without_the_guards_it_is_taken_off_twice_and_put_back(table: str) -> None:
    guards.lift_all(connection)
    try:
        for change in (TAKE_OFF, TAKE_OFF, PUT_BACK):
            assert _sql(change.format(table)) == 1
    finally:
        guards.install_all(connection)


def test_the_check_tells_where_only_the_guard_against_a_second_time_is_missing(db: None) -> None:
    table = TAKEN_OFF[0]
    on_table = f" ON {table}" if connection.vendor == "postgresql" else ""
    _sql(f"DROP TRIGGER {table}_refuses_again{on_table}")
    assert guards.missing(connection) == [table]
    guards.install_all(connection)
    assert guards.missing(connection) == []


@pytest.mark.usefixtures("_signed")
def test_what_follows_from_a_reading_may_be_derived_anew() -> None:
    with connection.cursor() as cursor:
        cursor.execute("UPDATE equipment_reading SET total = total + 1, is_in_force = is_in_force")
