"""A lot that was looked at and may be used longer."""

from datetime import date, datetime
from uuid import UUID

from django.contrib.auth.base_user import AbstractBaseUser
from django.db import IntegrityError, transaction

from inventory.models import Lot, LotExtension
from inventory.services.posting import StockRefused, day_of
from inventory.shelf_life import StorageGroup, latest_extension


class NotExtended(StockRefused):
    """A use-by day that cannot be moved so; its text is meant for the person."""


def latest_until(lot: Lot) -> date | None:
    """Return the last day to which a lot may be extended; None where only a reason is asked for.

    Counted from the use-by day that it came with: extensions do not add up.
    """
    if not lot.part.storage_group or not lot.expires:
        return None
    first = lot.extensions.order_by("pk").values_list("was", flat=True).first()
    return latest_extension(first or lot.expires_on, group=StorageGroup(lot.part.storage_group))


def extend_lot(
    *,
    lot: Lot,
    until: date,
    reason: str,
    author: AbstractBaseUser,
    at: datetime,
    request_id: UUID,
) -> LotExtension:
    """Let a lot be used until a later day, and say what was looked at. Sent twice, it counts once.

    until: after its use-by day, not before the day of `at`, and for a rubber of a storage group
    not after `latest_until`.
    Raises NotExtended.
    """
    try:
        with transaction.atomic():
            lot = Lot.objects.select_for_update(of=("self",)).select_related("part").get(pk=lot.pk)
            if earlier := LotExtension.objects.filter(request_id=request_id).first():
                return earlier
            _refuse(lot, until, reason, day_of(at))
            extension = LotExtension.objects.create(
                lot=lot,
                was=lot.expires_on,
                until=until,
                reason=reason.strip(),
                author_id=author.pk,
                at=at,
                request_id=request_id,
            )
            lot.expires_on = until
            lot.save(update_fields=["expires_on"])
            return extension
    except IntegrityError:
        # The same request for another lot at the same moment meets the key.
        if earlier := LotExtension.objects.filter(request_id=request_id).first():
            return earlier
        raise


def _refuse(lot: Lot, until: date, reason: str, today: date) -> None:
    if not reason.strip():
        raise NotExtended("Say what was looked at.")
    if not lot.expires:
        raise NotExtended(f"Lot {lot.code} keeps: it has no use-by day to move.")
    if until <= lot.expires_on:
        raise NotExtended(f"It may be used until {lot.expires_on} already.")
    if until < today:
        raise NotExtended("This is past: give a day that is still to come.")
    latest = latest_until(lot)
    if latest is not None and until > latest:
        raise NotExtended(
            f"Group {lot.part.storage_group} is extended once, until {latest} at most. "
            "After that it is scrapped."
        )
