"""A service of a component put off to a day by a person, and taken off again.

Until that day none of its dates stands earlier and nothing of it is past (`equipment.combining`);
the next renewal ends it. What the law limits is never put off.
"""

from dataclasses import dataclass
from datetime import date, datetime
from typing import Final
from uuid import UUID
from zoneinfo import ZoneInfo

from django.contrib.auth.base_user import AbstractBaseUser
from django.db import transaction

from equipment.caldates import add_years
from equipment.models import Component, Postponement, Renewal, Service, ServiceVersion
from equipment.services import including, locks, standing
from equipment.services.care_refusals import (
    DoesNotApply,
    FarAhead,
    LimitOfLaw,
    Meanwhile,
    NoLongerPutOff,
    NotAhead,
    SayWhy,
    ServiceRetired,
)

#: Further ahead it is asked about, once.
FAR_AHEAD_YEARS: Final = 1


@dataclass(frozen=True, slots=True)
class Seen:
    """What a person looked at who puts a service off, by key; 0: there was none.

    version: of the service; renewal: its last one on the component; postponement: the one that
    stood.
    """

    version: int
    renewal: int
    postponement: int


def seen_of(component: Component, service: Service) -> Seen:
    """What stands now of a service on a component. Three queries."""
    version = ServiceVersion.objects.get(service=service, is_current=True)
    done = Renewal.objects.in_force().filter(component=component, version__service=service)
    words = [row for row in standing_on(component) if row.service_id == service.pk]
    return Seen(
        version=version.pk,
        renewal=done.order_by("-done_at", "-pk").values_list("pk", flat=True).first() or 0,
        postponement=words[0].pk if words else 0,
    )


def postpone(
    *,
    component: Component,
    service: Service,
    until: date,
    reason: str,
    author: AbstractBaseUser,
    at: datetime,
    today: date,
    request_id: UUID,
    zone: ZoneInfo,
    is_sure: bool = False,
    seen: Seen | None = None,
) -> Postponement:
    """Put a service of a component off to a day; its due row follows at once.

    until: after today; more than a year ahead only with is_sure. seen: what the person looked at;
    None: nothing. Put off already, the newest word counts and the one before is taken off. The same
    request_id again returns the same row. Raises SayWhy, NotAhead, FarAhead, LimitOfLaw,
    ServiceRetired, DoesNotApply, Meanwhile; ValidationError for a reason longer than the column.
    """
    if not reason.strip():
        raise SayWhy
    with transaction.atomic():
        # Before the components, as whoever publishes a version does; that may make it a limit.
        asked = Service.objects.select_for_update(of=("self",)).get(pk=service.pk)
        fresh = locks.lock_all_behind([component.pk])[component.pk]
        if earlier := Postponement.objects.filter(request_id=request_id).first():
            return earlier
        # After the look for what was sent: sent again tomorrow, it is still the same.
        if until <= today:
            raise NotAhead
        if until > add_years(today, FAR_AHEAD_YEARS) and not is_sure:
            raise FarAhead(until)
        _refuse(asked, fresh)
        if seen is not None and seen_of(fresh, asked) != seen:
            raise Meanwhile
        row = Postponement(
            component=fresh,
            service=asked,
            until=until,
            reason=reason.strip(),
            author_id=author.pk,
            at=at,
            request_id=request_id,
        )
        return standing.say(row, zone=zone)


def take_off(
    *, postponement: Postponement, author: AbstractBaseUser, at: datetime, zone: ZoneInfo
) -> Postponement:
    """Put a service off no longer: its own dates stand again. Raises NoLongerPutOff."""
    return standing.take_off(postponement, author=author, at=at, zone=zone, gone=NoLongerPutOff)


def standing_on(component: Component) -> list[Postponement]:
    """What of a component is put off, and was neither done since nor taken off."""
    rows = Postponement.objects.standing().order_by("until", "pk")
    return standing.still_meant(rows, component)


def _refuse(service: Service, component: Component) -> None:
    if service.is_retired:
        raise ServiceRetired(service)
    rig = locks.rig_by_component([component.pk]).get(component.pk)
    if component.is_retired or not including.applies(service, component, rig):
        raise DoesNotApply(service, component)
    if ServiceVersion.objects.get(service=service, is_current=True).is_hard_limit:
        raise LimitOfLaw(service)
