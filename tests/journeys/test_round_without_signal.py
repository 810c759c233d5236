"""The daily round on a phone without signal: kept here, sent once, under who walked it."""

import re
from collections.abc import Callable
from datetime import timedelta

import pytest
from django.utils import timezone
from playwright.sync_api import Locator, Page, expect

from equipment.models import Finding, FindingPhoto, Reading, Rig, Round
from shop.models import Arrival, Person, Unsettled
from tests.equipment.photographs import photo_file
from tests.journeys.conftest import PHONE, Look
from tests.journeys.phones import Phone
from tests.journeys.worlds import JourneyWorld, add_round, draft

pytestmark = pytest.mark.usefixtures("silence_is_meant")

ENTRIES = "**/rigs/1/entries/"
ROUND = "/rigs/1/round/"


class RoundPhone(Phone):
    """A phone on which rounds are walked."""

    def __init__(self, page: Page) -> None:
        super().__init__(page, address=ROUND, entries=ENTRIES)

    def check(self, text: str) -> Locator:
        return self.page.locator("li.asking").filter(has_text=text)

    def is_not_right(self, text: str, note: str) -> None:
        self.check(text).locator("label.way").click()
        self.check(text).get_by_label("What is not right").fill(note)

    def the_rest_is_in_order(self) -> None:
        self.page.get_by_role("button", name="The rest is in order").click()

    def has_kept(self, words: str | re.Pattern[str]) -> None:
        expect(self.page.locator("#kept-here")).to_contain_text(words)
        expect(self.page.locator("#round-form")).to_be_hidden()

    def reports(self, text: str) -> None:
        """Found work with a photo, not kept yet."""
        report = self.page.locator("#report")
        self.page.get_by_role("link", name="Found work", exact=True).tap()
        expect(report.get_by_label("What you found")).to_be_focused()
        report.get_by_label("What you found").fill(text)
        report.get_by_label("Rig must not leave").check()
        report.locator("input[type=file]").set_input_files(
            [{"name": "IMG_1.jpg", "mimeType": "image/jpeg", "buffer": photo_file().read()}]
        )
        expect(report).to_contain_text("1 photo")


@pytest.fixture
def rig(world: JourneyWorld) -> Rig:
    add_round(world)
    return world.fleet.rig


@pytest.fixture
def phone(
    rig: Rig,
    page_at: Callable[..., Page],
    sign_in_as: Callable[..., Person],
    technician: Person,
) -> RoundPhone:
    phone = RoundPhone(page_at(PHONE))
    sign_in_as(phone.page, technician)
    phone.open()
    return phone


def test_a_round_without_signal_survives_a_closed_browser_and_arrives_once(
    phone: RoundPhone, technician: Person, look: Look
) -> None:
    phone.is_ready_to_leave()
    phone.loses_signal()
    phone.open()
    phone.is_not_right("Trigger lock holds", "slips")
    phone.check("Trigger lock holds").get_by_label("Rig must not leave").check()
    phone.page.get_by_label("Generator hours").fill("212")
    # The browser is closed in the middle: what was ticked and typed is there again.
    phone.open()
    expect(phone.check("Trigger lock holds").get_by_label("What is not right")).to_have_value(
        "slips"
    )
    expect(phone.page.get_by_label("Generator hours")).to_have_value("212")
    look(phone.page)
    phone.the_rest_is_in_order()
    phone.has_kept("kept here: 2 in order, 1 not right, readings: 1.")
    phone.has_kept("Trigger lock holds: slips")
    phone.says("1 entry kept on this phone.")
    look(phone.page, schemes=("light", "dark"))

    phone.open()
    phone.has_kept("Generator hours: 212")
    assert not Round.objects.exists()
    before = timezone.now()
    phone.has_signal_again()
    expect(phone.page.get_by_text("Today’s round is done")).to_be_visible()
    look(phone.page)
    made = Round.objects.get()
    assert (made.author, made.answers.count()) == (technician, 3)
    assert made.recorded_at < before  # when it was walked, not when it came
    assert Finding.objects.holding().get().text == "Trigger lock holds: slips"
    assert Reading.objects.filter(value=212).count() == 1
    assert Arrival.objects.count() == 1


def test_the_shop_fails_and_comes_back(phone: RoundPhone) -> None:
    phone.page.context.route(ENTRIES, lambda route: route.fulfill(status=503))
    phone.the_rest_is_in_order()
    phone.has_kept("3 in order")
    phone.says("1 entry kept on this phone.")
    phone.page.context.unroute(ENTRIES)
    phone.has_signal_again()
    expect(phone.page.get_by_text("Today’s round is done")).to_be_visible()
    assert Round.objects.count() == 1


def test_an_answer_that_is_lost_twice_counts_once(phone: RoundPhone) -> None:
    """The shop takes the round, and its answer does not come back: twice."""
    lost = phone.loses_two_answers()
    phone.is_not_right("Trigger lock holds", "slips")
    phone.the_rest_is_in_order()
    phone.has_kept("1 not right")
    for _ in range(2):
        phone.has_signal_again()
    expect(phone.page.get_by_text("Today’s round is done")).to_be_visible()
    assert len(lost) == 2
    assert (Round.objects.count(), Finding.objects.count(), Arrival.objects.count()) == (1, 1, 1)


def test_a_phone_that_changes_hands_sends_under_who_walked_it(
    phone: RoundPhone,
    technician: Person,
    manager: Person,
    sign_in_as: Callable[..., Person],
) -> None:
    phone.page.context.route(ENTRIES, lambda route: route.fulfill(status=503))
    phone.the_rest_is_in_order()
    phone.has_kept("3 in order")
    sign_in_as(phone.page, manager)
    phone.open()
    phone.has_kept(technician.name)
    phone.page.context.unroute(ENTRIES)
    phone.has_signal_again()
    expect(phone.page.get_by_text("Today’s round is done")).to_be_visible()
    assert Round.objects.get().author == technician


def test_nobody_finds_the_ticks_of_another(
    phone: RoundPhone, manager: Person, sign_in_as: Callable[..., Person]
) -> None:
    phone.is_not_right("Trigger lock holds", "slips")
    sign_in_as(phone.page, manager)
    phone.open()
    expect(
        phone.check("Trigger lock holds").get_by_label("Not right", exact=True)
    ).not_to_be_checked()


def test_a_reading_that_contradicts_waits_for_a_manager_and_the_page_says_so(
    phone: RoundPhone, rig: Rig, technician: Person, look: Look
) -> None:
    phone.loses_signal()
    phone.page.get_by_label("Generator hours").fill("12")
    phone.the_rest_is_in_order()
    phone.says("1 entry kept on this phone.")
    phone.has_signal_again()
    expect(phone.page.get_by_text("Sent, and waits for a manager")).to_be_visible()
    expect(phone.page.get_by_text("Today’s round is done")).to_be_visible()
    look(phone.page)
    row = Unsettled.objects.get()
    assert (row.rig, row.kind, row.author) == (rig, "reading", technician)
    assert row.payload["value"] == "12"
    assert Round.objects.get().answers.count() == 3


def test_the_rounds_of_the_days_after_are_walked_by_the_page_taken_along(
    phone: RoundPhone, world: JourneyWorld, technician: Person, look: Look
) -> None:
    """Today's is recorded, the rig leaves, and there is no signal until the day after tomorrow."""
    phone.the_rest_is_in_order()
    phone.page.wait_for_url(re.compile(r"/rigs/1/$"))
    phone.open()
    expect(phone.page.locator("#round-form")).to_be_hidden()
    phone.is_ready_to_leave()
    phone.loses_signal()
    clock = phone.page.clock
    for days in (1, 2):
        clock.set_system_time(timezone.now() + timedelta(days=days))
        phone.open()
        expect(phone.page.locator("#round-form")).to_be_visible()
        expect(phone.page.get_by_text("Today’s round is done")).to_be_hidden()
        look(phone.page)
        phone.the_rest_is_in_order()
        phone.has_kept("kept here: 2 in order")
    look(phone.page)


def test_a_clock_wrong_by_a_day_is_put_right(phone: RoundPhone) -> None:
    phone.loses_signal()
    phone.page.clock.set_system_time(timezone.now() + timedelta(days=1))
    phone.the_rest_is_in_order()
    phone.says("1 entry kept on this phone.")
    phone.has_signal_again()
    expect(phone.page.get_by_text("Today’s round is done")).to_be_visible()
    made = Round.objects.get()
    assert made.day == timezone.localdate()
    assert abs(made.recorded_at - timezone.now()) < timedelta(minutes=1)


def test_what_is_not_right_says_what_before_it_is_kept(phone: RoundPhone, look: Look) -> None:
    phone.loses_signal()
    phone.check("Trigger lock holds").locator("label.way").click()
    phone.page.get_by_label("Generator hours").fill("twelve")
    phone.the_rest_is_in_order()
    expect(phone.page.get_by_text("Say what is not right.")).to_be_visible()
    expect(phone.page.get_by_text("Write a number, like 1182 or 60.5.")).to_be_visible()
    look(phone.page)
    phone.says("Nothing waits on this phone.")


def test_today_takes_the_rounds_along(
    phone: RoundPhone, world: JourneyWorld, technician: Person, look: Look
) -> None:
    draft(world, technician=technician)
    page = phone.page
    page.goto("/")
    page.get_by_role("button", name="Take the day’s work along").click()
    expect(page.get_by_text("1 sheet is on this phone")).to_be_visible()
    expect(page.get_by_text("The round of 1 rig opens without signal too.")).to_be_visible()
    look(page)
    phone.loses_signal()
    page.goto("/rigs/")
    expect(page.get_by_role("heading", name="No signal")).to_be_visible()
    look(page)
    page.get_by_role("link", name=re.compile("^Round of rig")).click()
    expect(page.get_by_role("button", name="The rest is in order")).to_be_visible()
    phone.the_rest_is_in_order()
    phone.has_kept("3 in order")
    page.goto("/rigs/")
    expect(page.get_by_role("link", name=re.compile("Round of rig.*1 kept here"))).to_be_visible()


def test_found_work_reported_beside_the_round_survives_a_closed_page_and_arrives_once(
    phone: RoundPhone, rig: Rig, technician: Person, look: Look
) -> None:
    phone.is_ready_to_leave()
    phone.loses_signal()
    phone.open()
    page, here = phone.page, phone.page.locator("#found-here")
    page.get_by_role("link", name="Found work", exact=True).tap()
    page.get_by_role("button", name="Report it").tap()
    expect(page.get_by_text("Say what you found.")).to_be_visible()
    phone.reports("whip hose rubs on the door")
    look(page)
    # The page is closed before it is reported: what was typed is there again.
    phone.open()
    expect(page.locator("#report").get_by_label("What you found")).to_have_value(
        "whip hose rubs on the door"
    )
    phone.reports("whip hose rubs on the door")
    page.get_by_role("button", name="Report it").tap()
    expect(here).to_contain_text("whip hose rubs on the door")
    expect(here).to_contain_text("1 photo, kept here (rig must not leave)")
    phone.says("1 entry kept on this phone.")
    phone.open()
    expect(here).to_contain_text("1 photo, kept here (rig must not leave)")
    expect(page.locator("#round-form")).to_be_visible()  # nothing of the round is kept
    look(page, schemes=("light", "dark"))
    page.goto("/rigs/")
    expect(page.get_by_text("Found work can be reported on the round of its rig.")).to_be_visible()
    expect(page.get_by_role("link", name=re.compile("Round of rig.*1 kept here"))).to_be_visible()

    phone.open()
    before = timezone.now()
    phone.has_signal_again()
    phone.sent_all()
    expect(here).to_be_hidden()
    expect(page.locator("#round-form")).to_be_visible()
    made = Finding.objects.holding().get()
    assert (made.rig, made.text) == (rig, "whip hose rubs on the door")
    assert made.opened_by_id == technician.pk
    assert made.opened_at < before
    photo = FindingPhoto.objects.get()
    assert (photo.found_id, photo.author) == (made.request_id, technician)
    assert not Round.objects.exists()


def test_found_work_is_reported_once_the_round_is_walked_too(phone: RoundPhone, look: Look) -> None:
    phone.the_rest_is_in_order()
    phone.page.wait_for_url(re.compile(r"/rigs/1/$"))
    phone.open()
    phone.page.evaluate("window.isStill = true")
    phone.reports("whip hose rubs on the door")
    phone.page.get_by_role("button", name="Report it").tap()
    phone.sent_all()
    expect(phone.page.locator("#found-here")).to_be_hidden()
    # It neither leads away nor opens the page of the walked round anew.
    assert phone.page.evaluate("window.isStill") is True
    expect(phone.page.get_by_text("Today’s round is done")).to_be_visible()
    look(phone.page)
    assert (Finding.objects.count(), FindingPhoto.objects.count()) == (1, 1)


def test_a_form_sent_without_signal_stays_as_it_was_typed(phone: RoundPhone, look: Look) -> None:
    """Of a page that keeps nothing on the phone: it is sent once there is signal."""
    page = phone.page
    page.goto("/found/new/?rig=1")
    page.get_by_label("What you found").fill("whip hose rubs on the door")
    phone.loses_signal()
    for _ in range(2):
        page.get_by_role("button", name="Report").click()
        expect(page.get_by_role("alert").filter(has_text="nothing was sent")).to_have_count(1)
    expect(page.get_by_text("No signal: nothing was sent.")).to_be_in_viewport()
    expect(page.get_by_label("What you found")).to_have_value("whip hose rubs on the door")
    look(page)
    assert not Finding.objects.exists()
    phone.is_in_reach()
    page.get_by_role("button", name="Report").click()
    expect(page.locator("#messages")).to_contain_text("is written down")
    assert Finding.objects.get().text == "whip hose rubs on the door"


def test_where_the_shop_answers_though_the_browser_knows_no_network_a_form_is_sent(
    phone: RoundPhone,
) -> None:
    """The shop may run on the computer that it is used on."""
    page = phone.page
    page.goto("/found/new/?rig=1")
    page.get_by_label("What you found").fill("whip hose rubs on the door")
    page.evaluate("Object.defineProperty(navigator, 'onLine', { value: false })")
    page.get_by_role("button", name="Report").click()
    expect(page.locator("#messages")).to_contain_text("is written down")
    assert Finding.objects.count() == 1
