"""An entry of another day says its day, by the page that the shop sent and by its script alike."""

from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path
from uuid import uuid4

import pytest
from django.contrib.staticfiles import finders
from django.utils import timezone, translation
from playwright.sync_api import Browser, Page, expect

from shop import words
from shop.models import Person, ServiceSheet, Shop
from shop.services.working import answer_step
from tests.journeys.conftest import PHONE
from tests.journeys.phones import SheetPhone
from tests.journeys.worlds import make_safe as answer_before

SAY = """async ([code, lang, zone, instants, now]) => {
    Object.assign(document.documentElement, { lang }).dataset.zone = zone;
    const address = URL.createObjectURL(new Blob([code], { type: "text/javascript" }));
    const { clock } = await import(address);
    return instants.map((each) => clock(each, now));
}"""
DAY = timedelta(days=1)


@pytest.mark.parametrize("lang", ["en", "es"])
def test_phone_and_shop_say_each_day_alike(browser: Browser, lang: str) -> None:
    code = Path(str(finders.find("shop/phone/saying.js"))).read_text(encoding="utf-8")
    zone = Shop(time_zone="America/Chicago").zone
    # Four in the morning there is the evening before at the shop, and the last day of the year.
    now = datetime(2027, 1, 1, 4, 30, tzinfo=UTC)
    instants = [now - hours * timedelta(hours=7) for hours in range(0, 1500, 37)]
    page = browser.new_page(timezone_id="Pacific/Auckland")
    said = page.evaluate(
        SAY,
        [code, lang, str(zone), [each.isoformat() for each in instants], now.timestamp() * 1000],
    )
    page.close()
    with translation.override(lang):
        today = now.astimezone(zone).date()
        assert said == [words.clock(each, zone=zone, today=today) for each in instants]
    assert said[0] == "22:30"
    assert any(" 2025 " in each for each in said)


@pytest.mark.usefixtures("silence_is_meant")
@pytest.mark.parametrize("lang", ["en", "es"])
def test_yesterdays_entries_say_their_day_and_todays_do_not(
    phone: SheetPhone,
    page_at: Callable[..., Page],
    sign_in_as: Callable[..., Person],
    sheet: ServiceSheet,
    technician: Person,
    lang: str,
) -> None:
    technician.language = lang
    technician.save()
    now = timezone.now()
    answer_before(sheet, by=technician, at=now - DAY)
    zone = Shop.objects.get().zone
    first = sheet.steps.filter(section="caution").order_by("order").first()
    assert first
    again = sheet.steps.filter(section="lockout").order_by("order").first()
    assert again
    answer_step(
        step=again,
        event_id=uuid4(),
        author=technician,
        at=now,
        recorded_at=now,
        answer="done",
    )

    def said(at: datetime, today: datetime) -> str:
        with translation.override(lang):
            day = today.astimezone(zone).date()
            return f"{words.clock(at, zone=zone, today=day)} {technician.name}"

    def stands(today: datetime) -> None:
        caution, tick = (phone.page.locator(f"#step-{each.pk} .said") for each in (first, again))
        expect(caution).to_have_text(said(now - DAY, today))
        expect(tick).to_have_text(said(now, today))

    assert len(said(now, now)) + len("1 Jan ") <= len(said(now - DAY, now))
    with_script, phone.page = phone.page, page_at(PHONE, java_script_enabled=False)
    sign_in_as(phone.page, technician)
    phone.page.goto(phone.address)
    stands(now)
    phone.page = with_script
    phone.open("#cautions")
    stands(now)
    # A copy that is a day old knows what day it is, and nobody told it anew.
    phone.is_ready_to_leave()
    phone.loses_signal()
    phone.page.clock.set_system_time(now + DAY)
    phone.open("#cautions")
    stands(now + DAY)
