"""A reset that a person told of and the log saw as well is one reset."""

from collections import defaultdict
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from zoneinfo import ZoneInfo

from equipment.models import Counter, Reading, Rig
from equipment.services.shiftlogs.wanted import Wanted


@dataclass(frozen=True, slots=True)
class Told:
    """Between two readings of a counter by people something happened to its face.

    since: of the reading before, None where it is the first. until: of the one that tells of it.
    """

    since: datetime | None
    until: datetime

    def __contains__(self, at: datetime) -> bool:
        return (self.since is None or self.since < at) and at <= self.until


def told_of(counters: Iterable[Counter]) -> dict[int, list[Told]]:
    """Return the stretches in which a face changed as people tell, by counter."""
    found: dict[int, list[Told]] = defaultdict(list)
    before: dict[int, datetime] = {}
    for counter, at, step in (
        Reading.objects.in_force()
        .exclude(source=Reading.Source.LOG)
        .filter(counter__in=[each.pk for each in counters])
        .order_by("counter_id", "at", "pk")
        .values_list("counter_id", "at", "step")
    ):
        if step != Reading.Step.CONTINUED:
            found[counter].append(Told(before.get(counter), at))
        before[counter] = at
    return found


def days_within(
    rig: Rig, told: Iterable[Sequence[Told]], days: Collection[date], zone: ZoneInfo
) -> set[date]:
    """Return the logged days of stretches that any of these days lies in: they go together."""
    more: set[date] = set()
    for each in (stretch for stretches in told for stretch in stretches):
        last = each.until.astimezone(zone).date()
        first = each.since.astimezone(zone).date() if each.since else date.min
        if any(first <= day <= last for day in days):
            more |= set(
                rig.shift_days.filter(date__range=(first, last)).values_list("date", flat=True)
            )
    return more


def counted_once(wanted: Sequence[Wanted], told: dict[int, list[Told]]) -> list[Wanted]:
    """Leave out what a log shows from a change of the face to the reading that tells of it too.

    What the face showed just before the change is kept. So the reading by the person counts what
    came after, and a last value that does not go with the log's is found to contradict it.
    """
    changes: dict[tuple[int, Told], Wanted] = {}
    for each in wanted:
        if each.step != Reading.Step.CONTINUED:
            for stretch in told.get(each.counter.pk, ()):
                if each.at in stretch:
                    changes.setdefault((each.counter.pk, stretch), each)
    kept = []
    for each in wanted:
        first = next(
            (
                change
                for (counter, stretch), change in changes.items()
                if counter == each.counter.pk and each.at in stretch and each.at >= change.at
            ),
            None,
        )
        if first is None:
            kept.append(each)
        elif first is each and each.before is not None and each.at_before is not None:
            kept.append(
                replace(
                    each,
                    at=each.at_before,
                    value=each.before,
                    step=Reading.Step.CONTINUED,
                    before_reset=None,
                    face_start=None,
                    at_before=None,
                    before=None,
                )
            )
    there: dict[tuple[int, datetime], Wanted] = {}
    for each in kept:
        there.setdefault((each.counter.pk, each.at), each)
    return sorted(there.values(), key=lambda each: (each.counter.pk, each.at))
