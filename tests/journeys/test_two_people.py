"""Two people sign the same sheet: one signs it, the other is told who did."""

from collections.abc import Callable

import pytest
from playwright.sync_api import Page, expect

from equipment.models import Reading, Renewal
from inventory.models import Movement
from shop.models import Person, SignedCopy
from tests.journeys.acting import sign_by_name, signed
from tests.journeys.conftest import DESK, PHONE, Look
from tests.journeys.worlds import JourneyWorld, answer_everything, draft

pytestmark = pytest.mark.postgresql_too


@pytest.mark.parametrize("width", [PHONE, DESK])
def test_the_second_to_sign_is_told_who_signed(
    page_at: Callable[..., Page],
    sign_in_as: Callable[..., Person],
    look: Look,
    technician: Person,
    world: JourneyWorld,
    width: int,
) -> None:
    sheet = draft(world, technician=technician)
    answer_everything(sheet, by=technician, at=world.now)
    pages = {who: page_at(width) for who in ("technician", "manager")}
    for who, page in pages.items():
        sign_in_as(page, who)
        page.goto(f"/sheets/{sheet.number}/work/#sign")
        page.get_by_label("Generator hours", exact=False).first.fill("230")
        page.get_by_label("How long the work took").fill("60")
    counted = Reading.objects.count(), Movement.objects.count()

    sign_by_name(pages["technician"])
    signed(pages["technician"])
    pages["manager"].locator("[name=signature]").scroll_into_view_if_needed()
    pages["manager"].get_by_role("link", name="Sign the sheet").click()
    expect(pages["manager"].locator("#sign")).to_contain_text("A. Technician")
    look(pages["manager"], schemes=("light", "dark"))

    assert SignedCopy.objects.count() == 1
    assert Renewal.objects.filter(source_number=sheet.number).count() == 2
    assert (Reading.objects.count(), Movement.objects.count()) == (counted[0] + 1, counted[1])
    sheet.refresh_from_db()
    assert sheet.signed_by == technician


def test_a_finger_that_slips_signs_once(
    page_at: Callable[..., Page],
    sign_in_as: Callable[..., Person],
    technician: Person,
    world: JourneyWorld,
) -> None:
    sheet = draft(world, technician=technician)
    answer_everything(sheet, by=technician, at=world.now)
    page = page_at(PHONE)
    sign_in_as(page, technician)
    page.goto(f"/sheets/{sheet.number}/work/#sign")
    page.get_by_label("How long the work took").fill("60")
    page.locator("[name=signature]").scroll_into_view_if_needed()
    page.get_by_role("link", name="Sign the sheet").dblclick()
    by_name = page.get_by_role("button", name="Sign by name alone")
    expect(by_name).to_be_visible()
    assert not SignedCopy.objects.exists()
    by_name.dblclick(no_wait_after=True)
    signed(page)
    assert SignedCopy.objects.count() == 1
    assert Renewal.objects.filter(source_number=sheet.number).count() == 2
