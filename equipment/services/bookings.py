"""Jobs that take a rig away, and the day it is next in the shop."""

from collections import defaultdict
from collections.abc import Iterable
from datetime import date
from decimal import Decimal
from typing import Final
from zoneinfo import ZoneInfo

from django.contrib.auth.base_user import AbstractBaseUser
from django.db import transaction

from equipment import absences
from equipment.due import FAR_DATE
from equipment.models import Component, Installation, JobBooking, Rig
from equipment.services import dues, locks
from equipment.services.keeping import write
from equipment.triggers import Away

#: How hard a job works a rig: beside a usual day of a job, in a word, and in full.
INTENSITIES: Final = (
    (Decimal("0.5"), "light", "Light: about half of a usual day (0.5)"),
    (Decimal(1), "as usual", "As on a usual day (1)"),
    (Decimal("1.5"), "hard", "Hard: half as much again (1.5)"),
    (Decimal(2), "very hard", "Very hard: twice a usual day (2)"),
)


def how_hard(intensity: Decimal) -> str:
    """Return how hard a job works a rig, in a word where there is one: "hard, 1.5 of a usual day".

    intensity: >= 0. [1] "" for a usual day.
    """
    if intensity == 1:
        return ""
    figure = f"{intensity.normalize():f} of a usual day"
    word = next((word for known, word, _ in INTENSITIES if known == intensity), "")
    return f"{word}, {figure}" if word else figure


class BookingOverlaps(ValueError):
    """The rig is away at another job on one of these days."""

    def __init__(self, other: JobBooking) -> None:
        self.other = other
        super().__init__(
            f"The rig is booked for “{other.job}” from {other.first_day.day} "
            f"{other.first_day:%b} to {other.last_day.day} {other.last_day:%b}."
        )


class BookingGone(ValueError):
    """The job was taken off while somebody changed it."""

    def __init__(self, booking: JobBooking) -> None:
        super().__init__(f"“{booking.job}” was taken off meanwhile. Book it again if it is on.")


def book_job(
    *,
    rig: Rig,
    job: str,
    first_day: date,
    last_day: date,
    author: AbstractBaseUser,
    today: date,
    zone: ZoneInfo,
    intensity: Decimal = Decimal(1),
) -> JobBooking:
    """Book a rig away from first_day to last_day, both included; its due rows follow.

    intensity: how hard it works there; 1 is as on a usual booked day, >= 0. [1]
    The same booking again returns the one there is. Raises BookingOverlaps, ValidationError.
    """
    with transaction.atomic():
        components = lock_fitted(rig.pk)
        booking = JobBooking(
            rig=rig,
            job=job,
            first_day=first_day,
            last_day=last_day,
            intensity=intensity,
            author_id=author.pk,
        )
        booking.full_clean()
        other = _overlapping(booking)
        if other is not None:
            if (other.job, other.first_day, other.last_day) == (job, first_day, last_day):
                return other
            raise BookingOverlaps(other)
        booking.save()
        _follow(booking.rig_id, components, today=today, zone=zone)
        return booking


def change_booking(
    *,
    booking: JobBooking,
    job: str,
    first_day: date,
    last_day: date,
    author: AbstractBaseUser,
    intensity: Decimal,
    today: date,
    zone: ZoneInfo,
) -> JobBooking:
    """Put a job right: other days, another name, harder or lighter. The rig stays.

    author: who says so, and stands beside it from now on.
    Raises BookingGone where it was taken off meanwhile, BookingOverlaps, ValidationError.
    """
    with transaction.atomic():
        components = lock_fitted(booking.rig_id)
        fresh = JobBooking.objects.select_related("rig").filter(pk=booking.pk).first()
        if fresh is None:
            raise BookingGone(booking)
        fresh.job, fresh.first_day, fresh.last_day = job, first_day, last_day
        fresh.intensity = intensity
        fresh.author_id = author.pk
        fresh.full_clean()
        other = _overlapping(fresh)
        if other is not None:
            raise BookingOverlaps(other)
        fresh.save()
        _follow(fresh.rig_id, components, today=today, zone=zone)
        return fresh


def _overlapping(booking: JobBooking) -> JobBooking | None:
    return (
        JobBooking.objects.filter(
            rig=booking.rig_id,
            first_day__lte=booking.last_day,
            last_day__gte=booking.first_day,
        )
        .exclude(pk=booking.pk)
        .order_by("first_day")
        .first()
    )


def cancel_booking(*, booking: JobBooking, today: date, zone: ZoneInfo) -> None:
    """The job is off: the rig stays in the shop on those days. Again, it does nothing."""
    with transaction.atomic():
        components = lock_fitted(booking.rig_id)
        JobBooking.objects.filter(pk=booking.pk).delete()
        _follow(booking.rig_id, components, today=today, zone=zone)


def keep_stays(rigs: Iterable[Rig], *, today: date) -> list[Rig]:
    """Keep when each rig is next in the shop (`Rig.stay_on`); return those whose day changed.

    The caller holds their locks. A rig laid up has none.
    """
    known = list(rigs)
    jobs: dict[int, list[Away]] = defaultdict(list)
    rows = JobBooking.objects.filter(rig__in=[rig.pk for rig in known], last_day__gte=today)
    for pk, first, last in rows.values_list("rig_id", "first_day", "last_day"):
        jobs[pk].append(Away(first, last))
    changed = []
    for rig in known:
        stay_on = FAR_DATE if rig.is_laid_up else absences.next_stay(jobs[rig.pk], today=today)
        if stay_on != rig.stay_on:
            rig.stay_on = stay_on
            changed.append(rig)
    write(Rig, changed, ["stay_on"])
    return changed


def lock_fitted(rig: int) -> list[Component]:
    """Lock a rig, what is fitted in it and all that its wear follows from."""
    locks.lock_rigs([rig])
    fitted = Installation.objects.filter(position__rig=rig, removed_at__isnull=True)
    return list(locks.lock_all_behind(fitted.values_list("component_id", flat=True)).values())


def _follow(rig: int, components: Iterable[Component], *, today: date, zone: ZoneInfo) -> None:
    keep_stays(Rig.objects.filter(pk=rig), today=today)
    dues.recompute(components, zone=zone)


def next_stay(*, rig: Rig, today: date) -> date | None:
    """The first day from today on which the rig is not booked away: today, when it is here.

    None when it is laid up: it stays, but no work waits for it.
    """
    if rig.is_laid_up:
        return None
    rows = JobBooking.objects.filter(rig=rig, last_day__gte=today).order_by("first_day")
    coming = [Away(first, last) for first, last in rows.values_list("first_day", "last_day")]
    if not coming or coming[0].begins_on > today:
        return today
    return absences.free_after(coming[0], coming[1:])
