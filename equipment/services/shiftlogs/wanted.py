"""The readings that logged days give: what the faces showed, when, and what happened to them."""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import date, datetime
from decimal import Decimal
from zoneinfo import ZoneInfo

from equipment.models import Counter, LogContradiction, Reading, ShiftDay, ShiftLog
from equipment.services.shiftlogs.facts import RigOfTheTime, matched, of_the_face
from equipment.services.shiftlogs.keeping import day_of
from equipment.shiftlogs.blocks import Face

#: What a reading says, to see whether it is there already.
Key = tuple[int, datetime, Decimal, str, Decimal | None, Decimal | None]


@dataclass(frozen=True, slots=True)
class Wanted:
    """One reading that a log gives, and the day and file that it is of.

    at_before, before: where the face changed, when it last showed what before that.
    """

    counter: Counter
    at: datetime
    value: Decimal
    day: date
    log: ShiftLog
    step: str = Reading.Step.CONTINUED
    before_reset: Decimal | None = None
    face_start: Decimal | None = None
    at_before: datetime | None = None
    before: Decimal | None = None

    @property
    def key(self) -> Key:
        return (
            self.counter.pk, self.at, self.value, self.step, self.before_reset, self.face_start,
        )  # fmt: skip

    @property
    def group(self) -> tuple[int, date]:
        """What is taken as a whole or not at all: the readings of a counter on a day."""
        return (self.counter.pk, self.day)


def wanted_of(
    days: Iterable[ShiftDay],
    rig: RigOfTheTime,
    settled: Iterable[LogContradiction],
    zone: ZoneInfo,
) -> list[Wanted]:
    """Return the readings of these days in order of time, as far as nobody said otherwise.

    settled: what people said about contradictions of this rig.
    """
    said = {how: set[tuple[int, date]]() for how in LogContradiction.How.values}
    before: dict[tuple[int, date], Decimal | None] = {}
    for each in settled:
        said[each.how].add((each.counter_id, each.date))
        if each.how == LogContradiction.How.RESET:
            before[each.counter_id, each.date] = each.before_reset
    others = {counter for counter, _ in said[LogContradiction.How.OTHER_COUNTER]}
    found: list[Wanted] = []
    for row in days:
        logs = sorted(row.logs.all(), key=lambda log: log.pk)
        counters: dict[str, Counter] = {}
        for log in logs:
            counters |= matched(rig, log.kept)
        for role, face in day_of(row, zone).faces.items():
            counter = counters.get(role)
            if (
                counter is None
                or counter.pk in others
                or (counter.pk, row.date) in said[LogContradiction.How.LOG_WRONG]
            ):
                continue
            readings = _readings(face, counter, row.date, logs)
            if (counter.pk, row.date) in before:
                readings[0] = _after_a_reset(readings[0], before[counter.pk, row.date])
            found += readings
    return _one_each(found)


def _readings(face: Face, counter: Counter, day: date, logs: list[ShiftLog]) -> list[Wanted]:
    """First row, around what happened to the face, last row."""

    def shown(value: float, at: datetime) -> Wanted:
        return Wanted(counter, at, of_the_face(value, counter), day, _log_at(logs, at))

    readings = {face.first_at: shown(face.first, face.first_at)}
    readings[face.last_at] = shown(face.last, face.last_at)
    for change in face.changes:
        last = of_the_face(change.before, counter)
        after = replace(
            shown(change.after, change.at_after), at_before=change.at_before, before=last
        )
        if change.is_set:
            # As if another face had been fitted that began at this number: nothing was counted.
            step = Reading.Step.REPLACED
            after = replace(after, step=step, before_reset=last, face_start=after.value)
        elif change.is_rollover:
            after = replace(after, step=Reading.Step.ROLLOVER)
            readings.setdefault(change.at_before, shown(change.before, change.at_before))
        elif change.is_unseen:
            # What it had counted up to there is known; what came then, before the reset, is not.
            after = replace(after, step=Reading.Step.RESET)
            readings.setdefault(change.at_before, shown(change.before, change.at_before))
        else:
            after = replace(after, step=Reading.Step.RESET, before_reset=last)
        readings[change.at_after] = after
    return [readings[at] for at in sorted(readings)]


def _after_a_reset(first: Wanted, before_reset: Decimal | None) -> Wanted:
    if first.step != Reading.Step.CONTINUED:
        return first
    return replace(first, step=Reading.Step.RESET, before_reset=before_reset)


def _log_at(logs: list[ShiftLog], at: datetime) -> ShiftLog:
    return next((log for log in logs if log.first_at <= at <= log.last_at), logs[0])


def _one_each(found: Iterable[Wanted]) -> list[Wanted]:
    """One reading for each counter and moment: a change goes before a value that went on."""
    kept: dict[tuple[int, datetime], Wanted] = {}
    for each in found:
        place = (each.counter.pk, each.at)
        there = kept.setdefault(place, each)
        if there.step == Reading.Step.CONTINUED != each.step:
            kept[place] = each
    return sorted(kept.values(), key=lambda each: (each.counter.pk, each.at))


def key_of(row: Reading) -> Key:
    """What a reading says."""
    return (
        row.counter_id, row.at, row.value, row.step, row.before_reset, row.face_start,
    )  # fmt: skip
