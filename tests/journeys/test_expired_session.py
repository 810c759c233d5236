"""Somebody is signed out while typing: nothing typed is lost, and one button sends it."""

from collections.abc import Callable

import pytest
from django.contrib.sessions.models import Session
from playwright.sync_api import Page, expect

from equipment.models import Reading
from shop.models import Person
from tests.journeys.acting import said, sign_in_by_form
from tests.journeys.conftest import DESK, PHONE, Look
from tests.journeys.worlds import JourneyWorld

pytestmark = pytest.mark.postgresql_too


@pytest.mark.parametrize("width", [PHONE, DESK])
def test_readings_typed_into_an_expired_session_are_sent_by_one_button(
    page_at: Callable[..., Page],
    sign_in_as: Callable[..., Person],
    look: Look,
    world: JourneyWorld,
    width: int,
) -> None:
    page = page_at(width)
    sign_in_as(page, "technician")
    page.goto("/rigs/1/readings/")
    page.get_by_label("A strokes", exact=False).first.fill("9100")
    Session.objects.all().delete()
    before = Reading.objects.count()

    page.get_by_role("button", name="Keep the readings").click()
    expect(page.get_by_text("What you typed is kept")).to_be_visible()
    look(page)
    sign_in_by_form(page, "technician")
    expect(page.get_by_role("heading", name="Not sent yet")).to_be_visible()
    expect(page.get_by_text("9100")).to_be_visible()
    look(page, schemes=("light", "dark"))
    assert Reading.objects.count() == before  # nothing is sent by itself

    page.get_by_role("button", name="Send what you typed").click()
    said(page, "1 reading kept.")
    assert Reading.objects.latest("pk").value == 9100


def test_what_one_person_typed_is_not_sent_by_another(
    page_at: Callable[..., Page],
    sign_in_as: Callable[..., Person],
    look: Look,
    world: JourneyWorld,
) -> None:
    page = page_at(PHONE)
    sign_in_as(page, "technician")
    page.goto("/rigs/1/readings/")
    page.get_by_label("A strokes", exact=False).first.fill("9100")
    Session.objects.all().delete()
    page.get_by_role("button", name="Keep the readings").click()
    sign_in_by_form(page, "manager")
    expect(page.get_by_text("This was typed by A. Technician")).to_be_visible()
    expect(page.get_by_role("button", name="Send what you typed")).to_have_count(0)
    look(page)
    page.get_by_role("button", name="let A. Technician sign in").click()
    sign_in_by_form(page, "technician")
    page.get_by_role("button", name="Send what you typed").click()
    said(page, "1 reading kept.")
    assert Reading.objects.latest("pk").author.sign_in == "technician"
