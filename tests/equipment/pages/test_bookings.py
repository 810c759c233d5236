"""The jobs of a rig."""

from datetime import date, timedelta

import pytest
from django.test import Client
from django.urls import reverse

from equipment.models import JobBooking
from equipment.services import book_job
from tests.equipment.factories import SprayRig
from tests.equipment.pages.browsing import Page, keeps, queries_of, said, text_of

pytestmark = pytest.mark.django_db

URL = reverse("equipment:bookings", args=[4])
BARN = {"job": "Barn roof", "first_day": "2026-01-10", "last_day": "2026-01-12"}


def test_booked_twice_it_stands_once(desk: Client, spray: SprayRig) -> None:
    page = Page(desk, "equipment:bookings", 4)
    for _ in range(2):
        assert page.send(**BARN).status_code == 302
    booking = JobBooking.objects.get()
    assert (booking.first_day, booking.last_day) == (date(2026, 1, 10), date(2026, 1, 12))
    assert "Sat 10 Jan – Mon 12 Jan Barn roof" in text_of(desk.get(URL)).replace("  ", " ")


def test_overlap_is_refused_in_words_and_typed_stays(desk: Client, spray: SprayRig) -> None:
    page = Page(desk, "equipment:bookings", 4)
    page.send(**BARN)
    answer = page.send(job="Attic", first_day="2026-01-12", last_day="2026-01-13")
    assert answer.status_code == 422
    assert "booked for “Barn roof” from 10 Jan to 12 Jan" in text_of(answer)
    assert keeps(answer, "job", "Attic")
    assert JobBooking.objects.count() == 1


@pytest.mark.parametrize(
    ("typed", "words"),
    [
        ({"last_day": "2026-01-09"}, "The job ends before it begins."),
        ({"job": ""}, "This is needed."),
        ({"first_day": "Monday"}, "Write the day like 2026-03-02."),
        ({"last_day": "2028-01-09"}, "A job of more than a year? Check the days."),
        ({"first_day": "0026-01-10"}, "Check the year."),
    ],
)
def test_refused_in_words(desk: Client, spray: SprayRig, typed: dict[str, str], words: str) -> None:
    answer = Page(desk, "equipment:bookings", 4).send(**BARN | typed)
    assert answer.status_code == 422
    assert words in text_of(answer)
    assert not JobBooking.objects.exists()


def test_taken_off_twice(desk: Client, spray: SprayRig) -> None:
    Page(desk, "equipment:bookings", 4).send(**BARN)
    url = reverse("equipment:cancel_booking", args=[JobBooking.objects.get().pk])
    assert said(desk.post(url)).endswith("“Barn roof” is taken off.")
    assert "taken off already" in said(desk.post(url))
    assert not JobBooking.objects.exists()


def test_says_when_it_is_here(phone: Client, spray: SprayRig) -> None:
    assert "In the shop today." in text_of(phone.get(URL))
    book_job(
        rig=spray.rig,
        job="Barn",
        first_day=date(2026, 1, 7),
        last_day=date(2026, 1, 9),
        author=spray.author,
    )
    read = text_of(phone.get(URL))
    assert "Next in the shop on Sat 10 Jan." in read
    assert "away now" in read
    assert "Book a job" not in read
    assert phone.post(URL, BARN).status_code == 403


def test_as_many_queries_with_thirty_jobs_as_with_three(desk: Client, spray: SprayRig) -> None:
    def book(count: int, since: date) -> None:
        for number in range(count):
            day = since + timedelta(days=number)
            book_job(
                rig=spray.rig, job=f"J{number}", first_day=day, last_day=day, author=spray.author
            )

    book(3, date(2026, 2, 1))
    few = queries_of(desk, URL)
    book(27, date(2026, 3, 1))
    assert queries_of(desk, URL) == few
