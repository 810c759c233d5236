"""Due dates from the clocks of a due row: the same whichever way its row is kept."""

from collections.abc import Mapping, Sequence
from typing import Final
from zoneinfo import ZoneInfo

from django.utils import timezone

from equipment import due as dates
from equipment.models import Due, DueClock, Wear
from equipment.models.rigs import ZERO
from equipment.services.lives import Key

KEPT_OF_DUE: Final = (
    "version_id",
    "rig_id",
    "position_id",
    "rig_number",
    "kind_id",
    "skill",
    "is_listed",
    "measure",
    "interval",
    "since",
    "is_at_least",
    "rate_per_day",
    "read_on",
    "tolerance",
    "renewed_at",
    "due_date",
    "late_date",
    "is_past_due",
    "is_past_tolerance",
    "brought_on",
    "brought_because",
    "postponed_to",
)
#: Of those, what a reading moves.
MOVED_OF_DUE: Final = (
    "measure",
    "interval",
    "since",
    "is_at_least",
    "rate_per_day",
    "read_on",
    "due_date",
    "late_date",
    "is_past_due",
    "is_past_tolerance",
)
KEPT_OF_CLOCK: Final = (
    "interval",
    "life_at_renewal",
    "since",
    "is_at_least",
    "counted_from",
    "due_date",
)
#: The same by the names of their fields.
DUE_FIELDS: Final = tuple(field.removesuffix("_id") for field in KEPT_OF_DUE)


def settle(
    row: Due, clocks: Sequence[DueClock], wear: Mapping[Key, Wear], *, zone: ZoneInfo
) -> None:
    """Set the dates of a due row from its clocks, the wear of its component and `brought_on`.

    Whichever trigger falls first leads (`equipment.due.first_due`); of two at the same moment the
    one that comes first in `equipment.due.MEASURES`. A service brought forward is due by that day
    at the latest; it is overdue only when its own clocks say so. Put off (`postponed_to`), none of
    its dates stands earlier than that day and nothing of it is past; brought forward counts still.
    """
    ordered = sorted(clocks, key=lambda clock: dates.MEASURES.index(clock.measure))
    triggers = [_trigger(row, clock, wear, zone) for clock in ordered]
    first = dates.first_due(triggers, tolerance=row.tolerance)
    for clock, trigger, moment in zip(ordered, triggers, first.all, strict=True):
        clock.due_date = moment.due_date
        if moment is first.lead:
            row.measure, row.interval, row.since = clock.measure, clock.interval, clock.since
            row.is_at_least = clock.is_at_least
            row.read_on = clock.counted_from
            row.rate_per_day = (
                trigger.rate_per_day if isinstance(trigger, dates.UseTrigger) else None
            )
    due_date, row.late_date = first.due_date, first.late_date
    row.is_past_due, row.is_past_tolerance = first.is_past_due, first.is_past_tolerance
    if row.postponed_to is not None:
        due_date = max(due_date, row.postponed_to)
        row.late_date = max(row.late_date, row.postponed_to)
        row.is_past_due = row.is_past_tolerance = False
    row.due_date = min(due_date, row.brought_on)


def _trigger(row: Due, clock: DueClock, wear: Mapping[Key, Wear], zone: ZoneInfo) -> dates.Trigger:
    if clock.measure == dates.DAYS:
        return dates.DayTrigger(interval_days=int(clock.interval), renewed_on=clock.counted_from)
    worn = wear.get((row.component_id, clock.measure))
    read_at = row.renewed_at if worn is None else worn.read_at
    clock.since = max((ZERO if worn is None else worn.life) - clock.life_at_renewal, ZERO)
    clock.counted_from = timezone.localdate(read_at, zone)
    return dates.UseTrigger(
        measure=clock.measure,
        interval=clock.interval,
        since=clock.since,
        rate_per_day=None if worn is None else worn.rate_per_day,
        read_on=clock.counted_from,
    )
