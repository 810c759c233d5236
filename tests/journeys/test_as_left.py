"""A measured value as found and as left on a phone, without signal too."""

import re
from datetime import datetime
from pathlib import Path
from uuid import uuid4

import pytest
from django.contrib.staticfiles import finders
from django.utils import timezone
from playwright.sync_api import Browser, Locator, expect

from equipment.models import Due
from shop.models import Person, ServiceSheet, StepEntry
from shop.services.paper import paper_to_print
from shop.services.signing import sign_sheet
from tests.journeys.acting import step
from tests.journeys.conftest import Look
from tests.journeys.phones import SheetPhone
from tests.journeys.worlds import JourneyWorld, answer_rest
from tests.journeys.worlds import make_safe as answer_before
from tests.shop.paper.reading import read, text
from tests.shop.test_as_left import EVERY, decided

pytestmark = pytest.mark.usefixtures("silence_is_meant")

VOLTS = "Volts at rated load"
SAID = "as found 260 V, as left 241 V, Put right, read again, relay stuck"
DECIDE = """async ([code, cases]) => {
    const module = `data:text/javascript;charset=utf-8,${encodeURIComponent(code)}`;
    const { lacksOf } = await import(module);
    return cases.map(
        ([isOut, leftIsOut, remedy, hasText]) => lacksOf({ isOut, leftIsOut, remedy, hasText })
    );
}"""


def test_a_phone_asks_for_what_the_shop_would(browser: Browser) -> None:
    code = Path(str(finders.find("shop/phone/as_left.js"))).read_text(encoding="utf-8")
    page = browser.new_page()
    said = page.evaluate(DECIDE, [code, [list(each) for each in EVERY]])
    page.close()
    assert said == [decided(*each) or "" for each in EVERY]
    assert set(said) == {"", "say_remedy", "say_found", "say_left", "still_out"}


def open_at_volts(phone: SheetPhone) -> Locator:
    phone.page.locator("#work-tabs").get_by_role("link", name=re.compile("^Checks")).click()
    return step(phone.page, VOLTS)


def without_signal(phone: SheetPhone, sheet: ServiceSheet, *, by: Person, at: datetime) -> Locator:
    """All done that comes before the checks, the phone taken along, the value before the eyes."""
    answer_before(sheet, by=by, at=at)
    phone.open()
    phone.is_ready_to_leave()
    phone.loses_signal()
    return open_at_volts(phone)


def test_put_right_and_read_again_without_signal(
    phone: SheetPhone, sheet: ServiceSheet, technician: Person, world: JourneyWorld, look: Look
) -> None:
    """Out of limit, put right, read again; the browser closed twice; once to the shop, and on."""
    volts = without_signal(phone, sheet, by=technician, at=world.now)
    as_found = volts.get_by_role("textbox", name="Volts")
    as_left = volts.get_by_label("As left")
    enter = volts.locator("button.enter")
    expect(as_left).to_be_hidden()
    expect(volts.get_by_role("button", name="Adjusted")).to_be_hidden()  # no value to adjust
    as_found.fill("260")
    expect(as_left).to_be_visible()
    volts.get_by_label("What you found").fill("relay stuck")
    volts.get_by_label("Put right").check()
    expect(volts.get_by_label("What you found")).to_be_hidden()
    enter.click()
    expect(volts.get_by_text("Read it again, and enter the value as left.")).to_be_visible()
    as_left.fill("255")
    enter.click()
    expect(volts.get_by_text("Still out of limit as left.")).to_be_visible()
    look(phone.page)
    assert volts.locator(".said").text_content() == ""

    # What is typed as left and not entered is there again.
    as_left.press("End")
    as_left.press("Backspace")
    phone.page.wait_for_timeout(1_000)  # the browser's database has it a moment later
    phone.open()
    volts = open_at_volts(phone)
    expect(volts.get_by_text("Typed here, not entered yet.")).to_be_visible()
    expect(as_found).to_have_value("260")
    expect(as_left).to_have_value("25")
    as_left.fill("241")
    volts.get_by_label("Put right").check()
    enter.click()
    expect(volts.locator(".said")).to_contain_text(SAID)
    expect(volts.locator(".said")).to_contain_text("kept here")
    expect(enter).to_contain_text("Change")
    expect(volts.get_by_text("What did you do about it?")).to_be_hidden()

    phone.open()
    volts = open_at_volts(phone)
    expect(volts.locator(".said")).to_contain_text(SAID)
    expect(as_left).to_have_value("241")
    expect(volts.locator(".measure")).not_to_have_class(re.compile("wrong"))
    look(phone.page)
    lost = phone.loses_two_answers()
    for _ in range(3):
        phone.has_signal_again()
    phone.sent_all()
    assert len(lost) == 2
    [entry] = StepEntry.objects.filter(step__sheet=sheet, step__title=VOLTS)
    assert (entry.value, entry.left_value, entry.is_out_of_limit) == (260, 241, False)
    assert (entry.note, entry.finding) == ("relay stuck", None)
    # The shop says the same of it as the phone did.
    phone.open()
    volts = open_at_volts(phone)
    expect(volts.locator(".said")).to_contain_text(SAID)
    expect(volts.locator(".said")).not_to_contain_text("kept here")
    expect(as_left).to_have_value("241")

    paper = paper_to_print(sheet, today=world.now.date(), system="us")
    printed = " ".join(text(read(paper)).split())
    assert "as found 260 V, as left 241 V" in printed
    rest = {"by": technician, "at": timezone.now()}
    answer_rest(sheet, **rest)
    signed = sign_sheet(
        sheet=sheet,
        author=rest["by"],
        at=rest["at"],
        signature="T. Reed",
        labour_minutes=90,
        leave_undone=False,
        signing_id=uuid4(),
    )
    paper = paper_to_print(signed, today=world.now.date(), system="us")
    assert "as found 260 V, as left 241 V" in " ".join(text(read(paper)).split())
    again = world.sheets.draft(
        Due.objects.get(pk=world.sheets.oil.pk), at=rest["at"], planned_on=rest["at"].date()
    )
    assert again.steps.get(title=VOLTS).last_value == 241


def test_a_value_within_its_limits_is_adjusted_by_a_tap(
    phone: SheetPhone, sheet: ServiceSheet, technician: Person, world: JourneyWorld, look: Look
) -> None:
    volts = without_signal(phone, sheet, by=technician, at=world.now)
    as_found = volts.get_by_role("textbox", name="Volts")
    as_left, enter = volts.get_by_label("As left"), volts.locator("button.enter")
    as_found.fill("230")
    volts.get_by_role("button", name="Adjusted? Value as left").click()
    expect(as_left).to_be_focused()
    look(phone.page)
    # Typed digit by digit it passes through values out of limit, and keeps the focus.
    as_left.press_sequentially("240")
    expect(as_left).to_be_focused()
    expect(as_left).to_have_value("240")
    enter.click()
    expect(volts.locator(".said")).to_contain_text("as found 230 V, as left 240 V")
    # Taken out again, it was not read again.
    as_left.fill("")
    enter.click()
    expect(volts.locator(".said")).to_contain_text("230 V")
    expect(volts.locator(".said")).not_to_contain_text("as left")
    expect(as_left).to_be_hidden()
    as_found.fill("260")
    volts.get_by_label("found work").check()
    volts.get_by_label("What you found").fill("regulator drifts")
    as_left.fill("255")
    enter.click()
    expect(volts.locator(".said")).to_contain_text("as found 260 V, as left 255 V, Open found work")
    expect(enter).to_contain_text("Correct it")
    phone.has_signal_again()
    phone.sent_all()
    entries = StepEntry.objects.filter(step__sheet=sheet, step__title=VOLTS).order_by("pk")
    assert [(each.value, each.left_value) for each in entries] == [
        (230, 240),
        (230, None),
        (260, 255),
    ]
    assert entries.last().is_out_of_limit
