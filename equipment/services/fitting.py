"""What sits where: components installed, removed and exchanged, without losing their lives."""

from collections.abc import Iterable, Sequence
from datetime import datetime, timedelta
from typing import Final
from uuid import UUID, uuid4
from zoneinfo import ZoneInfo

from django.contrib.auth.base_user import AbstractBaseUser
from django.db import transaction
from django.db.models import F, Q

from equipment.models import Component, Exchange, Installation, Position
from equipment.services import dues, locks, reckoning, sides, wearing
from equipment.services.misfits import (
    AlreadyFitted,
    ComponentRetired,
    NothingFitted,
    NotYet,
    OverlapsAnother,
    PositionTaken,
    RemovedBeforeFitted,
    WrongKind,
    WrongSide,
)
from equipment.services.wearing import WearPlan

#: How far a phone's clock may run ahead of ours before it matters.
SLACK: Final = timedelta(minutes=5)


def install_component(
    *,
    component: Component,
    position: Position,
    at: datetime,
    author: AbstractBaseUser,
    zone: ZoneInfo,
    reason: str = "",
    wear: Sequence[WearPlan] | None = None,
    recorded_at: datetime | None = None,
    request_id: UUID | None = None,
) -> Installation:
    """Fit a component in an empty position from `at` on, which may lie in the past.

    wear: which counters drive its wear; None: as `wearing.default_plan` says.
    A component with no side yet takes the side of the position for ever.
    recorded_at: now; None: as `at`. The same request_id again returns the same installation.
    Raises ComponentRetired, WrongKind, WrongSide, AlreadyFitted, PositionTaken, OverlapsAnother,
    NotYet.
    """
    with transaction.atomic():
        (component,) = lock_exchange(component, position=position, since=at)
        if earlier := sent_before(request_id):
            return Installation.objects.get(began_with=earlier, component=earlier.component_in)
        position = fresh(position)
        if there := open_in(position):
            raise PositionTaken(there)
        act = said(position, None, component, at, author, reason, recorded_at, request_id)
        made = begin(act, component, zone, wear=wear)
        settle([component, *wearing.derive(position.rig, since=at)], position, zone)
        return made


def remove_component(
    *,
    component: Component,
    at: datetime,
    author: AbstractBaseUser,
    zone: ZoneInfo,
    reason: str = "",
    recorded_at: datetime | None = None,
    request_id: UUID | None = None,
) -> Installation:
    """Take a component out of where it is. Raises NothingFitted, RemovedBeforeFitted, NotYet.

    recorded_at, request_id: as for `install_component`.
    """
    with transaction.atomic():
        there = _open_stay(component)
        if there is not None:
            lock_exchange(component, position=there.position, since=at)
        if earlier := sent_before(request_id):
            return Installation.objects.get(ended_with=earlier)
        there = _open_stay(component)
        if there is None:
            raise NothingFitted
        act = said(
            there.position, there.component, None, at, author, reason, recorded_at, request_id
        )
        end(act, there, zone)
        settle(
            [there.component, *wearing.derive(there.position.rig, since=at)], there.position, zone
        )
        return there


def exchange_component(
    *,
    position: Position,
    component_in: Component | None,
    at: datetime,
    author: AbstractBaseUser,
    zone: ZoneInfo,
    reason: str = "",
    wear: Sequence[WearPlan] | None = None,
    recorded_at: datetime | None = None,
    request_id: UUID | None = None,
) -> Installation | None:
    """Take out what is in a position and put another in at one instant; None: leave it empty.

    Both lives are worked out from the readings around that instant, and marked as estimated when
    none was taken at it. Returns the new installation; the same request_id again returns the same.
    recorded_at: as for `install_component`. Raises as the two halves do.
    """
    with transaction.atomic():
        coming = [] if component_in is None else [component_in]
        locked = lock_exchange(*coming, position=position, since=at)
        if earlier := sent_before(request_id):
            return Installation.objects.filter(
                began_with=earlier, component=earlier.component_in
            ).first()
        position = fresh(position)
        going = open_in(position)
        if going is None and component_in is None:
            raise NothingFitted
        if going is not None and component_in is not None and going.component == component_in:
            raise AlreadyFitted(going)
        act = said(
            position,
            going.component if going else None,
            locked[0] if locked else None,
            at,
            author,
            reason,
            recorded_at,
            request_id,
        )
        changed = []
        if going is not None:
            end(act, going, zone)
            changed.append(going.component)
        made = None
        if locked:
            made = begin(act, locked[0], zone, wear=wear)
            changed.append(locked[0])
        settle([*changed, *wearing.derive(position.rig, since=at)], position, zone)
        return made


# --- what they share with `equipment.services.stays` ----------------------------------------------


def said(
    position: Position,
    component_out: Component | None,
    component_in: Component | None,
    at: datetime,
    author: AbstractBaseUser,
    reason: str,
    recorded_at: datetime | None,
    request_id: UUID | None,
    *,
    until: datetime | None = None,
) -> Exchange:
    """Keep what was said, word for word. Raises NotYet."""
    now = recorded_at or until or at
    if (until or at) > now + SLACK:
        raise NotYet
    return Exchange.objects.create(
        position=position,
        at=at,
        until=until,
        component_out=component_out,
        component_in=component_in,
        gave_side=bool(component_in and position.side and not component_in.side),
        reason=reason,
        author_id=author.pk,
        recorded_at=now,
        request_id=request_id or uuid4(),
    )


def begin(
    act: Exchange,
    component: Component,
    zone: ZoneInfo,
    *,
    wear: Sequence[WearPlan] | None = None,
) -> Installation:
    """Let a component sit in the position of an act, from its moment on; until its end, if it has
    one. Raises ComponentRetired, WrongKind, WrongSide, AlreadyFitted, OverlapsAnother."""
    position = act.position
    if component.is_retired and act.until is None:
        raise ComponentRetired(component)
    if component.type.kind_id != position.kind_id:
        raise WrongKind(component, position)
    if component.side and position.side and component.side != position.side:
        raise WrongSide(component, position)
    if other := overlapping(
        Q(component=component) | Q(position=position), since=act.at, until=act.until
    ):
        if other.removed_at is None and act.until is None:
            raise AlreadyFitted(other)
        raise OverlapsAnother(other, zone, component=component)
    if act.gave_side:
        component.side = position.side
        component.save(update_fields=["side"])
    made = Installation.objects.create(
        component=component,
        position=position,
        installed_at=act.at,
        removed_at=act.until,
        reason=act.reason,
        author_id=act.author_id,
        removed_by_id=act.author_id if act.until else None,
        removed_because=act.reason if act.until else "",
        wear_by_hand=wear is not None,
        began_with=act,
        ended_with=act if act.until else None,
    )
    if wear is not None:
        wearing.add_sources(made, wear, at=act.at)
    return made


def end(act: Exchange, installation: Installation, zone: ZoneInfo) -> None:
    """Let a component come out at the moment of an act. Raises RemovedBeforeFitted."""
    if act.at < installation.installed_at:
        raise RemovedBeforeFitted(installation, zone)
    installation.removed_at = act.at
    installation.removed_by_id = act.author_id
    installation.removed_because = act.reason
    installation.ended_with = act
    installation.save(update_fields=[*ENDING])


#: What `end` sets of an installation.
ENDING: Final = ("removed_at", "removed_by", "removed_because", "ended_with")


def overlapping(where: Q, *, since: datetime, until: datetime | None) -> Installation | None:
    """The last stay that shares time with [since, until); None: without end. Empty stays do not."""
    rows = Installation.objects.select_related("component", "position__rig", "position__kind")
    rows = rows.filter(where).exclude(removed_at=F("installed_at"))
    if until is not None:
        rows = rows.filter(installed_at__lt=until)
    return (
        rows.filter(Q(removed_at__isnull=True) | Q(removed_at__gt=since))
        .order_by("-installed_at")
        .first()
    )


def sent_before(request_id: UUID | None) -> Exchange | None:
    """The act of an earlier sending of the same request."""
    if request_id is None:
        return None
    return Exchange.objects.filter(request_id=request_id).first()


def settle(components: Iterable[Component], position: Position, zone: ZoneInfo) -> None:
    """Work out lives and due rows of what an act touched, and of what follows its services."""
    dues.recompute([*components, *reckoning.followers(position.rig_id)], zone=zone)
    if position.side:
        sides.refresh([position.rig_id], zone=zone)


def open_in(position: Position) -> Installation | None:
    """What sits in a position now."""
    return (
        Installation.objects.select_related("component", "position__rig", "position__kind")
        .filter(position=position, removed_at__isnull=True)
        .first()
    )


def _open_stay(component: Component) -> Installation | None:
    return (
        Installation.objects.select_related("component", "position__rig", "position__kind")
        .filter(component=component, removed_at__isnull=True)
        .first()
    )


def fresh(position: Position) -> Position:
    """The position with its rig and kind."""
    return Position.objects.select_related("rig", "kind").get(pk=position.pk)


def lock_exchange(*components: Component, position: Position, since: datetime) -> list[Component]:
    """Lock the rigs, whatever sat in the position's rig from `since` on, what comes in, and the
    counters that all of them wear by. Returns what comes in, fresh."""
    coming = [component.pk for component in components]
    sat = Installation.objects.filter(position__rig=position.rig_id).filter(
        Q(removed_at__isnull=True) | Q(removed_at__gt=since)
    )
    touched = {*coming, *sat.values_list("component_id", flat=True)}
    locks.lock_rigs({position.rig_id, *locks.rigs_of(touched)})
    locked = locks.lock_components(touched)
    rig_counters = position.rig.counters.values_list("pk", flat=True)
    locks.lock_counters({*rig_counters, *locks.counters_behind(touched)})
    return [locked[pk] for pk in coming]
