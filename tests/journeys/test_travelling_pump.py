"""A pump goes from one rig to another with a reset on the way; a gun is changed with two taps."""

import re
from collections.abc import Callable
from datetime import datetime, timedelta

import pytest
from django.utils import timezone
from playwright.sync_api import Page, expect

from equipment.models import Exchange, Installation
from equipment.services import remove_component
from tests.equipment.factories import ZONE, SprayRig, day, shelf_component, spray_rig
from tests.journeys.acting import said
from tests.journeys.conftest import DESK, PHONE, Look
from tests.journeys.worlds import JourneyWorld


@pytest.fixture
def other(world: JourneyWorld) -> SprayRig:
    """A second rig whose A pump is out."""
    made = spray_rig(author=world.sheets.manager, number=2)
    out = {"at": day(1), "author": world.sheets.manager, "zone": ZONE}
    remove_component(component=made.pump("A"), **out)
    return made


def at(page: Page, moment: datetime) -> None:
    """Say that it happened then."""
    local = timezone.localtime(moment, ZONE)
    page.get_by_text("It happened at another time than now").click()
    page.get_by_label("Day").fill(f"{local:%Y-%m-%d}")
    page.get_by_label("Time", exact=False).fill(f"{local:%H:%M}")


@pytest.mark.parametrize("width", [PHONE, DESK])
def test_a_pump_moved_with_a_reset_on_the_way_keeps_its_life(
    page_at: Callable[..., Page],
    sign_in_as: Callable[..., object],
    look: Look,
    world: JourneyWorld,
    other: SprayRig,
    width: int,
) -> None:
    page = page_at(width)
    sign_in_as(page, "manager")
    pump = world.fleet.pump("A")
    came_out, went_in = world.now - timedelta(days=9), world.now - timedelta(days=8)

    # Out of rig 1, nine days ago. Its counter had been reset since: a question, not a guess.
    page.goto(f"/rigs/1/exchange/{world.fleet.positions['pump A'].pk}/")
    page.get_by_label("Why").fill("rebuild on the bench")
    at(page, came_out)
    page.get_by_label("A strokes", exact=False).first.fill("100")
    page.get_by_role("button", name="Exchange it").click()
    strokes = page.locator("li.asking").filter(has_text="A strokes")
    expect(strokes.get_by_text("Was the counter reset?")).to_be_visible()
    strokes.get_by_label("It was reset").check()
    strokes.get_by_label("Last value before that").fill("8300")
    look(page)
    page.get_by_role("button", name="Exchange it").click()
    said(page, f"{pump.tag} is out")

    # Into rig 2 the day after.
    page.goto(f"/rigs/2/exchange/{other.positions['pump A'].pk}/")
    page.get_by_label("Goes in").select_option(label=pump_label(page, pump.tag))
    page.get_by_label("Why").fill("rebuilt")
    at(page, went_in)
    page.get_by_label("A strokes", exact=False).first.fill("500")
    page.get_by_role("button", name="Fit it").click()
    said(page, f"{pump.tag} is fitted")

    # Eight thousand and three hundred in rig 1, a hundred since the reset, four hundred in rig 2.
    other.read(world.now - timedelta(days=1), a=900)
    page.goto(f"/components/{pump.tag}/")
    expect(page.locator(".life-facts").get_by_text("8,800 strokes")).to_be_visible()
    line = page.get_by_role("img", name="life 8,800 strokes")
    expect(line).to_have_count(1)  # the other of the two is not shown at this width
    look(page, schemes=("light", "dark"))

    # It was the wrong day: the manager undoes it, and both stay to be read.
    page.get_by_role("link", name=re.compile("Undo.*Fitted in rig 02")).first.click()
    page.get_by_label("Why").fill("it lay on the bench for a week")
    look(page)
    page.get_by_role("button", name="Undo it").click()
    said(page, f"{pump.tag} never sat there.")
    look(page)
    page.goto(f"/components/{pump.tag}/")
    expect(page.get_by_text("it lay on the bench for a week").first).to_be_visible()
    expect(page.locator(".life-facts").get_by_text("8,400 strokes")).to_be_visible()


def pump_label(page: Page, tag: str) -> str:
    """What the list calls a component."""
    option = page.get_by_label("Goes in").locator("option").filter(has_text=tag)
    return (option.text_content() or "").strip()


def test_a_gun_is_changed_with_two_taps(
    page_at: Callable[..., Page],
    sign_in_as: Callable[..., object],
    look: Look,
    world: JourneyWorld,
) -> None:
    place = world.fleet.positions["gun"]
    place.kind.icon = "gun"
    place.kind.save()
    shelf_component(place.kind, tag="G-04")
    page = page_at(PHONE)
    sign_in_as(page, "technician")
    page.goto("/rigs/1/")
    page.get_by_role("link", name="Change Spray gun").click()
    tap = page.get_by_role("button", name="G-04")
    box = tap.bounding_box()
    assert box is not None
    assert box["height"] >= 72
    assert box["width"] >= 300
    look(page, schemes=("light", "dark"))
    tap.dblclick()  # a glove taps twice
    said(page, re.compile("G-04 is in"))
    fitted = Installation.objects.get(position=place, removed_at__isnull=True)
    assert fitted.component.tag == "G-04"
    assert Exchange.objects.filter(component_in__tag="G-04").count() == 1
