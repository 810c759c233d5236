"""What a reset hid stays "at least" on every page and paper, until somebody says what it showed."""

import io
import re
from datetime import timedelta
from decimal import Decimal
from html import unescape
from typing import Any
from uuid import uuid4

import pytest
import time_machine
from django.test import Client
from django.urls import reverse
from pypdf import PdfReader

from equipment.models import Counter, Reading
from equipment.services import NewReading
from shop.models import Person, ServiceSheet, Shop
from tests.equipment.pages.browsing import Page, said
from tests.shop.worlds import NOW, SheetWorld, sheet_world

pytestmark = pytest.mark.django_db

#: 200 hours were read; a reset that nobody saw; then 61: at least 261.
BOUND = re.compile(r"(at least|≥) 261")
LIFE = re.compile(r"\b261\b")


@pytest.fixture
def world(shop: Shop, manager: Person) -> SheetWorld:
    made = sheet_world(shop, manager)
    counter = made.fleet.counters["hours"]
    made.fleet.read(NOW - timedelta(days=3), hours=NewReading(counter, Decimal(61), "reset"))
    return made


@pytest.fixture
def desk(client_as: Any) -> Client:
    with time_machine.travel(NOW, tick=False):
        return client_as("manager")


def everywhere(world: SheetWorld, client: Client) -> dict[str, str]:
    """Each place that says how long the generator has lived, as a person reads it."""
    rig, tag = world.fleet.rig.number, world.fleet.components["generator"].tag
    sheet = ServiceSheet.objects.get()
    pages = {
        "due list": "/due/?before=all",
        "rig": f"/rigs/{rig}/",
        "setup": reverse("equipment:rig_setup", args=[rig]),
        "component": reverse("equipment:component", args=[tag]),
        "components": reverse("equipment:components"),
        "sheet": f"/sheets/{sheet.number}/",
    }
    read = {name: plain(client.get(url).content.decode()) for name, url in pages.items()}
    paper = PdfReader(io.BytesIO(client.get(f"/sheets/{sheet.number}/sheet.pdf").content))
    read["paper"] = " ".join(page.extract_text() for page in paper.pages)
    file = client.get("/due/?before=all&export=csv")
    read["file"] = b"".join(file.streaming_content).decode()  # type: ignore[attr-defined]
    return {name: re.sub(r"\s+", " ", text) for name, text in read.items()}


def plain(html: str) -> str:
    """The words of a page with those of its drawings and their sentences."""
    spoken = " ".join(re.findall(r'aria-label="([^"]*)"', html))
    return unescape(f"{re.sub(r'<[^>]+>', ' ', html)} {spoken}")


def test_a_bound_is_seen_everywhere_and_is_gone_once_it_is_settled(
    world: SheetWorld, desk: Client
) -> None:
    with time_machine.travel(NOW, tick=False):
        world.oil.refresh_from_db()
        sheet = world.draft()
        before = everywhere(world, desk)
        assert "261,at least," in before.pop("file")
        for name, text in before.items():
            assert BOUND.search(text), name
            assert len(LIFE.findall(text)) == len(BOUND.findall(text)), name

        hidden = Reading.objects.get(step="reset")
        page = Page(desk, "equipment:correct_reading", hidden.pk)
        local = hidden.at.astimezone(world.shop.zone)
        told = {
            f"c{hidden.counter_id}-value": "61",
            f"c{hidden.counter_id}-step": "reset",
            f"c{hidden.counter_id}-before_reset": "207",
            "day": f"{local:%Y-%m-%d}",
            "time": f"{local:%H:%M}",
            "reason": "the crew had noted it",
        }
        assert "This life is exact now." in said(page.send(**told))
        after = everywhere(world, desk)
        # The sheet says what was known when it was drafted.
        assert BOUND.search(after.pop("sheet"))
        assert BOUND.search(after.pop("paper"))
        assert "268,," in after.pop("file")
        for name, text in after.items():
            assert "268" in text, name
            assert "at least" not in text.replace("at least one", ""), name
        assert sheet.lines.count() == 2
        assert Reading.objects.filter(counter=hidden.counter_id).count() == 5  # nothing is wiped


class TestOnASheet:
    """A reading on a sheet says as much about the face as one on the readings page."""

    @pytest.fixture
    def sign(self, world: SheetWorld, client_as: Any) -> Any:
        with time_machine.travel(NOW, tick=False):
            sheet = world.draft()
            client = client_as("technician")

            def send(**typed: str) -> Any:
                hours = world.fleet.counters["hours"].pk
                fields = {f"c{hours}-{name}": value for name, value in typed.items()}
                return client.post(
                    f"/sheets/{sheet.number}/sign/",
                    {"act": "keep", f"event-{hours}": str(uuid4()), **fields},
                )

            yield send

    def test_a_new_face(self, world: SheetWorld, sign: Any) -> None:
        asked = sign(value="1002", step="replaced", before_reset="62")
        assert asked.status_code == 422
        assert "Say what the new face showed when it was fitted." in asked.content.decode()
        assert (
            sign(value="1002", step="replaced", before_reset="62", face_start="1000").status_code
            == 302
        )
        entry = ServiceSheet.objects.get().readings.get(is_in_force=True)
        assert (entry.step, entry.before_reset, entry.face_start) == ("replaced", 62, 1000)

    def test_a_face_that_rolled_over(self, world: SheetWorld, sign: Any) -> None:
        Counter.objects.filter(pk=world.fleet.counters["hours"].pk).update(rollover=100)
        page = sign(value="4").content.decode()
        assert "It rolled over" in page
        assert sign(value="4", step="rollover").status_code == 302
        assert ServiceSheet.objects.get().readings.get(is_in_force=True).step == "rollover"

    def test_too_fast_is_told_while_the_face_is_in_sight(
        self, world: SheetWorld, sign: Any
    ) -> None:
        refused = sign(value="261")  # 200 hours in three days
        assert refused.status_code == 422
        assert "is more than the clock allows" in refused.content.decode()
        assert not ServiceSheet.objects.get().readings.exists()
