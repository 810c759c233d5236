"""Readings that were wrong: taken back, or taken back and said right, by rows that are added."""

from datetime import UTC, datetime
from uuid import UUID, uuid5
from zoneinfo import ZoneInfo

from django.contrib.auth.base_user import AbstractBaseUser
from django.db import transaction

from equipment.models import Reading
from equipment.services import dues, locks, sides, timelines
from equipment.services.readings import (
    NewReading,
    Sending,
    check_alone,
    insert_late,
    last_minute,
    lock_all_behind,
)
from equipment.services.refusals import (
    AlreadyReversed,
    LaterContradicts,
    NothingCorrected,
    SameMoment,
)
from equipment.services.shiftlogs.posting import try_again
from equipment.services.timelines import Contradiction


def reverse_reading(
    *,
    reading: Reading,
    author: AbstractBaseUser,
    at: datetime,
    reason: str,
    request_id: UUID,
    zone: ZoneInfo,
) -> Reading:
    """Take a reading back; what followed from it is worked out anew. Returns the reversal.

    Readings of a shift log that it stood against are taken then.
    at: now. The same request_id again returns the same row. Raises AlreadyReversed;
    LaterContradicts when the readings that remain could not all be true.
    """
    with transaction.atomic():
        components = lock_all_behind([reading.counter])
        counter = locks.lock_counters([reading.counter_id])[reading.counter_id]
        wrong = Reading.objects.get(pk=reading.pk)
        sent = Reading.objects.filter(counter=counter, request_id=request_id).first()
        if sent is not None and sent.reverses_id == wrong.pk:
            return sent
        if not wrong.is_in_force:
            raise AlreadyReversed
        reversal = _reverse(wrong, author, at, reason, request_id)
        try:
            timelines.rederive([counter])
        except Contradiction as found:
            raise LaterContradicts(later=found.reading, cause=found.cause, zone=zone) from found
        dues.recompute(components, zone=zone)
        sides.refresh_read([counter], zone=zone)
        try_again(counter=counter, author=author, at=at, zone=zone)
        return reversal


def correct_reading(
    *,
    reading: Reading,
    new: NewReading,
    at: datetime,
    is_day_only: bool,
    author: AbstractBaseUser,
    recorded_at: datetime,
    reason: str,
    request_id: UUID,
    zone: ZoneInfo,
) -> Reading:
    """Take a reading back and put a right one in its place, both or neither; both rows stay.

    at, is_day_only: when the face was read, as for `record_readings`. So a bound becomes exact
    once somebody says what the face showed before its reset. The same request_id again returns
    the same row. Raises AlreadyReversed, NothingCorrected, ReadingRefused.
    """
    with transaction.atomic():
        components = lock_all_behind([reading.counter])
        counter = locks.lock_counters([reading.counter_id])[reading.counter_id]
        earlier = Reading.objects.filter(counter=counter, request_id=request_id).first()
        if earlier is not None:
            return earlier
        wrong = Reading.objects.get(pk=reading.pk)
        if not wrong.is_in_force:
            raise AlreadyReversed
        if is_day_only:
            at = min(last_minute(at, zone), recorded_at)
        at = at.astimezone(UTC)
        moment = (wrong.at, wrong.is_day_only)
        if moment == (at, is_day_only) and _is_word_for_word(wrong, new):
            raise NothingCorrected
        check_alone(new, counter, at=at, recorded_at=recorded_at, zone=zone)
        _reverse(wrong, author, recorded_at, reason, uuid5(request_id, "taken back"))
        said = {
            "author_id": author.pk,
            "request_id": request_id,
            "note": reason,
        }
        sending = Sending([new], at, is_day_only, recorded_at, zone, said)
        if there := Reading.objects.of(counter).filter(at=at).first():
            raise SameMoment(there=there.value)
        row = insert_late(new, counter, sending)
        row.save()
        dues.recompute(components, zone=zone)
        sides.refresh_read([counter], zone=zone)
        try_again(counter=counter, author=author, at=recorded_at, zone=zone)
        return row


def _reverse(
    wrong: Reading, author: AbstractBaseUser, at: datetime, reason: str, request_id: UUID
) -> Reading:
    """The row that takes a reading back; the totals that hung on it are the caller's business."""
    reversal = Reading.objects.create(
        counter=wrong.counter,
        at=wrong.at,
        is_day_only=wrong.is_day_only,
        value=wrong.value,
        author_id=author.pk,
        recorded_at=at,
        note=reason,
        request_id=request_id,
        reverses=wrong,
        is_in_force=False,
    )
    wrong.is_in_force = False
    wrong.save(update_fields=["is_in_force"])
    return reversal


def _is_word_for_word(there: Reading, new: NewReading) -> bool:
    return (there.value, there.step, there.before_reset, there.face_start) == (
        new.value,
        new.step,
        new.before_reset,
        new.face_start,
    )
