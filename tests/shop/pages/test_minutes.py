"""Planned minutes on the pages: of a service, of a sheet, and set by hand."""

import pytest
import time_machine

from equipment.models import Due, Service
from shop.services.minutes import learn_minutes
from tests.inventory.pages.browsing import Page, text_of
from tests.shop.services.conftest import Hands
from tests.shop.worlds import NOW, SheetWorld, sheet_world


@pytest.fixture(autouse=True)
def _clock():
    with time_machine.travel(NOW, tick=False):
        yield


@pytest.fixture
def taught(shop, manager, technician) -> SheetWorld:
    """The oil change asks for 45 min and took 95 once: (4 · 45 + 95) / 5 = 55."""
    world = sheet_world(shop, manager)
    hands = Hands(world.draft(world.oil), technician)
    hands.take()
    hands.open_the_checks()
    hands.answer(hands.check("Oil and filter changed"))
    hands.answer(hands.check("Volts at rated load"), "value", value=240)
    hands.use()
    hands.sign(labour_minutes=95)
    learn_minutes()
    return world


def test_the_service_says_what_is_planned_and_why(taught, client_as):
    desk = client_as("manager")
    service = taught.oil.version.service_id
    page = text_of(desk.get(f"/services/{service}/"))
    assert "planned 55 min learnt; its version asks for 45 min" in page
    assert "the last one took 95 min; nothing found" in page
    assert "55 min" in text_of(desk.get("/services/"))
    figures = text_of(desk.get(f"/services/{service}/minutes/"))
    assert "0001" in figures
    assert "95 min" in figures


def test_a_sheet_adds_up_what_is_planned(taught, client_as):
    sheet = taught.draft(Due.objects.get(pk=taught.oil.pk))
    assert "Bench time 55 min" in text_of(client_as("manager").get(f"/sheets/{sheet.number}/"))


def test_a_manager_sets_it_by_hand_and_takes_it_back(taught, client_as):
    desk = client_as("manager")
    service = Service.objects.get(pk=taught.oil.version.service_id)
    page = Page(desk, "shop:service_minutes", service.pk)
    assert page.send(minutes="75").url == f"/services/{service.pk}/"
    shown = text_of(desk.get(f"/services/{service.pk}/"))
    assert "planned 75 min set by hand by A. Manager" in shown
    page.send(minutes="")
    assert "planned 55 min learnt" in text_of(desk.get(f"/services/{service.pk}/"))


@pytest.mark.parametrize(
    ("typed", "words"),
    [
        ("0", "more than no time"),
        ("-5", "cannot be below zero"),
        ("99999", "more than a week"),
        ("an hour", "Write a number"),
    ],
)
def test_what_cannot_be_is_refused_beside_its_field(taught, client_as, typed, words):
    service = Service.objects.get(pk=taught.oil.version.service_id)
    refused = Page(client_as("manager"), "shop:service_minutes", service.pk).send(minutes=typed)
    assert refused.status_code == 422
    assert words in text_of(refused)
    assert f'value="{typed}"' in refused.content.decode()
    service.refresh_from_db()
    assert service.set_minutes is None
