"""How long a service takes: shared by what was planned, learnt by the median. Figures by hand."""

from statistics import median

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shop.planned_minutes import LAST, PRIOR_WEIGHT, Told, learnt, shares, told_text

minutes = st.floats(min_value=1, max_value=2000, allow_nan=False)
several = st.lists(minutes, min_size=1, max_size=LAST)
plans = st.lists(st.integers(min_value=0, max_value=600), min_size=1, max_size=12)


def test_a_sheet_is_shared_by_what_was_planned() -> None:
    # 180 min on a sheet planned at 45 + 90: a third and two thirds.
    assert shares(180, [45, 90]) == pytest.approx([60, 120])


def test_what_was_not_planned_counts_as_the_mean_of_the_others() -> None:
    # Weights 40, 60 and their mean, 50: of 300 min they take 80, 120, 100.
    assert shares(300, [40, 60, 0]) == pytest.approx([80, 120, 100])
    assert shares(90, [0, 0, 0]) == pytest.approx([30, 30, 30])


def test_by_hand() -> None:
    # (4 · 90 + 12 · 95) / 16 = 1500 / 16 = 93.75
    assert learnt([95.0] * 12, asked=90) == 94
    # (4 · 60 + 1 · 160) / 5 = 80
    assert learnt([160.0], asked=60) == 80
    # Median of 70, 100, 500 is 100: (4 · 60 + 3 · 100) / 7 = 77.14
    assert learnt([500.0, 70.0, 100.0], asked=60) == 77
    # Nothing asked: the median alone, from the third on.
    assert learnt([50.0, 70.0], asked=0) is None
    assert learnt([50.0, 70.0, 90.0], asked=0) == 70
    assert learnt([], asked=60) is None
    # Nobody wrote a time: nothing is learnt from it.
    assert learnt([0.0, 0.0], asked=60) is None


def test_less_than_no_time_is_refused() -> None:
    with pytest.raises(ValueError, match="no less"):
        shares(-1, [10])


@given(minutes, plans)
def test_shares_add_up_and_no_service_takes_less_than_nothing(
    whole: float, plan: list[int]
) -> None:
    parts = shares(whole, plan)
    assert sum(parts) == pytest.approx(whole)
    assert min(parts) > 0


@given(minutes, plans)
def test_of_two_services_the_longer_one_gets_more(whole: float, plan: list[int]) -> None:
    parts = shares(whole, plan)
    for a, first in zip(plan, parts, strict=True):
        for b, second in zip(plan, parts, strict=True):
            if a > b > 0:
                assert first > second


@given(several, st.integers(min_value=1, max_value=600))
def test_it_lies_between_what_is_asked_and_the_median(took: list[float], asked: int) -> None:
    planned = learnt(took, asked=asked)
    assert planned is not None
    low, high = sorted([asked, median(took)])
    assert low - 0.5 <= planned <= high + 0.5


@given(several, st.integers(min_value=1, max_value=600), minutes)
def test_one_wild_day_moves_it_no_further_than_to_its_neighbour(
    took: list[float], asked: int, wild: float
) -> None:
    """Replacing one figure by any other keeps the median within the figures next to it."""
    ordered = sorted(took)
    without = ordered[1:] if len(ordered) > 1 else ordered
    planned = learnt([*without, wild], asked=asked)
    assert planned is not None
    n = len(without) + 1
    if len(without) > 1:
        low, high = min(without), max(without)
        bound_low = (PRIOR_WEIGHT * asked + n * low) / (PRIOR_WEIGHT + n)
        bound_high = (PRIOR_WEIGHT * asked + n * high) / (PRIOR_WEIGHT + n)
        assert bound_low - 1 <= planned <= bound_high + 1


@given(several, st.integers(min_value=1, max_value=600))
def test_slower_everywhere_is_never_planned_shorter(took: list[float], asked: int) -> None:
    slower = learnt([each + 10 for each in took], asked=asked)
    plain = learnt(took, asked=asked)
    assert slower is not None
    assert plain is not None
    assert slower >= plain


@given(several, st.integers(min_value=1, max_value=600))
def test_the_order_of_the_doings_says_nothing(took: list[float], asked: int) -> None:
    assert learnt(took, asked=asked) == learnt(took[::-1], asked=asked)


@given(minutes, st.integers(min_value=1, max_value=600))
def test_many_doings_outweigh_what_is_asked(each: float, asked: int) -> None:
    planned = learnt([each] * 400, asked=asked)
    assert planned is not None
    assert abs(planned - each) <= abs(asked - each) * PRIOR_WEIGHT / 404 + 0.5


def test_in_words() -> None:
    took = (70.0, 90.0, 95.0, 95.0, 100.0, 130.0)
    assert told_text(Told(took, found=3, times=7)) == (
        "the last 6 took 70 to 130 min, mostly 95; found work in 3 of 7"
    )
    assert told_text(Told((45.0,), found=0, times=1)) == "the last one took 45 min; nothing found"
    assert (
        told_text(Told((45.0,), found=1, times=1)) == "the last one took 45 min; found work on it"
    )
    assert told_text(Told((60.0, 60.0), found=0, times=2)) == (
        "the last 2 took 60 min; found work in 0 of 2"
    )
    assert told_text(Told((), found=0, times=2)) == (
        "no time was written down; found work in 0 of 2"
    )
    assert told_text(Told((), found=0, times=0)) == "not done on a signed sheet yet"
