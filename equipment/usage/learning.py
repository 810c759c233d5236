"""What the readings of all counters of one kind teach of each of them.

Nothing here is new: it puts `usedays` and `gamma` together, each counter beside all the others.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from equipment.usage.gamma import HALF_LIFE_DAYS, Own, Rate, fleets_of, learn, own_of
from equipment.usage.usedays import ShareSums, share_sums, usual_share

Floats = npt.NDArray[np.float64]

#: How many days of the other rigs stand beside a rig's own where its load is learnt. [d]
LOAD_DAYS: Final = 30.0


@dataclass(frozen=True, slots=True)
class Spans:
    """The spans between the readings of one counter, oldest first; arrays of one length.

    days: calendar length, > 0. [d] booked, free: `usedays.Calendar.parts`. [d] used: >= 0.
    [counter units] ages: how long ago each ended, >= 0. [d]
    """

    days: Floats
    booked: Floats
    free: Floats
    used: Floats
    ages: Floats


@dataclass(frozen=True, slots=True)
class Learnt:
    """What is known of one counter.

    share: what a day without a booking counts. load: what a day counts while nobody has planned
    it. [1] own: what its own readings say. rate: None where no use is known at all.
    open_shape: shape of a use-day among days that nobody has planned, > 0; None like the rate. [1]
    """

    share: float
    load: float
    own: Own
    rate: Rate | None
    open_shape: float | None


def learn_alike(alike: Sequence[Spans]) -> list[Learnt]:
    """Return what is known of counters of one kind; each begins from all the others.

    The load is the mean of all days, booked or not, recent ones counting for more. The spread of a
    use-day among open days is the load × that of a calendar day, as if nobody kept bookings: which
    days will be booked is then part of what varies. It is never below that of planned days.
    """
    sums = [share_sums(booked=each.booked, free=each.free, used=each.used) for each in alike]
    total = ShareSums()
    for mine in sums:
        total += mine
    shares = [usual_share(own=mine, fleet=total + mine.times(-1.0)) for mine in sums]
    worked = [each.booked + share * each.free for each, share in zip(alike, shares, strict=True)]
    loads = _loads(alike, worked)
    owns = [_own(each, use_days) for each, use_days in zip(alike, worked, strict=True)]
    by_day = [_own(each, each.days) for each in alike]
    found = []
    for share, load, own, fleet, own_by_day, fleet_by_day in zip(
        shares, loads, owns, fleets_of(owns), by_day, fleets_of(by_day), strict=True
    ):
        rate = learn(own=own, fleet=fleet)
        open_shape = None
        if rate is not None:
            a_day = learn(own=own_by_day, fleet=fleet_by_day)
            open_shape = rate.shape
            if a_day is not None and load > 0 and share < 1:
                open_shape = min(rate.shape, a_day.shape / load)
        found.append(Learnt(share=share, load=load, own=own, rate=rate, open_shape=open_shape))
    return found


def _own(spans: Spans, use_days: Floats) -> Own:
    return own_of(
        days=spans.days,
        use_days=use_days,
        used=spans.used,
        ages=np.maximum(spans.ages, 0.0),
    )


def _loads(alike: Sequence[Spans], worked: Sequence[Floats]) -> list[float]:
    """Return the use-days of a day, of each counter; of one never read, those of the others."""
    own = np.array(
        [
            [
                (weight := 0.5 ** (np.maximum(each.ages, 0.0) / HALF_LIFE_DAYS)) @ use_days,
                weight @ each.days,
            ]
            for each, use_days in zip(alike, worked, strict=True)
        ]
    ).reshape(-1, 2)
    others = own.sum(axis=0) - own
    # No more days than there are stand beside its own.
    part = np.minimum(1.0, LOAD_DAYS / np.maximum(others[:, 1], LOAD_DAYS))
    use_days, days = (own + part[:, None] * others).T
    return np.where(days > 0, use_days / np.where(days > 0, days, 1.0), 1.0).tolist()
