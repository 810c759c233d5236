"""Rigs and what they are made of: created, laid up and brought back."""

from datetime import date, datetime
from decimal import Decimal
from typing import Any, Final
from zoneinfo import ZoneInfo

from django.contrib.auth.base_user import AbstractBaseUser
from django.db import transaction

from equipment.models import (
    Component,
    ComponentKind,
    ComponentType,
    Counter,
    Due,
    Installation,
    Position,
    Rig,
    Side,
)
from equipment.models.rigs import ZERO
from equipment.services import dues, locks, wearing
from equipment.services.fitting import AlreadyFitted

STROKES_OF: Final = (Counter.Counts.STROKES, Counter.Counts.CYCLES, Counter.Counts.GALLONS)


def create_rig(*, number: int, name: str, at: datetime, description: str = "") -> Rig:
    """Add a rig to the fleet. Raises ValidationError for a number in use or out of range."""
    rig = Rig(number=number, name=name, description=description, created_at=at)
    rig.full_clean()
    rig.save()
    return rig


def create_kind(
    *, name: str, icon: str = "", flow: str = "", flow_order: int = 100
) -> ComponentKind:
    """Add a kind of component. Raises ValidationError for a name in use."""
    kind = ComponentKind(name=name, icon=icon, flow=flow, flow_order=flow_order)
    kind.full_clean()
    kind.save()
    return kind


def create_type(
    *,
    kind: ComponentKind,
    name: str,
    displacement_in3: Decimal | None = None,
    max_strokes_per_minute: Decimal | None = None,
) -> ComponentType:
    """Add a make of component. Raises ValidationError for a name in use."""
    made = ComponentType(
        kind=kind,
        name=name,
        displacement_in3=displacement_in3,
        max_strokes_per_minute=max_strokes_per_minute,
    )
    made.full_clean()
    made.save()
    return made


def create_component(
    *,
    type: ComponentType,
    tag: str,
    in_service_on: date,
    at: datetime,
    zone: ZoneInfo,
    serial: str = "",
    side: str = "",
    opening_hours: Decimal = ZERO,
    opening_strokes: Decimal = ZERO,
    opening_gallons: Decimal = ZERO,
) -> Component:
    """Add a component, on the shelf, with the life it had before it came to us.

    Its services begin to count: what it was given before counts as not renewed.
    Raises ValidationError for a tag in use.
    """
    with transaction.atomic():
        made = Component(
            type=type,
            tag=tag,
            serial=serial,
            side=side,
            opening_hours=opening_hours,
            opening_strokes=opening_strokes,
            opening_gallons=opening_gallons,
            in_service_on=in_service_on,
            created_at=at,
        )
        made.full_clean()
        made.save()
        dues.recompute([made], zone=zone)
        return made


def retire_component(*, component: Component, zone: ZoneInfo) -> Component:
    """Take a component out of the fleet; its due rows go. Raises AlreadyFitted while in a rig."""
    with transaction.atomic():
        fresh = locks.lock_all_behind([component.pk])[component.pk]
        there = (
            Installation.objects.select_related("component", "position__rig", "position__kind")
            .filter(component=fresh, removed_at__isnull=True)
            .first()
        )
        if there:
            raise AlreadyFitted(there)
        fresh.is_retired = True
        fresh.save(update_fields=["is_retired"])
        dues.recompute([fresh], zone=zone)
        return fresh


def add_position(*, rig: Rig, order: int, kind: ComponentKind, side: str = "") -> Position:
    """Add a place to a rig. Raises ValidationError when there is one at this place."""
    position = Position(rig=rig, order=order, kind=kind, side=side)
    position.full_clean()
    position.save()
    return position


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
    first_value: Decimal = ZERO,
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
        at_rigs = {rig.pk} if rig else locks.rigs_of([component.pk] if component else [])
        locked = locks.lock_rigs(at_rigs)
        fitted = set(
            Installation.objects.filter(
                position__rig__in=at_rigs, removed_at__isnull=True
            ).values_list("component_id", flat=True)
        )
        locks.lock_components(fitted | ({component.pk} if component else set()))
        locks.lock_counters(locks.counters_behind(fitted))
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
        changed: list[Component] = []
        for each in locked.values():
            changed += wearing.plan_anew(each, at=started_at)
        dues.recompute(changed, zone=zone)
        return made


def side_in_name(name: str) -> str:
    """A counter called "A strokes" or "cycles B" counts the pump of that side."""
    return next((word for word in name.split() if word in (Side.A, Side.B)), "")


def kind_in_name(name: str) -> ComponentKind | None:
    """A counter called "Generator hours" counts the hours of the generator."""
    said = name.casefold()
    kinds = [kind for kind in ComponentKind.objects.all() if said.startswith(kind.name.casefold())]
    return max(kinds, key=lambda kind: len(kind.name), default=None)


def lay_up_rig(*, rig: Rig, author: AbstractBaseUser, at: datetime) -> Rig:
    """Take a rig out of work: its due rows are kept and leave the due list."""
    return _set_laid_up(rig, True)


def return_rig(*, rig: Rig, author: AbstractBaseUser, at: datetime) -> Rig:
    """Bring a rig back to work: its due rows stand in the due list again."""
    return _set_laid_up(rig, False)


def _set_laid_up(rig: Rig, is_laid_up: bool) -> Rig:
    with transaction.atomic():
        fresh: Any = locks.lock_rigs([rig.pk])[rig.pk]
        fresh.is_laid_up = is_laid_up
        fresh.save(update_fields=["is_laid_up"])
        Due.objects.filter(rig=fresh).update(is_listed=not is_laid_up)
        return fresh
