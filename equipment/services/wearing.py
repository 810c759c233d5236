"""Which counter drives which wear of a fitted component, unless a person chose it."""

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


def plan_anew(rig: Rig, *, at: datetime) -> list[Component]:
    """Bring the open wear sources of a rig in line with its counters and pumps, from `at` on.

    Leaves alone what a person chose, and what hangs on a pump that is out. Returns the components
    whose sources changed. The caller holds the locks.
    """
    fitted = list(
        Installation.objects.select_related("component__type__kind", "position")
        .filter(position__rig=rig, removed_at__isnull=True)
        .order_by("position__order")
    )
    counters = counters_for(rig, [row.component for row in fitted])
    displacements = displacements_of(fitted)
    open_sources: dict[int, list[WearSource]] = {row.pk: [] for row in fitted}
    for source in WearSource.objects.select_related("counter").filter(
        installation__in=fitted, ended_at__isnull=True
    ):
        open_sources[source.installation_id].append(source)
    changed = []
    for row in fitted:
        if row.wear_by_hand:
            continue
        plans = default_plan(row.component, row.position, counters, displacements)
        if _follow(row, plans, open_sources[row.pk], displacements, max(at, row.installed_at)):
            changed.append(row.component)
    return changed


def _follow(
    installation: Installation,
    plans: Sequence[WearPlan],
    sources: Sequence[WearSource],
    displacements: Mapping[str, Decimal],
    at: datetime,
) -> bool:
    wanted = {(plan.measure, plan.counter.pk): plan for plan in plans}
    measures = {plan.measure for plan in plans}
    changed = False
    for source in sources:
        plan = wanted.pop((source.measure, source.counter_id), None)
        if plan is not None and plan.per_count == source.per_count:
            continue
        waits_for_a_pump = (
            source.measure == Measure.GALLONS
            and source.counter.counts in STROKE_COUNTS
            and source.counter.side not in displacements
        )
        stays = waits_for_a_pump or source.measure not in measures
        if plan is None and stays and not source.counter.is_retired:
            continue
        if source.began_at >= at:
            # Begun no earlier than this: it never was as it stands.
            source.delete()
        else:
            source.ended_at = at
            source.save(update_fields=["ended_at"])
        changed = True
        if plan is not None:
            wanted[source.measure, source.counter_id] = plan
    for plan in wanted.values():
        # Dated back: what the same counter drove until later, it drives anew from here.
        same = WearSource.objects.filter(
            installation=installation, measure=plan.measure, counter=plan.counter
        )
        same.filter(began_at__gte=at).delete()
        same.filter(ended_at__gt=at).update(ended_at=at)
    add_sources(installation, list(wanted.values()), at=at)
    return changed or bool(wanted)


def add_sources(installation: Installation, plans: Sequence[WearPlan], *, at: datetime) -> None:
    """Begin these wear sources; their totals follow when the component is recomputed."""
    WearSource.objects.bulk_create(
        WearSource(
            installation=installation,
            measure=plan.measure,
            counter=plan.counter,
            per_count=plan.per_count,
            began_at=at,
        )
        for plan in plans
    )
