"""Rigs and what they are made of: created, laid up and brought back."""

import re
from datetime import date, datetime
from decimal import Decimal
from zoneinfo import ZoneInfo

from django.db import transaction

from equipment.hoses import Hose
from equipment.models import (
    Component,
    ComponentKind,
    ComponentType,
    Installation,
    Position,
    Rig,
)
from equipment.models.rigs import ZERO
from equipment.services import bookings, dues, locks
from equipment.services.misfits import AlreadyFitted, FittingRefused

#: What is said about a tag that is none.
TAG_WORDS = "Letters, digits and dashes, without a space: GN-118."


def is_tag(text: str) -> bool:
    """Whether somebody may give a component this tag: it stands in the address of its page."""
    return re.fullmatch(r"[^\s/?#%]+", text) is not None and text.casefold() != "new"


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


def set_hose(
    *, type: ComponentType, inner_diameter_in: Decimal | None, length_ft: Decimal | None
) -> ComponentType:
    """Say how wide and long one line of a make of hose is; None and None: not known.

    inner_diameter_in: > 0. [in] length_ft: > 0. [ft] Sheets that are drafted already keep what
    they say. Raises ValidationError for one without the other.
    """
    with transaction.atomic():
        fresh = ComponentType.objects.select_for_update(of=("self",)).get(pk=type.pk)
        fresh.hose_diameter_in, fresh.hose_length_ft = inner_diameter_in, length_ft
        fresh.full_clean()
        fresh.save(update_fields=["hose_diameter_in", "hose_length_ft"])
        return fresh


def hoses_of(rig: Rig | None) -> list[Hose]:
    """The hoses that are fitted in a rig, in flow order; none on the bench."""
    if rig is None:
        return []
    fitted = (
        Installation.objects.filter(
            position__rig=rig, removed_at__isnull=True, component__type__kind__icon="hose"
        )
        .select_related("component__type__kind", "position")
        .order_by("position__order")
    )
    return [
        Hose(
            name=f"{each.component.type.kind} {each.component.tag}",
            side=each.position.side,
            inner_diameter_in=each.component.type.hose_diameter_in,
            length_ft=each.component.type.hose_length_ft,
        )
        for each in fitted
    ]


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


class PositionUsed(FittingRefused):
    def __init__(self, position: Position) -> None:
        super().__init__(f"Something sat in {position.label} once, so the position stays.")


def remove_position(*, position: Position) -> None:
    """Take a position away that was never used. Raises PositionUsed."""
    with transaction.atomic():
        locks.lock_rigs([position.rig_id])
        if position.installations.exists() or position.exchanges.exists():
            raise PositionUsed(position)
        position.delete()


def lay_up_rig(*, rig: Rig, today: date, zone: ZoneInfo) -> Rig:
    """Take a rig out of work: its due rows are kept and leave the due list.

    Its dates by the calendar run on; nothing is used, so those of use stand where they were read.
    """
    return _set_laid_up(rig, True, today=today, zone=zone)


def return_rig(*, rig: Rig, today: date, zone: ZoneInfo) -> Rig:
    """Bring a rig back to work: its due rows stand in the due list again."""
    return _set_laid_up(rig, False, today=today, zone=zone)


def _set_laid_up(rig: Rig, is_laid_up: bool, *, today: date, zone: ZoneInfo) -> Rig:
    with transaction.atomic():
        components = bookings.lock_fitted(rig.pk)
        fresh = Rig.objects.get(pk=rig.pk)
        fresh.is_laid_up = is_laid_up
        fresh.save(update_fields=["is_laid_up"])
        bookings.keep_stays([fresh], today=today)
        dues.recompute(components, zone=zone)
        return fresh
