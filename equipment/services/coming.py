"""How often each service will have fallen due by some days: what stores ask of the forecast."""

from collections.abc import Mapping, Sequence
from datetime import date
from typing import Any, Final
from zoneinfo import ZoneInfo

import numpy as np

from equipment import due as dates
from equipment import forecast
from equipment.due import DAYS, MONTHS, SEASON
from equipment.services.ahead import Ahead
from equipment.services.in_use import DUE, InUse
from equipment.services.kept import Flat, Kept
from equipment.services.odds import chances_of, together

#: Renewals of one service that are looked at; more would be daily care, which stores nothing. [1]
MOST_RENEWALS: Final = 24
#: A renewal less likely than this by the last day is left out, and all after it. [1]
LEAST_CHANCE: Final = 1e-4
#: A month of the calendar, on average. [d]
_MONTH_DAYS: Final = 30.436875
#: By due row: for each day asked for, the chance of the first renewal, of the second, … [1]
Renewals = Mapping[int, Sequence[tuple[float, ...]]]


def renewals_by(rows: Any, *, today: date, days: Sequence[date], zone: ZoneInfo) -> Renewals:
    """Return the chances that each due row has fallen due once, twice, … by the end of some days.

    rows: a queryset of due rows. days: any, rising, from today on. The first chance is that of
    `odds.odds_by`. The n-th is that of n − 1 intervals more on the same clocks, P(use >= remaining
    + (n − 1) × interval), on the day set by the calendar that many intervals later; what is past
    due is done once, today at the earliest, however long ago it fell due. Where a service has
    triggers of both sorts and is done early by one of them, its next renewal is really somewhat
    sooner. What comes before a job, after another service, after standing still or by a measured
    value is looked at once. No chance is above that of the renewal before it. A number of queries
    that grows neither with the rows nor with the days.
    """
    kept = Kept.of(rows)
    if not kept.entries or not days:
        return {}
    flat = Flat.of(kept.entries)
    ahead = Ahead.of(
        rows=flat.rows,
        counters={source.counter_id for of in kept.sources.values() for source in of},
    )
    in_use = InUse.of(flat, kept.wear, kept.sources, ahead, zone)
    after = [min(day.toordinal(), forecast.FAR - 2) + 1 for day in days]
    first = np.array(
        [
            together(
                flat,
                chances_of(flat, in_use, np.full(len(flat.clocks), each), ahead),
                until=[date.fromordinal(each)] * len(flat.rows),
            )[0]
            for each in after
        ]
    )
    found = [first]
    for done in range(1, MOST_RENEWALS):
        again = np.array([_again(flat, in_use, ahead, each, done, today) for each in after])
        again = np.minimum(again, found[-1])
        if not (again[-1] >= LEAST_CHANCE).any():
            break
        found.append(again)
    # Renewals × days × rows, turned to rows × days × renewals.
    chances = np.clip(np.array(found), 0.0, 1.0).transpose(2, 1, 0)
    return {
        row.id: [
            tuple(chance for chance in of_day if chance >= LEAST_CHANCE)
            for of_day in of_row.tolist()
        ]
        for row, of_row in zip(flat.rows, chances, strict=True)
    }


def _again(
    flat: Flat, in_use: InUse, ahead: Ahead, until: int, done: int, today: date
) -> forecast.Floats:
    """The chance of each row to fall due once more before a day, done so many times before it."""
    due = np.array([_by_calendar(clock, until, done, today) for _, clock in flat.clocks])
    if len(in_use.at):
        intervals = np.array([float(clock.interval) for _, clock in in_use.used])
        due[in_use.at] = forecast.chance_before(
            clocks=in_use.clocks,
            timeline=ahead.timeline,
            remaining=np.maximum(in_use.remaining[DUE], 0.0) + done * intervals,
            until=np.full(len(in_use.at), until, dtype=np.int64),
        )
    first, _ = forecast.first_of(due, flat.starts)
    return np.where(flat.is_all, forecast.all_of(due, flat.starts), first)


def _by_calendar(clock: Any, until: int, done: int, today: date) -> float:
    if clock.measure in dates.USE:
        return 0.0
    if clock.measure == DAYS:
        every = float(clock.interval)
    elif clock.measure == MONTHS:
        every = float(clock.interval) * _MONTH_DAYS
    elif clock.measure == SEASON:
        every = 12 * _MONTH_DAYS
    else:
        return 0.0
    return float(max(clock.due_date, today).toordinal() + done * every < until)
