"""Signing on a phone without signal: what is shown first, its minutes, what it says then."""

import re
from datetime import timedelta

import pytest
from django.utils import timezone
from playwright.sync_api import expect

from shop.models import Person, ServiceSheet
from tests.journeys.acting import sign_by_name, signed, step
from tests.journeys.conftest import Look
from tests.journeys.phones import SheetPhone
from tests.journeys.worlds import JourneyWorld, answer_everything, answer_steps, draft_found_work

pytestmark = pytest.mark.usefixtures("silence_is_meant")


def test_the_first_tap_on_signing_shows_what_is_signed(
    phone: SheetPhone, sheet: ServiceSheet, technician: Person
) -> None:
    answer_everything(sheet, by=technician, at=timezone.now())
    phone.open("#sign")
    page = phone.page
    name = page.locator("[name=signature]")
    expect(name).not_to_be_in_viewport()
    page.get_by_role("link", name="Sign the sheet").click()
    expect(name).to_be_in_viewport()
    sheet.refresh_from_db()
    assert sheet.state != ServiceSheet.State.SIGNED


def test_the_minutes_in_the_signature_are_those_of_the_clock_on_this_phone(
    phone: SheetPhone, sheet: ServiceSheet, technician: Person, world: JourneyWorld
) -> None:
    """Started and stopped without signal, on this sheet and on another, and then typed over."""
    answer_everything(sheet, by=technician, at=world.now)
    other = SheetPhone(phone.page, draft_found_work(world, technician=technician))
    other.open()
    other.is_ready_to_leave()
    phone.open("#sign")
    phone.is_ready_to_leave()
    page, minutes = phone.page, phone.page.locator("#labour")
    said = page.locator("#labour-from")
    assert minutes.input_value() not in ("25", "35")
    expect(said).to_have_text(re.compile("As planned|Since the first entry"))
    phone.loses_signal()
    begun = timezone.now()

    def taps(name: str, after: int, at: SheetPhone = phone) -> None:
        """So many minutes later by the clock of the phone, which loses no time by moving it."""
        page.clock.set_system_time(begun + timedelta(minutes=after))
        at.open("#cautions")
        page.get_by_role("button", name=name).click()
        expect(page.get_by_role("button", name=name)).to_be_hidden()
        phone.open("#sign")

    taps("Start my time", 0)
    taps("Stop my time", 25)
    expect(minutes).to_have_value("25")
    expect(said).to_have_text("From your clock.")
    taps("Start my time", 40)
    page.clock.set_system_time(begun + timedelta(minutes=45))
    phone.open("#sign")
    expect(minutes).to_have_value("30")  # it runs
    taps("Start my time", 50, at=other)
    page.clock.set_system_time(begun + timedelta(minutes=90))
    phone.open("#sign")
    expect(minutes).to_have_value("35")  # it ended where another began
    minutes.fill("55")
    expect(said).to_be_hidden()
    page.get_by_role("link", name=re.compile("^Cautions")).click()
    page.get_by_role("button", name="Stop my time").click()
    expect(minutes).to_have_value("55")  # what somebody typed stays
    page.clock.set_system_time(begun + timedelta(minutes=91))
    phone.open("#sign")
    expect(minutes).to_have_value("55")  # in a page that was closed, too
    expect(page.locator("#minutes").get_by_text("Typed here, not entered yet.")).to_be_visible()
    expect(said).to_be_hidden()
    phone.has_signal_again()
    phone.sent_all()
    sign_by_name(page)
    signed(page)
    sheet.refresh_from_db()
    assert sheet.labour_minutes == 55


def test_with_nothing_drawn_it_is_asked_beside_the_box_and_what_is_signed_is_closed(
    phone: SheetPhone, sheet: ServiceSheet, technician: Person, look: Look
) -> None:
    answer_everything(sheet, by=technician, at=timezone.now())
    phone.open("#sign")
    phone.is_ready_to_leave()
    phone.loses_signal()
    page = phone.page
    asks = page.locator("#by-name")
    signs = page.get_by_role("link", name="Sign the sheet")
    closed = page.locator("#drawn, #labour, #signature, form[data-kind=clock]")
    signed_here = page.get_by_text("Signed, and kept here")
    page.locator("[name=signature]").scroll_into_view_if_needed()
    for _ in range(2):  # the same button again is no answer
        signs.dblclick()
        expect(asks).to_be_in_viewport()
        page.keyboard.press("Enter")
        expect(signed_here).to_be_hidden()
    look(page, schemes=("light", "dark"))
    stands = page.locator("#drawn").bounding_box()
    page.locator("#drawn").click(position={"x": 60, "y": 40})
    expect(asks).to_be_hidden()
    assert page.locator("#drawn").bounding_box() == stands  # under the finger that draws
    # A touch alone drew nothing.
    page.evaluate("document.querySelector('#sign-form').requestSubmit()")
    expect(asks).to_be_visible()
    phone.draws_a_signature()
    signs.click()
    expect(signed_here).to_be_visible()
    for each in closed.all():
        expect(each).to_be_hidden()
    look(page)
    page.evaluate("location.hash = 'cautions'")
    expect(page.locator("#cautions")).to_be_visible()
    expect(page.get_by_role("button", name="Start my time")).to_be_hidden()
    phone.open("#sign")
    expect(signed_here).to_be_visible()
    expect(page.locator("#signing")).to_be_hidden()
    phone.has_signal_again()
    signed(page)
    sheet.refresh_from_db()
    assert " L " in sheet.drawn


def test_a_sheet_signed_without_signal_says_so_in_its_head_and_on_today(
    phone: SheetPhone, sheet: ServiceSheet, technician: Person, world: JourneyWorld
) -> None:
    answer_everything(sheet, by=technician, at=world.now)
    phone.open("#sign")
    phone.is_ready_to_leave()
    phone.loses_signal()
    page = phone.page
    row = page.locator("li").filter(has_text=f"Sheet {sheet}")
    head = page.locator(".title-block .end")
    expect(head).to_contain_text("under way")
    page.get_by_label("How long the work took").fill("95")
    sign_by_name(page)
    expect(head.get_by_text("signed, kept here")).to_be_visible()
    expect(head).not_to_contain_text("under way", use_inner_text=True)
    page.goto("/")  # Today is not on the phone; what stands there instead says so too
    expect(page.locator("#carried")).to_contain_text(f"Sheet {sheet}, 01 Trailer 1: signed, kept")

    phone.context.set_offline(False)  # a signal too weak to send by
    page.goto("/")
    expect(row.get_by_text("signed, kept here")).to_be_visible()
    expect(row).not_to_contain_text("under way", use_inner_text=True)
    phone.has_signal_again()
    expect(row).to_be_hidden()  # it is the shop's now
    sheet.refresh_from_db()
    assert sheet.state == "signed"


def test_a_signature_behind_more_than_is_sent_at_once_stands(
    phone: SheetPhone, sheet: ServiceSheet, technician: Person, world: JourneyWorld
) -> None:
    """What was promised to be kept is kept: the manager is asked, and not whoever signed."""
    answer_steps(sheet, by=technician, at=world.now)
    phone.open("#parts")
    phone.is_ready_to_leave()
    phone.loses_signal()
    page = phone.page
    page.get_by_role("button", name="I have taken them to the tray").click()
    expect(page.get_by_text("Taken to the tray, kept here")).to_be_visible()
    for row in page.locator("[data-row]").all():
        row.get_by_role("textbox").fill("9")
        row.get_by_role("textbox").press("Tab")
        expect(row.locator(".said")).to_contain_text("9 used")
    choices = step(page, "Side seal").locator("button[name=choice]")
    for choice in (1, 0) * 26:
        button = choices.nth(choice)
        button.evaluate("button => button.click()")
        expect(button).to_have_attribute("aria-pressed", "true")
    page.get_by_role("link", name="Sign", exact=True).click()
    phone.draws_a_signature()
    # Tried once in vain, so that nobody waits for its answer any more.
    with page.expect_event("requestfailed", lambda request: request.url.endswith("/entries/")):
        page.get_by_role("link", name="Sign the sheet").click()
    expect(page.get_by_text("Signed, and kept here")).to_be_visible()
    page.wait_for_timeout(1_000)  # the browser's database has it a moment later

    phone.has_signal_again()
    page.wait_for_url(re.compile(rf"/sheets/{sheet.number}/$"), timeout=40_000)
    sheet.refresh_from_db()
    assert (sheet.state, sheet.signed_by) == ("signed", technician)
    assert sheet.unsettled.count() == 2  # of neither part as much was there as was used
