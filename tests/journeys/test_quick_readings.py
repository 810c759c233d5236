"""Reading a whole rig with a thumb: one screen, no scrolling, big boxes, a keypad of figures."""

from collections.abc import Callable
from decimal import Decimal

import pytest
from playwright.sync_api import Locator, Page, expect

from equipment.models import Counter, Reading
from equipment.services import create_counter
from shop.models import Person, Role
from tests.equipment.factories import ZONE
from tests.journeys.acting import said
from tests.journeys.conftest import PHONE, Look
from tests.journeys.worlds import JourneyWorld

#: What a usual rig has at most: three hour meters, two stroke counters, one flow meter.
SIX = ("Hydraulic unit hours", "Compressor hours", "Transfer pump gallons")


@pytest.fixture
def six(world: JourneyWorld) -> JourneyWorld:
    for order, name in enumerate(SIX, start=3):
        create_counter(
            rig=world.fleet.rig,
            name=name,
            counts=Counter.Counts.HOURS if "hours" in name else Counter.Counts.GALLONS,
            side="" if "hours" in name else "A",
            display_step=Decimal("0.1"),
            first_value=Decimal(9_412),
            started_at=world.fleet.counters["hours"].started_at,
            order=order,
            zone=ZONE,
        )
    return world


def face(page: Page, world: JourneyWorld, name: str) -> Locator:
    return page.locator(f"#counter-{world.fleet.counters[name].pk}")


def test_six_counters_stand_on_one_screen_of_a_phone(
    page_at: Callable[..., Page], sign_in_as: Callable[..., Person], look: Look, six: JourneyWorld
) -> None:
    page = page_at(PHONE)
    sign_in_as(page, Role.TECHNICIAN)
    page.goto("/rigs/1/")
    page.get_by_role("link", name="Take a reading").first.click()
    boxes = page.locator(".faces input[inputmode=decimal]").filter(visible=True)
    expect(boxes).to_have_count(6)
    button = page.get_by_role("button", name="Keep the readings").bounding_box()
    assert button is not None
    assert button["y"] + button["height"] <= 844
    assert button["height"] >= 56
    for number in range(6):
        box = boxes.nth(number).bounding_box()
        assert box is not None
        assert min(box["width"], box["height"]) >= 44
        assert box["y"] >= 0
        assert box["y"] + box["height"] <= button["y"], f"box {number} lies under the button"
        assert boxes.nth(number).get_attribute("type") == "text"
    assert page.evaluate("window.scrollY") == 0
    look(page, schemes=("light", "dark"))


def test_an_unusual_value_is_asked_about_once_and_nothing_is_lost(
    page_at: Callable[..., Page], sign_in_as: Callable[..., Person], look: Look, six: JourneyWorld
) -> None:
    page = page_at(PHONE)
    sign_in_as(page, Role.TECHNICIAN)
    page.goto("/")
    page.get_by_role("link", name="Reading").first.click()
    expect(face(page, six, "hours")).to_contain_text("expect ")
    page.get_by_label("A strokes").fill("49000")
    page.get_by_label("B strokes").fill("12100")
    page.get_by_role("button", name="Keep the readings").click()
    expect(face(page, six, "a")).to_contain_text("More than usual: 41,000 strokes since")
    expect(page.get_by_label("B strokes")).to_have_value("12100")
    look(page)
    page.get_by_role("button", name="It is right, keep it").click()
    said(page, "2 readings kept.")
    assert [row.value for row in Reading.objects.of(six.fleet.counters["a"])][-1] == 49_000


def test_what_happened_to_a_face_is_one_tap_away(
    page_at: Callable[..., Page], sign_in_as: Callable[..., Person], six: JourneyWorld
) -> None:
    page = page_at(PHONE)
    sign_in_as(page, Role.TECHNICIAN)
    page.goto("/rigs/1/readings/")
    folds = page.locator(".happened summary")
    expect(folds.first).to_be_hidden()
    page.get_by_text("One was reset or has a new face").click()
    expect(folds.first).to_be_visible()
    face(page, six, "a").locator("summary").click()
    face(page, six, "a").get_by_label("It was reset").check()
    page.get_by_label("A strokes", exact=False).first.fill("12")
    page.get_by_role("button", name="Keep the readings").click()
    said(page, "1 reading kept.")
    row = Reading.objects.of(six.fleet.counters["a"]).last()
    assert row is not None
    assert (row.value, row.step, row.is_at_least) == (12, Reading.Step.RESET, True)
