"""The trigger kinds that nothing is forecast for: by hand, and what holds for any days."""

from collections.abc import Callable
from datetime import date, timedelta
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from equipment import triggers
from equipment.caldates import FAR_DATE, Every, add_days
from equipment.triggers import (
    NO_DATES,
    Away,
    Dates,
    UseClock,
    by_calendar,
    by_idle_days,
    by_job,
    by_other,
    by_season,
    by_value,
    on_day,
    use_clock,
)

TENTH = Decimal("0.1")


def day_of(text: str) -> date:
    return date.fromisoformat(f"2026-{text}")


def job(begins: str, ends: str) -> Away:
    return Away(begins_on=day_of(begins), ends_on=day_of(ends))


# Use.


@pytest.mark.parametrize(
    ("first_at", "renewed_at_life", "from_life", "interval", "allowed_of"),
    [
        # Oil every 500 h, the first time at 50 h; 5 h are a tenth of the first stretch.
        ("50", None, "0", "50", "50"),
        ("50", "48", "48", "500", "500"),
        (None, None, "0", "500", "500"),
        (None, "30", "30", "500", "500"),
        # Looked at from 2,000 h on: done at 700 h it is still due at 2,000, done at 1,600 at 2,100.
        ("2000", None, "0", "2000", "500"),
        ("2000", "700", "0", "2000", "500"),
        ("2000", "1500", "1500", "500", "500"),
        ("2000", "1600", "1600", "500", "500"),
    ],
)
def test_what_a_clock_of_use_counts(
    first_at: str | None,
    renewed_at_life: str | None,
    from_life: str,
    interval: str,
    allowed_of: str,
) -> None:
    assert use_clock(
        interval=Decimal(500),
        first_at=Decimal(first_at) if first_at else None,
        renewed_at_life=Decimal(renewed_at_life) if renewed_at_life else None,
    ) == UseClock(
        from_life=Decimal(from_life), interval=Decimal(interval), allowed_of=Decimal(allowed_of)
    )


above_zero = st.decimals("0.1", "10000", places=1)
lives = st.decimals("0", "20000", places=1)
fractions = st.decimals("0", "0.99", places=2)


@given(above_zero, st.none() | above_zero, st.none() | lives, lives, fractions, fractions)
def test_a_renewal_never_brings_the_life_at_which_it_is_due_nearer(
    interval: Decimal,
    first_at: Decimal | None,
    before: Decimal | None,
    renewed: Decimal,
    tolerance: Decimal,
    early: Decimal,
) -> None:
    """Without it: as the renewal before left it, or never renewed."""
    if before is not None:
        renewed += before
    without, after = (
        use_clock(interval=interval, first_at=first_at, renewed_at_life=life)
        for life in (before, renewed)
    )

    def ends(clock: UseClock) -> tuple[Decimal, ...]:
        due = clock.from_life + clock.interval
        return due - early * clock.allowed_of, due, due + tolerance * clock.allowed_of

    assert all(b >= a for a, b in zip(ends(without), ends(after), strict=True))


# Days and months.


def test_days_with_tolerance_and_early_window() -> None:
    # 15 January + 90 days: 15 April. A tenth is 9 days: 6 to 24 April.
    assert by_calendar(
        counts_from=day_of("01-15"), every=Every(days=90), tolerance=TENTH, early=TENTH
    ) == Dates(
        due_10=day_of("04-15"),
        due_date=day_of("04-15"),
        due_90=day_of("04-15"),
        window_from=day_of("04-06"),
        late_date=day_of("04-24"),
    )


def test_months_with_tolerance_of_the_days_that_they_have() -> None:
    # 31 January + 1 month: 28 February, 28 days later; a tenth is 2.8 days, so 2.
    found = by_calendar(
        counts_from=day_of("01-31"), every=Every(months=1), tolerance=TENTH, early=TENTH
    )
    assert (found.window_from, found.due_date, found.late_date) == (
        day_of("02-26"),
        day_of("02-28"),
        date(2026, 3, 2),
    )
    # A fixed renewal goes on from the last of January: 31 March, 31 days later, so 3.
    found = by_calendar(
        counts_from=day_of("02-28"), every=Every(months=1), tolerance=TENTH, anchor=day_of("01-31")
    )
    assert (found.due_date, found.late_date) == (day_of("03-31"), day_of("04-03"))


# Before a day of the year.


@pytest.mark.parametrize(
    ("counts_from", "is_renewed", "due"),
    [
        # Before 15 October, done up to 30 days before (15 September on).
        ("2026-09-14", True, "2026-10-15"),
        ("2026-09-15", True, "2027-10-15"),
        ("2026-10-15", True, "2027-10-15"),
        ("2026-10-16", True, "2027-10-15"),
        # Came into service within the 30 days: that was no doing.
        ("2026-09-20", False, "2026-10-15"),
        ("2026-10-15", False, "2027-10-15"),
    ],
)
def test_before_a_day_of_the_year(counts_from: str, is_renewed: bool, due: str) -> None:
    found = by_season(
        counts_from=date.fromisoformat(counts_from),
        is_renewed=is_renewed,
        month=10,
        day=15,
        window_days=30,
    )
    due_date = date.fromisoformat(due)
    assert (found.due_date, found.late_date) == (due_date, due_date)
    assert found.window_from == due_date - timedelta(days=30)


# Before the next job.

JOBS = [job("04-20", "05-08"), job("03-10", "03-20"), job("03-23", "03-27")]


@pytest.mark.parametrize(
    ("counts_from", "is_renewed", "due"),
    [
        ("03-01", False, "03-10"),
        ("03-01", True, "03-10"),  # 9 days before: too early
        ("03-07", True, "03-23"),  # 3 days before: it counts for the job of the 10th
        ("03-10", True, "03-23"),  # on its first day
        ("03-09", False, "03-10"),
        ("03-20", True, "04-20"),  # 3 days before the 23rd
        ("04-18", True, None),
        ("04-20", False, None),
    ],
)
def test_before_the_next_job(counts_from: str, is_renewed: bool, due: str | None) -> None:
    found = by_job(jobs=JOBS, counts_from=day_of(counts_from), is_renewed=is_renewed, window_days=3)
    assert found == (NO_DATES if due is None else on_day(day_of(due), early_days=3))


# Without use.


@pytest.mark.parametrize(
    ("used_on", "done_on", "jobs", "due"),
    [
        # 28 days without use.
        ("03-02", None, [], "03-30"),
        ("03-02", "02-20", [], "03-30"),
        # A job that begins before the 30th: 28 days after its end. On the 30th it is due.
        ("03-02", None, [job("03-29", "04-02")], "04-30"),
        ("03-02", None, [job("03-30", "04-02")], "03-30"),
        # One job after another, in any order; one inside another.
        ("03-02", None, [job("04-20", "05-01"), job("03-10", "04-02")], "05-29"),
        ("03-02", None, [job("03-05", "03-25"), job("03-06", "03-10")], "04-22"),
        # Read last in the middle of a job, and on its last day.
        ("03-12", None, [job("03-10", "03-20")], "04-17"),
        ("03-20", None, [job("03-10", "03-20")], "04-17"),
        # Filled for the stop: no date until it was used again; the next stop counts anew.
        ("03-02", "03-02", [], None),
        ("03-02", "03-25", [], None),
        ("03-02", "03-25", [job("05-04", "05-08")], "06-05"),
        # Filled too late, in the stop before a job that is over.
        ("03-02", "04-10", [job("05-04", "05-08"), job("05-11", "05-12")], "06-09"),
        # Done during a job: its stop is still to come.
        ("03-02", "03-12", [job("03-10", "03-20")], "04-17"),
    ],
)
def test_days_without_use(
    used_on: str, done_on: str | None, jobs: list[Away], due: str | None
) -> None:
    found = by_idle_days(
        used_on=day_of(used_on),
        done_on=day_of(done_on) if done_on else None,
        jobs=jobs,
        idle_days=28,
    )
    assert found.due_date == (day_of(due) if due else FAR_DATE)
    assert found.late_date == found.window_from == found.due_date


def test_a_job_ends_no_sooner_than_it_begins() -> None:
    with pytest.raises(ValueError, match="job ends"):
        job("03-02", "03-01")


# After another service.


def test_after_another_service() -> None:
    # Look at the packing a week after it was renewed.
    found = by_other(other_done_on=day_of("03-02"), days_after=7, early=Decimal("0.5"))
    assert (found.window_from, found.due_date, found.late_date) == (
        day_of("03-06"),
        day_of("03-09"),
        day_of("03-09"),
    )
    assert by_other(other_done_on=None, days_after=7) == NO_DATES


# Measured values.


@pytest.mark.parametrize(
    ("measured_on", "is_past_limit", "meets_on", "due", "is_past"),
    [
        (None, False, None, None, False),
        ("03-02", False, None, None, False),
        ("03-02", True, None, "03-02", True),
        ("03-02", True, "05-01", "03-02", True),
        # 14 days before the trend meets the limit; not before it was known.
        ("03-02", False, "05-01", "04-17", False),
        ("03-02", False, "03-10", "03-02", False),
    ],
)
def test_a_measured_value(
    measured_on: str | None,
    is_past_limit: bool,
    meets_on: str | None,
    due: str | None,
    is_past: bool,
) -> None:
    found = by_value(
        measured_on=day_of(measured_on) if measured_on else None,
        is_past_limit=is_past_limit,
        meets_on=day_of(meets_on) if meets_on else None,
        days_before=14,
    )
    assert found.due_date == found.late_date == (day_of(due) if due else FAR_DATE)
    assert found.is_past_due is is_past
    assert not found.is_past_tolerance


# Refusals.


@pytest.mark.parametrize(
    "ask",
    [
        lambda: use_clock(interval=Decimal(0), first_at=None, renewed_at_life=None),
        lambda: use_clock(interval=Decimal(1), first_at=Decimal(0), renewed_at_life=None),
        lambda: use_clock(interval=Decimal(1), first_at=None, renewed_at_life=Decimal(-1)),
        lambda: by_calendar(
            counts_from=day_of("01-01"), every=Every(days=1), tolerance=Decimal("-0.1")
        ),
        lambda: by_calendar(counts_from=day_of("01-01"), every=Every(days=1), early=Decimal(1)),
        lambda: by_season(
            counts_from=day_of("01-01"), is_renewed=True, month=1, day=1, window_days=365
        ),
        lambda: by_season(
            counts_from=day_of("01-01"), is_renewed=True, month=1, day=1, window_days=0
        ),
        lambda: by_job(jobs=[], counts_from=day_of("01-01"), is_renewed=True, window_days=0),
        lambda: by_idle_days(used_on=day_of("01-01"), done_on=None, jobs=[], idle_days=0),
        lambda: by_other(other_done_on=None, days_after=0),
        lambda: by_value(measured_on=None, is_past_limit=False, meets_on=None, days_before=0),
    ],
)
def test_nonsense_is_refused(ask: Callable[[], object]) -> None:
    with pytest.raises(ValueError, match=r"zero|least one|window|days before"):
        ask()


# Properties.

days_here = st.dates(date(2020, 1, 1), date(2032, 12, 31))
lengths = st.integers(1, 400)
jobs_drawn = st.lists(
    st.builds(
        lambda begins, days: Away(begins_on=begins, ends_on=begins + timedelta(days=days)),
        days_here,
        st.integers(0, 60),
    ),
    max_size=8,
)
everies = st.one_of(
    st.builds(Every, days=st.integers(1, 800)), st.builds(Every, months=st.integers(1, 40))
)


def never_earlier(after: Dates, without: Dates) -> bool:
    return all(
        getattr(after, name) >= getattr(without, name)
        for name in ("due_10", "due_date", "due_90", "window_from", "late_date")
    )


def in_order(dates: Dates) -> bool:
    return (
        dates.window_from <= dates.due_10 <= dates.due_date <= dates.due_90
        and dates.due_date <= dates.late_date
    )


@given(days_here, st.integers(0, 2000), everies, fractions, fractions)
def test_a_floating_renewal_never_makes_a_date_earlier(
    before: date, later: int, every: Every, tolerance: Decimal, early: Decimal
) -> None:
    """Without it: counted from the renewal before. Due and late date; the early window is a part
    of an interval in months that may have three days more, so it is compared in days only."""
    without, after = (
        by_calendar(counts_from=day, every=every, tolerance=tolerance, early=early)
        for day in (before, add_days(before, later))
    )
    assert after.due_date >= without.due_date
    assert in_order(after)
    if every.days:
        assert never_earlier(after, without)


@given(
    days_here,
    st.integers(0, 800),
    st.booleans(),
    st.integers(1, 12),
    st.integers(1, 31),
    st.integers(1, triggers.LONGEST_SEASON_WINDOW_DAYS),
)
def test_done_before_a_day_of_the_year_it_never_comes_sooner(
    before: date, later: int, was_renewed: bool, month: int, day: int, window_days: int
) -> None:
    without = by_season(
        counts_from=before, is_renewed=was_renewed, month=month, day=day, window_days=window_days
    )
    after = by_season(
        counts_from=add_days(before, later),
        is_renewed=True,
        month=month,
        day=day,
        window_days=window_days,
    )
    assert never_earlier(after, without)
    assert in_order(after)


@given(jobs_drawn, days_here, st.integers(0, 800), st.booleans(), lengths)
def test_done_before_a_job_it_never_comes_sooner(
    jobs: list[Away], before: date, later: int, was_renewed: bool, window_days: int
) -> None:
    without = by_job(jobs=jobs, counts_from=before, is_renewed=was_renewed, window_days=window_days)
    after = by_job(
        jobs=jobs, counts_from=add_days(before, later), is_renewed=True, window_days=window_days
    )
    assert never_earlier(after, without)
    assert in_order(after)


@given(jobs_drawn, days_here, st.none() | days_here, days_here, lengths, fractions)
def test_done_in_a_stop_it_never_comes_sooner(
    jobs: list[Away],
    used_on: date,
    before: date | None,
    done_on: date,
    idle_days: int,
    early: Decimal,
) -> None:
    if before is not None:
        done_on = max(before, done_on)
    without, after = (
        by_idle_days(used_on=used_on, done_on=day, jobs=jobs, idle_days=idle_days, early=early)
        for day in (before, done_on)
    )
    assert never_earlier(after, without)
    assert in_order(after)


@given(jobs_drawn, days_here, st.integers(0, 200), st.none() | days_here, lengths)
def test_used_later_it_is_never_idle_sooner(
    jobs: list[Away], used_on: date, later: int, done_on: date | None, idle_days: int
) -> None:
    """Nor by a job more, unless it was done in between: then use opens the next stop."""
    earlier, after = (
        by_idle_days(used_on=day, done_on=None, jobs=jobs, idle_days=idle_days)
        for day in (used_on, add_days(used_on, later))
    )
    assert never_earlier(after, earlier)
    fewer = by_idle_days(used_on=used_on, done_on=None, jobs=jobs[1:], idle_days=idle_days)
    assert never_earlier(earlier, fewer)


@given(days_here, st.integers(0, 800), lengths, fractions)
def test_its_own_renewal_ends_what_another_service_asked_for(
    other: date, later: int, days_after: int, early: Decimal
) -> None:
    asked = by_other(other_done_on=other, days_after=days_after, early=early)
    again = by_other(other_done_on=add_days(other, later), days_after=days_after, early=early)
    done = by_other(other_done_on=None, days_after=days_after, early=early)
    assert never_earlier(again, asked)
    assert never_earlier(done, asked)
    assert in_order(again)
