"""Drift and variance a day from irregular readings, as a Wiener process with drift."""

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
