"""What the advice for a part says in a shop manager's words, from the figures it rests on.

Every figure in a sentence is one of `Given` or `Found`; the tables beside it show the same.
"""

import math
from collections.abc import Iterator
from dataclasses import dataclass

from inventory.quantities import format_money
from inventory.replenishment import Bound, Level
from inventory.sentences import Unit
from shop.advice import AHEAD_DAYS, MAY, Drawer, Found, Given, Need

#: What settled an order, as the page says it; the level itself is always first.
BOUNDS = {
    Bound.LOT: "the lot that costs least in a year",
    Bound.MINIMUM: "the least that the supplier sends",
    Bound.PACK: "whole packs",
    Bound.EXPIRY: "what will be used before it expires",
}
KINDS = {
    "smooth": "asked for nearly always, in like amounts",
    "erratic": "asked for nearly always, in amounts that vary",
    "intermittent": "asked for now and then, in like amounts",
    "lumpy": "asked for now and then, in amounts that vary",
}


@dataclass(frozen=True, slots=True)
class Sentence:
    """What to do, and why."""

    lead: str
    rest: str

    def __str__(self) -> str:
        return f"{self.lead} {self.rest}"


def unit_of(given: Given) -> Unit:
    return Unit(given.unit_name, given.steps_per_unit)


def of_hundred(chance: float) -> str:
    """ "96 of 100", never more than it is; "more than 99 of 100", "fewer than 1 of 100"."""
    whole = math.floor(chance * 100 + 1e-9)
    if not whole:
        return "fewer than 1 of 100"
    return "more than 99 of 100" if chance > 0.99 and whole >= 99 else f"{whole} of 100"


def sentence(given: Given, found: Found) -> Sentence:
    """Say when to buy, what may be asked for meanwhile, and how sure that is."""
    unit = unit_of(given)
    span = f"In the {given.span_days} days until an order can be here"
    enough = of_hundred(found.at_point.reached)
    if not found.order_up_to_steps:
        aboard = aboard_steps(given)
        why = f"; {unit.words(aboard)} of that lie in the drawers of their rigs" if aboard else ""
        return Sentence(
            "None needs to lie in the bins yet.",
            f"{span}, {_asked(given, found, unit)}{why}; "
            f"in {enough} such spans none is taken from the bins.",
        )
    up_to = unit.words(found.order_up_to_steps)
    if not found.point_steps:
        return Sentence(
            f"Buy when none is left on hand and on order, up to {up_to}.",
            f"{span}, {_asked(given, found, unit)}; in {enough} such spans none is asked for.",
        )
    point = unit.words(found.point_steps)
    verb = "is" if _is_one(unit, found.point_steps) else "are"
    fewer = ""
    if found.one_fewer is not None:
        less = unit.words(found.one_fewer.steps) if found.one_fewer.steps else "none"
        fewer = f", {less} in {of_hundred(found.one_fewer.reached)}"
    return Sentence(
        f"Buy when {point} {verb} left on hand and on order, up to {up_to}.",
        f"{span}, {_asked(given, found, unit)}; "
        f"{point} {verb} enough in {enough} such spans{fewer}.",
    )


def aboard_steps(given: Given) -> int:
    """What services that may fall due within the middle span find in the drawers of their rigs."""
    days = given.span_days
    return sum(
        steps
        for need, steps in zip(given.needs, _from_drawers(given, days), strict=True)
        if need.by(days)[:1] >= (MAY,)
    )


def _from_drawers(given: Given, days: int) -> list[int]:
    """By need, what of it lies in the drawer of its rig: the likeliest is served first. [steps]"""
    left = {drawer.rig: drawer.here_steps for drawer in given.drawers}
    found = [0] * len(given.needs)
    order = sorted(
        range(len(given.needs)), key=lambda place: (-sum(given.needs[place].by(days)[:1]), place)
    )
    for place in order:
        need = given.needs[place]
        if need.rig and need.by(days):
            found[place] = min(left.get(need.rig, 0), need.quantity_steps)
            left[need.rig] = left.get(need.rig, 0) - found[place]
    return found


def late_words(given: Given) -> list[str]:
    """Say of each late order how late it is, and for how much it counts."""
    unit = unit_of(given)
    said = []
    for each in given.late_orders:
        days = "1 day" if each.late_days == 1 else f"{each.late_days} days"
        here = sum(span.weight * (1.0 - each.missing.get(span.days, 0.0)) for span in given.spans)
        if here >= 0.995:
            counts = "it is reckoned as certain to be here before a new order could be"
        else:
            counts = (
                f"it is reckoned as here in {of_hundred(here)} cases before a new order could be"
            )
        said.append(
            f"Order {each.order} is {days} late with {unit.words(each.steps)}. "
            f"It may still come: {counts}, and counts on order once."
        )
    return said


def _is_one(unit: Unit, steps: int) -> bool:
    return unit.name == "piece" and steps == unit.steps


def _asked(given: Given, found: Found, unit: Unit) -> str:
    if not found.may_steps:
        services = "no service that falls due needs any"
    else:
        likely = "all likely" if found.likely_steps == found.may_steps else "none likely"
        if 0 < found.likely_steps < found.may_steps:
            likely = f"{unit.words(found.likely_steps)} likely"
        may = unit.words(found.may_steps)
        services = f"services that may fall due need {may} ({likely}){_what(given)}"
    return f"{services}, and {_breaks(given, found, unit)}"


def _what(given: Given) -> str:
    """Which service, where it is but one: ": Gun, full rebuild"."""
    falling = [need for need in given.needs if need.by(given.span_days)[:1] >= (MAY,)]
    names = {need.what for need in falling if not need.sheet}
    return f" for {names.pop()}" if len(names) == 1 else ""


def _breaks(given: Given, found: Found, unit: Unit) -> str:
    """How much is used unplanned in a span, or in one of how many."""
    times = found.unplanned_steps / given.unplanned.quantity_steps
    if times >= 0.75:
        whole = max(1, round(found.unplanned_steps))
        if unit.steps > 1:
            whole = max(1, round(found.unplanned_steps / unit.steps)) * unit.steps
        return f"about {unit.words(whole)} more {_goes(unit, whole)} unplanned"
    if times <= 0.01:
        return "hardly any is used unplanned"
    each = unit.words(given.unplanned.quantity_steps)
    return f"in one of {round(1 / times)} such spans {each} more {_goes(unit, 1)} unplanned"


def _goes(unit: Unit, steps: int) -> str:
    return "is used" if steps <= unit.steps else "are used"


def bound_words(found: Found) -> str:
    """What settled the level: "whole packs"; empty where the reorder point alone did."""
    named = [BOUNDS[Bound(each)] for each in found.bounds if Bound(each) in BOUNDS]
    return ", then ".join(named)


@dataclass(frozen=True, slots=True)
class Choice:
    """What another amount would give: how much, how often it is enough, the share served at once,
    and what it ties up more or less.
    """

    quantity: str
    enough: str
    served: str
    money: str
    is_chosen: bool = False


def choices(given: Given, found: Found, *, symbol: str) -> Iterator[Choice]:
    """Yield one fewer, the point and one more, with chance and money."""
    unit = unit_of(given)
    for level in (found.one_fewer, found.at_point, found.one_more):
        if level is not None:
            yield _choice(given, found, level, unit, symbol)


def _choice(given: Given, found: Found, level: Level, unit: Unit, symbol: str) -> Choice:
    over = level.steps - found.point_steps
    cents = round(abs(over) * given.unit_cents / given.steps_per_unit)
    money = ""
    if over:
        word = "more" if over > 0 else "less"
        money = f"{format_money(cents, symbol)} {word}" if given.unit_cents else "cost not known"
    return Choice(
        quantity=unit.words(level.steps),
        enough=of_hundred(level.reached),
        served=f"{level.served:.0%}",
        money=money,
        is_chosen=not over,
    )


@dataclass(frozen=True, slots=True)
class NeedRow:
    """A service or a sheet, what it takes each time, and its odds within the span.

    odds: "63 %". again: of falling due twice, likewise; empty where that cannot be.
    covered: where what it takes lies already: "in its drawer", "reserved in the bins".
    """

    rig_number: int
    what: str
    quantity: str
    odds: str
    again: str
    sheet: int
    covered: str = ""


def need_rows(given: Given) -> list[NeedRow]:
    """Return what may need the part within the middle span or the weeks shown, likeliest first."""
    unit = unit_of(given)
    rows = []
    aboard = zip(given.needs, _from_drawers(given, given.span_days), strict=True)
    for need, here in sorted(
        aboard,
        key=lambda each: (-sum(each[0].by(given.span_days)), each[0].rig_number, each[0].what),
    ):
        within = need.by(given.span_days)
        later = need.by(AHEAD_DAYS[-1])
        if not within and not later:
            continue
        rows.append(
            NeedRow(
                rig_number=need.rig_number,
                what=need.what,
                quantity=unit.words(need.quantity_steps),
                odds="certain" if need.sheet and within else percent(within[0] if within else 0.0),
                again=percent(within[1]) if len(within) > 1 else "",
                sheet=need.sheet,
                covered=_covered(need, here, unit),
            )
        )
    return rows


def _covered(need: Need, aboard: int, unit: Unit) -> str:
    """Where what it takes lies already, and how much of it where that is not all."""
    said = []
    for steps, where in ((aboard, "in its drawer"), (need.promised_steps, "reserved in the bins")):
        if steps >= need.quantity_steps:
            said.append(where)
        elif steps:
            said.append(f"{unit.words(steps)} {where}")
    return ", ".join(said)


def percent(chance: float) -> str:
    """ "63 %", "over 99 %", "under 1 %", "already due"."""
    if chance >= 1:
        return "already due"
    if chance > 0.99:
        return "over 99 %"
    return f"{chance * 100:.0f} %" if chance >= 0.01 else "under 1 %"


def arithmetic(given: Given, found: Found, *, symbol: str) -> list[tuple[str, str]]:
    """Return every other figure that the number follows from: (what, how much)."""
    unit = unit_of(given)
    leads = ", ".join(f"{lead.days} d ({lead.weight:.0%})" for lead in given.lead_times)
    unplanned = given.unplanned
    prior = unplanned.prior_events / unplanned.prior_days * 365
    rows = [
        ("Target", f"{given.target:.1%} of spans, class {given.value_class}"),
        ("Lead time", f"{leads}; {given.lead_from}"),
        ("Stock is looked at again", f"after {given.review_days} d"),
        (
            "Used unplanned",
            f"{_seen(given, unit)} in {unplanned.watched_days} d; before anything is seen, "
            f"{prior:.2f} times a year is believed of any part here",
        ),
        ("Expected in all until an order is here", f"{found.mean_steps / unit.steps:.2f}"),
        ("Used in a year", f"{given.year_use_steps / unit.steps:,.1f}"),
        ("Usable in the bins", unit.words(given.usable_steps)),
        ("On order", unit.words(given.on_order_steps)),
    ]
    if given.lacks_steps:
        rows.append(("Drawers lack, asked of the bins", unit.words(given.lacks_steps)))
    rows += [
        (f"In the drawer of rig {drawer.rig_number:02d}", _drawer(drawer, unit))
        for drawer in given.drawers
        if drawer.here_steps or drawer.target_steps
    ]
    rows += [
        (
            f"Late, order {each.order}",
            f"{unit.words(each.steps)}; not here yet with "
            + ", ".join(
                f"{percent(each.missing.get(span.days, 0.0))} in {span.days} d"
                for span in given.spans
            ),
        )
        for each in given.late_orders
    ]
    if found.lot_steps:
        an_order = format_money(given.terms.order_cost_cents, symbol)
        keeping = f"{given.terms.holding_rate:.0%} of the price a year to keep"
        lot = f"{unit.words(found.lot_steps)}, at {an_order} an order and {keeping}"
        rows.append(("Lot that costs least", lot))
    rows.append(
        (
            "Bought in",
            f"packs of {unit.words(given.terms.pack_steps)}, at least {given.terms.least_packs}",
        )
    )
    if given.keeps_days is not None:
        rows.append(("Keeps", f"{given.keeps_days} d from its arrival"))
    if found.usable_steps is not None:
        rows.append(("Very likely used before an order expires", unit.words(found.usable_steps)))
    if found.may_expire_steps:
        rows.append(("Of an order, perhaps not used in time", unit.words(found.may_expire_steps)))
    return rows


def _seen(given: Given, unit: Unit) -> str:
    unplanned = given.unplanned
    if not unplanned.events:
        return "never"
    times = "once" if unplanned.events == 1 else f"{unplanned.events} times"
    return f"{times}, {unit.words(unplanned.quantity_steps)} each time,"


def _drawer(drawer: Drawer, unit: Unit) -> str:
    said = unit.words(drawer.here_steps) if drawer.here_steps else "none"
    if drawer.here_steps:
        said += ", which serves that rig first"
    if drawer.target_steps:
        said += f"; should hold {unit.words(drawer.target_steps)}"
    if drawer.refill_steps:
        said += f", and {unit.words(drawer.refill_steps)} again once used from"
    return said


def beside(given: Given, found: Found) -> list[str]:
    """Return what other formulas would say, for comparison."""
    unit = unit_of(given)
    said = []
    if found.classic is not None:
        said.append(
            f"The classic reorder point, from what was used alone, would be "
            f"{unit.words(found.classic.point_steps)}: "
            f"{found.classic.mean_steps / unit.steps:.2f} in 28 days, "
            f"deviation {found.classic.sd_steps / unit.steps:.2f}."
        )
    if found.intermittent is not None:
        said.append(
            f"By its past use it is {KINDS[found.intermittent.kind]}. Smoothed for rare use, "
            f"{found.intermittent.corrected / unit.steps:.2f} in 28 days (fading with time: "
            f"{found.intermittent.fading / unit.steps:.2f}), it would be bought at "
            f"{unit.words(found.intermittent.point_steps)}."
        )
    return said
