"""What lies ahead of rigs: their jobs, their next stays, and how fast their counters gain."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Final

import numpy as np
from django.db.models import Subquery

from equipment import forecast, triggers
from equipment.due import FAR_DATE
from equipment.forecast import Part, Timeline
from equipment.models import Counter, JobBooking, UsageRate, WearSource
from equipment.services.kept import AnyDue, OpenSource
from equipment.usage import WINDOW_DAYS
from equipment.usage.gamma import Fleet, Own, Rate, learn

#: Of a clock that stands for no use: it is never reached.
UNKNOWN: Final = Part(
    Rate(shape=np.nan, day_shape=np.nan, alpha=np.nan, beta=np.nan, own_days=0.0, fleet_rigs=0),
    share=0.0,
    load=0.0,
    open_shape=np.nan,
)


@dataclass(frozen=True, slots=True)
class Ahead:
    """Of some rigs, what a forecast asks for.

    places: of a rig in the timeline; 0 is that of components on the bench. stays: by rig.
    rates: by counter.
    """

    timeline: Timeline
    places: Mapping[int, int]
    stays: Mapping[int, date]
    jobs: Mapping[int, Sequence[triggers.Away]]
    rates: Mapping[int, Part]

    @classmethod
    def of(cls, *, rows: Iterable[AnyDue], counters: Iterable[int]) -> "Ahead":
        """rows: the due rows to be forecast. counters: what they wear by."""
        stays = {row.rig_id: row.next_stay or FAR_DATE for row in rows if row.rig_id is not None}
        places = {pk: place for place, pk in enumerate(sorted(stays), start=1)}
        jobs: dict[int, list[triggers.Away]] = defaultdict(list)
        away = []
        for rig, first, last, intensity in (
            JobBooking.objects.filter(rig__in=places)
            .order_by("rig", "first_day")
            .values_list("rig_id", "first_day", "last_day", "intensity")
        ):
            jobs[rig].append(triggers.Away(first, last))
            hundredths = round(intensity * forecast.PER_DAY)
            away.append((places[rig], first.toordinal(), last.toordinal(), hundredths))
        rates, open_from = _rates(counters)
        booked = np.array(away, dtype=np.int64).reshape(-1, 4)
        timeline = Timeline(
            rigs=len(places) + 1,
            rig=booked[:, 0],
            first_day=booked[:, 1],
            last_day=booked[:, 2],
            intensity=booked[:, 3],
            open_from=open_from,
        )
        return cls(
            timeline=timeline,
            places=places,
            stays=stays,
            jobs=jobs,
            rates=rates,
        )


def _rates(counters: Iterable[int]) -> tuple[dict[int, Part], int]:
    """The rates of these counters, and the first day that the shop had not planned when they were
    learnt; those of no known use are out.
    """
    newest = UsageRate.objects.order_by("-as_of").values("open_from")[:1]
    found, open_from = {}, 0
    for pk, share, load, shape, day_shape, open_shape, alpha, beta, latest in (
        UsageRate.objects.filter(counter__in=set(counters), shape__isnull=False)
        .annotate(latest=Subquery(newest))
        .values_list(
            "counter_id", "share", "load", "shape", "day_shape", "open_shape", "alpha", "beta",
            "latest",
        )
    ):  # fmt: skip
        open_from = latest.toordinal()
        if not (shape and day_shape and open_shape and alpha and beta):
            continue
        rate = Rate(
            shape=shape, day_shape=day_shape, alpha=alpha, beta=beta, own_days=0.0, fleet_rigs=0
        )
        found[pk] = Part(rate, share=share, load=load, open_shape=open_shape)
    return found, open_from


def part_of(sources: Sequence[WearSource | OpenSource], rates: Mapping[int, Part]) -> Part:
    """What a component gains in one measure; UNKNOWN where one of its counters has no rate."""
    parts = []
    for source in sources:
        part = rates.get(source.counter_id) or _alone(source.counter)
        if part is None:
            return UNKNOWN
        factor = float(source.per_count)
        parts.append(
            Part(
                part.rate,
                share=part.share,
                load=part.load,
                open_shape=part.open_shape,
                factor=factor,
            )
        )
    return forecast.together(parts) if parts else UNKNOWN


def _alone(counter: Counter) -> Part | None:
    """What a counter gains by its own mean rate, before the first snapshot that knows it.

    As wide as an exponential day; nothing is known of bookings.
    """
    if not counter.rate_per_day:
        return None
    days = min((counter.last_at - counter.started_at) / timedelta(days=1), WINDOW_DAYS)
    own = Own(use_days=days, used=float(counter.rate_per_day) * days)
    rate = learn(own=own, fleet=Fleet())
    if rate is None:
        return None
    return Part(rate, share=1.0, load=1.0, open_shape=rate.shape)
