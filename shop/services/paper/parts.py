"""The parts of a sheet, and where each is to be found."""

from collections import defaultdict
from zoneinfo import ZoneInfo

from django.utils.translation import gettext, gettext_noop

from inventory.models import Balance, Movement, Reservation
from inventory.services import in_words
from shop.models import PartEntry, ServiceSheet, SheetPart
from shop.paper.content import PaperPart
from shop.services.paper.entries import by_text, keyer_of
from shop.services.sheet_parts import SOURCE
from shop.spoken import own

#: Where a part lies that was taken already, in place of a bin.
IN_TRAY = gettext_noop("in the tray")


def parts_of(sheet: ServiceSheet, zone: ZoneInfo) -> tuple[PaperPart, ...]:
    rows = list(sheet.parts.select_related("part", "line__position", "for_kit").order_by("pk"))
    places = part_places(sheet, rows)
    entries = PartEntry.objects.filter(sheet_part__sheet=sheet).select_related(
        "author", "written_by"
    )
    newest = {entry.sheet_part_id: entry for entry in entries.order_by("pk")}
    papers = []
    for row in rows:
        entry = newest.get(row.pk)
        papers.append(
            PaperPart(
                name=row.part.name,
                number=row.part.number,
                bin=", ".join(sorted({own(place) for place, _ in places[row.part_id]})),
                lot=", ".join(sorted({lot for _, lot in places[row.part_id] if lot})),
                planned_text=in_words(row.part, row.planned_steps) if row.planned_steps else "0",
                position=str(row.line.position.order) if row.line and row.line.position else "",
                short_text=_short_text(row),
                used_text="" if row.used_steps is None else in_words(row.part, row.used_steps),
                kit_text=_kit_text(row),
                by_text=by_text(entry, zone=zone, keyer=keyer_of(sheet)) if entry else "",
            )
        )
    return tuple(papers)


def _short_text(row: SheetPart) -> str:
    if not row.short_steps:
        return ""
    return gettext("short {quantity}").format(quantity=in_words(row.part, row.short_steps))


def _kit_text(row: SheetPart) -> str:
    return gettext("of kit {number}").format(number=row.for_kit.number) if row.for_kit else ""


def part_places(sheet: ServiceSheet, rows: list[SheetPart]) -> dict[int, list[tuple[str, str]]]:
    """Where each part of the sheet is to be found: (place, lot), promised or in the tray.

    For a promise, the lot is the one to use first: first to expire, then first in. Of a signed
    sheet, where what was used had been taken from.
    """
    places: dict[int, list[tuple[str, str]]] = defaultdict(list)
    if sheet.state == ServiceSheet.State.SIGNED:
        taken = Movement.objects.filter(
            kind=Movement.Kind.TRANSFER,
            source_kind=SOURCE,
            source_number=sheet.number,
            quantity_steps__lt=0,
        ).exclude(location=sheet.tray_id)
        for movement in taken.select_related("location", "lot").order_by("pk"):
            places[movement.part_id].append((movement.location.code, movement.lot.code))
        return places
    promised = Reservation.objects.filter(
        source_kind=SOURCE, source_number=sheet.number
    ).select_related("location")
    wanted = {(each.part_id, each.location_id) for each in promised}
    lots: dict[tuple[int, int], str] = {}
    lying = (
        Balance.objects.filter(part__in=[row.part_id for row in rows], quantity_steps__gt=0)
        .select_related("lot", "location")
        .order_by("lot__expires_on", "lot__received_at", "lot_id")
    )
    for balance in lying:
        if (balance.part_id, balance.location_id) in wanted:
            lots.setdefault((balance.part_id, balance.location_id), balance.lot.code)
        if sheet.tray_id and balance.location_id == sheet.tray_id:
            places[balance.part_id].append((IN_TRAY, balance.lot.code))
    for each in promised:
        places[each.part_id].append(
            (each.location.code, lots.get((each.part_id, each.location_id), ""))
        )
    return places
