"""Time, handing over and waiting, as phones send them: late, twice, by a clock that is wrong."""

from datetime import timedelta
from typing import Any

import pytest

from inventory.models import Part
from shop.models import HandOver, Person, Role, ServiceSheet, Shop, TimeEntry, WaitEntry
from shop.services.arriving import snapshot
from shop.services.clocking import labour_minutes
from shop.services.needs import set_need
from tests.inventory.factories import PartFactory
from tests.shop.phones import Phone
from tests.shop.services.conftest import Hands
from tests.shop.worlds import NOW, SheetWorld

pytestmark = pytest.mark.django_db
MINUTE = timedelta(minutes=1)
LATER = NOW + timedelta(hours=5)


@pytest.fixture
def clamp(world: SheetWorld) -> Part:
    part: Part = PartFactory(number="C-1", name="hose clamp")
    set_need(service=world.rebuild.version.service, part=part, quantity_steps=2)
    return part


@pytest.fixture
def phone(clamp: Part, hands: Hands, technician: Person) -> Phone:
    return Phone(technician, hands.sheet)


def minutes(phone: Phone, shop: Shop) -> int:
    return labour_minutes(phone.sheet, now=LATER, zone=shop.zone)


@pytest.mark.parametrize("clock", [timedelta(0), timedelta(days=1), -timedelta(days=1)])
def test_time_is_that_of_the_work_and_not_of_the_arrival(
    phone: Phone, shop: Shop, clock: timedelta
) -> None:
    phone.clock = clock
    start = phone.entry("clock", at=NOW + 10 * MINUTE, does="start")
    stop = phone.entry("clock", at=NOW + 40 * MINUTE, does="stop")
    for _ in range(2):  # the answer was lost once
        assert [each.state for each in phone.send(start, stop, now=LATER)] == ["taken", "taken"]
    assert minutes(phone, shop) == 30
    assert TimeEntry.objects.count() == 2


def test_a_start_that_comes_late_ends_what_ran_elsewhere(
    technician: Person, world: SheetWorld, shop: Shop
) -> None:
    phone = Phone(technician, world.draft(world.oil))
    other = Phone(technician, world.draft(world.rebuild), id=phone.id)
    other.send(other.entry("clock", at=NOW + 50 * MINUTE, does="start"), now=LATER)
    said = phone.send(phone.entry("clock", at=NOW + 20 * MINUTE, does="start"), now=LATER)
    assert [each.state for each in said] == ["taken"]
    assert minutes(phone, shop) == 30
    back = phone.send(phone.entry("clock", at=LATER, does="start"), now=LATER)
    assert back[0].words == f"Your time stopped on sheet {other.sheet}."


def test_until_when_is_by_our_clock(phone: Phone, shop: Shop) -> None:
    phone.clock = timedelta(hours=3)
    phone.send(phone.entry("clock", at=NOW, does="start"))
    until = (NOW + 25 * MINUTE + phone.clock).isoformat()
    phone.send(phone.entry("clock", at=LATER, does="stop", until=until), now=LATER)
    assert minutes(phone, shop) == 25
    assert TimeEntry.objects.get(does="stop").is_sure


@pytest.mark.parametrize(
    ("kind", "said", "field"),
    [
        ("clock", {"does": "rest"}, "does"),
        ("clock", {"does": "stop", "until": "soon"}, "until"),
        ("clock", {"does": "stop", "until": "2026-02-04T12:00:00"}, "until"),
        ("clock", {"does": "stop", "until": "9999-12-31T23:59:59+00:00"}, None),
        ("wait", {"parts": "all"}, "parts"),
        ("wait", {"parts": [True]}, "parts"),
        ("hand_over", {"words": ""}, ""),
        ("hand_over", {"words": "open", "to": 987654}, "to"),
    ],
)
def test_what_makes_no_sense_goes_back(
    phone: Phone, kind: str, said: dict[str, Any], field: str | None
) -> None:
    (outcome,) = phone.send(phone.entry(kind, live=True, **said))
    if field is None:
        assert outcome.state == "taken"  # never later than the tap itself
        assert TimeEntry.objects.get().at <= NOW
        return
    assert (outcome.state, outcome.field) == ("refused", field)
    assert not TimeEntry.objects.exists()
    assert not WaitEntry.objects.exists()
    assert not HandOver.objects.exists()


def test_a_sheet_waits_and_goes_on(phone: Phone, clamp: Part, shop: Shop) -> None:
    phone.send(phone.entry("wait", parts=[clamp.pk], missing="a long hex key"))
    sheet = ServiceSheet.objects.get(pk=phone.sheet.pk)
    assert sheet.is_waiting_for_parts
    told = snapshot(sheet, zone=shop.zone)["wait"]
    assert told["text"] == "hose clamp, 2 pieces; a long hex key"
    phone.send(phone.entry("wait", missing="", at=LATER), now=LATER)
    sheet.refresh_from_db()
    assert (sheet.is_waiting_for_parts, snapshot(sheet, zone=shop.zone)["wait"]) == (False, None)


def test_a_word_for_the_next_one(phone: Phone, shop: Shop, person_as: Any) -> None:
    second = person_as(Role.TECHNICIAN, sign_in="second")
    phone.send(
        phone.entry("clock", does="start"),
        phone.entry("hand_over", words="side B packing still out", to=second.pk, at=LATER),
        now=LATER,
    )
    sheet = ServiceSheet.objects.get(pk=phone.sheet.pk)
    told = snapshot(sheet, zone=shop.zone)
    assert sheet.technician == second
    assert (told["word"]["text"], told["word"]["to"]) == ("side B packing still out", second.name)
    assert [(each["by"], each["minutes"], each["since"]) for each in told["time"]] == [
        (phone.who.name, 300, "")
    ]


def test_a_running_time_is_told_with_its_beginning(phone: Phone, shop: Shop) -> None:
    phone.send(phone.entry("clock", does="start"))
    (told,) = snapshot(ServiceSheet.objects.get(pk=phone.sheet.pk), zone=shop.zone)["time"]
    assert (told["person"], told["since_at"]) == (phone.who.pk, NOW.isoformat())


def test_time_on_a_signed_sheet_waits_for_a_manager(done: Hands, technician: Person) -> None:
    done.sign()
    phone = Phone(technician, done.sheet)
    (outcome,) = phone.send(phone.entry("clock", does="start"))
    assert outcome.state == "waiting"
