"""Found work: opened by whoever finds it, open until somebody says how it was closed."""

from collections.abc import Iterable
from datetime import datetime
from uuid import UUID

from django.contrib.auth.base_user import AbstractBaseUser
from django.db import transaction
from django.db.models import F
from django.utils.translation import gettext_lazy

from equipment.models import Component, Finding, Rig, SideSignal, SideWatch
from equipment.services import locks
from equipment.services.pairs import FINDING_SOURCE as FROM_SIDES
from equipment.services.photos import attach_all_to_found


class FindingRefused(ValueError):
    """Found work cannot be changed as asked; its text is meant for the person."""


class AlreadyClosed(FindingRefused):
    def __init__(self) -> None:
        super().__init__(gettext_lazy("This found work is closed already."))


class SayHow(FindingRefused):
    def __init__(self) -> None:
        super().__init__(gettext_lazy("Say how it was put right."))


def open_finding(
    *,
    text: str,
    author: AbstractBaseUser,
    at: datetime,
    request_id: UUID,
    rig: Rig | None = None,
    component: Component | None = None,
    is_grave: bool = False,
    source_kind: str = "hand",
    source_number: int = 0,
    digests: Iterable[str] = (),
) -> Finding:
    """Write down something wrong on a rig or a component. Grave: the rig must not leave.

    digests: hashes of the stored pictures that show it.
    The same request_id again returns the same row. Raises ValidationError without a text, or
    when neither rig nor component is named; TooManyPhotos.
    """
    with transaction.atomic():
        made = Finding(
            rig=rig,
            component=component,
            text=text.strip(),
            is_grave=is_grave,
            source_kind=source_kind,
            source_number=source_number,
            opened_by_id=author.pk,
            opened_at=at,
            request_id=request_id,
        )
        made.clean_fields()
        made.validate_constraints()
        kept, _ = Finding.objects.get_or_create(
            request_id=request_id,
            defaults={
                field.name: getattr(made, field.name)
                for field in Finding._meta.concrete_fields
                if not field.primary_key
            },
        )
        attach_all_to_found(found_id=request_id, digests=digests, author=author, at=at)
        return kept


def close_finding(
    *,
    finding: Finding,
    author: AbstractBaseUser,
    at: datetime,
    closing: str,
    source_kind: str = "hand",
    source_number: int = 0,
) -> Finding:
    """Close found work, saying how it was put right. Raises AlreadyClosed, SayHow.

    Where a signal of the two sides opened it, the pair's baseline begins anew.
    """
    if not closing.strip():
        raise SayHow
    with transaction.atomic():
        of_rig = finding.source_number if finding.source_kind == FROM_SIDES else None
        locks.lock_rigs([of_rig])
        fresh = Finding.objects.select_for_update(of=("self",)).get(pk=finding.pk)
        if fresh.closed_at is not None:
            raise AlreadyClosed
        fresh.closed_by_id, fresh.closed_at, fresh.closing = author.pk, at, closing.strip()
        fresh.closed_source_kind, fresh.closed_source_number = source_kind, source_number
        fresh.save(
            update_fields=[
                "closed_by",
                "closed_at",
                "closing",
                "closed_source_kind",
                "closed_source_number",
            ]
        )
        if of_rig is not None:
            # Nothing of the pair as it is now has been seen; its next shift begins the watch.
            SideSignal.objects.filter(rig=of_rig).delete()
            SideWatch.objects.filter(rig=of_rig).update(state={})
        return fresh


def carry_finding(*, finding: Finding) -> Finding:
    """A sheet was signed without it: it stays open and counts how often. Raises AlreadyClosed."""
    carried = Finding.objects.open().filter(pk=finding.pk)
    if not carried.update(times_carried=F("times_carried") + 1):
        raise AlreadyClosed
    return Finding.objects.get(pk=finding.pk)
