"""The way in: founding the shop, signing in and out."""

from collections.abc import Callable
from datetime import datetime

import pytest
from django.test import Client
from django.urls import reverse

from shop.models import Person, Role, Shop
from shop.services import people
from tests.conftest import PASSWORD

pytestmark = pytest.mark.django_db

FOUNDING = {
    "name": "Foam Works",
    "time_zone": "America/Denver",
    "currency": "$",
    "units": "us",
    "manager_name": "D. Marsh",
    "sign_in": "Marsh",
    "password": "seven bent nails",
    "again": "seven bent nails",
}


def test_an_empty_installation_sends_everybody_to_its_first_page(client: Client) -> None:
    for page in ("/", "/sign-in/", "/people/"):
        assert client.get(page).headers["Location"] == "/welcome/"


def test_the_first_page_founds_the_shop_and_signs_its_manager_in(client: Client) -> None:
    assert client.get("/welcome/").status_code == 200
    answer = client.post("/welcome/", FOUNDING)
    assert answer.headers["Location"] == "/"
    shop = Shop.objects.get()
    assert (shop.name, shop.time_zone) == ("Foam Works", "America/Denver")
    manager = Person.objects.get()
    assert (manager.sign_in, manager.role) == ("marsh", Role.MANAGER)
    assert manager.check_password("seven bent nails")
    assert client.session["_auth_user_id"] == str(manager.pk)


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"again": "other"}, "The two passwords differ."),
        ({"password": "12345678", "again": "12345678"}, "entirely numeric"),
        ({"time_zone": "Mars/Olympus"}, "Mars/Olympus"),
        ({"name": " "}, "Give the shop a name."),
        ({"sign_in": ""}, "Give a sign-in name."),
    ],
)
def test_the_first_page_refuses_in_words_and_keeps_what_was_typed(
    client: Client, change: dict[str, str], said: str
) -> None:
    answer = client.post("/welcome/", FOUNDING | change)
    assert answer.status_code == 422
    assert said in answer.text
    assert 'value="D. Marsh"' in answer.text
    assert not Shop.objects.exists()
    assert not Person.objects.exists()


def test_the_first_page_is_gone_once_there_is_a_shop(client: Client, shop: Shop) -> None:
    assert client.get("/welcome/").headers["Location"] == "/sign-in/"
    assert client.post("/welcome/", FOUNDING).headers["Location"] == "/sign-in/"
    assert not Person.objects.exists()


def test_the_second_of_two_founders_is_told_and_leaves_nothing(
    client: Client, monkeypatch: pytest.MonkeyPatch, at: datetime
) -> None:
    """Both have seen the page while there was no shop; the other was a moment faster."""
    people.open_shop(
        **{key: value for key, value in FOUNDING.items() if key != "again"} | {"sign_in": "first"},
        at=at,
    )
    monkeypatch.setattr("shop.models.Shop.objects.exists", lambda: False, raising=False)
    answer = client.post("/welcome/", FOUNDING | {"name": "Another"})
    assert answer.status_code == 422
    assert "set up already" in answer.text
    assert [person.sign_in for person in Person.objects.all()] == ["first"]


def test_founding_leaves_no_shop_when_its_manager_cannot_be_made(
    db: None, at: datetime, person_as: Callable[..., Person]
) -> None:
    person_as(Role.MANAGER, sign_in="marsh")
    with pytest.raises(people.ShopIsOpen):
        people.open_shop(**{key: value for key, value in FOUNDING.items() if key != "again"}, at=at)
    assert not Shop.objects.exists()


@pytest.mark.parametrize("typed", ["manager", "MANAGER", " Manager "])
def test_capitals_make_no_difference(
    client: Client, shop: Shop, manager: Person, typed: str
) -> None:
    answer = client.post("/sign-in/", {"username": typed, "password": PASSWORD})
    assert answer.headers["Location"] == "/"


def test_a_wrong_password_is_said_beside_what_was_typed(
    client: Client, shop: Shop, manager: Person
) -> None:
    answer = client.post("/sign-in/", {"username": "manager", "password": "wrong"})
    assert answer.status_code == 422
    assert "do not belong together" in answer.text
    assert 'value="manager"' in answer.text


def test_somebody_switched_off_is_told_no_more_than_a_stranger(
    client: Client, shop: Shop, technician: Person
) -> None:
    people.switch_off(person=technician)
    answer = client.post("/sign-in/", {"username": "technician", "password": PASSWORD})
    assert answer.status_code == 422
    assert "do not belong together" in answer.text


def test_being_switched_off_ends_a_session(
    client_as: Callable[..., Client], technician: Person
) -> None:
    client = client_as(technician)
    assert client.get("/people/").status_code == 403
    people.switch_off(person=technician)
    assert client.get("/people/").headers["Location"] == "/sign-in/?next=%2Fpeople%2F"


@pytest.mark.parametrize(
    ("given", "goes_to"),
    [
        ("/people/?page=2", "/people/?page=2"),
        ("https://elsewhere.example/", "/"),
        ("//elsewhere.example/", "/"),
        ("javascript:alert(1)", "/"),
    ],
)
def test_signing_in_goes_on_to_pages_of_this_site_only(
    client: Client, shop: Shop, manager: Person, given: str, goes_to: str
) -> None:
    answer = client.post("/sign-in/", {"username": "manager", "password": PASSWORD, "next": given})
    assert answer.headers["Location"] == goes_to


def test_signing_out_takes_a_post(client_as: Callable[..., Client]) -> None:
    client = client_as(Role.MANAGER)
    assert client.get(reverse("shop:sign_out")).status_code == 405
    assert client.post(reverse("shop:sign_out")).headers["Location"] == "/sign-in/"
    assert client.get("/people/").status_code == 302


def test_after_ten_wrong_passwords_a_name_rests(
    client: Client, shop: Shop, manager: Person, technician: Person
) -> None:
    wrong = {"username": "manager", "password": "wrong"}
    for tries in range(9):
        # Another way to write the same name is no fresh start.
        name = ("manager", "Manager", "MANAGER ")[tries % 3]
        assert client.post("/sign-in/", wrong | {"username": name}).status_code == 422
    tenth = client.post("/sign-in/", wrong)
    assert tenth.status_code == 429
    assert "rests for a quarter of an hour" in tenth.text
    right = {"username": "manager", "password": PASSWORD}
    assert client.post("/sign-in/", right).status_code == 429
    other = client.post("/sign-in/", {"username": "technician", "password": PASSWORD})
    assert other.status_code == 302
