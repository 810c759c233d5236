"""What a person does on any page, and what every page must let them do."""

import re

from playwright.sync_api import Locator, Page, expect

from tests.conftest import PASSWORD


def sign_in_by_form(page: Page, sign_in: str, password: str = PASSWORD) -> None:
    """Fill the sign-in form that is shown."""
    page.get_by_label("Sign-in name").fill(sign_in)
    page.get_by_label("Password").fill(password)
    page.get_by_role("button", name="Sign in", exact=True).click()


def sideways(page: Page) -> str:
    """What sticks out of the window to the right, or nothing."""
    # By the element, for which Playwright waits: between two pages there is none for a moment.
    return page.locator("html").evaluate(
        """() => {
            const wide = document.documentElement.clientWidth;
            if (document.documentElement.scrollWidth <= wide) return "";
            const out = [...document.body.querySelectorAll("*")].filter(
                (each) => each.getBoundingClientRect().right > wide + 1
            );
            return `${document.documentElement.scrollWidth} > ${wide}: ` +
                out.slice(0, 4).map((each) => each.outerHTML.slice(0, 160)).join("\\n");
        }"""
    )


def said(page: Page, text: str | re.Pattern[str]) -> None:
    """The strip of messages says so."""
    expect(page.locator("#messages")).to_contain_text(text)


def signed(page: Page) -> None:
    """The sheet's own page says that it is signed."""
    expect(page).to_have_url(re.compile(r"/sheets/\d+/$"))
    expect(page.locator(".title-block .punches")).to_contain_text("signed")


def make_safe(page: Page) -> None:
    """On a sheet under way: every caution read, every source locked out, every gauge at zero."""
    page.get_by_role("link", name=re.compile("^Cautions")).click()
    part = page.locator("#cautions")
    read = part.get_by_role("button", name="I have read this")
    while before := read.count():
        read.first.click()
        expect(read).to_have_count(before - 1)
    _tick(part)
    for gauge in part.locator(".measure").all():
        gauge.get_by_role("textbox").fill("0")
        gauge.get_by_role("button", name="Enter").click()
        expect(gauge.get_by_role("button", name="Correct it")).to_be_visible()
    expect(part.get_by_text("The checks are open.")).to_be_visible()


def back_to_service(page: Page) -> None:
    """What brings the rig back, before the signature."""
    _tick(page.locator("#returns"))


def _tick(part: Locator) -> None:
    for row in part.locator("button.check-row").all():
        row.click()
        expect(row).to_have_attribute("aria-pressed", "true")


def step(page: Page, title: str) -> Locator:
    """One check, caution or gauge on the technician's copy."""
    return page.locator("li[id^=step-]").filter(has_text=title)
