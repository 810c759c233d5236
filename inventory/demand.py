"""What a part may be asked for before a day: exact chances, in whole steps.

Three sources, added up:

- *Services.* Those of one rig move with one usage: when the rig works hard, all of them come early.
  So the demand of a rig is a step function of its usage, and its services are thresholds on it.
  Rigs are independent of each other. Where each rig has one service, this is the Poisson-binomial
  distribution.
- *What breaks unplanned*: Poisson, or negative binomial while its rate is uncertain.
- *What is certain*: reserved by an open sheet, or past due. A threshold with the chance 1.

The lead time is mixed last, over whole distributions: mixing the chances first gives too thin a
tail. Everything is convolved exactly, for many parts at once, in blocks.

Sources: the sum of thresholds on one common variable is the comonotone sum (Dhaene et al. 2002,
Insurance: Mathematics and Economics 31, 3-33); Poisson-binomial: Wang 1993, Statistica Sinica 3,
295-312; Poisson with a gamma rate is negative binomial: Greenwood and Yule 1920.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

Chances = NDArray[np.float64]
Whole = NDArray[np.int64]

#: More of it breaks unplanned with less than this chance: beyond, counts are left out. [1]
TAIL: Final = 1e-12
#: No part breaks more often than this before an order arrives. [events]
MOST_BREAKAGES: Final = 1_000
#: A rate known less well than this says nothing, in very many points. [1]
LEAST_SHAPE: Final = 0.05
#: Points of one distribution; a finer one is made coarser, each quantity rounded up. [1]
MOST_POINTS: Final = 50_000
#: Points of one block of parts, so that it stays in the processor's cache. [1]
BLOCK_POINTS: Final = 1 << 15
#: Weights and falling chances may be off by the rounding of whoever computed them. [1]
SLACK: Final = 1e-9


@dataclass(frozen=True, slots=True)
class ServiceOdds:
    """One service of one rig: how likely each of its renewals falls due by the day.

    chances: P(the n-th renewal is due by the day) for n = 1, 2, …, that is P(use >= remaining +
        (n - 1) × interval); each 0 to 1, none above the one before. [1]
    quantity_steps: what one renewal takes of the part, >= 1. [steps]
    """

    chances: tuple[float, ...]
    quantity_steps: int = 1


@dataclass(frozen=True, slots=True)
class Breakage:
    """What breaks unplanned by the day.

    mean: expected events, 0 to `MOST_BREAKAGES`. [1]
    shape: of the gamma distribution of the rate, >= `LEAST_SHAPE`; None when the rate is known. The
        smaller, the less is known: the variance is mean + mean² / shape.
    quantity_steps: what one event takes of the part, >= 1. [steps]
    """

    mean: float
    shape: float | None = None
    quantity_steps: int = 1


NO_BREAKAGE: Final = Breakage(mean=0.0)


def learnt_breakage(
    *, shape: float, exposure_days: float, days: float, quantity_steps: int = 1
) -> Breakage:
    """Return what breaks in so many days at a rate known as gamma(shape, exposure).

    shape: prior shape + events seen, >= `LEAST_SHAPE`. [1]
    exposure_days: prior exposure + days watched, > 0. [days]
    days: lead time and review period together, >= 0. [days]
    The posterior predictive is negative binomial with mean shape × days / exposure (Gelman et al.,
    Bayesian Data Analysis, sec. 2.6). Raises ValueError outside those ranges.
    """
    if not (shape >= LEAST_SHAPE and exposure_days > 0 and days >= 0):
        raise ValueError("A learnt rate has a shape and an exposure above zero, and days ahead.")
    return Breakage(mean=shape * days / exposure_days, shape=shape, quantity_steps=quantity_steps)


@dataclass(frozen=True, slots=True)
class Scenario:
    """What may be asked for if the order takes this long.

    weight: how likely that is, > 0; those of one part add up to 1. [1]
    rigs: by rig, its services; those of one rig move together, rigs do not.
    breakage: what breaks unplanned meanwhile.
    certain_steps: what is needed for certain meanwhile and is not among `rigs`, >= 0. [steps]
    days: lead time and review period of this scenario, for the reasons shown; not computed with.
    """

    weight: float
    rigs: tuple[tuple[ServiceOdds, ...], ...] = ()
    breakage: Breakage = NO_BREAKAGE
    certain_steps: int = 0
    days: int | None = None


@dataclass(frozen=True, slots=True, eq=False)
class Demand:
    """The distribution of what a part is asked for.

    chances[k] = P(demand = k × unit_steps); they add up to 1. [1]
    unit_steps: >= 1; demand comes in whole multiples of it. [steps]
    """

    unit_steps: int
    chances: Chances

    @property
    def steps(self) -> Whole:
        """The amounts that `chances` belong to. [steps]"""
        return np.arange(len(self.chances), dtype=np.int64) * self.unit_steps

    @property
    def mean_steps(self) -> float:
        return float(self.chances @ self.steps)

    @property
    def variance_steps2(self) -> float:
        return float(self.chances @ np.square(self.steps - self.mean_steps))

    def chance_within(self, steps: int) -> float:
        """Return P(demand <= steps); steps may be any whole number. [1]"""
        if steps < 0:
            return 0.0
        return min(1.0, float(self.chances[: steps // self.unit_steps + 1].sum()))

    def chance_of(self, steps: int) -> float:
        """Return P(demand = steps); steps may be any whole number. [1]"""
        point, over = divmod(steps, self.unit_steps)
        return float(self.chances[point]) if not over and 0 <= point < len(self.chances) else 0.0

    def served_steps(self, steps: int) -> float:
        """Return the expected part of the demand that so much stock serves, E min(D, s). [steps]

        steps: >= 0, else ValueError.
        """
        if steps < 0:
            raise ValueError("Stock is not below zero.")
        return float(self.chances @ np.minimum(self.steps, steps))


@dataclass(frozen=True, slots=True, eq=False)
class Cases:
    """Every lead time of every part, as columns of one length.

    part: from 0, rising by 1 from part to part; the cases of one part together.
    weight: > 0; those of one part add up to 1. [1]
    breakage_mean, breakage_shape, breakage_steps: as in `Breakage`; shape inf when the rate is
        known.
    """

    part: Whole
    weight: Chances
    breakage_mean: Chances
    breakage_shape: Chances
    breakage_steps: Whole


@dataclass(frozen=True, slots=True, eq=False)
class Thresholds:
    """One row for each renewal that may fall due, as columns of one length, in any order.

    case: which of the `Cases`, from 0.
    rig: a number of the rig; renewals of one case and rig move together.
    chance: that the renewal is due by the day, 0 to 1. [1]
    quantity_steps: what it takes, >= 1. [steps]
    """

    case: Whole
    rig: Whole
    chance: Chances
    quantity_steps: Whole


@dataclass(frozen=True, slots=True, eq=False)
class Block:
    """The distributions of several parts.

    part: which parts, one for each column of `chances`.
    unit_steps: by part, as in `Demand`. [steps]
    chances: points × parts; shorter distributions end in zeros.
    """

    part: Whole
    unit_steps: Whole
    chances: Chances

    def demand(self, column: int) -> Demand:
        """Return the distribution of one column, without the zeros at its end."""
        chances = self.chances[:, column]
        length = int(np.flatnonzero(chances)[-1]) + 1
        return Demand(int(self.unit_steps[column]), chances[:length].copy())


def part_demand(scenarios: Sequence[Scenario]) -> Demand:
    """Return what a part may be asked for, mixed over its lead times.

    scenarios: at least one; weights add up to 1. Exact but for the tail of what breaks unplanned
    (see `TAIL`) and for parts finer than `MOST_POINTS`, whose quantities are rounded up.
    Raises ValueError for anything outside the ranges of `Scenario`.
    """
    (block,) = demand_blocks(*columns_of([scenarios]))
    return block.demand(0)


def demands_of(parts: Sequence[Sequence[Scenario]]) -> list[Demand]:
    """Return for each part what `part_demand` does, all of them in blocks together."""
    found: list[Demand | None] = [None] * len(parts)
    for block in demand_blocks(*columns_of(parts)):
        for column, part in enumerate(block.part.tolist()):
            found[part] = block.demand(column)
    return [each for each in found if each is not None]


def rig_demand(services: Sequence[ServiceOdds]) -> Demand:
    """Return the demand of one rig, whose services move together.

    With U uniform on 0 to 1, D = Σ quantity × [U <= chance]: sort the chances, take differences.
    """
    return part_demand([Scenario(weight=1.0, rigs=(tuple(services),))])


def independent_demand(
    chances: Sequence[float], quantities_steps: Sequence[int] | None = None
) -> Demand:
    """Return the demand of services that have nothing to do with each other (Poisson-binomial).

    chances: of each being due, 0 to 1. [1]
    quantities_steps: what each takes, >= 1; one step each when None. [steps]
    Raises ValueError outside those ranges, or for two lengths.
    """
    quantities = [1] * len(chances) if quantities_steps is None else quantities_steps
    if len(quantities) != len(chances):
        raise ValueError("Each service has one chance and one quantity.")
    rigs = tuple(
        (ServiceOdds((chance,), quantity),)
        for chance, quantity in zip(chances, quantities, strict=True)
    )
    return part_demand([Scenario(weight=1.0, rigs=rigs)])


def columns_of(parts: Sequence[Sequence[Scenario]]) -> tuple[Thresholds, Cases]:
    """Return the scenarios of each part as columns, checked.

    Raises ValueError for chances that rise from one renewal of a service to the next, and for a
    certain quantity below zero; `demand_blocks` checks the rest.
    """
    rows: list[tuple[int, int, float, int]] = []
    cases: list[tuple[int, float, float, float, int]] = []
    for part, scenarios in enumerate(parts):
        if not scenarios:
            raise ValueError("A part has at least one lead time.")
        for scenario in scenarios:
            case = len(cases)
            broken = scenario.breakage
            shape = np.inf if broken.shape is None else broken.shape
            cases.append((part, scenario.weight, broken.mean, shape, broken.quantity_steps))
            if scenario.certain_steps < 0:
                raise ValueError("What is certain is not below zero.")
            if scenario.certain_steps:
                rows.append((case, -1, 1.0, scenario.certain_steps))
            for rig, services in enumerate(scenario.rigs):
                for service in services:
                    if any(np.diff(service.chances) > SLACK):
                        raise ValueError("A renewal is no likelier than the one before it.")
                    rows += [(case, rig, p, service.quantity_steps) for p in service.chances]
    return (
        Thresholds(*_as_columns(rows, (np.int64, np.int64, np.float64, np.int64))),
        Cases(*_as_columns(cases, (np.int64, np.float64, np.float64, np.float64, np.int64))),
    )


def _as_columns(rows: Sequence[tuple[Any, ...]], kinds: Sequence[type]) -> Iterator[NDArray[Any]]:
    columns = list(zip(*rows, strict=True)) or [()] * len(kinds)
    return (np.array(column, dtype=kind) for column, kind in zip(columns, kinds, strict=True))


def demand_blocks(thresholds: Thresholds, cases: Cases) -> Iterator[Block]:
    """Yield the demand of every part, each part once, parts of like size together.

    Raises ValueError for columns outside the ranges of `Thresholds` and `Cases`.
    """
    _refuse(thresholds, cases)
    atoms = _atoms(thresholds, cases)
    first_case = np.flatnonzero(np.diff(cases.part, prepend=-1))
    case_count = np.diff(first_case, append=len(cases.part))
    # The points of a part: the widest of its cases.
    points = np.maximum.reduceat(atoms.points, first_case) if len(first_case) else atoms.points
    by_size = np.argsort(points, kind="stable")
    at = 0
    while at < len(by_size):
        # Sorted by points, so the last part of a block is the widest.
        widths = points[by_size[at:]] * np.cumsum(case_count[by_size[at:]])
        upto = at + max(1, int(np.searchsorted(widths, BLOCK_POINTS, side="right")))
        parts = by_size[at:upto]
        yield _block(parts, first_case[parts], case_count[parts], atoms, cases)
        at = upto


def _refuse(thresholds: Thresholds, cases: Cases) -> None:
    steps = np.diff(cases.part, prepend=-1)
    if len(steps) and (steps[0] != 1 or ((steps != 0) & (steps != 1)).any()):
        raise ValueError("Parts are numbered from 0, their cases together.")
    if not (cases.weight > 0).all():
        raise ValueError("A lead time has a weight above zero.")
    if len(steps) and (np.abs(np.bincount(cases.part, cases.weight) - 1) > SLACK).any():
        raise ValueError("The weights of a part's lead times add up to 1.")
    if not ((cases.breakage_mean >= 0) & (cases.breakage_mean <= MOST_BREAKAGES)).all():
        raise ValueError(f"What breaks is expected 0 to {MOST_BREAKAGES} times.")
    if not (cases.breakage_shape >= LEAST_SHAPE).all():
        raise ValueError(f"The shape of an uncertain rate is {LEAST_SHAPE} or more.")
    if not ((thresholds.chance >= 0) & (thresholds.chance <= 1)).all():
        raise ValueError("A chance lies between 0 and 1.")
    if (thresholds.quantity_steps < 1).any() or (cases.breakage_steps < 1).any():
        raise ValueError("A service or a breakage takes at least one step.")
    if len(thresholds.case) and not (
        thresholds.case.min() >= 0 and thresholds.case.max() < len(cases.part)
    ):
        raise ValueError("A threshold belongs to no case.")


@dataclass(frozen=True, slots=True, eq=False)
class _Atoms:
    """The steps of each rig's demand, sorted by case and rig.

    By row: turn (which of its case's rigs, the widest first), value in units, chance of just that.
    By rig: its case, turn, span in units, chance of nothing. By case: where its rows and rigs
    begin, and its points. By part: its unit.
    """

    turn: Whole
    value: Whole
    chance: Chances
    rig_turn: Whole
    rig_span: Whole
    rig_none: Chances
    first_row: Whole
    first_rig: Whole
    points: Whole
    unit_steps: Whole
    breakage_units: Whole
    breakage_events: Whole


def _atoms(thresholds: Thresholds, cases: Cases) -> _Atoms:
    possible = thresholds.chance > 0
    order = np.lexsort((-thresholds.chance, thresholds.rig, thresholds.case))
    order = order[possible[order]]
    case, rig = thresholds.case[order], thresholds.rig[order]
    chance, quantity = thresholds.chance[order], thresholds.quantity_steps[order]
    events = _most_events(cases)
    unit = _units(case, quantity, cases, events)
    quantity = -(-quantity // unit[cases.part[case]])
    broken = -(-cases.breakage_steps // unit[cases.part])

    begins = np.ones(len(case), dtype=bool)
    begins[1:] = (case[1:] != case[:-1]) | (rig[1:] != rig[:-1])
    first = np.flatnonzero(begins)
    of_rig = np.cumsum(begins) - 1
    total = np.cumsum(quantity)
    value = total - (total[first] - quantity[first])[of_rig]
    # Just so many: this threshold passed and the next of the rig not.
    after = np.append(chance[1:], 0.0)
    after[first[1:] - 1] = 0.0
    after[-1:] = 0.0
    rig_case = case[first]
    rig_span = value[np.append(first[1:], len(case)) - 1] if len(first) else value[:0]
    by_span = np.lexsort((-rig_span, rig_case))
    first_rig = np.searchsorted(rig_case, np.arange(len(cases.part) + 1))
    rig_turn = np.empty_like(rig_case)
    rig_turn[by_span] = np.arange(len(by_span)) - first_rig[rig_case]
    points = np.bincount(rig_case, rig_span, minlength=len(cases.part)).astype(np.int64)
    return _Atoms(
        turn=rig_turn[of_rig],
        value=value,
        chance=chance - after,
        rig_turn=rig_turn,
        rig_span=rig_span,
        rig_none=1.0 - chance[first],
        first_row=np.searchsorted(case, np.arange(len(cases.part) + 1)),
        first_rig=first_rig,
        points=points + events * broken + 1,
        unit_steps=unit,
        breakage_units=broken,
        breakage_events=events,
    )


def _units(case: Whole, quantity: Whole, cases: Cases, events: Whole) -> Whole:
    """Return what all quantities of a part are multiples of, or coarser for very fine parts."""
    parts = int(cases.part[-1]) + 1 if len(cases.part) else 0
    unit = np.zeros(parts, dtype=np.int64)
    of_row = cases.part[case]
    if len(of_row):
        first = np.flatnonzero(np.diff(of_row, prepend=-1))
        unit[of_row[first]] = np.gcd.reduceat(quantity, first)
    breaks = events > 0
    np.gcd.at(unit, cases.part[breaks], cases.breakage_steps[breaks])
    unit = np.maximum(unit, 1)
    whole = np.bincount(case, quantity, minlength=len(cases.part)) + events * cases.breakage_steps
    widest = np.zeros(parts)
    np.maximum.at(widest, cases.part, whole)
    return np.maximum(unit, np.ceil(widest / MOST_POINTS).astype(np.int64))


def _most_events(cases: Cases) -> Whole:
    """Return by case how many breakages are exceeded with less than `TAIL`."""
    mean, shape = cases.breakage_mean, cases.breakage_shape
    most = np.zeros(len(mean), dtype=np.int64)
    left = np.flatnonzero(mean > 0)
    tried = np.ceil(mean + 4.0 * np.sqrt(mean + mean**2 / shape) + 8.0)
    while len(left):
        rare = _chance_above(tried[left], mean[left], shape[left]) < TAIL
        most[left[rare]] = tried[left[rare]]
        left = left[~rare]
        tried[left] = np.ceil(tried[left] * 1.25)
    return most


def _chance_above(count: Chances, mean: Chances, shape: Chances) -> Chances:
    """Return P(events > count): Poisson where the shape is infinite, else negative binomial."""
    from scipy.special import betainc, gammainc

    known = np.isinf(shape)
    finite = np.where(known, 1.0, shape)
    above: Chances = np.where(
        known,
        gammainc(count + 1.0, mean),
        betainc(count + 1.0, finite, mean / (mean + finite)),
    )
    return above


def _event_chances(count: Whole, mean: Chances, shape: Chances) -> Chances:
    """Return P(events = count), counts × cases; the mean is above zero.

    Poisson: exp(-m) m^k / k!. Negative binomial: Γ(a + k) / (k! Γ(a)) (a / (a + m))^a
    (m / (a + m))^k.
    """
    from scipy.special import gammaln

    known = np.isinf(shape)
    finite = np.where(known, 1.0, shape)
    over = mean / finite
    log_poisson = count * np.log(mean) - mean
    log_uncertain = (
        gammaln(finite + count)
        - gammaln(finite)
        - finite * np.log1p(over)
        + count * (np.log(over) - np.log1p(over))
    )
    chances: Chances = np.exp(np.where(known, log_poisson, log_uncertain) - gammaln(count + 1.0))
    return chances


def _block(
    parts: Whole, first_case: Whole, case_count: Whole, atoms: _Atoms, cases: Cases
) -> Block:
    chosen = _ranges(first_case, case_count)
    rows = _ranges(atoms.first_row[chosen], np.diff(atoms.first_row)[chosen])
    rigs = _ranges(atoms.first_rig[chosen], np.diff(atoms.first_rig)[chosen])
    column_of_row = np.repeat(np.arange(len(chosen)), np.diff(atoms.first_row)[chosen])
    column_of_rig = np.repeat(np.arange(len(chosen)), np.diff(atoms.first_rig)[chosen])

    # One strip of the table for each turn, as high as its widest rig: every first rig of all
    # cases is convolved at once, then every second.
    turns = int(atoms.rig_turn[rigs].max(initial=-1)) + 1
    span = np.zeros(turns, dtype=np.int64)
    np.maximum.at(span, atoms.rig_turn[rigs], atoms.rig_span[rigs])
    begins = np.concatenate(([0], np.cumsum(span + 1)))
    table = np.zeros((begins[-1], len(chosen)))
    table[begins[:-1]] = 1.0
    table[begins[atoms.rig_turn[rigs]], column_of_rig] = atoms.rig_none[rigs]
    table[begins[atoms.turn[rows]] + atoms.value[rows], column_of_row] = atoms.chance[rows]
    strips = [table[begins[turn] : begins[turn + 1]] for turn in range(turns)]
    if atoms.breakage_events[chosen].any():
        strips.append(_breakage_strip(chosen, atoms, cases))
    # Beginning with the widest, whose points need no turn each of their own.
    chances = np.ones((1, len(chosen)))
    for strip in sorted(strips, key=len, reverse=True):
        chances = _convolved(chances, strip) if len(chances) > 1 else strip
    if len(chosen) > len(parts):
        begins = np.cumsum(case_count) - case_count
        chances = np.add.reduceat(chances * cases.weight[chosen], begins, axis=1)
    return Block(parts, atoms.unit_steps[parts], chances)


def _breakage_strip(chosen: Whole, atoms: _Atoms, cases: Cases) -> Chances:
    """Return the chances of what breaks, in units × cases."""
    events, units = atoms.breakage_events[chosen], atoms.breakage_units[chosen]
    breaks = np.flatnonzero(events)
    most = int(events.max())
    count = np.arange(most + 1, dtype=np.int64)[:, None]
    chances = _event_chances(
        count, cases.breakage_mean[chosen[breaks]], cases.breakage_shape[chosen[breaks]]
    )
    chances[count > events[breaks]] = 0.0
    # Without what is cut off, and with the rounding of large exponents, not quite 1.
    chances /= chances.sum(axis=0)
    strip = np.zeros((int((events * units).max()) + 1, len(chosen)))
    strip[0] = 1.0
    kept = count <= events[breaks]
    strip[(count * units[breaks])[kept], np.broadcast_to(breaks, kept.shape)[kept]] = chances[kept]
    return strip


def _convolved(chances: Chances, strip: Chances) -> Chances:
    """Return the distribution of the sum, column by column."""
    length = len(chances)
    summed = np.zeros((length + len(strip) - 1, chances.shape[1]))
    product = np.empty_like(chances)
    for value in np.flatnonzero(strip.any(axis=1)):
        np.multiply(chances, strip[value], out=product)
        summed[value : value + length] += product
    return summed


def _ranges(first: Whole, count: Whole) -> Whole:
    """Return first, first + 1, … of each range, one after the other."""
    begins = np.cumsum(count) - count
    return np.arange(int(count.sum())) + np.repeat(first - begins, count)
