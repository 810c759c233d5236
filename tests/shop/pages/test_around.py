"""Time, handing over and waiting, as the pages of a sheet take and show them."""

from collections.abc import Callable
from datetime import timedelta
from typing import Any
from uuid import uuid4

import pytest
import time_machine
from django.test import Client
from django.utils.timezone import localtime

from inventory.models import Part
from shop.models import HandOver, Person, Role, ServiceSheet, Shop, TimeEntry, WaitEntry
from shop.services.clocking import labour_minutes, start_time
from shop.services.needs import set_need
from tests.inventory.factories import PartFactory, received
from tests.inventory.pages.browsing import text_of
from tests.shop.services.conftest import Hands, later, rows_of_every_table
from tests.shop.worlds import NOW, SheetWorld, sheet_world

MINUTE = timedelta(minutes=1)


@pytest.fixture
def world(shop: Shop, manager: Person) -> SheetWorld:
    return sheet_world(shop, manager)


@pytest.fixture
def clamp(world: SheetWorld) -> Part:
    """A part that the rebuild needs two of, and that is nowhere in the shop."""
    part: Part = PartFactory(number="C-1", name="hose clamp")
    set_need(service=world.rebuild.version.service, part=part, quantity_steps=2)
    return part


@pytest.fixture
def sheet(world: SheetWorld, clamp: Part) -> ServiceSheet:
    return world.draft()


@pytest.fixture
def wall() -> Any:
    """The clock on the wall, put on by tests."""
    with time_machine.travel(NOW, tick=False) as traveller:
        yield traveller


@pytest.fixture
def crew(client_as: Callable[..., Client], wall: Any) -> Client:
    return client_as(Role.TECHNICIAN)


def shown(client: Client, address: str) -> str:
    answer = client.get(address)
    assert answer.status_code == 200, f"{address}: {answer.status_code}"
    return text_of(answer)


def send(client: Client, address: str, **fields: Any) -> Any:
    given = {"event_id": str(uuid4()), "request_id": str(uuid4()), **fields}
    return client.post(address, given)


def test_time_starts_and_stops_by_a_button(
    crew: Client, sheet: ServiceSheet, wall: Any, shop: Shop
) -> None:
    here = f"/sheets/{sheet.number}/"
    assert "Start my time" in shown(crew, here)
    assert send(crew, f"{here}time/", does="start", back=here).url == here
    wall.shift(75 * MINUTE)
    page = shown(crew, here)
    assert "Your time runs since" in page
    assert "1 h 15 min" in page
    send(crew, f"{here}time/", does="stop")
    assert "Start my time" in shown(crew, here)
    assert labour_minutes(sheet, now=NOW + 90 * MINUTE, zone=shop.zone) == 75


def test_a_button_pressed_twice_is_one_tap(crew: Client, sheet: ServiceSheet) -> None:
    event = str(uuid4())
    for _ in range(2):
        crew.post(f"/sheets/{sheet.number}/time/", {"event_id": event, "does": "start"})
    assert TimeEntry.objects.count() == 1


def test_starting_elsewhere_says_where_it_stopped(
    crew: Client, world: SheetWorld, wall: Any
) -> None:
    oil, gun = world.draft(world.oil), world.draft(world.rebuild)
    send(crew, f"/sheets/{oil.number}/time/", does="start")
    wall.shift(MINUTE)
    answer = send(crew, f"/sheets/{gun.number}/time/", does="start")
    assert f"It stopped on sheet {oil}." in shown(crew, answer.url)


def test_a_stop_for_nothing_is_said(crew: Client, sheet: ServiceSheet) -> None:
    answer = send(crew, f"/sheets/{sheet.number}/time/", does="stop")
    assert "No time of yours was running" in shown(crew, answer.url)


def test_what_was_left_running_over_night_is_asked_about(
    crew: Client, sheet: ServiceSheet, technician: Person, wall: Any, shop: Shop
) -> None:
    here = f"/sheets/{sheet.number}/"
    # NOW is six in the morning on the shop's wall.
    start_time(sheet=sheet, event_id=uuid4(), author=technician, **later(NOW + timedelta(hours=10)))
    wall.shift(timedelta(hours=24))
    assert "is still running since yesterday 16:00" in shown(crew, here)
    for until, said in (("", "Say until when"), ("9:00", "has not come since"), ("x", "14:30")):
        answer = send(crew, f"{here}until/", until=until)
        assert answer.status_code == 422
        assert said in text_of(answer)
    assert TimeEntry.objects.count() == 1
    answer = send(crew, f"{here}until/", until="17:30")
    assert "ended yesterday 17:30" in shown(crew, answer.url)
    assert labour_minutes(sheet, now=NOW + timedelta(days=1), zone=shop.zone) == 90
    # Nothing is asked any more: the page leads back.
    assert crew.get(f"{here}until/").status_code == 302


def test_it_may_have_been_a_night_at_the_bench(
    crew: Client, sheet: ServiceSheet, technician: Person, wall: Any, shop: Shop
) -> None:
    start_time(sheet=sheet, event_id=uuid4(), author=technician, **later(NOW + timedelta(hours=10)))
    wall.shift(timedelta(hours=24))
    send(crew, f"/sheets/{sheet.number}/until/", sure="on")
    assert labour_minutes(sheet, now=NOW + timedelta(days=1), zone=shop.zone) == 14 * 60


def test_the_word_of_the_last_one_stands_first(
    crew: Client, client_as: Any, sheet: ServiceSheet, person_as: Any
) -> None:
    here = f"/sheets/{sheet.number}/"
    second = person_as(Role.TECHNICIAN, sign_in="second")
    before = rows_of_every_table()
    answer = send(crew, f"{here}hand-over/", words=" ", to=second.pk)
    assert answer.status_code == 422
    assert "what the next one must know" in text_of(answer)
    assert rows_of_every_table() == before
    assert (
        send(crew, f"{here}hand-over/", words="side B packing still out", to=second.pk).url == "/"
    )
    page = shown(client_as(second), here)
    assert "A. Technician handed it over" in page
    assert page.index("side B packing still out") < page.index("oil and filter")
    assert HandOver.objects.get().to == second


def test_a_sheet_waits_for_what_is_short_and_is_told_when_it_comes(
    crew: Client, client_as: Any, sheet: ServiceSheet, clamp: Part, world: SheetWorld
) -> None:
    here = f"/sheets/{sheet.number}/"
    assert "hose clamp C-1, 2 pieces" in shown(crew, f"{here}waiting/")
    answer = send(crew, f"{here}waiting/", missing="")
    assert (answer.status_code, WaitEntry.objects.count()) == (422, 0)
    assert "Say what is missing." in text_of(answer)
    send(crew, f"{here}waiting/", parts=[clamp.pk], missing="a long hex key")
    said = "hose clamp, 2 pieces; a long hex key"
    desk = client_as(Role.MANAGER)
    for address in (here, "/", "/sheets/"):
        assert said in shown(desk, address), address
    assert f"sheet {sheet}" in shown(desk, "/parts/C-1/").lower()
    received(clamp, world.bin, 2, 300)
    for address in (here, "/", "/sheets/", "/parts/C-1/"):
        assert "has come in" in shown(desk, address), address
    answer = send(crew, f"{here}waiting/", does="go", back=here)
    assert "goes on." in shown(crew, answer.url)
    assert "hose clamp, 2 pieces" not in shown(desk, "/")
    # That it waited stays on the sheet, with from when until when.
    told = shown(desk, here)
    assert "Waited for parts before" in told
    now = f"{localtime(NOW):%H:%M}"
    assert f"{now}–{now}: {said}" in told


@pytest.mark.parametrize("address", ["hand-over/", "until/", "waiting/"])
def test_nothing_goes_on_around_a_signed_sheet(
    crew: Client, world: SheetWorld, technician: Person, address: str
) -> None:
    done = Hands(world.draft(world.oil), technician)
    done.take()
    done.open_the_checks()
    done.answer(done.check("Oil and filter changed"))
    done.answer(done.check("Volts at rated load"), "na", note="no load bank here")
    done.use()
    done.sign()
    here = f"/sheets/{done.sheet.number}/"
    answer = send(crew, f"{here}{address}", words="x", missing="x", until="9:00")
    assert answer.url == here
    send(crew, f"{here}time/", does="start")
    send(crew, f"{here}waiting/", does="go")
    assert not TimeEntry.objects.exists()
    assert not WaitEntry.objects.exists()


def test_a_technicians_day_says_what_is_next_and_what_runs(
    crew: Client, client_as: Any, sheet: ServiceSheet, person_as: Any, wall: Any
) -> None:
    second = person_as(Role.TECHNICIAN, sign_in="second")
    here = f"/sheets/{sheet.number}/"
    assert "No sheet is handed out to you." in shown(crew, "/")
    send(crew, f"{here}time/", does="start")
    wall.shift(MINUTE)
    day = shown(crew, "/")
    assert "Your time runs since 06:00" in day
    assert "Next: Unexpected start" in day or "Next: Stored fluid pressure" in day
    # Left to whoever comes next, it stands on everybody's day, with the word.
    send(crew, f"{here}hand-over/", words="side B packing still out")
    for client in (crew, client_as(second)):
        day = shown(client, "/")
        assert "Left to whoever comes next" in day
        assert "side B packing still out" in day
        assert "Your time runs" not in day
    send(client_as(second), f"{here}time/", does="start")
    assert "Left to whoever comes next" not in shown(crew, "/")


def test_what_has_come_in_goes_on_from_the_technicians_day(
    crew: Client, sheet: ServiceSheet, clamp: Part, world: SheetWorld, technician: Person
) -> None:
    here = f"/sheets/{sheet.number}/"
    ServiceSheet.objects.filter(pk=sheet.pk).update(technician=technician)
    send(crew, f"{here}waiting/", parts=[clamp.pk])
    assert "waiting for parts hose clamp, 2 pieces" in shown(crew, "/")
    received(clamp, world.bin, 2, 300)
    assert "What it waited for is here" in shown(crew, "/")
    assert send(crew, f"{here}waiting/", does="go", back="/").url == "/"
    assert "hose clamp" not in shown(crew, "/")


def test_time_left_running_is_asked_about_on_the_technicians_day(
    crew: Client, sheet: ServiceSheet, technician: Person, wall: Any
) -> None:
    start_time(sheet=sheet, event_id=uuid4(), author=technician, **later(NOW))
    wall.shift(timedelta(hours=24))
    assert "is still running since yesterday 06:00" in shown(crew, "/")
