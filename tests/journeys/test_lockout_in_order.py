"""Locked out in order on a phone without signal: what is refused leads to what comes first.

The order is that of 29 CFR 1910.147(d) and (e).
"""

import re
from datetime import timedelta

import pytest
from django.utils import timezone
from playwright.sync_api import Locator, expect

from shop.models import Person, ServiceSheet
from tests.journeys.conftest import Look
from tests.journeys.phones import SheetPhone
from tests.journeys.worlds import make_safe

pytestmark = pytest.mark.usefixtures("silence_is_meant")


def row(phone: SheetPhone, sheet: ServiceSheet, title: str) -> Locator:
    found = sheet.steps.filter(title=title).order_by("section", "order")[0]
    return phone.page.locator(f"#step-{found.pk}")


def tap(step: Locator) -> Locator:
    tick = step.locator("button.check-row")
    tick.click()
    return tick


def test_without_signal_each_tap_out_of_order_leads_to_what_comes_first(
    phone: SheetPhone, sheet: ServiceSheet, look: Look
) -> None:
    phone.is_ready_to_leave()
    phone.loses_signal()
    page = phone.page
    page.evaluate("location.hash = 'cautions'")
    lock = row(phone, sheet, "Your own lock")
    tap(lock)
    refused = lock.locator(".row-error")
    expect(refused).to_contain_text("This comes first: Stored fluid pressure.")
    read = page.locator("#cautions").get_by_role("button", name="I have read this")
    while before := read.count():
        read.first.click()
        expect(read).to_have_count(before - 1)
    # What is said goes on by itself, to what comes first now.
    expect(refused).to_contain_text("This comes first: Know every source and tell everyone.")
    look(page)
    refused.get_by_role("link", name="Go there").click()
    tell = row(phone, sheet, "Know every source and tell everyone")
    expect(tell).to_be_in_viewport()
    gauge = page.locator("#cautions li").filter(has=page.locator(".measure")).first
    gauge.get_by_role("textbox").fill("0")
    gauge.get_by_role("button", name="Enter").click()
    expect(gauge.locator(".row-error")).to_contain_text(
        "This comes first: Know every source and tell everyone."
    )
    phone.makes_the_rig_safe()  # in the order of the page, one tap for each
    page.evaluate("location.hash = 'back'")
    off = row(phone, sheet, "Locks off")
    tap(off)
    expect(off.locator(".row-error")).to_contain_text("This comes first: Rig clear.")
    for title in ("Rig clear", "People clear and told", "Locks off"):
        expect(tap(row(phone, sheet, title))).to_have_attribute("aria-pressed", "true")
    expect(off.locator(".row-error")).to_be_hidden()
    phone.has_signal_again()
    phone.sent_all()
    entered = sheet.steps.exclude(section="check").filter(entry__isnull=True)
    assert not entered.exists()
    assert not sheet.unsettled.exists()


def test_a_tick_of_lockout_is_taken_back_by_a_second_tap_beside_it(
    phone: SheetPhone, sheet: ServiceSheet, technician: Person, look: Look
) -> None:
    make_safe(sheet, by=technician, at=timezone.now())
    phone.open()
    page = phone.page
    page.evaluate("location.hash = 'cautions'")
    lock = row(phone, sheet, "Your own lock")
    back = lock.get_by_role("button", name="Take it back?")
    tick = tap(lock)
    expect(back).to_be_visible()
    expect(tick).to_have_attribute("aria-pressed", "true")
    look(page)
    tap(lock)  # the same row again, as a glove that slips, asks no more
    expect(back).to_have_count(0)
    expect(tick).to_have_attribute("aria-pressed", "true")
    tap(lock)
    back.click()
    expect(tick).to_have_attribute("aria-pressed", "false")
    expect(back).to_have_count(0)
    expect(page.locator("#count-before")).to_have_text(re.compile(r"^\d+ of \d+"))
    phone.sent_all()
    assert sheet.steps.get(title="Your own lock").entry is None
    # Done again, what was proved by it before is proved again.
    tap(lock)
    expect(tick).to_have_attribute("aria-pressed", "true")
    tried = row(phone, sheet, "Tried to start")
    expect(tried.locator(".said")).to_contain_text("look again")


def test_without_signal_what_is_isolated_again_is_proved_again_before_the_work(
    phone: SheetPhone, sheet: ServiceSheet, technician: Person
) -> None:
    """29 CFR 1910.147(d)(3), then (d)(6)."""
    sheet.steps.filter(title="Oil and filter changed").update(opens=["material"])
    make_safe(sheet, by=technician, at=timezone.now())
    phone.open()
    phone.is_ready_to_leave()
    phone.loses_signal()
    page = phone.page
    page.evaluate("location.hash = 'cautions'")
    generator = row(phone, sheet, "Generator")
    tick = tap(generator)
    generator.get_by_role("button", name="Take it back?").click()
    expect(tick).to_have_attribute("aria-pressed", "false")
    tap(generator)
    expect(tick).to_have_attribute("aria-pressed", "true")
    expect(page.locator("#count-before")).to_have_text("3 again")
    page.evaluate("location.hash = 'line-1'")
    oil = row(phone, sheet, "Oil and filter changed")
    tap(oil)
    expect(oil.locator(".row-error")).to_contain_text("Tried to start, Gauge A, Gauge B")
    oil.get_by_role("link", name="Go there").click()
    spent = page.locator("#cautions li[data-step]").filter(has_text="look again")
    for left in (2, 1, 0):
        spent.first.locator("button.check-row, button.enter").first.click()
        expect(spent).to_have_count(left)
    page.evaluate("location.hash = 'line-1'")
    expect(tap(oil)).to_have_attribute("aria-pressed", "true")
    phone.has_signal_again()
    phone.sent_all()
    assert sheet.steps.get(title="Oil and filter changed").entry is not None
    assert not sheet.unsettled.exists()


def test_on_the_next_day_the_own_lock_is_looked_at_before_the_work_goes_on(
    phone: SheetPhone, sheet: ServiceSheet, technician: Person
) -> None:
    yesterday = timezone.now() - timedelta(hours=20)
    sheet.steps.filter(title="Oil and filter changed").update(opens=[])
    make_safe(sheet, by=technician, at=yesterday)
    phone.open()
    phone.is_ready_to_leave()
    phone.loses_signal()
    page = phone.page
    page.evaluate("location.hash = 'line-1'")
    oil = row(phone, sheet, "Oil and filter changed")
    tap(oil)
    expect(oil.locator(".row-error")).to_contain_text(
        "Before this, do again: Your own lock, Tried to start."
    )
    oil.get_by_role("link", name="Go there").click()
    tried = row(phone, sheet, "Tried to start")
    tap(tried)
    expect(tried.locator(".row-error")).to_contain_text("Before this, do again: Your own lock.")
    for title in ("Your own lock", "Tried to start"):
        expect(tap(row(phone, sheet, title))).to_have_attribute("aria-pressed", "true")
    page.evaluate("location.hash = 'line-1'")
    expect(tap(oil)).to_have_attribute("aria-pressed", "true")
    phone.has_signal_again()
    phone.sent_all()
    assert sheet.steps.get(title="Oil and filter changed").entry is not None
    assert not sheet.unsettled.exists()
