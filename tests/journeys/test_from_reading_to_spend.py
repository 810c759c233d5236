"""The loop, by hand: from a counter reading to a signed sheet, stock and spend."""

import io
import re
from collections.abc import Callable
from decimal import Decimal

import pytest
from playwright.sync_api import Page, expect
from pypdf import PdfReader

from equipment.models import Counter, Due, Finding
from inventory.models import Balance, Movement
from shop.models import ServiceSheet, SheetLine
from tests.journeys.acting import (
    back_to_service,
    make_safe,
    said,
    sign_by_name,
    sign_in_by_form,
    signed,
    step,
)
from tests.journeys.conftest import DESK, PHONE, Look
from tests.journeys.worlds import JourneyWorld

pytestmark = pytest.mark.postgresql_too


@pytest.mark.parametrize("width", [PHONE, DESK])
def test_from_a_reading_to_the_spend_of_the_rig(
    page_at: Callable[..., Page], look: Look, world: JourneyWorld, width: int
) -> None:
    technician, manager = page_at(width), page_at(width)

    reads_the_counters_of_the_rig(technician, world, look)
    sheet = picks_two_services_into_a_sheet(manager, world, look)
    hands_it_out_and_prints_it(manager, sheet, world, look)
    makes_the_rig_safe(technician, sheet, look)
    finds_something_grave(technician, sheet, look)
    takes_and_uses_the_parts(technician, sheet, look)
    signs(technician, sheet, world, look)
    sees_what_to_buy(manager, world, look)
    sees_what_the_rig_costs(page_at(width), sheet, look)
    takes_a_wrong_issue_back(manager, sheet, world, look)
    clears_the_rig_by_a_second_sheet(manager, technician, look)


def reads_the_counters_of_the_rig(page: Page, world: JourneyWorld, look: Look) -> None:
    """Signed in by the form; hours are lower than last time, since the counter was reset."""
    page.goto("/rigs/1/readings/")
    look(page)
    sign_in_by_form(page, "technician")
    expect(page.get_by_role("heading", name="Take a reading")).to_be_visible()
    look(page)
    page.get_by_label("Generator hours", exact=False).first.fill("12")
    page.get_by_label("A strokes", exact=False).first.fill("15100")
    page.get_by_label("B strokes", exact=False).first.fill("10,450")
    page.get_by_role("button", name="Keep the readings").click()
    expect(page.get_by_text("Was the counter reset?")).to_be_visible()
    look(page)
    assert page.get_by_label("A strokes", exact=False).first.input_value() == "15100"
    hours = page.locator("li.asking").filter(has_text="Generator hours")
    hours.get_by_label("It was reset").check()
    hours.get_by_label("Last value before that").fill("205")
    page.get_by_role("button", name="Keep the readings").click()
    said(page, "3 readings kept.")
    said(page, "Proportioning pump A, packing")
    look(page)
    counter = Counter.objects.get(name="Generator hours")
    assert (counter.last_value, counter.total) == (Decimal(12), Decimal(217))


def picks_two_services_into_a_sheet(page: Page, world: JourneyWorld, look: Look) -> int:
    page.goto("/due/")
    sign_in_by_form(page, "manager")
    expect(page.get_by_role("heading", name="Due", exact=True)).to_be_visible()
    look(page)
    for service in ("pump A, packing", "full rebuild"):
        page.get_by_role("checkbox", name=service).check()
    bar = page.locator("#pickbar")
    expect(bar).to_contain_text("2 services picked")
    expect(bar).to_contain_text("1 short")
    look(page)
    page.get_by_role("button", name="Draft a sheet for 01").click()
    expect(page.get_by_role("heading", name="Draft a sheet")).to_be_visible()
    look(page)
    picked = page.get_by_role("checkbox", checked=True)
    assert picked.count() == 2
    page.get_by_role("button", name="Draft the sheet").click()
    said(page, "1 of its parts is short.")
    look(page)
    expect(page.get_by_role("row").filter(has_text="packing set")).to_contain_text("short 1 piece")
    expect(page.get_by_role("row").filter(has_text=world.sheets.kit.name)).to_contain_text("K-03")
    return ServiceSheet.objects.get().number


def hands_it_out_and_prints_it(page: Page, number: int, world: JourneyWorld, look: Look) -> None:
    page.get_by_label("Hand out to").select_option(label="A. Technician")
    page.get_by_role("button", name="Hand out").click()
    said(page, "is with A. Technician")
    href = page.get_by_role("link", name="Print", exact=True).get_attribute("href")
    answer = page.request.get(href or "")
    assert answer.headers["content-type"] == "application/pdf"
    printed = "\n".join(each.extract_text() for each in PdfReader(io.BytesIO(answer.body())).pages)
    paper = re.sub(r"\s+", " ", printed)
    for counter in Counter.objects.filter(rig__number=1):
        assert f"{counter.last_value:,.0f}" in paper, counter
    for line in SheetLine.objects.filter(sheet__number=number):
        assert line.version
        assert line.version.service.name in paper
        assert line.component
        assert line.component.tag in paper
        assert line.state_text in paper
    for expected in (
        f"Sheet {ServiceSheet.objects.get(number=number)}",
        world.sheets.kit.number,
        world.packing_set.number,
        "K-03",
        "Stored fluid pressure",
        "50 psi",
        "Side seal",
    ):
        assert expected in paper, expected
    page.goto("/due/?before=all")
    row = page.get_by_role("row").filter(has_text="Proportioning pump A")
    expect(row).to_contain_text(f"{ServiceSheet.objects.get(number=number)}")


def makes_the_rig_safe(page: Page, number: int, look: Look) -> None:
    """The phone: cautions, lockout and gauges, and not one check before them."""
    page.goto(f"/sheets/{number}/")
    look(page)
    page.get_by_role("link", name="Start the work").click()
    expect(page.get_by_role("heading", name="Before you start")).to_be_visible()
    look(page)
    page.get_by_role("link", name="Next: checks").click()
    expect(page.locator("#line-1").get_by_text("Still missing:")).to_be_visible()
    look(page)
    page.get_by_role("link", name="Back").click()
    make_safe(page)
    look(page, schemes=("light", "dark"))


def finds_something_grave(page: Page, number: int, look: Look) -> None:
    page.get_by_role("link", name="Next: checks").click()
    step(page, "Packing nut at its torque").locator("button.check-row").click()
    expect(step(page, "Packing nut at its torque").locator("button.check-row")).to_have_attribute(
        "aria-pressed", "true"
    )
    lost = step(page, "Pressure lost in a minute")
    lost.get_by_label("Pressure lost in a minute").fill("80")
    lost.get_by_role("button", name="Enter").click()
    expect(lost.get_by_text("What did you do about it?")).to_be_visible()
    look(page, schemes=("light", "dark"))
    lost.get_by_label("found work").check()
    lost.get_by_label("What you found").fill("cylinder scored, leaks past the packing")
    lost.get_by_label("Rig must not leave").check()
    lost.get_by_role("button", name="Enter").click()
    expect(lost.get_by_text("cylinder scored", exact=False).first).to_be_visible()
    look(page)
    page.get_by_role("link", name=re.compile("^Next: ")).click()
    expect(page.get_by_role("heading", name="Held: the rig must not leave")).to_be_visible()
    seal = step(page, "Side seal")
    seal.get_by_role("button", name="replaced").click()
    expect(seal.get_by_role("button", name="replaced")).to_have_attribute("aria-pressed", "true")
    look(page)
    page.goto("/rigs/1/")
    expect(page.get_by_role("heading", name="Held: the rig must not leave")).to_be_visible()
    look(page)
    page.goto(f"/sheets/{number}/work/#parts")


def takes_and_uses_the_parts(page: Page, number: int, look: Look) -> None:
    look(page)
    page.get_by_role("button", name="I have taken them to the tray").click()
    expect(page.get_by_text("1 piece in the tray").first).to_be_visible()
    page.get_by_label("Used of Fluid section kit").fill("1")
    page.get_by_label("Used of packing set").fill("0")
    look(page)
    page.get_by_role("link", name="Next: back to service").click(delay=150)
    expect(page.get_by_role("heading", name="Back to service")).to_be_visible()
    look(page)
    page.get_by_role("link", name="Next: sign").click()
    expect(page.get_by_role("heading", name="Readings when done")).to_be_visible()


def signs(page: Page, number: int, world: JourneyWorld, look: Look) -> None:
    look(page, schemes=("light", "dark"))
    back_to_service(page)
    page.get_by_label("Generator hours", exact=False).first.fill("12.1")
    page.get_by_label("How long the work took").fill("95")
    page.get_by_label("Signed: your name").fill("A. Technician")
    sign_by_name(page)
    signed(page)
    look(page)
    expect(page.get_by_text("Spend $212.00")).to_be_visible()
    sheet = ServiceSheet.objects.get(number=number)
    assert sheet.state == ServiceSheet.State.SIGNED
    assert not Balance.objects.filter(part=world.sheets.kit, quantity_steps__gt=0).exists()
    assert Counter.objects.get(name="Generator hours").last_value == Decimal("12.1")
    lines = SheetLine.objects.filter(sheet=sheet)
    done = Due.objects.filter(component__in=lines.values("component"))
    assert [due.since for due in done] == [Decimal(0), Decimal(0)]


def sees_what_to_buy(page: Page, world: JourneyWorld, look: Look) -> None:
    page.goto("/due/?before=due")
    expect(page.get_by_role("row").filter(has_text="Proportioning pump A")).to_have_count(0)
    expect(page.get_by_role("row").filter(has_text="oil and filter")).to_have_count(1)
    page.goto("/buying/")
    expect(page.get_by_role("row").filter(has_text=world.sheets.kit.number)).to_be_visible()
    look(page)


def sees_what_the_rig_costs(page: Page, number: int, look: Look) -> None:
    page.goto("/spend/")
    sign_in_by_form(page, "owner")
    look(page)
    expect(page.get_by_role("main")).to_contain_text("$212.00")
    page.get_by_role("link", name="$212.00").first.click()
    page.wait_for_url(re.compile("/spend/.+"))
    look(page, schemes=("light", "dark"))
    sheet = ServiceSheet.objects.get(number=number)
    page.get_by_role("link", name=re.compile(f"{sheet}$")).first.click()
    expect(page.get_by_role("heading", name=f"Sheet {sheet}")).to_be_visible()
    expect(page.get_by_text("Spend $212.00")).to_be_visible()


def takes_a_wrong_issue_back(page: Page, number: int, world: JourneyWorld, look: Look) -> None:
    """The kit was written on the sheet, but the old one had stayed in: the reversal names it."""
    page.goto(f"/sheets/{number}/")
    page.get_by_role("link", name="Reverse").first.click()
    expect(page.get_by_role("heading", name="Reverse a movement")).to_be_visible()
    look(page)
    page.get_by_label("Why").fill("the kit was never opened")
    page.get_by_role("button", name="Reverse it").click()
    expect(page.get_by_role("heading", name=world.sheets.kit.name)).to_be_visible()
    look(page)
    ledger = page.get_by_role("table", name="Ledger, newest first")
    expect(ledger).to_contain_text("reverses the issue")
    issue = Movement.objects.get(kind=Movement.Kind.ISSUE, part=world.sheets.kit)
    back = Movement.objects.get(reverses=issue)
    assert (back.value_cents, back.reason) == (21200, "the kit was never opened")
    page.goto(f"/sheets/{number}/")
    expect(page.get_by_text("the kit was never opened")).to_be_visible()
    expect(page.get_by_text("Spend $0.00")).to_be_visible()


def clears_the_rig_by_a_second_sheet(manager: Page, technician: Page, look: Look) -> None:
    manager.goto("/rigs/1/")
    manager.get_by_role("link", name="Draft a sheet").first.click()
    # A list is read at once, whatever page is open: it must be this one.
    expect(manager.get_by_role("heading", name="Draft a sheet")).to_be_visible()
    for box in manager.locator("input[name=due]").all():
        box.uncheck()
    expect(manager.get_by_label("cylinder scored")).to_be_checked()
    manager.get_by_label("Hand out to").select_option(label="A. Technician")
    manager.get_by_role("button", name="Draft the sheet").click()
    said(manager, "is drafted")
    second = ServiceSheet.objects.order_by("number").last()
    assert second is not None
    technician.goto(f"/sheets/{second.number}/work/")
    look(technician)
    make_safe(technician)
    technician.get_by_role("link", name="Next: checks").click()
    found = step(technician, "cylinder scored")
    found.get_by_role("button", name="put right").click()
    expect(found.get_by_role("button", name="put right")).to_have_attribute("aria-pressed", "true")
    technician.get_by_role("link", name="Sign", exact=True).click()
    back_to_service(technician)
    technician.get_by_label("How long the work took").fill("30")
    sign_by_name(technician)
    signed(technician)
    assert not Finding.objects.open().exists()
    technician.goto("/rigs/1/")
    expect(technician.get_by_role("heading", name=re.compile("^Held"))).to_have_count(0)
    look(technician)
