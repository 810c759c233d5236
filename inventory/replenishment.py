"""When to order a part, and how much, from what it may be asked for.

The reorder point is the smallest stock with P(demand <= stock) >= the part's target. Demand covers
lead time and review period (`inventory.demand`), so that the target is the chance that nothing is
short before the next order can arrive. The share of pieces served stands beside it.

Sources: event-oriented and quantity-oriented service level, order-up-to level: Silver, Pyke and
Thomas, Inventory and Production Management in Supply Chains (4th ed.), ch. 6.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

import numpy as np
from numpy.typing import NDArray

from inventory.demand import Block, Chances, Demand, Scenario, Whole, part_demand

#: A chance short of its target by less than this has reached it: the sums err by far less, and
#: nobody means a target to ten digits. [1]
TIE: Final = 1e-10
#: How likely it must be that what is ordered beyond the reorder point is used in time. [1]
VERY_LIKELY: Final = 0.95


@dataclass(frozen=True, slots=True)
class Level:
    """What so much stock promises.

    steps: >= 0. [steps]
    reached: P(demand <= steps), 0 to 1. [1]
    served: expected share of the pieces asked for that are served, 0 to 1; 1 without demand. [1]
    """

    steps: int
    reached: float
    served: float


@dataclass(frozen=True, slots=True)
class ReorderPoint:
    """A reorder point, and every figure that it follows from.

    scenarios: the services with their odds, what breaks, and the lead times with their weights.
    target: the chance that nothing is short before the next order can arrive, 0 to 1. [1]
    mean_steps: expected demand. [steps]
    unit_steps: demand comes in multiples of it, so less more or fewer changes nothing. [steps]
    level: the reorder point, and what it promises.
    one_more, one_fewer: what one unit more or fewer would promise; None below zero.
    """

    scenarios: tuple[Scenario, ...]
    target: float
    mean_steps: float
    unit_steps: int
    level: Level
    one_more: Level
    one_fewer: Level | None


def reorder_point(scenarios: Sequence[Scenario], *, target: float) -> ReorderPoint:
    """Return the smallest stock that reaches the target, with its reasons.

    scenarios: as in `inventory.demand.part_demand`. target: 0 < target < 1.
    Raises ValueError outside those ranges.
    """
    return point_of(part_demand(scenarios), scenarios, target=target)


def point_of(demand: Demand, scenarios: Sequence[Scenario], *, target: float) -> ReorderPoint:
    """Return the reorder point for a demand that was worked out already from these scenarios."""
    steps = least_steps(demand, target=target)
    unit = demand.unit_steps
    return ReorderPoint(
        scenarios=tuple(scenarios),
        target=target,
        mean_steps=demand.mean_steps,
        unit_steps=unit,
        level=level_at(demand, steps),
        one_more=level_at(demand, steps + unit),
        one_fewer=level_at(demand, steps - unit) if steps >= unit else None,
    )


def least_steps(demand: Demand, *, target: float) -> int:
    """Return the smallest s with P(demand <= s) >= target, or short of it by less than `TIE`.

    target: 0 < target < 1, else ValueError. Answer in [steps].
    """
    _refuse_target(np.array([target]))
    return int(_points(demand.chances[:, None], np.array([target]))[0]) * demand.unit_steps


def level_at(demand: Demand, steps: int) -> Level:
    """Return what so much stock promises. steps: >= 0, else ValueError."""
    mean = demand.mean_steps
    return Level(
        steps=steps,
        reached=demand.chance_within(steps),
        served=min(1.0, demand.served_steps(steps) / mean) if mean else 1.0,
    )


@dataclass(frozen=True, slots=True, eq=False)
class Levels:
    """Reorder points of many parts, as columns; the same figures as `ReorderPoint.level`."""

    part: Whole
    steps: Whole
    reached: Chances
    served: Chances
    mean_steps: Chances


def levels(blocks: Iterable[Block], *, targets: Chances) -> Iterator[Levels]:
    """Yield the reorder points of each block of parts.

    targets: by part, each 0 < target < 1, else ValueError.
    """
    _refuse_target(targets)
    for block in blocks:
        points = _points(block.chances, targets[block.part])
        columns = np.arange(len(points))
        within = np.cumsum(block.chances, axis=0)[points, columns]
        count = np.arange(len(block.chances), dtype=np.float64)
        mean = count @ block.chances
        # E min(D, s) = Σ k P(k) up to s, and s for all beyond.
        below = np.where(count[:, None] <= points, block.chances, 0.0)
        served = count @ below + points * (1.0 - below.sum(axis=0))
        share = np.divide(served, mean, out=np.ones_like(mean), where=mean > 0)
        yield Levels(
            part=block.part,
            steps=points * block.unit_steps,
            reached=np.minimum(within, 1.0),
            served=np.minimum(share, 1.0),
            mean_steps=mean * block.unit_steps,
        )


def _points(chances: Chances, targets: Chances) -> Whole:
    """Return by column the first point whose sum from the top reaches the target."""
    short: NDArray[np.bool_] = np.cumsum(chances, axis=0) < targets - TIE
    return np.minimum(short.sum(axis=0), len(chances) - 1)


def _refuse_target(targets: Chances) -> None:
    if not ((targets > 0) & (targets < 1)).all():
        raise ValueError("A target is a chance above 0 and below 1.")


def surely_used_steps(demand: Demand, *, chance: float = VERY_LIKELY) -> int:
    """Return the most that is used with at least this chance: largest s with P(D >= s) >= chance.

    demand: until what is ordered now expires. chance: 0 < chance < 1, else ValueError. [steps]
    """
    _refuse_target(np.array([chance]))
    # P(D >= s) is what is left above the points below s.
    at_least = 1.0 - np.cumsum(demand.chances) + demand.chances
    return int(np.flatnonzero(at_least >= chance - TIE)[-1]) * demand.unit_steps


class Bound(StrEnum):
    """What settled an order's quantity."""

    ENOUGH = "enough"
    LEVEL = "level"
    LOT = "lot"
    MINIMUM = "minimum"
    PACK = "pack"
    EXPIRY = "expiry"


@dataclass(frozen=True, slots=True)
class OrderTerms:
    """How a part is bought, in steps.

    lot_steps: economic lot, >= 0; 0 when there is none.
    minimum_steps: least that the supplier sends, >= 0.
    pack_steps: orders are multiples of it, >= 1.
    """

    lot_steps: int = 0
    minimum_steps: int = 0
    pack_steps: int = 1


@dataclass(frozen=True, slots=True)
class OrderQuantity:
    """How much to order, and why so much.

    position_steps: on hand and on order, less what is lacking elsewhere; may be below zero.
    level_steps: the reorder point.
    terms: how the part is bought.
    usable_steps: what will very likely be used before an order expires; None without expiry.
    quantity_steps: to order; 0 while the position is at or above the level.
    bounds: what settled it, in the order applied: `ENOUGH` alone, or `LEVEL` then each that changed
        the quantity.
    may_expire_steps: of the order, what is perhaps not used before it expires.
    """

    position_steps: int
    level_steps: int
    terms: OrderTerms
    usable_steps: int | None
    quantity_steps: int
    bounds: tuple[Bound, ...]
    may_expire_steps: int

    @property
    def order_up_to_steps(self) -> int:
        """On hand and on order once this is ordered. [steps]"""
        return self.position_steps + self.quantity_steps


def order_quantity(
    *,
    position_steps: int,
    level_steps: int,
    terms: OrderTerms,
    usable_steps: int | None = None,
) -> OrderQuantity:
    """Return how much to order at a review.

    position_steps: may be below zero. level_steps: >= 0; it covers lead time and review period.
    usable_steps: `surely_used_steps` until an order of now expires, >= 0; what is here already is
        used first, so that much less of an order is.

    Up to the level, at least an economic lot, but beyond the level no more than will very likely
    be used; then at least the minimum, in whole packs. What reaches the level is never cut, nor
    are minimum and pack: a spare that may expire costs less than a lost spray day, and
    `may_expire_steps` says it. A lot cut by expiry is cut to whole packs.
    Raises ValueError outside those ranges.
    """
    if level_steps < 0 or terms.lot_steps < 0 or terms.minimum_steps < 0:
        raise ValueError("A level, a lot and a minimum are not below zero.")
    if terms.pack_steps < 1:
        raise ValueError("A pack holds at least one step.")
    if usable_steps is not None and usable_steps < 0:
        raise ValueError("What will be used is not below zero.")
    lacking = level_steps - position_steps
    usable = None if usable_steps is None else max(0, usable_steps - max(0, position_steps))
    if lacking <= 0:
        quantity, bounds = 0, [Bound.ENOUGH]
    else:
        quantity, bounds = _bounded(lacking, terms, usable)
    return OrderQuantity(
        position_steps=position_steps,
        level_steps=level_steps,
        terms=terms,
        usable_steps=usable_steps,
        quantity_steps=quantity,
        bounds=tuple(bounds),
        may_expire_steps=0 if usable is None else max(0, quantity - usable),
    )


def _bounded(lacking: int, terms: OrderTerms, usable: int | None) -> tuple[int, list[Bound]]:
    """Return the quantity for what is lacking, > 0, and what settled it."""
    pack = terms.pack_steps
    needed = _whole_packs(max(lacking, terms.minimum_steps), pack)
    wanted = _whole_packs(max(lacking, terms.minimum_steps, terms.lot_steps), pack)
    bounds = [Bound.LEVEL]
    quantity = lacking
    if terms.lot_steps > quantity:
        quantity = terms.lot_steps
        bounds.append(Bound.LOT)
    if terms.minimum_steps > quantity:
        quantity = terms.minimum_steps
        bounds.append(Bound.MINIMUM)
    if quantity % pack:
        quantity = wanted
        bounds.append(Bound.PACK)
    if usable is not None and usable < quantity and needed < quantity:
        quantity = max(needed, usable // pack * pack)
        bounds.append(Bound.EXPIRY)
    return quantity, bounds


def _whole_packs(steps: int, pack_steps: int) -> int:
    return -(-steps // pack_steps) * pack_steps
