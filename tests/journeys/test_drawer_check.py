"""A drawer is checked in a handful of taps, on a phone with a glove on; a manager sees the rest."""

from collections.abc import Callable

from playwright.sync_api import Locator, Page

from inventory.models import Count, Part, RobbedKit
from inventory.services import KitLineSpec, prove, set_kit_lines
from shop.models import Person, Role
from tests.inventory.factories import PartFactory, received
from tests.journeys.conftest import DESK, PHONE, Look
from tests.journeys.test_targets import FINGER, SMALL
from tests.journeys.worlds import JourneyWorld

#: Two minutes at a slow ten seconds a tap, with a glove on. Common practice, no source.
MOST_TAPS = 12


def a_kit_in_the_drawer(world: JourneyWorld) -> Part:
    sheets = world.sheets
    kit: Part = PartFactory(number="DK-1", kit=True)
    lines = [KitLineSpec(part=sheets.seal, quantity_steps=2)]
    set_kit_lines(kit=kit, lines=lines, author=sheets.manager, at=world.now)
    received(kit, sheets.drawer, 2, 4_000)
    return kit


def test_a_robbed_kit_and_a_missing_seal_are_found_in_seven_taps(
    page_at: Callable[..., Page],
    sign_in_as: Callable[..., Person],
    look: Look,
    world: JourneyWorld,
) -> None:
    kit, taps = a_kit_in_the_drawer(world), 0
    page = page_at(PHONE)
    sign_in_as(page, Role.TECHNICIAN)
    page.goto("/")
    look(page)

    def tap(what: Locator) -> None:
        nonlocal taps
        what.first.click()
        taps += 1

    def button(name: str) -> Locator:
        return page.get_by_role("button", name=name)

    tap(button("Check 01-D1"))
    page.get_by_role("heading", name="Should be in the drawer").wait_for()
    look(page)
    assert page.evaluate(SMALL, FINGER) == []
    tap(button(f"One less of {world.sheets.seal.number}"))
    page.get_by_text(": none there.").wait_for()
    tap(page.get_by_text("Something is missing from one"))
    tap(page.locator("label.choice"))
    tap(button("These are missing"))
    page.get_by_text("one is robbed").wait_for()
    look(page)
    tap(button("All the rest is there"))
    page.get_by_text("All the rest is there.").wait_for()
    tap(button("Finish the count"))
    page.get_by_text("A manager approves what differs.").wait_for()
    look(page)
    assert taps == 7 <= MOST_TAPS
    assert RobbedKit.objects.get().kit == kit

    desk = page_at(DESK)
    sign_in_as(desk, Role.MANAGER)
    desk.goto("/")
    look(desk)
    desk.get_by_role("link", name="Drawer check of 01-D1").click()
    desk.get_by_text("−1 piece").wait_for()
    look(desk)
    desk.get_by_role("button", name="Approve and post it").click()
    desk.get_by_text("Posted: 1 line in the ledger.").wait_for()
    look(desk)
    assert Count.objects.get().state == "posted"
    assert prove() == []
