"""The rows kept from the history of a component: its wear, its due services and their clocks.

Two ways lead to the same rows. `recompute` works them out from the readings. `advance` moves them
on by what one appended reading added, which is what happens a hundred times a day; where a
boundary (an exchange, a renewal) lies after the reading before, it raises Unsettled and the
caller recomputes, since that boundary was estimated and now is not.

What a component was given before it came to us counts as not renewed: until a service is done on
it for the first time, its whole life counts, and its days count from the day it came into service.
"""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, time
from decimal import Decimal
from typing import Final
from zoneinfo import ZoneInfo

from django.db import transaction
from django.utils import timezone

from equipment import due as dates
from equipment.models import (
    Component,
    Counter,
    Due,
    DueClock,
    Installation,
    Measure,
    Renewal,
    ServiceVersion,
    Wear,
    WearSource,
)
from equipment.models.rigs import ZERO
from equipment.services import locks, timelines
from equipment.services.keeping import millionths, picture, thousandths, write
from equipment.services.timelines import Timeline

KEPT_OF_SOURCE: Final = ("start_total", "end_total", "is_estimated")
KEPT_OF_WEAR: Final = ("life", "is_at_least", "is_estimated", "rate_per_day", "read_at")
KEPT_OF_DUE: Final = (
    "version_id",
    "rig_id",
    "position_id",
    "rig_number",
    "kind_id",
    "skill",
    "is_listed",
    "measure",
    "interval",
    "since",
    "is_at_least",
    "rate_per_day",
    "read_on",
    "tolerance",
    "renewed_at",
    "due_date",
    "late_date",
    "is_past_due",
    "is_past_tolerance",
)
#: Of those, what a reading moves.
MOVED_OF_DUE: Final = (
    "measure",
    "interval",
    "since",
    "is_at_least",
    "rate_per_day",
    "read_on",
    "due_date",
    "late_date",
    "is_past_due",
    "is_past_tolerance",
)
KEPT_OF_CLOCK: Final = (
    "interval",
    "life_at_renewal",
    "since",
    "is_at_least",
    "counted_from",
    "due_date",
)
AT_A_TIME: Final = 500

Key = tuple[int, str]


class Unsettled(Exception):
    """An appended reading settles a boundary that was estimated until now."""


@dataclass(frozen=True, slots=True)
class Move:
    """A counter moved on by one reading: the counter after it, and what it showed before."""

    counter: Counter
    total_before: Decimal
    at_before: datetime
    is_unseen: bool


# --- the slow way: from the readings -----------------------------------------------------------


def recompute(components: Iterable[Component], *, zone: ZoneInfo) -> int:
    """Work out wear and due rows of these components anew; return how many rows changed.

    The caller holds the locks of `locks.lock_all_behind`.
    """
    pks = sorted({component.pk for component in components})
    chunks = (pks[start : start + AT_A_TIME] for start in range(0, len(pks), AT_A_TIME))
    return sum(_recompute(chunk, zone) for chunk in chunks)


def rebuild_all(*, zone: ZoneInfo) -> tuple[int, int]:
    """Work out every kept row anew from what people entered; return (rows kept, rows changed).

    Nothing changes when every service did its part: the command prints the difference.
    """
    with transaction.atomic():
        locks.lock_rigs(Installation.objects.values_list("position__rig_id", flat=True))
        components = locks.lock_components(Component.objects.values_list("pk", flat=True))
        counters = locks.lock_counters(Counter.objects.values_list("pk", flat=True))
        changed = sum(timelines.rederive([counter]) for counter in counters.values())
        changed += recompute(components.values(), zone=zone)
        rows = len(counters) + sum(
            model._default_manager.count() for model in (WearSource, Wear, Due, DueClock)
        )
    return rows, changed


class _History:
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
                life += _worn(source, self.line(source).at(until)[0])
        return life

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


def _recompute(pks: Sequence[int], zone: ZoneInfo) -> int:
    history = _History(pks, zone)
    changed = _keep_sources(history)
    wear, changed_wear = _keep_wear(history)
    return changed + changed_wear + _keep_dues(history, wear)


def _keep_sources(history: _History) -> int:
    changed = []
    for source in history.all_sources:
        before = picture(source, KEPT_OF_SOURCE)
        line = history.line(source)
        source.start_total, source.is_estimated = line.at(source.began_at)
        source.end_total = None
        if source.ended_at is not None:
            source.end_total, is_estimated = line.at(source.ended_at)
            source.is_estimated = source.is_estimated or is_estimated
        if picture(source, KEPT_OF_SOURCE) != before:
            changed.append(source)
    return write(WearSource, changed, KEPT_OF_SOURCE)


def _keep_wear(history: _History) -> tuple[dict[Key, Wear], int]:
    kept = {
        (row.component_id, row.measure): row
        for row in Wear.objects.filter(component__in=history.components)
    }
    wear: dict[Key, Wear] = {}
    new, changed = [], []
    for component in history.components.values():
        for measure in Measure.values:
            key = (component.pk, measure)
            sources = history.sources.get(key, [])
            if not sources and not opening_life(component, measure):
                continue
            row = kept.pop(key, None)
            before = None if row is None else picture(row, KEPT_OF_WEAR)
            row = wear[key] = row or Wear(component=component, measure=measure)
            row.life = opening_life(component, measure) + sum(
                (_worn(source, _latest(source, history.line(source))) for source in sources), ZERO
            )
            row.is_at_least = history.is_at_least(key, None)
            row.is_estimated = any(source.is_estimated for source in sources)
            row.rate_per_day, row.read_at = _pace(sources, otherwise=history.came(component))
            if before is None:
                new.append(row)
            elif picture(row, KEPT_OF_WEAR) != before:
                changed.append(row)
    Wear.objects.filter(pk__in=[row.pk for row in kept.values()]).delete()
    Wear.objects.bulk_create(new)
    return wear, len(kept) + len(new) + write(Wear, changed, KEPT_OF_WEAR)


def _latest(source: WearSource, line: Timeline) -> Decimal:
    return line.now if source.end_total is None else source.end_total


def _worn(source: WearSource, total: Decimal) -> Decimal:
    # Rounded for each source, so that `advance` can take the old share away and add the new one.
    return thousandths(max(total - source.start_total, ZERO) * source.per_count)


def _pace(sources: Sequence[WearSource], *, otherwise: datetime) -> tuple[Decimal | None, datetime]:
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


def _keep_dues(history: _History, wear: Mapping[Key, Wear]) -> int:
    components = [row for row in history.components.values() if not row.is_retired]
    versions: dict[int, list[ServiceVersion]] = defaultdict(list)
    for version in (
        ServiceVersion.objects.select_related("service")
        .prefetch_related("triggers")
        .filter(
            is_current=True,
            service__is_retired=False,
            service__kind__in={row.type.kind_id for row in components},
        )
        .order_by("pk")
    ):
        if version.triggers.all():
            versions[version.service.kind_id].append(version)
    renewals: dict[tuple[int, int], Renewal] = {}
    for renewal in (
        Renewal.objects.in_force()
        .select_related("version")
        .filter(component__in=history.components)
        .order_by("done_at", "pk")
    ):
        renewals[renewal.component_id, renewal.version.service_id] = renewal
    kept = {
        (row.component_id, row.version.service_id): row
        for row in Due.objects.select_related("version").filter(component__in=history.components)
    }
    clocks: dict[int, dict[str, DueClock]] = defaultdict(dict)
    for clock in DueClock.objects.filter(due__component__in=history.components):
        clocks[clock.due_id][clock.measure] = clock

    writing = _Writing()
    for component in components:
        for version in versions[component.type.kind_id]:
            if version.service.side not in ("", component.side):
                continue
            key = (component.pk, version.service_id)
            row = kept.pop(key, None)
            writing.keep(
                history,
                wear,
                row or Due(component=component, version=version),
                clocks[row.pk] if row else {},
                version,
                renewals.get(key),
            )
    return writing.finish(gone=[row.pk for row in kept.values()])


class _Writing:
    """Due rows and clocks as they come out, sorted by what has to be written."""

    def __init__(self) -> None:
        self.new_dues: list[Due] = []
        self.changed_dues: list[Due] = []
        self.new_clocks: list[DueClock] = []
        self.changed_clocks: list[DueClock] = []
        self.gone_clocks: list[int] = []

    def keep(
        self,
        history: _History,
        wear: Mapping[Key, Wear],
        row: Due,
        clocks: dict[str, DueClock],
        version: ServiceVersion,
        renewal: Renewal | None,
    ) -> None:
        component = history.components[row.component_id]
        before = picture(row, KEPT_OF_DUE)
        _place(row, component, version, history.fitted.get(component.pk))
        row.renewed_at = renewal.done_at if renewal else history.came(component)
        renewed_on = renewal.counts_from if renewal else component.in_service_on
        wanted: list[tuple[DueClock, tuple[object, ...]]] = []
        for trigger in version.triggers.all():
            clock = clocks.pop(trigger.measure, None) or DueClock(due=row, measure=trigger.measure)
            wanted.append((clock, picture(clock, KEPT_OF_CLOCK)))
            clock.interval, clock.counted_from = trigger.interval, renewed_on
            clock.life_at_renewal = clock.since = ZERO
            clock.is_at_least = False
            if trigger.measure != dates.DAYS:
                key = (component.pk, trigger.measure)
                if renewal:
                    clock.life_at_renewal = history.life_at(key, renewal.done_at)
                clock.is_at_least = history.is_at_least(key, renewal.done_at if renewal else None)
        settle(row, [clock for clock, _ in wanted], wear, zone=history.zone)
        if row.pk is None:
            self.new_dues.append(row)
        elif picture(row, KEPT_OF_DUE) != before:
            self.changed_dues.append(row)
        for clock, old in wanted:
            if clock.pk is None:
                self.new_clocks.append(clock)
            elif picture(clock, KEPT_OF_CLOCK) != old:
                self.changed_clocks.append(clock)
        self.gone_clocks += [clock.pk for clock in clocks.values()]

    def finish(self, *, gone: Sequence[int]) -> int:
        if gone:
            Due.objects.filter(pk__in=gone).delete()
        if self.gone_clocks:
            DueClock.objects.filter(pk__in=self.gone_clocks).delete()
        Due.objects.bulk_create(self.new_dues)
        for clock in self.new_clocks:
            clock.due_id = clock.due.pk
        DueClock.objects.bulk_create(self.new_clocks)
        return (
            len(gone)
            + len(self.gone_clocks)
            + len(self.new_dues)
            + len(self.new_clocks)
            + write(Due, self.changed_dues, _columns(KEPT_OF_DUE))
            + write(DueClock, self.changed_clocks, KEPT_OF_CLOCK)
        )


def _columns(fields: Sequence[str]) -> list[str]:
    return [field.removesuffix("_id") for field in fields]


def _place(
    row: Due, component: Component, version: ServiceVersion, fitted: Installation | None
) -> None:
    row.version = version
    row.kind_id = component.type.kind_id
    row.skill = version.skill
    row.tolerance = version.tolerance
    row.position = fitted.position if fitted else None
    row.rig = fitted.position.rig if fitted else None
    row.rig_number = fitted.position.rig.number if fitted else 0
    row.is_listed = fitted is not None and not fitted.position.rig.is_laid_up


# --- the fast way: on by one reading ------------------------------------------------------------


#: What `advance` reads of a clock and its row: each column it leaves out is one less to build.
_OF_CLOCK: Final = ("measure", *KEPT_OF_CLOCK)
_OF_DUE: Final = ("component", "tolerance", "renewed_at", *MOVED_OF_DUE)


def advance(*, moves: Mapping[int, Move], sources: Sequence[WearSource], zone: ZoneInfo) -> None:
    """Move wear, clocks and due rows on by appended readings.

    moves: by counter. sources: every open source of every component that one of the counters
    drives, with their counters. Raises Unsettled before anything of these rows is written.
    """
    by_key: dict[Key, list[WearSource]] = defaultdict(list)
    since: dict[int, datetime] = {}
    for source in sources:
        component = source.installation.component_id
        by_key[component, source.measure].append(source)
        move = moves.get(source.counter_id)
        if move is None:
            continue
        if source.began_at > move.at_before:
            raise Unsettled
        source.counter = move.counter
        since[component] = min(move.at_before, since.get(component, move.at_before))

    wear: dict[Key, Wear] = {
        (row.component_id, row.measure): row for row in Wear.objects.filter(component__in=since)
    }
    clocks: dict[int, list[DueClock]] = defaultdict(list)
    for clock in (
        DueClock.objects.select_related("due")
        .only(*_OF_CLOCK, *(f"due__{name}" for name in _OF_DUE))
        .filter(due__component__in=since)
    ):
        if clock.due.renewed_at > since[clock.due.component_id]:
            raise Unsettled
        clocks[clock.due_id].append(clock)

    moved, unseen = _advance_wear(moves, by_key, wear)
    changed_dues, changed_clocks = [], []
    for each in clocks.values():
        row = each[0].due
        before = picture(row, MOVED_OF_DUE)
        old = [picture(clock, KEPT_OF_CLOCK) for clock in each]
        for clock in each:
            if (row.component_id, clock.measure) in unseen:
                clock.is_at_least = True
        settle(row, each, wear, zone=zone)
        if picture(row, MOVED_OF_DUE) != before:
            changed_dues.append(row)
        changed_clocks += [
            clock
            for clock, was in zip(each, old, strict=True)
            if picture(clock, KEPT_OF_CLOCK) != was
        ]
    write(Wear, moved, KEPT_OF_WEAR)
    write(DueClock, changed_clocks, KEPT_OF_CLOCK)
    write(Due, changed_dues, MOVED_OF_DUE)


def _advance_wear(
    moves: Mapping[int, Move], by_key: Mapping[Key, list[WearSource]], wear: Mapping[Key, Wear]
) -> tuple[list[Wear], set[Key]]:
    moved, unseen = [], set()
    for key, sources in by_key.items():
        driven = [source for source in sources if source.counter_id in moves]
        if not driven:
            continue
        row = wear[key]
        for source in driven:
            move = moves[source.counter_id]
            row.life += _worn(source, move.counter.total) - _worn(source, move.total_before)
            if move.is_unseen:
                row.is_at_least = True
                unseen.add(key)
        row.rate_per_day, row.read_at = _pace(sources, otherwise=row.read_at)
        moved.append(row)
    return moved, unseen


# --- both ways ----------------------------------------------------------------------------------


def settle(
    row: Due, clocks: Sequence[DueClock], wear: Mapping[Key, Wear], *, zone: ZoneInfo
) -> None:
    """Set the dates of a due row from its clocks and the wear of its component.

    Whichever trigger falls first leads (`equipment.due.first_due`); of two at the same moment the
    one that comes first in `equipment.due.MEASURES`.
    """
    ordered = sorted(clocks, key=lambda clock: dates.MEASURES.index(clock.measure))
    triggers = [_trigger(row, clock, wear, zone) for clock in ordered]
    first = dates.first_due(triggers, tolerance=row.tolerance)
    for clock, trigger, moment in zip(ordered, triggers, first.all, strict=True):
        clock.due_date = moment.due_date
        if moment is first.lead:
            row.measure, row.interval, row.since = clock.measure, clock.interval, clock.since
            row.is_at_least = clock.is_at_least
            row.read_on = clock.counted_from
            row.rate_per_day = (
                trigger.rate_per_day if isinstance(trigger, dates.UseTrigger) else None
            )
    row.due_date, row.late_date = first.due_date, first.late_date
    row.is_past_due, row.is_past_tolerance = first.is_past_due, first.is_past_tolerance


def _trigger(row: Due, clock: DueClock, wear: Mapping[Key, Wear], zone: ZoneInfo) -> dates.Trigger:
    if clock.measure == dates.DAYS:
        return dates.DayTrigger(interval_days=int(clock.interval), renewed_on=clock.counted_from)
    worn = wear.get((row.component_id, clock.measure))
    read_at = row.renewed_at if worn is None else worn.read_at
    clock.since = max((ZERO if worn is None else worn.life) - clock.life_at_renewal, ZERO)
    clock.counted_from = timezone.localdate(read_at, zone)
    return dates.UseTrigger(
        measure=clock.measure,
        interval=clock.interval,
        since=clock.since,
        rate_per_day=None if worn is None else worn.rate_per_day,
        read_on=clock.counted_from,
    )
