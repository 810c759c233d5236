"""Due dates: cases worked by hand with the arithmetic shown, and properties."""

from datetime import date, timedelta
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from equipment.due import (
    CLEAR,
    DAYS,
    DUE,
    FAR_DATE,
    GALLONS,
    HOURS,
    LONGEST_LOOK_BACK_DAYS,
    OVERDUE,
    SOON,
    STROKES,
    DayTrigger,
    Trigger,
    UseTrigger,
    first_due,
    state,
    trigger_date,
)

READ_ON = date(2025, 3, 3)
TENTH = Decimal("0.1")


def use(
    measure: str = HOURS,
    *,
    interval: str | int,
    since: str | int,
    rate: str | None,
    read_on: date = READ_ON,
) -> UseTrigger:
    return UseTrigger(
        measure=measure,
        interval=Decimal(interval),
        since=Decimal(since),
        rate_per_day=None if rate is None else Decimal(rate),
        read_on=read_on,
    )


# One trigger.


def test_a_day_begun_is_the_day_it_falls_due() -> None:
    # 1,000,000 − 690,000 = 310,000 strokes left; ÷ 21,000 a day = 14.76 days,
    # so reached during day 15: 3 March + 15 = 18 March.
    # With 10 %: 410,000 left; ÷ 21,000 = 19.52, so day 20: 23 March.
    found = trigger_date(
        use(STROKES, interval=1_000_000, since=690_000, rate="21000"), tolerance=TENTH
    )
    assert found.due_date == date(2025, 3, 18)
    assert found.late_date == date(2025, 3, 23)
    assert found.days_to_due == pytest.approx(310 / 21)
    assert (found.is_past_due, found.is_past_tolerance) == (False, False)


def test_whole_days_are_not_rounded_up() -> None:
    # 250 − 190 = 60 h left; ÷ 4 h a day = 15 days exactly: 18 March, not 19.
    found = trigger_date(use(interval=250, since=190, rate="4"), tolerance=Decimal(0))
    assert found.due_date == date(2025, 3, 18)
    assert found.late_date == found.due_date


def test_reached_on_the_day_read() -> None:
    found = trigger_date(use(interval=250, since=250, rate="4"), tolerance=TENTH)
    # 25 h of tolerance left; ÷ 4 = 6.25, so day 7: 10 March.
    assert (found.due_date, found.late_date) == (READ_ON, date(2025, 3, 10))
    assert (found.is_past_due, found.is_past_tolerance) == (True, False)


def test_crossed_before_the_day_read() -> None:
    # 262 − 250 = 12 h over; ÷ 4 = 3 days ago: 28 February.
    found = trigger_date(use(interval=250, since=262, rate="4"), tolerance=TENTH)
    assert found.due_date == date(2025, 2, 28)
    assert found.days_to_due == -3
    # 10 h over at 4 a day: 2.5 days ago, so during the day two days ago.
    assert trigger_date(use(interval=250, since=260, rate="4"), tolerance=TENTH).due_date == date(
        2025, 3, 1
    )


def test_past_the_tolerance() -> None:
    # 250 × 1.1 = 275; at 275 it is used up, above it exceeded.
    at_limit = trigger_date(use(interval=250, since=275, rate="4"), tolerance=TENTH)
    above = trigger_date(use(interval=250, since="275.1", rate="4"), tolerance=TENTH)
    assert (at_limit.is_past_tolerance, at_limit.late_date) == (False, READ_ON)
    assert (above.is_past_tolerance, above.late_date) == (True, READ_ON)


@pytest.mark.parametrize("rate", [None, "0"])
def test_no_use_known_no_date(rate: str | None) -> None:
    found = trigger_date(use(interval=250, since=249, rate=rate), tolerance=TENTH)
    assert (found.due_date, found.late_date, found.days_to_due) == (FAR_DATE, FAR_DATE, None)
    assert not found.is_past_due


@pytest.mark.parametrize("rate", [None, "0"])
def test_past_for_certain_even_when_no_use_is_known(rate: str | None) -> None:
    found = trigger_date(use(interval=250, since=260, rate=rate), tolerance=TENTH)
    assert (found.due_date, found.late_date) == (READ_ON, FAR_DATE)
    assert (found.is_past_due, found.is_past_tolerance) == (True, False)


def test_dates_stay_within_bounds() -> None:
    slow = use(interval=250, since=0, rate="0.00001")
    assert trigger_date(slow, tolerance=TENTH).due_date == FAR_DATE
    long_over = use(interval=1, since=250, rate="0.00001")
    assert trigger_date(long_over, tolerance=TENTH).due_date == READ_ON - timedelta(
        days=LONGEST_LOOK_BACK_DAYS
    )


def test_a_calendar_trigger() -> None:
    # 15 January + 90 days: 16 left in January, 28 in February, 31 in March are 75; 15 April.
    # 10 % of 90 is 9 days: 24 April.
    found = trigger_date(
        DayTrigger(interval_days=90, renewed_on=date(2025, 1, 15)), tolerance=TENTH
    )
    assert (found.due_date, found.late_date) == (date(2025, 4, 15), date(2025, 4, 24))
    assert (found.measure, found.is_past_due, found.is_past_tolerance) == (DAYS, False, False)


def test_a_part_of_a_day_of_tolerance_is_not_given() -> None:
    # 10 % of 7 days is 0.7 of a day.
    found = trigger_date(DayTrigger(interval_days=7, renewed_on=READ_ON), tolerance=TENTH)
    assert found.late_date == found.due_date == date(2025, 3, 10)


# Whichever falls first.


def test_four_triggers_whichever_falls_first() -> None:
    # worked_examples.json, F06, by hand from 3 March 2025:
    #   hours      90 / 5.5        = 16.36 → day 17, 20 March
    #   gallons    2,400 / 130     = 18.46 → day 19, 22 March
    #   strokes    310,000 / 21,000 = 14.76 → day 15, 18 March   ← first
    #   days       21              → 24 March
    found = first_due(
        [
            use(HOURS, interval=250, since=160, rate="5.5"),
            use(GALLONS, interval=6000, since=3600, rate="130"),
            use(STROKES, interval=1_000_000, since=690_000, rate="21000"),
            DayTrigger(interval_days=90, renewed_on=date(2024, 12, 24)),
        ],
        tolerance=Decimal(0),
    )
    assert [each.due_date.day for each in found.all] == [20, 22, 18, 24]
    assert (found.lead.measure, found.due_date) == (STROKES, date(2025, 3, 18))


def test_the_one_late_first_need_not_be_the_one_due_first() -> None:
    # Tolerance 10 %.
    #   hours: 1,000 − 960 = 40 left; ÷ 4 = 10 → 13 March. Late: 140 ÷ 4 = 35 → 7 April.
    #   days:  renewed 3 January, 75 days → 19 March. Late: 75 + 7 = 82 → 26 March.
    found = first_due(
        [
            use(HOURS, interval=1000, since=960, rate="4"),
            DayTrigger(interval_days=75, renewed_on=date(2025, 1, 3)),
        ],
        tolerance=TENTH,
    )
    assert (found.lead.measure, found.due_date) == (HOURS, date(2025, 3, 13))
    assert found.late_date == date(2025, 3, 26)


def test_an_idle_rig_still_falls_due_by_the_calendar() -> None:
    # No use: hours have no date; 365 days from 1 June 2024 are 1 June 2025 (no 29 February).
    found = first_due(
        [
            use(HOURS, interval=250, since=10, rate="0"),
            DayTrigger(interval_days=365, renewed_on=date(2024, 6, 1)),
        ],
        tolerance=Decimal(0),
    )
    assert (found.lead.measure, found.due_date) == (DAYS, date(2025, 6, 1))


def test_one_certain_trigger_is_enough() -> None:
    # gallons: 6,500 is past 6,000 but not past 6,600; strokes: 1.2 million is past 1.1 million.
    found = first_due(
        [
            use(GALLONS, interval=6000, since=6500, rate=None),
            use(STROKES, interval=1_000_000, since=1_200_000, rate=None),
            DayTrigger(interval_days=90, renewed_on=READ_ON),
        ],
        tolerance=TENTH,
    )
    assert (found.is_past_due, found.is_past_tolerance) == (True, True)
    assert [each.is_past_tolerance for each in found.all] == [False, True, False]
    # Both were read past on the same day; the first given leads.
    assert found.lead.measure == GALLONS


def test_of_two_on_one_day_the_earlier_moment_leads() -> None:
    # hours 58 / 4 = 14.5, strokes 59 / 4 = 14.75: both during day 15.
    hours = use(HOURS, interval=58, since=0, rate="4")
    strokes = use(STROKES, interval=59, since=0, rate="4")
    for order in ([hours, strokes], [strokes, hours]):
        assert first_due(order, tolerance=Decimal(0)).lead.measure == HOURS


def test_of_two_at_one_moment_the_first_given_leads() -> None:
    hours = use(HOURS, interval=60, since=0, rate="4")
    days = DayTrigger(interval_days=15, renewed_on=READ_ON)
    assert first_due([hours, days], tolerance=Decimal(0)).lead.measure == HOURS
    assert first_due([days, hours], tolerance=Decimal(0)).lead.measure == DAYS


# Refusals.


@pytest.mark.parametrize(
    ("trigger", "words"),
    [
        (use(interval=0, since=0, rate="1"), "interval must be above zero"),
        (use(interval=1, since=-1, rate="1"), "life since the last renewal"),
        (use(interval=1, since=0, rate="-1"), "rate of use"),
        (use("miles", interval=1, since=0, rate="1"), "Unknown measure"),
        (use(DAYS, interval=1, since=0, rate="1"), "Unknown measure"),
        (DayTrigger(interval_days=0, renewed_on=READ_ON), "at least one day"),
    ],
)
def test_nonsense_is_refused(trigger: Trigger, words: str) -> None:
    with pytest.raises(ValueError, match=words):
        trigger_date(trigger, tolerance=TENTH)


def test_a_negative_tolerance_and_no_trigger_are_refused() -> None:
    with pytest.raises(ValueError, match="tolerance"):
        trigger_date(use(interval=1, since=0, rate="1"), tolerance=Decimal("-0.1"))
    with pytest.raises(ValueError, match="at least one trigger"):
        first_due([], tolerance=TENTH)


# The words.

DUE_ON, LATE_ON = date(2025, 4, 15), date(2025, 4, 24)


@pytest.mark.parametrize(
    ("today", "word"),
    [
        (date(2025, 4, 7), CLEAR),
        (date(2025, 4, 8), SOON),  # 7 days of warning
        (date(2025, 4, 14), SOON),
        (date(2025, 4, 15), DUE),
        (date(2025, 4, 24), DUE),
        (date(2025, 4, 25), OVERDUE),
    ],
)
def test_the_words_by_the_calendar(today: date, word: str) -> None:
    assert (
        state(
            due_date=DUE_ON,
            late_date=LATE_ON,
            is_past_due=False,
            is_past_tolerance=False,
            today=today,
            warning_days=7,
        )
        == word
    )


@pytest.mark.parametrize(
    ("is_past_due", "is_past_tolerance", "word"),
    [(False, False, CLEAR), (True, False, DUE), (True, True, OVERDUE)],
)
def test_what_is_certain_does_not_wait_for_a_date(
    is_past_due: bool, is_past_tolerance: bool, word: str
) -> None:
    assert (
        state(
            due_date=FAR_DATE,
            late_date=FAR_DATE,
            is_past_due=is_past_due,
            is_past_tolerance=is_past_tolerance,
            today=READ_ON,
            warning_days=7,
        )
        == word
    )


def test_a_negative_warning_is_refused() -> None:
    with pytest.raises(ValueError, match="warning"):
        state(
            due_date=DUE_ON,
            late_date=LATE_ON,
            is_past_due=False,
            is_past_tolerance=False,
            today=READ_ON,
            warning_days=-1,
        )


# Properties.

positive = st.decimals("0.01", "100000", places=2)
rates = st.none() | st.decimals("0", "1000", places=2)
tolerances = st.decimals("0", "0.5", places=2)
use_triggers = st.builds(
    UseTrigger,
    measure=st.sampled_from([HOURS, STROKES, GALLONS]),
    interval=positive,
    since=st.decimals("0", "200000", places=2),
    rate_per_day=rates,
    read_on=st.dates(date(2020, 1, 1), date(2030, 1, 1)),
)
day_triggers = st.builds(
    DayTrigger,
    interval_days=st.integers(1, 4000),
    renewed_on=st.dates(date(2020, 1, 1), date(2030, 1, 1)),
)


@given(use_triggers, positive, tolerances)
def test_a_larger_interval_never_falls_earlier(
    trigger: UseTrigger, more: Decimal, tolerance: Decimal
) -> None:
    larger = UseTrigger(
        measure=trigger.measure,
        interval=trigger.interval + more,
        since=trigger.since,
        rate_per_day=trigger.rate_per_day,
        read_on=trigger.read_on,
    )
    small, large = (trigger_date(each, tolerance=tolerance) for each in (trigger, larger))
    assert large.due_date >= small.due_date
    assert large.late_date >= small.late_date
    assert not (large.is_past_due and not small.is_past_due)


@given(st.lists(use_triggers | day_triggers, min_size=1, max_size=4), tolerances)
def test_the_first_is_never_later_than_any_and_late_never_before_due(
    triggers: list[Trigger], tolerance: Decimal
) -> None:
    found = first_due(triggers, tolerance=tolerance)
    for each in found.all:
        assert found.due_date <= each.due_date <= each.late_date
    assert found.due_date == found.lead.due_date
    assert found.late_date >= found.due_date


@given(
    st.lists(use_triggers | day_triggers, min_size=1, max_size=4),
    tolerances,
    st.dates(date(2020, 1, 1), date(2035, 1, 1)),
    st.integers(0, 400),
    st.integers(0, 60),
)
def test_a_state_only_gets_graver_as_days_pass(
    triggers: list[Trigger], tolerance: Decimal, today: date, passed: int, warning_days: int
) -> None:
    found = first_due(triggers, tolerance=tolerance)
    grave = [CLEAR, SOON, DUE, OVERDUE]

    def on(day: date) -> int:
        return grave.index(
            state(
                due_date=found.due_date,
                late_date=found.late_date,
                is_past_due=found.is_past_due,
                is_past_tolerance=found.is_past_tolerance,
                today=day,
                warning_days=warning_days,
            )
        )

    assert on(today) <= on(today + timedelta(days=passed))
