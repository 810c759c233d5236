"""What the counters of a rig may plausibly show now, and which new readings are unusual."""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal
from functools import reduce
from operator import or_
from typing import Final

from django.db.models import Q

from equipment import counters as faces
from equipment.counters import ReadingRefused, Total
from equipment.expecting import Expected, Gain, likely_gain, narrowest_gain, on_the_face
from equipment.models import Counter, Reading
from equipment.services import timelines
from equipment.services.readings import NewReading
from equipment.usage import WINDOW_DAYS

Step = Reading.Step
WINDOW: Final = timedelta(days=WINDOW_DAYS)


@dataclass(frozen=True, slots=True)
class Unusual:
    """A reading that is possible and yet not to be expected: ask once whether it is right.

    counted: since the last reading. [counter units] usual: what was to be expected of it.
    """

    counter: Counter
    value: Decimal
    counted: Decimal
    usual: Gain

    @property
    def is_more(self) -> bool:
        return float(self.counted) > self.usual.high


def expected_of(counters: Iterable[Counter], *, at: datetime) -> dict[int, Expected]:
    """Return what each counter may plausibly show at a moment, by its key. One query.

    A counter of which too little is known, or read later than that, is left out.
    """
    asked = [each for each in counters if _is_known(each) and at > each.last_at]
    totals = _recent_totals(asked)
    found = {}
    for counter in asked:
        gain = _likely(counter, totals[counter.pk], at)
        if gain is not None:
            found[counter.pk] = _face(counter, gain, at)
    return found


@dataclass(frozen=True, slots=True)
class Foreseen:
    """What a face may plausibly show up to a moment, for a page that is read without us.

    until: the moment. low: the least it may show from the moment before on; high: the most it may
    show until this one, None where nothing limits it. last value <= low. [counter units]
    """

    until: datetime
    low: Decimal
    high: Decimal | None


def foreseen_of(
    counters: Iterable[Counter], *, moments: Sequence[datetime]
) -> dict[int, tuple[Foreseen, ...]]:
    """Return what each counter may plausibly show between the moments given, by its key. One query.

    moments: in order of time. What lies outside would be asked about or refused (`unusual`,
    `impossible`) at any time of its stretch, since what is plausible only widens; what is near an
    end may lie inside and be asked about all the same. Where nothing is known of the use, the clock
    or the pump alone gives the most. A counter read later than the first moment is left out.
    """
    if sorted(moments) != list(moments):
        raise ValueError("Moments come in order of time.")
    asked = [each for each in counters if moments[0] > each.last_at]
    totals = _recent_totals([each for each in asked if _is_known(each)])
    return {each.pk: _foreseen(each, totals.get(each.pk, []), moments) for each in asked}


def _foreseen(
    counter: Counter, totals: Sequence[Total], moments: Sequence[datetime]
) -> tuple[Foreseen, ...]:
    found = []
    low = counter.last_value
    for moment in moments:
        gain = _likely(counter, totals, moment) if _is_known(counter) else None
        if gain is not None:
            face = _face(counter, gain, moment)
            found.append(Foreseen(moment, low, face.high))
            low = face.low
        else:
            # As `timelines.check_pace` does where only the day of the last reading is known.
            slack = timelines.DAY if counter.last_is_day_only else timedelta(0)
            most = _most_possible(counter, moment + slack)
            high = None if most is None else counter.last_value + most + counter.display_step
            found.append(Foreseen(moment, low, high))
    return tuple(found)


def unusual(
    readings: Sequence[NewReading], *, at: datetime, is_day_only: bool = False
) -> dict[int, Unusual]:
    """Return which of these readings are possible and unusual, by counter.

    at, is_day_only: as for `record_readings`, to which those that cannot be taken are left. The
    counters are taken as they were read; the readings before are looked at only where the kept
    mean rate leaves a doubt.
    """
    doubtful: dict[int, tuple[NewReading, Decimal]] = {}
    for new in readings:
        counter = new.counter
        if not _is_known(counter) or at <= counter.last_at:
            continue
        counted = _counted(new, at, is_day_only)
        if counted is None:
            continue
        narrow = narrowest_gain(**_habit(counter), days=_days(counter, at))
        if narrow is not None and not _inside(counted, narrow, new):
            doubtful[counter.pk] = new, counted
    totals = _recent_totals([new.counter for new, _ in doubtful.values()]) if doubtful else {}
    found = {}
    for pk, (new, counted) in doubtful.items():
        gain = _likely(new.counter, totals[pk], at)
        if gain is None:
            continue
        is_usual = (
            _face(new.counter, gain, at).holds(new.value)
            if new.step == Step.CONTINUED
            else _inside(counted, gain, new)
        )
        if not is_usual:
            found[pk] = Unusual(new.counter, new.value, counted, gain)
    return found


def impossible(
    readings: Sequence[NewReading], *, at: datetime, is_day_only: bool = False
) -> dict[int, ReadingRefused]:
    """Return which of these readings `record_readings` would refuse beside the last ones.

    Only to tell at once, on the page that asks about others; what is written is decided there.
    """
    found: dict[int, ReadingRefused] = {}
    for new in readings:
        if at > new.counter.last_at:
            try:
                _gain(new, at, is_day_only)
            except ReadingRefused as refused:
                found[new.counter.pk] = refused
    return found


def _is_known(counter: Counter) -> bool:
    return counter.rate_per_day is not None and counter.last_at > counter.started_at


def _days(counter: Counter, at: datetime) -> float:
    return (at - counter.last_at) / timedelta(days=1)


def _habit(counter: Counter) -> dict[str, float]:
    known = min(counter.last_at - counter.started_at, WINDOW)
    return {
        "rate_per_day": float(counter.rate_per_day or 0),
        "known_days": known / timedelta(days=1),
    }


def _likely(counter: Counter, totals: Sequence[Total], at: datetime) -> Gain | None:
    return likely_gain(**_habit(counter), days=_days(counter, at), totals=totals)


def _face(counter: Counter, gain: Gain, at: datetime) -> Expected:
    return on_the_face(
        gain,
        last_value=counter.last_value,
        step=counter.display_step,
        rollover=counter.rollover,
        possible=_most_possible(counter, at),
    )


def _most_possible(counter: Counter, at: datetime) -> Decimal | None:
    return faces.most_possible(
        elapsed=at - counter.last_at,
        kind=timelines.pace_kind(counter),
        max_per_minute=counter.max_per_minute,
    )


def _gain(new: NewReading, at: datetime, is_day_only: bool) -> Decimal:
    """What was counted, or the most of it that is known. Raises ReadingRefused."""
    counter = new.counter
    shown = faces.FaceReading(
        at=at,
        value=new.value,
        step=new.step,
        before_reset=new.before_reset,
        face_start=new.face_start,
    )
    counted, _ = faces.gain(previous=counter.last_value, current=shown, rollover=counter.rollover)
    timelines.check_pace(
        counter,
        counted=counted,
        elapsed=at - counter.last_at,
        is_day_only=is_day_only or counter.last_is_day_only,
    )
    return counted


def _counted(new: NewReading, at: datetime, is_day_only: bool) -> Decimal | None:
    try:
        return _gain(new, at, is_day_only)
    except ReadingRefused:  # told by the service, in its own words
        return None


def _inside(counted: Decimal, gain: Gain, new: NewReading) -> bool:
    # What was hidden by a reset is not known: less than usual says nothing there.
    low = gain.low if new.step == Step.CONTINUED else 0
    return low <= float(counted) <= gain.high


def _recent_totals(counters: Sequence[Counter]) -> dict[int, list[Total]]:
    """The totals of the days that the mean rate is taken from, of all counters in one query."""
    found: dict[int, list[Total]] = defaultdict(list)
    if not counters:
        return found
    recent = reduce(or_, (Q(counter=each.pk, at__gte=each.last_at - WINDOW) for each in counters))
    for each in counters:
        begins = max(each.last_at - WINDOW, each.started_at)
        span = Decimal((each.last_at - begins) / timedelta(days=1))
        counted = (each.rate_per_day or Decimal(0)) * span
        found[each.pk].append(Total(at=begins, total=each.total - counted, at_least=False))
    rows = (
        Reading.objects.in_force()
        .filter(recent)
        .order_by("at", "pk")
        .values_list("counter_id", "at", "total", "is_at_least")
    )
    for pk, at, total, at_least in rows:
        if at > found[pk][-1].at:
            found[pk].append(Total(at=at, total=total, at_least=at_least))
    return found
