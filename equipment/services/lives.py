"""The lives of components: what their wear follows from, read in few queries."""

from collections import defaultdict
from collections.abc import Sequence
from datetime import date, datetime, time
from decimal import Decimal
from typing import Final
from zoneinfo import ZoneInfo

from django.utils import timezone

from equipment.models import Component, Installation, Measure, WearSource
from equipment.models.rigs import ZERO
from equipment.services import timelines
from equipment.services.keeping import millionths, thousandths
from equipment.services.timelines import Timeline

KEPT_OF_SOURCE: Final = ("start_total", "end_total", "is_estimated")
KEPT_OF_WEAR: Final = ("life", "is_at_least", "is_estimated", "rate_per_day", "read_at")

#: A component and a measure.
Key = tuple[int, str]


class Lives:
    """Everything that the kept rows of some components follow from, in few queries."""

    def __init__(self, pks: Sequence[int], zone: ZoneInfo) -> None:
        self.zone = zone
        self.components = {
            row.pk: row for row in Component.objects.select_related("type").filter(pk__in=pks)
        }
        self.fitted = {
            row.component_id: row
            for row in Installation.objects.select_related("position__rig").filter(
                component__in=pks, removed_at__isnull=True
            )
        }
        self.sources: dict[Key, list[WearSource]] = defaultdict(list)
        sources = list(
            WearSource.objects.select_related("installation", "counter")
            .filter(installation__component__in=pks)
            .order_by("pk")
        )
        for source in sources:
            self.sources[source.installation.component_id, source.measure].append(source)
        self.lines = timelines.timelines(source.counter for source in sources)
        self.all_sources = sources

    def line(self, source: WearSource) -> Timeline:
        return self.lines[source.counter_id]

    def came(self, component: Component) -> datetime:
        """The first moment of the day on which it came into service."""
        return datetime.combine(component.in_service_on, time(0), self.zone)

    def life_at(self, key: Key, moment: datetime) -> Decimal:
        """The life of a component in one measure at a moment, as `Wear.life` is now."""
        life = opening_life(self.components[key[0]], key[1])
        for source in self.sources.get(key, ()):
            if source.began_at <= moment:
                until = moment if source.ended_at is None else min(moment, source.ended_at)
                life += worn(source, self.line(source).at(until)[0])
        return life

    def used_on(self, component: Component) -> date:
        """The last day on which it is known to have been used; without one, the day it came into
        service, or into our books where that was later: what was before, nobody knows.
        """
        known = max(self.came(component), component.created_at)
        moved = [
            self.line(source).moved_at(source.began_at, source.ended_at)
            for measure in Measure.values
            for source in self.sources.get((component.pk, measure), ())
        ]
        return timezone.localdate(max((each for each in moved if each), default=known), self.zone)

    def is_at_least(self, key: Key, since: datetime | None) -> bool:
        """Whether the wear of a component since a moment is a lower bound."""
        return any(
            self.line(source).unseen_between(
                source.began_at if since is None else max(since, source.began_at), source.ended_at
            )
            for source in self.sources.get(key, ())
            if since is None or source.ended_at is None or source.ended_at > since
        )


def opening_life(component: Component, measure: str) -> Decimal:
    """The life it had before its first counter here. [measure]"""
    return {
        Measure.HOURS: component.opening_hours,
        Measure.STROKES: component.opening_strokes,
        Measure.GALLONS: component.opening_gallons,
    }[Measure(measure)]


def latest(source: WearSource, line: Timeline) -> Decimal:
    return line.now if source.end_total is None else source.end_total


def worn(source: WearSource, total: Decimal) -> Decimal:
    # Rounded for each source, so that `advance` can take the old share away and add the new one.
    return thousandths(max(total - source.start_total, ZERO) * source.per_count)


def pace(sources: Sequence[WearSource], *, otherwise: datetime) -> tuple[Decimal | None, datetime]:
    """The rate of wear and the moment of the reading behind it.

    Of two counters read at different times the earlier counts: what the other has not shown yet
    is not forgotten. No rate where one of them has none.
    """
    driving = [source for source in sources if source.ended_at is None]
    if not driving:
        return None, max((s.ended_at for s in sources if s.ended_at), default=otherwise)
    rate: Decimal | None = ZERO
    for source in driving:
        each = source.counter.rate_per_day
        rate = None if rate is None or each is None else rate + each * source.per_count
    read_at = min(max(source.counter.last_at, source.began_at) for source in driving)
    return (None if rate is None else millionths(rate)), read_at
