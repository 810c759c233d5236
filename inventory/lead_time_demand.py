"""Demand over the time that an order must cover, and the units it is expected to lack or leave.

Demand is normal (`NormalDemand`) or comes in whole pieces with a chance for each number
(`WholeDemand`); what the formulas of stock need of either is the same (`Demand`).

Sources: P. H. Zipkin, Foundations of Inventory Management, 2000, appendix C (loss functions);
E. A. Silver, D. F. Pyke and D. J. Thomas, Inventory and Production Management in Supply Chains,
ch. 6 (lead times that vary). From memory; the tests check published figures.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from statistics import NormalDist
from typing import Final, Protocol

import numpy as np
from numpy.typing import NDArray

_STANDARD: Final = NormalDist()
#: Chances that differ by less are equal, and the smaller stock suffices.
_TIE: Final = 1e-12


class Demand(Protocol):
    """What the formulas ask of demand over the time that an order must cover."""

    @property
    def mean(self) -> float:
        """[units]"""

    def level_for(self, chance: float) -> float:
        """Return the smallest stock that suffices with this chance. 0 < chance < 1."""

    def short(self, level: float) -> float:
        """Return the units that stock at this level is expected to lack. [units]"""

    def left(self, level: float) -> float:
        """Return the units of this level that are expected to be left. [units]"""

    def mean_short(self, point: float, lot: float) -> float:
        """Return `short` on average over the positions from the reorder point by a lot up."""

    def mean_left(self, point: float, lot: float) -> float:
        """Return `left`, likewise."""


@dataclass(frozen=True, slots=True)
class NormalDemand:
    """Demand over a time, normal. mean: any. sd: standard deviation, >= 0. [units]"""

    mean: float
    sd: float

    def __post_init__(self) -> None:
        if not (math.isfinite(self.mean) and 0 <= self.sd < math.inf):
            raise ValueError("Demand has a mean, and a spread not below zero.")

    @classmethod
    def over(
        cls,
        *,
        mean: float,
        sd: float,
        lead_time: float,
        lead_time_sd: float = 0.0,
        review_period: float = 0.0,
    ) -> "NormalDemand":
        """Return demand over the lead time and the wait for the next look at the stock.

        sd = √(T sd_d² + d² sd_L²), T = lead time + review period: days of demand independent of
        each other and of the lead time (Silver, Pyke and Thomas, sec. 6.10).
        mean, sd: of one unit of time, sd >= 0. [units / time, units / √time]
        lead_time, lead_time_sd, review_period: >= 0; 0 review: stock is always looked at. [time]
        Raises ValueError outside those ranges.
        """
        if min(lead_time, lead_time_sd, review_period, sd) < 0:
            raise ValueError("Times and spreads are not below zero.")
        covered = lead_time + review_period
        return cls(mean=mean * covered, sd=math.hypot(sd * math.sqrt(covered), mean * lead_time_sd))

    def level_for(self, chance: float) -> float:
        """As `Demand` says."""
        return self.mean + self.sd * deviations_for(chance)

    def short(self, level: float) -> float:
        """As `Demand` says: sd · (φ(z) − z (1 − Φ(z)))."""
        if self.sd == 0:
            return max(0.0, self.mean - level)
        return self.sd * _loss((level - self.mean) / self.sd)

    def left(self, level: float) -> float:
        """As `Demand` says: what lacks, seen from the other side."""
        return NormalDemand(-self.mean, self.sd).short(-level)

    def mean_short(self, point: float, lot: float) -> float:
        """As `Demand` says; the position is uniform from point to point + lot."""
        return (self._short_above(point) - self._short_above(point + lot)) / lot

    def mean_left(self, point: float, lot: float) -> float:
        """As `Demand` says."""
        return NormalDemand(-self.mean, self.sd).mean_short(-point - lot, lot)

    def _short_above(self, level: float) -> float:
        """`short` summed over all levels above this one (Zipkin, appendix C). [units²]"""
        if self.sd == 0:
            return max(0.0, self.mean - level) ** 2 / 2
        z = (level - self.mean) / self.sd
        return self.sd**2 * ((z * z + 1) * _above(z) - z * _STANDARD.pdf(z)) / 2


@dataclass(frozen=True, eq=False)
class WholeDemand:
    """Demand over a time in whole units. chances: of 0, 1, 2, … units, each >= 0, sum 1."""

    chances: NDArray[np.float64]

    def __post_init__(self) -> None:
        total = float(self.chances.sum()) if self.chances.size else 0.0
        if not (abs(total - 1) < 1e-9 and self.chances.min() >= 0):
            raise ValueError("The chances of all numbers of units add up to 1.")

    @classmethod
    def poisson(cls, mean: float, time: float = 1.0) -> "WholeDemand":
        """Return Poisson demand. mean: >= 0 [units / time]. time: >= 0. Else ValueError.

        Numbers beyond 12 deviations and 40 are left out; their chance lies below 1e-30.
        """
        from scipy.special import gammaln, xlogy  # loads slowly

        whole = mean * time
        if not 0 <= whole < math.inf:
            raise ValueError("Demand is not below zero.")
        units = np.arange(math.ceil(whole + 12 * math.sqrt(whole)) + 41)
        chances = np.exp(xlogy(units, whole) - gammaln(units + 1.0) - whole)
        # Large logarithms lose digits, by about the same part in every chance.
        return cls(chances / chances.sum())

    @classmethod
    def explicit(cls, chance_of: Mapping[int, float]) -> "WholeDemand":
        """Return demand from the chance of each number of units; others have none.

        Raises ValueError for numbers below 0 and chances that do not add up to 1.
        """
        if not chance_of or min(chance_of) < 0:
            raise ValueError("Each number of units is not below zero.")
        chances = np.zeros(max(chance_of) + 1)
        for units, chance in chance_of.items():
            chances[units] = chance
        return cls(chances)

    @cached_property
    def mean(self) -> float:
        """[units]"""
        return float(self.chances @ np.arange(self.chances.size))

    def at_most(self, level: int) -> float:
        """Return the chance that demand is at most this. level: any. [1]"""
        if level < 0:
            return 0.0
        return 1.0 if level >= self.chances.size - 1 else float(1.0 - self._above[level])

    def level_for(self, chance: float) -> float:
        """As `Demand` says; a whole number. Raises ValueError unless 0 < chance < 1."""
        if not 0 < chance < 1:
            raise ValueError("A chance lies between 0 and 1.")
        return int(np.argmax(self._above <= 1 - chance + _TIE))

    def short(self, level: float) -> float:
        """As `Demand` says. level: a whole number, may be below 0."""
        at = _whole(level)
        if at < 0:
            return self.mean - at
        return float(self._short[at]) if at < self._short.size else 0.0

    def left(self, level: float) -> float:
        """As `Demand` says, likewise."""
        at = _whole(level)
        if at <= 0:
            return 0.0
        return float(self._left[at]) if at < self._left.size else at - self.mean

    def mean_short(self, point: float, lot: float) -> float:
        """As `Demand` says; the position is any of point + 1 … point + lot."""
        return math.fsum(map(self.short, positions(point, lot))) / lot

    def mean_left(self, point: float, lot: float) -> float:
        """As `Demand` says, likewise."""
        return math.fsum(map(self.left, positions(point, lot))) / lot

    # Summed from the far end, so that small tails keep their digits.

    @cached_property
    def _above(self) -> NDArray[np.float64]:
        """Chance of more than 0, 1, 2, … units."""
        return np.append(np.cumsum(self.chances[:0:-1])[::-1], 0.0)

    @cached_property
    def _short(self) -> NDArray[np.float64]:
        return np.cumsum(self._above[::-1])[::-1]

    @cached_property
    def _left(self) -> NDArray[np.float64]:
        return np.append(0.0, np.cumsum(np.cumsum(self.chances))[:-1])


def deviations_for(chance: float) -> float:
    """Return z: standard deviations above the mean that suffice with a chance, 0 < chance < 1.

    Raises ValueError outside that range.
    """
    if not 0 < chance < 1:
        raise ValueError("A chance lies between 0 and 1.")
    return _STANDARD.inv_cdf(chance)


def positions(point: float, lot: float) -> range:
    """Return the positions that a reorder point and a lot give: point + 1 … point + lot.

    Both whole, lot >= 1, else ValueError.
    """
    first, count = _whole(point) + 1, _whole(lot)
    if count < 1:
        raise ValueError("A lot is one unit or more.")
    return range(first, first + count)


def _whole(level: float) -> int:
    if level != int(level):
        raise ValueError("Demand in whole units is met from whole units.")
    return int(level)


def _above(z: float) -> float:
    """1 − Φ(z), with its digits in the far tail."""
    return math.erfc(z / math.sqrt(2)) / 2


def _loss(z: float) -> float:
    return max(0.0, _STANDARD.pdf(z) - z * _above(z))
