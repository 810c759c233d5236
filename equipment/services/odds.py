"""The odds of services before a day: kept for the next stay of a rig, and live for any day."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any, Final
from zoneinfo import ZoneInfo

import numpy as np

from equipment import forecast
from equipment.due import FAR_DATE
from equipment.services.ahead import Ahead
from equipment.services.in_use import DUE, LATE, InUse
from equipment.services.kept import Flat, Kept

FAR: Final = forecast.FAR
#: Of clocks: to fall due, and to pass the tolerance. [1]
Chances = tuple[forecast.Floats, forecast.Floats]


@dataclass(frozen=True, slots=True)
class Odds:
    """Of a service by the end of a day: to have fallen due, and to have passed its tolerance. [1]

    most: were its triggers on different counters not to move together; >= due.
    """

    due: float
    most: float
    late: float


def odds_by(rows: Any, *, day: date, zone: ZoneInfo) -> dict[int, Odds]:
    """Return the odds of due rows by the end of a day, by their keys; for a page, not for a fleet.

    rows: a queryset of due rows. day: any.
    """
    kept = Kept.of(rows)
    if not kept.entries:
        return {}
    flat = Flat.of(kept.entries)
    ahead = Ahead.of(
        rows=flat.rows,
        counters={source.counter_id for of in kept.sources.values() for source in of},
    )
    in_use = InUse.of(flat, kept.wear, kept.sources, ahead, zone)
    after = min(day.toordinal(), FAR - 2) + 1
    chances = chances_of(flat, in_use, np.full(len(flat.clocks), after, dtype=np.int64), ahead)
    until = [date.fromordinal(after)] * len(flat.rows)
    columns = [each.tolist() for each in together(flat, chances, until=until)]
    return {
        row.id: Odds(*each) for row, each in zip(flat.rows, zip(*columns, strict=True), strict=True)
    }


def chances_of(flat: Flat, in_use: InUse, until: forecast.Days, ahead: Ahead) -> Chances:
    """Return the chance of each clock to fall due, and to pass its tolerance, before a day. [1]

    until: of each clock; FAR: no such day, and none.
    """
    there = until < FAR
    due = ((flat.days("due_date") < until) & there).astype(np.float64)
    late = ((flat.days("late_date") < until) & there).astype(np.float64)
    at = in_use.at
    if len(at):
        # Both in one call: it costs as much as one.
        both = forecast.chance_before(
            clocks=in_use.clocks[np.tile(np.arange(len(at)), 2)],
            timeline=ahead.timeline,
            remaining=np.concatenate((in_use.remaining[DUE], in_use.remaining[LATE])),
            until=np.tile(until[at], 2),
        )
        due[at], late[at] = np.where(np.tile(there[at], 2), both, 0.0).reshape(2, -1)
    return due, late


def together(
    flat: Flat, chances: Chances, *, until: Sequence[date]
) -> tuple[forecast.Floats, forecast.Floats, forecast.Floats]:
    """Return the chances of services from those of their clocks: due, at most due, late. [1]

    until: of each row. Put off to that day or beyond it, none; wanted by a person before it,
    certain.
    """
    due, late = chances
    first, most = forecast.first_of(due, flat.starts)
    first_late, _ = forecast.first_of(late, flat.starts)
    whole, whole_late = forecast.all_of(due, flat.starts), forecast.all_of(late, flat.starts)
    pairs = list(zip(flat.rows, until, strict=True))
    is_put_off = np.array(
        [row.postponed_to is not None and row.postponed_to >= day for row, day in pairs]
    )
    is_wanted = np.array([row.brought_on < day < FAR_DATE for row, day in pairs])

    def said(chance: forecast.Floats) -> forecast.Floats:
        return np.where(is_wanted, 1.0, np.where(is_put_off, 0.0, chance))

    return (
        said(np.where(flat.is_all, whole, first)),
        said(np.where(flat.is_all, whole, most)),
        np.where(is_put_off, 0.0, np.where(flat.is_all, whole_late, first_late)),
    )
