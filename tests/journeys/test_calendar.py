"""My calendar, made on a phone: found under one's name, copied, stopped; and without any script."""

from collections.abc import Callable

import pytest
from django.test import Client
from playwright.sync_api import Page, expect

from shop.models import Person, Role
from tests.journeys.conftest import DESK, PHONE, Look
from tests.journeys.worlds import JourneyWorld


def answer(address: str) -> int:
    return Client().get(f"/calendar/{address.rpartition('/')[2]}").status_code


@pytest.mark.parametrize("width", [PHONE, DESK])
def test_an_address_is_made_copied_and_stopped(
    page_at: Callable[..., Page],
    sign_in_as: Callable[..., Person],
    look: Look,
    world: JourneyWorld,
    width: int,
) -> None:
    page = page_at(width, permissions=["clipboard-read", "clipboard-write"])
    person = sign_in_as(page, Role.TECHNICIAN)
    page.goto("/")
    page.locator(".bar summary", has_text=person.name).click()
    look(page)
    page.get_by_role("link", name="My calendar").click()
    expect(page.get_by_role("heading", name="My calendar")).to_be_visible()
    look(page, schemes=("light", "dark"))

    page.get_by_role("button", name="Make my address").click()
    field = page.get_by_label("Add this as a subscribed calendar")
    address = field.input_value()
    look(page, schemes=("light", "dark"))
    assert answer(address) == 200
    page.get_by_role("button", name="Copy the address").click()
    expect(page.get_by_text("Copied.")).to_be_visible()
    assert page.evaluate("navigator.clipboard.readText()") == address
    field.focus()
    assert page.evaluate("getSelection().toString()") == address

    page.goto("/calendar/")
    expect(field).to_have_count(0)
    look(page, schemes=("light", "dark"))
    page.get_by_role("button", name="Stop it").click()
    expect(page.get_by_text("Whoever has it gets nothing.")).to_be_visible()
    look(page, schemes=("light", "dark"))
    assert answer(address) == 404


def test_without_a_script_the_address_stands_in_its_field(
    page_at: Callable[..., Page], sign_in_as: Callable[..., Person], world: JourneyWorld
) -> None:
    page = page_at(PHONE, java_script_enabled=False)
    sign_in_as(page, Role.TECHNICIAN)
    page.goto("/calendar/")
    page.get_by_role("button", name="Make my address").click()
    address = page.get_by_label("Add this as a subscribed calendar").input_value()
    assert answer(address) == 200
    expect(page.get_by_role("button", name="Copy the address")).to_have_count(0)
    page.locator(".bar summary").click()
    expect(page.get_by_role("button", name="Sign out")).to_be_visible()


def test_the_list_under_a_name_closes_by_the_keyboard(
    page_at: Callable[..., Page], sign_in_as: Callable[..., Person], world: JourneyWorld
) -> None:
    page = page_at(DESK)
    person = sign_in_as(page, Role.MANAGER)
    page.goto("/")
    opens = page.locator(".bar summary", has_text=person.name)
    opens.focus()
    page.keyboard.press("Enter")
    expect(page.get_by_role("link", name="My calendar")).to_be_visible()
    page.keyboard.press("Escape")
    expect(page.get_by_role("link", name="My calendar")).to_be_hidden()
    expect(opens).to_be_focused()
