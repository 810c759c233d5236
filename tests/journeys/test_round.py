"""A technician walks the daily round of a rig with a phone."""

from collections.abc import Callable

import pytest
from playwright.sync_api import Page, expect

from equipment.models import Finding, Round
from tests.journeys.acting import said
from tests.journeys.conftest import DESK, PHONE, Look
from tests.journeys.worlds import JourneyWorld, add_round


@pytest.mark.parametrize("width", [PHONE, DESK])
def test_a_check_that_is_not_right_becomes_found_work(
    page_at: Callable[..., Page],
    sign_in_as: Callable[..., object],
    look: Look,
    world: JourneyWorld,
    width: int,
) -> None:
    add_round(world)
    page = page_at(width)
    sign_in_as(page, "technician")
    page.goto("/")
    look(page)
    page.goto("/rigs/1/")
    page.get_by_role("link", name="Do the round").first.click()
    expect(page.get_by_role("heading", name="Round, ", exact=False).first).to_be_visible()
    look(page, schemes=("light", "dark"))

    oil, trigger, lubricant = (
        page.locator("li.asking").filter(has_text=text)
        for text in ("Oil between the marks", "Trigger lock holds", "Lubricant clear")
    )
    oil.get_by_label("In order").check()
    trigger.get_by_label("Not right", exact=True).check()
    page.get_by_role("button", name="Send the round").click()
    # Two things are missing; what was answered stays.
    expect(lubricant.get_by_text("Answer this check")).to_be_visible()
    expect(trigger.get_by_text("Say what is not right.")).to_be_visible()
    expect(oil.get_by_label("In order")).to_be_checked()
    look(page)
    assert not Round.objects.exists()

    trigger.get_by_label("What is not right").fill("trigger lock slips")
    lubricant.get_by_label("Not applicable").check()
    page.get_by_role("button", name="Send the round").click()
    said(page, "1 in order, 1 not right, now found work")
    expect(page.get_by_text("trigger lock slips").first).to_be_visible()
    look(page)
    assert Finding.objects.get().text == "Trigger lock holds: trigger lock slips"

    page.get_by_role("link", name="Do the round").first.click()
    expect(page.get_by_role("button", name="Send the round")).to_have_count(0)
    expect(page.get_by_text("trigger lock slips").first).to_be_visible()
    look(page)
