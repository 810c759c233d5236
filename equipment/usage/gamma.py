"""Use as a gamma process in use-days: what one rig's readings teach, begun from its fleet.

In τ use-days a counter gains an amount that is gamma distributed with shape v·τ and rate u. The
shape v is taken from sums over about three weeks, since days in a row resemble each other (while
there are few of those, from what single weeks say, widened); the
rate u is not known: it has a gamma distribution (α, β), begun from the other rigs and moved on by
the rig's own increments, α + vΣτ and β + Σx, in which old ones count for less.

Formulas: design, "The mathematics", 4 and 5; the gamma process: van Noortwijk (2009), Reliability
Engineering & System Safety 94, 2–21; conjugate updating of its rate: the same, sec. 6. What is
ours is said at the constants.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]

#: Increments are added up to sums of at least this length before their spread is looked at. [d]
SUM_DAYS: Final = 21.0
#: Where there are too few of those, sums of this length tell of the spread in part. [d]
SHORT_SUM_DAYS: Final = 7.0
#: How much wider use spreads over three weeks than over one, a use-day: days of one job resemble
#: each other. Ours: 1.0 to 2.0 in simulated fleets of jobs of a day to five weeks. [1]
WIDER: Final = 1.4
#: After this time an increment counts for half. Ours: where use swings by 30 % over the year, odds
#: learnt with 180 d were off by more than five points, and where it does not swing 60 d cost none.
#: [d]
HALF_LIFE_DAYS: Final = 60.0
#: How many sums of the fleet stand beside a rig's own where its spread is learnt. Ours. [1]
FLEET_SUMS: Final = 6.0
#: Squared relative spread of one use-day where no reading tells: wider than an exponential, since
#: days are not alike. It counts as UNKNOWN_SUMS. Ours. [1]
UNKNOWN_SPREAD: Final = 3.0
UNKNOWN_SUMS: Final = 2.0
#: The same between rigs where there are no two others to learn it from. Ours. [1]
UNKNOWN_BETWEEN: Final = 1.0
#: Rigs of one kind are never taken to be nearer each other than 10 %, nor wider than 200 %. [1]
BETWEEN: Final = (0.01, 4.0)
SPREAD: Final = (0.02, 25.0)
#: Spans up to this length tell of single days. [use-days]
SINGLE_DAY: Final = 1.5


@dataclass(frozen=True, slots=True)
class Spread:
    """Squared relative spread of one use-day, and how many degrees of freedom it rests on. [1]"""

    squared: float = UNKNOWN_SPREAD
    freedom: float = 0.0


@dataclass(frozen=True, slots=True)
class Own:
    """What the readings of one counter say.

    use_days, used: sums in which old increments count for less. [use-days], [counter units]
    spread: from sums over about three weeks; short_spread: over about one; day_spread: from spans
    of single days. seen_days: use-days in all, none left out. [use-days]
    """

    use_days: float = 0.0
    used: float = 0.0
    spread: Spread = Spread()
    short_spread: Spread = Spread()
    day_spread: Spread = Spread()
    seen_days: float = 0.0


@dataclass(frozen=True, slots=True)
class Fleet:
    """What the other rigs of the kind say.

    mean: a use-day; None where there are none. [counter units / use-day]
    between: squared relative spread of their means, sampling taken off. [1] rigs: how many.
    """

    mean: float | None = None
    between: float = UNKNOWN_BETWEEN
    spread: Spread = Spread()
    short_spread: Spread = Spread()
    day_spread: Spread = Spread()
    rigs: int = 0


@dataclass(frozen=True, slots=True)
class Rate:
    """What a counter gains, as far as it is known.

    shape: v, of one use-day within longer time; day_shape: of one day alone, > 0. [1]
    alpha: > 2 [1]; beta: > 0 [counter units]: of the distribution of u.
    own_days: use-days it has of its own. [use-days] fleet_rigs: how many others helped.
    """

    shape: float
    day_shape: float
    alpha: float
    beta: float
    own_days: float
    fleet_rigs: int

    @property
    def mean(self) -> float:
        """Expected gain of a use-day: vβ/(α − 1). [counter units / use-day]"""
        return self.shape * self.beta / (self.alpha - 1)

    @property
    def variance(self) -> float:
        """Variance of the gain of a use-day within longer time, u at its mean: mean²/v.

        [counter units² / use-day]
        """
        return self.mean**2 / self.shape

    def expected(self, use_days: float) -> float:
        """Return the expected gain in some use-days, >= 0. [counter units]"""
        return self.mean * use_days

    def quantile(self, chance: float, use_days: float) -> float:
        """Return the gain that is not exceeded with a chance, u being uncertain. [counter units]

        chance: above 0, below 1. use_days: >= 0.
        X/(X + β) has a beta distribution (vτ, α). Raises ValueError outside those ranges.
        """
        return self._quantile(chance, self.shape * use_days, self.beta)

    def day_quantile(self, chance: float) -> float:
        """Return the same for one use-day alone, by the spread of single days. [counter units]"""
        return self._quantile(chance, self.day_shape, self.beta * self.shape / self.day_shape)

    def chance_above(self, amount: float, use_days: float) -> float:
        """Return the chance to gain at least an amount in some use-days. [1]

        P = 1 − I(R/(R + β); vτ, α), I the regularised incomplete beta function.
        """
        from scipy.special import betaincc

        if amount <= 0:
            return 1.0
        if use_days <= 0:
            return 0.0
        share = amount / (amount + self.beta)
        return float(betaincc(self.shape * use_days, self.alpha, share))

    def _quantile(self, chance: float, shape: float, beta: float) -> float:
        from scipy.special import betainccinv

        if not 0 < chance < 1:
            raise ValueError("A chance lies between 0 and 1.")
        if shape < 0:
            raise ValueError("Use-days are never below zero.")
        if shape == 0:
            return 0.0
        # By the other end, so that nothing is lost near 1: 1 − share has (α, vτ).
        rest = float(betainccinv(self.alpha, shape, chance))
        return beta * (1 - rest) / rest


def own_of(*, days: Floats, use_days: Floats, used: Floats, ages: Floats) -> Own:
    """Return what increments between irregular readings say; all of one length, oldest first.

    days: calendar length of each. [d] use_days: of each, >= 0. used: gained in each, >= 0.
    [counter units] ages: how long ago each ended, >= 0. [d]
    What was gained in a span without use-days is added to the next one: it was used at some time.
    """
    days, use_days, used, ages = _with_use_days(days, use_days, used, ages)
    if not len(days):
        return Own()
    weight = 0.5 ** (ages / HALF_LIFE_DAYS)
    single = use_days <= SINGLE_DAY
    return Own(
        use_days=float((weight * use_days).sum()),
        used=float((weight * used).sum()),
        spread=_spread(*_sums(days, use_days, used, length=SUM_DAYS)),
        short_spread=_spread(*_sums(days, use_days, used, length=SHORT_SUM_DAYS)),
        day_spread=_spread(use_days[single], used[single]),
        seen_days=float(use_days.sum()),
    )


def fleet_of(others: Sequence[Own]) -> Fleet:
    """Return what other rigs of the kind say together; those without a reading do not count.

    The mean is that of all their use-days; the spread between rigs by moments, sampling taken off:
    between = (Q − (N − 1)) s² / (T − Σt²/T), Q = Σ t (m − m̄)²/s², s² the variance a use-day.
    Source: DerSimonian and Laird (1986), Controlled Clinical Trials 7, 177–188 (from memory).
    """
    return _fleet(_evidence(others).sum(axis=0))


def fleets_of(rigs: Sequence[Own]) -> list[Fleet]:
    """Return for each rig what all the others say together, as `fleet_of` would."""
    evidence = _evidence(rigs)
    return [_fleet(rest) for rest in evidence.sum(axis=0) - evidence]


def _evidence(rigs: Sequence[Own]) -> Floats:
    """Return for each rig what adds up: 1, t, t², x, t m², and each spread with its freedom."""
    return np.array(
        [
            (
                1.0,
                own.use_days,
                own.use_days**2,
                own.used,
                own.used**2 / own.use_days,
                own.spread.freedom * own.spread.squared,
                own.spread.freedom,
                own.short_spread.freedom * own.short_spread.squared,
                own.short_spread.freedom,
                own.day_spread.freedom * own.day_spread.squared,
                own.day_spread.freedom,
            )
            if own.use_days > 0 and own.used > 0
            else (0.0,) * 11
            for own in rigs
        ]
    ).reshape(-1, 11)


def _fleet(sums: Floats) -> Fleet:
    rigs = round(float(sums[0]))
    if rigs < 1:
        return Fleet()
    _, time, time_squared, used, used_mean, *spreads = sums.tolist()
    spread, short_spread, day_spread = (
        _pooled(*spreads[at : at + 2]) for at in range(0, len(spreads), 2)
    )
    mean = used / time
    between = UNKNOWN_BETWEEN
    if rigs > 1:
        squared = _settled(Own(), spread=spread, short_spread=short_spread)
        distance = (used_mean - used * mean) / (squared * mean**2)
        room = time - time_squared / time
        between = (distance - (rigs - 1)) * squared / room
        # Of few rigs their spread is hardly known: it is drawn towards the widest guess.
        between = (between * (rigs - 1) + UNKNOWN_BETWEEN) / rigs
    return Fleet(
        mean=mean,
        between=min(max(between, BETWEEN[0]), BETWEEN[1]),
        spread=spread,
        short_spread=short_spread,
        day_spread=day_spread,
        rigs=rigs,
    )


def learn(*, own: Own, fleet: Fleet) -> Rate | None:
    """Return what is known of a counter's rate, or None where no use is known at all.

    The prior has the fleet's spread between rigs, α = 2 + 1/between by the moments of v/u, and its
    mean half-way between the prior's mean, v β/(α − 1), and its median, v β/(α − 1/3) or nearly:
    β = mean (α − 2/3)/v. Half-way is ours: in simulated fleets 55 to 60 % of the services fell due
    before their middle dates by the mean, 45 to 50 % by the median. A rig without others begins
    from its own mean, as the prior's, with the widest spread.
    """
    mean = fleet.mean
    if mean is None:
        mean = own.used / own.use_days if own.use_days > 0 else 0.0
    if mean <= 0:
        return None
    squared = _settled(own, spread=fleet.spread, short_spread=fleet.short_spread)
    shape = 1 / squared
    day_shape = 1 / _beside(own.day_spread, fleet.day_spread, otherwise=squared)
    alpha = 2 + 1 / fleet.between
    # Its own mean alone is the mean that people are shown.
    beta = mean * (alpha - (1 if fleet.mean is None else 2 / 3)) / shape
    return Rate(
        shape=shape,
        day_shape=day_shape,
        alpha=alpha + shape * own.use_days,
        beta=beta + own.used,
        own_days=own.seen_days,
        fleet_rigs=fleet.rigs,
    )


def _with_use_days(
    days: Floats, use_days: Floats, used: Floats, ages: Floats
) -> tuple[Floats, Floats, Floats, Floats]:
    """Add spans without use-days to the next that has some; what is left at the end is dropped."""
    there = np.flatnonzero(use_days > 1e-9)
    if not len(there):
        return tuple(np.zeros(0) for _ in range(4))  # type: ignore[return-value]
    starts = np.concatenate(([0], there[:-1] + 1))
    end = int(there[-1]) + 1
    return (
        np.add.reduceat(days[:end], starts),
        np.add.reduceat(use_days[:end], starts),
        np.add.reduceat(used[:end], starts),
        ages[there],
    )


def _sums(days: Floats, use_days: Floats, used: Floats, *, length: float) -> tuple[Floats, Floats]:
    """Add increments up to sums of at least a length; what is left goes to the last of them."""
    starts, so_far = [0], 0.0
    for at, each in enumerate(days.tolist()):
        so_far += each
        if so_far >= length and at + 1 < len(days):
            starts.append(at + 1)
            so_far = 0.0
    if len(starts) > 1 and so_far < length:
        starts.pop()
    return np.add.reduceat(use_days, starts), np.add.reduceat(used, starts)


def _spread(use_days: Floats, used: Floats) -> Spread:
    """Return the spread of one use-day: Σ (x − mτ)²/τ / (n − 1), over m²; unbiased above m²."""
    if len(used) < 2 or used.sum() <= 0:
        return Spread()
    mean = used.sum() / use_days.sum()
    squared = ((used - mean * use_days) ** 2 / use_days).sum() / (len(used) - 1) / mean**2
    return Spread(squared=float(squared), freedom=float(len(used) - 1))


def _pooled(weighted: float, freedom: float) -> Spread:
    if freedom < 0.5:
        return Spread()
    return Spread(squared=min(max(weighted / freedom, SPREAD[0]), SPREAD[1]), freedom=freedom)


def _settled(own: Own, *, spread: Spread, short_spread: Spread) -> float:
    """Return a rig's spread over three weeks, beside the fleet's, beside what single weeks say."""
    short = _weighed(
        (UNKNOWN_SUMS, UNKNOWN_SPREAD / WIDER),
        (short_spread.freedom, short_spread.squared),
        (own.short_spread.freedom, own.short_spread.squared),
    )
    guess = WIDER * short
    fleet = _weighed((FLEET_SUMS, guess), (spread.freedom, spread.squared))
    squared = _weighed((FLEET_SUMS, fleet), (own.spread.freedom, own.spread.squared))
    return float(np.clip(squared, *SPREAD))


def _weighed(*parts: tuple[float, float]) -> float:
    return sum(weight * value for weight, value in parts) / sum(weight for weight, _ in parts)


def _beside(own: Spread, fleet: Spread, *, otherwise: float = UNKNOWN_SPREAD) -> float:
    """Return a rig's spread, drawn towards the fleet's while its own sums are few."""
    guess = fleet.squared if fleet.freedom else otherwise
    # Beside a mere guess even few sums of its own count for more.
    weight = FLEET_SUMS if fleet.freedom else 2.0
    squared = (weight * guess + own.freedom * own.squared) / (weight + own.freedom)
    return float(np.clip(squared, *SPREAD))
