"""Which counter drives which wear of a fitted component, unless a person chose it."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from typing import Final

from django.db.models import Q

from equipment import units
from equipment.models import (
    Component,
    ComponentKind,
    Counter,
    Installation,
    Measure,
    Position,
    Rig,
    WearSource,
)

ONE: Final = Decimal(1)
#: A there-and-back cycle is two single strokes.
STROKES_PER_CYCLE: Final = Decimal(2)
PER_COUNT_PLACES: Final = Decimal("0.0000000001")
STROKE_COUNTS: Final = (Counter.Counts.STROKES, Counter.Counts.CYCLES)
#: What only runs beside the material wears by hours alone.
BESIDE_THE_MATERIAL: Final = (
    ComponentKind.Flow.POWER,
    ComponentKind.Flow.AIR,
    ComponentKind.Flow.OIL,
)


@dataclass(frozen=True, slots=True)
class WearPlan:
    """One counter behind one kind of wear.

    per_count: wear for each unit counted, > 0. [measure / counter unit]
    """

    measure: str
    counter: Counter
    per_count: Decimal = ONE


def default_plan(
    component: Component,
    position: Position,
    counters: Sequence[Counter],
    displacements: Mapping[str, Decimal],
) -> list[WearPlan]:
    """Return what drives the wear of a component in this position, from the rig's counters.

    counters: those of the rig and of the component itself, in order; its own come first.
    displacements: per counted stroke of the pump that each side has. [in³]

    Hours: its own counter, else the rig's counter for its kind, else the rig's own.
    Strokes: the counter of its side. Gallons: counted ones of its side, else strokes times the
    displacement; what belongs to neither side takes both.
    """
    own = [each for each in counters if each.component_id == component.pk]
    usable = own + [each for each in counters if each.rig_id is not None]
    plans = _hours(component, own, usable)
    side = position.side or component.side
    is_beside = component.type.kind.flow in BESIDE_THE_MATERIAL
    strokes = [each for each in usable if each.counts in STROKE_COUNTS]
    if is_beside:
        strokes = [each for each in strokes if each.component_id is not None]
    of_side = [each for each in strokes if side in ("", _side(each, component))]
    if side or any(each.component_id for each in strokes):
        for counter in of_side[:1]:
            per_count = STROKES_PER_CYCLE if counter.counts == Counter.Counts.CYCLES else ONE
            plans.append(WearPlan(Measure.STROKES, counter, per_count))
    if is_beside:
        return plans
    return plans + _gallons(component, side, usable, of_side, displacements)


def _hours(
    component: Component, own: Sequence[Counter], usable: Sequence[Counter]
) -> list[WearPlan]:
    hours = [each for each in usable if each.counts == Counter.Counts.HOURS]
    of_kind = [each for each in hours if each.kind_id == component.type.kind_id]
    of_rig = [each for each in hours if each.kind_id is None and each.rig_id is not None]
    best = [each for each in own if each in hours] or of_kind or of_rig
    return [WearPlan(Measure.HOURS, counter) for counter in best[:1]]


def _gallons(
    component: Component,
    side: str,
    usable: Sequence[Counter],
    strokes: Sequence[Counter],
    displacements: Mapping[str, Decimal],
) -> list[WearPlan]:
    if not side:
        both = [each for each in usable if each.counts == Counter.Counts.GALLONS_BOTH]
        if both:
            return [WearPlan(Measure.GALLONS, both[0])]
    counted = {
        _side(each, component): each
        for each in reversed(usable)
        if each.counts == Counter.Counts.GALLONS and side in ("", _side(each, component))
    }
    plans = [WearPlan(Measure.GALLONS, counter) for _, counter in sorted(counted.items())]
    taken = set(counted)
    for counter in strokes:
        of = _side(counter, component)
        moved = component.type.displacement_in3 if side else None
        moved = moved or displacements.get(of)
        if of not in taken and moved:
            taken.add(of)
            per_count = units.gallons_per_stroke(moved).quantize(PER_COUNT_PLACES)
            plans.append(WearPlan(Measure.GALLONS, counter, per_count))
    return plans


def _side(counter: Counter, component: Component) -> str:
    return component.side if counter.component_id == component.pk else counter.side


def counters_for(rig: Rig, components: Iterable[Component]) -> list[Counter]:
    """The counters of a rig and of these components that are in use, in their order."""
    return list(
        Counter.objects.filter(
            Q(rig=rig) | Q(component__in=[row.pk for row in components]), is_retired=False
        ).order_by("order", "pk")
    )


def displacements_of(fitted: Iterable[Installation]) -> dict[str, Decimal]:
    """What each side's pump displaces per counted stroke: the one nearest the gun. [in³]"""
    found: dict[str, Decimal] = {}
    for row in sorted(fitted, key=lambda each: each.position.order):
        moved = row.component.type.displacement_in3
        if moved and row.position.side:
            found[row.position.side] = moved
    return found


def derive(*rigs: Rig, since: datetime) -> list[Component]:
    """Bring the wear sources of whatever sat in these rigs from `since` on in line with history.

    What drives a wear follows from what sat where, which counters counted then, and which pump
    each side had; so the same sources come out in whatever order the history was entered. Leaves
    alone what a person chose. Returns the components whose sources changed; the caller holds
    their locks.
    """
    fitted: dict[int, list[Installation]] = {rig.pk: [] for rig in rigs}
    for row in (
        Installation.objects.select_related("component__type__kind", "position")
        .filter(position__rig__in=fitted)
        .order_by("position__order", "installed_at")
    ):
        fitted[row.position.rig_id].append(row)
    sat_in: dict[int, set[int]] = defaultdict(set)
    for pk, rows in fitted.items():
        for row in rows:
            sat_in[row.component_id].add(pk)
    counters: dict[int, list[Counter]] = {rig.pk: [] for rig in rigs}
    for counter in Counter.objects.filter(Q(rig__in=fitted) | Q(component__in=sat_in)).order_by(
        "order", "pk"
    ):
        for pk in {counter.rig_id} if counter.rig_id else sat_in[counter.component_id or 0]:
            counters[pk].append(counter)
    sources: dict[int, list[WearSource]] = defaultdict(list)
    for source in WearSource.objects.filter(
        Q(ended_at__isnull=True) | Q(ended_at__gte=since), installation__position__rig__in=fitted
    ).order_by("began_at", "pk"):
        sources[source.installation_id].append(source)
    changed = []
    for pk, rows in fitted.items():
        begins, wanted = _planned(rows, counters[pk], since)
        for row in rows:
            follow = _follow_by_hand if row.wear_by_hand else _follow
            if follow(row, wanted[row.pk], sources[row.pk], begins):
                changed.append(row.component)
    return changed


@dataclass(slots=True)
class _Span:
    """One plan and how long it held."""

    plan: WearPlan
    began_at: datetime
    ended_at: datetime | None

    @property
    def key(self) -> tuple[str, int, Decimal]:
        return self.plan.measure, self.plan.counter.pk, self.plan.per_count


def _planned(
    fitted: Sequence[Installation], counters: Sequence[Counter], since: datetime
) -> tuple[datetime, dict[int, list[_Span]]]:
    """What should drive the wear of each stay, from the stretch on in which `since` lies.

    Returns where that stretch begins, and the spans by installation. Between two moments at which
    something came, went, began or ceased to count, everything stays as it is.
    """
    moments = sorted(
        {
            moment
            for row in fitted
            for moment in (row.installed_at, row.removed_at)
            if moment is not None
        }
        | {
            moment
            for each in counters
            for moment in (each.started_at, each.retired_at)
            if moment is not None
        }
    )
    begins = max((moment for moment in moments if moment <= since), default=since)
    spans: dict[int, list[_Span]] = {row.pk: [] for row in fitted}
    displacements: dict[str, Decimal] = {}
    for moment, following in zip(moments, [*moments[1:], None], strict=True):
        there = [
            row
            for row in fitted
            if row.installed_at <= moment and (row.removed_at is None or row.removed_at > moment)
        ]
        # A pump that is out leaves its displacement behind: strokes without it are not to be had.
        displacements = {**displacements, **displacements_of(there)}
        if moment < begins:
            continue
        counting = [
            each
            for each in counters
            if each.started_at <= moment and (each.retired_at is None or each.retired_at > moment)
        ]
        for row in there:
            if row.wear_by_hand:
                continue
            for plan in default_plan(row.component, row.position, counting, displacements):
                _lengthen(spans[row.pk], _Span(plan, moment, following))
    return begins, spans


def _lengthen(spans: list[_Span], new: _Span) -> None:
    """Let a span that ends where this one begins go on, or begin another."""
    for span in spans:
        if span.key == new.key and span.ended_at == new.began_at:
            span.ended_at = new.ended_at
            return
    spans.append(new)


def _follow(
    installation: Installation,
    wanted: Sequence[_Span],
    sources: Sequence[WearSource],
    begins: datetime,
) -> bool:
    """Write what differs between the sources of a stay and what they should be; say whether any.

    sources: those that reach `begins` or beyond it. What came before stays as it is.
    """
    left, new = list(sources), []
    same: list[tuple[WearSource, _Span]] = []
    for span in wanted:
        source = next((each for each in left if _is_same(each, span, begins)), None)
        if source is None:
            new.append(span)
        else:
            left.remove(source)
            same.append((source, span))
    is_changed = bool(new)
    # What ends goes first: a counter drives a wear once at a time.
    for source in left:
        if source.began_at >= begins:
            source.delete()  # it never was
        elif source.ended_at is None or source.ended_at > begins:
            source.ended_at = begins
            source.save(update_fields=["ended_at"])
        else:
            continue
        is_changed = True
    for source, span in same:
        if source.ended_at != span.ended_at:
            source.ended_at = span.ended_at
            source.save(update_fields=["ended_at"])
            is_changed = True
    for span in new:
        add_sources(installation, [span.plan], at=span.began_at, until=span.ended_at)
    return is_changed


def _is_same(source: WearSource, span: _Span, begins: datetime) -> bool:
    """Whether a source is the one that a span asks for, or that it continues."""
    if (source.measure, source.counter_id, source.per_count) != span.key:
        return False
    return source.began_at == span.began_at or (
        span.began_at <= begins and source.began_at < begins
    )


def _follow_by_hand(
    installation: Installation,
    wanted: Sequence[_Span],
    sources: Sequence[WearSource],
    begins: datetime,
) -> bool:
    """What a person chose lasts as long as its stay."""
    is_changed = False
    for source in sources:
        if source.ended_at != installation.removed_at:
            source.ended_at = installation.removed_at
            source.save(update_fields=["ended_at"])
            is_changed = True
    return is_changed


def add_sources(
    installation: Installation,
    plans: Sequence[WearPlan],
    *,
    at: datetime,
    until: datetime | None = None,
) -> None:
    """Begin these wear sources; their totals follow when the component is recomputed."""
    WearSource.objects.bulk_create(
        WearSource(
            installation=installation,
            measure=plan.measure,
            counter=plan.counter,
            per_count=plan.per_count,
            began_at=at,
            ended_at=until,
        )
        for plan in plans
    )
