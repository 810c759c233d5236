"""What waits is posted after all, as it was or put right, or set aside; once, and kept."""

from datetime import timedelta
from decimal import Decimal
from typing import Any
from uuid import uuid4

import pytest
from django.db import IntegrityError, transaction

from equipment.models import Finding, Reading
from inventory.models import Movement
from inventory.services import prove
from shop.models import Person, ServiceSheet, Settlement, StepEntry, Unsettled
from shop.services import spend
from shop.services.arriving import (
    AlreadySettled,
    NotTaken,
    may_post,
    not_issued,
    part_meant,
    post,
    post_all,
    set_aside,
    snapshot,
)
from shop.services.refusals import BadAnswer, ElectricianNeeded, SheetClosed, SheetRefused
from shop.services.working import pick_answer
from tests.inventory.factories import received
from tests.races import all_meet_in, at_once, refused, without_row_locks
from tests.shop.phones import Phone
from tests.shop.services.conftest import Hands, rows_of_every_table
from tests.shop.worlds import NOW, SheetWorld

pytestmark = pytest.mark.django_db

LATER = NOW + timedelta(hours=5)
SETTLED_AT = NOW + timedelta(days=1)


@pytest.fixture
def opened(hands: Hands) -> Phone:
    hands.open_the_checks()
    return Phone(hands.who, hands.sheet)


def wait(phone: Phone, *entries: dict[str, Any]) -> list[Unsettled]:
    """Entries that wait when they come."""
    outcomes = phone.send(*entries, now=LATER)
    assert {each.state for each in outcomes} == {"waiting"}
    ids = [each["event_id"] for each in entries]
    rows = Unsettled.objects.filter(event_id__in=ids)
    return sorted(rows, key=lambda row: ids.index(str(row.event_id)))


def settle(world: SheetWorld, row: Unsettled, **changes: Any) -> Settlement:
    return post(
        unsettled=row, changes=changes, author=world.manager, at=SETTLED_AT, zone=world.shop.zone
    )


def void(phone: Phone, world: SheetWorld) -> None:
    ServiceSheet.objects.filter(pk=phone.sheet.pk).update(
        state="void", voided_by=world.manager, voided_at=NOW
    )


def out_of_limit(phone: Phone) -> dict[str, Any]:
    volts = phone.sheet.steps.get(title="Volts at rated load")
    return phone.answer(volts, "value", value="300")


# --- on an open sheet -------------------------------------------------------------------------


def test_a_lock_said_not_to_apply_without_signal_waits_and_is_never_posted_so(
    opened: Phone, world: SheetWorld
) -> None:
    lock = opened.sheet.steps.get(phase="lock")
    [row] = wait(opened, opened.answer(lock, "na", note="alone here"))
    assert "it cannot be marked as not applicable" in row.reason
    with pytest.raises(BadAnswer, match="cannot be marked"):
        settle(world, row)
    assert [entry.answer for entry in lock.entries.all()] == ["done"]


def test_put_right_it_is_the_managers_and_counts_for_when_it_was_made(
    opened: Phone, world: SheetWorld
) -> None:
    [row] = wait(opened, out_of_limit(opened))
    with pytest.raises(BadAnswer):
        settle(world, row)
    done = settle(world, row, value="240")
    entry = StepEntry.objects.get(event_id=row.event_id)
    assert (entry.value, entry.author) == (Decimal(240), world.manager)
    assert entry.hand == opened.who  # who read the cautions and did the work
    assert (entry.at, entry.recorded_at) == (NOW, SETTLED_AT)
    assert (done.how, done.author, done.payload["value"]) == ("posted", world.manager, "240")
    row.refresh_from_db()
    assert row.payload["value"] == "300"


def test_as_it_was_it_stays_its_authors(opened: Phone, world: SheetWorld) -> None:
    seal = opened.sheet.steps.get(title="Side seal")
    entry = opened.answer(seal, "choice", choice="good")
    Person.objects.filter(pk=opened.who.pk).update(is_active=False)
    [row] = wait(opened, entry)
    done = settle(world, row)
    assert done.payload is None
    seal.refresh_from_db()
    assert (seal.entry.author, seal.entry.choice) == (opened.who, "good")
    told = opened.send(entry, now=SETTLED_AT)[0]
    assert (told.state, told.words) == ("taken", "A. Manager posted it.")


def test_a_signature_stays_its_authors_whatever_is_put_right(
    done: Hands, world: SheetWorld
) -> None:
    done.answer(done.check("Side seal"), "cleared")
    phone = Phone(done.who, done.sheet)
    [row] = wait(
        phone, phone.entry("sign", signature="T. Reed", labour_minutes="50", leave_undone=False)
    )
    settle(world, row, leave_undone=True)
    sheet = ServiceSheet.objects.get(pk=done.sheet.pk)
    assert (sheet.state, sheet.signed_by, sheet.signature) == ("signed", done.who, "T. Reed")


def test_all_of_a_sheet_is_posted_in_the_order_made(opened: Phone, world: SheetWorld) -> None:
    """The phone of somebody who left: their day, by one button."""
    volts = opened.sheet.steps.get(title="Volts at rated load")
    seal = opened.sheet.steps.get(title="Side seal")
    made = [
        opened.answer(volts, "value", value="300", at=NOW + timedelta(minutes=1)),
        opened.answer(seal, "choice", choice="good", at=NOW + timedelta(minutes=2)),
        opened.answer(volts, "value", value="241", at=NOW + timedelta(minutes=3)),
    ]
    Person.objects.filter(pk=opened.who.pk).update(is_active=False)
    wait(opened, *made)
    posted, left = post_all(
        of=opened.sheet, author=world.manager, at=SETTLED_AT, zone=world.shop.zone
    )
    assert posted == 2
    assert [(row.payload["value"], "out of limit" in why) for row, why in left] == [("300", True)]
    volts.refresh_from_db()
    assert volts.entry.value == 241


# --- on a closed sheet --------------------------------------------------------------------------


def test_a_reading_of_a_signed_sheet_goes_to_its_counter(done: Hands, world: SheetWorld) -> None:
    phone = Phone(done.who, done.sheet)
    entry = phone.entry("reading", counter=world.fleet.counters["hours"].pk, value="215")
    done.sign()
    [row] = wait(phone, entry)
    assert may_post(row)
    settle(world, row)
    kept = Reading.objects.get(source="sheet")
    assert (kept.value, kept.at, kept.author) == (215, NOW, done.who)


def test_a_reading_that_contradicts_is_posted_put_right(done: Hands, world: SheetWorld) -> None:
    phone = Phone(done.who, done.sheet)
    hours = world.fleet.counters["hours"].pk
    phone.send(phone.entry("reading", counter=hours, value="215", sure="215"))
    world.fleet.read(NOW - timedelta(hours=1), hours=218)
    phone.send(
        phone.entry("sign", signature="T. Reed", labour_minutes="50", at=NOW + timedelta(hours=1)),
        now=LATER,
    )
    row = Unsettled.objects.get()
    before = rows_of_every_table()
    with pytest.raises(Exception, match="218"):
        settle(world, row)
    assert rows_of_every_table() == before
    settle(world, row, value="219")
    assert Reading.objects.get(source="sheet").author == world.manager


def test_parts_that_no_tray_covered_are_issued_from_where_they_lay(
    done: Hands, world: SheetWorld
) -> None:
    phone = Phone(done.who, done.sheet)
    row = done.sheet.parts.get(part=world.filter_part)
    phone.send(
        phone.entry("used", row=row.pk, used="2"),
        phone.entry("sign", signature="T. Reed", labour_minutes="50"),
        now=LATER,
    )
    waits = Unsettled.objects.get()
    assert part_meant(waits) == world.filter_part
    assert not_issued(waits, world.filter_part) == 1
    with pytest.raises(NotTaken, match="Say where"):
        settle(world, waits, issue="1")
    received(world.filter_part, world.bin, 3, 2_000)
    settle(world, waits, issue="1", place=world.bin.code)
    moved = Movement.objects.filter(kind="issue", part=world.filter_part, source_kind="sheet")
    assert [each.quantity_steps for each in moved.order_by("pk")] == [-1, -1]
    assert moved.latest("pk").location == world.bin
    behind = spend.sheets_behind(
        rig=world.fleet.rig, since=NOW - timedelta(days=9), until=NOW + timedelta(days=9)
    )
    [line] = [line for line in behind[0].lines if line.part == world.filter_part]
    assert line.steps == 2
    assert prove() == []


@pytest.mark.parametrize("kind", ["answer", "take"])
def test_what_is_of_the_sheet_alone_is_not_posted_on_a_closed_one(
    opened: Phone, world: SheetWorld, kind: str
) -> None:
    entry = {"answer": out_of_limit(opened), "take": opened.entry("take")}[kind]
    void(opened, world)
    [row] = wait(opened, entry)
    assert not may_post(row)
    with pytest.raises(SheetClosed):
        settle(world, row)


# --- set aside ------------------------------------------------------------------------------------


def test_set_aside_it_is_kept_with_its_reason_and_the_phone_is_told(
    opened: Phone, world: SheetWorld, shop: Any
) -> None:
    entry = out_of_limit(opened)
    [row] = wait(opened, entry)
    assert len(snapshot(opened.sheet, zone=shop.zone)["unsettled"]) == 1
    set_aside(unsettled=row, note=" read twice ", author=world.manager, at=SETTLED_AT)
    assert snapshot(opened.sheet, zone=shop.zone)["unsettled"] == []
    told = opened.send(entry, now=SETTLED_AT)[0]
    assert (told.state, told.words) == ("taken", "A. Manager set it aside: read twice")
    assert Unsettled.objects.count() == 1


@pytest.mark.parametrize("note", ["", "  ", "x" * 301])
def test_setting_aside_says_why(opened: Phone, world: SheetWorld, note: str) -> None:
    [row] = wait(opened, out_of_limit(opened))
    with pytest.raises(SheetRefused):
        set_aside(unsettled=row, note=note, author=world.manager, at=SETTLED_AT)
    assert not Settlement.objects.exists()


def test_the_database_too_asks_why_and_what_waits_says_why(
    opened: Phone, world: SheetWorld
) -> None:
    [row] = wait(opened, out_of_limit(opened))
    for make in (
        lambda: Settlement.objects.create(
            unsettled=row, how="set_aside", note="", author=world.manager, at=NOW
        ),
        lambda: Settlement.objects.create(
            unsettled=row, how="lost", note="so", author=world.manager, at=NOW
        ),
        lambda: Unsettled.objects.create(
            sheet=row.sheet,
            reason="",
            event_id=opened.id,
            phone=row.phone,
            kind="take",
            payload={},
            author=row.author,
            at=NOW,
            recorded_at=NOW,
            clock_error_seconds=0,
        ),
    ):
        with pytest.raises(IntegrityError), transaction.atomic():
            make()


# --- once -------------------------------------------------------------------------------------


def test_settled_once_it_is_not_settled_again(opened: Phone, world: SheetWorld) -> None:
    [row] = wait(opened, out_of_limit(opened))
    settle(world, row, value="240")
    with pytest.raises(AlreadySettled, match=r"A\. Manager settled it already: posted"):
        settle(world, row, value="241")
    with pytest.raises(AlreadySettled):
        set_aside(unsettled=row, note="twice", author=world.manager, at=SETTLED_AT)


@pytest.mark.django_db(transaction=True)
def test_two_managers_at_once_and_one_of_them_settles_it(opened: Phone, world: SheetWorld) -> None:
    [row] = wait(opened, out_of_limit(opened))
    results = at_once(
        lambda: settle(world, row, value="240"),
        lambda: set_aside(unsettled=row, note="twice", author=world.manager, at=SETTLED_AT),
    )
    assert refused(results, AlreadySettled) == 1
    assert Settlement.objects.count() == 1


@pytest.mark.postgresql
@pytest.mark.django_db(transaction=True)
def test_twin_without_the_lock_both_get_past_the_look(
    opened: Phone, world: SheetWorld, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Then only the unique key of the settlement stops the second, in words of the database."""
    [row] = wait(opened, out_of_limit(opened))
    without_row_locks(monkeypatch)
    all_meet_in(monkeypatch, Settlement.objects, "create")
    results = at_once(
        *[lambda: set_aside(unsettled=row, note="so", author=world.manager, at=SETTLED_AT)] * 2
    )
    assert not any(isinstance(each, AlreadySettled) for each in results)


# --- two answers ------------------------------------------------------------------------------


def two_answers(opened: Phone, world: SheetWorld) -> list[StepEntry]:
    """One says that a value is out of limit and opens found work, the other that it is right."""
    volts = opened.sheet.steps.get(title="Volts at rated load")
    other = Phone(world.manager, opened.sheet)
    other.join()
    opened.send(
        opened.answer(
            volts, "value", value="300", remedy="found_work", finding_text="regulator drifts"
        )
    )
    other.send(other.answer(volts, "value", value="240", at=LATER), now=LATER)
    return list(StepEntry.objects.filter(step=volts).order_by("at"))


def test_a_person_picks_an_answer_with_the_found_work_it_opened(
    opened: Phone, world: SheetWorld, shop: Any
) -> None:
    first, _ = two_answers(opened, world)
    pick = opened.entry("pick", event=str(first.event_id), at=LATER)
    assert opened.send(pick, pick, now=LATER)[0].state == "taken"
    step = snapshot(opened.sheet, zone=shop.zone)["steps"][str(first.step_id)]
    assert (step["values"]["us"], step["out"], step["rivals"]) == ("300", True, [])
    assert Finding.objects.count() == 1
    assert StepEntry.objects.filter(step=first.step).count() == 3


def test_what_a_manager_picks_stays_the_work_of_whose_it_was(
    opened: Phone, world: SheetWorld
) -> None:
    first, _ = two_answers(opened, world)
    picked = StepEntry.objects.select_related("step__sheet").get(pk=first.pk)
    entry = pick_answer(
        picked=picked, event_id=uuid4(), author=world.manager, at=LATER, recorded_at=LATER
    )
    assert (entry.author, entry.hand) == (world.manager, opened.who)


@pytest.mark.parametrize("event", ["", "x", "7a3f0d52-5f0a-4b58-9e33-0d7c1f0f8a11"])
def test_only_an_answer_of_the_sheet_is_picked(opened: Phone, event: str) -> None:
    [outcome] = opened.send({**opened.entry("pick", event=event), "live": True})
    assert (outcome.state, outcome.field) == ("refused", "event")


def test_only_an_electrician_picks_an_electricians_answer(opened: Phone, world: SheetWorld) -> None:
    first, _ = two_answers(opened, world)
    opened.sheet.steps.update(needs_electrician=True)
    picked = StepEntry.objects.select_related("step__sheet").get(pk=first.pk)
    with pytest.raises(ElectricianNeeded):
        pick_answer(
            picked=picked, event_id=uuid4(), author=world.manager, at=LATER, recorded_at=LATER
        )


def test_a_part_that_expired_is_taken_when_a_manager_says_why(
    opened: Phone, world: SheetWorld
) -> None:
    received(world.seal, world.bin, 5, 500, expires_on=NOW.date() - timedelta(days=1))
    asked = {"part": world.seal.number, "quantity": "2", "place": world.bin.code}
    [live] = opened.send(opened.entry("add", **asked, live=True))
    assert (live.state, live.field) == ("refused", "expired_reason")
    assert "only when a manager says why" in live.words
    [own] = opened.send(opened.entry("add", **asked, live=True, expired_reason="looks sound"))
    assert own.state == "refused"  # a technician's reason opens nothing
    [row] = wait(opened, opened.entry("add", **asked))
    with pytest.raises(NotTaken):
        settle(world, row)
    settle(world, row, expired_reason="cured last week, looks sound")
    moved = Movement.objects.filter(part=world.seal, quantity_steps__gt=0).latest("pk")
    assert moved.reason.endswith("Expired: cured last week, looks sound")
    assert prove() == []
