"""What a counter may plausibly show next, from how it was used lately.

Use is taken for a gamma process whose rate is only known from the counter's own history: what it
gains in a time t then follows a beta distribution of the second kind (design, "The mathematics",
4 and 5: x / (x + β) is beta-distributed with the shapes v·t and α = v·T, β being what was counted
in the T days looked at). Bookings are left aside: this asks about slips of the finger, it plans
nothing. What lies outside is asked about, never refused.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import ROUND_CEILING, ROUND_FLOOR, Decimal
from typing import Final

from equipment.counters import Total

#: At each end one ordinary reading in two hundred lies outside. Our own choice: rare enough not
#: to annoy.
TAIL: Final = 0.005
#: Shape for a day of use, where nothing else is known. Judged on invented fleets, no source.
USUAL_SHAPE: Final = 0.3
#: No rig works more evenly than five equal days of seven: p / (1 − p), the mean² ÷ variance of a
#: day that is worked with the chance p = 5/7.
EVENEST_SHAPE: Final = 2.5
#: A long weekend: so much of any time a rig may have stood still. Our own judgement. [d]
STANDSTILL: Final = 4.0
#: However uneven, the odds keep a finite spread: α is this at least.
LEAST_ALPHA: Final = 2.0
#: So many spreads of the usual kind are counted beside those seen: two seen weigh as much.
USUAL_WEIGHT: Final = 2
#: A shift is worked in one go, so that a few hours may hold the use of half a day. [d]
SHORTEST: Final = 0.5
#: Less history than this says nothing. [d]
LEAST_HISTORY: Final = 7.0


@dataclass(frozen=True, slots=True)
class Gain:
    """How much a counter may plausibly count in a time, 0 <= low <= high. [counter units]"""

    low: float
    high: float


@dataclass(frozen=True, slots=True)
class Expected:
    """What a face may plausibly show, last value <= low <= high. [counter units]"""

    low: Decimal
    high: Decimal

    def holds(self, value: Decimal) -> bool:
        return self.low <= value <= self.high


def narrowest_gain(*, rate_per_day: float, known_days: float, days: float) -> Gain | None:
    """Return what is plausible for the most even use there is.

    Whatever the spread, `likely_gain` is at least as wide, so what lies inside needs no look at
    the readings themselves. Parameters and None as for `likely_gain`.
    """
    if not _says_something(rate_per_day, known_days):
        return None
    return _quantiles(rate_per_day, known_days, days, EVENEST_SHAPE)


def likely_gain(
    *,
    rate_per_day: float,
    known_days: float,
    days: float,
    totals: Sequence[Total] = (),
) -> Gain | None:
    """Return how much may plausibly be counted in so many days.

    rate_per_day: mean rate over the days looked at, >= 0. [counter units / d]
    known_days: their number T, > 0. [d]
    days: time since the last reading, >= 0. [d]
    totals: of these days, in order of time; the spread is taken from them, in stretches about as
        long as the one asked about. Fewer than two: the usual spread.
    None where nothing is known: less than LEAST_HISTORY, or nothing counted in it.
    Raises ValueError outside those ranges.
    """
    if rate_per_day < 0 or known_days < 0 or days < 0:
        raise ValueError("A rate and a time cannot be below zero.")
    if not _says_something(rate_per_day, known_days):
        return None
    shape = _shape(rate_per_day, _stretches(totals, min(max(days, 1.0), known_days / 4)))
    shape = max(shape, LEAST_ALPHA / known_days)
    seen = _quantiles(rate_per_day, known_days, days, shape)
    even = _quantiles(rate_per_day, known_days, days, EVENEST_SHAPE)
    return Gain(low=min(seen.low, even.low), high=max(seen.high, even.high))


def on_the_face(
    gain: Gain,
    *,
    last_value: Decimal,
    step: Decimal,
    rollover: Decimal | None = None,
    possible: Decimal | None = None,
) -> Expected:
    """Return what the face may plausibly show: round figures that hold the gain, and no less.

    last_value: what it showed, >= 0. step: smallest difference it can show, > 0.
    rollover: the number of values it can show, or None. possible: the most that can have been
    counted (`counters.most_possible`), or None. [all in counter units]
    """
    most = Decimal(repr(gain.high))
    if possible is not None:
        most = min(most, possible + step)
    least = min(Decimal(repr(gain.low)), most)
    grain = _grain(most - least, step)
    low = max((last_value + least).quantize(grain, ROUND_FLOOR), last_value)
    high = (last_value + most).quantize(grain, ROUND_CEILING)
    if rollover is not None:
        high = min(high, rollover - step)
    return Expected(low=min(low, high), high=high)


def _says_something(rate_per_day: float, known_days: float) -> bool:
    return rate_per_day > 0 and known_days >= LEAST_HISTORY


def _quantiles(rate: float, known_days: float, days: float, shape: float) -> Gain:
    from scipy.special import betaincinv  # half a second to load, once

    alpha, beta = shape * known_days, rate * known_days

    def gained(worked: float, chance: float) -> float:
        share = float(betaincinv(shape * worked, alpha, chance)) if worked > 0 else 0.0
        return beta * share / (1 - share)

    return Gain(low=gained(days - STANDSTILL, TAIL), high=gained(max(days, SHORTEST), 1 - TAIL))


def _stretches(totals: Sequence[Total], least_days: float) -> list[tuple[float, float]]:
    """(days, gain) of stretches no shorter than asked for; a rest that is, joins the last one."""
    found: list[tuple[float, float]] = []
    begun = totals[0] if totals else None
    for total in totals[1:]:
        assert begun is not None
        days = (total.at - begun.at).total_seconds() / 86_400
        if days >= least_days:
            found.append((days, float(total.total - begun.total)))
            begun = total
    if begun is not None and found and totals[-1].at > begun.at:
        days, gained = found.pop()
        rest = (totals[-1].at - begun.at).total_seconds() / 86_400
        found.append((days + rest, gained + float(totals[-1].total - begun.total)))
    return found


def _shape(rate: float, stretches: Sequence[tuple[float, float]]) -> float:
    """Shape v for a day: rate² ÷ variance for a day, the usual spread counted in."""
    usual = rate**2 / USUAL_SHAPE
    seen = sum((gained - rate * days) ** 2 / days for days, gained in stretches)
    degrees = max(len(stretches) - 1, 0)
    if not degrees:
        return USUAL_SHAPE
    variance = (seen + USUAL_WEIGHT * usual) / (degrees + USUAL_WEIGHT)
    return min(rate**2 / variance, EVENEST_SHAPE)


def _grain(width: Decimal, step: Decimal) -> Decimal:
    """The power of ten that a range so wide is rounded to: 1,743 strokes to hundreds."""
    finest = Decimal(1).scaleb(step.normalize().adjusted())
    if width <= 0:
        return finest
    return max(Decimal(1).scaleb(width.adjusted() - 1), finest)
