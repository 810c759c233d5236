"""The counters' readings brought in line with what the logs say, beside those of people."""

from collections import Counter as Tally
from collections.abc import Collection, Sequence
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, time, timedelta
from typing import Final
from uuid import UUID, uuid5
from zoneinfo import ZoneInfo

from django.contrib.auth.base_user import AbstractBaseUser
from django.db import transaction

from equipment.counters import InFuture, ReadingRefused
from equipment.models import Counter, LogContradiction, Reading, Rig, ShiftLog
from equipment.services import dues, sides, timelines
from equipment.services.history import HistoryRefused, PastReading, record_history
from equipment.services.readings import NewReading, lock_all_behind
from equipment.services.refusals import BeforeTheCount, LaterContradicts
from equipment.services.shiftlogs.facts import rig_of_the_time
from equipment.services.shiftlogs.strangers import strangers
from equipment.services.shiftlogs.twice import counted_once, days_within, told_of
from equipment.services.shiftlogs.wanted import Key, Wanted, key_of, wanted_of
from equipment.services.timelines import Contradiction

#: Ids of readings are made from what they are of, so that they are the same each time.
SPACE: Final = UUID("6f0c6f0e-4a3b-5d0e-9f55-0d6c2f3a7b11")
REPLACED: Final = "the logs of that day say something else now"
How = LogContradiction.How
Group = tuple[int, date]


class SettlingRefused(ValueError):
    """What a person said about a log cannot be so; its text is meant for the person."""


class StillNeeded(SettlingRefused):
    """What a log said cannot be taken away: other readings rest on it."""


class _Refused(Exception):
    """Some of the new readings cannot be true."""

    def __init__(self, causes: Sequence[tuple[Wanted, ReadingRefused]]) -> None:
        self.causes = causes
        super().__init__(f"{len(causes)} readings")


@dataclass(slots=True)
class _Posting:
    """What is found out while the readings of some days are brought in line.

    refused: by counter and day what cannot be true: nothing of that day is taken.
    too_old: what is left out alone, since it is dated before the count began.
    held: counters whose readings stay as they were, since others rest on them.
    """

    author: AbstractBaseUser
    at: datetime
    zone: ZoneInfo
    because: str
    refused: dict[Group, tuple[Wanted, ReadingRefused]] = field(default_factory=dict)
    too_old: dict[Key, tuple[Wanted, ReadingRefused]] = field(default_factory=dict)
    held: set[int] = field(default_factory=set)

    def takes(self, each: Wanted) -> bool:
        return not (
            each.counter.pk in self.held or each.group in self.refused or each.key in self.too_old
        )


def post(
    *,
    rig: Rig,
    dates: Collection[date],
    author: AbstractBaseUser,
    at: datetime,
    zone: ZoneInfo,
    withdrawn: ShiftLog | None = None,
    because: str = REPLACED,
) -> list[LogContradiction]:
    """Make the readings from logs of these days those that their kept rows give.

    What is there and right stays; what is no longer said is taken back, by rows that say because;
    what is new is recorded as `record_history` does, with the source LOG and the log's number.
    A counter's readings of a day are taken together or not at all: where one of them cannot be
    true beside the others, a contradiction is kept instead. Days with an open contradiction are
    tried again. withdrawn: a log all of whose readings go.
    The caller has opened the transaction and locked the rig. Returns the open contradictions of
    the rig. Raises StillNeeded.
    """
    posting = _Posting(author, at, zone, because)
    days = {*dates, *rig.log_contradictions.open().values_list("date", flat=True)}
    settled = rig.log_contradictions.exclude(how=How.OPEN).filter(log__is_withdrawn=False)
    facts = rig_of_the_time(rig, zone)
    told = told_of(facts.counters)
    days |= days_within(rig, told.values(), days, zone)
    rows = rig.shift_days.filter(date__in=days).order_by("date").prefetch_related("logs")
    wanted = counted_once(wanted_of(rows, facts, settled, zone), told)
    wanted = _without_taken_back(wanted)
    same = {(each.counter_id, each.date) for each in settled if each.how == How.SAME_COUNTER}
    posting.refused |= strangers(wanted, same)
    there = _there(rig, days, zone, withdrawn)
    _bring_in_line(posting, wanted, there, withdrawn)
    _tell(rig, posting, wanted, days)
    sides.refresh([rig], zone=zone)
    return list(
        rig.log_contradictions.open().select_related("counter", "against").order_by("at", "pk")
    )


def try_again(*, counter: Counter, author: AbstractBaseUser, at: datetime, zone: ZoneInfo) -> None:
    """Take the readings of logs that fit now, since another reading of the counter was put right.

    The caller has opened the transaction and locked what is behind the counter.
    """
    rigs = {each.rig for each in counter.log_contradictions.open().select_related("rig")}
    for rig in sorted(rigs, key=lambda each: each.pk):
        post(rig=rig, dates=(), author=author, at=at, zone=zone)


def _without_taken_back(wanted: Sequence[Wanted]) -> list[Wanted]:
    """Leave out what a log says, and a person took back by hand: it does not come again."""
    gone = Reading.objects.filter(
        counter__in={each.counter.pk for each in wanted},
        source=Reading.Source.LOG,
        is_in_force=False,
        reversal__isnull=False,
    ).exclude(reversal__source=Reading.Source.LOG)
    taken_back = {key_of(row) for row in gone}
    return [each for each in wanted if each.key not in taken_back]


def _there(
    rig: Rig, days: Collection[date], zone: ZoneInfo, withdrawn: ShiftLog | None
) -> list[Reading]:
    """The readings in force that logs of this rig gave for these days, or the withdrawn log."""
    readings = (
        Reading.objects.in_force()
        .filter(
            source=Reading.Source.LOG,
            source_number__in=rig.shift_logs.values_list("pk", flat=True),
        )
        .order_by("counter_id", "at", "pk")
    )
    found = {}
    if days:
        # Days of the shop's zone: a net that is wide enough for any, then looked at each.
        first = datetime.combine(min(days), time(0), UTC) - timedelta(days=1)
        last = datetime.combine(max(days), time(0), UTC) + timedelta(days=2)
        for row in readings.filter(at__range=(first, last)):
            if row.at.astimezone(zone).date() in days:
                found[row.pk] = row
    if withdrawn is not None:
        found |= {row.pk: row for row in readings.filter(source_number=withdrawn.pk)}
    return list(found.values())


def _bring_in_line(
    posting: _Posting,
    wanted: Sequence[Wanted],
    there: Sequence[Reading],
    withdrawn: ShiftLog | None,
) -> None:
    """Write; where something cannot be true, write again without it."""
    number = withdrawn.pk if withdrawn else None
    stays = {key_of(row) for row in there if row.source_number != number}
    said = {each.key for each in wanted}
    while True:
        new = [each for each in wanted if posting.takes(each) and each.key not in stays]
        gone = [
            row
            for row in there
            if row.counter_id not in posting.held
            and (row.source_number == number or key_of(row) not in said)
        ]
        if not new and not gone:
            return
        try:
            with transaction.atomic():
                _write(posting, new, gone)
            return
        except _Refused as refused:
            for each, cause in refused.causes:
                if isinstance(cause, BeforeTheCount):
                    posting.too_old[each.key] = (each, cause)
                else:
                    posting.refused.setdefault(each.group, (each, cause))
        except Contradiction as found:
            _hold(posting, new, found, is_withdrawal=withdrawn is not None)


def _hold(
    posting: _Posting, new: Sequence[Wanted], found: Contradiction, *, is_withdrawal: bool
) -> None:
    """Leave a counter as it stood: a reading that is there rests on one that would go."""
    counter = found.reading.counter_id
    ours = [each for each in new if each.counter.pk == counter]
    later = LaterContradicts(later=found.reading, cause=found.cause, zone=posting.zone)
    if is_withdrawal or not ours:
        raise StillNeeded(str(later)) from found
    posting.held.add(counter)
    for each in ours:
        posting.refused.setdefault(each.group, (each, later))


def _write(posting: _Posting, new: Sequence[Wanted], gone: Sequence[Reading]) -> None:
    """Take back what went, record what is new. Raises _Refused, Contradiction."""
    counters = {each.counter.pk: each.counter for each in new}
    counters |= Counter.objects.in_bulk({row.counter_id for row in gone})
    components = lock_all_behind(list(counters.values()))
    _take_back(posting, gone)
    again = _taken_back_before(new)
    past = [
        PastReading(
            new=NewReading(each.counter, each.value, each.step, each.before_reset, each.face_start),
            at=each.at,
            request_id=uuid5(
                SPACE,
                f"{each.log.digest} {each.counter.pk} {each.at.astimezone(UTC)} "
                f"{again[each.counter.pk, each.at]}",
            ),
            source_number=each.log.pk,
        )
        for each in new
    ]
    try:
        record_history(
            readings=past,
            recorded_at=posting.at,
            author=posting.author,
            zone=posting.zone,
            source=Reading.Source.LOG,
        )
    except HistoryRefused as refused:
        raise _Refused([(new[place], cause) for place, cause in refused.errors.items()]) from None
    if gone:
        timelines.rederive(Counter.objects.filter(pk__in={row.counter_id for row in gone}))
        dues.recompute(components, zone=posting.zone)


def _take_back(posting: _Posting, gone: Sequence[Reading]) -> None:
    Reading.objects.bulk_create(
        Reading(
            counter_id=row.counter_id,
            at=row.at,
            value=row.value,
            source=row.source,
            source_number=row.source_number,
            author_id=posting.author.pk,
            recorded_at=posting.at,
            note=posting.because[:200],
            request_id=uuid5(row.request_id, "taken back"),
            reverses=row,
            is_in_force=False,
        )
        for row in gone
    )
    Reading.objects.filter(pk__in=[row.pk for row in gone]).update(is_in_force=False)


def _taken_back_before(new: Sequence[Wanted]) -> Tally[tuple[int, datetime]]:
    """How often a log's reading of that counter and moment was taken back: it may come again."""
    return Tally(
        Reading.objects.filter(
            counter__in={each.counter.pk for each in new},
            at__in={each.at for each in new},
            source=Reading.Source.LOG,
            is_in_force=False,
            reverses__isnull=True,
        ).values_list("counter_id", "at")
    )


# --- contradictions -----------------------------------------------------------------------------


def _tell(rig: Rig, posting: _Posting, wanted: Sequence[Wanted], days: Collection[date]) -> None:
    """Keep what cannot be true, and close what is none any more."""
    groups = {each.group for each in wanted}
    open_ones = {
        (each.counter_id, each.date): each
        for each in rig.log_contradictions.open().filter(date__in=days)
    }
    for group, each in open_ones.items():
        if group not in posting.refused:
            each.how = How.FITS if group in groups else How.GONE
            each.settled_by_id, each.settled_at = posting.author.pk, posting.at
            each.save(update_fields=["how", "settled_by", "settled_at"])
    for group, (reading, cause) in posting.refused.items():
        row = open_ones.get(group) or LogContradiction(
            rig=rig, counter=reading.counter, date=reading.day, found_at=posting.at
        )
        _describe(row, reading, cause)
    too_old = {each.group: (each, cause) for each, cause in reversed(posting.too_old.values())}
    known = set(rig.log_contradictions.filter(how=How.TOO_OLD).values_list("counter_id", "date"))
    for group, (reading, cause) in too_old.items():
        if group not in known:
            row = LogContradiction(
                rig=rig, counter=reading.counter, date=reading.day, found_at=posting.at
            )
            row.how, row.settled_by_id, row.settled_at = (
                How.TOO_OLD,
                posting.author.pk,
                posting.at,
            )
            _describe(row, reading, cause)


def _describe(row: LogContradiction, reading: Wanted, cause: ReadingRefused) -> None:
    row.log, row.at, row.value = reading.log, reading.at, reading.value
    row.words = str(cause)[:300]
    row.against = _against(reading, cause)
    row.save()


def _against(reading: Wanted, cause: ReadingRefused) -> Reading | None:
    """The reading that stands against it: the one named, else the last one before it."""
    if isinstance(cause, LaterContradicts):
        return cause.later if cause.later.pk else None
    if isinstance(cause, InFuture | BeforeTheCount):
        return None
    return Reading.objects.of(reading.counter).filter(at__lte=reading.at).last()
