"""Services and their versions, and the renewals that say when they were done."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from typing import Any, Final, TypedDict, Unpack
from uuid import UUID
from zoneinfo import ZoneInfo

from django.contrib.auth.base_user import AbstractBaseUser
from django.db import transaction
from django.db.models import Max

from equipment import due as dates
from equipment.models import (
    Caution,
    Check,
    Component,
    ComponentKind,
    Renewal,
    Service,
    ServiceVersion,
    Trigger,
)
from equipment.services import dues, locks, sides
from equipment.services.readings import SLACK

TriggerPlan = tuple[str, Decimal]
FIRST_VERSION: Final = 1


class CareRefused(ValueError):
    """Something about a service cannot be as asked; its text is meant for the person."""


class WholeDays(CareRefused):
    def __init__(self) -> None:
        super().__init__("An interval in days is a whole number of days.")


class ServiceRetired(CareRefused):
    def __init__(self, service: Service) -> None:
        super().__init__(f"“{service}” is retired.")


class DoesNotApply(CareRefused):
    def __init__(self, service: Service, component: Component) -> None:
        super().__init__(f"“{service}” is no service of {component}.")


class NotYetDone(CareRefused):
    def __init__(self) -> None:
        super().__init__("That time has not come yet. Check when the service was done.")


class AlreadyUndone(CareRefused):
    def __init__(self) -> None:
        super().__init__("This renewal was undone already.")


@dataclass(frozen=True, slots=True)
class CheckPlan:
    """One check of a service version, as `equipment.models.Check`."""

    text: str
    kind: str = Check.Kind.TICK
    hint: str = ""
    choices: tuple[str, ...] = ()
    unit: str = ""
    low: Decimal | None = None
    high: Decimal | None = None
    needs_electrician: bool = False


@dataclass(frozen=True, slots=True)
class Done:
    """A service done on a component. counts_from: the day its days count from."""

    version: ServiceVersion
    component: Component
    counts_from: date


class VersionFields(TypedDict, total=False):
    """What a version may say beside its triggers and checks, as `ServiceVersion`."""

    instructions: str
    tolerance_percent: Decimal
    is_hard_limit: bool
    renews: str
    labour_minutes: int
    skill: str
    is_rebuild: bool
    condition_sign: str
    source: str
    basis: str


def create_service(
    *,
    kind: ComponentKind,
    name: str,
    author: AbstractBaseUser,
    at: datetime,
    zone: ZoneInfo,
    side: str = "",
    triggers: Sequence[TriggerPlan] = (),
    checks: Sequence[CheckPlan] = (),
    cautions: Iterable[Caution] = (),
    **fields: Unpack[VersionFields],
) -> ServiceVersion:
    """Begin a service on every component of a kind; with a side, only of that side.

    triggers: (measure, interval); of several, whichever falls first; none: never due by itself.
    Raises ValidationError for a name in use or a figure out of range, WholeDays.
    """
    with transaction.atomic():
        service = Service(kind=kind, side=side, name=name, created_at=at)
        service.full_clean()
        service.save()
        return _publish(
            service, FIRST_VERSION, triggers, checks, cautions, author, at, zone, fields
        )


def publish_version(
    *,
    service: Service,
    author: AbstractBaseUser,
    at: datetime,
    zone: ZoneInfo,
    triggers: Sequence[TriggerPlan] = (),
    checks: Sequence[CheckPlan] = (),
    cautions: Iterable[Caution] = (),
    **fields: Unpack[VersionFields],
) -> ServiceVersion:
    """Publish what a service asks for from now on; signed sheets keep the version they read.

    The due rows follow at once; what was renewed under an older version stays renewed.
    Raises as `create_service` does, ServiceRetired.
    """
    with transaction.atomic():
        fresh = Service.objects.select_for_update(of=("self",)).get(pk=service.pk)
        if fresh.is_retired:
            raise ServiceRetired(fresh)
        newest = fresh.versions.aggregate(newest=Max("version"))["newest"] or 0
        fresh.versions.filter(is_current=True).update(is_current=False)
        return _publish(fresh, newest + 1, triggers, checks, cautions, author, at, zone, fields)


def retire_service(*, service: Service, zone: ZoneInfo) -> Service:
    """End a service: its due rows go, its versions and renewals stay."""
    with transaction.atomic():
        fresh = Service.objects.select_for_update(of=("self",)).get(pk=service.pk)
        fresh.is_retired = True
        fresh.save(update_fields=["is_retired"])
        _recompute_kind(fresh, zone)
        return fresh


def record_renewal(
    *,
    version: ServiceVersion,
    component: Component,
    done_at: datetime,
    counts_from: date,
    author: AbstractBaseUser,
    recorded_at: datetime,
    zone: ZoneInfo,
    source_kind: str = "hand",
    source_number: int = 0,
    reason: str = "",
    request_id: UUID | None = None,
) -> Renewal:
    """Say that a service was done on a component; its due row begins anew.

    counts_from: the day its days count from: the day done, or planned where it renews fixed.
    The same request_id again returns the same renewal. Raises DoesNotApply, NotYetDone.
    """
    return record_renewals(
        done=[Done(version, component, counts_from)],
        done_at=done_at,
        author=author,
        recorded_at=recorded_at,
        zone=zone,
        source_kind=source_kind,
        source_number=source_number,
        reason=reason,
        request_id=request_id,
    )[0]


def record_renewals(
    *,
    done: Sequence[Done],
    done_at: datetime,
    author: AbstractBaseUser,
    recorded_at: datetime,
    zone: ZoneInfo,
    source_kind: str = "hand",
    source_number: int = 0,
    reason: str = "",
    request_id: UUID | None = None,
) -> list[Renewal]:
    """Say that several services were done at one moment, as `record_renewal` does for one.

    The due rows are worked out once for all of them; the same request_id again returns the same
    renewals. Raises DoesNotApply, NotYetDone.
    """
    if done_at > recorded_at + SLACK:
        raise NotYetDone
    said: dict[str, Any] = {
        "done_at": done_at,
        "source_kind": source_kind,
        "source_number": source_number,
        "reason": reason,
        "author": author,
        "recorded_at": recorded_at,
        "request_id": request_id,
    }
    with transaction.atomic():
        locked = locks.lock_all_behind([each.component.pk for each in done])
        if request_id is not None:
            earlier = list(Renewal.objects.filter(request_id=request_id).order_by("pk"))
            if earlier:
                return earlier
        renewals = []
        for each in done:
            fresh = locked[each.component.pk]
            if each.version.service.kind_id != fresh.type.kind_id:
                raise DoesNotApply(each.version.service, fresh)
            renewals.append(
                Renewal(
                    version=each.version,
                    component=fresh,
                    counts_from=each.counts_from,
                    **said,
                )
            )
        Renewal.objects.bulk_create(renewals)
        dues.recompute(locked.values(), zone=zone)
        opened = {each.component.pk for each in done if each.version.is_rebuild}
        sides.refresh_for([locked[pk] for pk in opened], zone=zone)
        return renewals


def undo_renewal(
    *, renewal: Renewal, author: AbstractBaseUser, at: datetime, reason: str, zone: ZoneInfo
) -> Renewal:
    """Undo a renewal by a row that names it; the due row is again as the one before left it.

    Raises AlreadyUndone.
    """
    with transaction.atomic():
        fresh = locks.lock_all_behind([renewal.component_id])[renewal.component_id]
        wrong = Renewal.objects.select_for_update(of=("self",)).get(pk=renewal.pk)
        if wrong.undoes_id is not None or Renewal.objects.filter(undoes=wrong).exists():
            raise AlreadyUndone
        row = Renewal.objects.create(
            version_id=wrong.version_id,
            component=fresh,
            done_at=wrong.done_at,
            counts_from=wrong.counts_from,
            source_kind=wrong.source_kind,
            source_number=wrong.source_number,
            reason=reason,
            author_id=author.pk,
            recorded_at=at,
            undoes=wrong,
        )
        dues.recompute([fresh], zone=zone)
        if wrong.version.is_rebuild:
            sides.refresh_for([fresh], zone=zone)
        return row


def _publish(
    service: Service,
    number: int,
    triggers: Sequence[TriggerPlan],
    checks: Sequence[CheckPlan],
    cautions: Iterable[Caution],
    author: AbstractBaseUser,
    at: datetime,
    zone: ZoneInfo,
    fields: VersionFields,
) -> ServiceVersion:
    if any(measure == dates.DAYS and interval != int(interval) for measure, interval in triggers):
        raise WholeDays
    version = ServiceVersion(
        service=service, version=number, author_id=author.pk, published_at=at, **fields
    )
    version.full_clean()
    version.save()
    for measure, interval in triggers:
        trigger = Trigger(version=version, measure=measure, interval=interval)
        trigger.full_clean()
        trigger.save()
    for order, plan in enumerate(checks, start=1):
        check = Check(
            version=version,
            order=order,
            text=plan.text,
            hint=plan.hint,
            kind=plan.kind,
            choices=list(plan.choices),
            unit=plan.unit,
            low=plan.low,
            high=plan.high,
            needs_electrician=plan.needs_electrician,
        )
        check.full_clean()
        check.save()
    version.cautions.set(cautions)
    if triggers or number > FIRST_VERSION:
        _recompute_kind(service, zone)
    return version


def _recompute_kind(service: Service, zone: ZoneInfo) -> None:
    pks = Component.objects.in_use().filter(type__kind=service.kind_id).values_list("pk", flat=True)
    dues.recompute(locks.lock_all_behind(pks).values(), zone=zone)
