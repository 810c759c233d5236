"""The people of the shop and the shop's own page."""

from collections.abc import Callable, Iterator
from datetime import datetime

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from shop.models import Person, Role, Shop
from shop.services import people
from tests.conftest import PASSWORD
from tests.shop.factories import PersonFactory

pytestmark = pytest.mark.django_db

NEW = {
    "name": "T. Reed",
    "sign_in": "Reed",
    "role": "technician",
    "password": "seven bent nails",
    "again": "seven bent nails",
}


@pytest.fixture
def client(client_as: Callable[..., Client], manager: Person) -> Client:
    return client_as(manager)


def change(person: Person, **changes: str) -> dict[str, str]:
    fields = {"name": person.name, "sign_in": person.sign_in, "role": person.role}
    return fields | {"change": "yes"} | changes


def test_a_manager_adds_somebody_who_may_then_sign_in(client: Client) -> None:
    assert client.get("/people/new/").status_code == 200
    answer = client.post("/people/new/", NEW | {"is_electrician": "on"}, follow=True)
    assert "T. Reed may sign in as reed." in answer.text
    reed = Person.objects.get(sign_in="reed")
    assert (reed.role, reed.is_electrician) == (Role.TECHNICIAN, True)
    typed = {"username": "REED", "password": "seven bent nails"}
    assert Client().post("/sign-in/", typed).status_code == 302


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"sign_in": "MANAGER"}, "Somebody has this sign-in name already."),
        ({"role": ""}, "Choose a role."),
        ({"role": "king"}, "king"),
        ({"again": "seven bent nail"}, "The two passwords differ."),
        ({"password": "short", "again": "short"}, "too short"),
        ({"name": ""}, "Give a name."),
    ],
)
def test_somebody_new_is_refused_in_words_and_what_was_typed_stays(
    client: Client, change: dict[str, str], said: str
) -> None:
    answer = client.post("/people/new/", NEW | change)
    assert answer.status_code == 422
    assert said in answer.text
    assert (NEW | change)["sign_in"] in answer.text
    assert Person.objects.count() == 1


def test_a_role_is_changed(client: Client, technician: Person) -> None:
    page = client.get(f"/people/{technician.pk}/")
    assert f'value="{technician.name}"' in page.text
    answer = client.post(
        f"/people/{technician.pk}/", change(technician, role="owner", sign_in="Boss")
    )
    assert answer.status_code == 302
    technician.refresh_from_db()
    assert (technician.role, technician.sign_in) == (Role.OWNER, "boss")


def test_a_taken_name_is_said_beside_it(client: Client, technician: Person, owner: Person) -> None:
    answer = client.post(f"/people/{technician.pk}/", change(technician, sign_in="owner"))
    assert answer.status_code == 422
    assert "Somebody has this sign-in name already." in answer.text


def test_somebody_is_switched_off_and_on_again(client: Client, technician: Person) -> None:
    client.post(f"/people/{technician.pk}/", {"switch_off": "yes"})
    technician.refresh_from_db()
    assert not technician.is_active
    assert "switched off" in client.get("/people/").text
    client.post(f"/people/{technician.pk}/", {"switch_on": "yes"})
    technician.refresh_from_db()
    assert technician.is_active


@pytest.mark.parametrize("act", [{"switch_off": "yes"}, "change"])
def test_the_last_manager_stays(
    client: Client, manager: Person, at: datetime, act: dict[str, str] | str
) -> None:
    PersonFactory(manager=True, off=True)
    sent = change(manager, role="owner") if isinstance(act, str) else act
    answer = client.post(f"/people/{manager.pk}/", sent)
    assert answer.status_code == 422
    assert "the only manager who may sign in" in answer.text
    manager.refresh_from_db()
    assert manager.is_active
    assert manager.is_manager
    PersonFactory(manager=True)
    assert client.post(f"/people/{manager.pk}/", sent).status_code == 302


def test_a_new_password_ends_the_other_sessions_but_not_ones_own(
    client: Client, client_as: Callable[..., Client], manager: Person, technician: Person
) -> None:
    theirs = client_as(technician)
    assert theirs.get("/people/").status_code == 403
    new = {"new-password": "nine dry rags", "new-again": "nine dry rags", "new_password": "yes"}
    client.post(f"/people/{technician.pk}/", new)
    assert theirs.get("/people/").status_code == 302
    technician.refresh_from_db()
    assert technician.check_password("nine dry rags")
    client.post(f"/people/{manager.pk}/", new)
    assert client.get("/people/").status_code == 200


def test_a_bad_new_password_changes_nothing(client: Client, technician: Person) -> None:
    new = {"new-password": "12345678", "new-again": "12345678", "new_password": "yes"}
    assert client.post(f"/people/{technician.pk}/", new).status_code == 422
    technician.refresh_from_db()
    assert technician.check_password(PASSWORD)


def test_an_empty_post_is_refused(client: Client, technician: Person) -> None:
    assert client.post(f"/people/{technician.pk}/").status_code == 422


def test_the_list_asks_the_database_as_often_for_thirty_as_for_three(client: Client) -> None:
    counts = []
    for more in (2, 27):
        PersonFactory.create_batch(more)
        with CaptureQueriesContext(connection) as queries:
            client.get("/people/")
        counts.append(len(queries))
    assert counts[0] == counts[1]


# --- the shop's own page ----------------------------------------------------------------------

SHOP = {
    "name": "Foam & Co",
    "time_zone": "America/Denver",
    "currency": "€",
    "units": "metric",
    "warning_days": "10",
    "unread_days": "7",
    "off_ratio_percent": "8",
    "off_ratio_strokes": "30",
    "drum_error_gallons": "2",
}


def test_the_shop_is_changed(client: Client, shop: Shop) -> None:
    assert 'value="Foam Works"' in client.get("/shop/").text
    answer = client.post("/shop/", SHOP, follow=True)
    assert "The shop is changed." in answer.text
    shop.refresh_from_db()
    assert {name: str(getattr(shop, name)) for name in SHOP} == SHOP


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"warning_days": "0"}, "At least 1."),
        ({"off_ratio_percent": "101"}, "At most 100 percent."),
        ({"warning_days": "1.5"}, "Give a whole number of days."),
        ({"unread_days": "9999"}, "At most 365 days."),
        ({"time_zone": "Atlantis"}, "Atlantis"),
        ({"name": ""}, "Give the shop a name."),
    ],
)
def test_the_shop_refuses_in_words(
    client: Client, shop: Shop, change: dict[str, str], said: str
) -> None:
    answer = client.post("/shop/", SHOP | change)
    assert answer.status_code == 422
    assert said in answer.text
    shop.refresh_from_db()
    assert shop.name == "Foam Works"


def test_the_day_of_a_page_is_the_day_of_the_shop(
    client: Client, shop: Shop, time_machine_to: Callable[[str], None]
) -> None:
    """03:30 UTC on 3 March is still the evening of 2 March in Chicago, six hours behind UTC."""
    time_machine_to("2026-03-03T03:30:00+00:00")
    assert client.get("/shop/").context["today"].isoformat() == "2026-03-02"
    numbers = {
        name: 1 for name in SHOP if name.endswith(("_days", "_percent", "_strokes", "_gallons"))
    }
    people.change_shop(**SHOP | numbers | {"time_zone": "Europe/Berlin"})
    assert client.get("/shop/").context["today"].isoformat() == "2026-03-03"


@pytest.fixture
def time_machine_to() -> Iterator[Callable[[str], None]]:
    import time_machine

    travels: list[time_machine.travel] = []

    def go(moment: str) -> None:
        travel = time_machine.travel(datetime.fromisoformat(moment), tick=False)
        travel.start()
        travels.append(travel)

    yield go
    for travel in travels:
        travel.stop()
