"""Stock that is looked at once a period and filled up when it has fallen to a point.

Sources: L. V. Snyder and Z.-J. M. Shen, Fundamentals of Supply Chain Theory, 2nd ed. (Wiley,
2019), sec. 4.4; Y.-S. Zheng and A. Federgruen, Operations Research 39, 1991. From memory; the
tests check published figures. Money, units and time are the caller's.
"""

import math
from dataclasses import dataclass

import numpy as np

from inventory.classic import base_stock, stock_cost
from inventory.lead_time_demand import WholeDemand


@dataclass(frozen=True, slots=True)
class PointAndLevel:
    """Order up to the level when the position is at or below the point. [units]

    cost: expected. [money / period]
    """

    point: int
    level: int
    cost: float


def point_and_level_cost(
    point: int,
    level: int,
    *,
    demand: WholeDemand,
    fixed_cost: float,
    holding_cost: float,
    backorder_cost: float,
) -> float:
    """Return the expected cost of ordering up to a level at or below a point. [money / period]

    Reviewed each period, what is ordered is there at once (Snyder and Shen, sec. 4.4): cost from
    order to order ÷ periods from order to order. demand: of a period. point < level.
    fixed_cost: of an order [money]; holding_cost, backorder_cost: of a unit at the end of a
    period. [money / unit / period] Raises ValueError outside those ranges.
    """
    return _Reviews(demand, fixed_cost, holding_cost, backorder_cost).cost(point, level)


def best_point_and_level(
    demand: WholeDemand, *, fixed_cost: float, holding_cost: float, backorder_cost: float
) -> PointAndLevel:
    """Return the point and the level that cost least.

    Y.-S. Zheng and A. Federgruen, Operations Research 39, 1991. As for `point_and_level_cost`;
    holding_cost, backorder_cost > 0, fixed_cost >= 0, else ValueError.
    """
    reviews = _Reviews(demand, fixed_cost, holding_cost, backorder_cost)
    level = int(base_stock(demand, left_cost=holding_cost, short_cost=backorder_cost).level)
    point = level - 1
    while reviews.cost(point, level) > reviews.at(point):
        point -= 1
    cost = reviews.cost(point, level)
    higher = level + 1
    while reviews.at(higher) <= cost:
        if reviews.cost(point, higher) < cost:
            level = higher
            while point + 1 < level and reviews.cost(point, level) <= reviews.at(point + 1):
                point += 1
            cost = reviews.cost(point, level)
        higher += 1
    return PointAndLevel(point=point, level=level, cost=cost)


class _Reviews:
    """Periods from order to order, and what they cost."""

    def __init__(
        self, demand: WholeDemand, fixed_cost: float, holding_cost: float, backorder_cost: float
    ) -> None:
        if fixed_cost < 0:
            raise ValueError("An order costs something or nothing.")
        if demand.chances[0] >= 1:
            raise ValueError("Without any demand there is no second order.")
        self._chances = demand.chances
        self._fixed_cost = fixed_cost
        # Expected periods in which the position stands this far below the level.
        self._stays = [1 / (1 - float(demand.chances[0]))]
        self._costs: dict[int, float] = {}
        self._demand = demand
        self._holding_cost = holding_cost
        self._backorder_cost = backorder_cost

    def at(self, level: int) -> float:
        """Cost of a period that begins with this position."""
        if level not in self._costs:
            self._costs[level] = stock_cost(
                level,
                demand=self._demand,
                left_cost=self._holding_cost,
                short_cost=self._backorder_cost,
            )
        return self._costs[level]

    def cost(self, point: int, level: int) -> float:
        if point >= level:
            raise ValueError("The point lies below the level.")
        stays = self._stays
        while len(stays) < level - point:
            reached = min(len(stays), self._chances.size - 1)
            come = np.dot(self._chances[1 : reached + 1], stays[: -reached - 1 : -1])
            stays.append(float(come) * stays[0])
        spent = math.fsum(stays[below] * self.at(level - below) for below in range(level - point))
        return (self._fixed_cost + spent) / math.fsum(stays[: level - point])
