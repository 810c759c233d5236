"""The dense page for a paper sheet: all typed stays when anything is refused, extremes too."""

import re
from datetime import timedelta
from typing import Any
from uuid import uuid4
from zoneinfo import ZoneInfo

import pytest
import time_machine

from equipment.models import Check, Finding
from shop.forms.keying import NOT_BEFORE, NOTHING_HOLDS
from shop.models import ServiceSheet, SignedCopy, StepEntry
from shop.services.clocking import names_of_hands
from shop.services.paper import paper_of
from tests.conftest import TIME_ZONE
from tests.inventory.pages.browsing import Page, text_of
from tests.shop.services.conftest import rows_of_every_table
from tests.shop.worlds import NOW, SheetWorld, sheet_world

MANY = 120
#: By the clock on the wall.
CLOCK = NOW.astimezone(ZoneInfo(TIME_ZONE)).strftime("%H:%M")


@pytest.fixture(autouse=True)
def _clock():
    with time_machine.travel(NOW, tick=False):
        yield


@pytest.fixture
def world(shop, manager) -> SheetWorld:
    return sheet_world(shop, manager)


@pytest.fixture
def sheet(world) -> ServiceSheet:
    return world.draft()


def typed(sheet: ServiceSheet, **more: Any) -> dict[str, Any]:
    """What the paper says, as the browser sends it."""
    fields: dict[str, Any] = {
        "day": "2026-02-04",
        "started": "",
        "finished": CLOCK,
        "labour": "180",
        "signature": "T. Reed",
    }
    for step in sheet.steps.all():
        if step.kind == "tick":
            fields[f"done-{step.pk}"] = "on"
        elif step.kind == "choice":
            fields[f"choice-{step.pk}"] = step.choices[0]
        else:
            fields[f"value-{step.pk}"] = "240" if step.section == "check" else "0"
    for row in sheet.parts.all():
        fields[f"used-{row.pk}"] = "1"
    return fields | more


@pytest.fixture
def page(sheet, client_as) -> Page:
    return Page(client_as("manager"), "shop:keyed", sheet.number)


def day(sheet: ServiceSheet) -> str:
    return NOW.astimezone(sheet_zone()).date().isoformat()


def sheet_zone():
    from shop.models import Shop

    return Shop.objects.get().zone


def test_a_whole_sheet_goes_in_by_one_sending_and_twice_counts_once(
    sheet, page, technician, client_as
):
    fields = typed(sheet, day=day(sheet), writer=technician.pk)
    for _ in range(2):
        answer = page.send(**fields)
        assert answer.url == f"/sheets/{sheet.number}/"
    sheet.refresh_from_db()
    assert (sheet.state, sheet.written_by) == ("signed", technician)
    assert StepEntry.objects.count() == sheet.steps.count()
    shown = text_of(client_as("manager").get(answer.url))
    assert "Written on paper by A. Technician, keyed in by A. Manager" in shown


def test_what_is_wrong_is_said_beside_it_and_all_that_was_typed_stays(sheet, page, technician):
    volts = sheet.steps.get(title="Volts at rated load")
    seal = sheet.steps.get(title="Side seal")
    oil = sheet.steps.get(title="Oil and filter changed")
    used = sheet.parts.first()
    before = rows_of_every_table()
    refused = page.send(
        **typed(
            sheet,
            day="2026-13-40",
            writer=technician.pk,
            labour="",
            **{
                f"value-{volts.pk}": "plenty",
                f"na-{oil.pk}": "on",
                f"note-{seal.pk}": "looked hard at it",
                f"used-{used.pk}": "a few",
                "extra-0": "no such part",
            },
        )
    )
    assert refused.status_code == 422
    text, html = text_of(refused), refused.content.decode()
    for said in (
        "Write the day like",
        "Say how long the work took",
        "not both",
        "There is no part of that number",
    ):
        assert said in text
    for kept in ("plenty", "looked hard at it", "a few", "no such part", "T. Reed"):
        assert f'value="{kept}"' in html
    assert f'id="row-{volts.pk}_error"' in html
    assert f'id="row-{oil.pk}_error"' in html
    assert rows_of_every_table() == before


def test_what_the_services_refuse_stands_beside_its_field_too(sheet, page, technician):
    volts = sheet.steps.get(title="Volts at rated load")
    caution = sheet.steps.filter(section="caution").first()
    fields = typed(sheet, day=day(sheet), writer=technician.pk)
    before = rows_of_every_table()
    unread = {name: value for name, value in fields.items() if name != f"done-{caution.pk}"}
    refused = page.send(**unread)
    assert f'id="row-{caution.pk}_error"' in refused.content.decode()
    refused = page.send(**{**fields, f"value-{volts.pk}": "200"})
    html = refused.content.decode()
    assert refused.status_code == 422
    assert f'id="row-{volts.pk}_error"' in html
    # The question stands open where the value is out of limit.
    assert html.count("data-asks>") == 1
    assert rows_of_every_table() == before
    answered = {f"value-{volts.pk}": "200", f"remedy-{volts.pk}": "put_right"}
    assert "enter the value as left" in text_of(page.send(**{**fields, **answered}))
    answered[f"left_value-{volts.pk}"] = "240"
    holding = page.send(**{**fields, **answered, f"grave-{volts.pk}": "on"})
    assert NOTHING_HOLDS in text_of(holding)
    assert re.search(rf'name="grave-{volts.pk}"[^>]* checked', holding.content.decode())
    assert page.send(**{**fields, **answered}).status_code == 302


def test_what_was_written_beside_a_value_put_right_stands_on_page_paper_and_signed_copy(
    sheet, page, technician, client_as
):
    volts = sheet.steps.get(title="Volts at rated load")
    said = {
        f"value-{volts.pk}": "200",
        f"left_value-{volts.pk}": "240",
        f"remedy-{volts.pk}": "replaced",
        f"note-{volts.pk}": "hot day",
        f"work-{volts.pk}": "regulator from the drawer",
    }
    page.send(**typed(sheet, day=day(sheet), writer=technician.pk, **said))
    words = "as left 240 V: Replaced a part; hot day; regulator from the drawer"
    assert words in text_of(client_as("manager").get(f"/sheets/{sheet.number}/"))
    assert words in str(SignedCopy.objects.get(sheet=sheet).document)
    assert not Finding.objects.exists()


def test_what_is_refused_when_all_the_rest_was_right_takes_nothing_of_it_away(
    sheet, page, technician
):
    """What was looked at, taken and given back again stands as it was typed, in its boxes."""
    gauge = sheet.steps.filter(section="zero").first()
    fields = typed(sheet, day=day(sheet), writer=technician.pk) | {f"value-{gauge.pk}": "5"}
    refused = page.send(**fields)
    assert refused.status_code == 422
    html = refused.content.decode()
    assert "entered already" not in html
    for step in sheet.steps.all():
        if step.kind == "tick":
            box = html.split(f'name="done-{step.pk}"')[1].split(">")[0]
            assert "checked" in box, step.title
        elif step.kind == "value":
            assert f'name="value-{step.pk}" value="{fields[f"value-{step.pk}"]}"' in html
    assert f'id="row-{gauge.pk}_error"' in html
    assert page.send(**{**fields, f"value-{gauge.pk}": "0"}).status_code == 302


def test_the_name_of_another_does_not_sign_what_somebody_wrote(
    sheet, page, technician, manager, client_as
):
    """Nobody had it handed out, so nobody knows whose name stands on the paper."""
    assert (
        'name="signature" value'
        not in client_as("manager").get(f"/sheets/{sheet.number}/keyed/").content.decode()
    )
    fields = typed(sheet, day=day(sheet), writer=technician.pk)
    refused = page.send(**{**fields, "signature": manager.name})
    assert f"{technician.name} wrote it, and {manager.name} signed?" in text_of(refused)
    assert page.send(**{**fields, "signature": technician.name}).status_code == 302


def test_who_keys_it_in_did_not_work_on_it(sheet, page, technician, manager, client_as):
    page.send(**typed(sheet, day=day(sheet), writer=technician.pk))
    assert names_of_hands([sheet]) == {sheet.pk: [technician.name]}
    shown = text_of(client_as("manager").get(f"/sheets/{sheet.number}/"))
    assert f"Worked on it: {technician.name}." in shown


def test_a_check_that_does_not_apply_says_why(sheet, page, technician):
    seal = sheet.steps.get(title="Side seal")
    fields = typed(sheet, day=day(sheet), writer=technician.pk)
    fields |= {f"choice-{seal.pk}": "", f"na-{seal.pk}": "on"}
    assert "Say why it does not apply" in text_of(page.send(**fields))
    assert page.send(**fields, **{f"note-{seal.pk}": "no seal in this gun"}).status_code == 302
    assert StepEntry.objects.get(step=seal).answer == "na"


def test_a_lock_cannot_be_keyed_in_as_not_applicable(sheet, page):
    lock, source = sheet.steps.get(phase="lock"), sheet.steps.filter(phase="isolate").first()
    html = page.client.get(page.url).content.decode()
    assert f'name="na-{source.pk}"' in html
    assert f'name="na-{lock.pk}"' not in html


def test_the_day_lies_between_the_draft_and_now(sheet, page, technician):
    for wrong, words in (
        ("2030-01-01", "has not come yet"),
        ("2020-01-01", "was not drafted then"),
    ):
        refused = page.send(**typed(sheet, day=wrong, writer=technician.pk))
        assert refused.status_code == 422
        assert words in text_of(refused)


def clock(hours: float) -> str:
    """So long before it was finished, as the paper has it."""
    return (NOW - timedelta(hours=hours)).astimezone(sheet_zone()).strftime("%H:%M")


def test_a_clock_is_asked_for_and_none_is_made_up(sheet, page, technician):
    fields = typed(sheet, day=day(sheet), writer=technician.pk)
    before = rows_of_every_table()
    refused = page.send(**{**fields, "finished": ""})
    assert refused.status_code == 422
    assert "Say when it was finished, as the paper says." in text_of(refused)
    assert rows_of_every_table() == before
    page.send(**fields)
    kept = SignedCopy.objects.get(sheet=sheet).document
    assert (kept["started"], kept["finished"][-5:]) == ("", CLOCK)


@pytest.mark.parametrize("hours", [0.5, 3, 11.5])
def test_it_began_on_that_day_or_on_the_evening_before(sheet, page, technician, hours):
    page.send(
        **typed(sheet, day=day(sheet), writer=technician.pk, started=clock(hours)),
    )
    sheet.refresh_from_db()
    assert sheet.started_at == NOW - timedelta(hours=hours)
    kept = SignedCopy.objects.get(sheet=sheet).document
    assert kept["started"] != kept["finished"]


@pytest.mark.parametrize("hours", [0, -1, 12.5])
def test_twin_it_did_not_begin_when_it_was_finished_or_after(sheet, page, technician, hours):
    fields = typed(sheet, day=day(sheet), writer=technician.pk)
    refused = page.send(**{**fields, "started": clock(hours)})
    assert refused.status_code == 422
    assert NOT_BEFORE in text_of(refused)
    assert f'value="{clock(hours)}"' in refused.content.decode()


def test_the_minute_of_the_draft_is_none_before_it(world, technician, client_as):
    """Paper has no seconds."""
    sheet = world.draft(at=NOW + timedelta(seconds=20))
    page = Page(client_as("manager"), "shop:keyed", sheet.number)
    with time_machine.travel(NOW + timedelta(minutes=2), tick=False):
        answer = page.send(**typed(sheet, day=day(sheet), writer=technician.pk))
    assert answer.status_code == 302
    sheet.refresh_from_db()
    assert sheet.signed_at == sheet.drafted_at


def test_a_sheet_of_a_hundred_and_twenty_checks(world, client_as, technician):
    """The longest sheet: typed whole, refused with all kept, then taken."""
    last = Check.objects.filter(version=world.oil.version).count()
    Check.objects.bulk_create(
        Check(version=world.oil.version, order=last + nth, text=f"Bolt {nth} " + "x" * 180)
        for nth in range(1, MANY + 1)
    )
    sheet = world.draft(world.oil)
    page = Page(client_as("manager"), "shop:keyed", sheet.number)
    fields = typed(sheet, day=day(sheet), writer=technician.pk)
    refused = page.send(**{**fields, "labour": ""})
    assert refused.status_code == 422
    assert refused.content.decode().count("checked") >= MANY
    assert page.send(**fields).status_code == 302
    assert StepEntry.objects.filter(step__section="check").count() == MANY + 2


def test_a_closed_sheet_leads_to_its_page(sheet, page, client_as, world):
    from shop.services.drafting import void_sheet

    void_sheet(sheet=sheet, author=world.manager, at=NOW, reason="wrong rig", request_id=uuid4())
    assert client_as("manager").get(page.url).url == f"/sheets/{sheet.number}/"


def test_found_work_on_the_lines_of_the_paper_goes_in_and_grave_alone_is_asked_about(
    sheet, page, technician
):
    fields = typed(sheet, day=day(sheet), writer=technician.pk) | {
        "found-0": "hose chafed at the bracket",
        "found_grave-2": "on",
    }
    refused = page.send(**fields)
    assert "Say what was found." in text_of(refused)
    assert 'value="hose chafed at the bracket"' in refused.content.decode()
    assert not Finding.objects.exists()
    page.send(**fields, **{"found-2": "brake light out"})
    assert list(Finding.objects.order_by("pk").values_list("text", "is_grave")) == [
        ("hose chafed at the bracket", False),
        ("brake light out", True),
    ]


def test_each_row_has_the_number_and_the_words_that_stand_on_the_paper(sheet, client_as):
    shown = text_of(client_as("manager").get(f"/sheets/{sheet.number}/keyed/"))
    paper = paper_of(sheet, today=NOW.date(), system="us")
    checks = [check for group in paper.every_group for check in group.checks]
    assert [check.number for check in checks] == list(range(1, len(checks) + 1))
    for check in checks:
        assert f" {check.number} {check.text} " in shown
    for steps in (paper.lockout, paper.way_back):
        assert steps
        for number, step in enumerate(steps, 1):
            assert f" {number} {step.source} " in shown
            assert f" {step.action} " in shown
