"""By which days services will have fallen due, with what odds; for many counters at once.

A counter gains use by a gamma process in use-days whose rate is known in part
(`usage.gamma`). What remains of an interval is reached after so many use-days with 10, 50 or 90 %
chance, and the bookings of the rig say on which day that is. These are odds of falling due. They
say nothing of breaking.

Numpy arrays in and out, one element per counter or per trigger; no Django, no clock. An element
comes out the same to the last digit whatever stands beside it, so that one rig reckoned alone and
the whole fleet reckoned at night agree. Days are ordinals (`date.toordinal`). A day that is never
reached is FAR.

Formulas: design, "The mathematics", 4 and 5. P = 1 − I(R/(R + β); vτ, α), I the regularised
incomplete beta function: a gamma distribution of shape vτ mixed over a rate that is gamma
distributed itself (compound gamma: Dubey (1970), Metrika 16, 27–31; from memory). With the rate
known: van Noortwijk (2009), Reliability Engineering & System Safety 94, 2–21.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from equipment.due import FAR_DATE
from equipment.usage.gamma import Rate

Floats = npt.NDArray[np.float64]
Days = npt.NDArray[np.int64]
Flags = npt.NDArray[np.bool_]

FAR: Final = FAR_DATE.toordinal()
#: The dates that are kept: by then it has fallen due with this chance. [1]
EARLY, MIDDLE, LATE = 0.1, 0.5, 0.9
#: Intensities are reckoned in hundredths of a usual booked day, as they are kept: sums of whole
#: numbers are exact, wherever they begin.
PER_DAY: Final = 100
#: More than any ordinal: rig × this + ordinal sorts by rig, then by day.
_SPACE: Final = 1 << 22
#: Each brings a quantile five times nearer or more.
_ROUNDS: Final = 3


# --- chances in use-days -----------------------------------------------------------------------


def chance_reached(
    *, remaining: Floats, use_days: Floats, shape: Floats, alpha: Floats, beta: Floats
) -> Floats:
    """Return the chance that what remains is used up within some use-days. [1]

    remaining: any; what is not above 0 has been reached. [counter units]
    use_days: >= 0. [use-days] shape, alpha, beta: as of `usage.gamma.Rate`; nan where no use is
    known, and nothing is ever reached by it.
    P = 1 − I(R/(R + β); vτ, α) = I(β/(R + β); α, vτ).
    """
    from scipy.special import betainc

    with np.errstate(invalid="ignore"):
        left = np.maximum(remaining, 0.0)
        chance = betainc(alpha, shape * use_days, beta / (left + beta))
    chance = np.where(use_days > 0, chance, 0.0)
    return np.where(remaining > 0, np.nan_to_num(chance, nan=0.0), 1.0)


def use_days_until(
    *, remaining: Floats, chance: Floats | float, shape: Floats, alpha: Floats, beta: Floats
) -> Floats:
    """Return after how many use-days what remains is used up with a chance. [use-days]

    chance: above 0, below 1; one for all or one each. Others as for `chance_reached`, whose
    inverse this is: 0 where it has been reached, infinite where no use is known. Raises ValueError
    for another chance.
    """
    from scipy.special import btdtria

    _chance(chance)
    wanted = np.broadcast_to(np.asarray(chance, dtype=np.float64), remaining.shape)
    there = (remaining > 0) & ~np.isnan(shape)
    share = remaining[there] / (remaining[there] + beta[there])
    found = np.where(remaining > 0, np.inf, 0.0)
    # Past the last digit of the share nothing is told apart: that is further than any day.
    reached = np.where(share < 1.0, btdtria(1.0 - wanted[there], alpha[there], share), np.inf)
    found[there] = reached / shape[there]
    return found


def chance_known(*, remaining: float, days: float, mean: float, variance: float) -> float:
    """Return the chance that what remains is used up in some days, the rate being known. [1]

    remaining: > 0. [counter units] days: >= 0. [d] mean: > 0. [counter units / d]
    variance: > 0. [counter units² / d] Raises ValueError outside those ranges.
    P = Q(μ²t/σ², Rμ/σ²), Q the regularised upper incomplete gamma function.
    """
    from scipy.special import gammaincc

    _positive(remaining=remaining, mean=mean, variance=variance)
    if not days >= 0:
        raise ValueError("Days are never below zero.")
    scale = mean / variance
    return float(gammaincc(mean * scale * days, remaining * scale))


def days_known(*, remaining: float, chance: float, mean: float, variance: float) -> float:
    """Return after how many days what remains is used up with a chance, the rate known. [d]

    chance: above 0, below 1. Others as for `chance_known`, whose inverse this is, in the shape.
    """
    from scipy.special import gdtrib

    _positive(remaining=remaining, mean=mean, variance=variance)
    _chance(chance)
    scale = mean / variance
    return float(gdtrib(1.0, 1.0 - chance, remaining * scale) / (mean * scale))


def _chance(value: Floats | float) -> None:
    if not np.all((np.asarray(value) > 0) & (np.asarray(value) < 1)):
        raise ValueError("A chance lies between 0 and 1.")


def _positive(**values: float) -> None:
    for name, value in values.items():
        if not value > 0:
            raise ValueError(f"The {name} must be above zero.")


@dataclass(frozen=True, slots=True)
class Part:
    """One of the counters that a measure is the sum of.

    share, load, open_shape: as of `Clocks`. factor: > 0. [measure / counter unit]
    """

    rate: Rate
    share: float
    load: float
    open_shape: float
    factor: float = 1.0


def together(parts: Sequence[Part]) -> Part:
    """Return what counters gain together that count the same work, as A and B strokes do; its
    factor is 1.

    parts: at least one. They move together, so means add, and the sum is known no better than the
    part that is known least: it has that one's shape and α.
    """
    known_least = min(parts, key=lambda part: (part.rate.alpha, part.rate.shape))
    least = known_least.rate
    means = [part.rate.mean * part.factor for part in parts]
    mean = sum(means)
    free = sum(each * part.share for each, part in zip(means, parts, strict=True))
    ahead = sum(each * part.load for each, part in zip(means, parts, strict=True))
    return Part(
        rate=Rate(
            shape=least.shape,
            day_shape=least.day_shape,
            alpha=least.alpha,
            beta=mean * (least.alpha - 1) / least.shape,
            own_days=least.own_days,
            fleet_rigs=least.fleet_rigs,
        ),
        share=free / mean,
        load=ahead / mean,
        open_shape=known_least.open_shape,
    )


# --- from use-days to days ---------------------------------------------------------------------


class Timeline:
    """The booked, the free and the open days of many rigs, from long ago and for ever.

    rig: its place among the rigs, 0 to rigs − 1. first_day, last_day: of a job, both included.
    [ordinal] intensity: how hard it works the rig, >= 0; 0 for days in the shop.
    [hundredths of a usual booked day] One element per job; jobs of a rig do not overlap.
    open_from: the first day that the shop has not planned. [ordinal] From it on and after the last
    job of a rig its days are open: nobody has planned them yet, which is not to say that it will
    stand idle.
    """

    def __init__(
        self,
        *,
        rigs: int,
        rig: Days,
        first_day: Days,
        last_day: Days,
        intensity: Days,
        open_from: Days | int,
    ) -> None:
        order = np.argsort(rig * _SPACE + first_day, kind="stable")
        rig, first, end = rig[order], first_day[order], last_day[order] + 1
        # A rig's free days, then for each of its jobs the job and the free days after it, then
        # its open days.
        pieces = 2 * np.bincount(rig, minlength=rigs) + 2
        self._begins = np.concatenate(([0], np.cumsum(pieces)))
        opens = self._begins[1:] - 1
        at = 2 * np.arange(len(rig)) + 2 * rig + 1
        length = int(self._begins[-1])
        self._start = np.zeros(length, dtype=np.int64)
        self._start[at], self._start[at + 1] = first, end
        self._start[opens] = np.maximum(self._start[opens - 1], open_from)
        self._pace = np.zeros(length, dtype=np.int64)  # of booked days, in hundredths
        self._pace[at] = intensity[order]
        self._is_free = np.ones(length, dtype=np.int64)
        self._is_free[at] = self._is_free[opens] = 0
        self._is_open = np.zeros(length, dtype=np.int64)
        self._is_open[opens] = 1
        days = np.zeros(length, dtype=np.int64)
        days[:-1] = self._start[1:] - self._start[:-1]
        days[opens] = 0  # the last piece of a rig has no end
        # From the first rig on: only differences within a rig are ever used.
        self._booked = np.concatenate(([0], np.cumsum(days * self._pace)[:-1]))
        self._free = np.concatenate(([0], np.cumsum(days * self._is_free)[:-1]))
        self._key = np.repeat(np.arange(rigs), pieces) * _SPACE + self._start

    def reach(self, clocks: "Clocks", use_days: Floats) -> Days:
        """Return the day during which use-days from a reading on are reached, at the earliest
        that of the reading; FAR where they never are. [ordinal]
        """
        after = clocks.read_day + 1
        wanted = use_days - self._rest_of_day(clocks)
        low, high = self._piece(clocks.rig, after), self._begins[clocks.rig + 1] - 1
        # The last piece whose beginning comes before they are reached.
        while (low < high).any():
            middle = (low + high + 1) >> 1
            before = self._between(clocks, middle, np.maximum(self._start[middle], after)) < wanted
            low = np.where(before, middle, low)
            high = np.maximum(np.where(before, high, middle - 1), low)
        start = np.maximum(self._start[low], after)
        with np.errstate(divide="ignore", invalid="ignore"):
            left = wanted - self._between(clocks, low, start)
            days = np.ceil(left / self._weight(clocks, low))
        # In numbers, since a day that is never reached is no whole number of days.
        reached = np.minimum(np.nan_to_num(start + days - 1, nan=np.inf, posinf=FAR), FAR)
        return np.where(wanted > 0, reached, clocks.read_day).astype(np.int64)

    def use_days(self, clocks: "Clocks", until: Days) -> Floats:
        """Return the use-days from a reading to the first moment of a day, >= 0. [use-days]"""
        after = clocks.read_day + 1
        end = np.maximum(until, after)
        found = self._between(clocks, self._piece(clocks.rig, end), end)
        return np.where(until >= after, self._rest_of_day(clocks) + found, 0.0)

    def planned(self, clocks: "Clocks") -> Floats:
        """Return the use-days from a reading to where the open days begin, >= 0. [use-days]"""
        return self.use_days(clocks, self._start[self._begins[clocks.rig + 1] - 1])

    def _piece(self, rig: Days, day: Days) -> Days:
        """Return where the piece stands that holds a day of a rig."""
        return np.searchsorted(self._key, rig * _SPACE + day, side="right") - 1

    def _between(self, clocks: "Clocks", at: Days, day: Days) -> Floats:
        """Return the use-days from the end of the day read to a day of the piece at a place."""
        after = clocks.read_day + 1
        from_ = self._piece(clocks.rig, after)
        since, passed = after - self._start[from_], day - self._start[at]
        booked = self._booked[at] + passed * self._pace[at]
        booked -= self._booked[from_] + since * self._pace[from_]
        free = self._free[at] + passed * self._is_free[at]
        free -= self._free[from_] + since * self._is_free[from_]
        open_ = passed * self._is_open[at] - since * self._is_open[from_]
        return booked / PER_DAY + clocks.share * free + clocks.load * open_

    def _rest_of_day(self, clocks: "Clocks") -> Floats:
        return (1.0 - clocks.read_part) * self._weight(
            clocks, self._piece(clocks.rig, clocks.read_day)
        )

    def _weight(self, clocks: "Clocks", at: Days) -> Floats:
        """Return how much a day of the piece at a place counts. [use-days]"""
        return (
            self._pace[at] / PER_DAY
            + clocks.share * self._is_free[at]
            + clocks.load * self._is_open[at]
        )


@dataclass(frozen=True, slots=True)
class Clocks:
    """Counters as they were last read; arrays of one length.

    rig: its place in the `Timeline`. read_day: [ordinal] read_part: how much of that day had
    passed, 0 to 1. [1] share: what a free day counts, 0 to 1; load: what an open day counts: as
    much as all days of the past did on average, booked or not. [1]
    shape, alpha, beta: as of `usage.gamma.Rate`; nan where no use is known. open_shape: of a
    use-day among open days, which varies more, since nobody knows how many will be booked. [1]
    """

    rig: Days
    read_day: Days
    read_part: Floats
    share: Floats
    load: Floats
    shape: Floats
    open_shape: Floats
    alpha: Floats
    beta: Floats

    def __getitem__(self, which: Flags | Days) -> "Clocks":
        """Return some of them."""
        return Clocks(*(getattr(self, name)[which] for name in self.__slots__))


def days_reached(
    *, clocks: Clocks, timeline: Timeline, remaining: Floats, chance: Floats | float
) -> Days:
    """Return the first day by whose end what remains is used up with at least a chance. [ordinal]

    remaining: from the reading on; the day read where it is not above 0. [counter units]
    chance: above 0, below 1; one for all or one each. FAR where no use is known, or none is ahead.
    """
    wanted = np.broadcast_to(np.asarray(chance, dtype=np.float64), remaining.shape)
    use_days = use_days_until(
        remaining=remaining,
        chance=chance,
        shape=clocks.shape,
        alpha=clocks.alpha,
        beta=clocks.beta,
    )
    planned = timeline.planned(clocks)
    # Into the open days: the shape depends on how far, and how far on the shape.
    which = np.flatnonzero(
        np.isfinite(use_days) & (use_days > planned) & (clocks.open_shape != clocks.shape)
    )
    some = clocks[which]
    for _ in range(_ROUNDS):
        shape, beta = _mixed(some, planned=planned[which], use_days=use_days[which])
        use_days[which] = use_days_until(
            remaining=remaining[which],
            chance=wanted[which],
            shape=shape,
            alpha=some.alpha,
            beta=beta,
        )
    return timeline.reach(clocks, use_days)


def chance_before(*, clocks: Clocks, timeline: Timeline, remaining: Floats, until: Days) -> Floats:
    """Return the chance that what remains is used up before the first moment of a day. [1]

    until: FAR for no such day, and the chance is 0 where it has not been used up yet. [ordinal]
    """
    use_days = np.where(until < FAR, timeline.use_days(clocks, until), 0.0)
    shape, beta = _mixed(clocks, planned=timeline.planned(clocks), use_days=use_days)
    return chance_reached(
        remaining=remaining, use_days=use_days, shape=shape, alpha=clocks.alpha, beta=beta
    )


def _mixed(clocks: Clocks, *, planned: Floats, use_days: Floats) -> tuple[Floats, Floats]:
    """Return shape and β over planned and open use-days together: means and variances add."""
    ahead = use_days - planned
    with np.errstate(invalid="ignore", divide="ignore"):
        mixed = use_days / (planned / clocks.shape + ahead / clocks.open_shape)
    shape = np.where(ahead > 0, mixed, clocks.shape)
    return shape, clocks.beta * (clocks.shape / shape)


# --- several triggers of one service -----------------------------------------------------------


def first_of(chances: Floats, begins: Days) -> tuple[Floats, Floats]:
    """Return the chance of whichever falls first, for each service; and what it is at most. [1]

    chances: of its triggers, by one day. begins: where the triggers of each service begin, rising;
    each service has at least one. Triggers of one rig move nearly together: max F; were they
    independent: 1 − Π(1 − F). The truth lies between.
    """
    if not len(begins):
        return np.zeros(0), np.zeros(0)
    at_one = np.maximum.reduceat(chances, begins)
    apart = 1.0 - np.multiply.reduceat(1.0 - chances, begins)
    return at_one, np.maximum(apart, at_one)


def all_of(chances: Floats, begins: Days) -> Floats:
    """Return the chance that all its triggers have fallen, for each service: min F. [1]"""
    return np.minimum.reduceat(chances, begins) if len(begins) else np.zeros(0)


def permille(chances: Floats) -> Days:
    """Return chances in tenths of a per cent, half to even; 0 to 1000."""
    return np.clip(np.rint(chances * 1000.0), 0, 1000).astype(np.int64)
