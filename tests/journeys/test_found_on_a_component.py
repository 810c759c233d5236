"""Found work that is entered on a sheet says which component it is of."""

import pytest
from playwright.sync_api import Page, expect

from equipment.models import Finding
from shop.models import Person, ServiceSheet
from shop.services.drafting import hand_out
from tests.journeys.conftest import PHONE, Look
from tests.journeys.phones import SheetPhone
from tests.journeys.worlds import JourneyWorld, today

pytestmark = pytest.mark.usefixtures("silence_is_meant")


def report(page: Page, text: str) -> None:
    page.locator(".bar .report").click()
    page.locator("#found-text").fill(text)
    page.get_by_role("button", name="Report it").click()


def of_each(sheet: ServiceSheet) -> dict[str, str]:
    """By its text, the tag of the component; nothing where it is the rig's."""
    rows = Finding.objects.filter(source_number=sheet.number).select_related("component")
    return {each.text: str(each.component or "") for each in rows}


def test_where_there_are_several_it_is_the_one_where_it_was_opened(
    phone: SheetPhone, sheet: ServiceSheet, look: Look
) -> None:
    """The oil of the generator, then the gun: 1-generator and 1-gun in this shop."""
    page = phone.page
    phone.open("#line-2")
    phone.is_ready_to_leave()
    phone.loses_signal()
    where = page.get_by_label("Where", exact=True)
    page.locator(".bar .report").click()
    expect(where.locator("option:checked")).to_contain_text("1-gun")
    look(page)
    page.locator("#found-text").fill("trigger sticks")
    page.get_by_role("button", name="Report it").click()
    expect(page.locator("#found-here")).to_contain_text("1-gun: trigger sticks, kept here")
    phone.open("#line-1")
    report(page, "oil on the housing")
    phone.open("#cautions")
    page.locator(".bar .report").click()
    expect(where.locator("option:checked")).to_have_text("Elsewhere on the rig")
    page.locator("#found-text").fill("door hinge bent")
    page.get_by_role("button", name="Report it").click()
    phone.open("#line-1")
    page.locator(".bar .report").click()
    where.select_option(label=where.locator("option").nth(2).inner_text())
    page.locator("#found-text").fill("hose of the gun rubs")
    page.get_by_role("button", name="Report it").click()
    phone.says("4 entries kept")
    phone.has_signal_again()
    phone.sent_all()
    assert of_each(sheet) == {
        "trigger sticks": "1-gun",
        "oil on the housing": "1-generator",
        "door hinge bent": "",
        "hose of the gun rubs": "1-gun",
    }
    expect(page.locator("#found-here")).to_contain_text("1-gun: trigger sticks")


def test_where_there_is_one_nothing_is_asked(
    page_at: object, sign_in_as: object, technician: Person, world: JourneyWorld
) -> None:
    sheet = world.sheets.draft(
        world.sheets.rebuild, at=world.now, today=today(world), planned_on=today(world)
    )
    hand_out(sheet=sheet, technician=technician, author=world.sheets.manager, at=world.now)
    phone = SheetPhone(page_at(PHONE), sheet)  # type: ignore[operator]
    sign_in_as(phone.page, technician)  # type: ignore[operator]
    phone.open("#sign")
    expect(phone.page.get_by_label("Where", exact=True)).to_have_count(0)
    report(phone.page, "trigger sticks")
    phone.sent_all()
    assert of_each(sheet) == {"trigger sticks": "1-gun"}
