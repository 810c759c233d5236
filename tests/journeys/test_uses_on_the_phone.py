"""Parts used where there is no shop to ask: no figure, more than there is, none at all."""

import pytest
from django.utils import timezone
from playwright.sync_api import Locator, Page, expect

from shop.models import Person, ServiceSheet
from shop.services.refusals import UsedMoreThanTaken
from shop.services.sheet_parts import check_used
from tests.journeys.acting import step
from tests.journeys.conftest import Look
from tests.journeys.phones import SheetPhone
from tests.journeys.worlds import JourneyWorld, answer_everything, answer_steps

pytestmark = pytest.mark.usefixtures("silence_is_meant")

MORE = (
    "oil filter: {} used, but only {} in the tray of this sheet."
    " Take the rest to the tray first, or correct the figure."
)


@pytest.fixture
def away(phone: SheetPhone, sheet: ServiceSheet, technician: Person, world: JourneyWorld) -> Page:
    """Everything answered, nothing taken, no signal; the parts are shown."""
    answer_everything(sheet, by=technician, at=timezone.now())
    phone.open("#parts")
    phone.is_ready_to_leave()
    phone.loses_signal()
    return phone.page


def row_of(page: Page, part: str) -> Locator:
    return page.locator("[data-row]").filter(has_text=part)


def uses(row: Locator, much: str) -> None:
    row.get_by_role("textbox").fill(much)
    row.get_by_role("textbox").press("Tab")


def test_what_is_no_quantity_is_refused_beside_its_part_and_stops_the_signature(
    phone: SheetPhone, away: Page, sheet: ServiceSheet, look: Look
) -> None:
    row = row_of(away, "oil filter")
    error = row.locator(".row-error")
    for typed, why in (
        ("1,5", "“1,5” is not a number. Write it like 1250 or 0.75."),
        ("abc", "“abc” is not a number. Write it like 1250 or 0.75."),
        ("-1", "This cannot be below zero."),
        ("1.5", "Pieces come whole: 1.5 is not possible."),
    ):
        uses(row, typed)
        expect(error).to_contain_text(why)
        expect(row.get_by_role("textbox")).to_have_value(typed)
    look(away)
    away.get_by_role("link", name="Sign", exact=True).click()
    phone.draws_a_signature()
    away.get_by_role("link", name="Sign the sheet").click()
    expect(error).to_be_in_viewport()
    expect(away.get_by_text("Signed, and kept here")).to_be_hidden()
    uses(row, "1")
    expect(error).to_be_hidden()
    phone.says("1 entry kept")
    away.get_by_text("Another part").click()
    away.get_by_label("Part number").fill("F-09")
    away.get_by_label("How much").fill("1,5")
    away.get_by_role("button", name="Take it to the tray").click()
    expect(away.get_by_text("“1,5” is not a number")).to_be_visible()
    look(away)
    phone.says("1 entry kept")


def test_more_than_lies_in_the_tray_is_said_beside_the_part_as_the_shop_says_it(
    phone: SheetPhone, away: Page, sheet: ServiceSheet, technician: Person, look: Look
) -> None:
    row = row_of(away, "oil filter")
    much = row.locator(".too-much")
    expect(much).to_be_hidden()
    uses(row, "1")
    expect(much).to_have_text(MORE.format("1 piece", "0 pieces"))
    away.get_by_role("button", name="I have taken them to the tray").click()
    expect(much).to_be_hidden()
    uses(row, "3")
    said = MORE.format("3 pieces", "1 piece")
    expect(much).to_have_text(said)
    look(away)
    phone.says("entries kept")
    phone.open("#parts")
    expect(much).to_have_text(said)
    phone.has_signal_again()
    phone.sent_all()
    expect(much).to_have_text(said)
    sheet.refresh_from_db()
    with pytest.raises(UsedMoreThanTaken, match="3 pieces used") as refused:
        check_used(sheet)
    assert str(refused.value) == said


def test_what_was_replaced_without_a_part_is_asked_about_before_it_is_signed(
    phone: SheetPhone, away: Page, sheet: ServiceSheet, look: Look
) -> None:
    seal = step(away, "Side seal")
    phone.open(f"#step-{sheet.steps.get(title='Side seal').pk}")
    seal.get_by_role("button", name="replaced").click()
    expect(seal.locator(".said")).to_contain_text("replaced")
    away.get_by_role("link", name="Sign", exact=True).click()
    phone.draws_a_signature()
    away.get_by_role("link", name="Sign the sheet").click()
    question = away.locator("#no-parts")
    said = "Marked as replaced, and no part is noted as used for it: Side seal. Sign all the same?"
    expect(question).to_contain_text(said)
    look(away)
    expect(away.get_by_text("Signed, and kept here")).to_be_hidden()
    question.get_by_role("link", name="Go there").click()
    expect(row_of(away, "oil filter")).to_be_visible()
    away.get_by_role("link", name="Sign", exact=True).click()
    question.get_by_role("button", name="Sign all the same").click()
    expect(away.get_by_text("Signed, and kept here")).to_be_visible()
    phone.has_signal_again()
    away.wait_for_url(f"**/sheets/{sheet.number}/")
    sheet.refresh_from_db()
    assert sheet.state == ServiceSheet.State.SIGNED


def test_with_a_part_noted_nothing_is_asked(
    phone: SheetPhone, away: Page, sheet: ServiceSheet
) -> None:
    phone.open("#parts")
    away.get_by_role("button", name="I have taken them to the tray").click()
    uses(row_of(away, "Fluid section kit"), "1")
    phone.says("2 entries kept")
    phone.open(f"#step-{sheet.steps.get(title='Side seal').pk}")
    step(away, "Side seal").get_by_role("button", name="replaced").click()
    phone.says("3 entries kept")
    away.get_by_role("link", name="Sign", exact=True).click()
    phone.draws_a_signature()
    away.get_by_role("link", name="Sign the sheet").click()
    expect(away.get_by_text("Signed, and kept here")).to_be_visible()


def test_what_lies_in_the_tray_is_said_by_one_tap_before_it_is_signed(
    phone: SheetPhone, sheet: ServiceSheet, technician: Person, look: Look
) -> None:
    answer_steps(sheet, by=technician, at=timezone.now())
    phone.open("#parts")
    phone.is_ready_to_leave()
    phone.loses_signal()
    page = phone.page
    page.get_by_role("button", name="I have taken them to the tray").click()
    page.get_by_role("link", name="Sign", exact=True).click()
    phone.draws_a_signature()
    page.get_by_role("link", name="Sign the sheet").click()
    asked = page.locator("#signing .row-error")
    expect(asked).to_contain_text("Say how much was used of: ")
    asked.get_by_role("link", name="Go there").click()
    look(page)
    taps = page.get_by_role("button", name="as planned")
    while left := taps.filter(visible=True).count():
        taps.filter(visible=True).first.click()
        expect(taps.filter(visible=True)).to_have_count(left - 1)
    page.get_by_role("link", name="Sign", exact=True).click()
    expect(asked).to_be_hidden()
    page.locator("#drawn").scroll_into_view_if_needed()
    page.get_by_role("link", name="Sign the sheet").click()
    expect(page.get_by_text("Signed, and kept here")).to_be_visible()
    phone.has_signal_again()
    page.wait_for_url(f"**/sheets/{sheet.number}/")
    used = sheet.parts.values_list("planned_steps", "used_steps")
    assert used
    assert all(planned == said for planned, said in used)
