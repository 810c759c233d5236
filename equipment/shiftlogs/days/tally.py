"""What is gathered of one day on the way through its rows."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Final

import numpy as np
import numpy.typing as npt

from equipment.shiftlogs.blocks import TRACE_MINUTES, Extremes, Floats, Integers

#: Minutes of the longest calendar day: 24 hours, and up to two that a change of zone adds.
DAY_MINUTES: Final = 26 * 60


@dataclass(slots=True)
class MeasureTally:
    """Extremes on the way; seen: the first value of each slot since midnight."""

    low: float = math.inf
    total: float = 0.0
    high: float = -math.inf
    rows: int = 0
    seen: Floats = field(default_factory=lambda: np.full(DAY_MINUTES // TRACE_MINUTES, np.nan))

    def take(self, values: Floats) -> bool:
        """Add rows; return whether all of them had a value."""
        low = float(values.min())
        is_whole = low == low
        if not is_whole:
            values = values[~np.isnan(values)]
            if not len(values):
                return False
            low = float(values.min())
        self.low = min(self.low, low)
        self.high = max(self.high, float(values.max()))
        self.total += float(values.sum())
        self.rows += len(values)
        return is_whole

    def see(self, slots: Integers, values: Floats) -> None:
        """Keep the first value of each slot; where a slot comes twice, the earlier row's."""
        new = np.isnan(self.seen[slots]) & ~np.isnan(values)
        self.seen[slots[new][::-1]] = values[new][::-1]

    def extremes(self) -> Extremes:
        return Extremes(min=self.low, mean=self.total / self.rows, max=self.high, rows=self.rows)


@dataclass(slots=True)
class StrokesTally:
    """Strokes of a side by minute since midnight. is_known: the counter had a value in it."""

    gained: Floats = field(default_factory=lambda: np.zeros(DAY_MINUTES))
    is_known: npt.NDArray[np.bool_] = field(
        default_factory=lambda: np.zeros(DAY_MINUTES, dtype=np.bool_)
    )

    def is_whole(self, has_rows: npt.NDArray[np.bool_]) -> npt.NDArray[np.bool_]:
        """Return the minutes whose strokes are their own: no minute before went without value."""
        missing = np.cumsum(has_rows & ~self.is_known)
        known = np.flatnonzero(self.is_known)
        whole = self.is_known.copy()
        whole[known[np.diff(missing[known], prepend=0) > 0]] = False
        return whole


@dataclass(slots=True)
class DayTally:
    """One day on the way. Arrays run over its minutes since midnight."""

    midnight_us: int
    first_us: int
    last_us: int = 0
    rows: int = 0
    measures: dict[str, MeasureTally] = field(default_factory=dict)
    strokes: dict[str, StrokesTally] = field(default_factory=dict)
    has_rows: npt.NDArray[np.bool_] = field(
        default_factory=lambda: np.zeros(DAY_MINUTES, dtype=np.bool_)
    )

    def strokes_of(self, role: str) -> StrokesTally:
        return self.strokes.setdefault(role, StrokesTally())
