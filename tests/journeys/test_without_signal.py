"""The sheet on a phone whose signal goes and comes: nothing is lost, each entry arrives once."""

import re
from collections.abc import Callable, Iterator
from datetime import timedelta
from typing import Any

import pytest
from django.contrib.sessions.models import Session
from django.utils import timezone
from playwright.sync_api import BrowserContext, Page, Route, expect

from equipment.models import Finding, FindingPhoto, Reading, Renewal
from shop.models import Person, ServiceSheet, StepEntry, Unsettled
from shop.services.drafting import void_sheet
from shop.services.working import BEFORE_THE_CHECKS
from tests.equipment.photographs import photo_file
from tests.journeys.acting import back_to_service, make_safe, step
from tests.journeys.conftest import PHONE, Look
from tests.journeys.worlds import JourneyWorld, answer_everything, draft
from tests.journeys.worlds import make_safe as answer_before

#: What the browser writes into its console when there is no signal, or the shop fails.
SILENCE = re.compile(r"ERR_INTERNET_DISCONNECTED|ERR_FAILED|status of 503|fetching the script")
ENTRIES = "**/entries/"


@pytest.fixture(autouse=True)
def _silence_is_meant(page_at: Any) -> Iterator[None]:
    yield
    page_at.complaints[:] = [each for each in page_at.complaints if not SILENCE.search(each)]


class Phone:
    """A technician's phone with a sheet open on it."""

    def __init__(self, page: Page, sheet: ServiceSheet) -> None:
        self.page, self.sheet = page, sheet

    @property
    def context(self) -> BrowserContext:
        return self.page.context

    def open(self, part: str = "") -> None:
        self.page.goto("about:blank")  # else another part of the open page is no new page
        self.page.goto(f"/sheets/{self.sheet.number}/work/{part}")
        expect(self.page.locator("body.has-script")).to_be_visible()

    def is_ready_to_leave(self) -> None:
        """The page is on the phone, with what it needs."""
        expect(self.page.locator("body[data-carried]")).to_be_visible()

    def loses_signal(self) -> None:
        self.context.set_offline(True)

    def has_signal_again(self) -> None:
        self.context.set_offline(False)
        self.page.evaluate("dispatchEvent(new Event('online'))")

    def closes_the_browser_and_opens_the_sheet_again(self) -> None:
        """All that lived in the page's memory is gone. In the same tab: one opened now would be
        online for a moment before the browser hears that there is no signal."""
        self.open()

    def makes_the_rig_safe(self) -> None:
        make_safe(self.page)

    def says(self, words: str | re.Pattern[str]) -> None:
        expect(self.page.locator("#sending")).to_contain_text(words)

    def sent_all(self) -> None:
        self.says("All sent")


@pytest.fixture
def sheet(world: JourneyWorld, technician: Person) -> ServiceSheet:
    return draft(world, technician=technician)


@pytest.fixture
def phone(
    page_at: Callable[..., Page],
    sign_in_as: Callable[..., Person],
    technician: Person,
    sheet: ServiceSheet,
) -> Phone:
    phone = Phone(page_at(PHONE), sheet)
    sign_in_as(phone.page, technician)
    phone.open()
    return phone


def entries(sheet: ServiceSheet) -> int:
    return StepEntry.objects.filter(step__sheet=sheet).count()


def test_a_whole_sheet_without_signal_and_nothing_is_lost(
    phone: Phone, sheet: ServiceSheet, technician: Person, world: JourneyWorld, look: Look
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

    phone.closes_the_browser_and_opens_the_sheet_again()
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
    page.get_by_role("link", name="Next: sign").click()
    back_to_service(page)
    page.get_by_label("Generator hours", exact=False).first.fill("230")
    page.get_by_label("How long the work took").fill("95")
    box = page.locator("#drawn").bounding_box()
    assert box
    page.mouse.move(box["x"] + 40, box["y"] + 60)
    page.mouse.down()
    page.mouse.move(box["x"] + 140, box["y"] + 30, steps=8)
    page.mouse.up()
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


def test_the_shop_fails_and_comes_back(phone: Phone, sheet: ServiceSheet) -> None:
    phone.context.route(ENTRIES, lambda route: route.fulfill(status=503))
    phone.makes_the_rig_safe()
    phone.says("kept on this phone")
    assert entries(sheet) == 0
    phone.context.unroute(ENTRIES)
    phone.has_signal_again()
    phone.sent_all()
    assert entries(sheet) == sheet.steps.filter(section__in=BEFORE_THE_CHECKS).count()


def test_an_answer_that_never_comes_back_is_asked_for_again(
    phone: Phone, sheet: ServiceSheet
) -> None:
    """The shop takes each batch, and its answer is lost: twice."""
    lost: list[str] = []

    def takes_and_is_silent(route: Route) -> None:
        if len(lost) < 2:
            lost.append(route.request.post_data or "")
            route.fetch()
            route.abort()
        else:
            route.continue_()

    phone.context.route(ENTRIES, takes_and_is_silent)
    phone.page.get_by_role("button", name="I have read this").first.click()
    phone.says("kept on this phone")
    for _ in range(2):
        phone.has_signal_again()
    phone.sent_all()
    assert len(lost) == 2
    assert entries(sheet) == 1


def test_two_tabs_of_one_phone_send_each_entry_once(phone: Phone, sheet: ServiceSheet) -> None:
    phone.loses_signal()
    phone.makes_the_rig_safe()
    phone.context.set_offline(False)
    other = phone.context.new_page()
    other.goto(f"/sheets/{sheet.number}/work/")
    phone.page.evaluate("dispatchEvent(new Event('online'))")
    phone.sent_all()
    expect(other.locator("#sending")).to_contain_text("All sent")
    assert entries(sheet) == sheet.steps.filter(section__in=BEFORE_THE_CHECKS).count()


def test_two_phones_give_two_answers_and_a_person_picks_one(
    phone: Phone,
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
    other = Phone(page_at(PHONE), sheet)
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
    phone: Phone, sheet: ServiceSheet, wrong_by: timedelta
) -> None:
    phone.page.clock.set_system_time(timezone.now() + wrong_by)
    before = timezone.now()
    phone.page.get_by_role("button", name="I have read this").first.click()
    phone.sent_all()
    entry = StepEntry.objects.get(step__sheet=sheet)
    assert before - timedelta(seconds=5) <= entry.at <= entry.recorded_at


def test_a_sign_in_that_ran_out_stops_nothing(
    phone: Phone, sheet: ServiceSheet, technician: Person
) -> None:
    phone.loses_signal()
    phone.page.get_by_role("button", name="I have read this").first.click()
    phone.says("No signal")
    Session.objects.all().delete()
    phone.has_signal_again()
    phone.sent_all()
    assert StepEntry.objects.get(step__sheet=sheet).author == technician


def test_a_phone_that_changes_hands_sends_under_the_name_of_who_entered(
    phone: Phone,
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
    phone: Phone, sheet: ServiceSheet, technician: Person, manager: Person, world: JourneyWorld
) -> None:
    """What came too late waits for the manager, whole, under the name of who entered it."""
    phone.loses_signal()
    phone.page.get_by_role("button", name="I have read this").first.click()
    phone.says("No signal")  # tried once, so that nobody waits for its answer any more
    now = timezone.now()
    void_sheet(sheet=sheet, author=manager, at=now, reason="rig sold", request_id=sheet.request_id)
    phone.has_signal_again()
    phone.page.wait_for_url(re.compile(rf"/sheets/{sheet.number}/$"))  # nothing more to work on
    waiting = Unsettled.objects.get()
    assert (waiting.author, waiting.kind, waiting.sheet) == (technician, "answer", sheet)
    assert not StepEntry.objects.filter(step__sheet=sheet).exists()


def test_what_is_refused_at_once_stands_beside_its_field(
    phone: Phone, sheet: ServiceSheet, technician: Person, world: JourneyWorld, look: Look
) -> None:
    answer_everything(sheet, by=technician, at=world.now)
    phone.open("#parts")
    row = phone.page.locator("[data-row]").filter(has_text="oil filter")
    row.get_by_role("textbox").fill("1.5")
    row.get_by_role("textbox").blur()
    expect(row.get_by_text("whole")).to_be_visible()
    expect(row.get_by_role("textbox")).to_have_value("1.5")
    look(phone.page)
    phone.sent_all()  # it was refused to somebody who looks: nothing of it waits anywhere


def test_a_photo_taken_without_signal_follows_its_found_work(
    phone: Phone, sheet: ServiceSheet, look: Look
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
    expect(page.get_by_text("hose chafed at the bracket", exact=True)).to_be_visible()
    phone.sent_all()
    found = Finding.objects.get()
    assert found.text == "hose chafed at the bracket"
    assert FindingPhoto.objects.count() == 1


def test_today_takes_the_sheets_along(
    phone: Phone, sheet: ServiceSheet, technician: Person, look: Look
) -> None:
    page = phone.page
    page.goto("/")
    expect(page.get_by_text("1 sheet is on this phone")).to_be_visible()
    look(page)
    phone.loses_signal()
    page.goto(f"/sheets/{sheet.number}/work/")
    expect(page.get_by_role("heading", name="Before you start")).to_be_visible()


def test_who_signs_out_leaves_no_page_behind(phone: Phone, sheet: ServiceSheet) -> None:
    phone.is_ready_to_leave()
    page = phone.page
    page.locator("details.person summary").click()
    page.get_by_role("button", name="Sign out").click()
    expect(page.get_by_label("Password")).to_be_visible()
    phone.loses_signal()
    page.goto(f"/sheets/{sheet.number}/work/")
    expect(page.get_by_role("heading", name="No signal")).to_be_visible()


def test_a_page_that_is_not_on_the_phone_says_what_is(phone: Phone, look: Look) -> None:
    phone.is_ready_to_leave()
    phone.loses_signal()
    phone.page.goto("/rigs/")
    expect(phone.page.get_by_role("heading", name="No signal")).to_be_visible()
    link = phone.page.get_by_role("link", name=re.compile(f"Sheet {phone.sheet}"))
    look(phone.page)
    link.click()
    expect(phone.page.get_by_role("heading", name="Before you start")).to_be_visible()


def test_without_a_script_the_sheet_can_be_worked_too(
    page_at: Callable[..., Page], sign_in_as: Callable[..., Person], sheet: ServiceSheet, look: Look
) -> None:
    page = page_at(PHONE, java_script_enabled=False)
    sign_in_as(page, "technician")
    page.goto(f"/sheets/{sheet.number}/work/")
    page.get_by_role("button", name="I have read this").first.click()
    expect(page).to_have_url(re.compile("#step-"))
    assert entries(sheet) == 1
    expect(page.get_by_role("button", name="Sign the sheet")).to_be_visible()
