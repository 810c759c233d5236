"""A signed sheet corrected in the browser: refused beside the field, posted once, said on both."""

from datetime import timedelta
from decimal import Decimal
from io import BytesIO
from uuid import uuid4

import pytest
import time_machine
from pypdf import PdfReader

from equipment.services import NewReading
from shop.models import Correction, ServiceSheet
from shop.services.working import enter_reading
from tests.inventory.pages.browsing import Page, text_of
from tests.shop.services.conftest import Hands, rows_of_every_table
from tests.shop.worlds import NOW, SheetWorld, sheet_world

LATER = NOW + timedelta(hours=5)


@pytest.fixture(autouse=True)
def _clock():
    with time_machine.travel(LATER, tick=False):
        yield


@pytest.fixture
def world(shop, manager) -> SheetWorld:
    return sheet_world(shop, manager)


@pytest.fixture
def signed(world, technician) -> ServiceSheet:
    hands = Hands(world.draft(world.oil), technician)
    hands.take()
    hands.open_the_checks()
    hands.answer(hands.check("Oil and filter changed"))
    hands.answer(hands.check("Volts at rated load"), "value", value=Decimal(240))
    hands.use()
    enter_reading(
        sheet=hands.sheet,
        new=NewReading(world.fleet.counters["hours"], Decimal(215)),
        event_id=uuid4(),
        author=technician,
        at=NOW,
        recorded_at=NOW,
    )
    return hands.sign(labour_minutes=95)


def paper(desk, sheet) -> str:
    pages = PdfReader(BytesIO(desk.get(f"/sheets/{sheet.number}/sheet.pdf").content)).pages
    return "\n".join(page.extract_text() for page in pages)


def lines_of(printed: str) -> set[str]:
    """The lines of a paper, wherever they stand on it and whenever it was printed."""
    return {line for line in printed.splitlines() if not line.startswith("Printed ")}


def test_a_correction_stands_on_both_pages_and_the_old_one_prints_as_it_was(
    signed, world, client_as
):
    desk = client_as("manager")
    before = paper(desk, signed)
    volts = signed.steps.get(title="Volts at rated load")
    reading = signed.readings.get()
    page = Page(desk, "shop:correct_sheet", signed.number)
    shown = text_of(desk.get(page.url))
    for said in ("215 h", "240 V", "F-09 oil filter", "95 min as it stands"):
        assert said in shown
    typed = {
        f"reading-{reading.pk}": "205",
        f"check-{volts.pk}": "235",
        "labour": "59",
        "reason": "bad light",
        "signature": "A. Manager",
    }
    answer = page.send(**typed)
    new = ServiceSheet.objects.get(corrects=signed)
    assert answer.url == f"/sheets/{new.number}/"
    assert page.send(**typed).url == answer.url
    assert Correction.objects.count() == 3
    on_new = text_of(desk.get(answer.url))
    assert f"It corrects sheet {signed}" in on_new
    assert "240 V → 235 V" in on_new
    on_old = text_of(desk.get(f"/sheets/{signed.number}/"))
    assert f"Corrected by sheet {new}" in on_old
    for now in ("235 V", "205 h"):
        assert f"corrected: {now} (sheet {new})" in on_old
    assert f"corrects sheet {signed}" in text_of(desk.get("/sheets/"))
    assert f"corrected by sheet {new}" in text_of(desk.get("/sheets/"))
    bar = f"Corrected by sheet {new}"
    after = paper(desk, signed)
    assert bar not in before
    assert after.count(bar) == 1
    assert lines_of(after) - {bar} == lines_of(before)
    printed = " ".join(paper(desk, new).split())
    assert "235 V" in printed
    assert f"corrects sheet {signed}" in printed


def test_what_cannot_be_is_refused_beside_its_field_and_all_that_was_typed_stays(
    signed, world, client_as
):
    page = Page(client_as("manager"), "shop:correct_sheet", signed.number)
    volts = signed.steps.get(title="Volts at rated load")
    reading, part = signed.readings.get(), world.filter_part
    typed = {
        f"check-{volts.pk}": "lots",
        f"part-{part.pk}": "half a filter",
        f"reading-{reading.pk}": "-3",
        "new_part": "no such part",
        "labour": "99999",
        "reason": "bad light",
        "signature": "",
    }
    before = rows_of_every_table()
    refused = page.send(**typed)
    text = text_of(refused)
    assert refused.status_code == 422
    for said in (
        "cannot be below zero",
        "There is no part of that number",
        "more than a week",
        "Write your name to sign",
    ):
        assert said in text
    html = refused.content.decode()
    for value in ("lots", "half a filter", "no such part", "bad light"):
        assert value in html
    assert rows_of_every_table() == before
    # What the services refuse stands beside its field too.
    typed = {f"reading-{reading.pk}": "150", "reason": "bad light", "signature": "A. Manager"}
    refused = page.send(**typed)
    assert refused.status_code == 422
    assert f'id="id_reading-{reading.pk}_error"' in refused.content.decode()
    assert rows_of_every_table() == before


def test_a_part_that_nobody_wrote_down_is_refused_beside_its_box(signed, world, client_as):
    page = Page(client_as("manager"), "shop:correct_sheet", signed.number)
    typed = {
        "new_part": world.seal.number,
        "new_used": "5",
        "new_place": str(world.drawer.pk),
        "reason": "not written",
        "signature": "A. Manager",
    }
    refused = page.send(**typed)
    assert refused.status_code == 422
    assert 'id="id_new_used_error"' in refused.content.decode()
    assert page.send(**{**typed, "new_used": "1"}).status_code == 302


def test_an_open_sheet_leads_back_and_a_correction_to_what_it_corrects(signed, world, client_as):
    desk = client_as("manager")
    page = Page(desk, "shop:correct_sheet", signed.number)
    page.send(labour="59", reason="bad light", signature="A. Manager")
    new = ServiceSheet.objects.get(corrects=signed)
    led = desk.get(f"/sheets/{new.number}/correct/")
    assert led.url == f"/sheets/{signed.number}/correct/"
    open_sheet = world.draft(world.rebuild)
    led = desk.get(f"/sheets/{open_sheet.number}/correct/")
    assert led.url == f"/sheets/{open_sheet.number}/"
