"""What packs cost and how many are asked for. Whole steps, whole cents; no database, no clock."""

from collections.abc import Sequence
from dataclasses import dataclass

#: More packs in one line than this is surely a slip of the keys.
MOST_PACKS = 100_000


@dataclass(frozen=True, slots=True)
class PackPrice:
    """From so many packs on, > 0, each pack of the order costs this much, >= 0. [cents / pack]"""

    from_packs: int
    pack_price_cents: int


def pack_price_cents(prices: Sequence[PackPrice], packs: int) -> int:
    """Return what one pack costs when so many are ordered: the highest break that is reached.

    Each pack of the order has that price (a discount on all units; Snyder and Shen, Fundamentals
    of Supply Chain Theory, 2nd ed., sec. 3.4, from memory). Below the first break the first one
    counts: nobody said another price. No prices: 0, the price is not known.
    prices: in any order, each number of packs once. packs: > 0, else ValueError. [cents / pack]
    """
    if packs < 1:
        raise ValueError("An order is for one pack or more.")
    if not prices:
        return 0
    reached = [price for price in prices if price.from_packs <= packs]
    if reached:
        return max(reached, key=lambda price: price.from_packs).pack_price_cents
    return min(prices, key=lambda price: price.from_packs).pack_price_cents


def packs_for(quantity_steps: int, *, pack_steps: int, least_packs: int = 1) -> int:
    """Return how many packs hold a quantity: whole ones, and no fewer than the supplier sells.

    quantity_steps, pack_steps, least_packs: all > 0, else ValueError. [steps, steps / pack, packs]
    """
    if min(quantity_steps, pack_steps, least_packs) < 1:
        raise ValueError("A quantity, a pack and the least number of packs are above zero.")
    return max(-(-quantity_steps // pack_steps), least_packs)
