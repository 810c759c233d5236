"""A sheet worked on a phone without signal: nothing that was entered is lost."""

import re
from collections.abc import Callable
from decimal import Decimal

import pytest
from django.utils import timezone
from playwright.sync_api import Page, expect

from equipment.models import Finding, FindingPhoto, Reading, Renewal
from inventory.models import Balance
from shop.models import Person, ServiceSheet, StepEntry, Unsettled
from tests.equipment.photographs import photo_file
from tests.journeys.acting import back_to_service, step
from tests.journeys.conftest import PHONE, Look
from tests.journeys.phones import SheetPhone, entries
from tests.journeys.test_find import CAMERA
from tests.journeys.worlds import JourneyWorld
from tests.journeys.worlds import make_safe as answer_before

pytestmark = [pytest.mark.usefixtures("silence_is_meant"), pytest.mark.postgresql_too]


def test_a_whole_sheet_without_signal_and_nothing_is_lost(
    phone: SheetPhone, sheet: ServiceSheet, technician: Person, world: JourneyWorld, look: Look
) -> None:
    """From the first caution to the signature with the network off, the browser closed between."""
    phone.is_ready_to_leave()
    phone.loses_signal()
    phone.makes_the_rig_safe()
    look(phone.page)
    page = phone.page
    page.get_by_role("link", name="Next: checks").click()
    oil = step(page, "Oil and filter changed").locator("button.check-row")
    oil.click()
    expect(step(page, "Oil and filter changed").locator(".said")).to_contain_text("kept here")
    volts = step(page, "Volts at rated load")
    volts.get_by_role("textbox", name="Volts").fill("260")
    volts.get_by_role("button", name="Enter").click()
    expect(volts.get_by_text("What did you do about it?")).to_be_visible()
    look(page)
    volts.get_by_label("found work").check()
    volts.get_by_label("What you found").fill("regulator drifts")
    volts.get_by_label("Rig must not leave").check()
    volts.get_by_role("button", name="Enter").click()
    expect(page.get_by_role("heading", name="Held: the rig must not leave")).to_be_visible()

    phone.open()
    page = phone.page
    assert entries(sheet) == 0  # not one of them has left the phone
    expect(page.get_by_role("heading", name="Held: the rig must not leave")).to_be_visible()
    # It opens where the work is: at the one check that is still open.
    seal = step(page, "Side seal")
    seal.get_by_role("button", name="good").click()
    expect(seal.get_by_role("button", name="good")).to_have_attribute("aria-pressed", "true")
    page.get_by_role("link", name="Next: parts").click()
    page.get_by_role("button", name="I have taken them to the tray").click()
    expect(page.get_by_text("Taken to the tray, kept here")).to_be_visible()
    page.get_by_label("Used of oil filter").fill("1")
    page.get_by_label("Used of Fluid section kit").fill("1")
    look(page)
    page.get_by_role("link", name="Next: back to service").click()
    back_to_service(page)
    page.get_by_label("Generator hours", exact=False).first.fill("230")
    page.get_by_label("How long the work took").fill("95")
    phone.draws_a_signature()
    look(page)
    page.get_by_role("link", name="Sign the sheet").click()
    expect(page.get_by_text("Signed, and kept here")).to_be_visible()
    look(page)
    phone.says("kept on this phone")

    phone.has_signal_again()
    page.wait_for_url(re.compile(rf"/sheets/{sheet.number}/$"))
    sheet.refresh_from_db()
    assert (sheet.state, sheet.signed_by, sheet.labour_minutes) == ("signed", technician, 95)
    assert entries(sheet) == sheet.steps.count()
    assert Finding.objects.get().text == "regulator drifts"
    assert Renewal.objects.filter(source_number=sheet.number).count() == 2
    assert Reading.objects.filter(source="sheet", value=230).count() == 1
    assert list(sheet.parts.values_list("used_steps", flat=True)) == [1, 1]


def test_a_photo_taken_without_signal_follows_its_found_work(
    phone: SheetPhone, sheet: ServiceSheet, look: Look
) -> None:
    phone.loses_signal()
    page = phone.page
    page.get_by_role("link", name="Sign", exact=True).click()
    page.locator("#report summary").click()
    page.get_by_label("What you found").last.fill("hose chafed at the bracket")
    picture = photo_file()
    page.locator("#report input[type=file]").set_input_files(
        [{"name": "IMG_1.jpg", "mimeType": "image/jpeg", "buffer": picture.read()}]
    )
    expect(page.locator("#report")).to_contain_text("1 photo")
    look(page)
    page.get_by_role("button", name="Report it").click()
    expect(page.get_by_text("hose chafed at the bracket, kept here")).to_be_visible()
    phone.has_signal_again()
    expect(page.get_by_text("hose chafed at the bracket, 1 photo (sent)")).to_be_visible()
    phone.sent_all()
    found = Finding.objects.get()
    assert found.text == "hose chafed at the bracket"
    assert FindingPhoto.objects.count() == 1


def test_what_was_taken_stays_taken_while_something_else_is_typed(
    phone: SheetPhone, sheet: ServiceSheet, technician: Person
) -> None:
    """The page is not drawn anew under what is typed; that parts were taken is said without it."""
    answer_before(sheet, by=technician, at=timezone.now())
    phone.open()
    page = phone.page
    page.locator("#work-tabs").get_by_text("Checks").click()
    step(page, "Volts at rated load").get_by_role("textbox", name="Volts").fill("23")
    page.locator("#work-tabs").get_by_text("Parts").click()
    page.get_by_role("button", name="I have taken them to the tray").click()
    phone.sent_all()
    expect(page.get_by_text("Parts taken to the tray")).to_be_visible()
    expect(page.get_by_role("button", name="I have taken them to the tray")).to_be_hidden()
    sheet.refresh_from_db()
    assert Balance.objects.filter(location=sheet.tray, quantity_steps__gt=0).exists()
    page.locator("#work-tabs").get_by_text("Checks").click()
    volts = step(page, "Volts at rated load").get_by_role("textbox", name="Volts")
    expect(volts).to_have_value("23")


def test_the_camera_reads_a_label_without_signal(
    page_at: Callable[..., Page],
    sign_in_as: Callable[..., Person],
    sheet: ServiceSheet,
    technician: Person,
    world: JourneyWorld,
) -> None:
    """From the label on a bag to the tray; the code of our own label is written as the part."""
    phone = SheetPhone(page_at(PHONE), sheet)
    phone.page.add_init_script(CAMERA)
    sign_in_as(phone.page, technician)
    phone.open("#parts")
    phone.is_ready_to_leave()
    phone.loses_signal()
    page = phone.page
    page.get_by_text("Another part").click()
    page.get_by_role("button", name="Scan with the camera").click()
    expect(page.locator("#add-part")).to_have_value("F-09")
    expect(page.locator("#add-place")).to_be_focused()
    page.locator("#add-place").fill(world.sheets.bin.code)
    page.locator("#add-quantity").fill("1")
    page.get_by_role("button", name="Take it to the tray").click()
    expect(page.get_by_text(f"1 × F-09 from {world.sheets.bin.code}, kept here")).to_be_visible()
    phone.has_signal_again()
    phone.sent_all()
    assert sheet.parts.filter(part__number="F-09").exists()


def test_waiting_and_handing_over_without_signal_arrive_in_order(
    phone: SheetPhone,
    sheet: ServiceSheet,
    technician: Person,
    manager: Person,
    look: Look,
) -> None:
    phone.is_ready_to_leave()
    phone.loses_signal()
    page = phone.page
    around = page.locator(".around")
    around.locator("summary", has_text="Wait for parts").click()
    around.get_by_role("button", name="It waits for this").click()
    expect(around.get_by_text("Say what is missing.")).to_be_visible()
    around.get_by_label("What is missing").fill("an O-ring of the bypass")
    look(page)
    around.get_by_role("button", name="It waits for this").click()
    expect(around).to_contain_text("Waiting for an O-ring of the bypass")
    expect(around.locator("summary", has_text="Wait for parts")).to_be_hidden()
    goes_on = around.get_by_role("button", name="Go on with it")
    expect(goes_on).to_be_visible()
    expect(around.get_by_role("button", name="Start my time")).to_be_visible()  # it ended
    around.locator("summary", has_text="Hand over").click()
    around.get_by_label("What the next one must know").fill("the tray is in the cold store")
    around.get_by_label("Who goes on with it").select_option(label=manager.name)
    around.get_by_role("button", name="Hand it over").click()
    expect(around).to_contain_text(f"Handed over to {manager.name}")

    phone.open()
    expect(around).to_contain_text("Waiting for an O-ring of the bypass")
    expect(around).to_contain_text(f"Handed over to {manager.name}")
    expect(around).to_contain_text("kept here: the tray is in the cold store")
    phone.says("2 entries kept on this phone.")
    look(page)
    assert not sheet.waits.exists()

    phone.has_signal_again()
    expect(around.locator(".waits")).to_contain_text("an O-ring of the bypass")
    expect(around.locator(".last-word")).to_contain_text("the tray is in the cold store")
    phone.sent_all()
    look(page)
    sheet.refresh_from_db()
    assert sheet.is_waiting_for_parts
    assert (sheet.waits.get().missing, sheet.waits.get().author) == (
        "an O-ring of the bypass",
        technician,
    )
    assert (sheet.hand_overs.get().to, sheet.technician) == (manager, manager)

    phone.loses_signal()
    around.get_by_role("button", name="Go on with it").click()
    expect(around).to_contain_text("Goes on")
    expect(around.locator(".waits")).to_be_hidden()
    phone.has_signal_again()
    phone.sent_all()
    sheet.refresh_from_db()
    assert not sheet.is_waiting_for_parts


def test_a_number_that_the_phone_does_not_know_is_asked_about_once(
    phone: SheetPhone, sheet: ServiceSheet, world: JourneyWorld, look: Look
) -> None:
    phone.open("#parts")
    phone.is_ready_to_leave()
    page = phone.page
    page.get_by_text("Another part").click()
    number, much = page.get_by_label("Part number"), page.get_by_label("How much")
    offered = page.locator(f"#{number.get_attribute('list')} option")
    assert world.sheets.seal.number in offered.evaluate_all("all => all.map((each) => each.value)")
    phone.loses_signal()
    question = page.get_by_role("alert").filter(has_text="This phone does not know that number")
    number.fill("GSK-4711")
    much.fill("1")
    page.get_by_role("button", name="Take it to the tray").click()
    expect(question).to_be_visible()
    look(page)
    expect(number).to_have_value("GSK-4711")
    phone.says("Nothing waits")
    number.fill(world.sheets.seal.number.upper())  # put right: nothing to ask
    expect(question).to_be_hidden()
    page.get_by_role("button", name="Take it to the tray").click()
    expect(page.locator("#added-here")).to_contain_text(world.sheets.seal.number.upper())
    number.fill("GSK-4711")
    much.fill("1")
    page.get_by_role("button", name="Take it to the tray").click()
    page.get_by_role("button", name="Keep it as typed").click()
    expect(page.locator("#added-here")).to_contain_text("GSK-4711")
    expect(number).to_have_value("")
    phone.has_signal_again()
    phone.sent_all()
    assert Unsettled.objects.get().reason == "There is no part of the number “GSK-4711”."
    phone.open("#parts")
    page.get_by_text("Another part").click()
    number.fill("GSK-4712")
    much.fill("1")
    page.get_by_role("button", name="Take it to the tray").click()
    form = page.locator("form[data-kind=add]")
    expect(form).to_contain_text("There is no part of the number “GSK-4712”.")  # the shop says so
    expect(number).to_have_value("GSK-4712")
    expect(question).to_be_hidden()


def test_a_value_typed_and_not_entered_is_there_again_and_is_not_sent(
    phone: SheetPhone, sheet: ServiceSheet, technician: Person, manager: Person, world: JourneyWorld
) -> None:
    answer_before(sheet, by=technician, at=world.now)
    phone.open()
    phone.is_ready_to_leave()
    phone.loses_signal()
    page = phone.page
    volts = step(page, "Volts at rated load")
    box = volts.get_by_role("textbox", name="Volts")
    page.get_by_role("link", name=re.compile("^Checks")).click()
    box.fill("26")
    box.press_sequentially("0")
    volts.get_by_label("What you found").fill("regulator dri")

    phone.open()
    page.locator("#work-tabs").get_by_role("link", name=re.compile("^Checks")).click()
    expect(box).to_have_value("260")
    expect(volts.get_by_text("Typed here, not entered yet.")).to_be_visible()
    expect(volts.get_by_label("What you found")).to_have_value("regulator dri")
    assert volts.locator(".said").text_content() == ""
    expect(page.locator("#sending")).to_contain_text("Nothing waits on this phone")
    box.fill("240")
    volts.get_by_role("button", name="Enter").click()
    expect(volts.get_by_role("button", name="Change")).to_be_visible()
    expect(volts.get_by_text("Typed here, not entered yet.")).to_be_hidden()

    phone.open()
    expect(volts.locator(".said")).to_contain_text("240 V")
    expect(volts.get_by_text("Typed here, not entered yet.")).to_be_hidden()
    phone.has_signal_again()
    phone.sent_all()
    assert [entry.value for entry in volts_entries(sheet)] == [Decimal(240)]


def volts_entries(sheet: ServiceSheet) -> list[StepEntry]:
    return list(StepEntry.objects.filter(step__sheet=sheet, step__title="Volts at rated load"))


def test_what_one_typed_another_on_the_same_phone_does_not_find(
    phone: SheetPhone,
    sheet: ServiceSheet,
    technician: Person,
    manager: Person,
    sign_in_as: Callable[..., Person],
    world: JourneyWorld,
) -> None:
    for person in (technician, manager):
        answer_before(sheet, by=person, at=world.now)
    phone.open("#line-1")
    box = step(phone.page, "Volts at rated load").get_by_role("textbox", name="Volts")
    box.fill("231")
    for person, found in ((manager, ""), (technician, "231")):
        sign_in_as(phone.page, person)
        phone.open("#line-1")
        expect(box).to_have_value(found)
