"""How much to order at once: the economic lot, price breaks, lots for a schedule.

Money, units and time are the caller's, the same in every argument. Demand is steady but for
`time_phased_lots`.

Sources: L. V. Snyder and Z.-J. M. Shen, Fundamentals of Supply Chain Theory, 2nd ed., sections
3.2 (economic order quantity), 3.4 (discounts on all units) and 3.7 (H. M. Wagner and T. M.
Whitin, Management Science 5, 1958); E. A. Silver, D. F. Pyke and D. J. Thomas, Inventory and
Production Management in Supply Chains, ch. 4. From memory; the tests check published figures.
"""

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class LotToOrder:
    """So much at once, > 0 [units], and what it costs in a unit of time. [money / time]

    price_level: place of the price that it is bought at, from 0.
    """

    quantity: float
    cost: float
    price_level: int = 0


@dataclass(frozen=True, slots=True)
class LotPlan:
    """What to order at the start of each period [units], and what that costs in all. [money]"""

    quantities: tuple[float, ...]
    cost: float


def lot_cost(
    quantity: float, *, demand: float, fixed_cost: float, holding_cost: float, unit_cost: float = 0
) -> float:
    """Return what lots of one size cost: ordering, holding, and buying. [money / time]

    quantity: > 0. [units] demand: >= 0. [units / time] fixed_cost: of one order, >= 0. [money]
    holding_cost: >= 0. [money / unit / time] unit_cost: 0 leaves out the buying. [money / unit]
    """
    return fixed_cost * demand / quantity + holding_cost * quantity / 2 + unit_cost * demand


def economic_order_quantity(*, demand: float, fixed_cost: float, holding_cost: float) -> LotToOrder:
    """Return the lot whose ordering and holding cost least: √(2 K D / h).

    demand, fixed_cost, holding_cost: as for `lot_cost`, all > 0, else ValueError.
    """
    _positive(demand=demand, fixed_cost=fixed_cost, holding_cost=holding_cost)
    quantity = math.sqrt(2 * fixed_cost * demand / holding_cost)
    cost = lot_cost(quantity, demand=demand, fixed_cost=fixed_cost, holding_cost=holding_cost)
    return LotToOrder(quantity=quantity, cost=cost)


def price_breaks(
    *,
    demand: float,
    fixed_cost: float,
    holding_rate: float,
    breakpoints: Sequence[float],
    unit_costs: Sequence[float],
    minimum: float = 0,
    pack: float | None = None,
    most: float = math.inf,
) -> LotToOrder:
    """Return the cheapest lot where a larger lot makes every unit cheaper.

    The cost is convex at each price, so at each the best lot is the economic one, or the nearest
    that is sold at that price. Of two that cost the same the smaller is ordered.
    demand, fixed_cost: as for `lot_cost`, > 0. holding_rate: cost of holding a unit, as part of
        its price, > 0. [1 / time]
    breakpoints: smallest lot of each price, from 0, rising. unit_costs: > 0, not rising.
    minimum: smallest lot the supplier sells, >= 0. [units]
    pack: lots come in multiples of this, > 0; None: in any quantity. Give whole steps: a decimal
        multiple is not exact in binary. [units]
    most: largest lot worth having (shelf life, room), > 0. [units]
    Raises ValueError outside those ranges, and where no lot is left between minimum and most.
    """
    _positive(demand=demand, fixed_cost=fixed_cost, holding_rate=holding_rate, most=most)
    if pack is not None:
        _positive(pack=pack)
    if not breakpoints or len(breakpoints) != len(unit_costs) or breakpoints[0] != 0:
        raise ValueError("Each price has the smallest lot it is for; the first is for any lot.")
    if any(b <= a for a, b in itertools.pairwise(breakpoints)):
        raise ValueError("The lots of the prices rise.")
    if min(unit_costs) <= 0 or any(b > a for a, b in itertools.pairwise(unit_costs)):
        raise ValueError("Prices are above zero, and a larger lot is never dearer by the unit.")
    found: list[LotToOrder] = []
    for level, unit_cost in enumerate(unit_costs):
        costs = {
            "demand": demand,
            "fixed_cost": fixed_cost,
            "holding_cost": holding_rate * unit_cost,
        }
        ideal = economic_order_quantity(**costs).quantity
        smallest = max(breakpoints[level], minimum)
        last = level + 1 == len(unit_costs)
        found.extend(
            LotToOrder(
                quantity=quantity,
                cost=lot_cost(quantity, **costs, unit_cost=unit_cost),
                price_level=level,
            )
            for quantity in _near(ideal, smallest=smallest, most=most, pack=pack)
            if last or quantity < breakpoints[level + 1]
        )
    if not found:
        raise ValueError("No lot is both large enough to be sold and small enough to be wanted.")
    return min(found, key=lambda lot: (lot.cost, lot.quantity))


def _near(ideal: float, *, smallest: float, most: float, pack: float | None) -> list[float]:
    """Quantities allowed that lie nearest to the ideal one, below and above it."""
    if pack is None:
        return [min(max(ideal, smallest), most)] if smallest <= most else []
    fewest = max(1, math.ceil(smallest / pack))
    highest: float = math.inf if math.isinf(most) else math.floor(most / pack)
    tried = {max(fewest, math.floor(ideal / pack)), max(fewest, math.ceil(ideal / pack)), highest}
    return [packs * pack for packs in tried if fewest <= packs <= highest and packs < math.inf]


def time_phased_lots(demand: Sequence[float], *, fixed_cost: float, holding_cost: float) -> LotPlan:
    """Return the cheapest lots for a known schedule (Wagner and Whitin).

    An order comes at the start of its period and covers whole periods; what is used in its own
    period is not held. Of two plans that cost the same, the one that orders less at first: what is
    not yet ordered can still be changed.
    demand: one figure a period, each >= 0. [units] fixed_cost: of one order, >= 0. [money]
    holding_cost: of what is left at the end of a period, >= 0. [money / unit / period]
    Raises ValueError outside those ranges.
    """
    if not all(0 <= needed < math.inf for needed in demand) or fixed_cost < 0 or holding_cost < 0:
        raise ValueError("Demand and costs are not below zero.")
    periods = len(demand)
    best = [0.0] * (periods + 1)  # from this period on
    ends = [0] * periods
    for start in reversed(range(periods)):
        lot = held = 0.0
        cheapest = math.inf
        for period in range(start, periods):
            lot += demand[period]
            held += demand[period] * (period - start)
            cost = (fixed_cost if lot else 0.0) + holding_cost * held + best[period + 1]
            if cost < cheapest:
                cheapest, ends[start] = cost, period + 1
        best[start] = cheapest
    quantities = [0.0] * periods
    start = 0
    while start < periods:
        quantities[start] = math.fsum(demand[start : ends[start]])
        start = ends[start]
    return LotPlan(quantities=tuple(quantities), cost=best[0])


def _positive(**values: float) -> None:
    for name, value in values.items():
        if not value > 0:
            raise ValueError(f"The {name.replace('_', ' ')} is above zero.")
