"""The triggers of a service put together, put off and brought forward, for many rows at once.

One definition for one row and for a fleet: columns of ordinals (`date.toordinal`, int64) and
booleans in numpy arrays. The order is fixed: `combine`, then `postpone`, then `bring_forward`.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from equipment.caldates import FAR_DATE
from equipment.triggers import Dates

Ordinals = NDArray[np.int64]
Flags = NDArray[np.bool_]

FAR: Final = FAR_DATE.toordinal()
#: Not put off: no day is earlier.
NOT_POSTPONED: Final = 0

DATES: Final = ("due_10", "due_date", "due_90", "window_from", "late_date")
FLAGS: Final = ("is_past_due", "is_past_tolerance")


@dataclass(frozen=True, slots=True)
class Columns:
    """`Dates` of many triggers or services, a column for each field, all of one length."""

    due_10: Ordinals
    due_date: Ordinals
    due_90: Ordinals
    window_from: Ordinals
    late_date: Ordinals
    is_past_due: Flags
    is_past_tolerance: Flags


def columns_of(dates: Iterable[Dates]) -> Columns:
    """Return dates as columns, in their order."""
    rows = list(dates)
    named: dict[str, Any] = {
        name: np.array([getattr(row, name).toordinal() for row in rows], dtype=np.int64)
        for name in DATES
    }
    for name in FLAGS:
        named[name] = np.array([getattr(row, name) for row in rows], dtype=np.bool_)
    return Columns(**named)


def dates_of(columns: Columns) -> list[Dates]:
    """Return columns as dates, in their order."""
    days = ([date.fromordinal(day) for day in getattr(columns, name).tolist()] for name in DATES)
    flags = (getattr(columns, name).tolist() for name in FLAGS)
    return [Dates(*row) for row in zip(*days, *flags, strict=True)]


def combine(columns: Columns, *, starts: Ordinals, is_all: Flags) -> Columns:
    """Return the dates of services from those of their triggers.

    columns: the triggers, those of one service together.
    starts: where the triggers of each service begin, rising from 0; each has at least one.
    is_all: by service; due when all of its triggers are, else when the first is.

    First: F(t) = max of F_k(t), so each quantile is the earliest of its triggers'; it is past when
    any is. All: F(t) = min of F_k(t), so each is the latest; it is past when every one is. A
    trigger without a date leaves a service of all of them without one. (Triggers of one service
    move together: design, "The mathematics", 5.) Raises ValueError for `starts` as not given here.
    """
    _refuse_starts(starts, length=len(columns.due_date))
    named: dict[str, Any] = {}
    for name in DATES:
        days = getattr(columns, name)
        named[name] = np.where(
            is_all, np.maximum.reduceat(days, starts), np.minimum.reduceat(days, starts)
        )
    for name in FLAGS:
        flags = getattr(columns, name)
        named[name] = np.where(
            is_all, np.logical_and.reduceat(flags, starts), np.logical_or.reduceat(flags, starts)
        )
    return Columns(**named)


def leads(columns: Columns, *, starts: Ordinals, is_all: Flags) -> Ordinals:
    """Return for each service the place of the trigger that gives its due date.

    Arguments as for `combine`. Of several on that day the one given first.
    """
    day = combine(columns, starts=starts, is_all=is_all).due_date
    lengths = np.diff(np.append(starts, len(columns.due_date)))
    gives = np.flatnonzero(columns.due_date == np.repeat(day, lengths))
    found: Ordinals = gives[np.searchsorted(gives, starts)]
    return found


def postpone(columns: Columns, *, until: Ordinals) -> Columns:
    """Return the dates put off: none stands before `until`, and nothing is known to be past.

    until: by service; NOT_POSTPONED where it is not put off.
    """
    named: dict[str, Any] = {name: np.maximum(getattr(columns, name), until) for name in DATES}
    stands = until == NOT_POSTPONED
    for name in FLAGS:
        named[name] = getattr(columns, name) & stands
    return Columns(**named)


def bring_forward(columns: Columns, *, wanted_by: Ordinals) -> Columns:
    """Return the dates with what a person wants sooner: due by that day at the latest.

    wanted_by: by service; FAR where nobody wants it sooner. It is overdue only by its own
    triggers: `late_date` and what is past stay.
    """
    named: dict[str, Any] = {
        name: np.minimum(getattr(columns, name), wanted_by) for name in DATES if name != "late_date"
    }
    return Columns(
        **named,
        late_date=columns.late_date,
        is_past_due=columns.is_past_due,
        is_past_tolerance=columns.is_past_tolerance,
    )


def service_dates(
    triggers: Sequence[Dates],
    *,
    is_all: bool,
    postponed_to: date | None = None,
    wanted_by: date = FAR_DATE,
) -> Dates:
    """Return the dates of one service: `combine`, `postpone` and `bring_forward` for one row.

    triggers: at least one. Raises ValueError without.
    """
    columns = combine(
        columns_of(triggers), starts=np.zeros(1, dtype=np.int64), is_all=np.array([is_all])
    )
    until = NOT_POSTPONED if postponed_to is None else postponed_to.toordinal()
    columns = postpone(columns, until=np.array([until]))
    return dates_of(bring_forward(columns, wanted_by=np.array([wanted_by.toordinal()])))[0]


def _refuse_starts(starts: Ordinals, *, length: int) -> None:
    bounds = np.append(starts, length)
    if len(starts) and (starts[0] != 0 or np.any(np.diff(bounds) < 1)):
        raise ValueError("Each service needs at least one trigger, those of one together.")
    if not len(starts) and length:
        raise ValueError("Triggers without a service.")
