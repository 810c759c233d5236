"""Counters: what they count, added, changed and retired."""

from datetime import datetime
from decimal import Decimal
from typing import Final
from zoneinfo import ZoneInfo

from django.db import transaction
from django.db.models import Q

from equipment.counters import plain
from equipment.models import (
    Component,
    ComponentKind,
    Counter,
    Installation,
    Measure,
    Reading,
    Rig,
    Side,
    WearSource,
)
from equipment.services import dues, locks, sides, timelines, wearing
from equipment.services.timelines import Contradiction

STROKES_OF: Final = (Counter.Counts.STROKES, Counter.Counts.CYCLES, Counter.Counts.GALLONS)


class CounterRefused(ValueError):
    """A counter cannot be changed so; its text is meant for the person.

    field: the field it is about, or nothing.
    """

    field = ""


class CountsSomethingElse(CounterRefused):
    """What was read stands for something: it cannot become something else."""

    def __init__(self, field: str) -> None:
        self.field = field
        super().__init__(
            "It was read already, and its readings count what they counted. "
            "Retire it and add another."
        )


class FaceTooSmall(CounterRefused):
    """The face cannot show what was read on it."""

    field = "rollover"

    def __init__(self, cause: Exception) -> None:
        super().__init__(f"{cause} Some readings say otherwise.")


class StillNeeded(CounterRefused):
    """It starts again somewhere, since a reading says that it did."""

    field = "rollover"

    def __init__(self) -> None:
        super().__init__("A reading says that it rolled over, so it starts again somewhere.")


class RetiredAlready(CounterRefused):
    def __init__(self) -> None:
        super().__init__("This counter is retired already.")


class ReadLater(CounterRefused):
    """A reading is newer than the moment at which it is to cease."""

    def __init__(self, counter: Counter) -> None:
        super().__init__(
            f"{counter} was read later than that, {plain(counter.last_value)} {counter.unit}."
        )


def create_counter(
    *,
    name: str,
    counts: str,
    started_at: datetime,
    zone: ZoneInfo,
    rig: Rig | None = None,
    component: Component | None = None,
    side: str | None = None,
    kind: ComponentKind | None = None,
    display_step: Decimal = Decimal(1),
    rollover: Decimal | None = None,
    is_resettable: bool = True,
    max_per_minute: Decimal | None = None,
    first_value: Decimal = Decimal(0),
    order: int = 0,
) -> Counter:
    """Add a counter to a rig, or to a component with which it travels; components begin to wear.

    side, kind: None: read from the name, "A strokes" and "Generator hours" (`side_in_name`,
        `kind_in_name`); a counter that travels has the side of its component.
    first_value: what the face showed at started_at. [counter units]
    Raises ValidationError when the rig or component has a counter of this name.
    """
    if side is None and component is None and counts in STROKES_OF:
        side = side_in_name(name)
    if kind is None and rig is not None and counts == Counter.Counts.HOURS:
        kind = kind_in_name(name)
    with transaction.atomic():
        rigs = _lock_around(rig, component, since=started_at)
        made = Counter(
            rig=rig,
            component=component,
            name=name,
            counts=counts,
            side=side or (component.side if component else ""),
            kind=kind,
            display_step=display_step,
            rollover=rollover,
            is_resettable=is_resettable,
            max_per_minute=max_per_minute,
            first_value=first_value,
            started_at=started_at,
            order=order,
            last_value=first_value,
            last_at=started_at,
        )
        made.full_clean()
        made.save()
        dues.recompute(wearing.derive(*rigs, since=started_at), zone=zone)
        sides.refresh(rigs, zone=zone)
        return made


def change_counter(
    *,
    counter: Counter,
    name: str,
    counts: str,
    side: str,
    kind: ComponentKind | None,
    display_step: Decimal,
    rollover: Decimal | None,
    is_resettable: bool,
    max_per_minute: Decimal | None,
    zone: ZoneInfo,
) -> Counter:
    """Change how a counter is called, how its face counts, and, while it was never read, what.

    Once it was read its readings stand for what they counted, so that only one such change is
    left: single strokes and there-and-back cycles are two units of one measure, and a person may
    have taken one for the other. Then every life that it drove is worked out anew from the start.
    Raises CountsSomethingElse, FaceTooSmall, StillNeeded, ValidationError for a name in use.
    """
    with transaction.atomic():
        rigs = _lock_around(counter.rig, counter.component, since=counter.started_at)
        fresh = locks.lock_counters([counter.pk])[counter.pk]
        readings = list(Reading.objects.of(fresh))
        is_unit = {fresh.counts, counts} == {Counter.Counts.STROKES, Counter.Counts.CYCLES}
        if Reading.objects.filter(counter=fresh).exists():
            if counts != fresh.counts and not is_unit:
                raise CountsSomethingElse("counts")
            if side != fresh.side:
                raise CountsSomethingElse("side")
            if kind != fresh.kind:
                raise CountsSomethingElse("kind")
        if rollover is None and any(each.step == Reading.Step.ROLLOVER for each in readings):
            raise StillNeeded
        if counts != fresh.counts and is_unit:
            _count_by(fresh, counts)
        fresh.name, fresh.counts, fresh.side, fresh.kind = name, counts, side, kind
        fresh.display_step, fresh.rollover = display_step, rollover
        fresh.is_resettable, fresh.max_per_minute = is_resettable, max_per_minute
        fresh.full_clean()
        fresh.save()
        try:
            timelines.keep(fresh, readings)
        except Contradiction as found:
            raise FaceTooSmall(found.cause) from found
        changed = {
            row.pk: row
            for row in Component.objects.filter(
                installations__wear_sources__counter=fresh
            ).distinct()
        }
        changed |= {row.pk: row for row in wearing.derive(*rigs, since=fresh.started_at)}
        dues.recompute(changed.values(), zone=zone)
        sides.refresh(rigs, zone=zone)
        return fresh


def retire_counter(*, counter: Counter, at: datetime, zone: ZoneInfo) -> Counter:
    """End a counter at a moment: its readings and the lives it drove stay, and it is read no more.

    What wears by it goes on by the rig's other counters, if one counts the same.
    Raises RetiredAlready, ReadLater.
    """
    with transaction.atomic():
        rigs = _lock_around(counter.rig, counter.component, since=counter.started_at)
        fresh = locks.lock_counters([counter.pk])[counter.pk]
        if fresh.is_retired:
            raise RetiredAlready
        if at < fresh.last_at:
            raise ReadLater(fresh)
        fresh.is_retired, fresh.retired_at = True, at
        fresh.save(update_fields=["is_retired", "retired_at"])
        dues.recompute(wearing.derive(*rigs, since=at), zone=zone)
        sides.refresh(rigs, zone=zone)
        return fresh


def side_in_name(name: str) -> str:
    """A counter called "A strokes" or "cycles B" counts the pump of that side."""
    return next((word for word in name.split() if word in (Side.A, Side.B)), "")


def kind_in_name(name: str) -> ComponentKind | None:
    """A counter called "Generator hours" counts the hours of the generator."""
    named = name.casefold()
    kinds = [kind for kind in ComponentKind.objects.all() if named.startswith(kind.name.casefold())]
    return max(kinds, key=lambda kind: len(kind.name), default=None)


def _count_by(counter: Counter, counts: str) -> None:
    """Let each past stroke of wear follow from the other unit of counting."""
    per_count = {
        Counter.Counts.STROKES: wearing.ONE,
        Counter.Counts.CYCLES: wearing.STROKES_PER_CYCLE,
    }
    WearSource.objects.filter(
        counter=counter,
        measure=Measure.STROKES,
        per_count=per_count[Counter.Counts(counter.counts)],
        installation__wear_by_hand=False,
    ).update(per_count=per_count[Counter.Counts(counts)])


def _lock_around(rig: Rig | None, component: Component | None, *, since: datetime) -> list[Rig]:
    """Lock what a counter of this rig or component may drive from `since` on; return the rigs."""
    sat = Installation.objects.filter(Q(removed_at__isnull=True) | Q(removed_at__gt=since))
    if rig is not None:
        at_rigs = {rig.pk}
    else:
        at_rigs = set(sat.filter(component=component).values_list("position__rig_id", flat=True))
    touched = set(sat.filter(position__rig__in=at_rigs).values_list("component_id", flat=True))
    if component is not None:
        touched.add(component.pk)
    locked = locks.lock_rigs(at_rigs | locks.rigs_of(touched))
    locks.lock_components(touched)
    locks.lock_counters(locks.counters_behind(touched))
    return [locked[pk] for pk in sorted(at_rigs)]
