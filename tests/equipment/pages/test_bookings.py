"""The jobs of a rig."""

from datetime import date, timedelta
from decimal import Decimal

import pytest
from django.test import Client
from django.urls import reverse

from equipment.models import JobBooking
from equipment.services import BookingGone, book_job, cancel_booking, change_booking
from equipment.services.usage import renew_usage
from tests.equipment.factories import ZONE, SprayRig
from tests.equipment.pages.browsing import Page, keeps, queries_of, said, text_of

pytestmark = pytest.mark.django_db

URL = reverse("equipment:bookings", args=[4])
BARN = {
    "job": "Barn roof",
    "first_day": "2026-01-10",
    "last_day": "2026-01-12",
    "intensity": "1",
}


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
    answer = page.send(
        **BARN | {"job": "Attic", "first_day": "2026-01-12", "last_day": "2026-01-13"}
    )
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
        today=date(2026, 1, 8),
        zone=ZONE,
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
                rig=spray.rig,
                job=f"J{number}",
                first_day=day,
                last_day=day,
                author=spray.author,
                today=day,
                zone=ZONE,
            )

    book(3, date(2026, 2, 1))
    few = queries_of(desk, URL)
    book(27, date(2026, 3, 1))
    assert queries_of(desk, URL) == few


def test_a_job_is_changed_and_says_how_hard_it_is(desk: Client, spray: SprayRig) -> None:
    Page(desk, "equipment:bookings", 4).send(**BARN)
    booking = JobBooking.objects.get()
    page = Page(desk, "equipment:change_booking", booking.pk)
    changed = {"job": "Barn walls", "last_day": "2026-01-14", "intensity": "1.5"}
    assert page.send(**BARN | changed).status_code == 302
    booking.refresh_from_db()
    assert (booking.job, booking.last_day, booking.intensity) == (
        "Barn walls",
        date(2026, 1, 14),
        Decimal("1.5"),
    )
    assert "Barn walls, hard, 1.5 of a usual day" in text_of(desk.get(URL))


def test_a_change_that_overlaps_another_job_is_refused(desk: Client, spray: SprayRig) -> None:
    Page(desk, "equipment:bookings", 4).send(**BARN)
    attic = BARN | {"job": "Attic", "first_day": "2026-01-14", "last_day": "2026-01-15"}
    Page(desk, "equipment:bookings", 4).send(**attic)
    booking = JobBooking.objects.get(job="Attic")
    answer = Page(desk, "equipment:change_booking", booking.pk).send(
        **attic | {"first_day": "2026-01-11"}
    )
    assert answer.status_code == 422
    assert "booked for “Barn roof” from 10 Jan to 12 Jan" in text_of(answer)
    booking.refresh_from_db()
    assert booking.first_day == date(2026, 1, 14)


def test_a_figure_of_its_own_may_stay_and_a_wrong_one_not(desk: Client, spray: SprayRig) -> None:
    booking = book_job(
        rig=spray.rig,
        job="Barn",
        first_day=date(2026, 1, 10),
        last_day=date(2026, 1, 12),
        author=spray.author,
        today=date(2026, 1, 8),
        zone=ZONE,
        intensity=Decimal("0.8"),
    )
    page = Page(desk, "equipment:change_booking", booking.pk)
    assert page.send(**BARN | {"intensity": "0.8"}).status_code == 302
    assert page.send(**BARN | {"intensity": "7"}).status_code == 422


def test_a_job_taken_off_meanwhile_cannot_be_changed(desk: Client, spray: SprayRig) -> None:
    Page(desk, "equipment:bookings", 4).send(**BARN)
    booking = JobBooking.objects.get()
    cancel_booking(booking=JobBooking.objects.get(), today=date(2026, 1, 8), zone=ZONE)
    answer = desk.get(reverse("equipment:change_booking", args=[booking.pk]), follow=True)
    assert "That job was taken off." in text_of(answer)
    with pytest.raises(BookingGone, match="taken off meanwhile"):
        change_booking(
            booking=booking,
            job="Barn",
            first_day=date(2026, 1, 10),
            last_day=date(2026, 1, 12),
            author=spray.author,
            intensity=Decimal(1),
            today=date(2026, 1, 8),
            zone=ZONE,
        )


def test_says_what_a_job_day_uses_and_what_the_jobs_ahead_ask(
    desk: Client, spray: SprayRig
) -> None:
    """Read on the first and the third day, 3,000 strokes of A in two days; nobody booked jobs."""
    renew_usage(today=date(2026, 1, 8), zone=ZONE)
    unread = text_of(desk.get(URL))
    assert "A strokes about 1,500 strokes" in unread.replace("\xa0", " ")
    assert "counts the same" in unread
    Page(desk, "equipment:bookings", 4).send(**BARN)
    read = text_of(desk.get(URL)).replace("\xa0", " ")
    assert "It will ask: Generator hours about 30 h" in read
    assert "A strokes about 4,500 strokes" in read
