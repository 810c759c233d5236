"""The drawing of a rig says what its page says."""

import re
from io import BytesIO
from typing import Any

import pytest
import time_machine
from pypdf import PdfReader

from shop.models import Role
from tests.equipment.pages.browsing import queries_of
from tests.shop.pages import world

pytestmark = pytest.mark.django_db


def said(client: Any, address: str) -> str:
    answer = client.get(address)
    assert answer.status_code == 200
    assert answer["Content-Type"] == "application/pdf"
    pages = PdfReader(BytesIO(answer.content)).pages
    assert len(pages) == 1
    return re.sub(r"\s+", " ", pages[0].extract_text())


def test_a_rig_with_its_tapes_found_work_and_jobs(client_as: Any) -> None:
    rig = world.make_rig(4)
    world.make_due(
        world.fit(rig, "Gun"), due_date=world.days(14), due_10=world.days(12), due_90=world.days(17)
    )
    world.make_finding(rig, "scuff cover split", is_grave=True)
    with time_machine.travel(world.AT, tick=False):
        client = client_as(Role.TECHNICIAN)
        text = said(client, "/rigs/4/drawing.pdf")
        few = queries_of(client, "/rigs/4/drawing.pdf")
        for _ in range(15):
            world.make_due(world.fit(rig, "Pump"), due_date=world.days(40))
        many = queries_of(client, "/rigs/4/drawing.pdf?paper=a4")

    assert "182" in text
    assert "about 16 Mar" in text
    assert "14 – 19 Mar" in text
    assert "rig must not leave: scuff cover split" in text
    assert "held: scuff cover split" in text
    assert many == few


def test_a_rig_nobody_has_is_not_drawn(client_as: Any) -> None:
    assert client_as(Role.TECHNICIAN).get("/rigs/9/drawing.pdf").status_code == 404
