"""Readings of the past, many at once: a year of them, checked as if they came one by one."""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from decimal import Decimal
from uuid import UUID
from zoneinfo import ZoneInfo

from django.contrib.auth.base_user import AbstractBaseUser
from django.db import transaction

from equipment import counters as faces
from equipment.counters import ReadingRefused
from equipment.models import Counter, Reading
from equipment.services import dues, locks, sides, timelines
from equipment.services.readings import (
    LaterContradicts,
    NewReading,
    SameMoment,
    check_alone,
    last_minute,
    lock_all_behind,
    says_the_same,
)


class HistoryRefused(ReadingRefused):
    """Some readings of the past cannot be taken, so none was.

    errors: what is wrong, by the place of the reading in what was given.
    """

    def __init__(self, errors: Mapping[int, ReadingRefused]) -> None:
        self.errors = dict(errors)
        super().__init__(f"{len(errors)} readings cannot be taken.")


@dataclass(frozen=True, slots=True)
class PastReading:
    """What one face showed at some time. Details as for `NewReading` and `record_readings`.

    source_number: which file or sheet it is from, 0 for none.
    """

    new: NewReading
    at: datetime
    request_id: UUID
    is_day_only: bool = False
    source_number: int = 0


@dataclass(frozen=True, slots=True)
class _State:
    """Where a counter stood after a reading; None: before the first."""

    reading: Reading | None
    value: Decimal
    at: datetime
    is_day_only: bool


def record_history(
    *,
    readings: Sequence[PastReading],
    recorded_at: datetime,
    author: AbstractBaseUser,
    zone: ZoneInfo,
    source: str = Reading.Source.IMPORT,
) -> list[Reading]:
    """Record many readings of any counters and times, in one transaction.

    The rows, wear and due rows are those that `record_readings` would leave, called for each; but
    they are worked out once. A reading that is there already, by its request id or by moment and
    value, is left alone. Returns the rows made. Raises HistoryRefused, with nothing written; each
    reading is judged beside the others that can be taken.
    """
    by_counter: dict[int, list[int]] = defaultdict(list)
    for place, past in enumerate(readings):
        by_counter[past.new.counter.pk].append(place)
    errors: dict[int, ReadingRefused] = {}
    made: list[Reading] = []
    with transaction.atomic():
        components = lock_all_behind([past.new.counter for past in readings])
        counters = locks.lock_counters(by_counter)
        there: dict[int, list[Reading]] = defaultdict(list)
        for reading in (
            Reading.objects.in_force()
            .filter(counter__in=counters)
            .order_by("counter_id", "at", "pk")
        ):
            there[reading.counter_id].append(reading)
        sent = set(
            Reading.objects.filter(counter__in=counters).values_list("counter_id", "request_id")
        )
        for pk, places in by_counter.items():
            new_rows: dict[int, Reading] = {}
            for place in places:
                past = readings[place]
                if (pk, past.request_id) in sent:
                    continue
                row = _row(past, counters[pk], recorded_at, author, zone, source)
                try:
                    check_alone(
                        past.new, counters[pk], at=row.at, recorded_at=recorded_at, zone=zone
                    )
                    new_rows[place] = row
                except ReadingRefused as refused:
                    errors[place] = refused
            line = _sift(counters[pk], there[pk], new_rows, errors, zone)
            if not errors:
                timelines.keep(counters[pk], line)
                made += [row for row in line if row.pk is None]
        if errors:
            raise HistoryRefused(errors)
        Reading.objects.bulk_create(made, batch_size=500)
        dues.recompute(components, zone=zone)
        sides.refresh_read(counters.values(), zone=zone)
    return made


def _row(
    past: PastReading,
    counter: Counter,
    recorded_at: datetime,
    author: AbstractBaseUser,
    zone: ZoneInfo,
    source: str,
) -> Reading:
    at = min(last_minute(past.at, zone), recorded_at) if past.is_day_only else past.at
    return Reading(
        counter=counter,
        at=at.astimezone(UTC),
        is_day_only=past.is_day_only,
        value=past.new.value,
        step=past.new.step,
        before_reset=past.new.before_reset,
        face_start=past.new.face_start,
        recorded_at=recorded_at,
        author_id=author.pk,
        request_id=past.request_id,
        source=source,
        source_number=past.source_number,
    )


def _sift(
    counter: Counter,
    there: Sequence[Reading],
    new_rows: Mapping[int, Reading],
    errors: dict[int, ReadingRefused],
    zone: ZoneInfo,
) -> list[Reading]:
    """Return the readings there and the new ones that can be true beside them, in order of time.

    What cannot be is put into errors, and the rest judged without it.
    """
    place_of = {id(row): place for place, row in new_rows.items()}
    taken = {reading.at: reading for reading in there}
    fresh = []
    for place, row in new_rows.items():
        same = taken.setdefault(row.at, row)
        if same is row:
            fresh.append(row)
        elif not says_the_same(same, row):
            errors[place] = SameMoment(there=same.value)
    states = [_State(None, counter.first_value, counter.started_at, False)]
    for reading in sorted([*there, *fresh], key=lambda each: each.at):
        while refused := _refusal(counter, states[-1], reading):
            if id(reading) in place_of:
                errors[place_of[id(reading)]] = refused
                break
            # One that is there already is never wrong: what came in just before it is.
            errors[place_of[id(states.pop().reading)]] = LaterContradicts(
                later=reading, cause=refused, zone=zone
            )
        else:
            states.append(_State(reading, reading.value, reading.at, reading.is_day_only))
    return [state.reading for state in states if state.reading is not None]


def _refusal(counter: Counter, before: _State, reading: Reading) -> ReadingRefused | None:
    """Why a reading cannot come after what was before it; two that were there may stand."""
    if reading.pk is not None and (before.reading is None or before.reading.pk is not None):
        return None
    try:
        counted, _ = faces.gain(
            previous=before.value, current=timelines.face(reading), rollover=counter.rollover
        )
        timelines.check_pace(
            counter,
            counted=counted,
            elapsed=reading.at - before.at,
            is_day_only=reading.is_day_only or before.is_day_only,
        )
    except ReadingRefused as refused:
        return refused
    return None
