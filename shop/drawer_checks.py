"""When the drawer of a rig is to be checked: about every six weeks, and before a long job."""

from dataclasses import dataclass
from datetime import date, timedelta
from typing import Final

from django.utils import timezone
from django.utils.translation import gettext

from equipment.models import JobBooking, Rig
from inventory.models import Count, Location
from shop import words
from shop.models import RigDrawer

#: Common practice, no source.
EVERY: Final = timedelta(days=42)
#: A job of so many days or more is long; it asks so long before it begins, unless the drawer was
#: checked in the fortnight before it.
LONG_DAYS: Final = 7
AHEAD: Final = timedelta(days=7)
FRESH: Final = timedelta(days=14)


@dataclass(frozen=True, slots=True)
class DrawerCheck:
    """The drawer of a rig: where, when it was last checked, and why it is asked for now, or "".

    under_way: the check or count that somebody is at now, or None.
    """

    rig: Rig
    location: Location
    checked_on: date | None
    why: str
    under_way: Count | None
    is_before_a_job: bool = False


def why_asked(
    checked_on: date | None, jobs: list[tuple[date, date]], *, today: date
) -> tuple[str, date | None]:
    """Return why a check is asked for ("job", "never", "weeks" or "") and a job's first day.

    jobs: first and last days of what is booked.
    """
    for first, last in sorted(jobs):
        is_long = (last - first).days + 1 >= LONG_DAYS
        is_near = today <= first <= today + AHEAD
        if is_long and is_near and (checked_on is None or checked_on < first - FRESH):
            return "job", first
    if checked_on is None:
        return "never", None
    return ("weeks" if today - checked_on >= EVERY else ""), None


def of_rigs(rigs: list[Rig], *, today: date) -> list[DrawerCheck]:
    """The drawers of rigs, in their order. Four queries, however many they are."""
    drawers = {
        each.rig_id: each.location
        for each in RigDrawer.objects.filter(rig__in=rigs).select_related("location")
    }
    checked: dict[int, date] = {}
    done = Count.objects.filter(
        location__in=drawers.values(), state__in=(Count.State.COUNTED, Count.State.POSTED)
    )
    for place_pk, at in done.order_by("counted_at").values_list("location", "counted_at"):
        checked[place_pk] = timezone.localdate(at)
    open_now = {
        each.location_id: each
        for each in Count.objects.filter(location__in=drawers.values(), state=Count.State.OPEN)
    }
    jobs: dict[int, list[tuple[date, date]]] = {}
    near = JobBooking.objects.filter(
        rig__in=drawers, first_day__gte=today, first_day__lte=today + AHEAD
    )
    for rig_pk, first, last in near.values_list("rig", "first_day", "last_day"):
        jobs.setdefault(rig_pk, []).append((first, last))
    found = []
    for rig in rigs:
        if (place := drawers.get(rig.pk)) is None:
            continue
        on = checked.get(place.pk)
        why, first_day = why_asked(on, jobs.get(rig.pk, []), today=today)
        reasons = {
            "job": gettext("a long job begins on {day}").format(
                day=words.day(first_day, today=today) if first_day else ""
            ),
            "never": gettext("it was never checked"),
            "weeks": gettext("the last check is six weeks old or more"),
            "": "",
        }
        found.append(
            DrawerCheck(rig, place, on, reasons[why], open_now.get(place.pk), why == "job")
        )
    return found


def asked_for(rigs: list[Rig], *, today: date) -> list[DrawerCheck]:
    """The drawers that are to be checked now: before a long job first, then as the rigs stand."""
    asked = [each for each in of_rigs(rigs, today=today) if each.why]
    return sorted(asked, key=lambda each: not each.is_before_a_job)
