"""Robust trends against scipy and by hand, and what holds for any values."""

import math
from itertools import permutations

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy import stats

from equipment import trends
from equipment.trends import (
    AWAY,
    HEADING,
    PAST,
    TOO_FEW,
    UNSURE,
    Heading,
    RobustLine,
    heading_to,
    mann_kendall,
    pairwise_slopes,
    theil_sen,
    trend_to_limit,
)

# The published examples of the line, of the day at a limit and of the test are run by
# tests/reference from worked_examples.json, E04, E05 and E06; here stands what they do not show.

# Few different figures, so that equal ones are met; whole, so that the arithmetic is exact.
FIGURES = st.integers(min_value=-50, max_value=50).map(float)
POINTS = st.lists(st.tuples(FIGURES, FIGURES), min_size=5, max_size=25).filter(
    lambda points: len({time for time, _ in points}) > 1
)
CONFIDENCES = st.sampled_from([0.8, 0.9, 0.95, 0.99])
Points = list[tuple[float, float]]


def line_of(points: Points, confidence: float = 0.95) -> RobustLine:
    times, values = zip(*points, strict=True)
    return theil_sen(times=times, values=values, confidence=confidence)


def heading_of(points: Points, *, low: float | None = None, high: float | None = None) -> Heading:
    times, values = zip(*points, strict=True)
    return heading_to(times=times, values=values, low=low, high=high)


@given(points=POINTS, confidence=CONFIDENCES)
def test_line_and_bounds_are_those_of_scipy(points: Points, confidence: float) -> None:
    times, values = zip(*points, strict=True)
    # With both equal times and equal values scipy leaves out what equation 4.4 adds.
    assume(len(set(times)) == len(times) or len(set(values)) == len(values))
    line = theil_sen(times=times, values=values, confidence=confidence)
    theirs = stats.theilslopes(values, times, alpha=confidence, method="separate")
    assert line.slope == pytest.approx(theirs.slope)
    assert line.intercept == pytest.approx(theirs.intercept, abs=1e-9)
    # Where the rank lies outside, scipy gives the outermost slope; that is no bound so sure.
    outermost = pairwise_slopes(times=times, values=values)
    lower = outermost[0] if line.lower == -math.inf else line.lower
    upper = outermost[-1] if line.upper == math.inf else line.upper
    assert (lower, upper) == pytest.approx((theirs.low_slope, theirs.high_slope))


def test_four_values_give_no_bounds() -> None:
    """Of the 24 orders of four values 2 rise or fall throughout: 8 %, more than 5 %."""
    line = line_of([(0, 1), (1, 2), (2, 3), (3, 4)])
    assert (line.slope, line.lower, line.upper) == (1, -math.inf, math.inf)


def test_five_values_are_a_trend_only_when_all_pairs_rise() -> None:
    """Of the 120 orders of five values 2 do, 1.7 %; 8 more have one pair that falls, 8.3 %."""
    assert line_of([(0, 1), (1, 2), (2, 3), (3, 4), (4, 5)]).lower > 0
    assert line_of([(0, 1), (1, 2), (2, 3), (3, 5), (4, 4)]).lower < 0


@pytest.mark.parametrize("count", [5, 6, 7])
def test_bounds_say_a_trend_in_no_more_orders_than_their_confidence_allows(count: int) -> None:
    """Counted out over every order of so many values."""
    times = [float(each) for each in range(count)]
    orders = list(permutations(times))
    sure = 0
    for values in orders:
        line = theil_sen(times=times, values=values)
        sure += not line.lower <= 0 <= line.upper
    assert 0 < sure / len(orders) <= 0.05


@given(points=POINTS)
def test_the_order_in_which_values_are_given_does_not_matter(points: Points) -> None:
    assert line_of(points[::-1]) == line_of(points)


@given(points=POINTS, days=FIGURES, up=FIGURES)
def test_moved_in_time_and_value_the_slope_stays(points: Points, days: float, up: float) -> None:
    line, moved = line_of(points), line_of([(time + days, value + up) for time, value in points])
    assert (moved.slope, moved.lower, moved.upper) == (line.slope, line.lower, line.upper)
    assert moved.at(days) == pytest.approx(line.intercept + up, abs=1e-9)


@given(points=POINTS, scale=st.sampled_from([0.5, 2.0, 8.0]))
def test_in_another_unit_the_slope_is_in_that_unit(points: Points, scale: float) -> None:
    line, scaled = line_of(points), line_of([(time, value * scale) for time, value in points])
    assert (scaled.slope, scaled.lower, scaled.upper) == (
        line.slope * scale,
        line.lower * scale,
        line.upper * scale,
    )


@given(points=POINTS)
def test_turned_upside_down_so_is_the_line(points: Points) -> None:
    line, turned = line_of(points), line_of([(time, -value) for time, value in points])
    assert (turned.slope, turned.lower, turned.upper) == (-line.slope, -line.upper, -line.lower)


@given(points=POINTS, wild=st.floats(min_value=-1e6, max_value=1e6))
def test_one_wild_value_keeps_the_slope_between_its_bounds(points: Points, wild: float) -> None:
    """The slope of what is left lies among the slopes with it, whatever it is."""
    distinct = sorted(dict(points).items())
    assume(len(distinct) >= 9)
    others = line_of(distinct[1:])
    slopes = pairwise_slopes(
        times=[time for time, _ in distinct[1:]], values=[value for _, value in distinct[1:]]
    )
    with_it = line_of([(distinct[0][0], wild), *distinct[1:]])
    assert slopes[0] <= with_it.slope <= slopes[-1]
    assert others.lower <= others.slope <= others.upper


@given(values=st.lists(FIGURES, min_size=2, max_size=40))
def test_the_score_is_that_of_scipy(values: list[float]) -> None:
    found = mann_kendall(values)
    theirs = stats.kendalltau(range(len(values)), values, variant="c").statistic
    distinct = len(set(values))
    # tau-c = 2 S m / (n² (m − 1)), m: the fewer of the different values of either side.
    expected = 0.0 if distinct == 1 else theirs * len(values) ** 2 * (distinct - 1) / distinct / 2
    assert found.score == pytest.approx(expected, abs=1e-6)


@given(values=st.lists(st.integers(-1000, 1000), min_size=2, max_size=30, unique=True))
def test_the_exact_chance_is_that_of_scipy(values: list[int]) -> None:
    theirs = stats.kendalltau(range(len(values)), values, method="exact").pvalue
    assert mann_kendall([float(each) for each in values]).p_exact == pytest.approx(theirs)


@given(values=st.lists(FIGURES, min_size=3, max_size=40))
def test_the_variance_with_equal_values_is_that_of_scipy(values: list[float]) -> None:
    """scipy's asymptotic chance is of the score without the step of one towards zero."""
    found = mann_kendall(values)
    theirs = stats.kendalltau(range(len(values)), values, method="asymptotic").pvalue
    if not found.variance:
        assert (len(set(values)), found.z, found.p_normal) == (1, 0, 1)
        return
    z = found.score / math.sqrt(found.variance)
    assert math.erfc(abs(z) / math.sqrt(2)) == pytest.approx(theirs)
    assert abs(found.z) == pytest.approx(max(abs(found.score) - 1, 0) / math.sqrt(found.variance))


@pytest.mark.parametrize("values", [(1, 2, 3, 4, 5), (1, 1, 2, 2, 2), (3, 3, 3, 3, 3)])
@pytest.mark.parametrize("times", [(1, 2, 3, 4, 5), (1, 1, 2, 2, 2), (1, 1, 1, 1, 2)])
def test_the_variance_is_that_over_all_orders(
    times: tuple[int, ...], values: tuple[int, ...]
) -> None:
    def score(order: tuple[int, ...]) -> int:
        points = list(zip(times, order, strict=True))
        turns = [
            (later[0] - time) * (later[1] - value)
            for place, (time, value) in enumerate(points)
            for later in points[place + 1 :]
        ]
        return sum((each > 0) - (each < 0) for each in turns)

    scores = [score(order) for order in permutations(values)]
    # Without a trend the mean is zero.
    assert sum(scores) == 0
    expected = sum(each**2 for each in scores) / len(scores)
    found = trends._variance(5, runs_of(times), runs_of(values))
    assert found == pytest.approx(expected)


def runs_of(figures: tuple[int, ...]) -> list[int]:
    return [figures.count(each) for each in set(figures) if figures.count(each) > 1]


def test_a_test_of_many_or_equal_values_has_no_exact_chance() -> None:
    assert mann_kendall([1, 2, 2]).p_exact is None
    many = mann_kendall([float(each) for each in range(trends.EXACT_UP_TO + 1)])
    assert many.p_exact is None
    assert many.p == many.p_normal
    few = mann_kendall([1, 2, 3])
    assert few.p == few.p_exact == pytest.approx(2 / 6)


def test_a_falling_line_meets_a_limit_below() -> None:
    line = RobustLine(slope=-2, lower=-4, upper=-1, middle_time=10, middle_value=100)
    meets = trend_to_limit(line=line, limit=80)
    assert (meets.at, meets.earliest, meets.latest) == (20, 15, 30)
    met = trend_to_limit(line=line, limit=120)
    assert (met.at, met.earliest, met.latest) == (0, -10, 5)


def test_a_line_that_may_be_flat_may_never_meet_its_limit() -> None:
    line = RobustLine(slope=2, lower=0, upper=4, middle_time=10, middle_value=100)
    ahead, behind = trend_to_limit(line=line, limit=120), trend_to_limit(line=line, limit=80)
    assert (ahead.at, ahead.earliest, ahead.latest) == (20, 15, math.inf)
    assert (behind.at, behind.earliest, behind.latest) == (0, -math.inf, 5)


@pytest.mark.parametrize("limit", [80.0, 120.0])
def test_a_flat_line_never_meets_a_limit(limit: float) -> None:
    line = RobustLine(slope=0, lower=-1, upper=1, middle_time=10, middle_value=100)
    meets = trend_to_limit(line=line, limit=limit)
    assert (meets.at, meets.earliest, meets.latest) == (math.inf, 30, math.inf)


@given(points=POINTS, limit=FIGURES)
def test_the_line_has_the_value_of_the_limit_when_it_meets_it(points: Points, limit: float) -> None:
    line = line_of(points)
    meets = trend_to_limit(line=line, limit=limit)
    assert meets.earliest <= meets.at <= meets.latest
    if math.isfinite(meets.at):
        assert line.at(meets.at) == pytest.approx(limit, abs=1e-6)


RISING: Points = [(0, 30), (7, 31), (14, 32), (21, 33), (28, 34)]


def test_the_last_value_past_a_limit_is_past_it_however_few_there_are() -> None:
    assert heading_of([(0, 39)], high=38).state == PAST
    assert heading_of([(0, 39)], high=39).state == TOO_FEW
    assert heading_of([(0, 1)], low=2, high=9).limit == 2
    assert heading_of([(0, 39), (1, 37)], high=38).state == TOO_FEW
    assert heading_of([(1, 37), (0, 39)], high=38).state == TOO_FEW
    assert heading_of([(1, 37), (1, 39)], high=38).state == PAST


def test_a_sure_trend_meets_its_limit() -> None:
    found = heading_of(RISING, high=38)
    assert (found.state, found.limit) == (HEADING, 38)
    assert found.meets is not None
    assert found.meets.at == found.meets.earliest == found.meets.latest == 56


def test_four_values_are_too_few() -> None:
    assert heading_of(RISING[1:], high=38).state == TOO_FEW


def test_a_trend_that_may_be_none_is_unsure() -> None:
    found = heading_of([*RISING[:3], (21, 34), (28, 33)], high=38)
    assert found.state == UNSURE
    assert found.meets is None
    assert found.line is not None
    assert found.line.slope > 0


def test_a_trend_away_from_the_only_limit_meets_none() -> None:
    assert heading_of(RISING, low=20).state == AWAY
    falling = [(time, -value) for time, value in RISING]
    assert heading_of(falling, high=0).state == AWAY
    assert heading_of(falling, low=-38).state == HEADING


def test_what_was_measured_within_its_limit_meets_it_no_sooner_than_that() -> None:
    """Eleven values rise past the limit, the last stands within it: the line met it long ago."""
    points = [(float(day), 30.0 + day) for day in range(11)] + [(11.0, 33.0)]
    found = heading_of(points, high=34)
    assert found.state == HEADING
    assert found.meets is not None
    assert found.meets.at == 11


def test_values_of_one_moment_have_no_trend() -> None:
    found = heading_of([(3, value) for value in (30, 31, 32, 33, 34)], high=38)
    assert (found.state, found.line) == (TOO_FEW, None)


@given(points=POINTS, limit=FIGURES)
def test_a_limit_above_and_the_same_below_upside_down_say_the_same(
    points: Points, limit: float
) -> None:
    above = heading_of(points, high=limit)
    below = heading_of([(time, -value) for time, value in points], low=-limit)
    assert (above.state, above.meets) == (below.state, below.meets)


@given(points=POINTS, limit=FIGURES, nearer=st.integers(min_value=1, max_value=20))
def test_a_limit_further_away_is_met_no_sooner(points: Points, limit: float, nearer: int) -> None:
    far, near = heading_of(points, high=limit + nearer), heading_of(points, high=limit)
    if far.state == PAST:
        assert near.state == PAST
    if far.meets is not None and near.meets is not None:
        assert near.meets.at <= far.meets.at


@pytest.mark.parametrize(
    ("asked", "words"),
    [
        ({"times": [0, 1], "values": [1]}, "as many times"),
        ({"times": [0], "values": [math.nan]}, "finite"),
        ({"times": [math.inf], "values": [1]}, "finite"),
        ({"times": [], "values": []}, "at least one value"),
        ({"low": 3.0, "high": 2.0}, "below the lower"),
        ({"low": None, "high": None}, "Give a limit"),
        ({"confidence": 1.0}, "between 0 and 1"),
    ],
)
def test_what_makes_no_sense_is_refused(asked: dict[str, object], words: str) -> None:
    sound = {"times": [0, 1, 2, 3, 4], "values": [1, 2, 3, 4, 5], "low": None, "high": 9.0}
    with pytest.raises(ValueError, match=words):
        heading_to(**{**sound, **asked})  # type: ignore[arg-type]


def test_a_line_needs_two_times_and_a_test_two_values() -> None:
    with pytest.raises(ValueError, match="two different times"):
        theil_sen(times=[1, 1], values=[1, 2])
    with pytest.raises(ValueError, match="at least two values"):
        mann_kendall([1])
    with pytest.raises(ValueError, match="finite"):
        trend_to_limit(line=line_of(RISING), limit=math.inf)
