"""The robust trend of a measured value, how sure it is, and when it meets a limit.

Times are in days from any one moment, values in one unit; both come in any order. Nothing knows
what day it is. No spread of the values is assumed, and one wild value moves a line little.

Sources: P. K. Sen, "Estimates of the regression coefficient based on Kendall's tau", J. American
Statistical Association 63, 1968 (slope and its bounds); M. Hollander,
D. A. Wolfe and E. Chicken, "Nonparametric Statistical Methods", sections 9.3 and 9.4 (the same by
ranks). The test: H. B. Mann, Econometrica 13, 1945; M. G. Kendall, "Rank Correlation Methods".
All from memory; the tests check them against scipy and published figures.
"""

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import NormalDist
from typing import Final

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

#: How sure the bounds of a trend are that a due date follows. [1]
CONFIDENCE: Final = 0.95
#: Fewer values say nothing of a trend: of four, bounds so sure are no bounds.
FEWEST_VALUES: Final = 5
#: Up to so many values the exact chance is counted out.
EXACT_UP_TO: Final = 30

PAST: Final = "past"
HEADING: Final = "heading"
#: Why there is no date.
TOO_FEW: Final = "too few"
UNSURE: Final = "unsure"
AWAY: Final = "away"


@dataclass(frozen=True, slots=True)
class RobustLine:
    """Theil and Sen's line through values.

    slope: median of the slopes of all pairs. lower, upper: its bounds, lower <= slope <= upper;
        infinite where there are too few values for bounds so sure. [unit / d]
    middle_time: median of the times. [d] middle_value: median of the values. [unit]
    """

    slope: float
    lower: float
    upper: float
    middle_time: float
    middle_value: float

    @property
    def intercept(self) -> float:
        """The value of the line at time 0. [unit]"""
        return self.at(0.0)

    def at(self, time: float) -> float:
        """Return the value of the line at a time. [unit]"""
        return self.middle_value + self.slope * (time - self.middle_time)


@dataclass(frozen=True, slots=True)
class TrendTest:
    """Whether values rise or fall in their order (`mann_kendall`).

    score: pairs that rise less pairs that fall (Kendall's S). variance: of it without a trend.
    z: score in deviations, one nearer zero; 0 without spread.
    p_normal: chance of a score as far from zero, either way, without a trend, by the normal
        distribution. p_exact: counted out; None with equal values or more than EXACT_UP_TO. [1]
    """

    score: int
    variance: float
    z: float
    p_normal: float
    p_exact: float | None

    @property
    def p(self) -> float:
        """The best of both chances. [1]"""
        return self.p_normal if self.p_exact is None else self.p_exact


@dataclass(frozen=True, slots=True)
class Meeting:
    """When a line meets a limit. earliest <= at <= latest. [d]

    Before the values where it has met it; infinite where it never does, or may never.
    earliest, latest: of the lines through its middle that are as steep as its bounds.
    """

    at: float
    earliest: float
    latest: float


@dataclass(frozen=True, slots=True)
class Heading:
    """What values say of their limits (`heading_to`).

    state: PAST: the last value is past a limit; HEADING: the trend meets one; else why there is
        no date: TOO_FEW values, UNSURE whether they rise or fall, or AWAY from the limit given.
    limit: the one that is passed or met; None without. [unit]
    meets: when the trend meets it; only when HEADING, and no earlier than the last value.
    line: their trend; None of too few values or where all were measured at one time.
    """

    state: str
    limit: float | None = None
    meets: Meeting | None = None
    line: RobustLine | None = None


def pairwise_slopes(*, times: Sequence[float], values: Sequence[float]) -> tuple[float, ...]:
    """Return the slopes between any two values of different times, in rising order. [unit / d]

    Raises ValueError where times and values are not as many, or are not finite.
    """
    at, what = _columns(times, values)
    return tuple(_slopes(at, what).tolist())


def theil_sen(
    *, times: Sequence[float], values: Sequence[float], confidence: float = CONFIDENCE
) -> RobustLine:
    """Return the robust line through values, with bounds of its slope.

    slope: the median of the slopes of all pairs; its line runs through the medians of times and of
    values. Bounds: of N slopes in rising order those at ranks M1 and M2 + 1, where M1, M2 =
    (N -+ z √variance(S)) / 2, rounded, S being Kendall's score of n values without a trend:
    variance(S) = n (n−1) (2n+5) / 18, less where times or values are equal (`_variance`).
    confidence: 0 < confidence < 1. [1] (0.95: the bounds hold the true slope 95 times of 100.)
    Raises ValueError outside that range, without two different times, and as `pairwise_slopes`.
    """
    if not 0 < confidence < 1:
        raise ValueError("A confidence lies between 0 and 1.")
    at, what = _columns(times, values)
    slopes = _slopes(at, what)
    count = len(slopes)
    if not count:
        raise ValueError("A line needs values of two different times.")
    z = NormalDist().inv_cdf((1 + confidence) / 2)
    half = z * math.sqrt(_variance(what.size, _runs(at), _runs(what)))
    below, above = round((count - half) / 2), round((count + half) / 2)
    return RobustLine(
        slope=float(np.median(slopes)),
        lower=float(slopes[below - 1]) if below >= 1 else -math.inf,
        upper=float(slopes[above]) if above < count else math.inf,
        middle_time=float(np.median(at)),
        middle_value=float(np.median(what)),
    )


def mann_kendall(values: Sequence[float]) -> TrendTest:
    """Return whether values, in the order of their times, rise or fall more than by chance.

    z = (S −+ 1) / √variance(S), variance as in `theil_sen` (no two times are equal).
    values: at least two. Raises ValueError for fewer, or such as are not finite.
    """
    _, what = _columns(range(len(values)), values)
    if what.size < 2:
        raise ValueError("A trend needs at least two values.")
    later, earlier = np.tril_indices(what.size, -1)
    score = int(np.sign(what[later] - what[earlier]).sum())
    runs = _runs(what)
    variance = _variance(what.size, (), runs)
    z = math.copysign(max(abs(score) - 1, 0) / math.sqrt(variance), score) if variance else 0.0
    is_exact = not runs and what.size <= EXACT_UP_TO
    return TrendTest(
        score=score,
        variance=variance,
        z=z,
        p_normal=math.erfc(abs(z) / math.sqrt(2)),
        p_exact=_exact_chance(what.size, abs(score)) if is_exact else None,
    )


def trend_to_limit(*, line: RobustLine, limit: float) -> Meeting:
    """Return when a line meets a limit, and its bounds do.

    limit: finite. [unit] Raises ValueError otherwise.
    """
    if not math.isfinite(limit):
        raise ValueError("A limit is a finite number.")
    away = limit - line.middle_value
    rises = line.slope > 0 if line.slope else away >= 0
    # How steep it is, and its bounds are, in its own direction.
    steep, shallow = (line.upper, line.lower) if rises else (-line.lower, -line.upper)
    side = 1 if (away >= 0) == rises or not away else -1
    near, at, far = (
        line.middle_time + side * _days_over(abs(away), slope)
        for slope in (steep, abs(line.slope), shallow)
    )
    return Meeting(at=at, earliest=min(near, far), latest=max(near, far))


def heading_to(
    *,
    times: Sequence[float],
    values: Sequence[float],
    low: float | None,
    high: float | None,
    confidence: float = CONFIDENCE,
) -> Heading:
    """Return whether the last value is past a limit, and else whether the trend heads for one.

    low, high: at least one; at the limit itself a value is not past. [unit]
    Heading there: at least FEWEST_VALUES values, and the bound of the slope nearer zero still goes
    that way. A line that met the limit before the last value was measured within it meets it then.
    Of values of one time the one given last is the last.
    Raises ValueError without a limit or a value, with low above high, and as `theil_sen`.
    """
    if low is None and high is None:
        raise ValueError("Give a limit.")
    if low is not None and high is not None and low > high:
        raise ValueError("The upper limit lies below the lower.")
    at, what = _columns(times, values)
    if not what.size:
        raise ValueError("Give at least one value.")
    newest = int(np.lexsort((np.arange(at.size), at))[-1])
    last, last_time = float(what[newest]), float(at[newest])
    line = None
    if what.size >= FEWEST_VALUES and np.ptp(at) > 0:
        line = theil_sen(times=times, values=values, confidence=confidence)
    if low is not None and last < low:
        return Heading(PAST, limit=low, line=line)
    if high is not None and last > high:
        return Heading(PAST, limit=high, line=line)
    if line is None:
        return Heading(TOO_FEW)
    if line.lower <= 0 <= line.upper:
        return Heading(UNSURE, line=line)
    limit = high if line.slope > 0 else low
    if limit is None:
        return Heading(AWAY, line=line)
    meets = trend_to_limit(line=line, limit=limit)
    no_sooner = Meeting(
        *(max(each, last_time) for each in (meets.at, meets.earliest, meets.latest))
    )
    return Heading(HEADING, limit=limit, meets=no_sooner, line=line)


def _columns(times: Sequence[float], values: Sequence[float]) -> tuple[Floats, Floats]:
    if len(times) != len(values):
        raise ValueError("Give as many times as values.")
    at, what = np.array(times, dtype=np.float64), np.array(values, dtype=np.float64)
    if not (np.isfinite(at).all() and np.isfinite(what).all()):
        raise ValueError("Times and values are finite numbers.")
    return at, what


def _slopes(at: Floats, what: Floats) -> Floats:
    later, earlier = np.tril_indices(at.size, -1)
    days, rise = at[later] - at[earlier], what[later] - what[earlier]
    apart = days != 0
    return np.sort(rise[apart] / days[apart])


def _runs(figures: Floats) -> list[int]:
    """How often each figure stands that stands more than once."""
    return [times for times in Counter(figures.tolist()).values() if times > 1]


def _variance(count: int, of_times: Sequence[int], of_values: Sequence[int]) -> float:
    """Variance of Kendall's score of so many values without a trend, with runs of equal times and
    of equal values (Kendall, "Rank Correlation Methods", equation 4.4).
    """

    def pairs(runs: Sequence[int]) -> int:
        return sum(k * (k - 1) for k in runs)

    def threes(runs: Sequence[int]) -> int:
        return sum(k * (k - 1) * (k - 2) for k in runs)

    def all_of(runs: Sequence[int]) -> int:
        return sum(k * (k - 1) * (2 * k + 5) for k in runs)

    found = (all_of([count]) - all_of(of_times) - all_of(of_values)) / 18
    if of_times and of_values:
        found += pairs(of_times) * pairs(of_values) / (2 * pairs([count]))
        found += threes(of_times) * threes(of_values) / (9 * max(threes([count]), 1))
    # All values equal: rounding may leave a trace below or above nothing.
    return 0.0 if count in of_values else found


def _exact_chance(count: int, score: int) -> float:
    """Chance of a score at least so far from zero among all orders of different values.

    Of the orders of n values as many have j pairs that fall as there are ways to choose one of
    0..i for each i < n that add up to j.
    """
    ways = [1]
    for size in range(2, count + 1):
        grown = [0] * (len(ways) + size - 1)
        for falls, of in enumerate(ways):
            for more in range(size):
                grown[falls + more] += of
        ways = grown
    pairs = len(ways) - 1
    far = sum(of for falls, of in enumerate(ways) if abs(pairs - 2 * falls) >= score)
    return far / math.factorial(count)


def _days_over(rise: float, slope: float) -> float:
    """Days in which a slope rises so far; infinite where it does not. rise: >= 0."""
    if not rise:
        return 0.0
    return rise / slope if slope > 0 else math.inf
