"""What an issue costs.

A lot is a cost layer: it keeps its quantity and its value, and an issue takes the value of the
lot it drew. Integer steps and integer cents; every lot closes at zero.

Source: specific identification by lot, perpetual; drawn first expiry, then first in
(OpenStax, Principles of Accounting, Volume 1, sec. 10.3).
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from decimal import Decimal
from typing import Final

from inventory.quantities import CENTS

NO_EXPIRY: Final = date(9999, 12, 31)


class NotEnough(ValueError):
    """More is wanted than there is. The figures are steps: the caller knows the unit."""

    def __init__(self, *, wanted_steps: int, available_steps: int) -> None:
        self.wanted_steps = wanted_steps
        self.available_steps = available_steps
        super().__init__("There is not that much here.")


@dataclass(frozen=True, slots=True)
class LotLayer:
    """What can be drawn of one lot, and what the lot still holds.

    expires_on: None when it does not expire.
    quantity_steps: what may be drawn here, >= 0. [steps]
    value_cents: value left of the whole lot, >= 0. [cents]
    lot_quantity_steps: quantity left of the whole lot, >= quantity_steps; None when all of it
        lies here. [steps]
    """

    lot_id: int
    expires_on: date | None
    received_at: datetime
    quantity_steps: int
    value_cents: int
    lot_quantity_steps: int | None = None

    @property
    def whole_steps(self) -> int:
        """Quantity left of the whole lot, here and elsewhere. [steps]"""
        return self.quantity_steps if self.lot_quantity_steps is None else self.lot_quantity_steps


@dataclass(frozen=True, slots=True)
class Draw:
    """So much drawn of one lot, > 0 [steps], with its value, >= 0 [cents]."""

    lot_id: int
    quantity_steps: int
    value_cents: int


def receipt_value_cents(*, quantity_steps: int, steps_per_unit: int, unit_cost_cents: int) -> int:
    """Return what a receipt is worth, rounded half up. [cents]

    quantity_steps >= 0 [steps]; steps_per_unit >= 1; unit_cost_cents >= 0. [cents / unit]
    Raises ValueError outside those ranges.
    """
    if quantity_steps < 0 or steps_per_unit < 1 or unit_cost_cents < 0:
        raise ValueError("A receipt has a quantity and a cost, neither below zero.")
    return _divide_half_up(quantity_steps * unit_cost_cents, steps_per_unit)


def issue_value_cents(
    *, value_left_cents: int, quantity_left_steps: int, quantity_steps: int
) -> int:
    """Return the value that an issue takes from a lot. [cents]

    Value left × quantity ÷ quantity left, rounded half up; the last issue takes the rest, so
    that the lot closes at zero.
    value_left_cents >= 0; 0 < quantity_steps <= quantity_left_steps.
    Raises NotEnough when the lot holds less, ValueError outside the other ranges.
    """
    if quantity_steps <= 0 or value_left_cents < 0:
        raise ValueError("An issue takes a quantity above zero from a value not below zero.")
    if quantity_steps > quantity_left_steps:
        raise NotEnough(wanted_steps=quantity_steps, available_steps=quantity_left_steps)
    return _divide_half_up(value_left_cents * quantity_steps, quantity_left_steps)


def take(layer: LotLayer, quantity_steps: int) -> tuple[Draw, LotLayer]:
    """Return what is drawn from a named lot, and the lot after it.

    quantity_steps: 0 < quantity_steps <= layer.quantity_steps, else as `issue_value_cents`.
    """
    drawn = _drawn(layer, quantity_steps)
    after = replace(
        layer,
        quantity_steps=layer.quantity_steps - quantity_steps,
        value_cents=layer.value_cents - drawn.value_cents,
        lot_quantity_steps=layer.whole_steps - quantity_steps,
    )
    return drawn, after


def draw(lots: Iterable[LotLayer], quantity_steps: int) -> list[Draw]:
    """Return which lots an issue draws: first expiry, then first in.

    lots: each lot once, in any order.
    quantity_steps: > 0. [steps]
    Raises NotEnough when all lots together hold less, ValueError for a quantity of 0 or less.
    """
    if quantity_steps <= 0:
        raise ValueError("An issue takes a quantity above zero.")
    layers = sorted(
        (lot for lot in lots if lot.quantity_steps > 0),
        key=lambda lot: (lot.expires_on or NO_EXPIRY, lot.received_at, lot.lot_id),
    )
    available = sum(lot.quantity_steps for lot in layers)
    if quantity_steps > available:
        raise NotEnough(wanted_steps=quantity_steps, available_steps=available)
    draws: list[Draw] = []
    wanted = quantity_steps
    for layer in layers:
        if wanted == 0:
            break
        taken = _drawn(layer, min(wanted, layer.quantity_steps))
        draws.append(taken)
        wanted -= taken.quantity_steps
    return draws


def cost_of(draws: Iterable[Draw]) -> int:
    """Return what an issue cost: the sum over the lots it drew. [cents]"""
    return sum(each.value_cents for each in draws)


def value_left(lots: Iterable[LotLayer]) -> int:
    """Return what lots are still worth together; each lot once. [cents]"""
    return sum(lot.value_cents for lot in lots)


def pooled(lots: Sequence[LotLayer]) -> LotLayer:
    """Return lots as one layer, from which `take` draws at the average cost.

    Pooled anew with every receipt it is the moving average: a comparison, for an owner whose
    accountant asks for average cost; the ledger itself goes by the lot that was drawn. Source:
    OpenStax, Principles of Accounting, Volume 1, sec. 10.3 (perpetual, weighted average).
    lots: at least one, each once and with all that is left of it, else ValueError. The pool bears
    the number of the first; it expires with the first that does.
    """
    if not lots or any(lot.whole_steps != lot.quantity_steps for lot in lots):
        raise ValueError("A pool is made of whole lots, one or more.")
    return LotLayer(
        lot_id=lots[0].lot_id,
        expires_on=min((lot.expires_on for lot in lots if lot.expires_on), default=None),
        received_at=max(lot.received_at for lot in lots),
        quantity_steps=sum(lot.quantity_steps for lot in lots),
        value_cents=value_left(lots),
    )


def unit_cost(layer: LotLayer, *, steps_per_unit: int) -> Decimal:
    """Return what a unit of a layer costs, not rounded to cents. [currency unit / unit]

    steps_per_unit: >= 1. Raises ValueError below that, and for an empty layer.
    """
    if steps_per_unit < 1 or layer.whole_steps < 1:
        raise ValueError("An empty layer has no cost of a unit.")
    return Decimal(layer.value_cents * steps_per_unit) / (layer.whole_steps * CENTS)


@dataclass(frozen=True, slots=True)
class PeriodUse:
    """What a count at the end of a period says was used. [steps, cents]

    available_cents: value of what was there and what came. closing_cents: of what was counted.
    """

    used_steps: int
    available_cents: int
    closing_cents: int

    @property
    def used_cents(self) -> int:
        """What was used cost: all that was available, less what is left. [cents]"""
        return self.available_cents - self.closing_cents


def period_use(
    *,
    opening_steps: int,
    received_steps: int,
    counted_steps: int,
    steps_per_unit: int,
    unit_cost_cents: int,
) -> PeriodUse:
    """Return what was used of a part that is only counted, at one cost of a unit.

    Source: OpenStax, Principles of Accounting, Volume 1, sec. 10.1 (periodic method).
    All quantities >= 0 [steps]; others as for `receipt_value_cents`, with its errors. Raises
    NotEnough when more is counted than there can be: then a receipt is missing.
    """
    available = opening_steps + received_steps
    if min(opening_steps, received_steps) < 0:
        raise ValueError("What was there and what came are not below zero.")
    if counted_steps > available:
        raise NotEnough(wanted_steps=counted_steps, available_steps=available)
    available_cents, closing_cents = (
        receipt_value_cents(
            quantity_steps=steps, steps_per_unit=steps_per_unit, unit_cost_cents=unit_cost_cents
        )
        for steps in (available, counted_steps)
    )
    return PeriodUse(
        used_steps=available - counted_steps,
        available_cents=available_cents,
        closing_cents=closing_cents,
    )


def split_cents(total: int, weights: Sequence[int]) -> list[int]:
    """Return an amount shared by weight so that the shares add up to it exactly. [cents]

    Largest remainder; of two equal remainders the earlier gets the cent. All weights 0: equal
    shares. total: any, a credit is shared like a charge. [cents] weights: at least one, each >= 0.
    Raises ValueError outside those ranges.
    """
    if not weights or min(weights) < 0:
        raise ValueError("An amount is shared over one weight or more, none below zero.")
    if not any(weights):
        weights = [1] * len(weights)
    whole = sum(weights)
    amount = abs(total)
    shares = [amount * weight // whole for weight in weights]
    by_remainder = sorted(range(len(weights)), key=lambda i: (-(amount * weights[i] % whole), i))
    for i in by_remainder[: amount - sum(shares)]:
        shares[i] += 1
    return shares if total >= 0 else [-share for share in shares]


def share_change(total: int, weights: Sequence[int], held: Sequence[int]) -> list[int]:
    """Return a change of cost shared by weight, none falling below nothing. [cents]

    As `split_cents`, but a share that would take more than is held there takes all of it, and the
    others bear the rest by their weights. A weight of 0 gets nothing.
    total: any; a fall is at most what is held where there is weight. held: what each is worth
    before, >= 0, one for each weight. [cents] weights: >= 0, at least one above zero.
    Raises ValueError outside those ranges.
    """
    if len(weights) != len(held) or not any(weights) or min(weights) < 0 or min(held) < 0:
        raise ValueError("A change is shared by weights over what is held, none below zero.")
    shares = [0] * len(weights)
    open_ = [i for i, weight in enumerate(weights) if weight]
    if -total > sum(held[i] for i in open_):
        raise ValueError("More is taken off than there is.")
    rest = total
    while open_:
        parts = split_cents(rest, [weights[i] for i in open_])
        emptied = [i for i, part in zip(open_, parts, strict=True) if -part > held[i]]
        if not emptied:
            for i, part in zip(open_, parts, strict=True):
                shares[i] = part
            return shares
        for i in emptied:
            shares[i] = -held[i]
            rest += held[i]
        open_ = [i for i in open_ if i not in emptied]
    return shares


def _drawn(layer: LotLayer, quantity_steps: int) -> Draw:
    """What is drawn from one lot; quantity and errors as for `take`."""
    if quantity_steps > layer.quantity_steps:
        raise NotEnough(wanted_steps=quantity_steps, available_steps=layer.quantity_steps)
    value = issue_value_cents(
        value_left_cents=layer.value_cents,
        quantity_left_steps=layer.whole_steps,
        quantity_steps=quantity_steps,
    )
    return Draw(lot_id=layer.lot_id, quantity_steps=quantity_steps, value_cents=value)


def _divide_half_up(dividend: int, divisor: int) -> int:
    return (2 * dividend + divisor) // (2 * divisor)
