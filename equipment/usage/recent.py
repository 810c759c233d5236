"""The mean rate over the last 90 days that hold a reading.

It says nothing of how widely use varies: that is what `gamma` is for.
"""

from collections.abc import Sequence
from datetime import datetime, timedelta
from decimal import Decimal
from typing import Final

from equipment.counters import Total, interpolate

WINDOW_DAYS: Final = 90
# A day or two of readings is a job, not a habit: no rate is better than that one.
SHORTEST_HISTORY: Final = timedelta(days=7)


def window_start(*, later_at: datetime, days: int = WINDOW_DAYS) -> datetime:
    """Return where the window that ends with a reading begins.

    days: length of the window, > 0. [d]
    Raises ValueError outside that range.
    """
    if days <= 0:
        raise ValueError("The window must be at least one day long.")
    return later_at - timedelta(days=days)


def mean_rate_per_day(*, earlier: Total, later: Total) -> Decimal | None:
    """Return the mean rate between two totals. [counter units / d], >= 0

    None when less than SHORTEST_HISTORY lies between them: too little to speak of a rate.
    Where a total is a lower bound the rate is one too.
    Raises ValueError when the later total is the smaller one.
    """
    if later.at - earlier.at < SHORTEST_HISTORY:
        return None
    if later.total < earlier.total:
        raise ValueError("A life cannot fall.")
    passed = (later.at - earlier.at) // timedelta(microseconds=1)
    return (later.total - earlier.total) * (timedelta(days=1) // timedelta(microseconds=1)) / passed


def recent_rate_per_day(totals: Sequence[Total], *, days: int = WINDOW_DAYS) -> Decimal | None:
    """Return the mean rate over the window that ends with the last reading.

    totals: in order of time, as `counters.totals` returns them.
    days: length of the window, > 0. [d] A history shorter than that is used whole.
    [counter units / d], >= 0; None when the history is shorter than SHORTEST_HISTORY.
    Raises ValueError outside those ranges.
    """
    if not totals:
        return None
    later = totals[-1]
    begins = max(window_start(later_at=later.at, days=days), totals[0].at)
    total, _ = interpolate(totals, begins)
    earlier = Total(at=begins, total=total, at_least=later.at_least)
    return mean_rate_per_day(earlier=earlier, later=later)
