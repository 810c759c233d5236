"""Days of the calendar: months with their ends, seasons, and the planned days of a fixed renewal.

The calendar is the proleptic Gregorian one of `datetime.date`; days, not clock time. Nothing here
knows what day it is. What would lie after the last date there is, is FAR_DATE: "no date".
"""

import calendar
import math
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from typing import Final

# Stands for "no date": lists sort by these columns, and nulls sort differently on the two
# databases.
FAR_DATE: Final = date(9999, 12, 31)

MONTHS_A_YEAR: Final = 12
#: A doing counts for a planned day up to so much of the interval before it, where no early window
#: is set: for the planned day that it lies nearer to.
HALF: Final = Decimal("0.5")


def days_between(a: date, b: date) -> int:
    """Return the days from a to b by the calendar, below 0 when b is earlier. [d]

    Dates, not clock time: a day on which the clock changes counts as one.
    """
    return (b - a).days


def add_days(day: date, days: int) -> date:
    """Return the day so many days later; FAR_DATE from there on. Below 0: earlier.

    Raises OverflowError before the year 1.
    """
    if days >= days_between(day, FAR_DATE):
        return FAR_DATE
    return day + timedelta(days=days)


def add_months(anchor: date, months: int) -> date:
    """Return the same day of the month so many months later, or the last day of a shorter month.

    31 January + 1 is 28 (29) February, + 2 is 31 March: always count from the anchor, never from
    a date that came out clipped. Below 0: earlier. FAR_DATE after the year 9999; raises ValueError
    before the year 1.

    Source of the rule: dateutil's documentation of `relativedelta` (27 and 31 January 2003 plus
    one and two months).
    """
    year, month = divmod(anchor.year * MONTHS_A_YEAR + anchor.month - 1 + months, MONTHS_A_YEAR)
    if year > FAR_DATE.year:
        return FAR_DATE
    return clipped(year, month + 1, anchor.day)


def add_years(anchor: date, years: int) -> date:
    """Return the same day so many years later; 29 February is 28 February in common years.

    Bounds and errors as for `add_months`.
    """
    return add_months(anchor, years * MONTHS_A_YEAR)


def months_between(a: date, b: date) -> int:
    """Return the months from the month of a to the month of b, whatever the days are. [months]"""
    return (b.year - a.year) * MONTHS_A_YEAR + b.month - a.month


def clipped(year: int, month: int, day: int) -> date:
    """Return a day of a month, or the month's last where it is shorter.

    Raises ValueError for a month outside 1..12, a day below 1, a year outside 1..9999.
    """
    if not 1 <= month <= MONTHS_A_YEAR:
        raise ValueError("A month is one of twelve.")
    return date(year, month, min(day, calendar.monthrange(year, month)[1]))


def next_day_of_year(after: date, *, month: int, day: int) -> date:
    """Return the first day after `after` that is this day of a year; 29 February as in `clipped`.

    Errors as for `clipped`; FAR_DATE after the year 9999.
    """
    here = clipped(after.year, month, day)
    if here > after:
        return here
    return FAR_DATE if after.year == FAR_DATE.year else clipped(after.year + 1, month, day)


@dataclass(frozen=True, slots=True)
class Every:
    """An interval of the calendar: so many days, or so many months. One of them is 0.

    days, months: >= 0, one above 0.
    """

    days: int = 0
    months: int = 0

    def __post_init__(self) -> None:
        if min(self.days, self.months) != 0 or max(self.days, self.months) < 1:
            raise ValueError("An interval is at least one day or at least one month.")


@dataclass(frozen=True, slots=True)
class Planned:
    """What a doing did to a service that renews from its planned days.

    satisfied: the planned day that the doing counts for.
    next_on: the planned day after it.
    """

    satisfied: date
    next_on: date


def planned_day(*, counts_from: date, every: Every, steps: int, anchor: date | None = None) -> date:
    """Return counts_from + steps × interval.

    anchor: the day that the months are counted from, when counts_from came from it and may have
        been clipped: with 31 January, 28 February + 1 month is 31 March. None, or a day from
        which counts_from did not come: counts_from itself.
    steps: any whole number. Bounds and errors as for `add_days` and `add_months`.
    """
    if every.days:
        return add_days(counts_from, steps * every.days)
    if anchor is not None:
        behind = months_between(anchor, counts_from)
        if add_months(anchor, behind) == counts_from:
            return add_months(anchor, behind + steps * every.months)
    return add_months(counts_from, steps * every.months)


def renew_fixed(
    *,
    counts_from: date,
    every: Every,
    done_on: date,
    early: Decimal = Decimal(0),
    anchor: date | None = None,
) -> Planned:
    """Return the planned day that a doing satisfies, and the next one.

    Planned days are counts_from + n × interval, n >= 0 (anchor: see `planned_day`). A doing
    satisfies the last planned day that was passed, or the one after it already when it lies in
    that one's early window.

    counts_from: the planned day satisfied by the doing before, or the day the component came.
    early: the early window as a fraction of the interval before the planned day, in whole days,
        0 <= early < 1; 0 is none set, and then half an interval. [1]
    done_on: before counts_from it satisfies counts_from: nothing is planned earlier.
    Raises ValueError for `early` out of range.

    Source: worked_examples.json, F08 ("counting a date done early as that date").
    """
    if not 0 <= early < 1:
        raise ValueError("An early window lies between none and the whole interval.")
    window = early or HALF

    def planned(steps: int) -> date:
        return planned_day(counts_from=counts_from, every=every, steps=steps, anchor=anchor)

    if every.days:
        steps = days_between(counts_from, done_on) // every.days
    else:
        steps = months_between(counts_from, done_on) // every.months
        # The month is reached, its day perhaps not.
        steps -= planned(steps) > done_on if steps >= 0 else 0
    steps = max(steps, 0)
    satisfied, after = planned(steps), planned(steps + 1)
    opens = add_days(after, -part_of(days_between(satisfied, after), window))
    if opens <= done_on < after:
        return Planned(satisfied=after, next_on=planned(steps + 2))
    return Planned(satisfied=satisfied, next_on=after)


def part_of(days: int, fraction: Decimal) -> int:
    """Return a fraction of so many days, rounded down: a part of a day is not given. [d]"""
    return math.floor(days * fraction)
