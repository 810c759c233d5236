"""From the figures given to the number: when to buy a part, up to how much, and why."""

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import fmean, pstdev
from typing import Final

from inventory.classic import reorder_point as classic_point
from inventory.demand import (
    MOST_BREAKAGES,
    Breakage,
    Demand,
    Scenario,
    demands_of,
    part_demand,
)
from inventory.intermittent import croston, fading, pattern
from inventory.lead_time_demand import NormalDemand, deviations_for
from inventory.lots_to_order import price_breaks
from inventory.replenishment import (
    Level,
    OrderTerms,
    least_steps,
    level_at,
    order_quantity,
    point_of,
    surely_used_steps,
)
from shop.advice.given import (
    AHEAD_DAYS,
    PERIOD_DAYS,
    YEAR_DAYS,
    Given,
)

#: Weight of the newest period in what is smoothed (Croston recommends 0.1 to 0.2). [1]
SMOOTHING: Final = 0.1
#: Parts whose demands are worked out together.
AT_A_TIME: Final = 250
#: A service that falls due with at least this chance may fall due, with at least that is likely.
MAY: Final = 0.05
LIKELY: Final = 0.5


@dataclass(frozen=True, slots=True)
class Classic:
    """The reorder point for use that goes on as it did.

    mean_steps, sd_steps: of a period. point_steps: rounded up to whole steps.
    """

    mean_steps: float
    sd_steps: float
    deviations: float
    point_steps: int


@dataclass(frozen=True, slots=True)
class Intermittent:
    """Use of a part that is asked for now and then. [steps / period]

    kind: smooth, erratic, intermittent, lumpy. corrected: Syntetos and Boylan; fading: Teunter,
    Syntetos and Babai. point_steps: what suffices with the target at the corrected rate, Poisson.
    """

    kind: str
    corrected: float
    fading: float
    point_steps: int


@dataclass(frozen=True, slots=True)
class Ahead:
    """What will have been asked for after so many days, with 10, 50 and 90 % chance. [steps]"""

    days: int
    low: int
    middle: int
    high: int


@dataclass(frozen=True, slots=True)
class Found:
    """What follows.

    point_steps: buy when so much is left on hand and on order. order_up_to_steps: buy up to this;
        0: none is kept.
    mean_steps: expected to be asked for until an order can be here.
    unit_steps: one more or one fewer means so many.
    at_point, one_more, one_fewer: what so much stock promises.
    may_steps, likely_steps: needed by services that may fall due within the middle span, and by
        those that are likely to. unplanned_steps: expected to break meanwhile.
    lot_steps: economic lot, 0 where no price is known. bounds: what settled the order.
    usable_steps: what will very likely be used before an order expires; None: it keeps.
    may_expire_steps: of an order, what is perhaps not used before it expires.
    """

    point_steps: int
    order_up_to_steps: int
    mean_steps: float
    unit_steps: int
    at_point: Level
    one_more: Level
    one_fewer: Level | None
    may_steps: int
    likely_steps: int
    unplanned_steps: float
    lot_steps: int
    bounds: tuple[str, ...]
    usable_steps: int | None
    may_expire_steps: int
    classic: Classic | None
    intermittent: Intermittent | None
    ahead: tuple[Ahead, ...]


def reckon(given: Given) -> Found:
    """Return when to buy a part and up to how much, with its reasons.

    Raises ValueError for figures outside the ranges of `Given`.
    """
    (found,) = reckon_all([given])
    return found


def reckon_all(givens: Sequence[Given]) -> list[Found]:
    """Return the same for many parts: their demands are worked out in blocks together."""
    found: list[Found] = []
    for at in range(0, len(givens), AT_A_TIME):
        some = givens[at : at + AT_A_TIME]
        asked = [_Asked.of(given) for given in some]
        demands = iter(demands_of([each for of in asked for each in of.all_of_it]))
        for given, of in zip(some, asked, strict=True):
            found.append(_found(given, of, list(itertools.islice(demands, len(of.all_of_it)))))
    return found


@dataclass(frozen=True, slots=True)
class _Asked:
    """Every demand that the advice for one part asks for, in this order."""

    until_here: list[Scenario]
    ahead: list[list[Scenario]]
    until_expiry: list[Scenario] | None
    smoothed: list[Scenario] | None

    @classmethod
    def of(cls, given: Given) -> "_Asked":
        return cls(
            until_here=given.span_scenarios,
            ahead=[[given.scenario(days, is_with_late=False)] for days in AHEAD_DAYS],
            until_expiry=_until_expiry(given),
            smoothed=_smoothed_scenarios(given),
        )

    @property
    def all_of_it(self) -> list[list[Scenario]]:
        return [
            self.until_here,
            *self.ahead,
            *(each for each in (self.until_expiry, self.smoothed) if each is not None),
        ]


def _found(given: Given, asked: _Asked, demands: Sequence[Demand]) -> Found:
    point = point_of(demands[0], asked.until_here, target=given.target)
    rest = list(demands[1 + len(asked.ahead) :])
    usable = surely_used_steps(rest.pop(0)) if asked.until_expiry is not None else None
    slow = _intermittent(given, rest.pop(0)) if asked.smoothed is not None else None
    level = point.level.steps
    lot = _economic_lot(given)
    order = order_quantity(
        position_steps=level,
        level_steps=level + point.unit_steps,
        terms=OrderTerms(
            lot_steps=lot,
            minimum_steps=given.terms.pack_steps * given.terms.least_packs,
            pack_steps=given.terms.pack_steps,
        ),
        usable_steps=usable,
    )
    # A part that only planned services ask for is bought when one of them comes near enough.
    is_kept = level > 0 or given.unplanned.events > 0
    span = given.span_days
    chances = [(chance, need.quantity_steps) for need in given.needs for chance in need.by(span)]
    broken = given.unplanned.within(span)
    return Found(
        point_steps=level,
        order_up_to_steps=order.order_up_to_steps if is_kept else 0,
        mean_steps=point.mean_steps,
        unit_steps=point.unit_steps,
        at_point=point.level,
        one_more=point.one_more,
        one_fewer=point.one_fewer,
        may_steps=sum(steps for chance, steps in chances if chance >= MAY),
        likely_steps=sum(steps for chance, steps in chances if chance >= LIKELY),
        unplanned_steps=broken.mean * broken.quantity_steps,
        lot_steps=lot,
        bounds=tuple(str(bound) for bound in order.bounds),
        usable_steps=usable,
        may_expire_steps=order.may_expire_steps if is_kept else 0,
        classic=_classic(given),
        intermittent=slow,
        ahead=tuple(
            Ahead(days, *(_quantile(demand, chance) for chance in (0.1, 0.5, 0.9)))
            for days, demand in zip(AHEAD_DAYS, demands[1:], strict=False)
        ),
    )


def _quantile(demand: Demand, chance: float) -> int:
    """The smallest amount that is not passed with this chance. [steps]"""
    reached = 0.0
    for steps, each in zip(demand.steps.tolist(), demand.chances.tolist(), strict=True):
        reached += each
        if reached >= chance - 1e-10:
            return int(steps)
    return int(demand.steps[-1])


def chance_with(given: Given, steps: int) -> float:
    """Return the chance that so much on hand and on order suffices until an order can be here."""
    return level_at(part_demand(given.span_scenarios), max(0, steps)).reached


def _economic_lot(given: Given) -> int:
    """The lot that costs least in a year, in whole packs; 0 where no price or no use is known."""
    terms = given.terms
    yearly_packs = given.year_use_steps / terms.pack_steps
    if not terms.prices or yearly_packs <= 0 or min(price for _, price in terms.prices) <= 0:
        return 0
    # A price that rises with the number is no break.
    breaks, costs = [0.0], [float(terms.prices[0][1])]
    for packs, price in terms.prices[1:]:
        if price <= costs[-1] and packs > breaks[-1]:
            breaks.append(float(packs))
            costs.append(float(price))
    lot = price_breaks(
        demand=yearly_packs,
        fixed_cost=terms.order_cost_cents,
        holding_rate=terms.holding_rate,
        breakpoints=breaks,
        unit_costs=costs,
        minimum=terms.least_packs,
        pack=1,
    )
    return round(lot.quantity) * terms.pack_steps


def _until_expiry(given: Given) -> list[Scenario] | None:
    """What is used before an order of now expires, at the rate of a year."""
    if given.keeps_days is None:
        return None
    each = max(1, given.unplanned.quantity_steps if given.unplanned.events else _usual(given))
    times = given.year_use_steps / each * given.keeps_days / YEAR_DAYS
    used = Breakage(mean=min(times, float(MOST_BREAKAGES)), quantity_steps=each)
    return [Scenario(weight=1.0, breakage=used)]


def _usual(given: Given) -> int:
    return min((need.quantity_steps for need in given.needs), default=1)


def _classic(given: Given) -> Classic | None:
    if len(given.past_steps) < 2:
        return None
    mean, sd = fmean(given.past_steps), pstdev(given.past_steps)
    lead = sum(span.days * span.weight for span in given.lead_times)
    spread = math.sqrt(sum(span.weight * (span.days - lead) ** 2 for span in given.lead_times))
    demand = NormalDemand.over(
        mean=mean,
        sd=sd,
        lead_time=lead / PERIOD_DAYS,
        lead_time_sd=spread / PERIOD_DAYS,
        review_period=given.review_days / PERIOD_DAYS,
    )
    deviations = deviations_for(given.target)
    point = classic_point(demand, deviations=deviations).point
    return Classic(mean, sd, deviations, max(0, math.ceil(point - 1e-9)))


def _smoothed_scenarios(given: Given) -> list[Scenario] | None:
    """What is asked for at the smoothed rate of the past; None where nothing was."""
    if not any(given.past_steps):
        return None
    smoothed = croston(given.past_steps, weight=SMOOTHING)
    periods = (sum(span.days * span.weight for span in given.spans)) / PERIOD_DAYS
    each = max(1, round(smoothed.size))
    broken = Breakage(
        mean=min(float(MOST_BREAKAGES), smoothed.per_period_corrected * periods / each),
        quantity_steps=each,
    )
    return [Scenario(weight=1.0, breakage=broken)]


def _intermittent(given: Given, demand: Demand) -> Intermittent:
    return Intermittent(
        kind=pattern(given.past_steps).kind,
        corrected=croston(given.past_steps, weight=SMOOTHING).per_period_corrected,
        fading=fading(given.past_steps, size_weight=SMOOTHING, chance_weight=SMOOTHING),
        point_steps=least_steps(demand, target=given.target),
    )
