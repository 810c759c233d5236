"""The stock of a part against time, from its ledger and the figures of its advice. Pure."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from inventory.sentences import Unit
from shop.advice import Found, Given
from shop.drawing.stock_plot import Forecast, StockPlot

#: How far back the drawing reaches, and how far past the last week that is forecast. [d]
BACK_DAYS = 154
BEYOND_DAYS = 4
MONTHS = ["Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"]


@dataclass(frozen=True, slots=True)
class Moved:
    """What went in (> 0) or out of the shop's bins on a day. [steps]"""

    day: date
    steps: int


@dataclass(frozen=True, slots=True)
class Left:
    """What will be left by a day: at least `low` with 90 %, `middle` with 50 %, `high` with 10 %.

    [steps]
    """

    day: date
    low: int
    middle: int
    high: int


def left_ahead(
    *,
    given: Given,
    found: Found,
    reckoned_on: date,
    today: date,
    usable_steps: int,
    coming: Iterable[Moved] = (),
) -> list[Left]:
    """Return what will be left after each week: what is usable, less what is asked for and what
    drawers lack, and what is on order from its day on. Never below nothing.

    usable_steps: now. coming: what is on order, by the day it is expected.
    """
    coming = list(coming)
    rows = [Left(today, usable_steps, usable_steps, usable_steps)]
    for each in found.ahead:
        day = reckoned_on + timedelta(days=each.days)
        if day <= today:
            continue
        there = usable_steps
        there += sum(due.steps for due in coming if today <= due.day <= day)
        rows.append(
            Left(
                day,
                max(0, there - each.high),
                max(0, there - each.middle),
                max(0, there - each.low),
            )
        )
    return rows


def held_behind(moved: Sequence[Moved], *, on_hand_steps: int, today: date) -> list[Moved]:
    """Return the stock at the end of each day on which it changed, from BACK_DAYS ago. [steps]

    moved: at least all movements since then, in any order. The first row is what was there then.
    """
    first = today - timedelta(days=BACK_DAYS)
    by_day: dict[date, int] = {}
    for each in moved:
        if each.day > first:
            by_day[each.day] = by_day.get(each.day, 0) + each.steps
    stock = on_hand_steps - sum(by_day.values())
    rows = [Moved(first, stock)]
    for day in sorted(by_day):
        if by_day[day]:
            stock += by_day[day]
            rows.append(Moved(day, stock))
    return rows


def plot_of(
    *,
    given: Given,
    point_steps: int | None,
    held: Sequence[Moved],
    left: Sequence[Left],
    today: date,
) -> StockPlot:
    """Return the drawing of stock behind and ahead, with its sentence.

    point_steps: the reorder point in force, by hand or by the advice; None where there is none.
    """
    unit = Unit(given.unit_name, given.steps_per_unit)
    buy = None
    if point_steps is not None:
        buy = next((row.day for row in left if row.middle <= point_steps), None)
    return StockPlot(
        today=today,
        back=BACK_DAYS,
        ahead=(left[-1].day - today).days + BEYOND_DAYS,
        held=tuple(((row.day - today).days, row.steps / unit.steps) for row in held),
        forecast=tuple(
            Forecast(
                (row.day - today).days,
                row.low / unit.steps,
                row.middle / unit.steps,
                row.high / unit.steps,
            )
            for row in left
        ),
        point=point_steps / unit.steps if point_steps is not None else None,
        point_text=unit.words(point_steps or 0),
        lead=given.span_days - given.review_days,
        buy_day=(buy - today).days if buy else None,
        label=sentence(unit, point_steps or 0, left, buy, today=today),
    )


def sentence(
    unit: Unit, point_steps: int, left: Sequence[Left], buy: date | None, *, today: date
) -> str:
    """Say what is here, when it falls to the reorder point, and what is left at the end."""
    first, last = left[0], left[-1]
    said = [f"{_words(unit, first.middle).capitalize()} usable in the bins on {_day(today)}."]
    if buy == today:
        said.append(f"That is at the reorder point of {unit.words(point_steps)} or below.")
    elif buy is not None:
        point = unit.words(point_steps)
        said.append(f"It falls to the reorder point of {point} by about {_day(buy)}.")
    if last.low == last.high:
        said.append(f"On {_day(last.day)} {_words(unit, last.middle)} will be left.")
    else:
        said.append(
            f"On {_day(last.day)} {_words(unit, last.low)} to {_words(unit, last.high)} "
            f"will be left, likely {_words(unit, last.middle)}, in 8 cases of 10."
        )
    return " ".join(said)


def _words(unit: Unit, steps: int) -> str:
    return unit.words(steps) if steps else "none"


def _day(day: date) -> str:
    return f"{day.day} {MONTHS[day.month - 1]}"
