"""Control charts of one row of figures: the moving average and the cumulative sum.

Sources: NIST/SEMATECH e-Handbook of Statistical Methods, sections 6.3.2.4 (EWMA) and 6.3.2.3
(CUSUM). Figures in, figures out; the unit is the caller's, the same for every argument.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

HIGH: Final = "high"
LOW: Final = "low"


@dataclass(frozen=True, slots=True)
class Limits:
    """Between these a chart is quiet; on them, too."""

    lower: float
    upper: float

    def passed_by(self, value: float) -> bool:
        return not self.lower <= value <= self.upper


@dataclass(frozen=True, slots=True)
class Cusum:
    """A tabular cumulative sum chart.

    high, low: the one-sided sums after each figure, >= 0. total: the plain sum of deviations.
    first_signal: place of the first figure at which a one-sided sum passes h, 1 for the first;
        None while none does. side: HIGH or LOW, the sum that passed; "" while none does.
    """

    high: tuple[float, ...]
    low: tuple[float, ...]
    total: tuple[float, ...]
    first_signal: int | None
    side: str


def ewma(values: Sequence[float], *, weight: float, target: float) -> tuple[float, ...]:
    """Return the exponentially weighted moving average after each figure.

    E_t = weight · x_t + (1 − weight) · E_{t−1}, E_0 = target.

    weight: of the newest figure, 0 < weight <= 1. [1] target: where the average begins.
    Raises ValueError outside that range.
    """
    if not 0 < weight <= 1:
        raise ValueError("The weight of the newest figure lies above 0 and not above 1.")
    average, averages = target, []
    for value in values:
        average = weight * value + (1 - weight) * average
        averages.append(average)
    return tuple(averages)


def ewma_limits(*, target: float, sigma: float, width: float, weight: float) -> Limits:
    """Return the limits of the average once many figures are in it.

    target ± width · sigma · √(weight / (2 − weight)).

    sigma: standard deviation of one figure, >= 0. width: how many standard deviations of the
    average lie between target and limit, > 0. [1] weight: as for `ewma`.
    Raises ValueError outside those ranges.
    """
    if not 0 < weight <= 1:
        raise ValueError("The weight of the newest figure lies above 0 and not above 1.")
    if sigma < 0 or width <= 0:
        raise ValueError("Limits need a spread of zero or more and a width above zero.")
    half = width * sigma * math.sqrt(weight / (2 - weight))
    return Limits(lower=target - half, upper=target + half)


def count_signals(averages: Sequence[float], *, limits: Limits) -> int:
    """Return how many of these lie outside the limits."""
    return sum(limits.passed_by(each) for each in averages)


def cusum(values: Sequence[float], *, target: float, k: float, h: float) -> Cusum:
    """Return the tabular cumulative sum chart of these figures.

    S_high = max(0, S_high + x − target − k), S_low = max(0, S_low + target − k − x); a signal
    is the first of them above h.

    k: what a deviation must exceed to be added, >= 0. h: the limit of a sum, > 0.
    Raises ValueError outside those ranges.
    """
    if k < 0 or h <= 0:
        raise ValueError("A sum needs an allowance of zero or more and a limit above zero.")
    high = low = total = 0.0
    highs, lows, totals = [], [], []
    first, side = None, ""
    for place, value in enumerate(values, start=1):
        high = max(0.0, high + value - target - k)
        low = max(0.0, low + target - k - value)
        total += value - target
        highs.append(high)
        lows.append(low)
        totals.append(total)
        if first is None and (high > h or low > h):
            first, side = place, HIGH if high > h else LOW
    return Cusum(
        high=tuple(highs), low=tuple(lows), total=tuple(totals), first_signal=first, side=side
    )


def changed_at(totals: Sequence[float], *, until: int) -> int:
    """Return the place of the figure with which a lasting change most likely set in, 0 first.

    totals: plain sums of deviations, in standard deviations (`Cusum.total` with sigma 1).
    until: the last place that belongs to the change, 0 first.
    The step of greatest likelihood: the t with the largest (S_until − S_t)² / (until − t), S_−1
    being 0. Source: T. R. Samuel, J. J. Pignatiello and J. A. Calvin, Quality Engineering 10,
    1998; from memory, the test checks it against all steps tried by least squares.
    Raises ValueError where `until` is no place of `totals`.
    """
    if not 0 <= until < len(totals):
        raise ValueError("There is no such place in these sums.")
    before = (0.0, *totals[:until])
    return max(
        range(until + 1),
        key=lambda place: (totals[until] - before[place]) ** 2 / (until + 1 - place),
    )
