"""What sits where: components installed, removed and exchanged, without losing their lives."""

from collections.abc import Iterable, Sequence
from datetime import datetime
from zoneinfo import ZoneInfo

from django.contrib.auth.base_user import AbstractBaseUser
from django.db import transaction
from django.db.models import Q
from django.utils import timezone

from equipment.models import Component, Installation, Position, Side, WearSource
from equipment.services import dues, locks, wearing
from equipment.services.wearing import WearPlan


class FittingRefused(ValueError):
    """A component cannot go there, or come out, as asked; its text is meant for the person."""


class AlreadyFitted(FittingRefused):
    def __init__(self, installation: Installation) -> None:
        self.installation = installation
        position = installation.position
        super().__init__(
            f"{installation.component} is fitted in rig {position.rig}, {position.label}. "
            "Take it out there first."
        )


class PositionTaken(FittingRefused):
    def __init__(self, installation: Installation) -> None:
        self.installation = installation
        super().__init__(f"{installation.component} is fitted there. Exchange it instead.")


class WrongKind(FittingRefused):
    def __init__(self, component: Component, position: Position) -> None:
        super().__init__(
            f"{component} is a {component.type.kind}, and this position is for a {position.kind}."
        )


class WrongSide(FittingRefused):
    def __init__(self, component: Component, position: Position) -> None:
        carried = {Side.A: "isocyanate", Side.B: "resin"}[Side(component.side)]
        super().__init__(
            f"A {component.type.kind} that carried {carried} does not go to the "
            f"{position.side} side."
        )


class OverlapsAnother(FittingRefused):
    def __init__(self, installation: Installation, until: str) -> None:
        self.installation = installation
        super().__init__(
            f"{installation.component} sat in rig {installation.position.rig}, "
            f"{installation.position.label}, until {until}. Choose a later moment."
        )


class NothingFitted(FittingRefused):
    def __init__(self) -> None:
        super().__init__("Nothing is fitted there.")


class RemovedBeforeFitted(FittingRefused):
    def __init__(self, installation: Installation, since: str) -> None:
        self.installation = installation
        super().__init__(
            f"{installation.component} went in on {since}; it cannot come out before that."
        )


class ComponentRetired(FittingRefused):
    def __init__(self, component: Component) -> None:
        super().__init__(f"{component} is retired.")


def install_component(
    *,
    component: Component,
    position: Position,
    at: datetime,
    author: AbstractBaseUser,
    zone: ZoneInfo,
    reason: str = "",
    wear: Sequence[WearPlan] | None = None,
) -> Installation:
    """Fit a component in an empty position from `at` on, which may lie in the past.

    wear: which counters drive its wear; None: as `wearing.default_plan` says.
    A component with no side yet takes the side of the position for ever.
    Raises ComponentRetired, WrongKind, WrongSide, AlreadyFitted, PositionTaken, OverlapsAnother.
    """
    with transaction.atomic():
        (component,) = lock_exchange(component, position=position)
        position = _fresh(position)
        _refuse_taken(position)
        made = _install(component, position, at, author, zone, reason, wear)
        _settle([component, *wearing.plan_anew(position.rig, at=at)], zone)
        return made


def remove_component(
    *,
    component: Component,
    at: datetime,
    author: AbstractBaseUser,
    zone: ZoneInfo,
    reason: str = "",
) -> Installation:
    """Take a component out of where it is. Raises NothingFitted, RemovedBeforeFitted."""
    with transaction.atomic():
        component = locks.lock_all_behind([component.pk])[component.pk]
        installation = _open_installation(component)
        if installation is None:
            raise NothingFitted
        _remove(installation, at, author, zone, reason)
        _settle([component], zone)
        return installation


def exchange_component(
    *,
    position: Position,
    component_in: Component | None,
    at: datetime,
    author: AbstractBaseUser,
    zone: ZoneInfo,
    reason: str = "",
    wear: Sequence[WearPlan] | None = None,
) -> Installation | None:
    """Take out what is in a position and put another in at one instant; None: leave it empty.

    Both lives are worked out from the readings around that instant, and marked as estimated when
    none was taken at it. Returns the new installation. Raises as the two halves do.
    """
    with transaction.atomic():
        coming = [] if component_in is None else [component_in]
        locked = lock_exchange(*coming, position=position)
        position = _fresh(position)
        going = (
            Installation.objects.select_related("component", "position__rig")
            .filter(position=position, removed_at__isnull=True)
            .first()
        )
        if going is None and component_in is None:
            raise NothingFitted
        changed = []
        if going is not None:
            if component_in is not None and going.component_id == component_in.pk:
                raise AlreadyFitted(going)
            _remove(going, at, author, zone, reason)
            changed.append(going.component)
        made = None
        if component_in is not None:
            made = _install(locked[0], position, at, author, zone, reason, wear)
            changed.append(locked[0])
        changed += wearing.plan_anew(position.rig, at=at)
        _settle(changed, zone)
        return made


# --- halves -------------------------------------------------------------------------------------


def _install(
    component: Component,
    position: Position,
    at: datetime,
    author: AbstractBaseUser,
    zone: ZoneInfo,
    reason: str,
    wear: Sequence[WearPlan] | None,
) -> Installation:
    if component.is_retired:
        raise ComponentRetired(component)
    if component.type.kind_id != position.kind_id:
        raise WrongKind(component, position)
    if component.side and position.side and component.side != position.side:
        raise WrongSide(component, position)
    if there := _open_installation(component):
        raise AlreadyFitted(there)
    later = (
        Installation.objects.select_related("component", "position__rig", "position__kind")
        .filter(Q(component=component) | Q(position=position), removed_at__gt=at)
        .order_by("-removed_at")
        .first()
    )
    if later:
        raise OverlapsAnother(later, _moment(later.removed_at, zone))
    if position.side and not component.side:
        component.side = position.side
        component.save(update_fields=["side"])
    made = Installation.objects.create(
        component=component,
        position=position,
        installed_at=at,
        reason=reason,
        author_id=author.pk,
        wear_by_hand=wear is not None,
    )
    if wear is not None:
        wearing.add_sources(made, wear, at=at)
    return made


def _remove(
    installation: Installation, at: datetime, author: AbstractBaseUser, zone: ZoneInfo, reason: str
) -> None:
    if at < installation.installed_at:
        raise RemovedBeforeFitted(installation, _moment(installation.installed_at, zone))
    installation.removed_at = at
    installation.removed_by_id = author.pk
    installation.removed_because = reason
    installation.save(update_fields=["removed_at", "removed_by", "removed_because"])
    sources = WearSource.objects.filter(installation=installation)
    # A source that would begin after its component came out never was.
    sources.filter(began_at__gt=at).delete()
    sources.filter(ended_at__isnull=True).update(ended_at=at)
    sources.filter(ended_at__gt=at).update(ended_at=at)


def _settle(components: Iterable[Component], zone: ZoneInfo) -> None:
    dues.recompute(components, zone=zone)


def _open_installation(component: Component) -> Installation | None:
    return (
        Installation.objects.select_related("component", "position__rig", "position__kind")
        .filter(component=component, removed_at__isnull=True)
        .first()
    )


def _refuse_taken(position: Position) -> None:
    there = (
        Installation.objects.select_related("component")
        .filter(position=position, removed_at__isnull=True)
        .first()
    )
    if there:
        raise PositionTaken(there)


def _fresh(position: Position) -> Position:
    return Position.objects.select_related("rig", "kind").get(pk=position.pk)


def lock_exchange(*components: Component, position: Position) -> list[Component]:
    """Lock both rigs, everything fitted in the position's rig and coming in, and their counters."""
    coming = [component.pk for component in components]
    locks.lock_rigs({position.rig_id, *locks.rigs_of(coming)})
    fitted = Installation.objects.filter(
        position__rig=position.rig_id, removed_at__isnull=True
    ).values_list("component_id", flat=True)
    touched = {*coming, *fitted}
    locked = locks.lock_components(touched)
    rig_counters = position.rig.counters.values_list("pk", flat=True)
    locks.lock_counters({*rig_counters, *locks.counters_behind(touched)})
    return [locked[pk] for pk in coming]


def _moment(at: datetime | None, zone: ZoneInfo) -> str:
    if at is None:
        return "now"
    local = timezone.localtime(at, zone)
    return f"{local.day} {local:%b %Y, %H:%M}"
