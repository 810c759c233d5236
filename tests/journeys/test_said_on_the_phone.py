"""What a phone says of itself: its signal, what it kept, what it sent, how far each part is."""

from pathlib import Path

import pytest
from django.utils import timezone
from playwright.sync_api import Page, expect

from equipment.models import FindingPhoto
from shop.models import Person, ReadingEntry, ServiceSheet
from tests.equipment.photographs import photo_file
from tests.journeys.acting import step
from tests.journeys.conftest import Look
from tests.journeys.phones import SheetPhone
from tests.journeys.worlds import make_safe as answer_before

pytestmark = pytest.mark.usefixtures("silence_is_meant")


@pytest.fixture
def ready(phone: SheetPhone, sheet: ServiceSheet, technician: Person) -> Page:
    """The checks are open, and the page may leave."""
    answer_before(sheet, by=technician, at=timezone.now())
    phone.open()
    phone.is_ready_to_leave()
    return phone.page


def test_that_there_is_no_signal_is_said_before_anything_is_entered(
    phone: SheetPhone, ready: Page, look: Look
) -> None:
    phone.says("Nothing waits on this phone.")
    expect(ready.locator("#sending")).not_to_contain_text("signal")
    phone.context.set_offline(True)
    phone.says("No signal. Nothing waits on this phone.")
    expect(ready.locator("#sending [data-when=kept]")).to_be_visible()
    look(ready)
    phone.context.set_offline(False)
    phone.says("There is signal again.")
    expect(ready.locator("#sending")).not_to_contain_text("No signal")


def test_a_shop_that_does_not_answer_is_no_signal_too(phone: SheetPhone, ready: Page) -> None:
    """The browser believes that it is online."""
    phone.context.route(phone.entries, lambda route: route.abort())
    phone.open("#line-1")
    step(ready, "Oil and filter changed").locator("button.check-row").click()
    phone.says("No signal. 1 entry kept on this phone.")
    phone.context.unroute(phone.entries)
    phone.has_signal_again()
    phone.sent_all()
    phone.says("There is signal again.")


def test_what_became_of_the_readings_is_said_beside_their_button(
    phone: SheetPhone, ready: Page, sheet: ServiceSheet, look: Look
) -> None:
    phone.loses_signal()
    phone.open("#sign")
    keep = ready.get_by_role("button", name="Keep the readings")
    said = ready.locator("#readings-said")
    keep.click()
    expect(said).to_have_text("No new reading was typed.")
    ready.get_by_label("Generator hours", exact=False).first.fill("230.5")
    keep.click()
    expect(said).to_have_text("1 reading kept here, sent when there is signal.")
    look(ready)
    phone.open("#sign")
    expect(said).to_have_text("1 reading kept here, sent when there is signal.")
    phone.has_signal_again()
    expect(said).to_have_text("1 reading sent.")
    assert ReadingEntry.objects.filter(sheet=sheet).count() == 1


def test_photos_are_said_at_their_entry_kept_and_sent(
    phone: SheetPhone, ready: Page, tmp_path: Path, look: Look
) -> None:
    paths = [tmp_path / f"{width}.jpg" for width in (400, 640)]
    for path in paths:
        path.write_bytes(photo_file(size=(int(path.stem), 360)).read())
    phone.loses_signal()
    phone.open("#line-1")
    volts = step(ready, "Volts at rated load")
    volts.get_by_role("textbox", name="Volts").fill("260")
    volts.get_by_text("Open found work").click()
    volts.get_by_label("What you found").fill("regulator drifts")
    volts.locator("input[type=file]").set_input_files(paths[0])
    volts.get_by_role("button", name="Enter").click()
    expect(volts.locator(".said")).to_contain_text("1 photo (kept here)")
    phone.open("#sign")
    ready.locator("#report > summary").click()
    ready.locator("#found-text").fill("hose rubs")
    ready.locator("#report input[type=file]").set_input_files(paths)
    ready.get_by_role("button", name="Report it").click()
    found = ready.locator("#found-here li").filter(has_text="hose rubs")
    expect(found).to_contain_text("2 photos (kept here)")
    look(ready)
    phone.has_signal_again()
    expect(found).to_contain_text("2 photos (sent)")
    expect(found).not_to_contain_text("kept here")
    phone.open("#line-1")  # as the shop says it now
    expect(volts.locator(".said")).to_contain_text("1 photo (sent)")
    assert FindingPhoto.objects.count() == 3


def test_a_photo_that_the_shop_refuses_is_said(
    phone: SheetPhone, ready: Page, tmp_path: Path
) -> None:
    no_photo = tmp_path / "letter.jpg"
    no_photo.write_bytes(b"Dear shop, the pump leaks.")
    phone.open("#sign")
    ready.locator("#report > summary").click()
    ready.locator("#found-text").fill("hose rubs")
    ready.locator("#report input[type=file]").set_input_files(no_photo)
    ready.get_by_role("button", name="Report it").click()
    expect(ready.locator("#sign")).to_contain_text("A photo was not taken:")
    expect(ready.locator("#found-here")).not_to_contain_text("photo")


def test_each_tab_says_what_it_counts_and_when_it_is_done(
    phone: SheetPhone, sheet: ServiceSheet
) -> None:
    page = phone.page
    phone.is_ready_to_leave()
    sections = {name: sheet.steps.filter(section=name).count() for name in ("caution", "lockout")}
    tabs = ("before", "checks", "parts")
    before, checks, parts = (page.locator(f"#count-{name}") for name in tabs)
    expect(before).to_have_text(f"0 of {sections['caution']} read")
    expect(checks).to_have_text("0 of 3 done")
    expect(parts).to_have_text("0 of 2 noted")
    phone.loses_signal()
    read = page.locator("#cautions").get_by_role("button", name="I have read this")
    for left in range(sections["caution"], 0, -1):
        read.first.click()
        expect(read).to_have_count(left - 1)
    expect(before).to_have_text(f"0 of {sections['lockout']} safe")
    phone.makes_the_rig_safe()
    expect(before).to_have_text("done")
    page.locator("#work-tabs").get_by_text("Parts").click()
    for used in page.get_by_label("Used", exact=False).all():
        used.fill("0")
        used.blur()
    expect(parts).to_have_text("done")
    phone.has_signal_again()
    phone.sent_all()
    phone.open("#parts")  # the shop says the same
    expect(parts).to_have_text("done")
    page.get_by_text("Another part").click()
    page.get_by_label("Part number").fill("seal")
    page.get_by_label("How much").fill("1")
    page.get_by_role("button", name="Take it to the tray").click()
    expect(parts).to_have_text("2 of 3 noted")
