"""Gloves and thumbs: what is pressed is large enough, and nothing runs off the window."""

from collections.abc import Callable

import pytest
from playwright.sync_api import Page

from shop.models import Person, Role
from tests.journeys.acting import overprinted, sideways
from tests.journeys.conftest import DESK, PHONE
from tests.journeys.test_every_page import full_world, pages_of
from tests.journeys.worlds import JourneyWorld, draft
from tests.shop.pages.world import make_fleet

__all__ = ["full_world"]

#: What a finger or a glove must hit, in CSS pixels: anywhere, and on the sheet that is worked on.
FINGER, GLOVE = 44, 56
#: A desk of 1280 px at 200 %.
ZOOMED = 640
SMALL = """(least) => {
    const shown = (box) => box.width > 1 && box.height > 1;
    const target = (each) => {
        if (!/^(checkbox|radio|file)$/.test(each.type)) return each;
        return each.closest("label") ?? (each.type === "file" ? each : each.labels?.[0] ?? each);
    };
    // A link that stands in a sentence is as high as its line.
    const inSentence = (each) =>
        each.tagName === "A" && getComputedStyle(each).display === "inline" &&
        each.parentElement.textContent.trim().length > each.textContent.trim().length + 2;
    const all = "a[href], button, summary, select, textarea, input:not([type=hidden])";
    return [...document.querySelectorAll(all)]
        .filter((each) => each.checkVisibility({ visibilityProperty: true }))
        .filter((each) => !each.closest(".skip, .visually-hidden") && !inSentence(each))
        .map((each) => [each, target(each).getBoundingClientRect()])
        .filter(([, box]) => shown(box) && (box.height < least - 0.5 || box.width < FINGER - 0.5))
        .map(([each, { width, height }]) =>
            `${Math.round(width)} × ${Math.round(height)}: ${each.outerHTML.slice(0, 120)}`);
}""".replace("FINGER", str(FINGER))


def test_what_a_technician_presses_is_large_enough(
    page_at: Callable[..., Page],
    sign_in_as: Callable[..., Person],
    full_world: JourneyWorld,
) -> None:
    page = page_at(PHONE)
    technician = sign_in_as(page, Role.TECHNICIAN)
    small: list[str] = []
    for address in pages_of(technician, full_world):
        page.goto(address)
        least = GLOVE if "/work/" in address else FINGER
        small += [f"{address}: {each}" for each in page.evaluate(SMALL, least)]
    assert not small, "\n".join(dict.fromkeys(small))


@pytest.fixture
def long_world(world: JourneyWorld) -> JourneyWorld:
    """More rigs than a page shows at once, with names as long as they may be."""
    rigs = make_fleet(32, first=2)
    for rig in rigs[:4]:
        rig.name = "Anhängerüberführungsfahrzeug " + "Обогреватель " * 2 + f"{rig.number}"
        rig.save(update_fields=["name"])
    return world


LISTS = (
    "/",
    "/rigs/",
    "/rigs/3/",
    "/due/?before=all",
    "/sheets/",
    "/sheets/403/",
    "/components/",
    "/services/",
    "/parts/",
    "/buying/",
    "/sheets/new/?rig=4",
)


def test_long_lists_stay_on_their_window(
    page_at: Callable[..., Page],
    sign_in_as: Callable[..., Person],
    long_world: JourneyWorld,
    technician: Person,
) -> None:
    """At a phone's width, and at a desk's zoomed to 200 %, which is half as wide; no text of a row
    lies over another.
    """
    technician.name = "Maximiliana Featherstonehaugh"
    technician.save(update_fields=["name"])
    draft(long_world, technician=technician)
    page = page_at(DESK)
    sign_in_as(page, Role.MANAGER)
    wide: list[str] = []
    for address in LISTS:
        answer = page.goto(address)
        assert answer is not None
        assert answer.status == 200, address
        for width in (PHONE, ZOOMED, DESK):
            page.set_viewport_size({"width": width, "height": 720})
            if out := sideways(page):
                wide.append(f"{address} at {width}: {out}")
            wide += [f"{address} at {width}: {each}" for each in overprinted(page)]
    assert not wide, "\n".join(wide)

    # That the eyes used here would see it.
    page.goto("/sheets/")
    page.set_viewport_size({"width": PHONE, "height": 720})
    state = page.locator(".cell-state").first
    state.evaluate("each => { each.style.gridArea = 'person'; }")
    assert overprinted(page)


def test_zoomed_to_twice_its_size_every_page_stays_on_its_window(
    page_at: Callable[..., Page], sign_in_as: Callable[..., Person], full_world: JourneyWorld
) -> None:
    """WCAG 2.2, 1.4.10: at 320 px (1280 at 400 %) a page is read without scrolling sideways."""
    page = page_at(DESK)
    manager = sign_in_as(page, Role.MANAGER)
    wide: list[str] = []
    for address in pages_of(manager, full_world):
        page.goto(address)
        for width in (ZOOMED, 320):
            page.set_viewport_size({"width": width, "height": 450})
            if out := sideways(page):
                wide.append(f"{address} at {width}: {out}")
    assert not wide, "\n".join(wide)
