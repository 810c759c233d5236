"""Which pages a phone has without signal, and what works where no script runs."""

import re
from collections.abc import Callable

import pytest
from playwright.sync_api import Page, expect

from shop.models import Person, ServiceSheet
from shop.services.drafting import void_sheet
from tests.journeys.conftest import PHONE, Look
from tests.journeys.phones import SheetPhone, entries
from tests.journeys.worlds import JourneyWorld, draft_found_work

pytestmark = pytest.mark.usefixtures("silence_is_meant")


def test_today_takes_the_sheets_along(
    phone: SheetPhone, sheet: ServiceSheet, technician: Person, look: Look
) -> None:
    page = phone.page
    page.goto("/")
    expect(page.get_by_text("1 sheet is on this phone")).to_be_visible()
    look(page)
    phone.loses_signal()
    page.goto(f"/sheets/{sheet.number}/work/")
    expect(page.get_by_role("heading", name="Before you start")).to_be_visible()


def test_a_sheet_handed_out_since_comes_along_when_today_lists_it(
    phone: SheetPhone, technician: Person, world: JourneyWorld
) -> None:
    phone.is_ready_to_leave()
    draft_found_work(world, technician=technician)
    phone.page.goto("/")
    expect(phone.page.get_by_text("2 sheets are on this phone")).to_be_visible()


def test_a_sheet_of_somebody_else_is_on_the_phone_that_opened_it(
    phone: SheetPhone, manager: Person, world: JourneyWorld
) -> None:
    """Who joins it without signal finds it again; once it is void it goes."""
    phone.is_ready_to_leave()
    joined = SheetPhone(phone.page, draft_found_work(world, technician=manager))
    joined.open()
    joined.is_ready_to_leave()
    phone.page.goto("/")
    phone.page.get_by_role("button", name="Take the day’s work along").click()
    kept = phone.page.get_by_text("2 sheets are on this phone")
    expect(kept).to_be_visible()
    joined.loses_signal()
    joined.open()
    expect(phone.page.get_by_role("heading", name="Before you start")).to_be_visible()

    joined.is_in_reach()
    given = {"author": manager, "at": world.now, "request_id": joined.sheet.request_id}
    void_sheet(sheet=joined.sheet, reason="light replaced", **given)
    phone.page.goto("/")
    phone.page.get_by_role("button", name="Take the day’s work along").click()
    expect(phone.page.get_by_text("1 sheet is on this phone")).to_be_visible()
    joined.loses_signal()
    joined.page.goto(joined.address)
    expect(phone.page.get_by_role("heading", name="No signal")).to_be_visible()


def test_who_signs_out_leaves_no_page_behind(phone: SheetPhone, sheet: ServiceSheet) -> None:
    phone.is_ready_to_leave()
    page = phone.page
    page.locator("details.person summary").click()
    page.get_by_role("button", name="Sign out").click()
    expect(page.get_by_label("Password")).to_be_visible()
    phone.loses_signal()
    page.goto(f"/sheets/{sheet.number}/work/")
    expect(page.get_by_role("heading", name="No signal")).to_be_visible()


def test_a_page_that_is_not_on_the_phone_says_what_is(phone: SheetPhone, look: Look) -> None:
    phone.is_ready_to_leave()
    phone.loses_signal()
    phone.page.goto("/rigs/")
    expect(phone.page.get_by_role("heading", name="No signal")).to_be_visible()
    link = phone.page.get_by_role("link", name=re.compile(f"Sheet {phone.sheet}"))
    look(phone.page)
    link.click()
    expect(phone.page.get_by_role("heading", name="Before you start")).to_be_visible()


def test_without_a_script_the_sheet_can_be_worked_too(
    page_at: Callable[..., Page], sign_in_as: Callable[..., Person], sheet: ServiceSheet, look: Look
) -> None:
    page = page_at(PHONE, java_script_enabled=False)
    sign_in_as(page, "technician")
    page.goto(f"/sheets/{sheet.number}/work/")
    page.get_by_role("button", name="I have read this").first.click()
    expect(page).to_have_url(re.compile("#step-"))
    assert entries(sheet) == 1
    expect(page.get_by_role("button", name="Sign the sheet")).to_be_visible()
