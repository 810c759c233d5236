"""What people do about the two sides of a rig: answer its signal, bring a service forward."""

from datetime import date, datetime
from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

from django.contrib.auth.base_user import AbstractBaseUser
from django.db import transaction

from equipment.models import (
    BroughtForward,
    Component,
    Rig,
    Service,
    SideAnswer,
    SideSignal,
)
from equipment.services import locks, sides, standing
from equipment.services.findings import open_finding
from equipment.services.pairs import FINDING_SOURCE


class SidesRefused(ValueError):
    """A signal cannot be answered as asked; its text is meant for the person."""


class NoSignal(SidesRefused):
    def __init__(self) -> None:
        super().__init__("Nothing is signalled on this rig now. Open the page again.")


class NoSuchPump(SidesRefused):
    def __init__(self) -> None:
        super().__init__("No pump of that side is fitted now.")


class DayGone(SidesRefused):
    def __init__(self) -> None:
        super().__init__("That day has gone by. Bring it forward to today or later.")


class NotOfIt(SidesRefused):
    def __init__(self, service: Service, component: Component) -> None:
        super().__init__(f"“{service}” is no service of {component}.")


class TakenOffAlready(SidesRefused):
    def __init__(self) -> None:
        super().__init__("This was taken off already.")


def set_pump_drive(*, rig: Rig, pump_drive: str, zone: ZoneInfo) -> Rig:
    """Say how the pumps of a rig are driven; what is compared follows.

    Raises ValidationError for a drive that is none of ours.
    """
    with transaction.atomic():
        fresh = locks.lock_rigs([rig.pk])[rig.pk]
        fresh.pump_drive = pump_drive
        fresh.full_clean()
        fresh.save(update_fields=["pump_drive"])
        sides.refresh([fresh], zone=zone)
        return fresh


def dismiss_signal(
    *,
    rig: Rig,
    reason: str,
    author: AbstractBaseUser,
    at: datetime,
    request_id: UUID,
    zone: ZoneInfo,
) -> SideAnswer:
    """Say that the pair is right as it runs: its baseline begins anew from now on.

    The same request_id again returns the same row. Raises NoSignal, ValidationError without a
    reason.
    """
    with transaction.atomic():
        locks.lock_rigs([rig.pk])
        if earlier := _sent(request_id):
            return earlier
        made = _answer(rig, SideAnswer.What.DISMISSED, author, at, request_id, reason=reason)
        sides.refresh([rig.pk], zone=zone)
        return made


def open_work(
    *,
    rig: Rig,
    side: str,
    text: str,
    author: AbstractBaseUser,
    at: datetime,
    request_id: UUID,
) -> SideAnswer:
    """Open found work on the pump of a side, for the signal there is.

    The same request_id again returns the same row. Raises NoSignal, NoSuchPump, and as
    `open_finding` does.
    """
    with transaction.atomic():
        locks.lock_rigs([rig.pk])
        if earlier := _sent(request_id):
            return earlier
        pump = sides.pair_of(rig).now(side)
        if pump is None:
            raise NoSuchPump
        finding = open_finding(
            text=text,
            author=author,
            at=at,
            request_id=request_id,
            component=pump,
            source_kind=FINDING_SOURCE,
            source_number=rig.pk,
        )
        return _acted(
            rig, SideAnswer.What.FOUND_WORK, author, at, request_id, reason=text, finding=finding
        )


def bring_forward_for_signal(
    *,
    rig: Rig,
    service: Service,
    component: Component,
    due_on: date,
    reason: str,
    author: AbstractBaseUser,
    at: datetime,
    request_id: UUID,
    zone: ZoneInfo,
) -> SideAnswer:
    """Bring a service of a pump forward for the signal there is.

    The same request_id again returns the same row. Raises NoSignal, and as `bring_forward` does.
    """
    with transaction.atomic():
        locks.lock_all_behind([component.pk])
        if earlier := _sent(request_id):
            return earlier
        brought = bring_forward(
            service=service,
            component=component,
            due_on=due_on,
            reason=reason,
            author=author,
            at=at,
            request_id=request_id,
            zone=zone,
        )
        what = SideAnswer.What.BROUGHT_FORWARD
        return _acted(rig, what, author, at, request_id, reason=reason, brought=brought)


def bring_forward(
    *,
    service: Service,
    component: Component,
    due_on: date,
    reason: str,
    author: AbstractBaseUser,
    at: datetime,
    request_id: UUID,
    zone: ZoneInfo,
) -> BroughtForward:
    """Want a service of a component by a day, until it is done next or this is taken off.

    One wanted already is taken off: the newest word counts. The same request_id again returns
    the same row. Raises NotOfIt, DayGone, ValidationError without a reason.
    """
    if due_on < at.astimezone(zone).date():
        raise DayGone
    with transaction.atomic():
        fresh = locks.lock_all_behind([component.pk])[component.pk]
        if earlier := BroughtForward.objects.filter(request_id=request_id).first():
            return earlier
        if service.is_retired or service.kind_id != fresh.type.kind_id:
            raise NotOfIt(service, fresh)
        if service.side not in ("", fresh.side):
            raise NotOfIt(service, fresh)
        row = BroughtForward(
            component=fresh,
            service=service,
            due_on=due_on,
            reason=reason.strip(),
            author_id=author.pk,
            at=at,
            request_id=request_id,
        )
        return standing.say(row, zone=zone)


def take_off(
    *, brought: BroughtForward, author: AbstractBaseUser, at: datetime, zone: ZoneInfo
) -> BroughtForward:
    """Want a service no sooner than its interval says, after all. Raises TakenOffAlready."""
    return standing.take_off(brought, author=author, at=at, zone=zone, gone=TakenOffAlready)


def standing_on(component: Component) -> list[BroughtForward]:
    """What is wanted sooner of a component, and was not done since."""
    rows = BroughtForward.objects.standing().order_by("due_on", "pk")
    return standing.still_meant(rows, component)


def _sent(request_id: UUID) -> SideAnswer | None:
    return SideAnswer.objects.filter(request_id=request_id).first()


def _acted(rig: Rig, *said: Any, **more: Any) -> SideAnswer:
    answer = _answer(rig, *said, **more)
    SideSignal.objects.filter(rig=rig).update(state=SideSignal.State.ACTED)
    return answer


def _answer(
    rig: Rig,
    what: str,
    author: AbstractBaseUser,
    at: datetime,
    request_id: UUID,
    **more: Any,
) -> SideAnswer:
    """Write down what was done about the signal as it stands. Raises NoSignal."""
    signal = SideSignal.objects.filter(rig=rig).first()
    if signal is None:
        raise NoSignal
    answer = SideAnswer(
        rig=rig,
        what=what,
        compared=signal.compared,
        more=signal.more,
        since=signal.since,
        size=signal.size,
        author_id=author.pk,
        at=at,
        request_id=request_id,
        **more,
    )
    answer.full_clean()
    answer.save()
    return answer
