"""When one trigger of a service falls, by the calendar and by what happened: nothing is forecast.

What wears by use is forecast (`equipment.forecast`); here is only from which life its clock counts
(`use_clock`). Every function takes days as data and gives `Dates`; nothing knows what day it is.
`equipment.combining` puts the triggers of a service together.

In all of them:
counts_from: the day of the last renewal, or the planned day that it satisfied, or the day the
    component came into service where it was never renewed.
tolerance: how much later than its interval it may be, as a fraction of it, >= 0. [1]
early: how much sooner it may be done and counts as done in time, likewise, 0 <= early < 1. [1]
Fractions of days are rounded down. ValueError outside these ranges.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Final

from equipment.caldates import (
    FAR_DATE,
    Every,
    add_days,
    days_between,
    next_day_of_year,
    part_of,
    planned_day,
)

NONE: Final = Decimal(0)
#: A doing counts for one day of the year only, so its window is shorter than the shortest year.
LONGEST_SEASON_WINDOW_DAYS: Final = 364


@dataclass(frozen=True, slots=True)
class Dates:
    """When one trigger falls, or a service by all of its triggers.

    due_10, due_date, due_90: by these days it has fallen due with 10, 50 and 90 % chance; one day
        where nothing is uncertain. due_10 <= due_date <= due_90.
    window_from: from here on it may be done and counts as done in time, <= due_date.
    late_date: the last day of its tolerance, >= due_date.
    is_past_due, is_past_tolerance: known for certain from what was read, not from the calendar.
    No date: FAR_DATE in all of them.
    """

    due_10: date
    due_date: date
    due_90: date
    window_from: date
    late_date: date
    is_past_due: bool = False
    is_past_tolerance: bool = False


@dataclass(frozen=True, slots=True)
class Away:
    """A job of the rig: the first and the last day that it works there."""

    begins_on: date
    ends_on: date

    def __post_init__(self) -> None:
        if self.ends_on < self.begins_on:
            raise ValueError("A job ends on the day it begins or later.")


@dataclass(frozen=True, slots=True)
class UseClock:
    """What a trigger of use counts.

    from_life: life of the component that it counts from. [measure]
    interval: use from there until it falls due. [measure]
    allowed_of: the use that tolerance and early window are fractions of. [measure]
    """

    from_life: Decimal
    interval: Decimal
    allowed_of: Decimal


NO_DATES: Final = Dates(FAR_DATE, FAR_DATE, FAR_DATE, FAR_DATE, FAR_DATE)


def on_day(due_date: date, *, allowed_days: int = 0, early_days: int = 0) -> Dates:
    """Return the dates of what falls due on a known day; FAR_DATE: none.

    allowed_days, early_days: tolerance and early window, >= 0. [d]
    """
    if due_date == FAR_DATE:
        return NO_DATES
    return Dates(
        due_10=due_date,
        due_date=due_date,
        due_90=due_date,
        window_from=add_days(due_date, -min(early_days, days_between(date.min, due_date))),
        late_date=add_days(due_date, allowed_days),
    )


def use_clock(
    *, interval: Decimal, first_at: Decimal | None, renewed_at_life: Decimal | None
) -> UseClock:
    """Return what a trigger of hours, strokes or gallons counts.

    interval: use from one renewal to the next, > 0. [measure]
    first_at: due at this life for the first time, > 0; None: at the interval. [measure]
    renewed_at_life: life at the last renewal, >= 0; None: never renewed. [measure]

    Done so early that the interval would end before `first_at`, it is still due at `first_at`: a
    renewal never makes a date earlier. Tolerance is of the interval, and of no more than the life
    at the first time. Raises ValueError outside these ranges.
    """
    if interval <= 0 or (first_at is not None and first_at <= 0):
        raise ValueError("An interval must be above zero.")
    if renewed_at_life is not None and renewed_at_life < 0:
        raise ValueError("A life cannot be below zero.")
    first = interval if first_at is None else first_at
    if renewed_at_life is None or renewed_at_life + interval < (first_at or NONE):
        return UseClock(from_life=NONE, interval=first, allowed_of=min(first, interval))
    return UseClock(from_life=renewed_at_life, interval=interval, allowed_of=interval)


def by_calendar(
    *,
    counts_from: date,
    every: Every,
    tolerance: Decimal = NONE,
    early: Decimal = NONE,
    anchor: date | None = None,
) -> Dates:
    """DAYS and MONTHS: due one interval after counts_from, fixed and floating alike.

    anchor: the day whose day of the month a fixed renewal keeps (`caldates.planned_day`).
    """
    _refuse(tolerance, early)
    due_date = planned_day(counts_from=counts_from, every=every, steps=1, anchor=anchor)
    interval_days = days_between(counts_from, due_date)
    return on_day(
        due_date,
        allowed_days=part_of(interval_days, tolerance),
        early_days=part_of(interval_days, early),
    )


def by_season(
    *, counts_from: date, is_renewed: bool, month: int, day: int, window_days: int
) -> Dates:
    """SEASON: due on that day of each year; done up to window_days before it, it counts for it.

    So after a renewal it is due on the first such day that lies more than window_days later; never
    renewed (counts_from is the day it came), on the first such day after that.
    month, day: 29 February is 28 February in common years.
    window_days: 1..LONGEST_SEASON_WINDOW_DAYS. [d] No tolerance.
    """
    if not 1 <= window_days <= LONGEST_SEASON_WINDOW_DAYS:
        raise ValueError("The days before a day of the year are 1 to 364.")
    after = add_days(counts_from, window_days) if is_renewed else counts_from
    return on_day(next_day_of_year(after, month=month, day=day), early_days=window_days)


def by_job(*, jobs: Sequence[Away], counts_from: date, is_renewed: bool, window_days: int) -> Dates:
    """JOB: due on the first day of the rig's next job; done up to window_days before, it counts.

    jobs: in any order; those that began by counts_from are behind it. Without one, no date.
    window_days: >= 1. [d] No tolerance: it is asked for before the rig leaves, so it is late on the
        day after. A rig that left without it stays overdue while it is away; one that was at a job
        on counts_from is asked about the next. Of two jobs in a row each counts, at home between
        them or not; only a window that reaches over the first makes one doing count for both.
    """
    if window_days < 1:
        raise ValueError("The days before a job are at least one.")
    after = add_days(counts_from, window_days) if is_renewed else counts_from
    begins = [job.begins_on for job in jobs if job.begins_on > after]
    return on_day(min(begins, default=FAR_DATE), early_days=window_days)


def by_idle_days(
    *,
    used_on: date,
    done_on: date | None,
    jobs: Sequence[Away],
    idle_days: int,
    early: Decimal = NONE,
) -> Dates:
    """IDLE: due when nothing was used for idle_days.

    used_on: the last day of use that is known, or the day it came where there is none.
    done_on: the day it was last done, or None. Done on the last day of use or after it, it is done
        for that stop, and there is no date before it was used again.
    jobs: in any order. One that begins before the day it would be due ends that stop before it
        counts; the next stop begins on the last day of the job.
    idle_days: >= 1. [d] No tolerance.
    """
    _refuse(NONE, early)
    if idle_days < 1:
        raise ValueError("Days without use are at least one.")
    stopped_on = used_on
    for job in sorted(jobs, key=lambda job: (job.begins_on, job.ends_on)):
        if job.ends_on <= stopped_on:
            continue
        is_done = done_on is not None and stopped_on <= done_on
        if not is_done and job.begins_on >= add_days(stopped_on, idle_days):
            break
        stopped_on = job.ends_on
    if done_on is not None and stopped_on <= done_on:
        return NO_DATES
    return on_day(add_days(stopped_on, idle_days), early_days=part_of(idle_days, early))


def by_other(*, other_done_on: date | None, days_after: int, early: Decimal = NONE) -> Dates:
    """AFTER: due days_after the other service was done; None: no date.

    other_done_on: the day it was last done, if that was after this service's own last renewal; of
        one sheet both are done at the same moment, and that is not after.
    days_after: >= 1. [d] No tolerance.
    """
    _refuse(NONE, early)
    if days_after < 1:
        raise ValueError("The days after another service are at least one.")
    if other_done_on is None:
        return NO_DATES
    return on_day(add_days(other_done_on, days_after), early_days=part_of(days_after, early))


def by_value(
    *, measured_on: date | None, is_past_limit: bool, meets_on: date | None, days_before: int
) -> Dates:
    """VALUE: due on the day it was measured past its limit, else days_before its trend meets it.

    measured_on: the last day it was measured since the last renewal; None: not yet, no date.
    meets_on: the day the trend meets the limit; None: it does not.
    days_before: >= 1. [d] Due on the day measured when the trend leaves less: it was not known
        before. No tolerance.
    """
    if days_before < 1:
        raise ValueError("The days before a limit is met are at least one.")
    if measured_on is None:
        return NO_DATES
    if is_past_limit:
        sure = on_day(measured_on)
        return Dates(
            due_10=sure.due_10,
            due_date=sure.due_date,
            due_90=sure.due_90,
            window_from=sure.window_from,
            late_date=sure.late_date,
            is_past_due=True,
        )
    if meets_on is None or meets_on == FAR_DATE:
        return NO_DATES
    lead = min(days_before, days_between(date.min, meets_on))
    return on_day(max(add_days(meets_on, -lead), measured_on))


def _refuse(tolerance: Decimal, early: Decimal) -> None:
    if tolerance < 0:
        raise ValueError("A tolerance cannot be below zero.")
    if not 0 <= early < 1:
        raise ValueError("An early window lies between none and the whole interval.")
