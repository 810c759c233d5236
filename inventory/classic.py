"""When to order, and up to what: the classic formulas for demand that goes on as it did.

They stand beside the advice that looks at what falls due, and for parts nobody schedules. A
position is what is on hand and on order less what is owed; the policies here owe what they cannot
give (back orders). Money, units and time are the caller's, the same in every argument.

Sources: L. V. Snyder and Z.-J. M. Shen, Fundamentals of Supply Chain Theory, 2nd ed. (Wiley,
2019), ch. 4 and 5; E. A. Silver, D. F. Pyke and D. J. Thomas, Inventory and Production Management
in Supply Chains, ch. 6 and 7; P. H. Zipkin, Foundations of Inventory Management, 2000, ch. 6;
R. S. Russell and B. W. Taylor, Operations Management (reorder point). From memory; the tests
check published figures.
"""

import math
from dataclasses import dataclass
from typing import Final

from inventory.lead_time_demand import (
    Demand,
    NormalDemand,
    WholeDemand,
    deviations_for,
    positions,
)

#: Rounds of an iteration that settles in a dozen.
_MOST_ROUNDS: Final = 1000


@dataclass(frozen=True, slots=True)
class ReorderPoint:
    """Order when the position falls to this. safety_stock: its part above the mean. [units]"""

    point: float
    safety_stock: float


@dataclass(frozen=True, slots=True)
class BaseStock:
    """Order up to this level. [units] cost: expected, of units left and units short. [money]"""

    level: float
    cost: float


@dataclass(frozen=True, slots=True)
class PointAndLot:
    """Order a lot when the position falls to the point. [units] cost: expected. [money / time]"""

    point: float
    lot: float
    cost: float


@dataclass(frozen=True, slots=True)
class Service:
    """fill_rate: share of demand that is met at once. [1] backorders: units owed, on average."""

    fill_rate: float
    backorders: float


def reorder_point(demand: NormalDemand, *, deviations: float) -> ReorderPoint:
    """Return the classic reorder point: mean over the lead time, and z deviations for safety.

    demand: over the lead time (`NormalDemand.over`). deviations: z, as from `deviations_for`.
    """
    safety = deviations * demand.sd
    return ReorderPoint(point=demand.mean + safety, safety_stock=safety)


def stock_cost(level: float, *, demand: Demand, left_cost: float, short_cost: float) -> float:
    """Return what units left and units short are expected to cost. [money]

    level: stock before the demand. [units] left_cost, short_cost: of one unit. [money / unit]
    """
    return left_cost * demand.left(level) + short_cost * demand.short(level)


def base_stock(demand: Demand, *, left_cost: float, short_cost: float) -> BaseStock:
    """Return the level whose expected cost is least (newsvendor).

    It suffices with the chance short_cost ÷ (short_cost + left_cost). demand: over the time until
    what is ordered next can be used: for one period the period, with a lead time and reviews both
    together. left_cost, short_cost: > 0, else ValueError. [money / unit]
    """
    if not (left_cost > 0 and short_cost > 0):
        raise ValueError("A unit left and a unit short both cost something.")
    level = demand.level_for(short_cost / (short_cost + left_cost))
    cost = stock_cost(level, demand=demand, left_cost=left_cost, short_cost=short_cost)
    return BaseStock(level=level, cost=cost)


def service(demand: WholeDemand, *, point: int, lot: int) -> Service:
    """Return the service of a reorder point and a lot, exactly, for Poisson demand.

    G. Hadley and T. M. Whitin, Analysis of Inventory Systems, 1963, ch. 4: the position is any of
    point + 1 … point + lot. demand: over the lead time. lot: >= 1, else ValueError.
    """
    at_once = [demand.at_most(position - 1) for position in positions(point, lot)]
    return Service(fill_rate=math.fsum(at_once) / lot, backorders=demand.mean_short(point, lot))


def one_for_one(demand: WholeDemand, *, level: int) -> Service:
    """Return the service of a level that each piece used is ordered back to. As for `service`."""
    return service(demand, point=level - 1, lot=1)


def point_and_lot_cost(
    point: float,
    lot: float,
    *,
    demand: Demand,
    rate: float,
    fixed_cost: float,
    holding_cost: float,
    backorder_cost: float,
) -> float:
    """Return the expected cost of a reorder point and a lot, exactly. [money / time]

    demand: over the lead time. rate: demand, >= 0. [units / time] fixed_cost: of an order. [money]
    holding_cost, backorder_cost: of a unit on hand and a unit owed. [money / unit / time]
    lot: > 0, else ValueError. [units]
    """
    if not lot > 0:
        raise ValueError("A lot is above zero.")
    return (
        fixed_cost * rate / lot
        + holding_cost * demand.mean_left(point, lot)
        + backorder_cost * demand.mean_short(point, lot)
    )


def best_point_and_lot(
    demand: WholeDemand,
    *,
    rate: float,
    fixed_cost: float,
    holding_cost: float,
    backorder_cost: float,
) -> PointAndLot:
    """Return the reorder point and lot that cost least, in whole units.

    A. Federgruen and Y.-S. Zheng, Operations Research 40, 1992: the lot grows around the best
    level, always on the cheaper side, while the next position costs less than the mean so far.
    As for `point_and_lot_cost`; holding_cost, backorder_cost > 0, fixed_cost >= 0, else ValueError.
    """
    if fixed_cost < 0 or rate < 0:
        raise ValueError("An order costs something or nothing, and demand is not below zero.")

    def at(level: int) -> float:
        return stock_cost(level, demand=demand, left_cost=holding_cost, short_cost=backorder_cost)

    best = base_stock(demand, left_cost=holding_cost, short_cost=backorder_cost)
    point, lot = int(best.level) - 1, 1
    total = fixed_cost * rate + best.cost
    while min(at(point), at(point + lot + 1)) < total / lot:
        below, above = at(point), at(point + lot + 1)
        total += min(below, above)
        lot += 1
        if below < above:
            point -= 1
    return PointAndLot(point=point, lot=lot, cost=total / lot)


def point_and_lot_by_units_short(
    demand: NormalDemand, *, rate: float, fixed_cost: float, holding_cost: float, short_cost: float
) -> PointAndLot:
    """Return a reorder point and lot where a unit short costs once, however long it is owed.

    The approximation by the expected stock: Q = √(2 D (K + p n(r)) / h), 1 − F(r) = Q h / (p D),
    in turn until both stand (Snyder and Shen, sec. 5.3.2; S. Nahmias, Production and Operations
    Analysis). demand: over the lead time, sd > 0. rate, fixed_cost, holding_cost, short_cost: > 0.
    [units / time, money, money / unit / time, money / unit]
    Raises ValueError outside those ranges, and where being short is so cheap that no stock pays.
    """
    if not min(rate, fixed_cost, holding_cost, short_cost, demand.sd) > 0:
        raise ValueError("Demand, its spread and all costs are above zero.")
    point, lot, before = 0.0, math.sqrt(2 * fixed_cost * rate / holding_cost), 0.0
    for _ in range(_MOST_ROUNDS):
        allowed = lot * holding_cost / (short_cost * rate)
        if allowed >= 1:
            raise ValueError("Being short costs so little that no stock pays.")
        # From the near end: 1 − a small chance would lose its digits.
        point = demand.mean - demand.sd * deviations_for(allowed)
        if abs(lot - before) <= 1e-12 * lot:
            break
        before = lot
        lost = fixed_cost + short_cost * demand.short(point)
        lot = math.sqrt(2 * rate * lost / holding_cost)
    else:
        raise ValueError("No reorder point and lot agree with each other.")
    cost = (
        holding_cost * (point - demand.mean + lot / 2)
        + fixed_cost * rate / lot
        + short_cost * rate * demand.short(point) / lot
    )
    return PointAndLot(point=point, lot=lot, cost=cost)
