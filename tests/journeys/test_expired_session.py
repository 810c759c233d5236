"""Somebody is signed out while typing: nothing typed is lost, and one button sends it."""

import re
from collections.abc import Callable

import pytest
from django.contrib.sessions.models import Session
from playwright.sync_api import Page, expect

from equipment.models import Reading
from shop.models import Person, ServiceSheet
from tests.journeys.acting import said, sign_in_by_form
from tests.journeys.conftest import DESK, PHONE, Look
from tests.journeys.worlds import JourneyWorld, answer_everything, draft


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


def test_a_measured_value_stays_on_the_sheet_until_it_can_be_sent(
    page_at: Callable[..., Page],
    sign_in_as: Callable[..., Person],
    look: Look,
    technician: Person,
    world: JourneyWorld,
) -> None:
    """The small update of the sheet leaves the page alone, and says what to do."""
    sheet = draft(world, technician=technician)
    page = page_at(PHONE)
    sign_in_as(page, technician)
    page.goto(f"/sheets/{sheet.number}/work/cautions/")
    gauge = page.locator(".measure").first
    gauge.get_by_role("textbox").fill("0")
    Session.objects.all().delete()
    gauge.get_by_role("button", name="Enter").click()
    said(page, "What you typed is still here")
    look(page)
    expect(gauge.get_by_role("textbox")).to_have_value("0")

    with page.expect_popup() as opened:
        page.get_by_role("link", name="sign in in another tab").click()
    sign_in_by_form(opened.value, "technician")
    expect(opened.value.locator(".bar summary", has_text=technician.name)).to_be_visible()
    opened.value.close()

    for _ in range(2):  # the first time the page learns that the sign-in is a new one
        if not gauge.get_by_role("button", name="Correct it").count():
            gauge.get_by_role("button", name="Enter").click()
            page.wait_for_load_state("networkidle")
    expect(gauge.get_by_role("button", name="Correct it")).to_be_visible()
    assert sheet.steps.filter(entry__value=0).count() == 1


def test_a_signature_given_after_lunch_is_sent_by_one_button(
    page_at: Callable[..., Page],
    sign_in_as: Callable[..., Person],
    look: Look,
    technician: Person,
    world: JourneyWorld,
) -> None:
    sheet = draft(world, technician=technician)
    answer_everything(sheet, by=technician, at=world.now)
    page = page_at(PHONE)
    sign_in_as(page, technician)
    page.goto(f"/sheets/{sheet.number}/work/sign/")
    page.get_by_label("How long the work took").fill("77")
    Session.objects.all().delete()
    page.get_by_role("button", name="Sign the sheet").click()
    sign_in_by_form(page, "technician")
    expect(page.get_by_text("labour minutes 77")).to_be_visible()
    # Keys of ours are nothing that anybody typed.
    expect(page.get_by_role("main")).not_to_contain_text(
        re.compile(r"[0-9a-f]{8}-[0-9a-f]{4}-|event")
    )
    look(page)
    page.get_by_role("button", name="Send what you typed").click()
    said(page, "is signed")
    sheet.refresh_from_db()
    assert (sheet.state, sheet.labour_minutes) == (ServiceSheet.State.SIGNED, 77)


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
