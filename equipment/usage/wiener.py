"""Drift, variance and first passage, as a Wiener process with drift."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise


@dataclass(frozen=True, slots=True)
class Drift:
    """drift_per_day: [counter units / d]; variance_per_day: >= 0. [counter units² / d]"""

    drift_per_day: float
    variance_per_day: float


def wiener_drift(*, days: Sequence[float], totals: Sequence[float]) -> Drift:
    """Return the maximum-likelihood drift and variance of totals read at irregular days.

    days: rising, at least two. [d] totals: the life at each of them. [counter units]
    ν = (X_n − X_0) / (t_n − t_0); σ² = mean((ΔX − ν Δt)² / Δt).
    Source: standard result, e.g. Whitmore (1995), Lifetime Data Analysis 1, 307–319.
    Raises ValueError for fewer than two readings, or days that do not rise.
    """
    if len(days) != len(totals) or len(days) < 2:
        raise ValueError("At least two readings are needed, each with its day.")
    spans = [later - day for day, later in pairwise(days)]
    if min(spans) <= 0:
        raise ValueError("Each reading must be later than the one before.")
    rises = [later - total for total, later in pairwise(totals)]
    drift = (totals[-1] - totals[0]) / (days[-1] - days[0])
    variance = sum(
        (rise - drift * span) ** 2 / span for rise, span in zip(rises, spans, strict=True)
    ) / len(spans)
    return Drift(drift_per_day=drift, variance_per_day=variance)


@dataclass(frozen=True, slots=True)
class InverseGaussian:
    """The day on which a Wiener process with drift first reaches a level.

    mean: m, > 0. [d] shape: λ, > 0. [d] The variance is m³/λ.
    Source: Chhikara and Folks (1989), The Inverse Gaussian Distribution, ch. 2. (Its scale in
    other notations is λ and its one further parameter m/λ, not m.)
    Raises ValueError outside those ranges.
    """

    mean: float
    shape: float

    def __post_init__(self) -> None:
        if not (0 < self.mean < math.inf and 0 < self.shape < math.inf):
            raise ValueError("Mean and shape must be above zero.")

    @property
    def variance(self) -> float:
        """[d²]"""
        return self.mean**3 / self.shape

    def chance(self, days: float) -> float:
        """Return the chance that the level is reached by then. [1] days: [d]

        P = Φ(√(λ/t)(t/m − 1)) + e^(2λ/m) Φ(−√(λ/t)(t/m + 1)).
        """
        from scipy.special import log_ndtr, ndtr

        if days <= 0:
            return 0.0
        root = math.sqrt(self.shape / days)
        # The second term by logarithms: its factors overflow long before it matters.
        returned = 2 * self.shape / self.mean + log_ndtr(-root * (days / self.mean + 1))
        return min(float(ndtr(root * (days / self.mean - 1)) + math.exp(returned)), 1.0)

    def quantile(self, chance: float) -> float:
        """Return the day by which the level is reached with a chance above 0, below 1. [d]

        By halving: the chance rises with the day. Raises ValueError for another chance.
        """
        if not 0 < chance < 1:
            raise ValueError("A chance lies between 0 and 1.")
        low = high = self.mean
        while self.chance(low) > chance:
            low /= 2
        while self.chance(high) < chance:
            high *= 2
        while low < (middle := (low + high) / 2) < high:
            if self.chance(middle) < chance:
                low = middle
            else:
                high = middle
        return high


def first_passage(*, drift_per_day: float, deviation: float, remaining: float) -> InverseGaussian:
    """Return when what remains will be used up by a Wiener process with drift.

    drift_per_day: ν, > 0. [counter units / d] deviation: σ, > 0. [counter units / √d]
    remaining: a, > 0. [counter units] m = a/ν, λ = a²/σ². Raises ValueError outside those ranges.
    """
    if not (drift_per_day > 0 and deviation > 0 and remaining > 0):
        raise ValueError("The drift, the deviation and what remains must be above zero.")
    return InverseGaussian(mean=remaining / drift_per_day, shape=(remaining / deviation) ** 2)
