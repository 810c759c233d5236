"""What counters gain in a day of use, and what the jobs ahead will ask of a rig.

The rates are a dated snapshot of the whole fleet (`renew_usage`), worked out anew at the turn of
the day (`turning`); readings do not touch it.
"""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from typing import Final
from zoneinfo import ZoneInfo

import numpy as np
from django.db import transaction

from equipment import absences
from equipment.models import Counter, Installation, JobBooking, Reading, Rig, UsageRate
from equipment.usage.gamma import Rate
from equipment.usage.learning import Spans, learn_alike
from equipment.usage.usedays import Away, Calendar
from equipment.usage.wiener import Drift, wiener_drift

#: How far back readings tell of the spread of use; of its level old ones hardly tell.
HISTORY: Final = timedelta(days=540)
ONE_DAY: Final = timedelta(days=1)
_KEPT: Final = [
    field.name for field in UsageRate._meta.fields if field.name not in ("id", "counter")
]


@dataclass(frozen=True, slots=True)
class Use:
    """What is known of a counter's use. rate, drift: None where too little is.

    as_of: when it was worked out. share: what a day without a booking counts.
    """

    counter: Counter
    as_of: date
    share: float
    rate: Rate | None
    drift: Drift | None


@dataclass(frozen=True, slots=True)
class Ask:
    """What some days ahead will ask of a counter. [counter units]

    low, high: 10 and 90 %: one time in ten it is less, one time in ten more.
    """

    use: Use
    use_days: float
    mean: float
    low: float
    high: float


def renew_usage(*, today: date, zone: ZoneInfo) -> int:
    """Work out the rates of all counters in use; return how many. Twice a day does no harm.

    today: in the shop's zone; readings after its beginning are not looked at, so that whoever asks
    first on a day finds the same as whoever asks last.
    """
    midnight = datetime.combine(today, time(), tzinfo=zone)
    counters = list(Counter.objects.filter(is_retired=False).order_by("pk"))
    rigs = _rigs_of(counters)
    jobs = _jobs(rigs.values(), since=today - HISTORY)
    told = {
        counter.pk: _Told.of(counter, totals, jobs.get(rigs.get(counter.pk, 0), ()), today, zone)
        for counter, totals in _totals(counters, midnight).items()
    }
    by_kind: dict[tuple[object, ...], list[_Told]] = defaultdict(list)
    for each in told.values():
        by_kind[each.counter.counts, each.counter.side, each.counter.kind_id].append(each)
    open_from = absences.first_open_day(
        (of_rig[-1].last_day for of_rig in jobs.values()), today=today
    )
    rows = [row for alike in by_kind.values() for row in _learnt(alike, today, open_from)]
    with transaction.atomic():
        UsageRate.objects.bulk_create(
            rows, update_conflicts=True, unique_fields=["counter"], update_fields=_KEPT
        )
    return len(rows)


def usage_of(*, rig: Rig) -> list[Use]:
    """Return what is known of the use of a rig's counters, in their order.

    By the snapshot as it stands: it is renewed at the turn of the day (`turning`).
    """
    counters = _counters_of(rig)
    rows = {row.counter_id: row for row in UsageRate.objects.filter(counter__in=counters)}
    return [_use(counter, rows[counter.pk]) for counter in counters if counter.pk in rows]


def asked_ahead(*, use: Use, jobs: Sequence[JobBooking], start: date, until: date) -> Ask | None:
    """Return what the days from start up to the day before `until` ask, None where none is known.

    jobs: of the rig, those ahead among them. Days that are not booked count by the rig's share.
    """
    if use.rate is None or until <= start:
        return None
    calendar = Calendar(first_day=start, last_day=until - ONE_DAY, jobs=_away(jobs))
    use_days = calendar.ahead(start=0.0, until=until, share=use.share)
    if use_days <= 0:
        return None
    return Ask(
        use=use,
        use_days=use_days,
        mean=use.rate.expected(use_days),
        low=use.rate.quantile(0.1, use_days),
        high=use.rate.quantile(0.9, use_days),
    )


@dataclass(frozen=True, slots=True)
class _Told:
    """What the readings of one counter tell."""

    counter: Counter
    spans: Spans
    drift: Drift | None

    @classmethod
    def of(
        cls,
        counter: Counter,
        totals: Sequence[tuple[datetime, float]],
        jobs: Sequence[JobBooking],
        today: date,
        zone: ZoneInfo,
    ) -> "_Told":
        """totals: at least one, in order of time."""
        first_day = totals[0][0].astimezone(zone).date()
        midnight = datetime.combine(first_day, time(), tzinfo=zone)
        at = [_days_since(midnight, moment) for moment, _ in totals]
        calendar = Calendar(
            first_day=min(first_day, today), last_day=max(first_day, today), jobs=_away(jobs)
        )
        booked, free = calendar.parts(at)
        life = [total for _, total in totals]
        return cls(
            counter=counter,
            spans=Spans(
                days=np.diff(at),
                booked=booked,
                free=free,
                used=np.diff(life),
                ages=(today - first_day) / ONE_DAY - np.array(at[1:]),
            ),
            drift=wiener_drift(days=at, totals=life) if len(at) > 1 else None,
        )


def _learnt(alike: Sequence[_Told], today: date, open_from: date) -> list[UsageRate]:
    """Return the rates of counters of one kind; each begins from all the others."""
    rows = []
    for each, learnt in zip(alike, learn_alike([told.spans for told in alike]), strict=True):
        rate = learnt.rate
        rows.append(
            UsageRate(
                counter=each.counter,
                as_of=today,
                open_from=open_from,
                share=learnt.share,
                load=learnt.load,
                own_days=learnt.own.seen_days,
                fleet_rigs=rate.fleet_rigs if rate else 0,
                shape=rate.shape if rate else None,
                open_shape=learnt.open_shape,
                day_shape=rate.day_shape if rate else None,
                alpha=rate.alpha if rate else None,
                beta=rate.beta if rate else None,
                drift_per_day=each.drift.drift_per_day if each.drift else None,
                variance_per_day=each.drift.variance_per_day if each.drift else None,
            )
        )
    return rows


def _use(counter: Counter, row: UsageRate) -> Use:
    drift = None
    if row.drift_per_day is not None and row.variance_per_day is not None:
        drift = Drift(row.drift_per_day, row.variance_per_day)
    return Use(counter=counter, as_of=row.as_of, share=row.share, rate=row.rate, drift=drift)


def _counters_of(rig: Rig) -> list[Counter]:
    """The counters fixed to a rig, and those that travel with what is fitted on it."""
    fitted = Installation.objects.filter(position__rig=rig, removed_at__isnull=True)
    return list(Counter.objects.filter(is_retired=False, rig=rig).order_by("order", "pk")) + list(
        Counter.objects.filter(
            is_retired=False, component__in=fitted.values("component_id")
        ).order_by("order", "pk")
    )


def _rigs_of(counters: Sequence[Counter]) -> dict[int, int]:
    """The rig that each counter is on today, by counter; one that lies on the bench has none."""
    travelling = {each.component_id: each.pk for each in counters if each.component_id}
    rigs = {each.pk: each.rig_id for each in counters if each.rig_id}
    fitted = Installation.objects.filter(
        component__in=travelling, removed_at__isnull=True
    ).values_list("component_id", "position__rig_id")
    on = dict(fitted)
    for each in counters:
        if each.component_id in on:
            rigs[each.pk] = on[each.component_id]
    return rigs


def _jobs(rigs: Iterable[int], *, since: date) -> dict[int, list[JobBooking]]:
    found: dict[int, list[JobBooking]] = defaultdict(list)
    rows = JobBooking.objects.filter(rig__in=set(rigs), last_day__gte=since)
    for row in rows.order_by("first_day"):
        found[row.rig_id].append(row)
    return found


def _away(jobs: Iterable[JobBooking]) -> list[Away]:
    return [Away(each.first_day, each.last_day, float(each.intensity)) for each in jobs]


def _totals(
    counters: Sequence[Counter], midnight: datetime
) -> Mapping[Counter, list[tuple[datetime, float]]]:
    """What each counter had counted at its readings, from HISTORY on or from when it began."""
    begin = midnight - HISTORY
    found: dict[int, list[tuple[datetime, float]]] = {
        each.pk: [(each.started_at, 0.0)] if each.started_at >= begin else [] for each in counters
    }
    rows = (
        Reading.objects.in_force()
        .filter(counter__in=[each.pk for each in counters], at__gte=begin, at__lt=midnight)
        .order_by("counter", "at", "pk")
        .values_list("counter_id", "at", "total")
    )
    for pk, at, total in rows:
        mine = found[pk]
        if mine and at <= mine[-1][0]:
            mine[-1] = (mine[-1][0], float(total))  # two readings of one moment: the later stands
        else:
            mine.append((at, float(total)))
    return {each: found[each.pk] for each in counters if found[each.pk]}


def _days_since(midnight: datetime, moment: datetime) -> float:
    # Moments come in UTC: between two times of one zone Python subtracts what the clocks showed,
    # and readings in the hour that comes twice would not rise.
    return (moment - midnight) / ONE_DAY
