"""What a scanner or a person types leads there, or is said not to."""

from collections.abc import Callable

import pytest
from django.test import Client

from inventory.models import PartCode
from shop.models import Person, Role, Shop
from tests.inventory.factories import PartFactory
from tests.shop.worlds import SheetWorld, sheet_world

pytestmark = pytest.mark.django_db


@pytest.fixture
def world(shop: Shop, manager: Person) -> SheetWorld:
    made = sheet_world(shop, manager)
    made.draft()
    PartCode.objects.create(part=made.seal, code="(01)09506000134352")
    return made


@pytest.fixture
def client(client_as: Callable[..., Client]) -> Client:
    return client_as(Role.TECHNICIAN)


@pytest.mark.parametrize(
    ("typed", "leads_to"),
    [
        ("http://shop.example:8000/go/part/F-09/", "/parts/F-09/"),
        ("https://elsewhere.example/go/place/K-03/", "/locations/K-03/"),
        ("/go/sheet/1/", "/sheets/1/"),
        ("F-09", "/parts/F-09/"),
        ("  f-09\r\n", "/parts/F-09/"),
        ("(01)09506000134352", "/parts/{seal}/"),
        ("k-03", "/locations/K-03/"),
        ("01-D1", "/locations/01-D1/"),
        ("0001", "/sheets/1/"),
        ("sheet 1", "/sheets/1/"),
        ("Rig 1", "/rigs/1/"),
        ("oil fil", "/parts/F-09/"),
    ],
)
def test_it_leads_there(client: Client, world: SheetWorld, typed: str, leads_to: str) -> None:
    answer = client.get("/find/", {"q": typed})
    assert answer.status_code == 302, answer.content.decode()
    assert answer["Location"] == leads_to.format(seal=world.seal.number)
    assert client.get(answer["Location"]).status_code == 200


@pytest.mark.parametrize(
    ("typed", "words"),
    [
        ("X-404", "Nothing is known as “X-404”"),
        ("http://shop.example/go/part/X-404/", "There is no part X-404 any more"),
        ("http://shop.example/go/horse/3/", "That label is not one of this shop."),
        ("999999999", "Nothing is known as “999999999”"),
        ("²", "Nothing is known as “²”"),
        ("", "Scan or type something."),
        ("9" * 301, "That is too long for a code."),
        ("a\x00b", "Null characters are not allowed."),
    ],
)
def test_what_is_not_found_is_said_and_stays(
    client: Client, world: SheetWorld, typed: str, words: str
) -> None:
    answer = client.get("/find/", {"q": typed})
    assert answer.status_code == 422
    page = answer.content.decode()
    assert words in page
    if typed and "\x00" not in typed:
        assert f'value="{typed}"' in page


def test_several_that_fit_are_offered(client: Client, world: SheetWorld) -> None:
    PartFactory(number="F-10", name="oil filter, fine")
    answer = client.get("/find/", {"q": "oil filter"})
    assert answer.status_code == 200
    page = answer.content.decode()
    assert "2 parts fit “oil filter”." in page
    assert "/parts/F-09/" in page
    assert "/parts/F-10/" in page


def test_a_number_is_a_part_before_it_is_a_sheet(client: Client, world: SheetWorld) -> None:
    PartFactory(number="0001", name="washer")
    assert client.get("/find/", {"q": "0001"})["Location"] == "/parts/0001/"


def test_of_two_that_differ_in_case_the_one_written_so(client: Client, world: SheetWorld) -> None:
    PartFactory(number="f-09", name="foam gasket")
    assert client.get("/find/", {"q": "f-09"})["Location"] == "/parts/f-09/"
    assert client.get("/find/", {"q": "F-09"})["Location"] == "/parts/F-09/"


def test_a_label_of_what_is_gone_says_so(client: Client, world: SheetWorld) -> None:
    answer = client.get("/go/part/X-404/", follow=True)
    assert answer.status_code == 422
    assert "There is no part X-404 any more" in answer.content.decode()


def test_a_label_scanned_before_signing_in_comes_back(world: SheetWorld) -> None:
    assert Client().get("/go/part/F-09/")["Location"] == "/sign-in/?next=%2Fgo%2Fpart%2FF-09%2F"
