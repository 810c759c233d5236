"""The whole life of a component, gathered for its line of time."""

from bisect import bisect_left, bisect_right
from collections import defaultdict
from dataclasses import dataclass
from datetime import datetime
from typing import Final

from equipment.models import Component, Counter, Finding, Installation, Reading, Renewal
from equipment.views.lifeline import STEPS_UNSEEN

#: So many marks can still be told apart on a line; the list under it has them all.
MARKS_AT_MOST: Final = 200


@dataclass(frozen=True, slots=True)
class Sat:
    """A stretch in one position; until: None while it sits there."""

    since: datetime
    until: datetime | None
    rig: int
    position: str


@dataclass(frozen=True, slots=True)
class Lifetime:
    """Where a component sat, what was done to it, and how sure its life is.

    estimated: stretches between two readings over which use was shared out.
    unseen: when something had been counted that nobody saw.
    """

    component: Component
    sat: tuple[Sat, ...]
    renewed: tuple[datetime, ...]
    found: tuple[datetime, ...]
    estimated: tuple[tuple[datetime, datetime], ...]
    unseen: tuple[datetime, ...]


def lifetime(component: Component) -> Lifetime:
    """Return the whole life of a component. Five queries, however long it was."""
    rows = list(
        Installation.objects.filter(component=component)
        .select_related("position__rig", "position__kind")
        .prefetch_related("wear_sources")
        .order_by("installed_at")
    )
    estimated, unseen = _doubts(rows)
    renewals = Renewal.objects.in_force().filter(component=component).order_by("-done_at")
    findings = Finding.objects.filter(component=component).order_by("-opened_at")
    return Lifetime(
        component=component,
        sat=tuple(
            Sat(row.installed_at, row.removed_at, row.position.rig.number, row.position.label)
            for row in rows
            if row.removed_at != row.installed_at
        ),
        renewed=tuple(renewals.values_list("done_at", flat=True)[:MARKS_AT_MOST]),
        found=tuple(findings.values_list("opened_at", flat=True)[:MARKS_AT_MOST]),
        estimated=estimated,
        unseen=unseen,
    )


def _doubts(
    rows: list[Installation],
) -> tuple[tuple[tuple[datetime, datetime], ...], tuple[datetime, ...]]:
    """Where the use of a component was shared out between readings, and where it was not seen."""
    sources = [source for row in rows for source in row.wear_sources.all()]
    read: dict[int, list[datetime]] = defaultdict(list)
    changed: dict[int, list[datetime]] = defaultdict(list)
    began = Counter.objects.filter(pk__in={source.counter_id for source in sources})
    for pk, started_at in began.values_list("pk", "started_at"):
        read[pk].append(started_at)
    readings = (
        Reading.objects.in_force()
        .filter(counter__in=read)
        .order_by("at")
        .values_list("counter_id", "at", "step", "before_reset")
    )
    for pk, at, step, before in readings:
        read[pk].append(at)
        if step in STEPS_UNSEEN and before is None:
            changed[pk].append(at)
    estimated: set[tuple[datetime, datetime]] = set()
    unseen: set[datetime] = set()
    for source in sources:
        moments = read[source.counter_id]
        edges = [source.began_at] + ([source.ended_at] if source.ended_at else [])
        for edge in edges:
            if around := _around(moments, edge):
                since = max(around[0], source.began_at)
                until = min(around[1], source.ended_at or around[1])
                if since < until:
                    estimated.add((since, until))
        unseen |= {
            at
            for at in changed[source.counter_id]
            if at > source.began_at and (source.ended_at is None or at <= source.ended_at)
        }
    return tuple(sorted(estimated)), tuple(sorted(unseen))


def _around(moments: list[datetime], edge: datetime) -> tuple[datetime, datetime] | None:
    """The readings around a moment, itself for the one to come; None where it was read itself."""
    after = bisect_right(moments, edge)
    if bisect_left(moments, edge) != after or after == 0:
        return None
    return moments[after - 1], moments[after] if after < len(moments) else edge
