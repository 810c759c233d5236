"""The life of a counter over time, from the readings that are in force."""

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any, Final

from django.db.models import Exists, OuterRef, QuerySet, Subquery, Value
from django.db.models.functions import Greatest

from equipment import counters as faces
from equipment.counters import FaceReading, ReadingRefused, Total
from equipment.models import Counter, Measure, Reading, WearSource
from equipment.services.keeping import millionths, picture, thousandths, write
from equipment.usage import mean_rate_per_day, recent_rate_per_day, window_start

#: A reading of which only the day is known may have been taken at any hour of it.
DAY: Final = timedelta(days=1)
KEPT_OF_COUNTER: Final = (
    "last_value",
    "last_at",
    "last_is_day_only",
    "moved_at",
    "total",
    "is_at_least",
    "rate_per_day",
)
KEPT_OF_READING: Final = ("total", "is_at_least")


class Contradiction(Exception):
    """One reading of a counter cannot be true beside the others."""

    def __init__(self, reading: Reading, cause: ReadingRefused) -> None:
        self.reading = reading
        self.cause = cause
        super().__init__(str(cause))


@dataclass(frozen=True, slots=True)
class Timeline:
    """What one counter had counted at any moment.

    totals: in order of time; the first is the start of the count.
    unseen: the spans in which something was counted that nobody saw.
    """

    totals: tuple[Total, ...]
    unseen: tuple[tuple[datetime, datetime], ...]

    @property
    def now(self) -> Decimal:
        return self.totals[-1].total

    def at(self, moment: datetime) -> tuple[Decimal, bool]:
        """The total at a moment, and whether it is estimated."""
        total, is_estimated = faces.interpolate(self.totals, moment)
        return thousandths(total), is_estimated

    def moved_at(self, since: datetime, until: datetime | None) -> datetime | None:
        """The last moment, after `since` and by `until`, at which it is known to have gained."""
        for early, late in zip(self.totals[-2::-1], self.totals[:0:-1], strict=True):
            if late.at <= since:
                break
            if late.total > early.total and (until is None or early.at < until):
                return late.at if until is None else min(late.at, until)
        return None

    def unseen_between(self, since: datetime | None, until: datetime | None) -> bool:
        """Whether a total between two moments is a lower bound; None: without end."""
        return any(
            (until is None or begins < until) and (since is None or ends > since)
            for begins, ends in self.unseen
        )


def timelines(rows: Iterable[Counter]) -> dict[int, Timeline]:
    """The timelines of these counters, from the totals kept with their readings: one query."""
    known = {row.pk: row for row in rows}
    totals = {pk: [_start(row)] for pk, row in known.items()}
    unseen: dict[int, list[tuple[datetime, datetime]]] = {pk: [] for pk in known}
    readings = (
        Reading.objects.in_force()
        .filter(counter__in=known)
        .order_by("counter_id", "at", "pk")
        .values_list("counter_id", "at", "total", "is_at_least", "step", "before_reset")
    )
    for pk, at, total, at_least, step, before_reset in readings:
        if _unseen(step, before_reset):
            unseen[pk].append((totals[pk][-1].at, at))
        totals[pk].append(Total(at=at, total=total, at_least=at_least))
    return {pk: Timeline(totals=tuple(totals[pk]), unseen=tuple(unseen[pk])) for pk in known}


def face(reading: Reading) -> FaceReading:
    """A reading as the mathematics knows it."""
    return FaceReading(
        at=reading.at,
        value=reading.value,
        step=reading.step,
        before_reset=reading.before_reset,
        face_start=reading.face_start,
    )


def check_pace(
    counter: Counter, *, counted: Decimal, elapsed: timedelta, is_day_only: bool
) -> None:
    """Refuse what the clock or the pump cannot have done: raises TooFast."""
    faces.check_possible(
        counted=counted,
        elapsed=elapsed + (DAY if is_day_only else timedelta(0)),
        kind=pace_kind(counter),
        step=counter.display_step,
        max_per_minute=counter.max_per_minute,
    )


def pace_kind(counter: Counter) -> str:
    """What limits a counter: the clock for hours, the pump for everything else."""
    return {Measure.HOURS: faces.HOURS, Measure.STROKES: faces.STROKES}.get(
        Measure(counter.measure), faces.GALLONS
    )


def fold(counter: Counter, readings: Sequence[Reading], *, paced: Collection[int] = ()) -> None:
    """Set the total of each reading anew, and what the counter keeps of them.

    readings: every one in force, in order of time. paced: places in that order whose pace is
    looked at, as the readings around a late one. Raises Contradiction.
    """
    value, total, at_least = counter.first_value, Decimal(0), False
    before, before_is_day_only = counter.started_at, False
    totals = [_start(counter)]
    counter.moved_at = None
    for place, reading in enumerate(readings):
        try:
            counted, bound = faces.gain(
                previous=value, current=face(reading), rollover=counter.rollover
            )
            if place in paced:
                check_pace(
                    counter,
                    counted=counted,
                    elapsed=reading.at - before,
                    is_day_only=reading.is_day_only or before_is_day_only,
                )
        except ReadingRefused as cause:
            raise Contradiction(reading, cause) from cause
        total, at_least, value = total + counted, at_least or bound, reading.value
        if counted:
            counter.moved_at = reading.at
        before, before_is_day_only = reading.at, reading.is_day_only
        reading.total, reading.is_at_least = total, at_least
        totals.append(Total(at=reading.at, total=total, at_least=at_least))
    counter.last_value, counter.last_at = value, before
    counter.last_is_day_only = before_is_day_only
    counter.total, counter.is_at_least = total, at_least
    rate = recent_rate_per_day(totals)
    counter.rate_per_day = None if rate is None else millionths(rate)


def rate_after(counter: Counter, *, window: Sequence[Total], latest: Total) -> Decimal | None:
    """The rate after one more reading, from the two totals around the start of the window.

    The same figure as `recent_rate_per_day` over all readings, without reading them all.
    """
    begins = max(window_begins(latest.at), counter.started_at)
    total, _ = faces.interpolate(window, begins)
    earlier = Total(at=begins, total=total, at_least=latest.at_least)
    rate = mean_rate_per_day(earlier=earlier, later=latest)
    return None if rate is None else millionths(rate)


def window_begins(later_at: datetime) -> datetime:
    """Where the window of the mean rate begins."""
    return window_start(later_at=later_at)


def counters_around(asked: Sequence[Counter], at: datetime) -> QuerySet[Counter]:
    """The counters, locked, with the readings on both sides of where the rate's window begins."""
    begins = Greatest(Value(window_begins(at)), OuterRef("started_at"))
    of_counter = Reading.objects.in_force().filter(counter=OuterRef("pk"))
    before = of_counter.filter(at__lte=begins).order_by("-at", "-pk")
    after = of_counter.filter(at__gt=begins).order_by("at", "pk")
    ended = WearSource.objects.filter(counter=OuterRef("pk"), ended_at__gt=OuterRef("last_at"))
    return (
        Counter.objects.select_for_update(of=("self",))
        .filter(pk__in=[counter.pk for counter in asked])
        .annotate(
            before_at=Subquery(before.values("at")[:1]),
            before_total=Subquery(before.values("total")[:1]),
            after_at=Subquery(after.values("at")[:1]),
            after_total=Subquery(after.values("total")[:1]),
            ended_later=Exists(ended),
        )
        .order_by("pk")
    )


def window_around(counter: Any, latest: Total) -> list[Total]:
    """The totals on both sides of the window's start. counter: from `counters_around`."""
    if counter.before_at is None:
        first = Total(at=counter.started_at, total=Decimal(0), at_least=False)
    else:
        first = Total(at=counter.before_at, total=counter.before_total, at_least=False)
    if counter.after_at is None:
        return [first, latest]
    return [first, Total(at=counter.after_at, total=counter.after_total, at_least=False)]


def rederive(rows: Iterable[Counter]) -> int:
    """Work out the totals of all readings of these counters anew; return how many rows changed.

    Raises Contradiction, which says that the readings in force cannot all be true.
    """
    known = list(rows)
    by_counter: dict[int, list[Reading]] = {row.pk: [] for row in known}
    for reading in (
        Reading.objects.in_force().filter(counter__in=by_counter).order_by("counter_id", "at", "pk")
    ):
        by_counter[reading.counter_id].append(reading)
    return sum(keep(row, by_counter[row.pk]) for row in known)


def keep(counter: Counter, readings: Sequence[Reading], *, paced: Collection[int] = ()) -> int:
    """Fold, write what changed of the rows that exist, return how many. Raises Contradiction."""
    counter_before = picture(counter, KEPT_OF_COUNTER)
    before = [picture(reading, KEPT_OF_READING) for reading in readings]
    fold(counter, readings, paced=paced)
    changed = [
        reading
        for reading, old in zip(readings, before, strict=True)
        if reading.pk and picture(reading, KEPT_OF_READING) != old
    ]
    written = write(Reading, changed, KEPT_OF_READING)
    if picture(counter, KEPT_OF_COUNTER) != counter_before:
        written += write(Counter, [counter], KEPT_OF_COUNTER)
    return written


def _start(counter: Counter) -> Total:
    return Total(at=counter.started_at, total=Decimal(0), at_least=False)


def _unseen(step: str, before_reset: Decimal | None) -> bool:
    return step in (faces.RESET, faces.REPLACED) and before_reset is None
