"""A paper sheet keyed in without a mouse, in the order of the paper."""

from collections.abc import Callable

from playwright.sync_api import Page, expect

from equipment.models import Finding
from shop.models import Person, ServiceSheet, Shop, StepEntry
from tests.journeys.acting import said
from tests.journeys.conftest import DESK, Look
from tests.journeys.test_keyboard import tab_to
from tests.journeys.worlds import JourneyWorld, draft

HERE = """() => {
    const here = document.activeElement;
    return here.tagName === "BUTTON" ? "button" : (here.name || here.tagName);
}"""
MOST_STOPS = 80


def answer(page: Page, name: str, sheet: ServiceSheet) -> None:
    """Type what the paper says into the box that has the focus."""
    kind, _, key = name.partition("-")
    press, type_in = page.keyboard.press, page.keyboard.type
    if kind == "done":
        press("Space")
    elif kind == "value":
        # Out of limit: 200 of 228 to 252 V. Gauges read zero.
        type_in("200" if sheet.steps.get(pk=key).section == "check" else "0")
    elif kind == "choice":
        type_in("good")
    elif kind == "remedy":
        type_in("Open found work")
    elif kind == "work":
        type_in("regulator drifts")
    elif kind == "used":
        type_in("1")
    elif kind == "finished":
        zone = Shop.objects.get().zone
        type_in(sheet.drafted_at.astimezone(zone).strftime("%I%M%p"))
    elif kind == "labour":
        type_in("95")


def test_a_whole_sheet_is_keyed_in_with_the_keyboard_alone(
    page_at: Callable[..., Page],
    sign_in_as: Callable[..., Person],
    look: Look,
    world: JourneyWorld,
    technician: Person,
) -> None:
    sheet = draft(world, technician=technician)
    page = page_at(DESK)
    sign_in_as(page, "manager")
    page.goto(f"/sheets/{sheet.number}/keyed/")
    look(page)
    tab_to(page, lambda here: here["label"] == "Written by")
    seen: list[str] = []
    for _ in range(MOST_STOPS):
        name = page.evaluate(HERE)
        if name == "button":
            break
        seen.append(name)
        answer(page, name, sheet)
        page.keyboard.press("Enter")
    # Each step once, in the order of the paper: cautions, lockout, gauges, checks.
    order = {"caution": 0, "lockout": 1, "zero": 2, "check": 3, "return": 4}
    steps = sorted(sheet.steps.all(), key=lambda step: (order[step.section], step.order))
    mains = [name for name in seen if name.split("-")[0] in ("done", "value", "choice")]
    assert [name.split("-")[1] for name in mains] == [f"{step.pk}" for step in steps]
    # The value out of limit asked in place, and nothing else did.
    assert len([name for name in seen if name.startswith("remedy-")]) == 1
    look(page)
    page.keyboard.press("Enter")
    said(page, "is keyed in and signed")
    sheet.refresh_from_db()
    assert (sheet.state, sheet.labour_minutes, sheet.signature) == ("signed", 95, technician.name)
    assert Finding.objects.get().text == "regulator drifts"
    # To the minute, and it does not say when it began.
    assert (sheet.signed_at, sheet.started_at) == (sheet.drafted_at, None)
    assert {entry.written_by for entry in StepEntry.objects.all()} == {technician}
    expect(page.get_by_text("keyed in by").first).to_be_visible()


def test_what_is_refused_gets_the_focus(
    page_at: Callable[..., Page],
    sign_in_as: Callable[..., Person],
    look: Look,
    world: JourneyWorld,
    technician: Person,
) -> None:
    sheet = draft(world, technician=technician)
    page = page_at(DESK)
    sign_in_as(page, "manager")
    page.goto(f"/sheets/{sheet.number}/keyed/")
    volts = sheet.steps.get(title="Volts at rated load")
    field = page.locator(f"[name=value-{volts.pk}]")
    field.fill("plenty")
    page.get_by_label("The work took, minutes").fill("60")
    page.get_by_role("button", name="Take all of it and sign").press("Enter")
    expect(field).to_have_value("plenty")
    expect(field).to_be_focused()
    look(page)
