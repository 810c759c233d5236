"""Whether one pump of a pair has begun to slip: side A against side B, shift by shift.

Each shift gives one figure, y = ln(V_A / V_B), its imbalance. A pair has a balance of its own,
so y is compared with the pair's baseline, not with zero:

    z = (y − baseline) / s,    s² = the pair's own spread² + counting error²

Counting error. A face shows whole steps q, and where inside a step a shift began and ended is not
known: the count is off by the difference of two places in a step, evenly spread, so its variance
is q²/12 + q²/12 = q²/6. For n counted this is a relative error of q / (n √6), and for both sides

    error² = (q_A/n_A)²/6 + (q_B/n_B)²/6:

it grows as a shift gets shorter. `tests/equipment/test_sides.py` simulates it.

Baseline and spread come from the first 8 to 20 shifts after an exchange or rebuild of either
pump, robustly: the Hodges–Lehmann centre (median of the means of all pairs; J. L. Hodges and
E. L. Lehmann, Ann. Math. Stat. 34, 1963) and the median distance between all pairs, made
consistent for the normal distribution (M. I. Shamos 1976; Rousseeuw and Croux, JASA 88, 1993).
Both sources from memory; the tests check the figures. From the ninth shift on each is watched
against the baseline of those before it; after the twentieth the baseline stays.

One rule gives the signal: the moving average of z, each z counted as 3 at most, passes ±1.2. One
odd shift, however odd, moves the average by 0.6 and signals nothing on its own. The average starts
at zero when the baseline is least sure, which is why one limit serves throughout: found by
simulation with the baseline estimated, so that healthy pairs give

    about one false alarm in 600 shifts watched where shifts are independent and normal,
    in 470 where their tails are heavy (Student's t with 5 degrees of freedom),
    in 260 where neighbouring shifts resemble each other (correlation 0.2), in 180 at 0.3,

over 150 shifts after each fresh baseline. A pair of spread 1 % that jumps at its 41st shift is
noticed in the middle case after 5 shifts (2 %), 3 shifts (5 %) or 3 shifts (10 %); one that drifts
evenly over 20 shifts after 16 (to 2 %), 9 (to 5 %) or 6 (to 10 %). The tests print all of these.

This says that a pair has changed. It gives no odds that anything breaks.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from itertools import pairwise
from statistics import median
from typing import Final

from equipment.charts import changed_at, cusum

A: Final = "A"
B: Final = "B"

# How the two pumps are driven.
APART: Final = "apart"
LINKED: Final = "linked"
NOT_KNOWN: Final = ""

# What of the two sides is compared.
STROKES: Final = "strokes"
FLOW: Final = "flow"
PRESSURE: Final = "pressure"

# Why a shift is left out.
NO_FIGURE: Final = "a side was not read"
STOOD_STILL: Final = "a side stood still"
AT_LEAST: Final = "something was counted that nobody saw"
CHANGED: Final = "a pump was changed or rebuilt in it"
TOO_SHORT: Final = "too short to compare"

#: Makes the median distance between pairs a standard deviation: 1 / (√2 Φ⁻¹(3/4)).
_CONSISTENT: Final = 1 / (math.sqrt(2) * 0.6744897501960817)


@dataclass(frozen=True, slots=True)
class Rules:
    """What may be set; the rate of false alarms above holds for these figures.

    weight, limit, cap: of the moving average of z. [1] first, last: shifts in a baseline, 2 <=
    first <= last. least_spread: a pair steadier than this counts as no steadier, so that
    nobody opens a pump for less than half a per cent. [1] most_error: a shift with more counting
    error is too short to compare. [1] least_count: and one in which a side counted less: a warm-up
    or a flush, not a shift. [counts]
    """

    weight: float = 0.2
    limit: float = 1.2
    cap: float = 3.0
    first: int = 8
    last: int = 20
    least_spread: float = 0.005
    most_error: float = 0.02
    least_count: float = 100.0


#: For figures that are no counts: mean flow or pressure of a shift.
MEASURED: Final = Rules(least_count=0.0)


@dataclass(frozen=True, slots=True)
class Count:
    """What one side counted in a shift, or a mean measured over it.

    amount: counted, >= 0. [counts] worth: of one count, > 0: its displacement, so that pumps of
    different size compare. [gal, in³ … the same on both sides] step: the smallest difference the
    face can show, >= 0; 0 for what is not counted. [counts]
    """

    amount: float
    worth: float = 1.0
    step: float = 0.0


@dataclass(frozen=True, slots=True)
class Shift:
    """One shift: its day, when it began and ended, what each side did (None: not read).

    is_at_least: some of a count could not be seen, so the figures are not the whole truth.
    """

    day: date
    begins: datetime
    ends: datetime
    a: Count | None
    b: Count | None
    is_at_least: bool = False


@dataclass(frozen=True, slots=True)
class Baseline:
    """The pair's own balance: centre of y, its spread without counting error, shifts behind it."""

    centre: float
    spread: float
    shifts: int


@dataclass(frozen=True, slots=True)
class Point:
    """A shift on the chart.

    left_out: why it is not compared, or "". y: ln(V_A/V_B), error: its counting error; None where
    a side gives no figure. baseline: that of the shifts before it, None while those are too few.
    z, average: the figure and the moving average after it, None where not watched.
    is_out: the average lies past its limit.
    """

    shift: Shift
    left_out: str = ""
    y: float | None = None
    error: float = 0.0
    baseline: Baseline | None = None
    z: float | None = None
    average: float | None = None
    is_out: bool = False


@dataclass(frozen=True, slots=True)
class Signal:
    """The pair has left its baseline.

    more: A or B, the side that does more than its baseline says. since: the shift with which it
    seems to have begun. found_on: the shift at which the average passed its limit.
    size: by how much V_A/V_B, or V_B/V_A where B does more, is larger than its baseline in the
    middle shift from `since` on. [1] shifts: how many are behind that, up to the last one past the
    limit. is_back: the newest shifts lie within again.
    """

    more: str
    since: date
    found_on: date
    size: float
    shifts: int
    is_back: bool


@dataclass(frozen=True, slots=True)
class Standing:
    """Where the watch of a pair stands: all that the next shift needs of those before it.

    ys, errors: of the shifts in the baseline. average: the moving average so far.
    """

    ys: tuple[float, ...] = ()
    errors: tuple[float, ...] = ()
    average: float = 0.0


@dataclass(frozen=True, slots=True)
class Chart:
    """Every shift, and what they say after the last change.

    baseline: as it stands now; None while too few shifts are in. missing: how many more it takes.
    began_at: the change after which the pair is looked at; None: from the first shift on.
    """

    points: tuple[Point, ...]
    baseline: Baseline | None
    missing: int
    began_at: datetime | None
    signal: Signal | None
    standing: Standing = Standing()


def imbalance(a: Count, b: Count) -> float:
    """Return ln(V_A / V_B), volumes being amount × worth. [1]

    0.02 means that A moved 2 % more than B. Raises ValueError where a side counted nothing or one
    count is worth nothing: no balance, not a balanced one.
    """
    if a.amount <= 0 or b.amount <= 0:
        raise ValueError("Where a side counted nothing there is no balance to speak of.")
    if a.worth <= 0 or b.worth <= 0:
        raise ValueError("One count is worth more than nothing.")
    return math.log(a.amount * a.worth) - math.log(b.amount * b.worth)


def counting_error(a: Count, b: Count) -> float:
    """Return the standard deviation that the steps of both faces give to `imbalance`. [1]

    √((q_A/n_A)² + (q_B/n_B)²) / √6, derived in the head of this module.
    Raises ValueError where a side counted nothing or a step is below zero.
    """
    if a.amount <= 0 or b.amount <= 0:
        raise ValueError("Where a side counted nothing there is no balance to speak of.")
    if a.step < 0 or b.step < 0:
        raise ValueError("A face has no step below zero.")
    return math.hypot(a.step / a.amount, b.step / b.amount) / math.sqrt(6)


def baseline_of(ys: Sequence[float], errors: Sequence[float], *, rules: Rules) -> Baseline:
    """Return centre and spread of a pair's first shifts, little moved by a few odd ones.

    ys: two or more. errors: the counting error of each. Raises ValueError for fewer or unlike.
    """
    if len(ys) < 2 or len(ys) != len(errors):
        raise ValueError("A baseline needs two shifts or more, each with its error.")
    count = len(ys)
    centre = median((ys[i] + ys[j]) / 2 for i in range(count) for j in range(i, count))
    seen = _CONSISTENT * median(abs(ys[i] - ys[j]) for i in range(count) for j in range(i))
    own = math.sqrt(max(seen**2 - median(error**2 for error in errors), 0.0))
    return Baseline(centre=centre, spread=max(own, rules.least_spread), shifts=count)


def chart(
    shifts: Sequence[Shift], *, changes: Sequence[datetime] = (), rules: Rules | None = None
) -> Chart:
    """Return the chart of a pair.

    shifts: in order of time. changes: when either pump was exchanged or rebuilt, or somebody said
    that the pair is right as it runs, in any order: each begins a fresh baseline. A shift in which
    one falls is left out.
    Raises ValueError for shifts out of order.
    """
    rules = rules or Rules()
    if any(later.begins < earlier.begins for earlier, later in pairwise(shifts)):
        raise ValueError("The shifts are not in order of time.")
    ordered = sorted(changes)
    points: list[Point] = []
    run = _Run(rules)
    began, place = None, 0
    for shift in shifts:
        while place < len(ordered) and ordered[place] <= shift.begins:
            began, run, place = ordered[place], _Run(rules), place + 1
        if place < len(ordered) and ordered[place] < shift.ends:
            points.append(Point(shift=shift, left_out=CHANGED))
            continue
        points.append(run.take(shift))
    if place < len(ordered):
        # Changed after or in the last shift: nothing of the pair as it is now has been seen.
        began, run = ordered[-1], _Run(rules)
    return Chart(
        points=tuple(points),
        baseline=run.baseline,
        missing=max(rules.first - len(run.ys), 0),
        began_at=began,
        signal=run.signal(),
        standing=run.standing(),
    )


def advance(standing: Standing, shift: Shift, *, rules: Rules) -> tuple[Standing, Point]:
    """Return what one more shift is on the chart, and where the watch stands after it.

    The same as `chart` over all of them, without reading them all.
    """
    run = _Run(rules, standing)
    point = run.take(shift)
    return run.standing(), point


class _Run:
    """The shifts since one change."""

    def __init__(self, rules: Rules, standing: Standing | None = None) -> None:
        standing = standing or Standing()
        self.rules = rules
        self.ys = list(standing.ys)
        self.errors = list(standing.errors)
        self.average = standing.average
        self.watched: list[Point] = []
        self.baseline: Baseline | None = None
        if len(self.ys) >= rules.first:
            self.baseline = baseline_of(self.ys, self.errors, rules=rules)

    def standing(self) -> Standing:
        return Standing(tuple(self.ys), tuple(self.errors), self.average)

    def take(self, shift: Shift) -> Point:
        rules = self.rules
        if shift.a is None or shift.b is None:
            return Point(shift=shift, left_out=NO_FIGURE)
        if shift.a.amount <= 0 or shift.b.amount <= 0:
            return Point(shift=shift, left_out=STOOD_STILL)
        y, error = imbalance(shift.a, shift.b), counting_error(shift.a, shift.b)
        if shift.is_at_least:
            return Point(shift=shift, left_out=AT_LEAST, y=y, error=error)
        if min(shift.a.amount, shift.b.amount) < rules.least_count or error > rules.most_error:
            return Point(shift=shift, left_out=TOO_SHORT, y=y, error=error)
        point = self._watch(shift, y, error)
        # What lies past the limit is no part of how the pair runs when it is well.
        if len(self.ys) < rules.last and not point.is_out:
            self.ys.append(y)
            self.errors.append(error)
            if len(self.ys) >= rules.first:
                self.baseline = baseline_of(self.ys, self.errors, rules=rules)
        return point

    def _watch(self, shift: Shift, y: float, error: float) -> Point:
        if self.baseline is None:
            return Point(shift=shift, y=y, error=error)
        rules = self.rules
        z = (y - self.baseline.centre) / math.hypot(self.baseline.spread, error)
        capped = min(max(z, -rules.cap), rules.cap)
        self.average += rules.weight * (capped - self.average)
        point = Point(
            shift=shift,
            y=y,
            error=error,
            baseline=self.baseline,
            z=z,
            average=self.average,
            is_out=abs(self.average) > rules.limit,
        )
        self.watched.append(point)
        return point

    def signal(self) -> Signal | None:
        """The first time the average passed its limit in this run, and what followed."""
        rules = self.rules
        found = next((place for place, point in enumerate(self.watched) if point.is_out), None)
        if found is None:
            return None
        averages = [point.average or 0.0 for point in self.watched]
        sign = math.copysign(1.0, averages[found])
        until = max(place for place, each in enumerate(averages) if sign * each > rules.limit)
        capped = [min(max(point.z or 0.0, -rules.cap), rules.cap) for point in self.watched]
        totals = cusum(capped, target=0.0, k=0.0, h=math.inf).total
        since = self.watched[min(changed_at(totals, until=until), found) : until + 1]
        off = median((p.y or 0.0) - p.baseline.centre for p in since if p.baseline is not None)
        return Signal(
            more=A if sign > 0 else B,
            since=since[0].shift.day,
            found_on=self.watched[found].shift.day,
            size=math.expm1(abs(off)),
            shifts=len(since),
            # Half way back, so that an average that lingers at the limit is not called well.
            is_back=sign * averages[-1] < rules.limit / 2,
        )
