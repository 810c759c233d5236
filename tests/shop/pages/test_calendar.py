"""The page My calendar, and the address that it makes."""

import re
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from html import unescape

import pytest
import time_machine
from django.contrib.sessions.models import Session
from django.db import connection
from django.http import HttpResponse
from django.test import Client
from django.test.utils import CaptureQueriesContext
from icalendar import Calendar

from shop.models import CalendarFeed, Person, Shop
from tests.shop.pages.world import fit, make_due, make_fleet, make_rig

pytestmark = pytest.mark.django_db

NOW = datetime(2026, 3, 2, 15, 0, tzinfo=UTC)
CHOSEN = {"services": "all", "has_jobs": "on", "sheets": "all", "only_rigs": ""}


@pytest.fixture(autouse=True)
def _now() -> object:
    with time_machine.travel(NOW, tick=False):
        yield


@pytest.fixture
def person(client_as: Callable[..., Client]) -> Client:
    return client_as("technician")


def sealed(page: HttpResponse) -> str:
    found = re.search(r'name="key" value="([^"]+)"', page.text)
    assert found
    return unescape(found[1])


def make(client: Client, **changed: str) -> HttpResponse:
    """Press "Make my address"."""
    data = {"key": sealed(client.get("/calendar/")), "make": "yes", **CHOSEN, **changed}
    return client.post("/calendar/", data)


def address(page: HttpResponse) -> str:
    """The address as the page shows it."""
    found = re.search(r'id="address"[^>]*value="([^"]+)"', page.text, re.S)
    assert found, page.text
    return unescape(found[1]).removeprefix("http://testserver")


# --- the page --------------------------------------------------------------------------------


def test_the_way_there_is_under_the_persons_name(person: Client) -> None:
    assert '<a href="/calendar/">My calendar</a>' in person.get("/").text


def test_at_first_there_is_no_address(person: Client) -> None:
    page = person.get("/calendar/")
    assert "You have no address yet." in page.text
    assert "Make my address" in page.text
    assert 'id="address"' not in page.text
    assert "no-store" in page.headers["Cache-Control"]


def test_sheets_are_at_first_those_of_whoever_works_on_them(
    client_as: Callable[..., Client], person: Client
) -> None:
    assert person.get("/calendar/").context["form"].initial["sheets"] == "mine"
    assert client_as("manager").get("/calendar/").context["form"].initial["sheets"] == "all"


def test_the_address_is_shown_once(person: Client) -> None:
    page = make(person)
    assert page.status_code == 200
    assert re.fullmatch(r"/calendar/[\w-]{43}\.ics", address(page))
    assert f'href="webcal://testserver{address(page)}"' in page.text
    assert "Whoever has it can read this calendar without signing in" in page.text
    again = person.get("/calendar/").text
    assert address(page) not in again
    assert "It was shown when it was made" in again


def test_what_is_shown_is_kept_in_no_session(person: Client) -> None:
    key = address(make(person)).split("/")[2].removesuffix(".ics")
    assert key not in repr([each.get_decoded() for each in Session.objects.all()])
    assert not any(key in morsel.value for morsel in person.cookies.values())


def test_the_page_sent_again_shows_the_same_address(person: Client) -> None:
    data = {"key": sealed(person.get("/calendar/")), "make": "yes", **CHOSEN}
    first, second = (person.post("/calendar/", data) for _ in range(2))
    assert address(first) == address(second)
    assert CalendarFeed.objects.count() == 1


def test_a_new_address_has_what_the_old_one_had(person: Client) -> None:
    make_rig(4)
    old = address(make(person, only_rigs="4", services="mine"))
    page = person.post("/calendar/", {"key": sealed(person.get("/calendar/")), "renew": "yes"})
    assert Client().get(old).status_code == 404
    assert Client().get(address(page)).status_code == 200
    feed = CalendarFeed.objects.get(stopped_at=None)
    assert feed.services == "mine"
    assert [rig.number for rig in feed.only_rigs.all()] == [4]


def test_stopped_it_says_so_and_makes_a_new_one(person: Client) -> None:
    old = address(make(person, services="mine"))
    page = person.post("/calendar/", {"stop": "yes"}, follow=True)
    assert "The address is stopped." in page.text
    assert "Whoever has it gets nothing." in page.text
    assert "Make my address" in page.text
    assert page.context["form"].initial["services"] == "mine"
    assert Client().get(old).status_code == 404
    assert Client().get(address(make(person))).status_code == 200
    assert Client().get(old).status_code == 404


def test_an_old_page_brings_no_stopped_address_back(person: Client) -> None:
    data = {"key": sealed(person.get("/calendar/")), "make": "yes", **CHOSEN}
    old = address(person.post("/calendar/", data))
    person.post("/calendar/", {"stop": "yes"})
    page = person.post("/calendar/", data)
    assert page.status_code == 422
    assert "That address was stopped already. Make a new one." in page.text
    assert Client().get(old).status_code == 404


def test_renewed_after_it_was_stopped_elsewhere(person: Client) -> None:
    make(person, services="mine")
    data = {"key": sealed(person.get("/calendar/")), "renew": "yes"}
    person.post("/calendar/", {"stop": "yes"})
    assert Client().get(address(person.post("/calendar/", data))).status_code == 200
    assert CalendarFeed.objects.get(stopped_at=None).services == "mine"


def test_what_is_in_it_is_saved(person: Client) -> None:
    old = address(make(person))
    page = person.post(
        "/calendar/", {"save": "yes", **CHOSEN, "services": "none", "sheets": "mine"}, follow=True
    )
    assert "Saved." in page.text
    feed = CalendarFeed.objects.get()
    assert (feed.services, feed.has_jobs, feed.sheets) == ("none", True, "mine")
    assert Client().get(old).status_code == 200


def test_saved_after_it_was_stopped_elsewhere(person: Client) -> None:
    make(person)
    person.post("/calendar/", {"stop": "yes"})
    page = person.post("/calendar/", {"save": "yes", **CHOSEN, "services": "mine"})
    assert page.status_code == 422
    assert "There is no address to change" in page.text
    assert page.context["form"]["services"].value() == "mine"


@pytest.mark.parametrize("button", ["make", "save"])
@pytest.mark.parametrize(
    ("typed", "field", "said"),
    [
        ({"only_rigs": "4, x"}, "only_rigs", "Write the numbers of rigs, like 4, 7."),
        ({"only_rigs": "99"}, "only_rigs", "There is no rig 99."),
        (
            {"services": "none", "sheets": "none", "has_jobs": ""},
            "services",
            "Then the calendar stays empty: choose one thing at least.",
        ),
        ({"sheets": "theirs"}, "sheets", "Select a valid choice."),
    ],
)
def test_what_cannot_be_is_said_beside_its_field(
    person: Client, button: str, typed: dict[str, str], field: str, said: str
) -> None:
    if button == "save":
        make(person)
    data = {"key": sealed(person.get("/calendar/")), button: "yes", **CHOSEN, **typed}
    if not data["has_jobs"]:
        del data["has_jobs"]
    page = person.post("/calendar/", data)
    assert page.status_code == 422
    (error,) = page.context["form"].errors[field]
    assert said in error
    assert said in page.text
    assert page.context["form"]["only_rigs"].value() == data["only_rigs"]
    assert CalendarFeed.objects.count() == (button == "save")


@pytest.mark.parametrize("button", ["make", "renew"])
def test_a_key_that_is_not_ours_makes_no_address(
    person: Client, client_as: Callable[..., Client], button: str
) -> None:
    of_another = sealed(client_as("manager").get("/calendar/"))
    ours = sealed(person.get("/calendar/"))
    for key in ("", "x", ours[:-2], of_another, "a" * 43):
        page = person.post("/calendar/", {"key": key, button: "yes", **CHOSEN})
        assert page.status_code == 422
        assert "This page stood open too long" in page.text
    with time_machine.travel(NOW + timedelta(hours=25)):
        page = person.post("/calendar/", {"key": ours, button: "yes", **CHOSEN})
        assert "This page stood open too long" in page.text
    assert not CalendarFeed.objects.exists()


def test_a_sending_without_a_button_does_nothing(person: Client) -> None:
    assert person.post("/calendar/").status_code == 422
    assert not CalendarFeed.objects.exists()


def test_when_it_was_last_fetched(person: Client) -> None:
    page = make(person)
    assert "not yet" in page.text
    Client().get(address(page))
    with time_machine.travel(NOW + timedelta(minutes=50)):
        Client().get(address(page))
        shown = person.get("/calendar/").text
    assert "today 09:00" in re.sub(r"\s+", " ", shown)  # 15:00 UTC in the shop's zone
    assert CalendarFeed.objects.get().fetched_at == NOW


# --- the calendar itself ---------------------------------------------------------------------


def test_a_calendar_program_gets_the_calendar_without_a_session(
    shop: Shop, person: Client, technician: Person
) -> None:
    make_due(fit(make_rig(4)), due_date=NOW.date() + timedelta(days=12))
    answer = Client().get(address(make(person)))
    assert answer.status_code == 200
    assert answer.headers["Content-Type"] == "text/calendar; charset=utf-8"
    assert answer.headers["Cache-Control"] == "private, no-cache"
    assert answer.headers["Referrer-Policy"] == "no-referrer"
    assert answer.headers["X-Robots-Tag"] == "noindex"
    assert not answer.cookies
    calendar = Calendar.from_ical(answer.content)
    assert calendar["x-wr-calname"] == f"{shop.name}: {technician.name}"
    (event,) = calendar.events  # type: ignore[union-attr]
    assert event["summary"] == "Rig 04 falls due: Pump, packing and seals"
    assert event["url"] == "http://testserver/components/PU-401/"


def test_whoever_is_signed_in_gets_no_cookie_there_either(person: Client) -> None:
    assert not person.get(address(make(person))).cookies


@pytest.mark.parametrize("method", ["post", "put", "delete"])
def test_it_is_only_read(person: Client, method: str) -> None:
    assert getattr(Client(), method)(address(make(person))).status_code == 405


def test_all_that_is_not_there_answers_alike(person: Client, technician: Person) -> None:
    stopped = address(make(person))
    person.post("/calendar/", {"stop": "yes"})
    off = address(make(person))
    technician.is_active = False
    technician.save()
    answers = [Client().get(path) for path in (stopped, off, "/calendar/x.ics")]
    assert {answer.status_code for answer in answers} == {404}
    assert {answer.text for answer in answers} == {"There is no calendar here.\n"}
    assert len({repr(sorted(answer.headers.items())) for answer in answers}) == 1
    assert not any(answer.cookies for answer in answers)


def test_switched_on_again_a_person_has_their_calendar_back(
    person: Client, technician: Person
) -> None:
    path = address(make(person))
    technician.is_active = False
    technician.save()
    assert Client().get(path).status_code == 404
    technician.is_active = True
    technician.save()
    assert Client().get(path).status_code == 200


def test_what_did_not_change_is_not_sent_again(person: Client) -> None:
    """RFC 9110, 13.1.2 and 15.4.5: If-None-Match with the tag of now is answered by 304."""
    due = make_due(fit(make_rig(4)), due_date=NOW.date() + timedelta(days=12))
    path = address(make(person))
    tag = Client().get(path).headers["ETag"]
    later = NOW + timedelta(hours=4)
    with time_machine.travel(later, tick=False):
        answer = Client().get(path, headers={"If-None-Match": tag})
        assert (answer.status_code, answer.content) == (304, b"")
        assert answer.headers["ETag"] == tag
        assert answer.headers["Cache-Control"] == "private, no-cache"
        assert CalendarFeed.objects.get().fetched_at == later
        due.due_date += timedelta(days=1)
        due.save()
        answer = Client().get(path, headers={"If-None-Match": tag})
    assert answer.status_code == 200
    assert b"LAST-MODIFIED:20260302T190000Z" in answer.content


def test_the_first_fetch_of_a_day_turns_the_day(person: Client, shop: Shop) -> None:
    path = address(make(person))
    Shop.objects.update(turned_on=NOW.date() - timedelta(days=1))
    Client().get("/calendar/x.ics")
    assert Shop.objects.get().turned_on < NOW.date()
    Client().get(path)
    assert Shop.objects.get().turned_on == NOW.date()


def test_a_bigger_fleet_asks_the_database_no_more_often(person: Client) -> None:
    make_fleet(2)
    path = address(make(person))
    Client().get(path)

    def asked() -> int:
        with CaptureQueriesContext(connection) as queries:
            Client().get(path)
        return len(queries)

    few = asked()
    make_fleet(30, first=3)
    assert asked() == few <= 8
