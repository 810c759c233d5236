"""A technician walks the daily round of a rig with a phone."""

from collections.abc import Callable
from time import monotonic

import pytest
from playwright.sync_api import Locator, Page, expect

from equipment.models import Finding, Reading, Round
from tests.journeys.acting import said
from tests.journeys.conftest import DESK, PHONE, Look
from tests.journeys.test_targets import FINGER, SMALL
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
    page.get_by_role("button", name="The rest is in order").click()
    # A word is missing; what was answered stays.
    expect(trigger.get_by_text("Say what is not right.")).to_be_visible()
    expect(oil.get_by_label("In order")).to_be_checked()
    look(page)
    assert not Round.objects.exists()

    trigger.get_by_label("What is not right").fill("trigger lock slips")
    lubricant.get_by_label("Not right", exact=True).check()
    lubricant.get_by_label("It does not apply here").check()
    page.get_by_role("button", name="The rest is in order").click()
    said(page, "1 in order, 1 not right, now found work")
    expect(page.get_by_text("trigger lock slips").first).to_be_visible()
    look(page)
    assert Finding.objects.get().text == "Trigger lock holds: trigger lock slips"

    page.get_by_role("link", name="Do the round").first.click()
    expect(page.get_by_role("button", name="The rest is in order")).to_have_count(0)
    expect(page.get_by_text("trigger lock slips").first).to_be_visible()
    look(page)


#: A round takes a minute; a tap and a figure with a glove on so long. Common practice, no source.
A_MINUTE_S, SLOW_TAP_S, FIGURES_S = 60, 10, 5


@pytest.mark.parametrize("wrong", [False, True], ids=["all in order", "one thing wrong"])
def test_a_round_is_walked_in_a_minute(
    page_at: Callable[..., Page],
    sign_in_as: Callable[..., object],
    look: Look,
    world: JourneyWorld,
    wrong: bool,
) -> None:
    add_round(world)
    page, taps, figures = page_at(PHONE), 0, 0
    sign_in_as(page, "technician")
    page.goto("/")

    def tap(what: Locator) -> None:
        nonlocal taps
        box = what.bounding_box()
        assert box is not None
        assert min(box["width"], box["height"]) >= 44
        what.tap()
        taps += 1

    began = monotonic()
    tap(page.get_by_role("link", name="Round").first)
    page.get_by_role("heading", name="Round, ", exact=False).first.wait_for()
    page.wait_for_load_state()  # sizes are those of its style
    assert page.evaluate(SMALL, FINGER) == []
    if wrong:
        trigger = page.locator("li.asking").filter(has_text="Trigger lock holds")
        tap(trigger.locator("label.way"))
        trigger.get_by_label("What is not right").fill("slips")
        tap(trigger.locator("label").filter(has_text="Rig must not leave"))
    hours = page.get_by_label("Generator hours")
    tap(hours)
    hours.fill("212")
    figures += 1
    look(page)
    tap(page.get_by_role("button", name="The rest is in order"))
    said(page, "in order, 1 not right" if wrong else "The round is kept: 3 in order.")
    said(page, "1 reading kept.")
    lasted = monotonic() - began
    print(f"{taps} taps, {figures} figure typed, {lasted:.1f} s without the hand")
    assert taps <= (5 if wrong else 3)
    assert taps * SLOW_TAP_S + figures * FIGURES_S <= A_MINUTE_S
    assert Round.objects.get().answers.count() == 3
    assert Finding.objects.holding().count() == int(wrong)
    assert Reading.objects.latest("pk").value == 212


def test_a_face_that_went_down_is_asked_about_and_nothing_is_kept(
    page_at: Callable[..., Page],
    sign_in_as: Callable[..., object],
    look: Look,
    world: JourneyWorld,
) -> None:
    add_round(world)
    page = page_at(PHONE)
    sign_in_as(page, "technician")
    page.goto("/rigs/1/round/")
    page.locator("label.tick").first.click()
    hours = page.get_by_label("Generator hours")
    hours.fill("12")
    page.get_by_role("button", name="The rest is in order").click()
    expect(page.get_by_text("Was the counter reset")).to_be_visible()
    look(page)
    expect(page.locator("label.tick input").first).to_be_checked()
    assert not Round.objects.exists()
    page.get_by_label("It was reset").first.check()
    page.get_by_role("button", name="The rest is in order").click()
    said(page, "1 reading kept.")
    assert Round.objects.exists()
