"""Parts added on a sheet where there is no shop to ask."""

import pytest
from django.utils import timezone
from playwright.sync_api import Page, expect

from inventory.models import Balance
from shop.models import Person, ServiceSheet, Unsettled
from tests.journeys.conftest import Look
from tests.journeys.phones import SheetPhone
from tests.journeys.worlds import JourneyWorld, answer_everything

pytestmark = pytest.mark.usefixtures("silence_is_meant")


@pytest.fixture
def parts(phone: SheetPhone) -> Page:
    """The parts of the sheet, with the form of another one open."""
    phone.open("#parts")
    phone.is_ready_to_leave()
    phone.page.get_by_text("Another part").click()
    return phone.page


def take(page: Page, number: str, place: str) -> None:
    page.get_by_label("Part number").fill(number)
    page.locator("#add-place").fill(place)
    page.get_by_label("How much").fill("1")
    page.get_by_role("button", name="Take it to the tray").click()


def lying(world: JourneyWorld) -> int:
    """Seals in the drawer of the rig."""
    rows = Balance.objects.filter(part=world.sheets.seal, location=world.sheets.drawer)
    return sum(rows.values_list("quantity_steps", flat=True))


def test_a_part_added_by_mistake_is_taken_off_before_it_was_sent(
    phone: SheetPhone, parts: Page, sheet: ServiceSheet, world: JourneyWorld, look: Look
) -> None:
    phone.loses_signal()
    take(parts, world.sheets.seal.number, "01-D1")
    line = parts.locator("#added-here li")
    expect(line).to_contain_text("kept here")
    look(parts)
    line.get_by_role("button", name="Take off: seal").click()
    expect(line).to_contain_text("Taken off")
    expect(line.get_by_role("button")).to_have_count(0)
    phone.says("2 entries kept")  # both: nothing is hidden
    phone.open("#parts")
    expect(line).to_contain_text("Taken off")
    phone.has_signal_again()
    phone.sent_all()
    expect(parts.locator("[data-row]").filter(has_text="seal")).to_have_count(0)
    assert lying(world) == 1
    assert not sheet.parts.filter(part=world.sheets.seal).exists()


def test_a_part_added_without_signal_is_noted_as_used_by_a_tap(
    phone: SheetPhone,
    parts: Page,
    sheet: ServiceSheet,
    technician: Person,
    world: JourneyWorld,
    look: Look,
) -> None:
    """It has no row yet. Without a word of it the signature is kept back, as by the shop."""
    answer_everything(sheet, by=technician, at=timezone.now())
    phone.open("#parts")
    phone.is_ready_to_leave()
    phone.loses_signal()
    parts.get_by_text("Another part").click()
    take(parts, world.sheets.seal.number, "01-D1")
    line = parts.locator("#added-here li")
    expect(line).to_contain_text("kept here")
    expect(parts.locator("#count-parts")).to_contain_text("2 of 3")
    parts.get_by_role("link", name="Sign", exact=True).click()
    phone.draws_a_signature()
    parts.get_by_role("link", name="Sign the sheet").click()
    asked = parts.locator("#signing .row-error")
    expect(asked).to_contain_text(f"Say how much was used of: {world.sheets.seal.number}.")
    asked.get_by_role("link", name="Go there").click()
    line.get_by_role("button", name="All of it used").click()
    expect(line).to_contain_text("All of it used.")
    expect(line.get_by_role("button")).to_have_count(1)  # it may still be taken off
    look(parts)
    phone.has_signal_again()
    phone.sent_all()
    row = sheet.parts.get(part=world.sheets.seal)
    assert row.used_steps == 1
    assert lying(world) == 0


def test_a_part_that_the_shop_has_is_taken_off_without_signal(
    phone: SheetPhone, parts: Page, sheet: ServiceSheet, world: JourneyWorld, look: Look
) -> None:
    take(parts, world.sheets.seal.number, "01-D1")
    row = parts.locator("[data-row]").filter(has_text="seal")
    expect(row).to_be_visible()
    assert lying(world) == 0
    planned = parts.locator("[data-row]").first
    expect(planned.get_by_role("button", name="Take off")).to_have_count(0)
    phone.open("#parts")
    phone.is_ready_to_leave()
    phone.loses_signal()
    row.get_by_role("button", name="Take off").click()
    expect(row.locator(".said")).to_contain_text("Taken off")
    expect(row.locator(".said")).to_contain_text("kept here")
    expect(row.get_by_role("textbox")).to_be_hidden()
    look(parts)
    phone.has_signal_again()
    expect(row).to_have_count(0)
    phone.sent_all()
    assert lying(world) == 1


def test_a_place_that_the_phone_does_not_know_is_asked_about_once(
    phone: SheetPhone, parts: Page, world: JourneyWorld, look: Look
) -> None:
    offered = parts.locator("#place-codes option")
    assert offered.evaluate_all("all => all.map((each) => each.value)") == ["01-D1", "K-03"]
    phone.loses_signal()
    seal = world.sheets.seal.number
    take(parts, seal, "K-99")
    question = parts.get_by_role("alert").filter(has_text="This phone does not know that place")
    expect(question).to_be_visible()
    look(parts)
    phone.says("Nothing waits")
    expect(parts.locator("#added-here")).to_be_hidden()
    parts.locator("#add-place").fill("01-d1")  # put right, in other letters: nothing to ask
    expect(question).to_be_hidden()
    parts.get_by_role("button", name="Take it to the tray").click()
    expect(parts.locator("#added-here")).to_contain_text("from 01-d1")
    take(parts, "GSK-4711", "K-99")
    number = parts.get_by_role("alert").filter(has_text="This phone does not know that number")
    number.get_by_role("button", name="Keep it as typed").click()
    expect(number).to_be_hidden()
    question.get_by_role("button", name="Keep it as typed").click()  # the other of the two
    expect(parts.locator("#added-here")).to_contain_text("GSK-4711 from K-99")
    take(parts, seal, "")  # from where it lies
    expect(parts.locator("#added-here")).to_contain_text(f"{seal} from its place")
    phone.has_signal_again()
    phone.sent_all()
    assert Unsettled.objects.filter(reason__contains="GSK-4711").count() == 1
