"""Readings typed on a sheet where there is no shop to ask: the phone asks as the shop would."""

import pytest
from django.utils import timezone
from playwright.sync_api import Locator, expect

from equipment.models import Reading
from shop.models import Person, ReadingEntry, ServiceSheet, Unsettled
from tests.journeys.conftest import Look
from tests.journeys.phones import SheetPhone
from tests.journeys.worlds import JourneyWorld
from tests.journeys.worlds import make_safe as answer_before

pytestmark = pytest.mark.usefixtures("silence_is_meant")


@pytest.fixture
def face(
    phone: SheetPhone, sheet: ServiceSheet, technician: Person, world: JourneyWorld
) -> Locator:
    """The strokes of pump A, which has shown 8,000, on a phone without signal."""
    answer_before(sheet, by=technician, at=timezone.now())
    phone.open("#sign")
    phone.is_ready_to_leave()
    phone.loses_signal()
    return phone.page.locator(f"#counter-{world.fleet.counters['a'].pk}")


def test_a_figure_ten_times_too_high_is_asked_about_and_kept_when_it_is_meant(
    phone: SheetPhone, sheet: ServiceSheet, face: Locator, look: Look
) -> None:
    box = face.get_by_label("A strokes")
    keep = phone.page.get_by_role("button", name="Keep the readings")
    box.fill("120000")
    keep.click()
    question = face.get_by_text("More than usual: 112,000 strokes since")
    expect(question).to_be_visible()
    look(phone.page)
    box.fill("12100")
    keep.click()
    expect(question).to_be_hidden()
    phone.says("1 entry kept")
    box.fill("120000")
    keep.click()
    expect(question).to_be_visible()
    phone.says("1 entry kept")  # asked, and nothing more is kept yet
    keep.click()
    expect(question).to_be_hidden()
    phone.says("2 entries kept")
    phone.has_signal_again()
    phone.sent_all()
    # Answered on the phone, it is not asked again on arrival: the manager has nothing to settle.
    entry = ReadingEntry.objects.get(sheet=sheet, is_in_force=True)
    assert (entry.value, entry.step) == (120_000, Reading.Step.CONTINUED)
    assert not Unsettled.objects.exists()


def test_a_figure_below_the_last_asks_what_happened_and_a_reset_is_taken(
    phone: SheetPhone, sheet: ServiceSheet, face: Locator, look: Look
) -> None:
    keep = phone.page.get_by_role("button", name="Keep the readings")
    face.get_by_label("A strokes").fill("120")
    keep.click()
    question = face.get_by_text("Lower than the last reading, 8,000. Was the counter reset?")
    expect(question).to_be_visible()
    look(phone.page)
    face.get_by_label("It was reset").check()
    keep.click()
    expect(question).to_be_hidden()
    phone.says("1 entry kept")
    phone.has_signal_again()
    phone.sent_all()
    entry = ReadingEntry.objects.get(sheet=sheet, is_in_force=True)
    assert (entry.value, entry.step) == (120, Reading.Step.RESET)


def test_a_figure_below_the_last_is_asked_about_at_the_signature_and_does_not_block_it(
    phone: SheetPhone, sheet: ServiceSheet, face: Locator
) -> None:
    """Kept as it is it goes to the shop, which lets a manager settle it."""
    page = phone.page
    face.get_by_label("A strokes").fill("120")
    page.locator("[name=leave_undone]").check()
    page.locator("#labour").fill("30")
    phone.draws_a_signature()
    page.locator("#sign-form").evaluate("form => form.requestSubmit()")
    expect(face.get_by_text("Lower than the last reading")).to_be_visible()
    expect(page.locator("#signed-here")).to_be_hidden()
    page.locator("#sign-form").evaluate("form => form.requestSubmit()")
    expect(page.locator("#signed-here")).to_be_visible()
    phone.says("2 entries kept")
    phone.has_signal_again()
    expect(page).to_have_url(f"{page.url.split('/sheets/')[0]}/sheets/{sheet.number}/")
    assert Unsettled.objects.get().kind == "reading"
