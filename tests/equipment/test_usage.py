"""The mean rate of use."""

from datetime import UTC, datetime, timedelta
from decimal import Decimal

import pytest

from equipment.counters import Total
from equipment.usage import mean_rate_per_day, recent_rate_per_day, window_start

BEGAN = datetime(2025, 1, 1, 8, 0, tzinfo=UTC)


def total(day: float, amount: int | str) -> Total:
    return Total(at=BEGAN + timedelta(days=day), total=Decimal(amount), at_least=False)


def test_the_mean_rate_of_irregular_readings() -> None:
    # worked_examples.json, A08: drift = (X_n − X_0) / (t_n − t_0) = (300 − 120) / 25 = 7.2
    # (standard result; e.g. Whitmore 1995, Lifetime Data Analysis 1, 307-319).
    series = zip([0, 3, 10, 11, 18, 25], [120, 141, 190, 199, 240, 300], strict=True)
    assert recent_rate_per_day([total(day, amount) for day, amount in series]) == Decimal("7.2")


def test_only_the_last_ninety_days_count() -> None:
    # Idle until day 100, then 2 a day; the window of 90 days to day 200 begins on day 110.
    history = [total(0, 0), total(100, 0), total(150, 100), total(200, 200)]
    assert recent_rate_per_day(history) == 2


def test_the_window_cuts_a_gap_between_readings() -> None:
    # From 0 on day 0 to 300 on day 100 is 3 a day, so 30 by day 10, where the window begins.
    history = [total(0, 0), total(100, 300)]
    assert recent_rate_per_day(history) == 3


def test_an_idle_rig_has_a_rate_of_zero() -> None:
    assert recent_rate_per_day([total(0, 5), total(30, 5)]) == 0


@pytest.mark.parametrize("history", [[], [total(0, 5)], [total(0, 5), total(6.9, 20)]])
def test_too_little_history_has_no_rate(history: list[Total]) -> None:
    assert recent_rate_per_day(history) is None


def test_seven_days_are_enough() -> None:
    assert mean_rate_per_day(earlier=total(0, 0), later=total(7, 70)) == 10


def test_no_time_no_rate() -> None:
    assert mean_rate_per_day(earlier=total(3, 0), later=total(3, 70)) is None


def test_a_life_that_falls_is_refused() -> None:
    with pytest.raises(ValueError, match="cannot fall"):
        mean_rate_per_day(earlier=total(0, 10), later=total(30, 9))


def test_the_window() -> None:
    assert window_start(later_at=BEGAN) == BEGAN - timedelta(days=90)
    with pytest.raises(ValueError, match="at least one day"):
        window_start(later_at=BEGAN, days=0)
