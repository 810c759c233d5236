"""Something wrong is reported from any page with three taps of a glove, by anybody."""

import re
from collections.abc import Callable

import pytest
from playwright.sync_api import Locator, Page, expect

from equipment.models import Finding
from shop.models import Person, Role, ServiceSheet
from tests.journeys.acting import said
from tests.journeys.conftest import PHONE, Look
from tests.journeys.phones import SheetPhone
from tests.journeys.test_targets import FINGER, SMALL
from tests.journeys.worlds import JourneyWorld

TAPS = 3


@pytest.mark.parametrize(
    ("role", "begins"),
    [
        (Role.TECHNICIAN, "/"),
        (Role.TECHNICIAN, "/rigs/"),
        (Role.TECHNICIAN, "/parts/"),
        (Role.OWNER, "/"),
    ],
)
def test_found_work_in_three_taps(
    page_at: Callable[..., Page],
    sign_in_as: Callable[..., Person],
    look: Look,
    world: JourneyWorld,
    role: str,
    begins: str,
) -> None:
    page, taps = page_at(PHONE), 0
    person = sign_in_as(page, role)
    page.goto(begins)

    def tap(what: Locator) -> None:
        nonlocal taps
        shown = what.filter(visible=True).first
        box = shown.bounding_box()
        assert box is not None
        assert min(box["width"], box["height"]) >= 44
        shown.tap()
        taps += 1

    tap(page.get_by_role("link", name="Found work", exact=True))
    page.get_by_role("heading", name="Found work").wait_for()
    look(page)
    assert page.evaluate(SMALL, FINGER) == []
    tap(page.locator(".rig-choice label").first)
    expect(page.get_by_label("Trailer 1")).to_be_checked()
    # The phone's own keyboard, with its dictation, is open: the words are next.
    expect(page.get_by_label("What you found")).to_be_focused()
    page.get_by_label("What you found").fill("whip hose rubs on the door")
    tap(page.get_by_role("button", name="Report"))
    said(page, "Found work on rig 01 Trailer 1 is written down.")
    assert taps <= TAPS
    made = Finding.objects.get()
    assert (made.text, made.rig, made.is_grave, made.opened_by_id) == (
        "whip hose rubs on the door",
        world.fleet.rig,
        False,
        person.pk,
    )


@pytest.mark.usefixtures("silence_is_meant")
def test_on_a_sheet_it_is_reported_in_place_without_signal(
    phone: SheetPhone, look: Look, world: JourneyWorld, technician: Person
) -> None:
    phone.is_ready_to_leave()
    phone.loses_signal()
    page = phone.page
    button = page.get_by_role("link", name="Found work", exact=True)
    page.locator("#work-tabs").get_by_role("link", name=re.compile("^Checks")).tap()
    button.tap()
    words = page.locator("#found-text")
    expect(words).to_be_focused()
    expect(words).to_be_in_viewport()
    look(page)
    # From another part, and again while its address stands.
    page.evaluate("history.replaceState(null, '', '#report')")
    page.locator("#report > summary").tap()
    button.tap()
    expect(words).to_be_focused()
    words.fill("whip hose rubs on the door")
    page.get_by_role("button", name="Report it").tap()
    expect(page.locator("#found-here")).to_contain_text("whip hose rubs on the door, kept here")
    back = page.get_by_role("link", name="Back to the work")
    back.tap()
    expect(back).to_be_hidden()
    expect(page.locator("section[data-tab=checks]").first).to_be_visible()
    phone.has_signal_again()
    phone.sent_all()
    made = Finding.objects.get()
    assert (made.text, made.rig, made.opened_by_id) == (
        "whip hose rubs on the door",
        world.fleet.rig,
        technician.pk,
    )


def test_on_a_sheet_without_script_it_is_the_link_it_was(
    page_at: Callable[..., Page],
    sign_in_as: Callable[..., Person],
    sheet: ServiceSheet,
    technician: Person,
) -> None:
    page = page_at(PHONE, java_script_enabled=False)
    sign_in_as(page, technician)
    page.goto(f"/sheets/{sheet.number}/work/")
    page.get_by_role("link", name="Found work", exact=True).click()
    expect(page.get_by_label("Trailer 1")).to_be_checked()  # the rig is the sheet's
    page.get_by_label("What you found").fill("whip hose rubs on the door")
    page.get_by_role("button", name="Report").click()
    said(page, "Found work on rig 01 Trailer 1 is written down.")
    assert page.url.endswith(f"/sheets/{sheet.number}/work/")


def test_what_is_missing_is_said_beside_it_and_the_rest_stays(
    page_at: Callable[..., Page],
    sign_in_as: Callable[..., Person],
    look: Look,
    world: JourneyWorld,
) -> None:
    page = page_at(PHONE, java_script_enabled=False)
    sign_in_as(page, Role.TECHNICIAN)
    page.goto("/found/new/?back=/rigs/1/")
    page.get_by_label("What you found").fill("rubs")
    page.get_by_label("Rig must not leave").check()
    page.get_by_role("button", name="Report").click()
    expect(page.get_by_text("Choose the rig.")).to_be_visible()
    expect(page.get_by_label("What you found")).to_have_value("rubs")
    expect(page.get_by_label("Rig must not leave")).to_be_checked()
    page.locator(".rig-choice label").first.click()
    page.get_by_role("button", name="Report").click()
    expect(page.locator("#messages")).to_contain_text("must not leave until it is put right")
    assert page.url.endswith("/rigs/1/")
    assert Finding.objects.get().is_grave
