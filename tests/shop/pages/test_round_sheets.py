"""The round sheet of a rig and of all rigs: what the database says stands on the paper."""

import re
from collections.abc import Callable, Iterator
from io import BytesIO

import pytest
import time_machine
from django.test import Client
from pypdf import PdfReader

from equipment.models import RoundItem
from equipment.services import lay_up_rig
from shop.models import Role
from tests.equipment.factories import ZONE, SprayRig, day, spray_rig
from tests.equipment.pages.browsing import queries_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def spray(db: None) -> Iterator[SprayRig]:
    made = spray_rig(number=4)
    for number in range(1, 21):
        made.read(day(number), hours=6 * number, a=800 * number, b=800 * number)
    for code, name, text, every in (
        ("OC01", "generator", "Oil between the marks", "day"),
        ("OC03", "pump A", "Lubricant clear", "week"),
    ):
        kind = made.components[name].type.kind
        RoundItem.objects.create(code=code, kind=kind, text=text, every=every, side="")
    with time_machine.travel(day(21, hour=6), tick=False):  # Monday 26 January
        yield made


@pytest.fixture
def client(client_as: Callable[..., Client]) -> Client:
    return client_as(Role.TECHNICIAN)


def said(client: Client, address: str) -> str:
    answer = client.get(address)
    assert answer.status_code == 200
    assert answer["Content-Type"] == "application/pdf"
    pages = PdfReader(BytesIO(answer.content)).pages
    return re.sub(r"\s+", " ", " ".join(page.extract_text() for page in pages))


def test_one_rig_of_this_week(client: Client, spray: SprayRig) -> None:
    text = said(client, "/rigs/4/round-sheet.pdf")
    assert "Mon 26 Jan – Sun 1 Feb 2026" in text
    assert "Oil between the marks" in text
    assert "Lubricant clear" in text
    assert "once this week, on" in text
    assert re.search(
        r"last 16,000 strokes, 25 Jan, expect 16,\d+ to \d\d,\d+ by the last day", text
    )


def test_another_week_on_other_paper(client: Client, spray: SprayRig) -> None:
    answer = client.get("/rigs/4/round-sheet.pdf?from=2026-02-02&paper=a4")
    page = PdfReader(BytesIO(answer.content)).pages[0]
    assert float(page.mediabox.width) == pytest.approx(841.89, abs=0.01)
    assert "Mon 2 Feb" in page.extract_text()
    assert answer["Content-Disposition"] == 'inline; filename="round-rig-04-2026-02-02.pdf"'


@pytest.mark.parametrize("day", ["x", "2026-13-01", "9999-12-31", "0001-01-01", "²", "a\x00b"])
def test_what_is_no_day_of_ours(client: Client, spray: SprayRig, day: str) -> None:
    assert client.get("/rigs/4/round-sheet.pdf", {"from": day}).status_code == 404


def test_all_rigs_at_work_in_one_file(client: Client, spray: SprayRig) -> None:
    spray_rig(number=5)
    lay_up_rig(rig=spray_rig(number=6).rig, today=day(20).date(), zone=ZONE)
    text = said(client, "/rigs/round-sheets.pdf")
    assert "Trailer 4" in text
    assert "Trailer 5" in text
    assert "Trailer 6" not in text


def test_no_rig_at_work(client: Client, shop: object) -> None:
    assert client.get("/rigs/round-sheets.pdf").status_code == 404


def test_the_rig_and_the_list_lead_to_it(client: Client, spray: SprayRig) -> None:
    page = client.get("/rigs/4/").text
    assert 'href="/rigs/4/round-sheet.pdf"' in page
    assert 'href="/rigs/4/round-sheet.pdf?from=2026-02-02"' in page
    assert 'href="/rigs/round-sheets.pdf?from=2026-02-02"' in client.get("/rigs/").text


def test_the_queries_grow_with_the_rigs_alone(client: Client, spray: SprayRig) -> None:
    one = queries_of(client, "/rigs/round-sheets.pdf")
    spray_rig(number=5)
    spray_rig(number=6)
    three = queries_of(client, "/rigs/round-sheets.pdf")
    assert three - one <= 2 * 9
