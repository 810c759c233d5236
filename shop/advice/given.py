"""The figures that advice for a part follows from, and what may be asked of the shop by them."""

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from inventory.demand import (
    MOST_BREAKAGES,
    Breakage,
    Scenario,
    ServiceOdds,
    learnt_breakage,
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
#: Past use is looked at in periods of so many days, up to so many of them. [d], [1]
PERIOD_DAYS: Final = 28
MOST_PERIODS: Final = 26
#: The days ahead that the drawing shows. [d]
AHEAD_DAYS: Final = tuple(range(7, 57, 7))
YEAR_DAYS: Final = 365


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


def unobserved_lead_times(days: int) -> tuple[LeadTime, ...]:
    """Return how long an order may take where none was observed. days: what they say, >= 0. [d]"""
    weights: dict[int, float] = {}
    for times, weight in UNOBSERVED_SPREAD:
        late = math.ceil(days * times)
        weights[late] = weights.get(late, 0.0) + weight
    return tuple(LeadTime(late, weight) for late, weight in weights.items())
