"""How many of a part to keep in the drawer of a rig: until the next piece is not worth it.

The next piece is worth the odds that it is needed before the rig is back in the shop, times the
spray days that it then saves, times what a lost spray day costs. What breaks stops the spraying;
of services that fall due on the way most can wait, and only a share of them does (`stops_share`).
A piece costs what it costs to buy, times the yearly rate of carrying stock, times the days until
then, and what it takes to keep it in order aboard. The target is the smallest number
whose next piece is worth no more than it costs: the marginal rule of the newsvendor (Arrow, Harris
and Marschak 1951, Econometrica 19, 250-272), with the underage of one piece shared over the stay.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

from inventory.demand import Breakage, Demand, Scenario, ServiceOdds, part_demand
from inventory.quantities import format_money

#: What one lost spray day of a rig and its crew costs. Common practice, no source. [cents]
LOST_DAY_CENTS: Final = 150_000
#: Spray days that a piece aboard saves: it comes by courier otherwise. Common practice, no source.
SPRAY_DAYS_SAVED: Final = 1.0
#: What stock costs a year for each unit of its value: money, room, loss, ageing. Common practice,
#: no source. [1/a]
CARRYING_A_YEAR: Final = 0.25
#: How often a rig breaks one part that one of its services renews: with thirty such parts, once in
#: twenty months. Common practice, no source. [events/a]
UNPLANNED_A_YEAR: Final = 0.02
#: Of services that fall due on a job, how many stop the spraying for a day: the others wait until
#: the rig is back. Common practice, no source. [1]
STOPS_SHARE: Final = 0.1
#: What it takes to count, top up and find again one piece aboard until the rig is back: some
#: minutes of a technician. Common practice, no source. [cents]
HANDLING_CENTS: Final = 500
#: What takes longer than this is not done on a job. Common practice, no source. [min]
FIELD_MINUTES: Final = 120
YEAR_DAYS: Final = 365.0
#: No drawer keeps more pieces of one part; a larger target is a slip in the needs.
MOST_PIECES: Final = 1_000


@dataclass(frozen=True, slots=True)
class Need:
    """One service of the rig that takes of the part.

    chance: that it falls due before the rig is back, 0 to 1. quantity_steps: >= 1. name: said.
    """

    chance: float
    quantity_steps: int
    name: str = ""


@dataclass(frozen=True, slots=True)
class Carried:
    """What stands for one rig and one part or kit.

    days: until the rig is back in the shop, >= 1. [d]
    piece_steps: what is put aboard at a time, >= 1. [steps]
    piece_cents: what one such piece costs, >= 0. [cents]
    unplanned_a_year: events of one piece each. [1/a]
    stops_share: of the services that fall due by then, the share that stops the spraying, 0 to 1.
    handling_cents: of each piece aboard until then, >= 0. [cents]
    """

    needs: tuple[Need, ...]
    days: int
    piece_steps: int
    piece_cents: int
    unplanned_a_year: float = UNPLANNED_A_YEAR
    lost_day_cents: int = LOST_DAY_CENTS
    spray_days_saved: float = SPRAY_DAYS_SAVED
    carrying_a_year: float = CARRYING_A_YEAR
    stops_share: float = 1.0
    handling_cents: int = 0

    def __post_init__(self) -> None:
        if self.days < 1 or self.piece_steps < 1:
            raise ValueError("A drawer is filled for a day or more, by whole steps.")
        least = (
            self.piece_cents, self.unplanned_a_year, self.lost_day_cents, self.handling_cents
        )  # fmt: skip
        if min(*least, self.spray_days_saved, self.carrying_a_year) < 0:
            raise ValueError("Costs, rates and days are not below zero.")
        if not 0 <= self.stops_share <= 1:
            raise ValueError("A share is from 0 to 1.")
        if any(not 0 <= need.chance <= 1 or need.quantity_steps < 1 for need in self.needs):
            raise ValueError("A chance is from 0 to 1, a need one step or more.")

    @property
    def carrying_cents(self) -> float:
        """What one more piece aboard costs until the rig is back. [cents]"""
        carrying = self.piece_cents * self.carrying_a_year * self.days / YEAR_DAYS
        return carrying + self.handling_cents

    @property
    def lost_cents(self) -> float:
        """What is lost where a needed piece is not aboard. [cents]"""
        return self.lost_day_cents * self.spray_days_saved


@dataclass(frozen=True, slots=True)
class Target:
    """What to keep aboard, and why.

    steps: the target. [steps]
    worth_cents: of the first piece, the second, … up to the first that is not worth it. [cents]
    odds_more: that more is needed than 0, 1, … pieces, likewise.
    carrying_cents: what each of them costs. [cents]
    """

    steps: int
    pieces: int
    odds_more: tuple[float, ...]
    worth_cents: tuple[float, ...]
    carrying_cents: float


def demand_of(carried: Carried, *, planned: bool = True) -> Demand:
    """Return what the rig may need of the part before it is back; its services move together.

    planned: False for what breaks alone.
    """
    services = tuple(
        ServiceOdds((need.chance,), need.quantity_steps)
        for need in carried.needs
        if need.chance and planned
    )
    mean = carried.unplanned_a_year * carried.days / YEAR_DAYS
    return part_demand(
        [
            Scenario(
                weight=1.0,
                rigs=(services,) if services else (),
                breakage=Breakage(mean=mean, quantity_steps=carried.piece_steps),
                days=carried.days,
            )
        ]
    )


def drawer_target(carried: Carried) -> Target:
    """Return the smallest number of pieces whose next one is not worth carrying.

    Raises ValueError for figures out of range.
    """
    demand, breaks = demand_of(carried), demand_of(carried, planned=False)
    odds: list[float] = []
    worth: list[float] = []
    pieces = 0
    while True:
        more = max(0.0, 1.0 - demand.chance_within(pieces * carried.piece_steps))
        odds.append(more)
        broken = max(0.0, 1.0 - breaks.chance_within(pieces * carried.piece_steps))
        stops = broken + carried.stops_share * max(0.0, more - broken)
        worth.append(stops * carried.lost_cents)
        # What nobody needs is not carried, though it cost nothing; rounding leaves a little.
        if worth[-1] <= carried.carrying_cents or more < 1e-9 or pieces >= MOST_PIECES:
            break
        pieces += 1
    return Target(
        steps=pieces * carried.piece_steps,
        pieces=pieces,
        odds_more=tuple(odds),
        worth_cents=tuple(worth),
        carrying_cents=carried.carrying_cents,
    )


def figures_of(carried: Carried, target: Target) -> dict[str, Any]:
    """Return all that the target comes from, as plain values to be kept; see `from_figures`."""
    return {
        "needs": [[need.chance, need.quantity_steps, need.name] for need in carried.needs],
        "days": carried.days,
        "piece_steps": carried.piece_steps,
        "piece_cents": carried.piece_cents,
        "unplanned_a_year": carried.unplanned_a_year,
        "lost_day_cents": carried.lost_day_cents,
        "spray_days_saved": carried.spray_days_saved,
        "carrying_a_year": carried.carrying_a_year,
        "stops_share": carried.stops_share,
        "handling_cents": carried.handling_cents,
        "worth_cents": list(target.worth_cents),
        "target_steps": target.steps,
        "odds_more": list(target.odds_more),
        "carrying_cents": target.carrying_cents,
    }


def from_figures(figures: dict[str, Any]) -> Carried:
    """Return what kept figures say; `drawer_target` of it is the number that stands beside them."""
    return Carried(
        needs=tuple(Need(*values) for values in figures["needs"]),
        days=figures["days"],
        piece_steps=figures["piece_steps"],
        piece_cents=figures["piece_cents"],
        unplanned_a_year=figures["unplanned_a_year"],
        lost_day_cents=figures["lost_day_cents"],
        spray_days_saved=figures["spray_days_saved"],
        carrying_a_year=figures["carrying_a_year"],
        stops_share=figures["stops_share"],
        handling_cents=figures["handling_cents"],
    )


def reason(figures: dict[str, Any], *, symbol: str) -> str:
    """Return why: the odds of the last piece kept, and of the next, against what it costs.

    symbol: of the shop's money, such as "$".
    """
    if figures.get("in_the_shop"):
        return f"None: {figures['in_the_shop']} is a job for the shop."
    worth = [round(each) for each in figures["worth_cents"]]
    cost = format_money(round(figures["carrying_cents"]), symbol)
    days = "1 day" if figures["days"] == 1 else f"{figures['days']} days"
    beyond = (
        f"needed with {_said(figures['odds_more'][-1])}, worth {format_money(worth[-1], symbol)}"
    )
    if len(worth) == 1:
        return f"None: within {days} it is {beyond} in spray days; carrying one costs {cost}."
    last = f"needed with {_said(figures['odds_more'][-2])}, worth {format_money(worth[-2], symbol)}"
    inside = figures.get("in_kit_steps")
    return (
        f"The last of them is {last} in spray days within {days}; carrying it costs {cost}. "
        f"One more would be {beyond}." + (" Some of it lies in the kit aboard." if inside else "")
    )


def _said(chance: float) -> str:
    percent = chance * 100
    if 0 < percent < 0.1:
        return "under 0.1 %"
    if 0 < percent < 9.95:
        return f"{percent:.1f} %"
    return "over 99 %" if 99 < percent < 100 else f"{percent:.0f} %"


def _pieces(needs: Sequence[Need]) -> int:
    return min((need.quantity_steps for need in needs), default=1)


def piece_of(needs: Sequence[Need], *, steps_per_unit: int) -> int:
    """Return what is put aboard at a time: a whole piece, or the least that one service takes.

    steps_per_unit: of the part; 1 for what comes in pieces. [steps]
    """
    return 1 if steps_per_unit == 1 else max(1, _pieces(needs))
