"""Where a rig is by its jobs, and how far the shop has planned."""

from datetime import date, timedelta

from hypothesis import given
from hypothesis import strategies as st

from equipment.absences import first_open_day, next_stay
from equipment.due import FAR_DATE
from equipment.triggers import Away

TODAY = date(2026, 1, 14)


def after(days: int) -> date:
    return TODAY + timedelta(days=days)


def test_a_stay_begins_after_jobs_that_follow_each_other() -> None:
    jobs = [Away(after(4), after(5)), Away(after(-2), after(1)), Away(after(2), after(2))]
    assert next_stay(jobs, today=TODAY) == after(3)
    assert next_stay(jobs, today=after(3)) == after(6)
    assert next_stay(jobs, today=after(6)) == FAR_DATE


def test_a_shop_has_planned_as_far_as_its_middle_rig() -> None:
    """Booked to the 3rd, 9th and 200th day from here: 9. Of two, the nearer."""
    assert first_open_day([after(200), after(3), after(9)], today=TODAY) == after(10)
    assert first_open_day([after(200), after(3)], today=TODAY) == after(4)


def test_what_is_over_plans_nothing() -> None:
    assert first_open_day([after(-1), after(-30)], today=TODAY) == TODAY
    assert first_open_day([], today=TODAY) == TODAY
    assert first_open_day([after(-1), after(0)], today=TODAY) == after(1)


@given(st.lists(st.integers(-400, 400), max_size=30))
def test_it_lies_within_what_is_booked_and_does_not_hang_on_how_many_rigs(days: list[int]) -> None:
    booked = [after(each) for each in days]
    found = first_open_day(booked, today=TODAY)
    ahead = [each for each in booked if each >= TODAY]
    assert min(ahead, default=TODAY - timedelta(1)) < found
    assert found <= max(ahead, default=TODAY - timedelta(1)) + timedelta(1)
    assert first_open_day(booked * 2, today=TODAY) == found
