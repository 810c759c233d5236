"""Readings: what a counter showed, entered once, taken back by a row that names it."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime, time, timedelta
from decimal import Decimal
from typing import Any, Final
from uuid import UUID
from zoneinfo import ZoneInfo

from django.contrib.auth.base_user import AbstractBaseUser
from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext_noop

from equipment import counters as faces
from equipment.counters import ReadingRefused, Total
from equipment.models import Component, Counter, Reading, Rig, WearSource
from equipment.services import advancing, dues, locks, sides, timelines
from equipment.services.advancing import Move, Unsettled
from equipment.services.keeping import write
from equipment.services.refusals import (
    AfterTheCount,
    BeforeTheCount,
    LaterContradicts,
    ReadingsRefused,
    SameMoment,
)
from equipment.services.timelines import Contradiction

#: How far a phone's clock may run ahead of ours before it matters.
SLACK: Final = timedelta(minutes=5)
PLACES: Final = 3
LARGEST: Final = Decimal(10) ** 11
#: What `advancing.advance` reads of a wear source.
OF_SOURCE: Final = (
    "measure",
    "per_count",
    "began_at",
    "ended_at",
    "start_total",
    "counter__started_at",
    "counter__last_at",
    "counter__moved_at",
    "counter__rate_per_day",
    "installation__component__id",
)


@dataclass(frozen=True, slots=True)
class NewReading:
    """What one face shows now. [counter units]

    step: what happened since the reading before: one of Reading.Step.
    before_reset: the last value before a reset or a new face, None when nobody saw it.
    face_start: what a new face showed when it was fitted.
    """

    counter: Counter
    value: Decimal
    step: str = Reading.Step.CONTINUED
    before_reset: Decimal | None = None
    face_start: Decimal | None = None


class _ReachesBack(Exception):
    """More follows from these readings than today's wear: lock all of it, and begin again."""


@dataclass(slots=True)
class Sending:
    """One sending of readings, and what is found out about it on the way."""

    readings: Sequence[NewReading]
    at: datetime
    is_day_only: bool
    recorded_at: datetime
    zone: ZoneInfo
    #: What every row of the sending says in the same words.
    said: dict[str, Any]
    errors: dict[int, ReadingRefused] = field(default_factory=dict)

    def row(self, new: NewReading, counter: Counter) -> Reading:
        return Reading(
            counter=counter,
            at=self.at,
            is_day_only=self.is_day_only,
            value=new.value,
            step=new.step,
            before_reset=new.before_reset,
            face_start=new.face_start,
            recorded_at=self.recorded_at,
            **self.said,
        )


def record_readings(
    *,
    rig: Rig | None,
    readings: Sequence[NewReading],
    at: datetime,
    recorded_at: datetime,
    author: AbstractBaseUser,
    request_id: UUID,
    zone: ZoneInfo,
    is_day_only: bool = False,
    source: str = Reading.Source.PERSON,
    source_number: int = 0,
    note: str = "",
) -> list[Reading]:
    """Record what counters showed at one moment; wear and due rows follow in the same transaction.

    at: when the faces were read. With is_day_only any moment of that day: the reading stands at
        its last minute, or now when the day is today, and one day more is allowed for its pace.
    recorded_at: now.
    Returns one row per reading, in the order given. The same request_id again returns the same
    rows; a reading that is there already with the same value is returned as it is.
    Raises ReadingsRefused, with nothing written; of several readings all that is wrong is told.
    """
    if len({new.counter.pk for new in readings}) != len(readings):
        raise ValueError("A counter shows one value at a time.")
    if not readings:
        return []
    if is_day_only:
        at = min(last_minute(at, zone), recorded_at)
    # Spans are taken between instants: in a local zone a day more or less has 23 or 25 hours.
    at = at.astimezone(UTC)
    said = {
        "author_id": author.pk,
        "request_id": request_id,
        "source": source,
        "source_number": source_number,
        "note": note,
    }
    sending = Sending(readings, at, is_day_only, recorded_at, zone, said)
    try:
        with transaction.atomic():
            return _post(sending, rig, reaches_back=False)
    except _ReachesBack:
        sending.errors.clear()
        with transaction.atomic():
            return _post(sending, rig, reaches_back=True)


def record_reading(
    *,
    counter: Counter,
    value: Decimal,
    at: datetime,
    recorded_at: datetime,
    author: AbstractBaseUser,
    request_id: UUID,
    zone: ZoneInfo,
    step: str = Reading.Step.CONTINUED,
    before_reset: Decimal | None = None,
    face_start: Decimal | None = None,
    **said: Any,
) -> Reading:
    """Record one reading as `record_readings` does. Raises the refusal itself."""
    try:
        return record_readings(
            rig=None,
            readings=[NewReading(counter, value, step, before_reset, face_start)],
            at=at,
            recorded_at=recorded_at,
            author=author,
            request_id=request_id,
            zone=zone,
            **said,
        )[0]
    except ReadingsRefused as refused:
        raise refused.errors[counter.pk] from refused


def check_reading(new: NewReading, *, at: datetime, recorded_at: datetime, zone: ZoneInfo) -> None:
    """Refuse what `record_reading` would refuse, with the face still in sight; writes nothing.

    For a reading that is posted later, such as one on a sheet. Raises ReadingRefused.
    """
    counter = Counter.objects.get(pk=new.counter.pk)
    at = at.astimezone(UTC)
    check_alone(new, counter, at=at, recorded_at=recorded_at, zone=zone)
    if _there_already(new, counter, at):
        return
    row = Sending([new], at, False, recorded_at, zone, {}).row(new, counter)
    if at > counter.last_at:
        _counted(row, counter)
        return
    _folded_in(row, counter, zone, timelines.fold)


# --- one posting --------------------------------------------------------------------------------


def _post(sending: Sending, rig: Rig | None, *, reaches_back: bool) -> list[Reading]:
    asked = [new.counter for new in sending.readings]
    components: list[Component] = []
    sources: list[WearSource] = []
    if reaches_back:
        components = lock_all_behind(asked, rig)
    else:
        _lock_rigs(asked, rig)
        sources = _lock_driven(asked)
    fresh = {row.pk: row for row in timelines.counters_around(asked, sending.at)}
    earlier = _sent_before(asked, sending.said["request_id"])
    if len(earlier) == len(asked):
        return [earlier[counter.pk] for counter in asked]

    rows: dict[int, Reading] = {}
    moves: dict[int, Move] = {}
    for new in sending.readings:
        counter = fresh[new.counter.pk]
        try:
            check_alone(
                new,
                counter,
                at=sending.at,
                recorded_at=sending.recorded_at,
                zone=sending.zone,
            )
            if there := _there_already(new, counter, sending.at):
                rows[counter.pk] = there
            elif sending.at > counter.last_at:
                rows[counter.pk], moves[counter.pk] = _append(new, counter, sending)
            elif reaches_back:
                rows[counter.pk] = insert_late(new, counter, sending)
            else:
                raise _ReachesBack
        except ReadingRefused as refusal:
            sending.errors[counter.pk] = refusal
    if sending.errors:
        raise ReadingsRefused(sending.errors)

    made = [row for row in rows.values() if row.pk is None]
    Reading.objects.bulk_create(made)
    write(Counter, [move.counter for move in moves.values()], timelines.KEPT_OF_COUNTER)
    if reaches_back:
        dues.recompute(components, zone=sending.zone)
    elif moves:
        if any(getattr(fresh[pk], "ended_later") for pk in moves):  # noqa: B009 (an annotation)
            raise _ReachesBack
        try:
            advancing.advance(moves=moves, sources=sources, zone=sending.zone)
        except Unsettled as unsettled:
            raise _ReachesBack from unsettled
    if reaches_back:
        sides.refresh_read(asked, zone=sending.zone)
    else:
        sides.follow(moves, zone=sending.zone)
    return [rows[counter.pk] for counter in asked]


def check_alone(
    new: NewReading, counter: Counter, *, at: datetime, recorded_at: datetime, zone: ZoneInfo
) -> None:
    """Refuse what needs no other reading to be wrong. Raises ReadingRefused."""
    faces.refuse_future(at=at, now=recorded_at, slack=SLACK)
    if counter.retired_at is not None and at > counter.retired_at:
        raise AfterTheCount(retired_at=counter.retired_at, zone=zone)
    if at < counter.started_at:
        raise BeforeTheCount(started_at=counter.started_at, zone=zone)
    for value in (new.value, new.before_reset, new.face_start):
        if value is None:
            continue
        if not value.is_finite() or value >= LARGEST:
            raise ReadingRefused(gettext_noop("No counter shows a number like that."))
        if round(value, PLACES) != value:
            raise ReadingRefused(gettext_noop("A reading has at most three decimals."))
    if new.step == Reading.Step.ROLLOVER and counter.rollover is None:
        raise ReadingRefused(gettext_noop("This counter never starts again at zero by itself."))
    if new.step == Reading.Step.RESET and not counter.is_resettable:
        raise ReadingRefused(gettext_noop("This counter cannot be reset."))
    if new.step == Reading.Step.REPLACED and new.face_start is None:
        raise ReadingRefused(
            gettext_noop("Say what the new counter face showed when it was fitted.")
        )


def _there_already(new: NewReading, counter: Counter, at: datetime) -> Reading | None:
    """The reading of that very moment, when it says the same. Raises SameMoment when not."""
    if at > counter.last_at:
        return None
    there = Reading.objects.of(counter).filter(at=at).first()
    if there is None:
        return None
    if not says_the_same(there, new):
        raise SameMoment(there=there.value)
    return there


def says_the_same(there: Reading, new: NewReading | Reading) -> bool:
    """Whether a reading of the same moment adds nothing to the one that is there."""
    if there.value != new.value:
        return False
    if new.step == Reading.Step.CONTINUED:
        return True  # the change of the face was said with the other
    return (new.step, new.before_reset, new.face_start) == (
        there.step,
        there.before_reset,
        there.face_start,
    )


def _append(new: NewReading, counter: Counter, sending: Sending) -> tuple[Reading, Move]:
    """A reading after all others: moves the counter on. Raises ReadingRefused."""
    row = sending.row(new, counter)
    counted, bound = _counted(row, counter)
    total_before, at_before = counter.total, counter.last_at
    counter.total += counted
    counter.is_at_least = counter.is_at_least or bound
    counter.last_value, counter.last_at = row.value, row.at
    counter.last_is_day_only = row.is_day_only
    if counted:
        counter.moved_at = row.at
    row.total, row.is_at_least = counter.total, counter.is_at_least
    latest = Total(at=row.at, total=row.total, at_least=row.is_at_least)
    counter.rate_per_day = timelines.rate_after(
        counter, window=timelines.window_around(counter, latest), latest=latest
    )
    return row, Move(counter, total_before, at_before, bound)


def insert_late(new: NewReading, counter: Counter, sending: Sending) -> Reading:
    """A reading between others, not saved yet: what follows it is worked out anew.

    Raises ReadingRefused.
    """
    row = sending.row(new, counter)
    _folded_in(row, counter, sending.zone, timelines.keep)
    return row


def _counted(row: Reading, counter: Counter) -> tuple[Decimal, bool]:
    """What a reading after all others adds, and whether that is a bound. Raises ReadingRefused."""
    counted, bound = faces.gain(
        previous=counter.last_value, current=timelines.face(row), rollover=counter.rollover
    )
    timelines.check_pace(
        counter,
        counted=counted,
        elapsed=row.at - counter.last_at,
        is_day_only=row.is_day_only or counter.last_is_day_only,
    )
    return counted, bound


def _folded_in(row: Reading, counter: Counter, zone: ZoneInfo, fold: Callable[..., object]) -> None:
    """Fold a reading in among the others, by `timelines.fold` or `keep`. Raises ReadingRefused."""
    readings = list(Reading.objects.of(counter))
    place = sum(1 for each in readings if each.at <= row.at)
    readings.insert(place, row)
    try:
        fold(counter, readings, paced=(place, place + 1))
    except Contradiction as found:
        if found.reading is row:
            raise found.cause from found
        raise LaterContradicts(later=found.reading, cause=found.cause, zone=zone) from found


def _sent_before(asked: Sequence[Counter], request_id: UUID) -> dict[int, Reading]:
    rows = Reading.objects.filter(counter__in=asked, request_id=request_id)
    return {row.counter_id: row for row in rows}


# --- locks --------------------------------------------------------------------------------------


def _lock_rigs(asked: Sequence[Counter], rig: Rig | None) -> None:
    rigs = {rig.pk if rig else None, *(counter.rig_id for counter in asked)}
    if travelling := {counter.component_id for counter in asked if counter.component_id}:
        rigs |= locks.rigs_of(travelling)
    locks.lock_rigs(rigs)


def _lock_driven(asked: Sequence[Counter]) -> list[WearSource]:
    """Lock the components that wear by these counters now; return all their open sources."""
    driven = WearSource.objects.filter(counter__in=asked, ended_at__isnull=True)
    return list(
        WearSource.objects.select_for_update(of=("installation__component",))
        .select_related("installation__component", "counter")
        .only(*OF_SOURCE)
        .filter(
            ended_at__isnull=True,
            installation__component__in=driven.values("installation__component"),
        )
        .order_by("installation__component_id", "pk")
    )


def lock_all_behind(asked: Sequence[Counter], rig: Rig | None = None) -> list[Component]:
    """Lock every component that ever wore by these counters, and all that its life follows from."""
    worn = set(
        WearSource.objects.filter(counter__in=asked).values_list(
            "installation__component_id", flat=True
        )
    )
    _lock_rigs(asked, rig)
    components = locks.lock_components(worn)
    locks.lock_counters({*(counter.pk for counter in asked), *locks.counters_behind(worn)})
    return list(components.values())


def last_minute(at: datetime, zone: ZoneInfo) -> datetime:
    """Where a reading stands of which only the day is known."""
    day = timezone.localdate(at, zone)
    return datetime.combine(day, time(23, 59), zone)
