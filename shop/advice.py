"""When to buy a part and up to how much: from plain figures to the number, and back again.

`Given` holds every figure that the number follows from; it is kept as JSON with the advice and
shown on its page. `reckon` is the one way from it to the number, so that `recompute` finds the
number again from what is kept. Pure: no Django, no clock.

Each piece counts once:

- A service of a rig is served first from what really lies in the drawer of that rig; the rest is
  asked of the shop's bins. So is what fills the drawer: to its target now, and after a service took
  from it, to what it should still hold then (`Drawer.asked_steps`).
- What an open sheet still needs is a need with the chance 1 from its day on, and stands for the
  service on it. So what is promised to sheets is not taken off what is here.
- What is on order counts with what is here. Of an order that is late, the chance that it is still
  not here in time is demand like any other, for as much as is to come of it: it counts for as much
  as it can be relied on, and no more.

Sources: design, "The mathematics", 6 and 7; `inventory.demand`, `inventory.replenishment`. What
has no source is named so beside it.
"""

import itertools
import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass
from statistics import fmean, pstdev
from typing import Any, Final

from inventory.classic import reorder_point as classic_point
from inventory.demand import (
    MOST_BREAKAGES,
    Breakage,
    Demand,
    Scenario,
    ServiceOdds,
    demands_of,
    learnt_breakage,
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

#: The chance that nothing is short, by value class, until a manager says otherwise.
#: Common practice, no source. [%]
TARGETS_PERCENT: Final = {"A": 98.0, "B": 95.0, "C": 90.0}
#: What it costs to write, receive and book one order. Common practice, no source. [cents]
ORDER_COST_CENTS: Final = 2_500
#: What it costs to keep a piece for a year, as part of its price. Common practice, no source. [1]
HOLDING_RATE: Final = 0.25
#: Lead times that nobody has observed: (times as long as the supplier says, weight). No source.
UNOBSERVED_SPREAD: Final = ((1.0, 0.6), (1.25, 0.3), (1.5, 0.1))
#: Weight of the newest period in what is smoothed (Croston recommends 0.1 to 0.2). [1]
SMOOTHING: Final = 0.1
#: Past use is looked at in periods of so many days, up to so many of them. [d], [1]
PERIOD_DAYS: Final = 28
MOST_PERIODS: Final = 26
#: The days ahead that the drawing shows. [d]
AHEAD_DAYS: Final = tuple(range(7, 57, 7))
YEAR_DAYS: Final = 365
#: Parts whose demands are worked out together.
AT_A_TIME: Final = 250
#: A service that falls due with at least this chance may fall due, with at least that is likely.
MAY: Final = 0.05
LIKELY: Final = 0.5


@dataclass(frozen=True, slots=True)
class Need:
    """A service of a rig that needs the part, or what an open sheet still needs of it.

    rig: its key; 0: none, of a component on the bench. rig_number: 0 likewise. what: in words.
    sheet: number of the open sheet, 0 for a service on none. quantity_steps: each time, > 0.
    promised_steps: of what the sheet needs, reserved for it in the bins.
    chances: by days ahead, of falling due once, twice, …; a day without chance is left out. [1]
    """

    rig: int
    rig_number: int
    what: str
    quantity_steps: int
    chances: Mapping[int, tuple[float, ...]]
    sheet: int = 0
    promised_steps: int = 0

    def by(self, days: int) -> tuple[float, ...]:
        return self.chances.get(days, ())


@dataclass(frozen=True, slots=True)
class Drawer:
    """What lies in the drawer of a rig, in date, and what should: >= 0. [steps]

    refill_steps: what it should hold again after a service took from it, at most the target.
    """

    rig: int
    rig_number: int
    here_steps: int
    target_steps: int
    refill_steps: int = 0

    @property
    def lacks_steps(self) -> int:
        return max(0, self.target_steps - self.here_steps)

    def asked_steps(self, needed_steps: int) -> int:
        """What the bins give when services of the rig need so much: it, and filling the drawer."""
        beyond = max(0, needed_steps - self.here_steps)
        left = max(0, self.here_steps - needed_steps)
        return max(self.lacks_steps, beyond + max(0, self.refill_steps - left))


@dataclass(frozen=True, slots=True)
class LateOrder:
    """What is still to come of an order that is past its day, >= 1. [steps]

    late_days: >= 1. [d] missing: by days ahead, the chance that it is not here yet by then. [1]
    """

    order: int
    steps: int
    late_days: int
    missing: Mapping[int, float]


@dataclass(frozen=True, slots=True)
class LeadTime:
    """An order takes so long with this weight; those of one part add up to 1. [d], [1]"""

    days: int
    weight: float


@dataclass(frozen=True, slots=True)
class Unplanned:
    """What was used outside of planned services, and what is believed before any is seen.

    events, steps: how often and how much in watched_days. prior_events in prior_days: what parts
    of the shop do on the whole; both > 0.
    """

    events: int
    steps: int
    watched_days: int
    prior_events: float
    prior_days: float

    @property
    def quantity_steps(self) -> int:
        """What one event takes, rounded up. [steps]"""
        return max(1, math.ceil(self.steps / self.events)) if self.events else 1

    def within(self, days: float) -> Breakage:
        """What breaks in so many days: a rate learnt from the events, as uncertain as it is."""
        learnt = learnt_breakage(
            shape=self.prior_events + self.events,
            exposure_days=self.prior_days + self.watched_days,
            days=days,
            quantity_steps=self.quantity_steps,
        )
        if learnt.mean <= MOST_BREAKAGES:
            return learnt
        return Breakage(MOST_BREAKAGES, learnt.shape, learnt.quantity_steps)


@dataclass(frozen=True, slots=True)
class Terms:
    """How the part is bought.

    prices: (from so many packs, cents of one pack), rising from 1; empty where no price is known.
    """

    pack_steps: int
    least_packs: int
    prices: tuple[tuple[int, int], ...]
    order_cost_cents: int = ORDER_COST_CENTS
    holding_rate: float = HOLDING_RATE


@dataclass(frozen=True, slots=True)
class Given:
    """All that the advice for one part follows from.

    lead_times: weights add up to 1. lead_from: where they come from, in words.
    review_days: until stock is looked at again, >= 1.
    target: the chance that nothing is short before the next order can arrive, 0 < target < 1.
    year_use_steps: what is used in a year, >= 0. unit_cents: of one unit, 0 where unknown.
    past_steps: used in each period of PERIOD_DAYS, oldest first; at most MOST_PERIODS.
    keeps_days: how long it may be used from its arrival; None: it keeps.
    usable_steps: in the shop's bins, in date. on_order_steps: still to come, late or not.
    late_orders: what of it is late.
    """

    unit_name: str
    steps_per_unit: int
    value_class: str
    target: float
    lead_times: tuple[LeadTime, ...]
    lead_from: str
    review_days: int
    needs: tuple[Need, ...]
    drawers: tuple[Drawer, ...]
    unplanned: Unplanned
    past_steps: tuple[int, ...]
    year_use_steps: float
    unit_cents: int
    terms: Terms
    keeps_days: int | None
    usable_steps: int
    on_order_steps: int
    late_orders: tuple[LateOrder, ...] = ()

    @property
    def lacks_steps(self) -> int:
        """What drawers lack: it will be taken from the shop. [steps]"""
        return sum(drawer.lacks_steps for drawer in self.drawers)

    @property
    def position_steps(self) -> int:
        """On hand and on order. [steps]"""
        return self.usable_steps + self.on_order_steps

    @property
    def spans(self) -> tuple[LeadTime, ...]:
        """Until an order can be here: lead time and review period together, the shortest first."""
        return tuple(
            LeadTime(lead.days + self.review_days, lead.weight)
            for lead in sorted(self.lead_times, key=lambda lead: lead.days)
        )

    @property
    def span_days(self) -> int:
        """The middle one of them. [d]"""
        reached = 0.0
        for span in self.spans:
            reached += span.weight
            if reached >= 0.5 - 1e-9:
                return span.days
        return self.spans[-1].days

    def scenario(self, days: int, weight: float = 1.0, *, is_with_late: bool = True) -> Scenario:
        """What the shop may be asked for within so many days.

        days: one of `spans` or of AHEAD_DAYS; the chances of others are not known.
        is_with_late: whether an order that may not be here by then counts as asked for.
        """
        late = (
            (ServiceOdds((each.missing.get(days, 0.0),), each.steps),)
            for each in (self.late_orders if is_with_late else ())
        )
        return Scenario(
            weight=weight,
            rigs=(*_asked_of_the_shop(self.needs, self.drawers, days), *late),
            breakage=self.unplanned.within(days),
            days=days,
        )

    @property
    def span_scenarios(self) -> list[Scenario]:
        return [self.scenario(span.days, span.weight) for span in self.spans]


def _asked_of_the_shop(
    needs: Sequence[Need], drawers: Sequence[Drawer], days: int
) -> Iterator[tuple[ServiceOdds, ...]]:
    """What each rig asks of the bins, beyond what its own drawer gives.

    Its services move together, so its demand is a step function of its use: the drawer serves the
    likeliest first, and what is left is again one. Components on the bench have nothing to do
    with each other.
    """
    by_rig: dict[tuple[int, int], list[tuple[float, int]]] = {}
    aboard = {(drawer.rig, 0): drawer for drawer in drawers}
    for key, drawer in aboard.items():
        if drawer.lacks_steps:
            by_rig[key] = []
    for place, need in enumerate(needs):
        key = (need.rig, 0) if need.rig else (0, place)
        by_rig.setdefault(key, []).extend((chance, need.quantity_steps) for chance in need.by(days))
    for key, thresholds in by_rig.items():
        drawer = aboard.get(key) or Drawer(0, 0, 0, 0)
        needed = 0
        before = drawer.asked_steps(0)
        asked = [ServiceOdds((1.0,), before)] if before else []
        for chance, quantity in sorted(thresholds, reverse=True):
            needed += quantity
            more = drawer.asked_steps(needed) - before
            before += more
            if more:
                asked.append(ServiceOdds((chance,), more))
        if asked:
            yield tuple(asked)


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


def unobserved_lead_times(days: int) -> tuple[LeadTime, ...]:
    """Return how long an order may take where none was observed. days: what they say, >= 0. [d]"""
    weights: dict[int, float] = {}
    for times, weight in UNOBSERVED_SPREAD:
        late = math.ceil(days * times)
        weights[late] = weights.get(late, 0.0) + weight
    return tuple(LeadTime(late, weight) for late, weight in weights.items())


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


# --- kept as JSON --------------------------------------------------------------------------------


def figures_of(given: Given, found: Found) -> dict[str, Any]:
    """Return what is kept with the advice: plain numbers, words, lists."""
    return {"given": _plain(asdict(given)), "found": _plain(asdict(found))}


def _plain(value: Any) -> Any:
    """Turn keys to words and tuples to lists, as JSON gives them back."""
    if isinstance(value, dict):
        return {str(key): _plain(each) for key, each in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(each) for each in value]
    return value


def given_of(figures: Mapping[str, Any]) -> Given:
    """Return what was given, from what is kept. Raises KeyError or TypeError for anything else."""
    kept = dict(figures["given"])
    kept["lead_times"] = tuple(LeadTime(**each) for each in kept["lead_times"])
    kept["needs"] = tuple(
        Need(
            **{
                **each,
                "chances": {int(day): tuple(odds) for day, odds in each["chances"].items()},
            }
        )
        for each in kept["needs"]
    )
    kept["drawers"] = tuple(Drawer(**each) for each in kept["drawers"])
    kept["late_orders"] = tuple(
        LateOrder(
            **{**each, "missing": {int(day): chance for day, chance in each["missing"].items()}}
        )
        for each in kept.get("late_orders", ())
    )
    kept["unplanned"] = Unplanned(**kept["unplanned"])
    prices = tuple((packs, cents) for packs, cents in kept["terms"]["prices"])
    kept["terms"] = Terms(**{**kept["terms"], "prices": prices})
    kept["past_steps"] = tuple(kept["past_steps"])
    return Given(**kept)


def found_of(figures: Mapping[str, Any]) -> Found:
    """Return what was found, from what is kept."""
    kept = dict(figures["found"])
    for name in ("at_point", "one_more", "one_fewer"):
        kept[name] = Level(**kept[name]) if kept[name] is not None else None
    kept["bounds"] = tuple(kept["bounds"])
    kept["classic"] = Classic(**kept["classic"]) if kept["classic"] else None
    kept["intermittent"] = Intermittent(**kept["intermittent"]) if kept["intermittent"] else None
    kept["ahead"] = tuple(Ahead(**each) for each in kept["ahead"])
    return Found(**kept)


def recompute(figures: Mapping[str, Any]) -> Found:
    """Return the number once more, from the figures that are kept and shown."""
    return reckon(given_of(figures))
