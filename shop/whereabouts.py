"""Where a rig is: in the shop, or away at a job, and when that changes.

A rig is in the shop on every day that no job is booked; jobs that follow each other without a
free day are one absence.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from django.utils.translation import gettext

from equipment import absences
from equipment.due import FAR_DATE
from equipment.models import JobBooking, Rig
from equipment.triggers import Away
from shop import words

ONE_DAY = timedelta(days=1)


@dataclass(frozen=True, slots=True)
class Whereabouts:
    """Where a rig is on a day.

    away: the job it is at today, or None in the shop.
    back_on: the first free day after that absence; None in the shop.
    leaves_for: the first job after today's, or after today where it is in the shop.
    next_stay: the first free day after this absence, or after the next where it is in the shop;
        None where nothing takes it away.
    """

    today: date
    away: JobBooking | None
    back_on: date | None
    leaves_for: JobBooking | None
    next_stay: date | None

    @property
    def is_here(self) -> bool:
        return self.away is None

    @property
    def leaves_on(self) -> date | None:
        """The day it leaves the shop, where it is in the shop and will."""
        return self.leaves_for.first_day if self.is_here and self.leaves_for else None

    def comes_by(self, day: date) -> bool:
        """Whether it is in the shop today or comes back on or before a day."""
        return self.is_here or (self.back_on is not None and self.back_on <= day)

    def where_text(self) -> str:
        """ "in the shop to Fri 27 Nov" or "away at loft job to Fri 27 Nov"."""
        if self.away is not None:
            last = words.weekday(self.away.last_day, today=self.today)
            return gettext("away at {job} to {day}").format(job=self.away.job, day=last)
        if self.leaves_on is not None:
            last = words.weekday(self.leaves_on - ONE_DAY, today=self.today)
            return gettext("in the shop to {day}").format(day=last)
        return gettext("in the shop")

    def then_text(self) -> str:
        """The job that comes after: "30 Nov – 18 Dec"; empty where none is booked."""
        if self.leaves_for is None:
            return ""
        first = words.day(self.leaves_for.first_day, today=self.today)
        last = words.day(self.leaves_for.last_day, today=self.today)
        return first if first == last else f"{first} – {last}"

    def stay_text(self) -> str:
        return words.weekday(self.next_stay, today=self.today) if self.next_stay else ""


def whereabouts(bookings: Iterable[JobBooking], *, today: date) -> Whereabouts:
    """Return where a rig is, from its bookings in any order; those that are over do not count."""
    coming = sorted(
        (each for each in bookings if each.last_day >= today), key=lambda each: each.first_day
    )
    away = next((each for each in coming if each.first_day <= today), None)
    later = [each for each in coming if each.first_day > today]
    stay = absences.next_stay([Away(job.first_day, job.last_day) for job in coming], today=today)
    return Whereabouts(
        today=today,
        away=away,
        back_on=stay if away else None,
        leaves_for=later[0] if later else None,
        next_stay=None if stay == FAR_DATE else stay,
    )


def bookings_of(rigs: Iterable[Rig], *, since: date) -> dict[int, list[JobBooking]]:
    """Return the bookings of some rigs that end on or after a day, by rig, in one query."""
    found: dict[int, list[JobBooking]] = {}
    rows = JobBooking.objects.filter(rig__in=[rig.pk for rig in rigs], last_day__gte=since)
    for row in rows.order_by("first_day", "pk"):
        found.setdefault(row.rig_id, []).append(row)
    return found


def of_rigs(
    rigs: Iterable[Rig], bookings: Mapping[int, Sequence[JobBooking]], *, today: date
) -> dict[int, Whereabouts]:
    """Return where each rig is."""
    return {rig.pk: whereabouts(bookings.get(rig.pk, ()), today=today) for rig in rigs}
