"""Stays that were entered late, and exchanges that were entered wrongly.

A component may have sat somewhere for days before anybody says so, while the program believed
another to be there; and a wrong one may have been picked. Both are put right by a row that is
added, and everything that hangs on what sat where is worked out anew in the same transaction.
"""

from datetime import datetime
from uuid import UUID
from zoneinfo import ZoneInfo

from django.contrib.auth.base_user import AbstractBaseUser
from django.db import transaction
from django.db.models import Q

from equipment.models import Component, Exchange, Installation, Position, WearSource
from equipment.services import wearing
from equipment.services.fitting import (
    ENDING,
    begin,
    end,
    fresh,
    lock_exchange,
    overlapping,
    said,
    sent_before,
    settle,
)
from equipment.services.misfits import (
    EndsBeforeItBegins,
    ExchangeUndone,
    LaterChange,
    OverlapsAnother,
    SatThere,
)


def add_stay(
    *,
    position: Position,
    component: Component,
    at: datetime,
    until: datetime,
    author: AbstractBaseUser,
    recorded_at: datetime,
    reason: str,
    request_id: UUID,
    zone: ZoneInfo,
    was_out: bool = False,
) -> Installation:
    """Say that a component sat in a position over [at, until), both in the past.

    was_out: what the program has in the position for all of that time was out, and came back.
    recorded_at: now. The same request_id again returns the same stay.
    Raises EndsBeforeItBegins, SatThere without was_out, OverlapsAnother, and as
    `install_component` does.
    """
    if until <= at:
        raise EndsBeforeItBegins
    with transaction.atomic():
        (component,) = lock_exchange(component, position=position, since=at)
        if earlier := sent_before(request_id):
            return Installation.objects.get(began_with=earlier, component=earlier.component_in)
        position = fresh(position)
        there = overlapping(Q(position=position), since=at, until=until)
        if there is not None:
            covers = there.installed_at <= at and (
                there.removed_at is None or until <= there.removed_at
            )
            if not covers or there.component_id == component.pk:
                raise OverlapsAnother(there, zone, component=component)
            if not was_out:
                raise SatThere(there, zone)
        act = said(
            position,
            there.component if there else None,
            component,
            at,
            author,
            reason,
            recorded_at,
            request_id,
            until=until,
        )
        changed = [component]
        if there is not None:
            changed.append(there.component)
            ended = {name: getattr(there, name) for name in ENDING}
            end(act, there, zone)
        made = begin(act, component, zone)
        if there is not None:
            _goes_on(there, act, ended)
        settle([*changed, *wearing.derive(position.rig, since=at)], position, zone)
        return made


def undo_exchange(
    *,
    exchange: Exchange,
    author: AbstractBaseUser,
    at: datetime,
    reason: str,
    request_id: UUID,
    zone: ZoneInfo,
) -> Exchange:
    """Undo an exchange by a row that names it: what it took out is in again, what it put in never
    was there. Readings stay: they were true. Returns that row; sent again, the same.

    at: now. Raises ExchangeUndone, LaterChange where something that happened later hangs on it.
    """
    coming = [each for each in (exchange.component_in, exchange.component_out) if each]
    with transaction.atomic():
        lock_exchange(*coming, position=exchange.position, since=exchange.at)
        if earlier := sent_before(request_id):
            return earlier
        wrong = Exchange.objects.select_related("position__rig", "component_in").get(pk=exchange.pk)
        if wrong.undoes_id is not None or Exchange.objects.filter(undoes=wrong).exists():
            raise ExchangeUndone
        _take_away(wrong, zone)
        row = Exchange.objects.create(
            position=wrong.position,
            at=wrong.at,
            until=wrong.until,
            component_out=wrong.component_out,
            component_in=wrong.component_in,
            reason=reason,
            author_id=author.pk,
            recorded_at=at,
            request_id=request_id,
            undoes=wrong,
        )
        settle([*coming, *wearing.derive(wrong.position.rig, since=wrong.at)], wrong.position, zone)
        return row


def _goes_on(there: Installation, act: Exchange, ended: dict[str, object]) -> None:
    """What was out for the time of an act sits there again from its end on, as it did before."""
    assert act.until is not None
    again = Installation.objects.create(
        component=there.component,
        position=there.position,
        installed_at=act.until,
        reason=act.reason,
        author_id=act.author_id,
        wear_by_hand=there.wear_by_hand,
        began_with=act,
        **ended,
    )
    if there.wear_by_hand:
        WearSource.objects.bulk_create(
            WearSource(
                installation=again,
                measure=source.measure,
                counter_id=source.counter_id,
                per_count=source.per_count,
                began_at=again.installed_at,
            )
            for source in there.wear_sources.all()
        )


def _take_away(wrong: Exchange, zone: ZoneInfo) -> None:
    """Take away the stays that an act began, and let go on what it ended."""
    stays = Installation.objects.select_related("component", "position__rig", "position__kind")
    begun = list(stays.filter(began_with=wrong))
    before = stays.filter(ended_with=wrong).exclude(began_with=wrong).first()
    came = next((row for row in begun if row.component_id == wrong.component_in_id), None)
    back = next((row for row in begun if row is not came), None)
    if came is not None and came.removed_at != wrong.until:
        raise LaterChange(came, zone)
    if came is not None:
        came.delete()
        _forget_side(wrong)
    if before is None:
        return
    ended: dict[str, object] = {"removed_at": None, "removed_by": None, "ended_with": None}
    ended["removed_because"] = ""
    if back is not None:
        ended = {name: getattr(back, name) for name in ENDING}
        back.delete()
    where = Q(component=before.component) | Q(position=before.position)
    where &= ~Q(pk=before.pk)
    until = ended["removed_at"]
    assert until is None or isinstance(until, datetime)
    if later := overlapping(where, since=wrong.at, until=until):
        raise LaterChange(later, zone)
    for name, value in ended.items():
        setattr(before, name, value)
    before.save(update_fields=[*ENDING])


def _forget_side(wrong: Exchange) -> None:
    """A component that got its side by sitting there by mistake has none again."""
    component = wrong.component_in
    if component and wrong.gave_side and not component.installations.exists():
        component.side = ""
        component.save(update_fields=["side"])
