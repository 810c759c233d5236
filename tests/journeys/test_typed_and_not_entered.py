"""What stands half typed on a sheet when its page is closed is there again, and is not sent."""

import re
from pathlib import Path

import pytest
from django.utils import timezone
from playwright.sync_api import Page, expect

from equipment.models import Finding
from shop.models import LineNote, Person, ServiceSheet, StepEntry
from tests.equipment.photographs import photo_file
from tests.journeys.acting import signed, step
from tests.journeys.conftest import Look
from tests.journeys.phones import SheetPhone
from tests.journeys.worlds import answer_everything
from tests.journeys.worlds import make_safe as answer_before

pytestmark = pytest.mark.usefixtures("silence_is_meant")
TYPED_HERE = "Typed here, not entered yet."


@pytest.fixture
def begun(phone: SheetPhone, sheet: ServiceSheet, technician: Person) -> Page:
    """The checks are open, and there is no signal."""
    answer_before(sheet, by=technician, at=timezone.now())
    phone.open()
    phone.is_ready_to_leave()
    phone.loses_signal()
    return phone.page


@pytest.fixture
def picture(tmp_path: Path) -> Path:
    path = tmp_path / "seal.jpg"
    path.write_bytes(photo_file().read())
    return path


def test_a_remedy_a_note_and_photos_that_were_picked(
    phone: SheetPhone, begun: Page, sheet: ServiceSheet, picture: Path, look: Look
) -> None:
    phone.open("#line-1")
    volts = step(begun, "Volts at rated load")
    volts.get_by_role("textbox", name="Volts").fill("260")
    volts.get_by_label("What you found").fill("regulator drifts")
    volts.get_by_text("Open found work").click()
    chosen = volts.locator("[name=remedy]:checked")
    expect(chosen).to_have_count(1)
    volts.get_by_label("Rig must not leave").check()
    volts.locator("input[type=file]").set_input_files(picture)
    oil = step(begun, "Oil and filter changed")
    oil.get_by_role("button", name="not applicable").click()
    oil.get_by_label("Why it does not apply").fill("changed last")

    phone.open("#line-1")
    expect(oil.get_by_label("Why it does not apply")).to_have_value("changed last")
    expect(oil.get_by_text(TYPED_HERE)).to_be_visible()
    expect(volts.get_by_role("textbox", name="Volts")).to_have_value("260")
    expect(volts.get_by_label("What you found")).to_have_value("regulator drifts")
    expect(chosen).to_have_attribute("value", "found_work")
    expect(volts.get_by_label("Rig must not leave")).to_be_checked()
    # A browser gives no file back: it is said in words.
    again = volts.get_by_text("1 photo was picked here and is not kept: pick it again.")
    expect(again).to_be_visible()
    look(begun)
    phone.says("Nothing waits")
    assert not StepEntry.objects.filter(step__sheet=sheet, step__section="check").exists()

    volts.get_by_role("button", name="Enter").click()
    oil.get_by_label("Why it does not apply").fill("changed last week")
    oil.get_by_role("button", name="Mark as not applicable").click()
    expect(oil.get_by_text(TYPED_HERE)).to_be_hidden()
    expect(again).to_be_hidden()
    phone.says("2 entries kept")
    phone.open("#line-1")
    expect(volts.locator(".said")).to_contain_text("regulator drifts")
    expect(begun.get_by_text(TYPED_HERE)).to_have_count(0)


def test_found_work_a_note_for_the_next_one_a_reading_and_a_word_to_hand_over(
    phone: SheetPhone, begun: Page, sheet: ServiceSheet, look: Look
) -> None:
    page = begun
    phone.open("#sign")
    hours = page.get_by_label("Generator hours", exact=False).first
    hours.fill("230.5")
    page.locator("#report > summary").click()
    text = page.locator("#found-text")
    text.fill("hose rubs on the fr")
    phone.open("#line-2")
    page.get_by_text("Leave a note for the next one").filter(visible=True).click()
    note = page.get_by_label("What the next one should know").filter(visible=True)
    note.fill("side seal sits ti")
    phone.open("#cautions")
    page.locator(".around summary", has_text="Hand over").click()
    word = page.get_by_label(re.compile("must know|word", re.IGNORECASE)).filter(visible=True)
    word.fill("packing still o")

    phone.open("#sign")
    expect(hours).to_have_value("230.5")
    expect(text).to_be_visible()
    expect(text).to_have_value("hose rubs on the fr")
    look(page)
    text.fill("hose rubs on the frame")
    page.get_by_role("button", name="Report it").click()
    expect(page.locator("#found-here")).to_contain_text("hose rubs on the frame")
    phone.open("#line-2")
    expect(note).to_have_value("side seal sits ti")
    note.fill("side seal sits tight")
    page.get_by_role("button", name="Keep the note").filter(visible=True).click()
    phone.open("#cautions")
    expect(word).to_have_value("packing still o")
    phone.has_signal_again()
    phone.sent_all()
    assert [each.text for each in Finding.objects.filter(source_number=sheet.number)] == [
        "hose rubs on the frame"
    ]
    phone.open("#sign")
    expect(hours).to_have_value("230.5")  # still not kept, still there
    expect(text).to_have_value("")


def test_what_a_signature_would_lose_is_asked_about_once(
    phone: SheetPhone, sheet: ServiceSheet, technician: Person, look: Look
) -> None:
    answer_everything(sheet, by=technician, at=timezone.now())
    phone.open("#line-2")
    phone.is_ready_to_leave()
    phone.loses_signal()
    page = phone.page
    question = page.locator("#not-kept")
    signed_here = page.get_by_text("Signed, and kept here")
    page.get_by_text("Leave a note for the next one").filter(visible=True).click()
    note = page.get_by_label("What the next one should know").filter(visible=True)
    note.fill("side seal sits ti")

    def signs() -> None:
        page.get_by_role("link", name="Sign", exact=True).click()
        phone.draws_a_signature()
        page.get_by_role("link", name="Sign the sheet").click()

    signs()
    of = sheet.lines.get(order=2).title
    expect(question).to_contain_text(
        f"Typed and not kept: note for the next one ({of}). Sign all the same?"
    )
    expect(question).to_be_in_viewport()
    look(page)
    expect(signed_here).to_be_hidden()
    question.get_by_role("link", name="Go there").click()
    expect(note).to_be_in_viewport()
    expect(note).to_have_value("side seal sits ti")
    note.fill("side seal sits tight")
    page.get_by_role("button", name="Keep the note").filter(visible=True).click()
    phone.says("1 entry kept")

    volts = step(page, "Volts at rated load")
    page.evaluate("location.hash = 'line-1'")
    volts.get_by_role("textbox", name="Volts").fill("241")
    page.locator(".bar .report").click()
    page.locator("#found-text").fill("hose rubs on the fr")
    signs()
    expect(question).to_contain_text("Typed and not kept: Volts at rated load, found work.")
    question.get_by_role("button", name="Sign all the same").click()
    expect(signed_here).to_be_visible()
    phone.has_signal_again()
    signed(page)
    assert LineNote.objects.get(line__sheet=sheet).text == "side seal sits tight"
    assert not Finding.objects.filter(source_number=sheet.number).exists()
    assert sheet.steps.get(title="Volts at rated load").entry.value != 241
