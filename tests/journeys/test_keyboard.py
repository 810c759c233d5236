"""The due list without a mouse: find it, pick from it, draft from it, always seen."""

from collections.abc import Callable
from functools import partial

from playwright.sync_api import Page, expect

from shop.models import Person, ServiceSheet
from tests.journeys.acting import said
from tests.journeys.conftest import DESK, Look
from tests.journeys.worlds import JourneyWorld

FOCUS = """() => {
    const here = document.activeElement;
    const seen = here.closest("label, .field") ?? here;
    const box = (each) => {
        const style = getComputedStyle(each);
        return style.outlineStyle === "none" ? 0 : parseFloat(style.outlineWidth);
    };
    return {
        ring: Math.max(box(here), box(seen)),
        text: (here.innerText || here.value || here.getAttribute("aria-label") || "").trim(),
        label: here.labels?.[0]?.textContent.trim() ?? "",
        tag: here.tagName,
        type: here.type ?? "",
    };
}"""


def tab_to(page: Page, wanted: Callable[[dict[str, str]], bool], *, most: int = 60) -> None:
    """Press Tab until the focus is there. Wherever it comes by, it is seen."""
    for _ in range(most):
        page.keyboard.press("Tab")
        here = page.evaluate(FOCUS)
        assert here["tag"] == "BODY" or here["ring"] >= 2, f"the focus is not seen on {here}"
        if wanted(here):
            return
    raise AssertionError("Tab does not come there.")


def is_box_of(service: str, here: dict[str, str]) -> bool:
    return service in here["label"] and here["type"] == "checkbox"


def test_services_are_picked_and_drafted_by_keyboard_alone(
    page_at: Callable[..., Page],
    sign_in_as: Callable[..., Person],
    look: Look,
    world: JourneyWorld,
) -> None:
    page = page_at(DESK)
    sign_in_as(page, "manager")
    page.goto("/")
    tab_to(page, lambda here: here["text"] == "Due")
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", name="Due", exact=True)).to_be_visible()

    # The skip link comes first, shows itself, and goes past the bar.
    page.keyboard.press("Tab")
    skip = page.get_by_role("link", name="To the page itself")
    expect(skip).to_be_focused()
    expect(skip).to_be_in_viewport()
    page.keyboard.press("Enter")
    assert page.evaluate("document.activeElement.id") == "main"

    for service in ("full rebuild", "oil and filter"):
        tab_to(page, partial(is_box_of, service))
        page.keyboard.press("Space")
    expect(page.locator("#pickbar")).to_contain_text("2 services picked")
    # The bar at the foot covers nothing that has the focus.
    focused = page.locator("input[name=due]:focus").bounding_box()
    bar = page.locator("#pickbar").bounding_box()
    assert focused
    assert bar
    assert focused["y"] + focused["height"] <= bar["y"]

    tab_to(page, lambda here: here["text"].startswith("Draft a sheet for"))
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", name="Draft a sheet")).to_be_visible()
    look(page)
    tab_to(page, lambda here: here["text"] == "Draft the sheet")
    page.keyboard.press("Enter")
    said(page, "is drafted")
    assert ServiceSheet.objects.get().lines.count() == 2


def test_the_more_of_the_bar_opens_and_closes_by_keyboard(
    page_at: Callable[..., Page], sign_in_as: Callable[..., Person], world: JourneyWorld
) -> None:
    page = page_at(390)
    sign_in_as(page, "manager")
    page.goto("/rigs/")
    tab_to(page, lambda here: here["tag"] == "SUMMARY")
    page.keyboard.press("Enter")
    expect(page.get_by_role("link", name="Parts", exact=True).last).to_be_visible()
    page.keyboard.press("Escape")
    expect(page.locator(".nav details")).not_to_have_attribute("open", "")
    assert page.evaluate("document.activeElement.tagName") == "SUMMARY"
