"""What a part is asked for when most periods ask for none.

Demand is a list, one figure a period, oldest first; what comes out is expected demand a period.
A mean over all periods lags behind a change; these smooth what was asked for apart from how often.

How a series begins changes every later figure. Here: the size with the first demand above zero,
the interval with the number of its period, the chance with the first period (0 or 1).

Sources: J. D. Croston, Operational Research Quarterly 23, 1972; A. A. Syntetos and J. E. Boylan,
Int. J. of Forecasting 21, 2005; R. H. Teunter, A. A. Syntetos and M. Z. Babai, European J. of
Operational Research 214, 2011; limits between the kinds of demand: A. A. Syntetos, J. E. Boylan
and J. D. Croston, J. of the Operational Research Society 56, 2005.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import fmean, pvariance
from typing import Final

#: Periods from demand to demand, and squared variation of its size, above which a kind begins. [1]
INTERVAL_LIMIT: Final = 1.32
VARIATION_LIMIT: Final = 0.49

SMOOTH: Final = "smooth"
ERRATIC: Final = "erratic"
INTERMITTENT: Final = "intermittent"
LUMPY: Final = "lumpy"


@dataclass(frozen=True, slots=True)
class Croston:
    """Smoothed demand, size and interval apart.

    size: what is asked for when anything is, > 0; 0 where nothing ever was. [units]
    interval: periods from demand to demand, >= 1; infinite where nothing ever was.
    weight: of the newest figure, as it was given. [1]
    """

    size: float
    interval: float
    weight: float

    @property
    def per_period(self) -> float:
        """Croston's estimate; it lies too high on average. [units / period]"""
        return self.size / self.interval

    @property
    def per_period_corrected(self) -> float:
        """Syntetos and Boylan's estimate, its bias taken out. [units / period]"""
        return (1 - self.weight / 2) * self.per_period


@dataclass(frozen=True, slots=True)
class Pattern:
    """How a part is asked for.

    periods_per_demand: >= 1; infinite where nothing was asked for.
    squared_variation: of the sizes above zero, (deviation ÷ mean)², >= 0. [1]
    """

    periods_per_demand: float
    squared_variation: float

    @property
    def kind(self) -> str:
        """SMOOTH, ERRATIC, INTERMITTENT or LUMPY."""
        rare = self.periods_per_demand > INTERVAL_LIMIT
        if self.squared_variation > VARIATION_LIMIT:
            return LUMPY if rare else ERRATIC
        return INTERMITTENT if rare else SMOOTH


def croston(demand: Sequence[float], *, weight: float) -> Croston:
    """Return demand smoothed by Croston's method; it changes only in a period with demand.

    demand: at least one period, each >= 0. [units] weight: of the newest figure, 0 < weight <= 1.
    Raises ValueError outside those ranges.
    """
    _check(demand, weight)
    size, interval, since = 0.0, math.inf, 0
    for asked in demand:
        since += 1
        if asked > 0:
            if math.isinf(interval):
                size, interval = float(asked), float(since)
            else:
                size += weight * (asked - size)
                interval += weight * (since - interval)
            since = 0
    return Croston(size=size, interval=interval, weight=weight)


def fading(demand: Sequence[float], *, size_weight: float, chance_weight: float) -> float:
    """Return demand by Teunter, Syntetos and Babai: chance × size. [units / period]

    The chance of any demand is renewed every period, so that the estimate fades for a part that
    nobody asks for any more. demand: as for `croston`. Both weights: above 0, at most 1.
    Raises ValueError outside those ranges.
    """
    _check(demand, size_weight, chance_weight)
    chance = float(demand[0] > 0)
    size = 0.0
    for asked in demand:
        chance += chance_weight * ((asked > 0) - chance)
        if asked > 0:
            size = size + size_weight * (asked - size) if size > 0 else float(asked)
    return chance * size


def pattern(demand: Sequence[float]) -> Pattern:
    """Return how a part is asked for. demand: as for `croston`, with its errors."""
    _check(demand)
    sizes = [float(asked) for asked in demand if asked > 0]
    if not sizes:
        return Pattern(periods_per_demand=math.inf, squared_variation=0.0)
    return Pattern(
        periods_per_demand=len(demand) / len(sizes),
        squared_variation=pvariance(sizes) / fmean(sizes) ** 2,
    )


def _check(demand: Sequence[float], *weights: float) -> None:
    if not demand or not all(0 <= asked < math.inf for asked in demand):
        raise ValueError("Demand is one period or more, none below zero.")
    if not all(0 < weight <= 1 for weight in weights):
        raise ValueError("A weight lies above 0, at most at 1.")
