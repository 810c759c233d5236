"""Months with their ends, days of the year and planned days: dateutil, by hand, and properties."""

from datetime import date, datetime, time, timedelta
from decimal import Decimal

import pytest
from dateutil.relativedelta import relativedelta
from dateutil.rrule import YEARLY, rrule
from hypothesis import assume, given
from hypothesis import strategies as st

from equipment.caldates import (
    FAR_DATE,
    Every,
    Planned,
    add_days,
    add_months,
    add_years,
    clipped,
    days_between,
    months_between,
    next_day_of_year,
    part_of,
    planned_day,
    renew_fixed,
)

centuries = st.dates(date(1600, 1, 1), date(2400, 12, 31))
days_here = st.dates(date(2020, 1, 1), date(2032, 12, 31))
earlies = st.decimals("0", "0.99", places=2)
everies = st.one_of(
    st.builds(Every, days=st.integers(1, 800)), st.builds(Every, months=st.integers(1, 40))
)


@pytest.mark.parametrize(
    ("a", "b", "days"),
    [
        # worked_examples.json, F03 (Gregorian calendar): leap day, none, clocks change, leap year.
        (date(2024, 2, 28), date(2024, 3, 1), 2),
        (date(2023, 2, 28), date(2023, 3, 1), 1),
        (date(2025, 3, 8), date(2025, 3, 10), 2),
        (date(2024, 1, 1), date(2025, 1, 1), 366),
        (date(2025, 1, 2), date(2025, 1, 1), -1),
    ],
)
def test_days_between(a: date, b: date, days: int) -> None:
    assert days_between(a, b) == days


# Months.


@given(centuries, st.integers(-2400, 2400))
def test_months_are_those_of_dateutil_over_centuries(anchor: date, months: int) -> None:
    # Source: dateutil's relativedelta, an implementation of its own.
    assert add_months(anchor, months) == anchor + relativedelta(months=months)


@given(centuries, st.integers(-200, 200))
def test_years_are_those_of_dateutil(anchor: date, years: int) -> None:
    assert add_years(anchor, years) == anchor + relativedelta(years=years)


@given(centuries, st.integers(0, 600), st.integers(0, 600))
def test_more_months_are_never_earlier(anchor: date, months: int, more: int) -> None:
    assert add_months(anchor, months + more) >= add_months(anchor, months)


@given(centuries, centuries, st.integers(0, 600))
def test_a_later_anchor_is_never_earlier(a: date, b: date, months: int) -> None:
    assert add_months(max(a, b), months) >= add_months(min(a, b), months)


def test_month_ends_by_hand() -> None:
    # worked_examples.json, F01 and F02, run by tests/reference; here what they warn of.
    assert add_months(date(2003, 1, 31), 2) == date(2003, 3, 31)
    assert add_months(add_months(date(2003, 1, 31), 1), 1) == date(2003, 3, 28)
    assert add_months(date(2003, 3, 31), -1) == date(2003, 2, 28)
    assert months_between(date(2003, 1, 31), date(2004, 2, 1)) == 13


def test_there_is_no_date_after_the_last() -> None:
    assert add_months(date(9999, 12, 1), 1) == FAR_DATE
    assert add_months(date(2026, 1, 1), 200_000) == FAR_DATE
    assert add_days(date(2026, 1, 1), 10_000_000) == FAR_DATE
    assert add_days(date(9999, 12, 30), 1) == FAR_DATE
    assert next_day_of_year(date(9999, 12, 31), month=3, day=1) == FAR_DATE
    with pytest.raises(ValueError, match="year"):
        add_months(date(1, 1, 31), -1)


# Days of the year.


@given(centuries, st.integers(1, 12), st.integers(1, 28))
def test_the_next_day_of_a_year_is_that_of_dateutil(after: date, month: int, day: int) -> None:
    rule = rrule(
        YEARLY, dtstart=datetime.combine(date(1500, 1, 1), time.min), bymonth=month, bymonthday=day
    )
    found = rule.after(datetime.combine(after, time.max))
    assert next_day_of_year(after, month=month, day=day) == found.date()


@pytest.mark.parametrize(
    ("after", "month", "day", "found"),
    [
        # The first frost, put at 15 October.
        (date(2026, 10, 14), 10, 15, date(2026, 10, 15)),
        (date(2026, 10, 15), 10, 15, date(2027, 10, 15)),
        # 29 February: the 28th in common years (2027), itself in leap years (2028).
        (date(2026, 3, 1), 2, 29, date(2027, 2, 28)),
        (date(2027, 2, 28), 2, 29, date(2028, 2, 29)),
        (date(2028, 2, 28), 2, 29, date(2028, 2, 29)),
        # 1900 was no leap year, 2000 was one.
        (date(1899, 12, 31), 2, 29, date(1900, 2, 28)),
        (date(1999, 12, 31), 2, 29, date(2000, 2, 29)),
    ],
)
def test_the_next_day_of_a_year_by_hand(after: date, month: int, day: int, found: date) -> None:
    assert next_day_of_year(after, month=month, day=day) == found


@pytest.mark.parametrize(("month", "day"), [(0, 1), (13, 1), (2, 0), (2, -1)])
def test_what_is_no_day_of_a_year_is_refused(month: int, day: int) -> None:
    with pytest.raises(ValueError, match=r"month|day"):
        clipped(2026, month, day)


# Planned days.


@pytest.mark.parametrize(("days", "months"), [(0, 0), (1, 1), (-1, 0), (0, -1), (-1, 5)])
def test_an_interval_is_of_days_or_of_months(days: int, months: int) -> None:
    with pytest.raises(ValueError, match="at least one"):
        Every(days=days, months=months)


def test_a_planned_month_end_comes_back_after_february() -> None:
    monthly = Every(months=1)
    anchor, february = date(2026, 1, 31), date(2026, 2, 28)
    assert planned_day(counts_from=february, every=monthly, steps=1, anchor=anchor) == date(
        2026, 3, 31
    )
    assert planned_day(counts_from=february, every=monthly, steps=1) == date(2026, 3, 28)
    # 15 April did not come from a grid of 31 January (the interval was of days before).
    assert planned_day(
        counts_from=date(2026, 4, 15), every=monthly, steps=1, anchor=anchor
    ) == date(2026, 5, 15)


def test_fixed_renewal_by_hand() -> None:
    # worked_examples.json, F08: planned 15 April, 14 July, 12 October.
    every = Every(days=90)
    first = renew_fixed(counts_from=date(2025, 1, 15), every=every, done_on=date(2025, 4, 28))
    assert first == Planned(satisfied=date(2025, 4, 15), next_on=date(2025, 7, 14))
    second = renew_fixed(counts_from=first.satisfied, every=every, done_on=date(2025, 7, 10))
    assert second == Planned(satisfied=date(2025, 7, 14), next_on=date(2025, 10, 12))


@pytest.mark.parametrize(
    ("early", "done_on", "satisfied"),
    [
        # Planned 15 January + 90: 15 April. A tenth of 90 days: from 6 April on.
        ("0.1", date(2025, 4, 5), date(2025, 1, 15)),
        ("0.1", date(2025, 4, 6), date(2025, 4, 15)),
        # None set: half, from 1 March on (15 April − 45 days).
        ("0", date(2025, 2, 28), date(2025, 1, 15)),
        ("0", date(2025, 3, 1), date(2025, 4, 15)),
        # Two planned days passed by: the last one is satisfied.
        ("0.1", date(2025, 8, 1), date(2025, 7, 14)),
        # Entered late, before anything was planned.
        ("0.1", date(2024, 8, 1), date(2025, 1, 15)),
    ],
)
def test_which_planned_day_a_doing_satisfies(early: str, done_on: date, satisfied: date) -> None:
    found = renew_fixed(
        counts_from=date(2025, 1, 15), every=Every(days=90), done_on=done_on, early=Decimal(early)
    )
    assert found.satisfied == satisfied


def test_planned_months_keep_their_end() -> None:
    # 31 January every month; a tenth of February's 28 days is 2 days: from 26 February on.
    monthly, anchor = Every(months=1), date(2026, 1, 31)
    tenth = Decimal("0.1")
    first = renew_fixed(
        counts_from=anchor, every=monthly, done_on=date(2026, 2, 26), early=tenth, anchor=anchor
    )
    assert first == Planned(satisfied=date(2026, 2, 28), next_on=date(2026, 3, 31))
    second = renew_fixed(
        counts_from=first.satisfied,
        every=monthly,
        done_on=date(2026, 4, 2),
        early=tenth,
        anchor=anchor,
    )
    assert second == Planned(satisfied=date(2026, 3, 31), next_on=date(2026, 4, 30))


@pytest.mark.parametrize("early", ["-0.1", "1"])
def test_an_early_window_of_a_whole_interval_is_refused(early: str) -> None:
    with pytest.raises(ValueError, match="early window"):
        renew_fixed(
            counts_from=date(2025, 1, 1),
            every=Every(days=9),
            done_on=date(2025, 1, 2),
            early=Decimal(early),
        )


@given(days_here, everies, days_here, earlies, days_here)
def test_what_a_doing_satisfies_by_looking_at_every_planned_day(
    counts_from: date, every: Every, done_on: date, early: Decimal, anchor: date
) -> None:
    """An independent reading of the rule: walk the planned days one by one."""
    anchor = min(anchor, counts_from)
    planned = [counts_from]
    while planned[-1] <= done_on or len(planned) < 3:
        planned.append(
            planned_day(counts_from=counts_from, every=every, steps=len(planned), anchor=anchor)
        )
    planned.append(
        planned_day(counts_from=counts_from, every=every, steps=len(planned), anchor=anchor)
    )
    satisfied = 0
    for number in range(1, len(planned) - 1):
        gap = (planned[number] - planned[number - 1]).days
        opens = planned[number] - timedelta(days=part_of(gap, early or Decimal("0.5")))
        if done_on >= opens:
            satisfied = number
    found = renew_fixed(
        counts_from=counts_from, every=every, done_on=done_on, early=early, anchor=anchor
    )
    assert found == Planned(satisfied=planned[satisfied], next_on=planned[satisfied + 1])


@given(days_here, everies, days_here, days_here, earlies)
def test_a_fixed_renewal_never_makes_the_planned_day_earlier(
    counts_from: date, every: Every, first: date, second: date, early: Decimal
) -> None:
    """Without the doing the next planned day is counts_from + interval. Done once or twice, also
    the second time on the same day, it is never before that; nor is the later of two doings'."""
    assume(first <= second)
    without = planned_day(counts_from=counts_from, every=every, steps=1)
    once = renew_fixed(counts_from=counts_from, every=every, done_on=first, early=early)
    assert once.next_on >= without
    assert once.next_on > once.satisfied >= counts_from
    twice = renew_fixed(
        counts_from=once.satisfied, every=every, done_on=second, early=early, anchor=counts_from
    )
    assert twice.next_on >= once.next_on
    alone = renew_fixed(counts_from=counts_from, every=every, done_on=second, early=early)
    assert twice == alone
