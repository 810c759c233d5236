"""Takes off a sheet what was added by mistake: by movements back, so that the ledger has both."""

from datetime import datetime
from uuid import UUID, uuid5

from django.db import transaction
from django.utils.text import format_lazy
from django.utils.translation import gettext_lazy

from inventory.models import Movement, Part
from inventory.services import TransferLine, transfer
from shop.models import PartEntry, Person, ServiceSheet, SheetPart
from shop.services.locking import lock_open_sheet
from shop.services.refusals import SheetRefused
from shop.services.sheet_parts import SOURCE, enter_used, in_tray, ways_back


def take_off_added(
    *, sheet: ServiceSheet, added: UUID, author: Person, at: datetime, recorded_at: datetime
) -> None:
    """Carry back what one request added to the tray; said more than once, it goes once.

    added: the request of `add_part`. What stands as used of it beyond the rest is put right too.
    Raises SheetClosed, SheetRefused where nothing came by that request, inventory's StockRefused.
    """
    with transaction.atomic():
        sheet = lock_open_sheet(sheet)
        request_id = uuid5(added, "taken off")
        if Movement.objects.filter(request_id=request_id).exists():
            return
        tray = sheet.tray
        taken = list(
            Movement.objects.of_source(SOURCE, sheet.number)
            .filter(request_id=added, kind=Movement.Kind.TRANSFER, quantity_steps__lt=0)
            .select_related("part", "location", "lot")
            .order_by("line_no")
        )
        if tray is None or not taken:
            raise SheetRefused(
                gettext_lazy("That part was not taken to the tray, so it cannot be taken off.")
            )
        lines = [
            TransferLine(each.part, tray, each.location, -each.quantity_steps, each.lot)
            for each in taken
        ]
        _carry_back(sheet, taken[0].part, lines, author, at, recorded_at, request_id)


def take_off_part(
    *,
    row: SheetPart,
    author: Person,
    at: datetime,
    recorded_at: datetime,
    request_id: UUID,
) -> None:
    """Carry back all of a part that nobody planned, to where it was taken from.

    Sent twice, it counts once. Raises SheetClosed, SheetRefused for a part that is planned,
    inventory's StockRefused.
    """
    with transaction.atomic():
        sheet = lock_open_sheet(row.sheet)
        fresh = SheetPart.objects.filter(pk=row.pk).select_related("part").first()
        if fresh is None or Movement.objects.filter(request_id=request_id).exists():
            return
        if fresh.planned_steps:
            raise SheetRefused(
                format_lazy(
                    gettext_lazy("{part} is planned: say that none was used."),
                    part=fresh.part.name,
                )
            )
        lines = ways_back(sheet, fresh.part)
        _carry_back(sheet, fresh.part, lines, author, at, recorded_at, request_id)


def _carry_back(
    sheet: ServiceSheet,
    part: Part,
    lines: list[TransferLine],
    author: Person,
    at: datetime,
    recorded_at: datetime,
    request_id: UUID,
) -> None:
    if lines:
        transfer(
            lines=lines,
            author=author,
            at=at,
            request_id=request_id,
            reason=f"taken off sheet {sheet}",
            source_kind=SOURCE,
            source_number=sheet.number,
        )
    left = in_tray(sheet).get(part.pk, 0)
    row = sheet.parts.filter(part=part).first()
    if row is None:
        return
    if (row.used_steps or 0) > left:
        enter_used(
            sheet_part=row,
            used_steps=left,
            event_id=uuid5(request_id, "used"),
            author=author,
            at=at,
            recorded_at=recorded_at,
        )
    # What nobody planned and nobody used has no row any more; what somebody entered of it stays.
    elif (
        not left and not row.planned_steps and not PartEntry.objects.filter(sheet_part=row).exists()
    ):
        row.delete()
