"""The jobs of all rigs on one page."""

from collections.abc import Callable, Iterator
from datetime import date, timedelta
from decimal import Decimal
from uuid import uuid4

import pytest
import time_machine
from django.test import Client
from django.urls import reverse

from equipment.models import JobBooking, Rig
from equipment.services import book_job, open_finding
from shop.models import Role
from tests.equipment.factories import ZONE, PersonFactory, RigFactory, day
from tests.equipment.pages.browsing import Page, queries_of, text_of

pytestmark = pytest.mark.django_db

URL = reverse("shop:jobs")
TODAY = date(2026, 1, 8)  # a Thursday


@pytest.fixture(autouse=True)
def noon() -> Iterator[None]:
    with time_machine.travel(day(3, hour=6), tick=False):
        yield


@pytest.fixture
def desk(client_as: Callable[..., Client]) -> Client:
    return client_as(Role.MANAGER)


def booked(rig: Rig, first: int, last: int, job: str = "Barn", hard: str = "1") -> JobBooking:
    """A job from so many days after today to so many."""
    return book_job(
        rig=rig,
        job=job,
        first_day=TODAY + timedelta(days=first),
        last_day=TODAY + timedelta(days=last),
        author=PersonFactory(),
        today=TODAY,
        zone=ZONE,
        intensity=Decimal(hard),
    )


def test_every_rig_in_work_stands_with_its_jobs(desk: Client) -> None:
    rigs = [RigFactory(number=number) for number in (1, 2)]
    RigFactory(number=3, is_laid_up=True)
    booked(rigs[0], -1, 4, "Barn roof", "2")
    booked(rigs[0], 20, 22, "Cold store")
    answer = desk.get(URL)
    read = text_of(answer)
    assert "5 Jan – 18 Jan" in read
    assert "Wed 7 Jan – Mon 12 Jan away now Barn roof, very hard, 2 of a usual day" in read
    assert "Cold store" in read
    assert "In the shop; no job from 5 Jan on." in read
    assert "Trailer 3" not in read
    # The drawing for a desk, and one for each rig on a phone.
    assert answer.content.count(b"<svg") >= 3


def test_the_next_job_of_a_rig_says_whether_the_rig_is_ready_for_it(desk: Client) -> None:
    held, ready = (RigFactory(number=number) for number in (1, 2))
    for rig in (held, ready):
        booked(rig, 2, 4, f"Barn {rig.number}")
        booked(rig, 8, 9, f"Store {rig.number}")
    open_finding(
        rig=held,
        text="Hose split",
        is_grave=True,
        source_kind="typed",
        source_number=0,
        author=PersonFactory(),
        at=day(3),
        request_id=uuid4(),
    )
    answer = desk.get(URL)
    said = [(job.job, ready.text) for *_, ready, job in answer.context["lanes"]]
    assert said == [("Barn 1", "held: Hose split"), ("Barn 2", "ready")]
    # Beside the next job alone, since what comes after it depends on the stay between.
    assert text_of(answer).count("Hose split") == 1


def test_a_job_is_booked_for_any_rig_and_its_fortnight_shown(desk: Client) -> None:
    rig = RigFactory(number=2)
    page = Page(desk, "shop:jobs")
    sent = {
        "rig": str(rig.pk),
        "job": "Attic",
        "first_day": "2026-02-04",
        "last_day": "2026-02-06",
        "intensity": "0.5",
    }
    answer = page.send(**sent)
    assert answer.status_code == 302
    assert answer["Location"] == f"{URL}?from=2026-02-02"
    booking = JobBooking.objects.get()
    assert (booking.rig, booking.intensity) == (rig, Decimal("0.5"))
    assert "Attic, light, 0.5 of a usual day" in text_of(desk.get(answer["Location"]))
    refused = page.send(**sent | {"job": "Loft"})
    assert refused.status_code == 422
    assert "booked for “Attic” from 4 Feb to 6 Feb" in text_of(refused)
    nowhere = page.send(**sent | {"rig": "99"})
    assert nowhere.status_code == 422
    assert "Choose one of the rigs." in text_of(nowhere)
    assert JobBooking.objects.count() == 1


def test_the_rule_is_turned_by_fortnights(desk: Client) -> None:
    RigFactory(number=1)
    first = desk.get(URL)
    assert first.context["later_url"] == f"{URL}?from=2026-01-19"
    assert first.context["today_url"] == ""
    later = desk.get(first.context["later_url"])
    assert "19 Jan – 1 Feb" in text_of(later)
    assert later.context["today_url"] == f"{URL}?from=2026-01-05"
    assert "22 Dec 2025 – 4 Jan" in text_of(desk.get(first.context["earlier_url"]))


@pytest.mark.parametrize("asked", ["", "soon", "9999-12-31", "0001-01-01", "2026-01-08"])
def test_a_day_that_makes_no_sense_is_this_week(desk: Client, asked: str) -> None:
    RigFactory(number=1)
    assert "5 Jan – 18 Jan" in text_of(desk.get(URL, {"from": asked, "page": "x"}))


def test_a_long_fleet_comes_in_pages_at_the_same_cost(desk: Client) -> None:
    for number in range(1, 6):
        booked(RigFactory(number=number), 1, 3)
    few = queries_of(desk, URL)
    for number in range(6, 50):
        booked(RigFactory(number=number), 1, 3)
    assert queries_of(desk, URL) == few
    first = desk.get(URL)
    assert [rig.number for rig, *_ in first.context["lanes"]] == list(range(1, 41))
    second = desk.get(first.context["more_url"])
    assert [rig.number for rig, *_ in second.context["lanes"]] == list(range(41, 50))
    assert second.context["before_url"] == f"{URL}?from=2026-01-05"
    assert second.context["more_url"] == ""


def test_a_technician_reads_and_does_not_book(client_as: Callable[..., Client]) -> None:
    rig = RigFactory(number=1)
    booked(rig, 1, 3)
    phone = client_as(Role.TECHNICIAN)
    read = text_of(phone.get(URL))
    assert "Barn" in read
    assert "Book a job" not in read
    assert "Take off" not in read
    assert phone.post(URL, {"rig": rig.pk}).status_code == 403


def test_without_a_rig_it_says_so(desk: Client) -> None:
    assert "No rig is in work." in text_of(desk.get(URL))
