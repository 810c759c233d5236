"""What a phone sends when signal comes and goes: each entry arrives once, under who made it."""

import re
from collections.abc import Callable
from datetime import timedelta
from decimal import Decimal

import pytest
from django.contrib.sessions.models import Session
from django.utils import timezone
from playwright.sync_api import Page, expect

from shop.models import Person, ServiceSheet, SheetStep, StepEntry, TimeEntry, Unsettled
from shop.services.drafting import void_sheet
from shop.services.in_order import BEFORE_THE_CHECKS
from shop.services.people import change_own
from tests.journeys.acting import step
from tests.journeys.conftest import PHONE, Look
from tests.journeys.phones import SHEET_ENTRIES as ENTRIES
from tests.journeys.phones import SheetPhone, entries
from tests.journeys.worlds import JourneyWorld, answer_everything
from tests.journeys.worlds import make_safe as answer_before

pytestmark = [pytest.mark.usefixtures("silence_is_meant"), pytest.mark.postgresql_too]


def test_the_shop_fails_and_comes_back(phone: SheetPhone, sheet: ServiceSheet) -> None:
    phone.context.route(ENTRIES, lambda route: route.fulfill(status=503))
    phone.makes_the_rig_safe()
    phone.says("kept on this phone")
    assert entries(sheet) == 0
    phone.context.unroute(ENTRIES)
    phone.has_signal_again()
    phone.sent_all()
    assert entries(sheet) == sheet.steps.filter(section__in=BEFORE_THE_CHECKS).count()


def test_an_answer_that_never_comes_back_is_asked_for_again(
    phone: SheetPhone, sheet: ServiceSheet
) -> None:
    """The shop takes each batch, and its answer is lost: twice."""
    lost = phone.loses_two_answers()
    phone.page.get_by_role("button", name="I have read this").first.click()
    phone.says("kept on this phone")
    for _ in range(2):
        phone.has_signal_again()
    phone.sent_all()
    assert len(lost) == 2
    assert entries(sheet) == 1


def test_two_tabs_of_one_phone_send_each_entry_once(phone: SheetPhone, sheet: ServiceSheet) -> None:
    phone.loses_signal()
    phone.makes_the_rig_safe()
    phone.is_in_reach()
    other = phone.context.new_page()
    other.goto(f"/sheets/{sheet.number}/work/")
    phone.page.evaluate("dispatchEvent(new Event('online'))")
    phone.sent_all()
    expect(other.locator("#sending")).to_contain_text("All sent")
    assert entries(sheet) == sheet.steps.filter(section__in=BEFORE_THE_CHECKS).count()


def test_two_phones_give_two_answers_and_a_person_picks_one(
    phone: SheetPhone,
    page_at: Callable[..., Page],
    sign_in_as: Callable[..., Person],
    sheet: ServiceSheet,
    technician: Person,
    manager: Person,
    world: JourneyWorld,
    look: Look,
) -> None:
    for person in (technician, manager):  # each reads the cautions and puts on a lock
        answer_before(sheet, by=person, at=world.now)
    other = SheetPhone(page_at(PHONE), sheet)
    sign_in_as(other.page, manager)
    for each in (phone, other):
        each.open("#line-2")
        each.loses_signal()
    step(phone.page, "Side seal").get_by_role("button", name="good").click()
    step(other.page, "Side seal").get_by_role("button", name="replaced").click()
    phone.has_signal_again()
    phone.sent_all()
    other.has_signal_again()
    seal = step(other.page, "Side seal")
    expect(seal.get_by_text("Two answers were given")).to_be_visible()
    look(other.page)
    assert sheet.steps.get(title="Side seal").entries.count() == 2  # both are kept
    seal.locator(".rivals").get_by_role("button", name=re.compile("^good")).click()
    expect(seal.get_by_text("Two answers were given")).to_be_hidden()
    expect(seal.locator(".said")).not_to_contain_text("kept here")
    settled = sheet.steps.get(title="Side seal").entry
    assert settled
    assert (settled.choice, settled.author) == ("good", manager)


@pytest.mark.parametrize("wrong_by", [timedelta(days=1), -timedelta(days=1)])
def test_a_clock_wrong_by_a_day_is_put_right(
    phone: SheetPhone, sheet: ServiceSheet, wrong_by: timedelta
) -> None:
    phone.page.clock.set_system_time(timezone.now() + wrong_by)
    before = timezone.now()
    phone.page.get_by_role("button", name="I have read this").first.click()
    phone.sent_all()
    entry = StepEntry.objects.get(step__sheet=sheet)
    assert before - timedelta(seconds=5) <= entry.at <= entry.recorded_at


def test_a_sign_in_that_ran_out_stops_nothing(
    phone: SheetPhone, sheet: ServiceSheet, technician: Person
) -> None:
    phone.loses_signal()
    phone.page.get_by_role("button", name="I have read this").first.click()
    phone.says("No signal")
    Session.objects.all().delete()
    phone.has_signal_again()
    phone.sent_all()
    assert StepEntry.objects.get(step__sheet=sheet).author == technician


def test_a_phone_that_changes_hands_sends_under_the_name_of_who_entered(
    phone: SheetPhone,
    sheet: ServiceSheet,
    technician: Person,
    manager: Person,
    sign_in_as: Callable[..., Person],
) -> None:
    phone.context.route(ENTRIES, lambda route: route.fulfill(status=503))
    phone.page.get_by_role("button", name="I have read this").first.click()
    phone.says("kept on this phone")
    sign_in_as(phone.page, manager)
    phone.open()
    phone.page.get_by_role("button", name="I have read this").last.click()
    phone.context.unroute(ENTRIES)
    phone.has_signal_again()
    phone.sent_all()
    made = StepEntry.objects.filter(step__sheet=sheet).order_by("pk")
    assert [entry.author for entry in made] == [technician, manager]


def test_a_sheet_voided_meanwhile_loses_no_entry(
    phone: SheetPhone, sheet: ServiceSheet, technician: Person, manager: Person, world: JourneyWorld
) -> None:
    """What came too late waits for the manager, whole, under the name of who entered it."""
    phone.loses_signal()
    # Tried once, so that nobody waits for its answer any more.
    with phone.page.expect_event(
        "requestfailed", lambda request: request.url.endswith("/entries/")
    ):
        phone.page.get_by_role("button", name="I have read this").first.click()
    phone.says("No signal")
    now = timezone.now()
    void_sheet(sheet=sheet, author=manager, at=now, reason="rig sold", request_id=sheet.request_id)
    phone.has_signal_again()
    phone.page.wait_for_url(re.compile(rf"/sheets/{sheet.number}/$"))  # nothing more to work on
    waiting = Unsettled.objects.get()
    assert (waiting.author, waiting.kind, waiting.sheet) == (technician, "answer", sheet)
    assert not StepEntry.objects.filter(step__sheet=sheet).exists()


def test_a_clock_started_on_a_sheet_that_was_voided_does_not_run(
    phone: SheetPhone, sheet: ServiceSheet, manager: Person
) -> None:
    """Nothing that was typed is lost by it: the page of the sheet says what became of it."""
    now = timezone.now()
    void_sheet(sheet=sheet, author=manager, at=now, reason="rig sold", request_id=sheet.request_id)
    phone.page.get_by_role("button", name="Start my time").click()
    phone.page.wait_for_url(re.compile(rf"/sheets/{sheet.number}/$"))
    expect(phone.page.locator("main")).to_contain_text("rig sold")
    assert not TimeEntry.objects.exists()


def test_what_is_refused_at_once_stands_beside_its_field(
    phone: SheetPhone, sheet: ServiceSheet, technician: Person, world: JourneyWorld, look: Look
) -> None:
    answer_everything(sheet, by=technician, at=world.now)
    phone.open("#parts")
    row = phone.page.locator("[data-row]").filter(has_text="oil filter")
    too_much = "20000000000"  # how much a quantity may be is known to the shop alone
    row.get_by_role("textbox").fill(too_much)
    row.get_by_role("textbox").blur()
    expect(row.get_by_text("Check the number.")).to_be_visible()
    expect(row.get_by_role("textbox")).to_have_value(too_much)
    look(phone.page)
    phone.sent_all()  # it was refused to somebody who looks: nothing of it waits anywhere


def test_a_phone_from_another_zone_shows_the_hour_of_the_shop(
    page_at: Callable[..., Page],
    sign_in_as: Callable[..., Person],
    sheet: ServiceSheet,
    technician: Person,
) -> None:
    phone = SheetPhone(page_at(PHONE, timezone_id="Asia/Tokyo"), sheet)
    sign_in_as(phone.page, technician)
    answer_before(sheet, by=technician, at=timezone.now())
    phone.open()
    phone.is_ready_to_leave()
    phone.loses_signal()
    oil = step(phone.page, "Oil and filter changed")
    oil.locator("button.check-row").click()
    said = oil.locator(".said")
    expect(said).to_contain_text("kept here")
    kept_at = said.inner_text().split()[0]
    phone.has_signal_again()
    phone.sent_all()
    expect(said).not_to_contain_text("kept here")
    assert said.inner_text().split()[0] == kept_at


def test_a_phone_changes_hands_between_metric_and_us_units(
    phone: SheetPhone,
    sheet: ServiceSheet,
    technician: Person,
    world: JourneyWorld,
    sign_in_as: Callable[..., Person],
    look: Look,
) -> None:
    """Typed in bar without signal, then in psi by the next one: both are kept in psi, as meant."""
    volts = sheet.steps.get(title="Volts at rated load")
    SheetStep.objects.filter(pk=volts.pk).update(unit="psi", low=900, high=1100, last_value=1000)
    manager = world.sheets.manager
    for person in (technician, manager):  # each reads the cautions and puts on a lock
        answer_before(sheet, by=person, at=world.now)
    change_own(person=technician, language="en", own_units="metric")
    phone.open(f"#step-{volts.pk}")
    phone.is_ready_to_leave()
    phone.loses_signal()
    pressure = step(phone.page, "Volts at rated load")
    expect(pressure).to_contain_text("62.06 – 75.84 bar; last 68.95 bar")
    box = pressure.get_by_role("textbox", name="Volts")
    box.fill("75.85")
    pressure.get_by_role("button", name="Enter").click()
    expect(pressure.get_by_text("What did you do about it?")).to_be_visible()
    box.fill("75.845")
    pressure.get_by_role("button", name="Enter").click()
    expect(pressure).to_contain_text("At most 2 decimals.")
    box.fill("70.3")
    expect(pressure.get_by_text("What did you do about it?")).to_be_hidden()
    pressure.get_by_role("button", name="Enter").click()
    expect(pressure.locator(".said")).to_contain_text("70.3 bar")
    expect(pressure.locator(".said")).to_contain_text("kept here")
    look(phone.page)

    # Somebody else signs in on it before there is signal: what waits is theirs no more than before.
    phone.is_in_reach()
    phone.page.route(ENTRIES, lambda route: route.abort())
    sign_in_as(phone.page, manager)
    phone.open(f"#step-{volts.pk}")
    pressure = step(phone.page, "Volts at rated load")
    expect(pressure).to_contain_text("900 – 1,100 psi; last 1,000 psi")
    # As it was typed, with its unit; and not in the box, which asks for psi.
    expect(pressure.locator(".said")).to_contain_text("70.3 bar")
    box = pressure.get_by_role("textbox", name="Volts")
    expect(box).to_have_value("")
    phone.page.unroute(ENTRIES)
    phone.has_signal_again()
    phone.sent_all()
    expect(pressure.locator(".said")).to_contain_text("1019.6153 psi")
    expect(box).to_have_value("1019.6153")
    phone.open(f"#step-{volts.pk}")
    box.fill("1050")
    pressure.get_by_role("button", name="Change").click()
    expect(pressure.locator(".said")).to_contain_text("1050 psi")
    phone.sent_all()
    given = StepEntry.objects.filter(step=volts).order_by("pk").values_list("author", "value")
    assert list(given) == [
        (technician.pk, Decimal("1019.6153")),
        (manager.pk, Decimal(1050)),
    ]
    sign_in_as(phone.page, technician)
    phone.open(f"#step-{volts.pk}")
    expect(pressure.locator(".said")).to_contain_text("72.39 bar")
