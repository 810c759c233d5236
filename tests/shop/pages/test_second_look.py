"""The second look in the browser: on the manager's day, on the list, on its own page."""

from uuid import uuid4

import pytest
import time_machine

from equipment.models import Finding
from shop.models import SecondLook, ServiceSheet
from tests.inventory.pages.browsing import Page, text_of
from tests.shop.services.conftest import Hands
from tests.shop.worlds import NOW, sheet_world


@pytest.fixture(autouse=True)
def _clock():
    with time_machine.travel(NOW, tick=False):
        yield


@pytest.fixture
def signed(shop, manager, technician) -> ServiceSheet:
    world = sheet_world(shop, manager)
    type(world.oil.version).objects.filter(pk=world.oil.version_id).update(second_look=True)
    hands = Hands(world.draft(world.oil), technician)
    hands.take()
    hands.open_the_checks()
    hands.answer(hands.check("Oil and filter changed"))
    hands.answer(hands.check("Volts at rated load"), "value", value=240)
    hands.use()
    return hands.sign()


def test_it_stands_on_the_managers_day_and_on_the_list_until_it_is_looked_at(signed, client_as):
    desk = client_as("manager")
    assert "Second look wanted" in text_of(desk.get("/"))
    assert "second look wanted" in text_of(desk.get("/sheets/"))
    assert f"{signed}" in text_of(desk.get("/sheets/?show=second_look"))
    page = Page(desk, "shop:second_look", signed.number)
    assert "240 V" in text_of(desk.get(page.url))
    answer = page.send(outcome="passed", text="torque seen")
    assert answer.url == f"/sheets/{signed.number}/"
    sheet = text_of(desk.get(answer.url))
    assert "Second look by A. Manager" in sheet
    assert "torque seen" in sheet
    assert "Second look wanted" not in text_of(desk.get("/"))
    assert "No sheet is like that" in text_of(desk.get("/sheets/?show=second_look"))


def test_what_is_not_right_is_asked_for_beside_its_field_and_what_was_typed_stays(
    signed, client_as
):
    desk = client_as("manager")
    page = Page(desk, "shop:second_look", signed.number)
    refused = page.send(outcome="not_right", text="", is_grave="on")
    assert refused.status_code == 422
    assert "Say what is not right" in text_of(refused)
    assert 'name="is_grave"' in refused.content.decode()
    assert not SecondLook.objects.exists()
    page.send(outcome="not_right", text="filter drips", is_grave="on", follows="work")
    assert Finding.objects.get().is_grave


def test_who_signed_is_told_that_another_has_to_look(signed, client_as, manager):
    ServiceSheet.objects.update(signed_by=manager)
    desk = client_as("manager")
    url = f"/sheets/{signed.number}/second-look/"
    assert "another manager has to look at it" in text_of(desk.get(url))
    sent = desk.post(url, {"outcome": "passed", "request_id": str(uuid4())})
    assert sent.status_code == 422
    assert not SecondLook.objects.exists()


def test_sent_twice_it_counts_once(signed, client_as):
    page = Page(client_as("manager"), "shop:second_look", signed.number)
    for _ in range(2):
        assert page.send(outcome="passed").status_code == 302
    assert SecondLook.objects.count() == 1


def test_a_service_asks_for_it_by_its_form(signed, client_as):
    desk = client_as("manager")
    service = signed.lines.get().version.service
    assert "A manager other than who signed looks at it again" in text_of(
        desk.get(f"/services/{service.pk}/change/")
    )
