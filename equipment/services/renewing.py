"""Renewals: which service was done on which component and when, and the undoing of one.

A bigger service renews the smaller ones that it includes on the same component, in the same
transaction (`Renewal.within`); undone, it takes them with it. From which day the next one counts
is worked out here, once, and kept (`Renewal.counts_from`).
"""

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

from django.contrib.auth.base_user import AbstractBaseUser
from django.db import transaction

from equipment import due as dates
from equipment.caldates import Every, renew_fixed
from equipment.models import Component, Installation, Renewal, Service, ServiceVersion, Trigger
from equipment.services import dues, including, locks, sides
from equipment.services.care_refusals import AlreadyUndone, DoesNotApply, NotYetDone
from equipment.services.readings import SLACK


@dataclass(frozen=True, slots=True)
class Done:
    """A service done on a component."""

    version: ServiceVersion
    component: Component


def record_renewal(
    *,
    version: ServiceVersion,
    component: Component,
    done_at: datetime,
    author: AbstractBaseUser,
    recorded_at: datetime,
    zone: ZoneInfo,
    source_kind: str = "hand",
    source_number: int = 0,
    reason: str = "",
    request_id: UUID | None = None,
) -> Renewal:
    """Say that a service was done on a component; its due row begins anew.

    The same request_id again returns the same renewal. Raises DoesNotApply, NotYetDone.
    """
    return record_renewals(
        done=[Done(version, component)],
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

    Returns their renewals in the order given, then those of the services that they include on
    the same component, each once; one that is given itself is not taken for included. The due
    rows are worked out once for all of them; the same request_id again returns the same renewals.
    Raises DoesNotApply, NotYetDone.
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
        children = including.children_of(each.version for each in done)
        services = _services_in(done, children)
        components = {each.component.pk for each in done}
        locked = locks.lock_all_behind(components | _followers(services, components))
        if request_id is not None:
            earlier = list(Renewal.objects.filter(request_id=request_id).order_by("pk"))
            if earlier:
                return earlier
        rigs = locks.rig_by_component(components)
        begin = _Begin(components, services, done_at, zone)
        given = {(each.component.pk, each.version.service_id) for each in done}
        renewals: list[Renewal] = []
        for each in done:
            component = locked[each.component.pk]
            if each.version.service.kind_id != component.type.kind_id:
                raise DoesNotApply(each.version.service, component)
            renewals.append(begin.renewal(each.version, component, said))
        Renewal.objects.bulk_create(renewals)
        for each, outer in zip(done, list(renewals), strict=True):
            component = locked[each.component.pk]
            made = {each.version.pk: outer}
            for version, bigger in including.inside(
                each.version, component, rig_id=rigs.get(component.pk), children=children
            ):
                key = (component.pk, version.service_id)
                if key in given:
                    continue
                given.add(key)
                row = begin.renewal(version, component, said, within=made.get(bigger.pk, outer))
                row.save()
                made[version.pk] = row
                renewals.append(row)
        dues.recompute(locked.values(), zone=zone)
        opened = {row.component_id for row in renewals if row.version.is_rebuild}
        sides.refresh_for([locked[pk] for pk in opened], zone=zone)
        return renewals


def undo_renewal(
    *, renewal: Renewal, author: AbstractBaseUser, at: datetime, reason: str, zone: ZoneInfo
) -> Renewal:
    """Undo a renewal, and those made within it, by rows that name them.

    The due rows are again as the renewals before left them; one undone already stays so. Returns
    the row that undoes this one. Raises AlreadyUndone.
    """
    with transaction.atomic():
        wrong = _with_those_inside(renewal)
        component = renewal.component_id
        followers = _followers({row.version.service_id for row in wrong}, {component})
        locked = locks.lock_all_behind({component} | followers)
        # Read again under the lock: somebody may have undone one meanwhile.
        wrong = _with_those_inside(renewal)
        if not wrong or wrong[0].pk != renewal.pk:
            raise AlreadyUndone
        rows = [
            Renewal(
                version_id=each.version_id,
                component_id=component,
                done_at=each.done_at,
                counts_from=each.counts_from,
                anchor=each.anchor,
                source_kind=each.source_kind,
                source_number=each.source_number,
                reason=reason,
                author_id=author.pk,
                recorded_at=at,
                undoes=each,
            )
            for each in wrong
        ]
        Renewal.objects.bulk_create(rows)
        dues.recompute(locked.values(), zone=zone)
        if any(each.version.is_rebuild for each in wrong):
            sides.refresh_for([locked[component]], zone=zone)
        return rows[0]


def _with_those_inside(renewal: Renewal) -> list[Renewal]:
    """The renewal and what was renewed within it, all that are in force, the outermost first."""
    rows = Renewal.objects.in_force().select_for_update(of=("self",)).select_related("version")
    found = list(rows.filter(pk=renewal.pk))
    level = found
    while level:
        level = list(rows.filter(within__in=level).order_by("pk"))
        found += level
    return found


class _Begin:
    """From which day the next one counts, for renewals of one moment."""

    def __init__(
        self,
        components: Iterable[int],
        services: Iterable[int],
        done_at: datetime,
        zone: ZoneInfo,
    ) -> None:
        self._done_on = done_at.astimezone(zone).date()
        self._before: dict[tuple[int, int], Renewal] = {}
        for row in (
            Renewal.objects.in_force()
            .filter(component__in=components, version__service__in=services, done_at__lte=done_at)
            .select_related("version")
            .order_by("done_at", "pk")
        ):
            self._before[row.component_id, row.version.service_id] = row

    def renewal(
        self,
        version: ServiceVersion,
        component: Component,
        said: dict[str, Any],
        *,
        within: Renewal | None = None,
    ) -> Renewal:
        before = self._before.get((component.pk, version.service_id))
        counts_from, anchor = counting(
            version, done_on=self._done_on, before=before, came_on=component.in_service_on
        )
        return Renewal(
            version=version,
            component=component,
            counts_from=counts_from,
            anchor=anchor,
            within=within,
            **said,
        )


def counting(
    version: ServiceVersion, *, done_on: date, before: Renewal | None, came_on: date
) -> tuple[date, date | None]:
    """Return from which day the next one counts, and the anchor of planned months.

    Floating: the day done. Fixed: the planned day that the doing satisfies, by the version's
    interval of days or months (`equipment.caldates.renew_fixed`); without one, the day done.
    Never before the day that the renewal before counts from, or the component came, so that a
    renewal makes no date earlier.
    """
    from_before = before.counts_from if before else came_on
    every = planned_every(version)
    if every is None:
        return max(done_on, from_before), None
    anchor = (before.anchor if before else None) or from_before
    planned = renew_fixed(
        counts_from=from_before, every=every, done_on=done_on, early=version.early, anchor=anchor
    )
    return planned.satisfied, anchor


def planned_every(version: ServiceVersion) -> Every | None:
    """The interval of the planned days of a version that renews fixed; None: it has none."""
    if version.renews != Service.Renews.FIXED:
        return None
    for trigger in version.triggers.all():
        if trigger.measure == dates.DAYS:
            return Every(days=int(trigger.interval))
        if trigger.measure == dates.MONTHS:
            return Every(months=int(trigger.interval))
    return None


def _services_in(done: Sequence[Done], children: including.Children) -> set[int]:
    return {each.version.service_id for each in done} | {
        child.service_id for found in children.values() for child in found
    }


def _followers(services: Collection[int], components: Collection[int]) -> set[int]:
    """Components in the same rigs with a service that falls due after one of these."""
    kinds = set(
        Trigger.objects.filter(
            after__in=services, version__is_current=True, version__service__is_retired=False
        ).values_list("version__service__kind_id", flat=True)
    )
    if not kinds:
        return set()
    return set(
        Installation.objects.filter(
            position__rig__in=locks.rigs_of(components),
            removed_at__isnull=True,
            component__type__kind__in=kinds,
        ).values_list("component_id", flat=True)
    )
