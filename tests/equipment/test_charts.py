"""Control charts against the worked examples of a handbook, and at their edges."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from equipment import charts

# The two worked examples of the NIST/SEMATECH e-Handbook (6.3.2.4 and 6.3.2.3) are run by
# tests/reference from worked_examples.json, E01 and E02; here stands what they do not show.

FIGURES = st.lists(st.floats(min_value=-1e3, max_value=1e3), min_size=1, max_size=60)
WEIGHTS = st.floats(min_value=0.01, max_value=1)


def test_with_all_weight_on_the_newest_the_average_is_the_figure() -> None:
    assert charts.ewma([3.0, -1.0, 4.0], weight=1, target=0) == (3.0, -1.0, 4.0)


@given(values=FIGURES, weight=WEIGHTS, target=st.floats(min_value=-1e3, max_value=1e3))
def test_the_average_is_the_weighted_sum_written_out(
    values: list[float], weight: float, target: float
) -> None:
    count = len(values)
    written_out = (1 - weight) ** count * target + sum(
        weight * (1 - weight) ** (count - 1 - place) * value for place, value in enumerate(values)
    )
    assert charts.ewma(values, weight=weight, target=target)[-1] == pytest.approx(
        written_out, abs=1e-6
    )


def test_limits_of_three_deviations_at_full_weight_are_those_of_a_single_figure() -> None:
    assert charts.ewma_limits(target=10, sigma=2, width=3, weight=1) == charts.Limits(4, 16)


def test_on_the_limit_is_quiet() -> None:
    limits = charts.Limits(lower=-1, upper=1)
    assert charts.count_signals([-1.0, 1.0, 1.001, -1.001, 0.0], limits=limits) == 2


@given(values=FIGURES, k=st.floats(min_value=0, max_value=10))
def test_the_two_sums_mirror_each_other(values: list[float], k: float) -> None:
    found = charts.cusum(values, target=0, k=k, h=5)
    mirrored = charts.cusum([-each for each in values], target=0, k=k, h=5)
    assert found.high == pytest.approx(mirrored.low, abs=1e-6)
    assert found.low == pytest.approx(mirrored.high, abs=1e-6)
    assert min(*found.high, *found.low) >= 0


@given(values=FIGURES)
def test_without_an_allowance_the_high_sum_is_the_plain_sum_over_its_lowest_point(
    values: list[float],
) -> None:
    found = charts.cusum(values, target=0, k=0, h=5)
    assert found.high[-1] == pytest.approx(found.total[-1] - min(0, *found.total), abs=1e-6)


def test_a_sum_on_its_limit_is_no_signal() -> None:
    assert charts.cusum([1.0, 1.0], target=0, k=0, h=2).first_signal is None
    found = charts.cusum([-1.0, -1.001], target=0, k=0, h=2)
    assert (found.first_signal, found.side) == (2, charts.LOW)


@given(values=st.lists(st.floats(min_value=-5, max_value=5), min_size=1, max_size=25))
def test_a_change_is_placed_where_a_step_leaves_the_least_squares(values: list[float]) -> None:
    def left(place: int) -> float:
        """Squares left when the mean is 0 before a place, and free from it on."""
        after = values[place:]
        mean = sum(after) / len(after)
        return sum(each**2 for each in values[:place]) + sum((each - mean) ** 2 for each in after)

    totals = charts.cusum(values, target=0, k=0, h=1).total
    found = charts.changed_at(totals, until=len(values) - 1)
    assert left(found) == pytest.approx(min(map(left, range(len(values)))), abs=1e-6)


def test_a_clear_step_is_placed_to_the_figure() -> None:
    totals = charts.cusum([0.4, -0.2, 0.1, 3, 2.5, 3, 0], target=0, k=0, h=1).total
    assert charts.changed_at(totals, until=5) == 3


@pytest.mark.parametrize("until", [-1, 2])
def test_a_place_that_is_none_is_refused(until: int) -> None:
    with pytest.raises(ValueError, match="no such place"):
        charts.changed_at([1.5, 0.0], until=until)


@pytest.mark.parametrize("weight", [0, -0.1, 1.1])
def test_a_weight_outside_its_range_is_refused(weight: float) -> None:
    with pytest.raises(ValueError, match="weight"):
        charts.ewma([1.0], weight=weight, target=0)
    with pytest.raises(ValueError, match="weight"):
        charts.ewma_limits(target=0, sigma=1, width=3, weight=weight)


def test_limits_and_sums_outside_their_ranges_are_refused() -> None:
    with pytest.raises(ValueError, match="spread"):
        charts.ewma_limits(target=0, sigma=-1, width=3, weight=0.2)
    with pytest.raises(ValueError, match="spread"):
        charts.ewma_limits(target=0, sigma=1, width=0, weight=0.2)
    with pytest.raises(ValueError, match="allowance"):
        charts.cusum([1.0], target=0, k=-1, h=1)
    with pytest.raises(ValueError, match="allowance"):
        charts.cusum([1.0], target=0, k=0, h=0)
