"""Services and their versions: what is asked for, published, copied and retired.

When a service was done is in `equipment.services.renewing`.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from typing import Final, TypedDict, Unpack
from zoneinfo import ZoneInfo

from django.contrib.auth.base_user import AbstractBaseUser
from django.db import transaction
from django.db.models import Max

from equipment import due as dates
from equipment import values
from equipment.models import (
    Caution,
    Check,
    Component,
    ComponentKind,
    Postponement,
    Rig,
    Season,
    Service,
    ServiceVersion,
    Trigger,
)
from equipment.services import dues, including, locks
from equipment.services.care_refusals import OneGrid, ServiceRetired, Unclear, WholeDays
from equipment.triggers import LONGEST_SEASON_WINDOW_DAYS

FIRST_VERSION: Final = 1


@dataclass(frozen=True, slots=True)
class TriggerPlan:
    """One way in which a service falls due, as `equipment.models.Trigger`.

    measure: of `equipment.due.MEASURES`. interval: > 0; whole, but for measures of use.
    first_at: measures of use only. season: SEASON. after: AFTER. watched, low, high: VALUE.
    """

    measure: str
    interval: Decimal
    first_at: Decimal | None = None
    season: Season | None = None
    after: Service | None = None
    watched: str = ""
    low: Decimal | None = None
    high: Decimal | None = None


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
    opens: tuple[str, ...] = ()
    is_run: bool = False


class VersionFields(TypedDict, total=False):
    """What a version may say beside its triggers and checks, as `ServiceVersion`."""

    instructions: str
    rule: str
    tolerance_percent: Decimal
    early_percent: Decimal
    is_hard_limit: bool
    renews: str
    labour_minutes: int
    skill: str
    is_rebuild: bool
    second_look: bool
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
    only_rigs: Iterable[Rig] = (),
    library_code: str = "",
    triggers: Sequence[TriggerPlan] = (),
    checks: Sequence[CheckPlan] = (),
    cautions: Iterable[Caution] = (),
    includes: Iterable[Service] = (),
    **fields: Unpack[VersionFields],
) -> ServiceVersion:
    """Begin a service on every component of a kind; with a side, only of that side.

    only_rigs: only while fitted in one of these; none: in every rig.
    triggers: combined by `rule` (whichever first, unless it says all); none: never due by itself.
    includes: smaller services of the kind that are done with it.
    Raises ValidationError for a name in use or a figure out of range, and of `care_refusals`:
    WholeDays, Unclear, OneGrid, OfAnotherKind, ServiceRetired.
    """
    with transaction.atomic():
        service = Service(kind=kind, side=side, name=name, library_code=library_code, created_at=at)
        return _begin(
            service, only_rigs, triggers, checks, cautions, includes, author, at, zone, fields
        )


def copy_service(
    *,
    service: Service,
    name: str,
    author: AbstractBaseUser,
    at: datetime,
    zone: ZoneInfo,
    kind: ComponentKind | None = None,
    side: str | None = None,
    only_rigs: Iterable[Rig] | None = None,
) -> ServiceVersion:
    """Begin a service that asks for what another asks for now, to be changed on its own.

    Copied: the current version with triggers, checks, cautions and what it includes (what was
    retired since is left out), and the row of the library it came from. kind, side, only_rigs:
    None: as there; for another kind nothing is included and no measured value is watched, since
    those are of the kind. A retired service may be copied, and so comes back under a name of its
    own. What it needs of parts is the shop's to copy.
    Raises ValidationError for a name in use, ServiceRetired when it follows a retired service.
    """
    with transaction.atomic():
        original = Service.objects.select_related("kind").get(pk=service.pk)
        version = original.versions.prefetch_related("cautions").get(is_current=True)
        is_same_kind = kind is None or kind.pk == original.kind_id
        copy = Service(
            kind=original.kind if kind is None else kind,
            side=original.side if side is None else side,
            name=name,
            library_code=original.library_code,
            copied_from=original,
            created_at=at,
        )
        fields: VersionFields = {
            "instructions": version.instructions,
            "rule": version.rule,
            "tolerance_percent": version.tolerance_percent,
            "early_percent": version.early_percent,
            "is_hard_limit": version.is_hard_limit,
            "renews": version.renews,
            "labour_minutes": version.labour_minutes,
            "skill": version.skill,
            "is_rebuild": version.is_rebuild,
            "second_look": version.second_look,
            "condition_sign": version.condition_sign,
            "source": version.source,
            "basis": version.basis,
        }
        return _begin(
            copy,
            original.only_rigs.all() if only_rigs is None else only_rigs,
            [
                plan
                for plan in trigger_plans(version)
                if is_same_kind or plan.measure != dates.VALUE
            ],
            check_plans(version),
            version.cautions.all(),
            version.includes.filter(is_retired=False) if is_same_kind else [],
            author,
            at,
            zone,
            fields,
        )


def publish_version(
    *,
    service: Service,
    author: AbstractBaseUser,
    at: datetime,
    zone: ZoneInfo,
    only_rigs: Iterable[Rig] | None = None,
    triggers: Sequence[TriggerPlan] = (),
    checks: Sequence[CheckPlan] = (),
    cautions: Iterable[Caution] = (),
    includes: Iterable[Service] = (),
    **fields: Unpack[VersionFields],
) -> ServiceVersion:
    """Publish what a service asks for from now on; signed sheets keep the version they read.

    The due rows follow at once; what was renewed under an older version stays renewed. Where it
    becomes a limit of law, what was put off is taken off.
    only_rigs: None: as before. All else is said anew: what is not given is not asked for.
    Raises as `create_service` does, IncludesItself.
    """
    with transaction.atomic():
        fresh = _lock(service)
        if fresh.is_retired:
            raise ServiceRetired(fresh)
        # While its own current version still stands: a circle comes back to that.
        smaller = list(includes)
        including.refuse_circles(fresh, smaller)
        newest = fresh.versions.aggregate(newest=Max("version"))["newest"] or 0
        fresh.versions.filter(is_current=True).update(is_current=False)
        if only_rigs is not None:
            fresh.only_rigs.set(only_rigs)
        return _publish(
            fresh, newest + 1, triggers, checks, cautions, smaller, author, at, zone, fields
        )


def retire_service(
    *,
    service: Service,
    zone: ZoneInfo,
    reason: str = "",
    author: AbstractBaseUser | None = None,
    at: datetime | None = None,
) -> Service:
    """End a service: its due rows go; versions, renewals and open sheets stay as they are.

    What includes it goes on without it. Retired again, nothing changes.
    """
    with transaction.atomic():
        fresh = _lock(service)
        if fresh.is_retired:
            return fresh
        fresh.is_retired = True
        fresh.retired_because = reason
        fresh.retired_by_id = None if author is None else author.pk
        fresh.retired_at = at
        fresh.full_clean()
        fresh.save()
        _recompute_kind(fresh, zone)
        return fresh


def restore_service(*, service: Service, zone: ZoneInfo) -> Service:
    """Put a retired service back into use; it counts from when it was last done.

    In use already, nothing changes. Raises ValidationError where another has its name by now.
    """
    with transaction.atomic():
        fresh = _lock(service)
        if not fresh.is_retired:
            return fresh
        fresh.is_retired = False
        fresh.full_clean()
        fresh.save()
        _recompute_kind(fresh, zone)
        return fresh


def trigger_plans(version: ServiceVersion) -> list[TriggerPlan]:
    """The triggers of a version as plans, to publish them again."""
    rows = version.triggers.select_related("season", "after").order_by("pk")
    return [
        TriggerPlan(
            measure=row.measure,
            interval=row.interval,
            first_at=row.first_at,
            season=row.season,
            after=row.after,
            watched=row.watched,
            low=row.low,
            high=row.high,
        )
        for row in rows
    ]


def check_plans(version: ServiceVersion) -> list[CheckPlan]:
    """The checks of a version as plans, to publish them again."""
    return [
        CheckPlan(
            text=row.text,
            kind=row.kind,
            hint=row.hint,
            choices=tuple(row.choices),
            unit=row.unit,
            low=row.low,
            high=row.high,
            needs_electrician=row.needs_electrician,
            opens=tuple(row.opens),
            is_run=row.is_run,
        )
        for row in version.checks.order_by("order")
    ]


def _lock(service: Service) -> Service:
    """Lock all services of the kind: two that would include each other come one after the other."""
    rows = Service.objects.select_for_update(of=("self",)).filter(kind=service.kind_id)
    return {row.pk: row for row in rows.order_by("pk")}[service.pk]


def _begin(
    service: Service,
    only_rigs: Iterable[Rig],
    triggers: Sequence[TriggerPlan],
    checks: Sequence[CheckPlan],
    cautions: Iterable[Caution],
    includes: Iterable[Service],
    author: AbstractBaseUser,
    at: datetime,
    zone: ZoneInfo,
    fields: VersionFields,
) -> ServiceVersion:
    service.full_clean()
    service.save()
    service.only_rigs.set(only_rigs)
    return _publish(
        service, FIRST_VERSION, triggers, checks, cautions, includes, author, at, zone, fields
    )


def _publish(
    service: Service,
    number: int,
    triggers: Sequence[TriggerPlan],
    checks: Sequence[CheckPlan],
    cautions: Iterable[Caution],
    includes: Iterable[Service],
    author: AbstractBaseUser,
    at: datetime,
    zone: ZoneInfo,
    fields: VersionFields,
) -> ServiceVersion:
    smaller = list(includes)
    including.refuse_circles(service, smaller)
    version = ServiceVersion(
        service=service, version=number, author_id=author.pk, published_at=at, **fields
    )
    version.full_clean()
    _refuse_unclear(version, triggers)
    version.save()
    for plan in triggers:
        trigger = Trigger(
            version=version,
            measure=plan.measure,
            interval=plan.interval,
            first_at=plan.first_at,
            season=plan.season,
            after=plan.after,
            watched=plan.watched.strip(),
            low=plan.low,
            high=plan.high,
        )
        trigger.full_clean()
        trigger.save()
    for order, check_plan in enumerate(checks, start=1):
        check = Check(
            version=version,
            order=order,
            text=check_plan.text,
            hint=check_plan.hint,
            kind=check_plan.kind,
            choices=list(check_plan.choices),
            unit=check_plan.unit,
            low=check_plan.low,
            high=check_plan.high,
            needs_electrician=check_plan.needs_electrician,
            opens=list(check_plan.opens),
            is_run=check_plan.is_run,
        )
        if wrong := values.unsound_code_limits(check.low, check.high, check.unit):
            raise Unclear(f"“{check.text}”: {wrong}")
        check.full_clean()
        check.save()
    version.cautions.set(cautions)
    version.includes.set(smaller)
    if version.is_hard_limit:
        Postponement.objects.standing().filter(service=service).update(
            taken_off_by=author.pk, taken_off_at=at
        )
    if triggers or number > FIRST_VERSION:
        _recompute_kind(service, zone)
    return version


def _refuse_unclear(version: ServiceVersion, triggers: Sequence[TriggerPlan]) -> None:
    for plan in triggers:
        if plan.measure not in dates.USE and plan.interval != int(plan.interval):
            raise WholeDays
        if (plan.season is not None) != (plan.measure == dates.SEASON):
            raise Unclear("Say which day of the year it is before.")
        if plan.measure == dates.SEASON and plan.interval > LONGEST_SEASON_WINDOW_DAYS:
            raise Unclear("Before a day of the year it counts for at most 364 days.")
        if (plan.after is not None) != (plan.measure == dates.AFTER):
            raise Unclear("Say which service it follows.")
        if plan.after is not None:
            if plan.after.pk == version.service_id:
                raise Unclear("A service cannot follow itself.")
            if plan.after.is_retired:
                raise ServiceRetired(plan.after)
        _refuse_unclear_value(plan)
    planned = {plan.measure for plan in triggers} & {dates.DAYS, dates.MONTHS}
    if version.renews == Service.Renews.FIXED and len(planned) > 1:
        raise OneGrid


def _refuse_unclear_value(plan: TriggerPlan) -> None:
    is_value = plan.measure == dates.VALUE
    has_limit = plan.low is not None or plan.high is not None
    if is_value != has_limit or is_value != bool(plan.watched.strip()):
        raise Unclear("Say what is measured, and a lower or an upper limit.")
    if plan.low is not None and plan.high is not None and plan.high < plan.low:
        raise Unclear("The upper limit lies below the lower.")


def _recompute_kind(service: Service, zone: ZoneInfo) -> None:
    pks = Component.objects.in_use().filter(type__kind=service.kind_id).values_list("pk", flat=True)
    dues.recompute(locks.lock_all_behind(pks).values(), zone=zone)
