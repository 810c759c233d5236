"""Intermittent demand: by hand, and what holds for any series.

Published figures: the forms `intermittent_demand` of the worked examples.
"""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.intermittent import (
    ERRATIC,
    INTERMITTENT,
    LUMPY,
    SMOOTH,
    Pattern,
    croston,
    fading,
    pattern,
)

weights = st.floats(min_value=0.01, max_value=1)
series = st.lists(st.integers(0, 50), min_size=1, max_size=40)


def test_croston_by_hand() -> None:
    # 0 0 4 0 2: begins with 4 every 3; then 4 + 0.5 (2 − 4) = 3 every 3 + 0.5 (2 − 3) = 2.5.
    found = croston([0, 0, 4, 0, 2], weight=0.5)
    assert (found.size, found.interval) == (3, 2.5)
    assert found.per_period == pytest.approx(1.2)
    assert found.per_period_corrected == pytest.approx(0.9)  # 1.2 × (1 − 0.5 / 2)


def test_fading_by_hand() -> None:
    # 0 4 0: chance 0, then 0.5, then 0.25; size 4.
    assert fading([0, 4, 0], size_weight=0.2, chance_weight=0.5) == pytest.approx(1.0)


@given(series, weights, st.integers(1, 20))
def test_croston_stands_still_without_demand_and_the_other_fades(
    demand: list[int], weight: float, zeros: int
) -> None:
    after = [*demand, *[0] * zeros]
    before = croston(demand, weight=weight)
    assert croston(after, weight=weight) == before
    faded = fading(after, size_weight=weight, chance_weight=weight)
    kept = fading(demand, size_weight=weight, chance_weight=weight)
    assert faded == pytest.approx(kept * (1 - weight) ** zeros, rel=1e-9, abs=1e-300)


@given(st.integers(1, 50), st.integers(1, 9), st.integers(1, 6), weights)
def test_regular_demand_is_seen_as_it_is(
    size: int, interval: int, times: int, weight: float
) -> None:
    demand = ([0] * (interval - 1) + [size]) * times
    assert croston(demand, weight=weight).per_period == pytest.approx(size / interval)
    assert pattern(demand) == Pattern(periods_per_demand=interval, squared_variation=0)


@given(series, weights, weights, st.integers(2, 9))
def test_twice_the_demand_is_twice_the_estimate(
    demand: list[int], weight: float, other: float, times: int
) -> None:
    more = [asked * times for asked in demand]
    assert croston(more, weight=weight).per_period == pytest.approx(
        times * croston(demand, weight=weight).per_period
    )
    assert fading(more, size_weight=weight, chance_weight=other) == pytest.approx(
        times * fading(demand, size_weight=weight, chance_weight=other)
    )


def test_nothing_was_ever_asked_for() -> None:
    found = croston([0, 0, 0], weight=0.1)
    assert (found.per_period, found.per_period_corrected) == (0, 0)
    assert fading([0, 0, 0], size_weight=0.1, chance_weight=0.1) == 0
    assert pattern([0, 0]) == Pattern(periods_per_demand=math.inf, squared_variation=0)


@pytest.mark.parametrize(
    ("interval", "variation", "kind"),
    [
        (1.32, 0.49, SMOOTH),
        (1.33, 0.49, INTERMITTENT),
        (1.32, 0.5, ERRATIC),
        (1.33, 0.5, LUMPY),
    ],
)
def test_kinds_of_demand_and_their_limits(interval: float, variation: float, kind: str) -> None:
    # Limits 1.32 and 0.49: Syntetos, Boylan and Croston, 2005.
    assert Pattern(periods_per_demand=interval, squared_variation=variation).kind == kind


@pytest.mark.parametrize("demand", [[], [1, -1], [math.inf], [math.nan]])
def test_what_is_no_demand_is_refused(demand: list[float]) -> None:
    with pytest.raises(ValueError, match="Demand"):
        croston(demand, weight=0.1)
    with pytest.raises(ValueError, match="Demand"):
        fading(demand, size_weight=0.1, chance_weight=0.1)
    with pytest.raises(ValueError, match="Demand"):
        pattern(demand)


@pytest.mark.parametrize("weight", [0, 1.1, -0.1, math.nan])
def test_what_is_no_weight_is_refused(weight: float) -> None:
    with pytest.raises(ValueError, match="weight"):
        croston([1], weight=weight)
    with pytest.raises(ValueError, match="weight"):
        fading([1], size_weight=0.1, chance_weight=weight)
