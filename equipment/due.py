"""When a service falls due.

A kept date must not age: nothing here knows what day it is. The dates come from the readings,
the rate and the last renewal; "due" and "overdue" are comparisons with a day handed in.

First release: dates from the mean rate (design, "The mathematics", 5, with no spread).
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Final

from equipment import caldates
from equipment.caldates import add_days, days_between
from equipment.counters import GALLONS, HOURS, STROKES

DAYS: Final = "days"
MONTHS: Final = "months"
SEASON: Final = "season"
IDLE: Final = "idle"
AFTER: Final = "after"
JOB: Final = "job"
VALUE: Final = "value"
#: What wears by use, and what goes by the calendar alone.
USE: Final = (HOURS, STROKES, GALLONS)
MEASURES: Final = (*USE, DAYS, MONTHS, SEASON, IDLE, AFTER, JOB, VALUE)

#: Their days are known or not, and never forecast.
BY_THE_CALENDAR: Final = (DAYS, MONTHS, SEASON, IDLE, AFTER, JOB)

#: Which of several triggers counts.
WHICHEVER_FIRST: Final = "first"
ALL_OF_THEM: Final = "all"

FAR_DATE: Final = caldates.FAR_DATE

OVERDUE: Final = "overdue"
DUE: Final = "due"
SOON: Final = "soon"
CLEAR: Final = "clear"

# A crossing day further back than this is no information, whatever the rate says.
LONGEST_LOOK_BACK_DAYS: Final = 3650


@dataclass(frozen=True, slots=True)
class UseTrigger:
    """Due after so much use.

    measure: HOURS, STROKES or GALLONS.
    interval: use from one renewal to the next, > 0. [measure]
    since: life since the last renewal, as last read, >= 0. [measure]
    rate_per_day: mean rate, >= 0, or None when not known. [measure / d]
    read_on: day of the reading behind `since`.
    """

    measure: str
    interval: Decimal
    since: Decimal
    rate_per_day: Decimal | None
    read_on: date


@dataclass(frozen=True, slots=True)
class DayTrigger:
    """Due so many days after the last renewal.

    interval_days: >= 1. [d]
    """

    interval_days: int
    renewed_on: date


Trigger = UseTrigger | DayTrigger


@dataclass(frozen=True, slots=True)
class TriggerDate:
    """When one trigger falls.

    due_date: the day during which the interval is reached; FAR_DATE when no use is known.
    late_date: the day during which interval × (1 + tolerance) is reached.
    counted_from: the day read, or the day renewed.
    days_to_due: days from `counted_from` until the interval is reached, not rounded; below 0
        when it was reached before; None when no use is known. [d]
    is_past_due: the reading says that the interval is reached. Certain, not a forecast.
    is_past_tolerance: the reading says that the tolerance is used up too.
    """

    measure: str
    due_date: date
    late_date: date
    counted_from: date
    days_to_due: float | None
    is_past_due: bool
    is_past_tolerance: bool


@dataclass(frozen=True, slots=True)
class FirstDue:
    """Whichever trigger of a service falls first.

    lead: the one that falls first; its measure is the reason a person is shown.
    due_date, late_date: the earliest of all triggers.
    is_past_due, is_past_tolerance: so of any trigger.
    all: every trigger, in the order given.
    """

    lead: TriggerDate
    due_date: date
    late_date: date
    is_past_due: bool
    is_past_tolerance: bool
    all: tuple[TriggerDate, ...]


def trigger_date(trigger: Trigger, *, tolerance: Decimal) -> TriggerDate:
    """Return when one trigger falls.

    tolerance: how much later than the interval is allowed, as a fraction of it, >= 0. [1]

    Use: the day read + ⌈remaining / rate⌉ days (14.76 days, so reached during day 15). When the
    interval is already reached the day it was crossed is estimated the same way, backwards, at
    most LONGEST_LOOK_BACK_DAYS, and is the day read when no rate is known. Days: exact; a part
    of a day of tolerance is not given.
    Raises ValueError outside the ranges given here and at the triggers.
    """
    if tolerance < 0:
        raise ValueError("A tolerance cannot be below zero.")
    if isinstance(trigger, DayTrigger):
        return _day_trigger_date(trigger, tolerance)
    return _use_trigger_date(trigger, tolerance)


def first_due(triggers: Sequence[Trigger], *, tolerance: Decimal) -> FirstDue:
    """Return whichever trigger falls first.

    triggers: at least one; of two that fall at the same moment the one given first leads.
    tolerance, errors: as for `trigger_date`.
    """
    if not triggers:
        raise ValueError("A service needs at least one trigger.")
    dates = tuple(trigger_date(trigger, tolerance=tolerance) for trigger in triggers)
    return FirstDue(
        lead=min(dates, key=_moment),
        due_date=min(each.due_date for each in dates),
        late_date=min(each.late_date for each in dates),
        is_past_due=any(each.is_past_due for each in dates),
        is_past_tolerance=any(each.is_past_tolerance for each in dates),
        all=dates,
    )


def state(
    *,
    due_date: date,
    late_date: date,
    is_past_due: bool,
    is_past_tolerance: bool,
    today: date,
    warning_days: int,
) -> str:
    """Return the word for a service today. The one definition of these words:

    OVERDUE  is_past_tolerance, or today > late_date
    DUE      is_past_due, or today >= due_date
    SOON     due_date <= today + warning_days
    CLEAR    otherwise

    The first that holds. warning_days: >= 0. [d] Raises ValueError outside that range.
    """
    if warning_days < 0:
        raise ValueError("The days of warning cannot be below zero.")
    if is_past_tolerance or today > late_date:
        return OVERDUE
    if is_past_due or today >= due_date:
        return DUE
    if days_between(today, due_date) <= warning_days:
        return SOON
    return CLEAR


def _day_trigger_date(trigger: DayTrigger, tolerance: Decimal) -> TriggerDate:
    if trigger.interval_days < 1:
        raise ValueError("An interval must be at least one day.")
    return TriggerDate(
        measure=DAYS,
        due_date=add_days(trigger.renewed_on, trigger.interval_days),
        late_date=add_days(trigger.renewed_on, math.floor(trigger.interval_days * (1 + tolerance))),
        counted_from=trigger.renewed_on,
        days_to_due=float(trigger.interval_days),
        is_past_due=False,
        is_past_tolerance=False,
    )


def _use_trigger_date(trigger: UseTrigger, tolerance: Decimal) -> TriggerDate:
    if trigger.measure not in (HOURS, STROKES, GALLONS):
        raise ValueError(f"Unknown measure {trigger.measure!r}.")
    if trigger.interval <= 0:
        raise ValueError("An interval must be above zero.")
    if trigger.since < 0:
        raise ValueError("The life since the last renewal cannot be below zero.")
    if trigger.rate_per_day is not None and trigger.rate_per_day < 0:
        raise ValueError("A rate of use cannot be below zero.")
    limit = trigger.interval * (1 + tolerance)
    is_past_due = trigger.since >= trigger.interval
    # At the limit itself the tolerance is used, not exceeded.
    is_past_tolerance = trigger.since > limit
    days_to_due = _days_until(trigger, trigger.interval, is_past_due)
    days_to_late = _days_until(trigger, limit, is_past_tolerance)
    return TriggerDate(
        measure=trigger.measure,
        due_date=_day_reached(trigger.read_on, days_to_due),
        late_date=_day_reached(trigger.read_on, days_to_late),
        counted_from=trigger.read_on,
        days_to_due=None if days_to_due is None else float(days_to_due),
        is_past_due=is_past_due,
        is_past_tolerance=is_past_tolerance,
    )


def _days_until(trigger: UseTrigger, life: Decimal, is_past: bool) -> Decimal | None:
    if trigger.rate_per_day:
        return (life - trigger.since) / trigger.rate_per_day
    return Decimal(0) if is_past else None


def _day_reached(read_on: date, days: Decimal | None) -> date:
    if days is None:
        return FAR_DATE
    bounded = max(days, Decimal(-LONGEST_LOOK_BACK_DAYS))
    return add_days(read_on, math.ceil(bounded))


def _moment(each: TriggerDate) -> tuple[date, float]:
    # Two may fall on one day; the one that falls earlier in it leads.
    if each.days_to_due is None:
        return each.due_date, math.inf
    return each.due_date, each.counted_from.toordinal() + each.days_to_due
