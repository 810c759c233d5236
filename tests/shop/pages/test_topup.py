"""The pick list: what each drawer lacks, and one button that moves it."""

import re
from collections.abc import Callable, Iterator
from datetime import timedelta
from io import BytesIO
from uuid import uuid4

import pytest
import time_machine
from django.test import Client
from pypdf import PdfReader

from equipment.services import book_job
from inventory.models import Balance, Movement, StockAdvice, StockPolicy
from inventory.services import prove
from shop.models import Person, Role, Shop
from shop.services.drawer_targets import reckon_drawer_targets, set_target
from tests.inventory.factories import received
from tests.inventory.pages.browsing import text_of
from tests.shop.worlds import NOW, TODAY, SheetWorld, sheet_world

pytestmark = pytest.mark.django_db


@pytest.fixture
def world(shop: Shop, manager: Person) -> Iterator[SheetWorld]:
    made = sheet_world(shop, manager)
    with time_machine.travel(NOW, tick=False):
        yield made


@pytest.fixture
def client(client_as: Callable[..., Client]) -> Client:
    return client_as(Role.TECHNICIAN)


@pytest.fixture
def manager_client(client_as: Callable[..., Client]) -> Client:
    return client_as(Role.MANAGER)


def keep(world: SheetWorld, part: object, steps: int) -> StockPolicy:
    return set_target(
        part=part, drawer=world.drawer, steps=steps, reason="long job",  # type: ignore[arg-type]
        review_on=TODAY + timedelta(days=90), author=world.manager, at=NOW,
    )  # fmt: skip


def in_drawer(world: SheetWorld, part: object) -> int:
    rows = Balance.objects.filter(location=world.drawer, part=part)  # type: ignore[misc]
    return sum(row.quantity_steps for row in rows)


def lines(page: str) -> list[str]:
    return re.findall(r'name="line"\s+value="([^"]+)"', page)


def test_what_a_drawer_lacks_is_moved_at_once_and_once(client: Client, world: SheetWorld) -> None:
    keep(world, world.seal, 3)
    keep(world, world.filter_part, 2)
    received(world.seal, world.bin, 5, 4500)
    page = client.get("/drawers/").content.decode()
    assert "2 pieces from K-03" in page
    assert "1 piece from K-03" in page
    sent = {"request_id": str(uuid4()), "line": lines(page)}
    for _ in range(2):
        answer = client.post("/drawers/rigs/1/fill/", sent)
        assert answer.status_code == 302
    assert in_drawer(world, world.seal) == 3
    assert in_drawer(world, world.filter_part) == 1
    answer = client.get("/drawers/")
    assert world.seal.number not in text_of(answer)
    page = answer.content.decode()
    assert lines(page) == []
    assert "1 piece" in page  # one more filter, which the shop lacks
    assert not list(prove())
    moved = Movement.objects.of_source("top-up of rig", 1)
    assert moved.count() == 4
    assert {row.author_id for row in moved} == {Person.objects.get(role=Role.TECHNICIAN).pk}


def test_what_a_sheet_was_promised_is_asked_about(client: Client, world: SheetWorld) -> None:
    world.draft(world.oil)
    keep(world, world.filter_part, 1)
    page = client.get("/drawers/").content.decode()
    assert lines(page) == []
    (promised,) = re.findall(r'name="promised"\s+value="([^"]+)"', page)
    assert "promised to sheet 0001" in page
    # Sent as though nobody had been promised it, as by a page from before the sheet.
    sent = {"request_id": str(uuid4()), "line": promised}
    answer = client.post("/drawers/rigs/1/fill/", sent)
    assert answer.status_code == 422
    assert "1 piece for sheet 0001" in answer.content.decode()
    assert in_drawer(world, world.filter_part) == 0
    assert client.post("/drawers/rigs/1/fill/", {**sent, "sure": "on"}).status_code == 302
    assert in_drawer(world, world.filter_part) == 1


def test_ticked_is_answered(client: Client, world: SheetWorld) -> None:
    world.draft(world.oil)
    keep(world, world.filter_part, 1)
    page = client.get("/drawers/").content.decode()
    promised = re.findall(r'name="promised"\s+value="([^"]+)"', page)
    sent = {"request_id": str(uuid4()), "promised": promised}
    assert client.post("/drawers/rigs/1/fill/", sent).status_code == 302
    assert in_drawer(world, world.filter_part) == 1


def test_gone_meanwhile_is_said_and_nothing_is_half_moved(
    client: Client, world: SheetWorld
) -> None:
    received(world.seal, world.bin, 1, 900)
    good = f"{world.seal.pk}:{world.bin.pk}:1"
    much = f"{world.filter_part.pk}:{world.bin.pk}:7"
    sent = {"request_id": str(uuid4()), "line": [good, much]}
    answer = client.post("/drawers/rigs/1/fill/", sent)
    assert answer.status_code == 422
    assert "oil filter" in answer.content.decode()
    assert in_drawer(world, world.seal) == 1


@pytest.mark.parametrize("line", ["", "x", "1:2", "1:2:0", "1:2:-3", "²:1:1", "1:1:" + "9" * 30])
def test_a_line_that_is_none_is_refused(client: Client, world: SheetWorld, line: str) -> None:
    sent = {"request_id": str(uuid4()), "line": line}
    answer = client.post("/drawers/rigs/1/fill/", sent)
    assert answer.status_code == 422
    assert "Open the list again." in answer.content.decode()


def test_nothing_ticked_moves_nothing(client: Client, world: SheetWorld) -> None:
    answer = client.post("/drawers/rigs/1/fill/", {"request_id": str(uuid4())})
    assert answer.status_code == 422
    assert "There is nothing to move." in answer.content.decode()
    assert client.post("/drawers/rigs/99/fill/", {}).status_code == 404


def test_only_rigs_that_leave_before_a_day(client: Client, world: SheetWorld) -> None:
    keep(world, world.seal, 3)
    leaves = TODAY + timedelta(days=5)
    book_job(
        rig=world.fleet.rig, job="Barn", first_day=leaves, last_day=leaves + timedelta(days=3),
        author=world.manager, today=TODAY, zone=world.shop.zone,
    )  # fmt: skip
    # As text, here and above: a page's key against forged forms may spell any short word.
    seen = text_of(client.get("/drawers/", {"before": str(leaves + timedelta(days=1))}))
    assert world.seal.number in seen
    early = text_of(client.get("/drawers/", {"before": str(leaves)}))
    assert world.seal.number not in early
    assert client.get("/drawers/", {"before": "soon"}).status_code == 422
    assert client.get("/drawers/", {"before": "9999-12-31"}).status_code == 422


def test_the_list_on_paper(client: Client, world: SheetWorld) -> None:
    keep(world, world.seal, 3)
    received(world.seal, world.bin, 1, 900)
    answer = client.get("/drawers/pick-list.pdf")
    assert answer["Content-Type"] == "application/pdf"
    (page,) = PdfReader(BytesIO(answer.content)).pages
    said = re.sub(r"\s+", " ", page.extract_text())
    for words in ("All rigs", world.seal.number, "3 pieces", "1 piece from K-03", "page 1 of 1"):
        assert words in said, words
    assert client.get("/drawers/pick-list.pdf?before=soon").status_code == 422


def test_a_number_by_hand_stands_until_the_computed_one_is_asked_for(
    manager_client: Client, world: SheetWorld
) -> None:
    reckon_drawer_targets(shop=world.shop, today=TODAY)
    sent = {
        "request_id": str(uuid4()),
        "part": world.kit.number.lower(),
        "quantity": "4",
        "reason": "two guns on the barn job",
        "review_on": str(TODAY + timedelta(days=60)),
    }
    assert manager_client.post("/drawers/01-D1/", sent).status_code == 302
    reckon_drawer_targets(shop=world.shop, today=TODAY)
    page = manager_client.get("/drawers/01-D1/").content.decode()
    assert "two guns on the barn job" in page
    assert StockPolicy.objects.get(part=world.kit, location=world.drawer).order_up_to_steps == 4
    back = {"request_id": str(uuid4()), "part": world.kit.number, "follow": "1"}
    assert manager_client.post("/drawers/01-D1/", back).status_code == 302
    again = StockPolicy.objects.get(part=world.kit, location=world.drawer)
    computed = StockAdvice.objects.get(part=world.kit, location=world.drawer)
    assert not again.by_hand
    assert again.order_up_to_steps == computed.order_up_to_steps
    assert StockAdvice.objects.filter(part=world.kit, location=world.drawer).exists()
    assert manager_client.post("/drawers/01-D1/", back).status_code == 422


@pytest.mark.parametrize(
    ("wrong", "words"),
    [
        ({"part": "X-1"}, "There is no part X-1."),
        ({"quantity": "-1"}, "zero"),
        ({"quantity": "1.5"}, "whole"),
        ({"quantity": "9" * 25}, ""),
        ({"reason": " "}, "This is needed."),
        ({"review_on": str(TODAY)}, "Give a day after today"),
    ],
)
def test_what_cannot_be_kept_is_said(
    manager_client: Client, world: SheetWorld, wrong: dict[str, str], words: str
) -> None:
    sent = {
        "request_id": str(uuid4()), "part": "F-09", "quantity": "4", "reason": "why",
        "review_on": str(TODAY + timedelta(days=60)), **wrong,
    }  # fmt: skip
    answer = manager_client.post("/drawers/01-D1/", sent)
    assert answer.status_code == 422
    assert words in answer.content.decode()
    assert not StockPolicy.objects.exists()
