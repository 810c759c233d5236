"""What was proved at zero, on a phone without signal: a hazard, compared, proved again."""

import re
from datetime import timedelta

import pytest
from django.utils import timezone
from playwright.sync_api import expect

from shop.isolation import PROOF_HOLDS
from shop.models import Person, ServiceSheet, StepEntry
from tests.journeys.acting import back_to_service, step
from tests.journeys.conftest import Look
from tests.journeys.phones import SheetPhone
from tests.journeys.worlds import lock_out
from tests.journeys.worlds import make_safe as answer_before

#: As many sendings as may pass reach the shop; the next one is on its way until then.
SLOW_WAY = """
  window.passes = 0;
  const asks = window.fetch;
  window.fetch = async (address, ...how) => {
    if (String(address).endsWith("/entries/")) {
      while (!window.passes) await new Promise((later) => setTimeout(later, 50));
      window.passes -= 1;
    }
    return asks(address, ...how);
  };
"""

pytestmark = [pytest.mark.usefixtures("silence_is_meant"), pytest.mark.postgresql_too]


def test_what_was_proved_is_proved_again_after_the_rig_ran(
    phone: SheetPhone, sheet: ServiceSheet, technician: Person
) -> None:
    """The refusal leads to what is to be done again; it stands open there, and one tap does it."""
    sheet.steps.filter(title="Oil and filter changed").update(is_run=True)
    sheet.steps.filter(title="Side seal").update(opens=["material"])
    answer_before(sheet, by=technician, at=timezone.now())
    phone.open()
    phone.is_ready_to_leave()
    phone.loses_signal()
    page = phone.page
    before = page.locator("#count-before")
    expect(before).to_have_text("done")
    # Read as found, it stands before the lockout.
    page.locator("#work-tabs").get_by_text("Cautions").click()
    page.locator("#cautions li[data-step]").filter(has_text="Oil and filter changed").locator(
        "button.check-row"
    ).click()
    expect(before).to_have_text(re.compile(r"^\d+ again$"))
    page.locator("#work-tabs").get_by_text("Checks").click()
    page.get_by_role("link", name=re.compile("^Next: ")).click()
    seal = step(page, "Side seal")
    seal.get_by_role("button", name="good").click()
    expect(seal).to_contain_text("Look again first, pressure can come back")
    seal.get_by_role("link", name="Go there").click()
    spent = page.locator("#cautions li[data-step]").filter(has_text="look again")
    expect(spent.first).to_be_visible()
    expect(spent.first).to_have_attribute("data-state", "")  # its tick is gone
    expect(page.get_by_role("link", name=re.compile(r"^Next: .*open here\)$"))).to_be_visible()
    for _ in range(spent.count()):
        spent.first.locator("button.check-row, button.enter").first.click()
        page.wait_for_timeout(100)
    expect(before).to_have_text("done")
    page.locator("#work-tabs").get_by_text("Checks").click()
    page.get_by_role("link", name=re.compile("^Next: ")).click()
    seal.get_by_role("button", name="good").click()
    expect(seal.get_by_role("button", name="good")).to_have_attribute("aria-pressed", "true")
    phone.has_signal_again()
    phone.sent_all()
    assert sheet.steps.get(title="Side seal").entry is not None


def test_the_locks_come_off_before_the_rig_runs_without_signal_too(
    phone: SheetPhone, sheet: ServiceSheet, technician: Person, look: Look
) -> None:
    sheet.steps.filter(title="Volts at rated load").update(is_run=True)
    answer_before(sheet, by=technician, at=timezone.now())
    phone.open()
    phone.is_ready_to_leave()
    phone.loses_signal()
    page = phone.page
    page.evaluate("location.hash = 'back'")
    volts = page.locator("#back li[data-step]").filter(has_text="Volts at rated load")
    volts.get_by_role("textbox").fill("240")
    volts.get_by_role("button", name="Enter").click()
    expect(volts).to_contain_text("Locks off comes first. Still missing: Rig clear")
    look(page)
    volts.get_by_role("link", name="Go there").click()
    refused = volts.locator(".row-error")
    for row in page.locator("#returns button.check-row").all():
        expect(refused).to_be_visible()
        row.click()
        expect(row).to_have_attribute("aria-pressed", "true")
    expect(refused).to_be_hidden()
    volts.get_by_role("button", name="Enter").click()
    expect(volts.locator(".said")).to_contain_text("240")
    phone.has_signal_again()
    phone.sent_all()
    entry = sheet.steps.get(title="Volts at rated load").entry
    assert entry is not None
    assert entry.value == 240


def test_a_refusal_goes_when_what_it_asked_for_is_done(
    phone: SheetPhone, sheet: ServiceSheet
) -> None:
    """Under a check until the lockout is complete, beside the signature until nothing is open."""
    phone.is_ready_to_leave()
    phone.loses_signal()
    page = phone.page
    page.evaluate("location.hash = 'line-1'")
    oil = step(page, "Oil and filter changed")
    oil.locator("button.check-row").click()
    expect(oil.locator(".row-error")).to_contain_text("Still missing: ")
    phone.makes_the_rig_safe()
    page.evaluate("location.hash = 'line-1'")
    expect(oil).to_be_visible()
    expect(oil.locator(".row-error")).to_be_hidden()

    def asks_to_sign() -> None:
        page.evaluate("location.hash = 'sign'")
        page.locator("[name=signature]").scroll_into_view_if_needed()
        page.get_by_role("link", name="Sign the sheet").click()

    asks_to_sign()
    refused = page.locator("#signing .row-error")
    expect(refused).to_contain_text("Before the rig goes back to service: Rig clear")
    back_to_service(page)
    expect(refused).to_have_text(
        "Checks are open. Answer them, or say that these services are left undone."
    )
    page.get_by_label("Leave these services undone").check()
    expect(refused).to_be_hidden()
    # Another reason stands until it is asked again.
    page.locator("[name=signature]").fill("")
    asks_to_sign()
    expect(refused).to_have_text("Write your name to sign.")
    page.get_by_label("Leave these services undone").uncheck()
    expect(refused).to_be_visible()


def test_without_signal_a_pressure_left_is_a_hazard_and_the_sides_are_compared(
    phone: SheetPhone, sheet: ServiceSheet, technician: Person, look: Look
) -> None:
    volts = sheet.steps.get(title="Volts at rated load")
    for letter in "AB":
        volts.pk, volts.order, volts.entry = None, 90 + ord(letter), None
        volts.title, volts.unit, volts.low, volts.high = f"Outlet {letter}", "psi", None, None
        volts.check_definition = None
        volts.save()
    lock_out(sheet, by=technician, at=timezone.now())
    phone.open()
    phone.is_ready_to_leave()
    phone.loses_signal()
    page = phone.page
    gauge = page.locator("#cautions .measure").first
    hazard = gauge.get_by_role("alert").filter(has_text="Not zero: pressure is still in there.")
    expect(hazard).to_be_hidden()
    gauge.get_by_role("textbox").fill("40")
    expect(hazard).to_be_visible()  # as soon as it is typed
    gauge.get_by_role("button", name="Enter").click()
    expect(gauge.locator(".said")).to_contain_text("40 psi: it must read zero")
    phone.open()
    expect(hazard).to_be_visible()
    look(page)
    gauge.get_by_role("textbox").fill("0")
    gauge.get_by_role("button", name="Correct it").click()
    expect(hazard).to_be_hidden()
    answer_before(sheet, by=technician, at=timezone.now())
    phone.is_in_reach()
    phone.open()
    phone.sent_all()
    phone.loses_signal()
    page.locator("#work-tabs").get_by_text("Checks").click()
    for title, value in (("Outlet B", "1,180.5"), ("Outlet A", "1100")):
        expect(step(page, "Outlet B").locator(".apart")).to_be_hidden()
        check = step(page, title)
        check.get_by_role("textbox").fill(value)
        check.get_by_role("button", name="Enter").click()
        expect(check.locator(".said")).to_contain_text("kept here")
    expect(step(page, "Outlet B").locator(".apart")).to_have_text("A is 80.5 psi below B")
    phone.has_signal_again()
    phone.sent_all()
    page.reload()
    page.locator("#work-tabs").get_by_text("Checks").click()
    expect(step(page, "Outlet B").locator(".apart")).to_have_text("A is 80.5 psi below B")


def test_a_slow_way_to_the_shop_makes_no_proof_old(
    phone: SheetPhone, sheet: ServiceSheet, technician: Person
) -> None:
    """What has arrived is later by the shop's clock than it was made by as long as it took to come
    there; what was entered meanwhile comes after it all the same."""
    begun = ["prepare", "shut_down", "isolate", "lock"]
    lock_out(sheet, by=technician, at=timezone.now(), phase__in=["", *begun])
    page = phone.page
    page.add_init_script(SLOW_WAY)
    phone.open()
    phone.makes_the_rig_safe()
    kept = StepEntry.objects.filter(step__sheet=sheet)
    assert {entry.step.phase for entry in kept.select_related("step")} == {"", *begun}
    phone.says("Sending 1 of 1")
    page.evaluate("passes = 1")
    phone.says(re.compile(r"Sending (?!1 of 1\b)"))  # it has arrived, the others are on their way
    expect(page.locator("#count-before")).to_have_text("done")
    page.locator("#work-tabs").get_by_text("Checks").click()
    tick = step(page, "Oil and filter changed").locator("button.check-row")
    tick.click()
    expect(tick).to_have_attribute("aria-pressed", "true")
    page.evaluate("passes = Infinity")
    phone.sent_all()
    expect(tick).to_have_attribute("aria-pressed", "true")
    assert sheet.steps.get(title="Oil and filter changed").entry is not None


def test_a_page_that_lay_on_the_phone_over_a_shift_asks_for_the_proofs_again(
    phone: SheetPhone, sheet: ServiceSheet, technician: Person
) -> None:
    """The age of the page is not the error of the phone's clock; that is known since they spoke."""
    sheet.steps.filter(title="Side seal").update(opens=["material"])
    answer_before(sheet, by=technician, at=timezone.now())
    phone.open()
    phone.is_ready_to_leave()
    before = phone.page.locator("#count-before")
    expect(before).to_have_text("done")
    later = timezone.now() + PROOF_HOLDS + timedelta(minutes=1)
    # A clock that is only wrong makes nothing old, once the shop has said what time it is.
    phone.page.clock.set_system_time(later)
    phone.open()
    expect(before).to_have_text("done")
    phone.page.clock.set_system_time(timezone.now())
    with phone.page.expect_request("**/phone/pack/"):
        phone.page.evaluate("indexedDB.deleteDatabase('strokebook')")
        phone.open()
    phone.is_ready_to_leave()
    phone.loses_signal()
    phone.page.clock.set_system_time(later)
    phone.open()
    expect(before).to_have_text(re.compile(r"^\d+ again$"))
    phone.page.goto("about:blank")  # what it still asks for ends here, not after the test
