"""When the drawer of a rig is to be checked. Common practice, no source."""

from datetime import date, timedelta

import pytest

from shop.drawer_checks import why_asked

TODAY = date(2026, 3, 2)


def days(count: int) -> date:
    return TODAY + timedelta(days=count)


@pytest.mark.parametrize(
    ("checked", "jobs", "why"),
    [
        (None, [], "never"),
        (days(-41), [], ""),
        (days(-42), [], "weeks"),
        (days(-15), [(days(7), days(13))], "job"),
        (days(-15), [(days(7), days(12))], ""),  # six days are no long job
        (days(-15), [(days(8), days(30))], ""),  # not near yet
        (days(-15), [(days(-1), days(30))], ""),  # it is out already
        (days(-7), [(days(7), days(13))], ""),  # checked in the fortnight before
        (days(-8), [(days(7), days(13))], "job"),
        (None, [(days(0), days(6))], "job"),
        (days(-20), [(days(6), days(7)), (days(3), days(20))], "job"),
    ],
)
def test_a_check_is_asked_for_after_six_weeks_and_before_a_long_job(
    checked: date | None, jobs: list[tuple[date, date]], why: str
) -> None:
    assert why_asked(checked, jobs, today=TODAY)[0] == why
