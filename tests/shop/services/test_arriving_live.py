"""Entries from phones: what goes back to who is looking, and what waits for a manager."""

from datetime import timedelta
from typing import Any

import pytest

from equipment.models import Finding
from inventory.models import Location, Movement
from inventory.services import Need, reserve
from shop.models import (
    Person,
    ReadingEntry,
    ServiceSheet,
    Unsettled,
)
from shop.services.arriving import (
    Outcome,
)
from tests.inventory.factories import received
from tests.shop.phones import Phone, check, states
from tests.shop.services.conftest import Hands, rows_of_every_table
from tests.shop.worlds import NOW, SheetWorld

pytestmark = pytest.mark.django_db

LATER = NOW + timedelta(hours=5)


def test_live_what_is_refused_goes_back_and_nothing_is_stored(opened: Phone) -> None:
    volts = check(opened, "Volts at rated load")
    before = rows_of_every_table()
    [outcome] = opened.send({**opened.answer(volts, "value", value="300"), "live": True})
    assert outcome == Outcome(
        "refused", "The value is out of limit. Say what you did about it.", "remedy"
    )
    assert rows_of_every_table() == before


@pytest.mark.parametrize(
    ("said", "field"),
    [
        ({"answer": "value", "value": ""}, "value"),
        ({"answer": "value", "value": "many"}, "value"),
        ({"answer": "value", "value": "1e9"}, "value"),
        ({"answer": "value", "value": "240.12345"}, "value"),
        ({"answer": "na"}, "note"),
        ({"answer": "done"}, "answer"),
        ({"answer": "value", "value": "260", "remedy": "prayed"}, "remedy"),
        ({"answer": "value", "value": "260", "remedy": "stop"}, "finding_text"),
        ({"answer": "value", "value": "260", "remedy": "put_right"}, "left_value"),
        (
            {"answer": "value", "value": "260", "remedy": "replaced", "left_value": "253"},
            "left_value",
        ),
        ({"answer": "value", "value": "240", "left_value": "1,5"}, "left_value"),
        ({"answer": "value", "value": "240", "left_value": "253"}, "remedy"),
        ({"answer": "value", "value": "240", "step": 2**63 - 1}, "step"),
    ],
)
def test_words_stand_beside_the_field_they_are_about(
    opened: Phone, said: dict[str, Any], field: str
) -> None:
    volts = check(opened, "Volts at rated load")
    [outcome] = opened.send({**opened.entry("answer", step=volts.pk), "live": True, **said})
    assert (outcome.state, outcome.field) == ("refused", field)
    assert outcome.words


def test_an_odd_reading_is_asked_about_once(opened: Phone, world: SheetWorld) -> None:
    """Side A made 4,000 strokes in ten days; ninety thousand in ten more are a slip."""
    strokes = world.fleet.counters["a"].pk
    odd = {**opened.entry("reading", counter=strokes, value="98000"), "live": True}
    [asked] = opened.send(odd)
    assert (asked.state, asked.field) == ("refused", "sure")
    assert asked.words.startswith("More than usual: 90,000 strokes since")
    assert states(opened.send({**odd, "sure": "9800"})) == ["refused"]
    assert states(opened.send({**odd, "sure": "98000"})) == ["taken"]


def test_an_odd_reading_that_nobody_can_be_asked_about_waits(
    opened: Phone, world: SheetWorld
) -> None:
    odd = opened.entry("reading", counter=world.fleet.counters["a"].pk, value="98000")
    assert states(opened.send(odd)) == ["waiting"]
    assert not ReadingEntry.objects.exists()


def test_a_face_that_went_down_is_asked_about_beside_what_happened_to_it(
    opened: Phone, world: SheetWorld
) -> None:
    hours = world.fleet.counters["hours"].pk
    low = {**opened.entry("reading", counter=hours, value="12"), "live": True}
    [asked] = opened.send(low)
    assert (asked.state, asked.field) == ("refused", "step")
    assert states(opened.send({**low, "step": "reset", "before_reset": "210"})) == ["taken"]


def test_more_than_lies_there_is_refused_beside_the_part(opened: Phone, world: SheetWorld) -> None:
    add = {**opened.entry("add", part=world.seal.number, quantity="9"), "live": True}
    [outcome] = opened.send(add)
    assert outcome.state == "refused"
    assert not Movement.objects.filter(request_id=add["event_id"]).exists()


def test_a_part_promised_to_another_sheet_is_asked_about(
    phone: Phone, world: SheetWorld, technician: Person
) -> None:
    received(world.seal, world.bin, 1, 900)
    reserve(
        needs=[Need(part=world.seal, quantity_steps=2)],
        places=[world.bin, world.drawer],
        source_kind="sheet",
        source_number=999,
        author=technician,
        at=NOW,
    )
    add = {**phone.entry("add", part=world.seal.number, quantity="1"), "live": True}
    [asked] = phone.send(add)
    assert (asked.state, asked.field) == ("refused", "sure")
    assert "promised to others" in asked.words
    [taken] = phone.send({**add, "sure": "yes"})
    assert taken.state == "taken"


def test_a_part_comes_from_the_place_said(phone: Phone, world: SheetWorld) -> None:
    received(world.seal, world.bin, 1, 900)
    add = phone.entry("add", part=world.seal.number, quantity="1", place=world.drawer.code.lower())
    assert states(phone.send(add)) == ["taken"]
    gone = Movement.objects.get(request_id=add["event_id"], quantity_steps__lt=0)
    assert gone.location == Location.objects.get(pk=world.drawer.pk)


# --- a sheet that changed meanwhile --------------------------------------------------------------


def test_on_a_void_sheet_all_is_kept_and_found_work_is_opened(
    opened: Phone, world: SheetWorld
) -> None:
    oil = opened.answer(check(opened, "Oil and filter changed"))
    reading = opened.entry("reading", counter=world.fleet.counters["hours"].pk, value="215")
    found = opened.entry("found", text="hose rubs")
    ServiceSheet.objects.filter(pk=opened.sheet.pk).update(
        state="void", voided_by=world.manager, voided_at=NOW
    )
    outcomes = opened.send(oil, opened.entry("take"), reading, found, now=LATER)
    assert states(outcomes) == ["waiting", "waiting", "waiting", "taken"]
    assert "is void" in outcomes[0].words
    assert [each.kind for each in Unsettled.objects.order_by("pk")] == ["answer", "take", "reading"]
    assert Finding.objects.get().rig == world.fleet.rig
    again = opened.send(oil, now=LATER)
    assert states(again) == ["waiting"]
    assert Unsettled.objects.count() == 3


def test_on_a_signed_sheet_what_came_late_waits(done: Hands, world: SheetWorld) -> None:
    phone = Phone(world.manager, done.sheet)
    late = phone.answer(done.check("Side seal"), "choice", choice="replaced")
    done.sign()
    [outcome] = phone.send(late, now=LATER)
    assert outcome.state == "waiting"
    assert "is signed" in outcome.words
    assert done.check("Side seal").entry.choice == "good"


def test_live_on_a_signed_sheet_it_is_refused(done: Hands) -> None:
    phone = Phone(done.who, done.sheet)
    live = {**phone.answer(done.check("Side seal"), "choice", choice="replaced"), "live": True}
    done.sign()
    assert states(phone.send(live, now=LATER)) == ["refused"]
    assert not Unsettled.objects.exists()


def test_checks_entered_before_the_cautions_wait(phone: Phone) -> None:
    [outcome] = phone.send(phone.answer(check(phone, "Oil and filter changed")))
    assert outcome.state == "waiting"
    assert "The checks open when" in outcome.words
