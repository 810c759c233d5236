"""Time counted in use-days.

A booked day counts as hard as the job works the rig, a day in the shop not at all, and a day
without a booking in part: the rig's usual share, which is learnt from its readings. Formulas:
design, "The mathematics", 4; how the share is learnt is ours and stands at `usual_share`.
"""

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Final

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]

#: How many days of the fleet stand beside a rig's own where its share is learnt. [d]
FLEET_DAYS: Final = 30.0
#: With fewer booked days than this in all, nobody keeps bookings: each day is like any other. [d]
FEWEST_BOOKED: Final = 5.0


@dataclass(frozen=True, slots=True)
class Away:
    """A job: both days included; intensity: 1 is as hard as on a usual booked day, >= 0. [1]"""

    first_day: date
    last_day: date
    intensity: float = 1.0


class Calendar:
    """The days of one rig from first_day to last_day, both included.

    jobs: do not overlap. shop_days: in the shop though no job says where the rig is.
    Instants are days since the first moment of first_day, as a number. [d]
    """

    def __init__(
        self,
        *,
        first_day: date,
        last_day: date,
        jobs: Sequence[Away],
        shop_days: Collection[date] = (),
    ) -> None:
        length = (last_day - first_day).days + 1
        if length < 1:
            raise ValueError("The last day lies before the first.")
        self.first_day = first_day
        booked, free = np.zeros(length), np.ones(length)
        for day in shop_days:
            at = (day - first_day).days
            if 0 <= at < length:
                free[at] = 0.0
        for job in jobs:
            start = max((job.first_day - first_day).days, 0)
            end = min((job.last_day - first_day).days + 1, length)
            if start < end:
                booked[start:end], free[start:end] = job.intensity, 0.0
        self._days = np.arange(length + 1, dtype=float)
        self._booked = np.concatenate(([0.0], np.cumsum(booked)))
        self._free = np.concatenate(([0.0], np.cumsum(free)))

    def parts(self, instants: Sequence[float] | Floats) -> tuple[Floats, Floats]:
        """Return for each span between neighbouring instants its booked and its free days.

        booked: jobs weighed by how hard they are; free: days that no job has, and no shop. [d]
        Within a day time passes evenly; outside the calendar none does.
        """
        at = np.asarray(instants, dtype=float)
        return (
            np.diff(np.interp(at, self._days, self._booked)),
            np.diff(np.interp(at, self._days, self._free)),
        )

    def ahead(self, *, start: float, until: date, share: float) -> float:
        """Return the use-days from an instant to the first moment of a day, >= 0. [use-days]"""
        end = float((until - self.first_day) / timedelta(days=1))
        booked, free = self.parts([start, max(end, start)])
        return float(booked[0] + share * free[0])


@dataclass(frozen=True, slots=True)
class ShareSums:
    """What spans teach of the share: the sums of a weighted least-squares line, and their days.

    Use is in units of the rig's own mean a day, so that rigs of all sizes may be added up.
    """

    booked_booked: float = 0.0
    booked_free: float = 0.0
    free_free: float = 0.0
    booked_used: float = 0.0
    free_used: float = 0.0
    booked: float = 0.0
    days: float = 0.0

    def __add__(self, other: "ShareSums") -> "ShareSums":
        return ShareSums(*(a + b for a, b in zip(self.tuple, other.tuple, strict=True)))

    def times(self, factor: float) -> "ShareSums":
        return ShareSums(*(factor * each for each in self.tuple))

    @property
    def tuple(self) -> tuple[float, ...]:
        return (
            self.booked_booked,
            self.booked_free,
            self.free_free,
            self.booked_used,
            self.free_used,
            self.booked,
            self.days,
        )


def share_sums(*, booked: Floats, free: Floats, used: Floats) -> ShareSums:
    """Return what the spans between readings teach of a rig's share.

    booked, free: days of each span, >= 0. [d] used: what was counted in it, >= 0. [counter units]
    """
    days = booked + free
    there = days > 0
    booked, free, used, days = booked[there], free[there], used[there], days[there]
    if not len(days) or used.sum() <= 0:
        return ShareSums()
    scaled = used / (used.sum() / days.sum())
    # The variance of use grows as its days do.
    weight = 1.0 / days
    return ShareSums(
        booked_booked=float((weight * booked * booked).sum()),
        booked_free=float((weight * booked * free).sum()),
        free_free=float((weight * free * free).sum()),
        booked_used=float((weight * booked * scaled).sum()),
        free_used=float((weight * free * scaled).sum()),
        booked=float(booked.sum()),
        days=float(days.sum()),
    )


def usual_share(*, own: ShareSums, fleet: ShareSums) -> float:
    """Return how much of a booked day a day without a booking counts: 0 to 1. [1]

    own: of the rig. fleet: of the other rigs, which stand beside it as FLEET_DAYS of its own would.
    Least squares of use = a·booked + c·free, a and c >= 0, each span weighed by 1/days; the share
    is c/a. With fewer than FEWEST_BOOKED booked days in all it is 1: no one keeps bookings.
    """
    fleet_part = fleet.times(min(1.0, FLEET_DAYS / fleet.days)) if fleet.days else fleet
    sums = own + fleet_part
    if own.booked + fleet.booked < FEWEST_BOOKED:
        return 1.0
    determinant = sums.booked_booked * sums.free_free - sums.booked_free**2
    if sums.free_free <= 0:
        return 0.0  # no free day was ever lived through
    if determinant <= 1e-9 * sums.booked_booked * sums.free_free:
        return 1.0  # each span holds as much of the one as of the other: nothing tells them apart
    booked = (sums.free_free * sums.booked_used - sums.booked_free * sums.free_used) / determinant
    free = (sums.booked_booked * sums.free_used - sums.booked_free * sums.booked_used) / determinant
    if free <= 0:
        return 0.0
    if booked <= 0:
        return 1.0
    return min(1.0, free / booked)
