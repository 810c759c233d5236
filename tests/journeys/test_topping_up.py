"""A drawer is filled with one button, on a phone with a glove on; the labels' page beside it."""

from collections.abc import Callable
from datetime import timedelta

import pytest
from playwright.sync_api import Page

from inventory.models import Balance
from shop.models import Person, Role
from shop.services.drawer_targets import set_target
from tests.inventory.factories import received
from tests.journeys.conftest import DESK, PHONE, Look
from tests.journeys.worlds import JourneyWorld, today


@pytest.mark.parametrize("width", [PHONE, DESK])
def test_moved_into_the_drawer(
    page_at: Callable[..., Page],
    sign_in_as: Callable[..., Person],
    look: Look,
    world: JourneyWorld,
    width: int,
) -> None:
    sheets = world.sheets
    received(sheets.seal, sheets.bin, 4, 3600)
    set_target(
        part=sheets.seal,
        drawer=sheets.drawer,
        steps=3,
        reason="long job",
        review_on=today(world) + timedelta(days=60),
        author=sheets.manager,
        at=world.now,
    )
    page = page_at(width)
    sign_in_as(page, Role.MANAGER)
    page.goto("/drawers/")
    page.get_by_text("2 pieces from K-03").wait_for()
    look(page)
    page.get_by_role("button", name="Moved into the drawer").click()
    page.get_by_text("is filled.").wait_for()
    look(page)
    lying = Balance.objects.filter(part=sheets.seal, location=sheets.drawer)
    assert sum(row.quantity_steps for row in lying) == 3
    page.goto(f"/drawers/{sheets.drawer.code}/")
    page.get_by_text("“long job”").wait_for()
    look(page)
    page.goto("/labels/")
    look(page)
