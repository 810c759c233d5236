"""What a person does on any page, and what every page must let them do."""

import re
from dataclasses import dataclass

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


def overprinted(page: Page) -> list[str]:
    """Texts of one row of a table that lie over each other, pair by pair."""
    found: list[str] = page.evaluate(
        """() => {
            const texts = (row) => {
                const found = [];
                const walk = document.createTreeWalker(row, NodeFilter.SHOW_TEXT);
                for (let text = walk.nextNode(); text; text = walk.nextNode()) {
                    const holds = text.parentElement;
                    if (!text.data.trim() || !holds.checkVisibility()) continue;
                    if (holds.closest("svg, select, .visually-hidden")) continue;
                    const range = document.createRange();
                    range.selectNodeContents(text);
                    for (const box of range.getClientRects()) found.push([text, box]);
                }
                return found;
            };
            const { min, max } = Math;
            const across = (one, its) => min(one.right, its.right) - max(one.left, its.left);
            const down = (one, its) => min(one.bottom, its.bottom) - max(one.top, its.top);
            const found = [];
            for (const row of document.querySelectorAll("tr")) {
                const all = texts(row);
                for (const [index, [one, box]] of all.entries()) {
                    for (const [other, its] of all.slice(index + 1)) {
                        // Lines that follow each other share a pixel or four of their leading.
                        if (one !== other && across(box, its) > 1 && down(box, its) > 4) {
                            found.push(`"${one.data.trim()}" over "${other.data.trim()}"`);
                        }
                    }
                }
            }
            return found;
        }"""
    )
    return found


def said(page: Page, text: str | re.Pattern[str]) -> None:
    """The strip of messages says so."""
    expect(page.locator("#messages")).to_contain_text(text)


def signed(page: Page) -> None:
    """The sheet's own page says that it is signed."""
    expect(page).to_have_url(re.compile(r"/sheets/\d+/$"))
    expect(page.locator(".title-block .punches")).to_contain_text("signed")


@dataclass(frozen=True)
class SafeWords:
    """What a page says on the way to open checks."""

    cautions: str = "Cautions"
    read: str = "I have read this"
    enter: str = "Enter"
    correct: str = "Change"
    is_open: str = "The checks are open."


def make_safe(page: Page, words: SafeWords = SafeWords()) -> None:
    """On a sheet under way: every caution read, every source locked out, every gauge at zero."""
    page.get_by_role("link", name=re.compile(f"^{words.cautions}")).click()
    part = page.locator("#cautions")
    expect(part).to_be_visible()  # the page may have opened elsewhere, and nothing is read there
    read = part.get_by_role("button", name=words.read)
    while before := read.count():
        read.first.click()
        expect(read).to_have_count(before - 1)
    _tick(part)
    for gauge in part.locator(".measure").all():
        gauge.get_by_role("textbox").fill("0")
        gauge.get_by_role("button", name=words.enter).click()
        expect(gauge.get_by_role("button", name=words.correct)).to_be_visible()
    expect(part.get_by_text(words.is_open)).to_be_visible()


def back_to_service(page: Page) -> None:
    """What brings the rig back, before the signature; then to the signature."""
    page.evaluate("location.hash = 'back'")
    _tick(page.locator("#returns"))
    page.evaluate("location.hash = 'sign'")
    expect(page.locator("#sign")).to_be_visible()


@dataclass(frozen=True)
class SignWords:
    """What a page says where a sheet is signed."""

    sign: str = "Sign the sheet"
    by_name: str = "Sign by name alone"


def sign_by_name(page: Page, words: SignWords = SignWords()) -> None:
    """On a phone with the script, with nothing drawn, which is asked about."""
    page.locator("[name=signature]").scroll_into_view_if_needed()
    page.get_by_role("link", name=words.sign).click()
    page.get_by_role("button", name=words.by_name).click()


def _tick(part: Locator) -> None:
    for row in part.locator("button.check-row").all():
        row.click()
        expect(row).to_have_attribute("aria-pressed", "true")


def step(page: Page, title: str) -> Locator:
    """One check, caution or gauge on the technician's copy."""
    return page.locator("li[id^=step-]").filter(has_text=title)
