"""What is typed as a number where a script helps: read as the shop reads it, or refused."""

from collections.abc import Callable
from decimal import Decimal
from pathlib import Path

import pytest
from django.contrib.staticfiles import finders
from django.utils import timezone
from playwright.sync_api import Browser, Page, expect

from shop.models import Person, ReadingEntry, ServiceSheet
from tests.journeys.acting import step
from tests.journeys.conftest import DESK, Look
from tests.journeys.phones import SheetPhone
from tests.journeys.worlds import JourneyWorld, draft
from tests.journeys.worlds import make_safe as answer_before
from tests.shop.test_typed_numbers import BELOW_ZERO, NO_NUMBER, QUANTITIES, TYPED

A_NUMBER = "Write a number, like 1182 or 60.5."
READ = """async ([code, texts]) => {
    const module = `data:text/javascript;charset=utf-8,${encodeURIComponent(code)}`;
    const { numberOf, plainOf } = await import(module);
    return texts.map((text) => [numberOf(text), plainOf(text)]);
}"""


def test_phone_and_shop_read_each_text_alike(browser: Browser) -> None:
    code = Path(str(finders.find("shop/phone/figures.js"))).read_text(encoding="utf-8")
    page = browser.new_page()
    read = page.evaluate(READ, [code, list(TYPED)])
    page.close()
    said = {
        text: (None if plain is None else Decimal(plain), number)
        for text, (number, plain) in zip(TYPED, read, strict=True)
    }
    assert said == {
        text: (None, None) if number is None else (Decimal(number), float(number))
        for text, number in TYPED.items()
    }


@pytest.mark.usefixtures("silence_is_meant")
def test_a_decimal_comma_is_refused_beside_its_box_and_stays(
    phone: SheetPhone, sheet: ServiceSheet, technician: Person, look: Look
) -> None:
    answer_before(sheet, by=technician, at=timezone.now())
    phone.open()
    phone.is_ready_to_leave()
    phone.loses_signal()
    page = phone.page
    volts = step(page, "Volts at rated load")
    box = volts.get_by_role("textbox", name="Volts")
    box.fill("7,5")
    box.press("Enter")  # the keyboard's own: the same as the button Enter
    expect(volts.get_by_text(A_NUMBER)).to_be_in_viewport()
    expect(volts.get_by_label("As left")).to_be_hidden()
    box.fill("24,1")
    volts.get_by_role("button", name="more").click()
    volts.get_by_role("button", name="Enter").click()
    expect(volts.get_by_text(A_NUMBER)).to_be_visible()
    expect(box).to_have_value("24,1")
    expect(volts.locator(".said")).to_have_text("")
    look(page)
    box.fill("100,000,000")
    volts.get_by_role("button", name="Enter").click()
    expect(volts.get_by_text("That number is too large.")).to_be_visible()
    box.fill("240.5")
    volts.get_by_role("button", name="more").click()
    expect(box).not_to_have_value("240.5")
    box.fill("240.5")
    box.press("Enter")
    expect(volts.locator(".said")).to_contain_text("240.5 V")

    page.get_by_role("link", name="Sign", exact=True).click()
    hours = page.get_by_label("Generator hours", exact=False).first
    hours.fill("23,5")
    page.get_by_role("button", name="Keep the readings").click()
    face = page.locator(".faces > li").filter(has=hours)
    expect(face.get_by_text(A_NUMBER)).to_be_visible()
    expect(hours).to_have_value("23,5")
    look(page)
    hours.fill("230.5")
    page.get_by_role("button", name="Keep the readings").click()
    expect(face.get_by_text(A_NUMBER)).to_be_hidden()
    phone.has_signal_again()
    expect(volts.locator(".said")).not_to_contain_text("kept here")
    phone.sent_all()
    assert sheet.steps.get(title="Volts at rated load").entry.value == Decimal("240.5")
    assert ReadingEntry.objects.get(sheet=sheet).value == Decimal("230.5")


def test_keyed_in_from_paper_a_comma_asks_for_no_remedy_and_is_refused(
    page_at: Callable[..., Page],
    sign_in_as: Callable[..., Person],
    world: JourneyWorld,
    technician: Person,
) -> None:
    sheet = draft(world, technician=technician)
    page = page_at(DESK)
    sign_in_as(page, "manager")
    page.goto(f"/sheets/{sheet.number}/keyed/")
    volts = sheet.steps.get(title="Volts at rated load")
    box = page.locator(f"[name=value-{volts.pk}]")
    row = page.locator(".key-row").filter(has=box)
    box.fill("200")
    expect(row.locator("[data-asks]")).to_be_visible()
    box.fill("2,40")  # no number; with its comma taken away it would be within its limits
    expect(row.locator("[data-asks]")).to_be_hidden()
    box.fill("20,0")
    expect(row.locator("[data-asks]")).to_be_hidden()
    page.locator("form[data-keyed]").evaluate("form => form.requestSubmit()")
    expect(row.get_by_text(A_NUMBER)).to_be_visible()
    expect(box).to_have_value("20,0")


ASK = """async ([code, texts]) => {
    const module = `data:text/javascript;charset=utf-8,${encodeURIComponent(code)}`;
    const { isQuantity } = await import(module);
    return texts.map((text) => isQuantity(text));
}"""


def test_phone_and_shop_refuse_the_same_quantities(browser: Browser) -> None:
    code = Path(str(finders.find("shop/phone/figures.js"))).read_text(encoding="utf-8")
    page = browser.new_page()
    read = page.evaluate(ASK, [code, list(QUANTITIES)])
    page.close()
    said = [
        None if each is True else BELOW_ZERO if each is None else NO_NUMBER.format(each)
        for each in read
    ]
    assert dict(zip(QUANTITIES, said, strict=True)) == QUANTITIES
