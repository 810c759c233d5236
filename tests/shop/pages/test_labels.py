"""Labels: what lies where stands on them, with an address that leads back."""

import re
from collections.abc import Callable
from io import BytesIO
from urllib.parse import urlencode
from uuid import uuid4

import pytest
import time_machine
from django.test import Client
from pypdf import PdfReader

from inventory.models import StockPolicy
from shop.models import Person, Role, Shop
from shop.services import label_paper
from shop.services.sheet_parts import take_parts
from tests.shop.worlds import NOW, SheetWorld, sheet_world

pytestmark = pytest.mark.django_db

#: Sheet 0001, and no part P-0001.
FIRST_SHEET = r"(?<!-)\b0001\b"


@pytest.fixture
def world(shop: Shop, manager: Person) -> SheetWorld:
    return sheet_world(shop, manager)


@pytest.fixture
def client(client_as: Callable[..., Client]) -> Client:
    return client_as(Role.TECHNICIAN)


def address(**asked: object) -> str:
    usual = {"kind": "bins", "only": "", "sheet": "letter-3x10", "start": 1, "copies": 1}
    return f"/labels/labels.pdf?{urlencode({**usual, **asked})}"


def said(client: Client, **asked: object) -> str:
    with time_machine.travel(NOW, tick=False):
        answer = client.get(address(**asked))
    assert answer.status_code == 200, answer.content.decode()
    assert answer["Content-Type"] == "application/pdf"
    pages = PdfReader(BytesIO(answer.content)).pages
    return re.sub(r"\s+", " ", " ".join(page.extract_text() for page in pages))


def test_each_part_of_each_bin_has_its_label(client: Client, world: SheetWorld) -> None:
    StockPolicy.objects.create(
        part=world.filter_part, reorder_point_steps=3, order_up_to_steps=9,
        set_by=world.manager, set_at=NOW,
    )  # fmt: skip
    text = said(client)
    assert "oil filter F-09 buy at 3" in text
    assert world.kit.number in text
    assert world.seal.number not in text  # lies in a drawer only
    assert said(client, only="f-09").count("oil filter") == 1
    assert said(client, only="k-", copies=3).count("oil filter") == 3


def test_a_part_has_a_label_though_none_lies_anywhere(client: Client, world: SheetWorld) -> None:
    text = said(client, kind="parts")
    assert all(part.number in text for part in (world.filter_part, world.kit, world.seal))


def test_a_kit_says_for_which_sheet_and_rig_it_is(client: Client, world: SheetWorld) -> None:
    plain = said(client, kind="kits")
    assert "from K-03" in plain
    assert not re.search(FIRST_SHEET, plain)
    sheet = world.draft(world.rebuild)
    assert re.search(FIRST_SHEET, said(client, kind="kits"))
    take_parts(sheet=sheet, author=world.manager, at=NOW, request_id=uuid4())
    assert re.search(FIRST_SHEET, said(client, kind="kits"))


def test_a_drawer_list_says_what_to_keep(client: Client, world: SheetWorld) -> None:
    StockPolicy.objects.create(
        part=world.seal, location=world.drawer, reorder_point_steps=1, order_up_to_steps=2,
        set_by=world.manager, set_at=NOW, by_hand=True,
    )  # fmt: skip
    text = said(client, kind="drawers", only="01-D1")
    assert "drawer 01-D1" in text
    assert re.search(rf"\b2 ?{world.seal.name}", text)


def test_the_code_holds_the_whole_address_of_this_installation(
    client: Client, world: SheetWorld, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The modules in the file are compared in tests/shop/paper/test_labels.py."""
    asked: list[str] = []
    made = label_paper.BinLabel

    def note(**given: str) -> object:
        asked.append(given["url"])
        return made(**given)

    monkeypatch.setattr(label_paper, "BinLabel", note)
    with time_machine.travel(NOW, tick=False):
        client.get(address(only="F-09"), headers={"host": "testserver"})
    assert asked == ["http://testserver/go/part/F-09/"]
    assert client.get(asked[0])["Location"] == "/parts/F-09/"


@pytest.mark.parametrize(
    ("asked", "words"),
    [
        ({"start": 31}, "A page of this sheet has 30 labels."),
        ({"start": 0}, "The first label is 1."),
        ({"start": "x"}, "Give a whole number."),
        ({"copies": 101}, "Print at most 100 of each at once."),
        ({"sheet": "papyrus"}, "That sheet is not known here."),
        ({"kind": "dogs"}, "There are labels of bins, parts, kits and drawers."),
        ({"only": "Z-99"}, "There is nothing to label for “Z-99”."),
        ({"only": "a\x00"}, "Null characters are not allowed."),
    ],
)
def test_what_cannot_be_printed_is_said_and_stays(
    client: Client, world: SheetWorld, asked: dict[str, object], words: str
) -> None:
    answer = client.get(address(**asked))
    assert answer.status_code == 422
    assert words in answer.content.decode()


def test_more_labels_than_anybody_prints_are_refused(
    client: Client, world: SheetWorld, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(label_paper, "MOST_LABELS", 5)
    answer = client.get(address(copies=6))
    assert answer.status_code == 422
    assert "That is more than 5 labels." in answer.content.decode()


def test_a_test_print_of_each_sheet(client: Client, world: SheetWorld) -> None:
    page = client.get("/labels/?kind=kits&only=K-03").content.decode()
    assert 'value="K-03"' in page
    for sheet in ("letter-3x10", "letter-2x5", "a4-3x8", "a4-2x7"):
        trial = f"/labels/test/{sheet}.pdf"
        assert trial in page
        assert client.get(trial)["Content-Type"] == "application/pdf"
    assert client.get("/labels/test/papyrus.pdf").status_code == 404
