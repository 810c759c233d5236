"""The tape of a due row: its marks, its figures and its sentence say one thing."""

from datetime import timedelta
from decimal import Decimal
from typing import Any

import pytest

from equipment.due import FAR_DATE
from shop import rigview, words
from shop.drawing.tape import marks
from tests.shop.pages import world

pytestmark = pytest.mark.django_db


def gun_due(**values: Any) -> Any:
    gun = world.fit(world.make_rig(4), "Gun")
    kept: dict[str, Any] = {
        "since": 4310,
        "interval": 5000,
        "measure": "gallons",
        "rate_per_day": Decimal(50),
        "renewed_at": world.AT - timedelta(days=60),
        "due_date": world.days(14),
        "due_10": world.days(12),
        "due_90": world.days(17),
    } | values
    return world.make_due(gun, world.make_service("Gun", "full rebuild"), **kept)


def tape_of(due: Any, **values: Any) -> Any:
    return rigview.tape_of(due, today=world.TODAY, warning_days=14, **values)


def test_the_sentence_says_the_figures_of_the_row_and_the_drawing_shows_them() -> None:
    row = gun_due()
    tape = tape_of(row, next_stay=world.days(25))

    assert tape.title == (
        "Gun, full rebuild: 4,310 of 5,000 gallons since 1 Jan; "
        "falls due about 16 Mar, 14 to 19 Mar; next stay 27 Mar."
    )
    # 690 gal in 14 days: 12 days on it shows 4,901.4 gal, 17 days on 5,147.9 gal.
    m = marks(tape, length=5500.0)
    assert m.band == pytest.approx((4901.43, 5147.86), abs=0.01)
    assert m.middle == pytest.approx(5000)
    assert m.stay_off is True
    assert words.date_note(row, today=world.TODAY) == "14 – 19 Mar"


@pytest.mark.parametrize(
    ("measure", "counted", "due", "life", "interval"),
    [
        ("months", -60, 30, 60, 90),
        ("season", -200, 45, 200, 245),
        ("after", -3, 4, 3, 7),
        ("job", -12, 28, 12, 40),
    ],
)
def test_what_falls_by_the_calendar_runs_from_the_day_it_counts_from(
    measure: str, counted: int, due: int, life: int, interval: int
) -> None:
    row = gun_due(
        measure=measure,
        interval=3,
        read_on=world.days(counted),
        due_date=world.days(due),
        due_10=world.days(due),
        due_90=world.days(due),
        tolerance=Decimal(0),
    )

    tape = tape_of(row)

    assert (tape.life, tape.interval, tape.unit) == (life, interval, "days")
    assert tape.calendar_only is True
    assert tape.band_days is None
    assert f"{life} of {interval} days" in tape.title
    assert words.date_text(row, today=world.TODAY) == words.day(row.due_date, today=world.TODAY)
    assert words.date_note(row, today=world.TODAY) == "fixed"


@pytest.mark.parametrize(
    ("measure", "why"),
    [
        ("after", "waits for the other service"),
        ("job", "no job is booked"),
        ("idle", "nothing was used yet"),
        ("value", "its measured value gives no date"),
    ],
)
def test_without_a_date_the_blade_says_so_and_why(measure: str, why: str) -> None:
    row = gun_due(measure=measure, due_date=FAR_DATE, due_10=FAR_DATE, due_90=FAR_DATE)

    assert tape_of(row).title.endswith(f"no date yet, {why}.")
    assert words.date_note(row, today=world.TODAY) == why
    if measure != "idle":
        assert (tape_of(row).life, tape_of(row).unread) == (None, "no date yet")


def test_days_without_use_count_back_from_the_day_it_falls_due() -> None:
    row = gun_due(measure="idle", interval=30, due_date=world.days(10))
    assert tape_of(row).life == 20
    # A job that ends in a month begins the count there: none of it has passed.
    row.due_date = world.days(60)
    assert tape_of(row).life == 0


def test_put_off_it_says_so_and_keeps_its_own_line() -> None:
    row = gun_due(
        due_date=world.days(20),
        due_10=world.days(20),
        due_90=world.days(20),
        postponed_to=world.days(20),
    )

    tape = tape_of(row)

    # 50 gal a day for 20 days: from 4,310 to 5,310 gal.
    assert marks(tape, length=5500.0).put_off == pytest.approx(5310)
    assert marks(tape, length=5500.0).due == pytest.approx(5000)
    assert "; put off to 22 Mar." in tape.title
    assert words.date_note(row, today=world.TODAY) == "put off"


def test_put_off_to_a_day_before_its_own_changes_nothing() -> None:
    row = gun_due(postponed_to=world.days(3))
    assert tape_of(row).put_off_in_days is None
    assert "falls due about 16 Mar" in tape_of(row).title


def test_an_early_window_of_a_season_is_drawn_in_days() -> None:
    row = gun_due(
        measure="season",
        read_on=world.days(-60),
        due_date=world.days(40),
        window_from=world.days(15),
        tolerance=Decimal(0),
    )
    assert tape_of(row).early == pytest.approx(0.25)


@pytest.mark.parametrize(
    ("first", "last", "said"),
    [
        (1, 6, "3 – 8 Mar"),
        (25, 32, "27 Mar – 3 Apr"),
        (300, 310, "27 Dec – 6 Jan 2027"),
        (5, 5, "7 Mar"),
    ],
)
def test_two_days_are_said_as_people_say_them(first: int, last: int, said: str) -> None:
    assert words.between(world.days(first), world.days(last), today=world.TODAY) == said


def test_an_endless_band_says_so() -> None:
    assert words.band_text(gun_due(due_90=FAR_DATE), today=world.TODAY) == "14 Mar or later"
