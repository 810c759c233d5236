"""Handing a sheet to the next one, with a word."""

from datetime import datetime
from uuid import UUID

from django.db import transaction
from django.utils.text import format_lazy
from django.utils.translation import gettext_lazy

from shop.models import HandOver, Person, Role, ServiceSheet
from shop.services import clocking
from shop.services.locking import lock_open_sheet
from shop.services.refusals import SheetRefused, refuse_long


@transaction.atomic
def hand_over(
    *,
    sheet: ServiceSheet,
    words: str,
    to: Person | None,
    event_id: UUID,
    author: Person,
    at: datetime,
    recorded_at: datetime,
) -> HandOver:
    """Leave a sheet to somebody, or to whoever goes on with it, and end the author's time on it.

    words: what the next one must know; they see it first. Sent twice with one event_id, it counts
    once. Raises SheetClosed; SheetRefused without a word, or to who cannot work on it.
    """
    words = words.strip()
    sheet = lock_open_sheet(sheet)
    if earlier := HandOver.objects.filter(event_id=event_id).first():
        return earlier
    if not words:
        raise SheetRefused(gettext_lazy("Say in a word what the next one must know."))
    refuse_long(HandOver, words=words)
    if to is not None and (to.role == Role.OWNER or not to.is_active):
        raise SheetRefused(format_lazy(gettext_lazy("{person} cannot work on a sheet."), person=to))
    made = HandOver.objects.create(
        sheet=sheet,
        words=words,
        to=to,
        event_id=event_id,
        author=author,
        at=at,
        recorded_at=recorded_at,
    )
    newest = sheet.hand_overs.order_by("at", "pk").last()
    if newest == made:  # a phone may send an older one late
        sheet.technician = to
        if sheet.state == ServiceSheet.State.DRAFTED and to is not None:
            sheet.state = ServiceSheet.State.HANDED_OUT
        if to is not None:
            sheet.handed_out_at = at
        sheet.save(update_fields=["technician", "state", "handed_out_at"])
    clocking.pause(sheet=sheet, event_id=event_id, author=author, at=at, recorded_at=recorded_at)
    return made
