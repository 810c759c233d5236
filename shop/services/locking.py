"""The first lock of everything that happens to a sheet."""

from datetime import datetime

from shop.models import Person, ServiceSheet
from shop.services.refusals import SheetClosed


def lock_open_sheet(sheet: ServiceSheet) -> ServiceSheet:
    """The sheet, locked and fresh; first in the order of locks. Raises SheetClosed."""
    fresh = ServiceSheet.objects.select_for_update(of=("self",)).get(pk=sheet.pk)
    if not fresh.is_open:
        raise SheetClosed(fresh)
    return fresh


def start_work(sheet: ServiceSheet, *, author: Person, at: datetime) -> None:
    """The first entry puts a sheet under way, in the hands of who made it."""
    if sheet.state == ServiceSheet.State.UNDER_WAY:
        return
    sheet.state = ServiceSheet.State.UNDER_WAY
    sheet.started_at = sheet.started_at or at
    if sheet.technician_id is None:
        sheet.technician = author
    sheet.save(update_fields=["state", "started_at", "technician"])
