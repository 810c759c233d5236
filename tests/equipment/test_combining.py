"""Triggers put together, put off and brought forward: by hand, one row and many, and properties."""

from datetime import date, timedelta
from decimal import Decimal

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from equipment.caldates import FAR_DATE, Every, renew_fixed
from equipment.combining import (
    DATES,
    FAR,
    NOT_POSTPONED,
    bring_forward,
    columns_of,
    combine,
    dates_of,
    leads,
    postpone,
    service_dates,
)
from equipment.triggers import NO_DATES, Dates, by_calendar, on_day


def march(day: int) -> date:
    return date(2026, 3, day)


HOURS = Dates(
    due_10=march(8),
    due_date=march(12),
    due_90=march(20),
    window_from=march(5),
    late_date=march(25),
    is_past_due=False,
)
DAYS = on_day(march(14), allowed_days=4, early_days=7)
PAST = Dates(
    due_10=march(1),
    due_date=march(1),
    due_90=march(1),
    window_from=march(1),
    late_date=march(2),
    is_past_due=True,
    is_past_tolerance=True,
)


def test_whichever_falls_first_by_hand() -> None:
    # By the 14th the calendar alone makes it certain, so its 90 % day is no later.
    assert service_dates([HOURS, DAYS], is_all=False) == Dates(
        due_10=march(8),
        due_date=march(12),
        due_90=march(14),
        window_from=march(5),
        late_date=march(18),
    )


def test_all_of_them_by_hand() -> None:
    # Before the 14th it cannot be due, whatever the hours say.
    assert service_dates([HOURS, DAYS], is_all=True) == Dates(
        due_10=march(14),
        due_date=march(14),
        due_90=march(20),
        window_from=march(7),
        late_date=march(25),
    )


def test_one_without_a_date() -> None:
    assert service_dates([HOURS, NO_DATES], is_all=False) == HOURS
    assert service_dates([HOURS, NO_DATES], is_all=True) == NO_DATES


def test_what_is_past_for_one_is_past_for_the_first_and_not_for_all() -> None:
    first = service_dates([HOURS, PAST], is_all=False)
    assert (first.is_past_due, first.is_past_tolerance) == (True, True)
    both = service_dates([HOURS, PAST], is_all=True)
    assert (both.is_past_due, both.is_past_tolerance) == (False, False)
    assert both == HOURS
    assert service_dates([PAST, PAST], is_all=True) == PAST


def test_put_off_nothing_stands_earlier_and_nothing_is_past() -> None:
    until = march(10)
    assert service_dates([PAST], is_all=False, postponed_to=until) == on_day(until)
    assert service_dates([HOURS], is_all=False, postponed_to=until) == Dates(
        due_10=until,
        due_date=march(12),
        due_90=march(20),
        window_from=until,
        late_date=march(25),
    )


def test_wanted_sooner_it_is_due_and_not_overdue() -> None:
    # A signal asks for it by the 3rd; its own tolerance ends on the 25th as before.
    assert service_dates([HOURS], is_all=False, wanted_by=march(3)) == Dates(
        due_10=march(3),
        due_date=march(3),
        due_90=march(3),
        window_from=march(3),
        late_date=march(25),
    )
    # Put off and wanted sooner: a person wants it.
    found = service_dates([PAST], is_all=False, postponed_to=march(20), wanted_by=march(9))
    assert (found.due_date, found.late_date, found.is_past_due) == (march(9), march(20), False)


def test_the_trigger_that_gives_the_date_leads() -> None:
    columns = columns_of([HOURS, DAYS, HOURS, DAYS, DAYS, DAYS])
    starts, is_all = np.array([0, 2, 4]), np.array([False, True, True])
    assert leads(columns, starts=starts, is_all=is_all).tolist() == [0, 3, 4]


@pytest.mark.parametrize("starts", [[1], [0, 0], [0, 2], [0, 3], [1, 0], []])
def test_a_service_without_a_trigger_is_refused(starts: list[int]) -> None:
    with pytest.raises(ValueError, match=r"trigger|service"):
        combine(
            columns_of([HOURS, DAYS]),
            starts=np.array(starts, dtype=np.int64),
            is_all=np.zeros(len(starts), dtype=np.bool_),
        )
    with pytest.raises(ValueError, match="at least one trigger"):
        service_dates([], is_all=False)


def test_no_rows_are_no_rows() -> None:
    nothing = np.zeros(0, dtype=np.int64)
    columns = combine(columns_of([]), starts=nothing, is_all=nothing.astype(np.bool_))
    assert dates_of(columns) == []


# Properties.

days_here = st.dates(date(2020, 1, 1), date(2032, 12, 31)) | st.just(FAR_DATE)


@st.composite
def dates_drawn(draw: st.DrawFn) -> Dates:
    window, ten, due, ninety = sorted(draw(st.lists(days_here, min_size=4, max_size=4)))
    late = max(due, draw(days_here))
    is_past = draw(st.booleans())
    return Dates(ten, due, ninety, window, late, is_past, is_past and draw(st.booleans()))


services = st.lists(dates_drawn(), min_size=1, max_size=4)


@given(services)
def test_all_of_them_is_never_before_the_first(triggers: list[Dates]) -> None:
    first, every = (service_dates(triggers, is_all=is_all) for is_all in (False, True))
    for name in DATES:
        days = [getattr(each, name) for each in triggers]
        assert getattr(first, name) == min(days)
        assert getattr(every, name) == max(days)
    assert first.is_past_due or not every.is_past_due
    assert first.is_past_tolerance or not every.is_past_tolerance


@given(services, st.booleans(), st.none() | days_here, days_here)
def test_dates_stay_in_order_and_late_is_never_before_due(
    triggers: list[Dates], is_all: bool, until: date | None, wanted_by: date
) -> None:
    found = service_dates(triggers, is_all=is_all, postponed_to=until, wanted_by=wanted_by)
    assert found.window_from <= found.due_10 <= found.due_date <= found.due_90
    assert found.due_date <= found.late_date
    assert found.is_past_due or not found.is_past_tolerance


@given(services, st.booleans(), days_here)
def test_put_off_is_never_earlier_and_wanted_sooner_never_later(
    triggers: list[Dates], is_all: bool, day: date
) -> None:
    own = service_dates(triggers, is_all=is_all)
    put_off = service_dates(triggers, is_all=is_all, postponed_to=day)
    wanted = service_dates(triggers, is_all=is_all, wanted_by=day)
    for name in DATES:
        assert getattr(put_off, name) == max(getattr(own, name), day)
        assert getattr(wanted, name) <= getattr(own, name)
    assert wanted.due_date == min(own.due_date, day)
    assert (wanted.late_date, wanted.is_past_tolerance) == (own.late_date, own.is_past_tolerance)


@given(st.lists(st.tuples(services, st.booleans(), st.none() | days_here, days_here), max_size=5))
def test_many_rows_come_out_as_each_would_alone(
    rows: list[tuple[list[Dates], bool, date | None, date]],
) -> None:
    starts = np.cumsum([0, *(len(triggers) for triggers, *_ in rows)])[: len(rows)]
    together = combine(
        columns_of(each for triggers, *_ in rows for each in triggers),
        starts=starts,
        is_all=np.array([is_all for _, is_all, *_ in rows], dtype=np.bool_),
    )
    together = postpone(
        together,
        until=np.array([NOT_POSTPONED if off is None else off.toordinal() for *_, off, _ in rows]),
    )
    together = bring_forward(
        together, wanted_by=np.array([wanted.toordinal() for *_, wanted in rows], dtype=np.int64)
    )
    assert dates_of(together) == [
        service_dates(triggers, is_all=is_all, postponed_to=off, wanted_by=wanted)
        for triggers, is_all, off, wanted in rows
    ]
    assert FAR_DATE.toordinal() == FAR


services_of_time = st.lists(
    st.tuples(
        st.one_of(
            st.builds(Every, days=st.integers(1, 400)), st.builds(Every, months=st.integers(1, 15))
        ),
        st.sampled_from([Decimal(0), Decimal("0.1"), Decimal("0.33")]),
    ),
    min_size=1,
    max_size=3,
)


@given(
    services_of_time,
    st.booleans(),
    st.booleans(),
    st.dates(date(2024, 1, 1), date(2026, 1, 1)),
    st.integers(0, 900),
    st.none() | st.dates(date(2024, 1, 1), date(2028, 1, 1)),
    st.none() | st.integers(0, 900),
)
def test_a_renewal_never_makes_a_date_earlier_nested_fixed_floating_or_put_off(
    triggers: list[tuple[Every, Decimal]],
    is_all: bool,
    is_fixed: bool,
    before: date,
    later: int,
    until: date | None,
    done_again: int | None,
) -> None:
    """What is compared: a service of several triggers of time, counted from the doing before.

    Without the renewal it stands where that left it. With it - by itself, or within a bigger
    service on the same day, which records the same - it is never due earlier; done once more,
    neither. Put off to a day, the renewal ends that: then it is compared with the dates that its
    own triggers gave, since to put off is no interval.
    """

    def dates(counts_from: date) -> Dates:
        return service_dates(
            [
                by_calendar(counts_from=counts_from, every=every, early=early, anchor=before)
                if is_fixed
                else by_calendar(counts_from=counts_from, every=every, early=early)
                for every, early in triggers
            ],
            is_all=is_all,
        )

    def renewed(counts_from: date, done_on: date) -> date:
        if not is_fixed:
            return done_on
        every, early = triggers[0]
        return renew_fixed(
            counts_from=counts_from, every=every, done_on=done_on, early=early, anchor=before
        ).satisfied

    done_on = before + timedelta(days=later)
    first = renewed(before, done_on)
    assert dates(first).due_date >= dates(before).due_date
    if done_again is not None:
        second = renewed(first, done_on + timedelta(days=done_again))
        assert dates(second).due_date >= dates(first).due_date
    if until is not None:
        put_off = service_dates([dates(before)], is_all=False, postponed_to=until)
        assert put_off.due_date >= dates(before).due_date
