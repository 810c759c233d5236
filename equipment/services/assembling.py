"""What a manager or technician does in one go: a usual rig, an exchange with its readings."""

from collections.abc import Mapping, Sequence
from datetime import datetime
from decimal import Decimal
from typing import Final
from uuid import UUID
from zoneinfo import ZoneInfo

from django.contrib.auth.base_user import AbstractBaseUser
from django.db import transaction

from equipment.models import (
    Component,
    ComponentKind,
    Counter,
    Installation,
    Position,
    Renewal,
    Rig,
    ServiceVersion,
)
from equipment.services import locks
from equipment.services.counting import create_counter
from equipment.services.fitting import exchange_component, lock_exchange
from equipment.services.readings import NewReading, record_readings
from equipment.services.renewing import record_renewal
from equipment.services.rigs import add_position, create_rig

#: Kind and side, in flow order; a kind that the shop does not have is left out.
USUAL_POSITIONS: Final = (
    ("generator", ""),
    ("compressor", ""),
    ("dryer", ""),
    ("hydraulic unit", ""),
    ("pump", "A"),
    ("pump", "B"),
    ("preheater", "A"),
    ("preheater", "B"),
    ("heated hose", ""),
    ("gun", ""),
)
#: Key of the first value, name, what it counts.
USUAL_COUNTERS: Final = (
    ("generator_hours", "Generator hours", Counter.Counts.HOURS),
    ("compressor_hours", "Compressor hours", Counter.Counts.HOURS),
    ("a_strokes", "A strokes", Counter.Counts.STROKES),
    ("b_strokes", "B strokes", Counter.Counts.STROKES),
)
#: Hour meters show tenths.
HOURS_STEP: Final = Decimal("0.1")


def create_usual_rig(
    *,
    number: int,
    name: str,
    description: str,
    first_values: Mapping[str, Decimal],
    at: datetime,
    zone: ZoneInfo,
) -> Rig:
    """Add a rig with the positions most rigs have, empty yet, and its four counters.

    first_values: what each counter shows at `at`, by the keys of USUAL_COUNTERS. [counter units]
    Raises ValidationError as `create_rig` does.
    """
    with transaction.atomic():
        rig = create_rig(number=number, name=name, description=description, at=at)
        kinds = {kind.name: kind for kind in ComponentKind.objects.all()}
        there = [(kinds[kind], side) for kind, side in USUAL_POSITIONS if kind in kinds]
        for order, (kind, side) in enumerate(there, start=1):
            add_position(rig=rig, order=order, kind=kind, side=side)
        for order, (key, counter, counts) in enumerate(USUAL_COUNTERS):
            create_counter(
                rig=rig,
                name=counter,
                counts=counts,
                first_value=first_values[key],
                display_step=HOURS_STEP if counts == Counter.Counts.HOURS else Decimal(1),
                started_at=at,
                order=order,
                zone=zone,
            )
        return rig


def change_rig(*, rig: Rig, name: str, description: str) -> Rig:
    """Call a rig something else. Raises ValidationError for a name that is too long or empty."""
    with transaction.atomic():
        fresh = locks.lock_rigs([rig.pk])[rig.pk]
        fresh.name, fresh.description = name, description
        fresh.full_clean()
        fresh.save(update_fields=["name", "description"])
        return fresh


def exchange_with_readings(
    *,
    position: Position,
    component_in: Component | None,
    readings: Sequence[NewReading],
    at: datetime,
    recorded_at: datetime,
    author: AbstractBaseUser,
    reason: str,
    request_id: UUID,
    zone: ZoneInfo,
) -> Installation | None:
    """Exchange a component and keep what the counters showed at that moment: both, or neither.

    Readings at the moment itself make both lives exact; without them they are estimated.
    Raises as `record_readings` and `exchange_component` do.
    """
    with transaction.atomic():
        # Everything both halves touch, in the order in which everybody locks.
        lock_exchange(*([component_in] if component_in else []), position=position, since=at)
        record_readings(
            rig=position.rig,
            readings=readings,
            at=at,
            recorded_at=recorded_at,
            author=author,
            request_id=request_id,
            zone=zone,
        )
        return exchange_component(
            position=position,
            component_in=component_in,
            at=at,
            author=author,
            zone=zone,
            reason=reason,
            recorded_at=recorded_at,
            request_id=request_id,
        )


def renew_by_hand(
    *,
    version: ServiceVersion,
    component: Component,
    done_at: datetime,
    reason: str,
    author: AbstractBaseUser,
    recorded_at: datetime,
    request_id: UUID,
    zone: ZoneInfo,
) -> Renewal:
    """Say that a service was done elsewhere; the same said again is the same renewal, whether it
    was sent twice or typed twice.

    Raises as `record_renewal` does.
    """
    with transaction.atomic():
        locks.lock_all_behind([component.pk])
        there = (
            Renewal.objects.in_force()
            .filter(component=component, version__service=version.service, done_at=done_at)
            .first()
        )
        if there is not None:
            return there
        return record_renewal(
            version=version,
            component=component,
            done_at=done_at,
            author=author,
            recorded_at=recorded_at,
            zone=zone,
            reason=reason,
            request_id=request_id,
        )
