"""What the stock pages say in a sentence, made by the same figures that the tables show.

Pure: whole numbers of steps in, words out.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from inventory.quantities import format_quantity, to_units


@dataclass(frozen=True, slots=True)
class Unit:
    """How a part is counted: its unit, and how many steps make one (>= 1)."""

    name: str
    steps: int

    def words(self, quantity_steps: int) -> str:
        """A quantity inside a sentence: "3" of pieces, "2.50 gal" of anything else."""
        if self.name == "piece":
            return f"{to_units(quantity_steps, self.steps):,f}"
        return format_quantity(quantity_steps, self.steps, self.name)


@dataclass(frozen=True, slots=True)
class Promise:
    """So much, > 0 [steps], is promised to this source, as `source_name` writes it."""

    source: str
    quantity_steps: int


@dataclass(frozen=True, slots=True)
class Advice:
    """What to do, and the figures it rests on: two parts of one sentence pair."""

    lead: str
    rest: str
    buy_now: bool

    def __str__(self) -> str:
        return f"{self.lead} {self.rest}"


def source_name(kind: str, number: int) -> str:
    """A source as pages write it: "sheet 0412", "count 7"; a kind without number by itself."""
    if kind == "sheet":
        return f"sheet {number:04d}"
    return f"{kind} {number}" if number else kind


def suggested_steps(*, usable_steps: int, order_up_to_steps: int) -> int:
    """How much to buy: what is missing to the level, never below zero. [steps]"""
    return max(0, order_up_to_steps - usable_steps)


def buying_advice(
    *,
    unit: Unit,
    usable_steps: int,
    on_order_steps: int = 0,
    expired_steps: int = 0,
    robbed: int = 0,
    promises: Sequence[Promise] = (),
    reorder_point_steps: int | None = None,
    order_up_to_steps: int = 0,
    in_drawers_steps: int = 0,
) -> Advice:
    """Return what to do about a part, and why.

    usable_steps: in the shop's bins and in date, >= 0. [steps] on_order_steps: still to come, which
    counts with what is here, >= 0. [steps] expired_steps: in the bins, past their day, >= 0.
    [steps] robbed: kits that something was taken from, >= 0. reorder_point_steps: >= 0; None where
    nobody has set one. [steps] order_up_to_steps: >= reorder_point_steps. [steps]
    "Buy when 3 are left. 4 here, 1 reserved for sheet 0412."
    """
    position = usable_steps + on_order_steps
    buy_now = reorder_point_steps is not None and position <= reorder_point_steps
    if reorder_point_steps is None:
        lead = "No reorder point is set."
    elif buy_now:
        wanted = suggested_steps(usable_steps=position, order_up_to_steps=order_up_to_steps)
        lead = f"Buy {unit.words(wanted)} now." if wanted else "Buy now."
    else:
        lead = _when(unit, reorder_point_steps)
    facts = [f"{unit.words(usable_steps) if usable_steps else 'None'} here"]
    if on_order_steps:
        facts.append(f"{unit.words(on_order_steps)} on order")
    if expired_steps:
        facts.append(f"{unit.words(expired_steps)} more that expired")
    if robbed:
        facts.append(f"{robbed:,} more that {'was' if robbed == 1 else 'were'} robbed")
    facts += [f"{unit.words(each.quantity_steps)} reserved for {each.source}" for each in promises]
    if in_drawers_steps:
        facts.append(f"{unit.words(in_drawers_steps)} more in rig drawers")
    if reorder_point_steps is not None and buy_now:
        facts.append(f"the reorder point is {unit.words(reorder_point_steps)}")
    return Advice(lead=lead, rest=", ".join(facts) + ".", buy_now=buy_now)


def _when(unit: Unit, point_steps: int) -> str:
    if not point_steps:
        return "Buy when none is left."
    verb = "is" if point_steps == unit.steps and unit.name == "piece" else "are"
    return f"Buy when {unit.words(point_steps)} {verb} left."
