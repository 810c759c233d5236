"""The rows kept from the history of a component: its wear, its due services and their clocks.

Two ways lead to the same rows. `recompute` works them out from the readings. `advancing.advance`
moves them on by what appended readings added, which is what happens a hundred times a day.

What a component was given before it came to us counts as not renewed: until a service is done on
it for the first time, its whole life counts, and its days count from the day it came into service.
"""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from datetime import UTC, datetime
from typing import Final
from zoneinfo import ZoneInfo

from django.db import transaction

from equipment import due as dates
from equipment.models import (
    BroughtForward,
    Component,
    Counter,
    Due,
    DueClock,
    Installation,
    Measure,
    Postponement,
    Renewal,
    Rig,
    ServiceVersion,
    SideSignal,
    SideWatch,
    Wear,
    WearSource,
)
from equipment.models.dues import not_done_since
from equipment.models.rigs import ZERO
from equipment.services import locks, sides, timelines, wearing
from equipment.services.forecasting import settle
from equipment.services.including import applies
from equipment.services.keeping import picture, write
from equipment.services.kept import DUE_FIELDS, KEPT_OF_CLOCK, KEPT_OF_DUE
from equipment.services.lives import (
    KEPT_OF_SOURCE,
    KEPT_OF_WEAR,
    Key,
    Lives,
    latest,
    opening_life,
    pace,
    worn,
)
from equipment.services.reckoning import Events, reckon

AT_A_TIME: Final = 500
#: Before anything that is kept.
EVER: Final = datetime(1, 1, 1, tzinfo=UTC)


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
        locks.lock_rigs(Rig.objects.values_list("pk", flat=True))
        components = locks.lock_components(Component.objects.values_list("pk", flat=True))
        counters = locks.lock_counters(Counter.objects.values_list("pk", flat=True))
        changed = sum(timelines.rederive([counter]) for counter in counters.values())
        rigs = list(Rig.objects.order_by("pk"))
        for start in range(0, len(rigs), AT_A_TIME):
            changed += len(wearing.derive(*rigs[start : start + AT_A_TIME], since=EVER))
        changed += recompute(components.values(), zone=zone)
        changed += sides.refresh(rigs, zone=zone)
        rows = len(counters) + sum(
            model._default_manager.count()
            for model in (WearSource, Wear, Due, DueClock, SideSignal, SideWatch)
        )
    return rows, changed


def _recompute(pks: Sequence[int], zone: ZoneInfo) -> int:
    history = Lives(pks, zone)
    changed = _keep_sources(history)
    wear, changed_wear = _keep_wear(history)
    return changed + changed_wear + _keep_dues(history, wear)


def _keep_sources(history: Lives) -> int:
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


def _keep_wear(history: Lives) -> tuple[dict[Key, Wear], int]:
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
                (worn(source, latest(source, history.line(source))) for source in sources), ZERO
            )
            row.is_at_least = history.is_at_least(key, None)
            row.is_estimated = any(source.is_estimated for source in sources)
            row.rate_per_day, row.read_at = pace(sources, otherwise=history.came(component))
            if before is None:
                new.append(row)
            elif picture(row, KEPT_OF_WEAR) != before:
                changed.append(row)
    Wear.objects.filter(pk__in=[row.pk for row in kept.values()]).delete()
    Wear.objects.bulk_create(new)
    return wear, len(kept) + len(new) + write(Wear, changed, KEPT_OF_WEAR)


def _keep_dues(history: Lives, wear: Mapping[Key, Wear]) -> int:
    components = [row for row in history.components.values() if not row.is_retired]
    versions: dict[int, list[ServiceVersion]] = defaultdict(list)
    for version in (
        ServiceVersion.objects.select_related("service")
        .prefetch_related("triggers__season", "triggers__after", "service__only_rigs")
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
    done = {key: renewal.done_at for key, renewal in renewals.items()}
    wanted = BroughtForward.objects.standing().filter(component__in=history.components)
    brought = {
        (word.component_id, word.service_id): word
        for word in not_done_since(wanted.order_by("-due_on", "-pk"), done)
    }
    put_off = Postponement.objects.standing().filter(component__in=history.components)
    postponed = {
        (word.component_id, word.service_id): word
        for word in not_done_since(put_off.order_by("at", "pk"), done)
    }
    kept = {
        (row.component_id, row.version.service_id): row
        for row in Due.objects.select_related("version").filter(component__in=history.components)
    }
    clocks: dict[int, dict[str, DueClock]] = defaultdict(dict)
    for clock in DueClock.objects.filter(due__component__in=history.components):
        clocks[clock.due_id][clock.measure] = clock

    events = Events.around(history, [each for of in versions.values() for each in of], renewals)
    writing = _Writing(history, events)
    for component in components:
        fitted = history.fitted.get(component.pk)
        rig = fitted.position.rig_id if fitted else None
        for version in versions[component.type.kind_id]:
            if not applies(version.service, component, rig):
                continue
            key = (component.pk, version.service_id)
            row = kept.pop(key, None)
            writing.add(
                row or Due(component=component, version=version),
                clocks[row.pk] if row else {},
                version,
                renewals.get(key),
                brought.get(key),
                postponed.get(key),
            )
    settle(writing.entries, wear=wear, sources=history.sources, zone=history.zone)
    return writing.finish(gone=[row.pk for row in kept.values()])


class _Writing:
    """Due rows and clocks as they come out, sorted by what has to be written."""

    def __init__(self, history: Lives, events: Events) -> None:
        self.history, self.events = history, events
        self.entries: list[tuple[Due, list[DueClock]]] = []
        self._before: list[tuple[object, ...]] = []
        self._before_clocks: list[list[tuple[object, ...]]] = []
        self._gone_clocks: list[int] = []

    def add(
        self,
        row: Due,
        clocks: dict[str, DueClock],
        version: ServiceVersion,
        renewal: Renewal | None,
        brought: BroughtForward | None,
        postponed: Postponement | None,
    ) -> None:
        """Say what a row follows; its dates come with `settle`."""
        component = self.history.components[row.component_id]
        self._before.append(picture(row, KEPT_OF_DUE))
        _place(row, component, version, self.history.fitted.get(component.pk))
        row.renewed_at = renewal.done_at if renewal else self.history.came(component)
        row.brought_on = brought.due_on if brought else dates.FAR_DATE
        row.brought_because = brought.reason if brought else ""
        # A version published since may have made it a limit of law, which nobody puts off.
        is_put_off = postponed is not None and not version.is_hard_limit
        row.postponed_to = postponed.until if postponed and is_put_off else None
        pictures = []

        def clock_of(measure: str) -> DueClock:
            clock = clocks.pop(measure, None) or DueClock(due=row, measure=measure)
            pictures.append(picture(clock, KEPT_OF_CLOCK))
            return clock

        found = reckon(
            clock_of=clock_of,
            component=component,
            version=version,
            renewal=renewal,
            history=self.history,
            events=self.events,
        )
        self.entries.append((row, found))
        self._before_clocks.append(pictures)
        self._gone_clocks += [clock.pk for clock in clocks.values()]

    def finish(self, *, gone: Sequence[int]) -> int:
        """Write what changed; return how many rows."""
        new_dues: list[Due] = []
        changed_dues: list[Due] = []
        new_clocks: list[DueClock] = []
        changed_clocks: list[DueClock] = []
        for (row, clocks), before, pictures in zip(
            self.entries, self._before, self._before_clocks, strict=True
        ):
            if row.pk is None:
                new_dues.append(row)
            elif picture(row, KEPT_OF_DUE) != before:
                changed_dues.append(row)
            for clock, old in zip(clocks, pictures, strict=True):
                if clock.pk is None:
                    new_clocks.append(clock)
                elif picture(clock, KEPT_OF_CLOCK) != old:
                    changed_clocks.append(clock)
        if gone:
            Due.objects.filter(pk__in=gone).delete()
        if self._gone_clocks:
            DueClock.objects.filter(pk__in=self._gone_clocks).delete()
        Due.objects.bulk_create(new_dues)
        for clock in new_clocks:
            clock.due_id = clock.due.pk
        DueClock.objects.bulk_create(new_clocks)
        return (
            len(gone)
            + len(self._gone_clocks)
            + len(new_dues)
            + len(new_clocks)
            + write(Due, changed_dues, DUE_FIELDS)
            + write(DueClock, changed_clocks, KEPT_OF_CLOCK)
        )


def _place(
    row: Due, component: Component, version: ServiceVersion, fitted: Installation | None
) -> None:
    row.version = version
    row.kind_id = component.type.kind_id
    row.skill = version.skill
    row.tolerance, row.early = version.tolerance, version.early
    row.kit_cents = version.service.kit_cents
    row.position = fitted.position if fitted else None
    row.rig = fitted.position.rig if fitted else None
    row.rig_number = fitted.position.rig.number if fitted else 0
    row.is_listed = fitted is not None and not fitted.position.rig.is_laid_up
