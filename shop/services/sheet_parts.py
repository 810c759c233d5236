"""The parts of a sheet: planned, promised, taken to its tray, used, put back.

A sheet draws on the shop's bins first, then on its own rig's drawer, never on another rig's.
Taking moves parts into the sheet's tray, so that stock matches the shelf while work goes on.
"""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID, uuid5

from django.db import transaction
from django.utils.text import format_lazy
from django.utils.translation import gettext, gettext_lazy

from inventory.models import Balance, Location, Movement, Part, Reservation
from inventory.services import (
    IssueLine,
    Need,
    TransferLine,
    create_location,
    in_words,
    issue,
    reserve,
    transfer,
)
from inventory.services import release as release_promises
from shop import words
from shop.models import (
    PartEntry,
    PartsNeed,
    Person,
    RigDrawer,
    Role,
    ServiceSheet,
    SheetLine,
    SheetPart,
)
from shop.services.locking import lock_open_sheet, start_work
from shop.services.refusals import PartGone, SheetRefused, UsedMoreThanTaken, UsedNotEntered

SOURCE = "sheet"


def plan(*, sheet: ServiceSheet, author: Person, at: datetime) -> None:
    """Write what the sheet's services need, and promise it what is free.

    A whole free kit is promised as a kit; where none is free its lines are, and what is missing
    is written down as short. Smaller services that a line stands for need nothing more: the kit of
    the bigger one is for all that is done with it. To be called inside the transaction that holds
    the sheet's lock.
    """
    lines = list(
        sheet.lines.filter(version__isnull=False).select_related("version").order_by("order")
    )
    wanted: dict[int, list[PartsNeed]] = {}
    services = {line.version.service_id for line in lines if line.version}
    for need in (
        PartsNeed.objects.filter(service__in=services).select_related("part").order_by("pk")
    ):
        wanted.setdefault(need.service_id, []).append(need)
    needs: dict[Part, int] = {}
    first_line: dict[int, SheetLine] = {}
    # A service of both pumps stands on two lines and needs its parts twice.
    for line in lines:
        for need in wanted.get(line.version.service_id, []) if line.version else []:
            needs[need.part] = needs.get(need.part, 0) + need.quantity_steps
            first_line.setdefault(need.part_id, line)
    sheet.parts.filter(planned_steps__gt=0, used_steps__isnull=True).delete()
    _promise(sheet, needs, first_line, author, at)


def reserve_again(*, sheet: ServiceSheet, author: Person, at: datetime) -> None:
    """Look again for what was short, when stock has come. Raises SheetClosed."""
    with transaction.atomic():
        sheet = lock_open_sheet(sheet)
        if not in_tray(sheet):
            plan(sheet=sheet, author=author, at=at)
        else:
            _promise_the_rest(sheet, author, at)


def release(*, sheet: ServiceSheet) -> None:
    """Give back every promise made to the sheet."""
    release_promises(source_kind=SOURCE, source_number=sheet.number)


def in_tray(sheet: ServiceSheet) -> dict[int, int]:
    """What lies in the sheet's tray: part → steps."""
    if sheet.tray_id is None:
        return {}
    there: dict[int, int] = {}
    rows = Balance.objects.filter(location=sheet.tray_id, quantity_steps__gt=0)
    for part, steps in rows.values_list("part", "quantity_steps"):
        there[part] = there.get(part, 0) + steps
    return there


def promised_to(sheet: ServiceSheet) -> dict[int, int]:
    """What is promised to the sheet and not taken yet: part → steps."""
    promised: dict[int, int] = {}
    rows = Reservation.objects.filter(source_kind=SOURCE, source_number=sheet.number)
    for part, steps in rows.values_list("part", "quantity_steps"):
        promised[part] = promised.get(part, 0) + steps
    return promised


def take_parts(
    *, sheet: ServiceSheet, author: Person, at: datetime, request_id: UUID
) -> list[Movement]:
    """Move everything promised to the sheet into its tray. Sent twice, it counts once.

    Raises SheetClosed, inventory's StockRefused.
    """
    with transaction.atomic():
        sheet = lock_open_sheet(sheet)
        if earlier := list(Movement.objects.filter(request_id=request_id)):
            return earlier
        promised = (
            Reservation.objects.filter(source_kind=SOURCE, source_number=sheet.number)
            .select_related("part", "location")
            .order_by("part__number", "location__code")
        )
        lines = [(each.part, each.location, each.quantity_steps) for each in promised]
        if not lines:
            return []
        release(sheet=sheet)
        moved = _to_tray(sheet, lines, author, at, request_id)
        _promise_the_rest(sheet, author, at)
        return moved


def add_part(
    *,
    sheet: ServiceSheet,
    part: Part,
    location: Location,
    quantity_steps: int,
    author: Person,
    at: datetime,
    request_id: UUID,
    expired_reason: str = "",
) -> SheetPart:
    """Take a part that was not planned, or more of one, into the tray of the sheet.

    expired_reason: why what has expired may be used after all; only a manager may say so.
    Raises SheetClosed, SheetRefused for another rig's drawer and for a reason that is not a
    manager's, inventory's StockRefused.
    """
    if expired_reason.strip() and author.role != Role.MANAGER:
        raise SheetRefused(gettext_lazy("What has expired is used only when a manager says why."))
    with transaction.atomic():
        sheet = lock_open_sheet(sheet)
        if location.kind not in (Location.Kind.BIN, Location.Kind.DRAWER) or (
            location.kind == Location.Kind.DRAWER and location not in places_of(sheet)
        ):
            raise SheetRefused(
                format_lazy(
                    gettext_lazy("{place} is not a place this sheet may take from."),
                    place=location.code,
                )
            )
        if not Movement.objects.filter(request_id=request_id).exists():
            lines = [(part, location, quantity_steps)]
            _to_tray(sheet, lines, author, at, request_id, expired_reason)
        row, _ = SheetPart.objects.get_or_create(sheet=sheet, part=part)
        return row


def enter_used(
    *,
    sheet_part: SheetPart,
    used_steps: int,
    event_id: UUID,
    author: Person,
    at: datetime,
    recorded_at: datetime,
    written_by: Person | None = None,
) -> SheetPart:
    """Note how much of a part was used, >= 0 [steps]; the newest counts, whichever came last.

    Raises SheetClosed, SheetRefused below zero, PartGone when the part left the sheet meanwhile.
    """
    if used_steps < 0:
        raise SheetRefused(gettext_lazy("No less than nothing can be used."))
    with transaction.atomic():
        sheet = lock_open_sheet(sheet_part.sheet)
        fresh = SheetPart.objects.filter(pk=sheet_part.pk).first()
        if fresh is None:
            raise PartGone
        if PartEntry.objects.filter(event_id=event_id).exists():
            return fresh
        start_work(sheet, author=written_by or author, at=at)
        PartEntry.objects.create(
            sheet_part=fresh,
            used_steps=used_steps,
            event_id=event_id,
            author=author,
            written_by=written_by,
            at=at,
            recorded_at=recorded_at,
        )
        if not fresh.entries.filter(at__gt=at).exists():
            fresh.used_steps = used_steps
            fresh.save(update_fields=["used_steps"])
        return fresh


def check_used(sheet: ServiceSheet) -> None:
    """Refuse what does not add up before signing: UsedMoreThanTaken, UsedNotEntered."""
    tray = in_tray(sheet)
    rows = list(sheet.parts.select_related("part"))
    for row in rows:
        taken = tray.get(row.part_id, 0)
        if (row.used_steps or 0) > taken:
            raise UsedMoreThanTaken(row, taken, row.used_steps or 0)
    if unsaid := [row for row in rows if row.used_steps is None and tray.get(row.part_id)]:
        raise UsedNotEntered(unsaid)


@dataclass(frozen=True, slots=True)
class Uncovered:
    """A part of which the tray holds less than was used, or of which nobody said what was."""

    row: SheetPart
    why: str


def uncovered(sheet: ServiceSheet) -> list[Uncovered]:
    """What `check_used` would refuse, all of it, as a manager reads it afterwards."""
    tray = in_tray(sheet)
    found = []
    for row in sheet.parts.select_related("part").order_by("pk"):
        taken = tray.get(row.part_id, 0)
        lying = in_words(row.part, taken)
        if row.used_steps is None and taken:
            found.append(Uncovered(row, gettext(words.NOBODY_SAID).format(quantity=lying)))
        elif (row.used_steps or 0) > taken:
            why = gettext(words.TRAY_HELD if taken else words.NONE_IN_TRAY)
            found.append(Uncovered(row, why.format(quantity=lying)))
    return found


def issue_used(
    *, sheet: ServiceSheet, author: Person, at: datetime, request_id: UUID
) -> list[Movement]:
    """Issue from the tray what was used, as far as it holds that: from here on it is spend."""
    if sheet.tray is None:
        return []
    tray = in_tray(sheet)
    rows = sheet.parts.select_related("part").order_by("pk")
    lines = [
        IssueLine(part=row.part, location=sheet.tray, quantity_steps=steps)
        for row in rows
        if (steps := min(row.used_steps or 0, tray.get(row.part_id, 0)))
    ]
    if not lines:
        return []
    return issue(
        lines=lines,
        author=author,
        at=at,
        request_id=uuid5(request_id, "issue"),
        reason=f"used on {sheet.subject}",
        source_kind=SOURCE,
        source_number=sheet.number,
    )


def put_back(
    *, sheet: ServiceSheet, author: Person, at: datetime, request_id: UUID
) -> list[Movement]:
    """Move what is left in the tray back to where it was taken from."""
    lines = ways_back(sheet)
    if not lines:
        return []
    return transfer(
        lines=lines,
        author=author,
        at=at,
        request_id=uuid5(request_id, "put back"),
        reason=f"not used on sheet {sheet}",
        source_kind=SOURCE,
        source_number=sheet.number,
    )


def ways_back(sheet: ServiceSheet, part: Part | None = None) -> list[TransferLine]:
    """What carries all that lies in the tray, or all of a part, back to where it was taken from."""
    if sheet.tray is None:
        return []
    left = Balance.objects.filter(location=sheet.tray, quantity_steps__gt=0)
    if part is not None:
        left = left.filter(part=part)
    lines: list[TransferLine] = []
    for balance in left.select_related("part", "lot").order_by("pk"):
        lines += _way_back(sheet.tray, balance)
    return lines


def _way_back(tray: Location, balance: Balance) -> list[TransferLine]:
    """From the tray to the places it came from, the latest taken first.

    What came otherwise (a kit broken in the tray), or whose place is closed by now, goes to the
    first open bin of the shop: nobody looks for parts in the tray of a sheet that is done.
    """
    moved = (
        Movement.objects.of_source(SOURCE, tray.sheet.number)
        .filter(
            kind=Movement.Kind.TRANSFER,
            part=balance.part,
            lot=balance.lot,
            reversed_by__isnull=True,
            location__retired=False,
        )
        .exclude(location=tray)
        .select_related("location")
        .order_by("-pk")
    )
    # What was taken off the sheet again lies there already.
    back: Counter[int] = Counter()
    left = balance.quantity_steps
    ways: list[tuple[Location, int]] = []
    for movement in moved:
        if movement.quantity_steps > 0:
            back[movement.location_id] += movement.quantity_steps
            continue
        still = -movement.quantity_steps - back[movement.location_id]
        back[movement.location_id] = max(-still, 0)
        quantity = min(left, max(still, 0))
        if quantity:
            ways.append((movement.location, quantity))
            left -= quantity
    if left:
        shop_bin = Location.objects.in_use().shop_bins().order_by("code").first()
        if shop_bin is None:
            raise SheetRefused(
                format_lazy(
                    gettext_lazy("There is no bin to put {part} back to. Add one first."),
                    part=balance.part,
                )
            )
        ways.append((shop_bin, left))
    return [
        TransferLine(
            part=balance.part,
            from_location=tray,
            to_location=place,
            quantity_steps=quantity,
            lot=balance.lot,
        )
        for place, quantity in ways
    ]


def places_of(sheet: ServiceSheet) -> list[Location]:
    """Where the sheet may draw from, in order: the shop's bins, then its own rig's drawer."""
    places = list(Location.objects.shop_bins().order_by("code"))
    drawer = RigDrawer.objects.filter(rig=sheet.rig_id).select_related("location").first()
    return [*places, drawer.location] if drawer else places


def _promise_the_rest(sheet: ServiceSheet, author: Person, at: datetime) -> None:
    """Promise what is planned and not yet in the tray."""
    tray = in_tray(sheet)
    rows = sheet.parts.filter(planned_steps__gt=0).select_related("part").order_by("pk")
    missing = {row.part: row.planned_steps - tray.get(row.part_id, 0) for row in rows}
    _promise(sheet, {part: steps for part, steps in missing.items() if steps > 0}, {}, author, at)


def _promise(
    sheet: ServiceSheet,
    needs: dict[Part, int],
    lines: dict[int, SheetLine],
    author: Person,
    at: datetime,
) -> None:
    """Promise what is free of these needs; plan it, and write down what is short.

    A row's plan becomes what the tray holds of it plus what was promised or found short: so a
    kit that is not there whole turns into rows of its lines.
    """
    result = reserve(
        needs=[Need(part=part, quantity_steps=steps) for part, steps in needs.items()],
        places=places_of(sheet),
        source_kind=SOURCE,
        source_number=sheet.number,
        author=author,
        at=at,
    )
    tray = in_tray(sheet)
    rows = {row.part_id: row for row in sheet.parts.order_by("pk")}
    for row in rows.values():
        if row.planned_steps:
            row.planned_steps = min(row.planned_steps, tray.get(row.part_id, 0))
        row.short_steps = 0
    outcomes = [(each, 0) for each in result.held] + [
        (each, each.quantity_steps) for each in result.short
    ]
    for each, short_steps in outcomes:
        kit = each.for_part if each.for_part != each.part else None
        row = rows.setdefault(
            each.part.pk,
            SheetPart(
                sheet=sheet, part=each.part, for_kit=kit, line=lines.get((kit or each.part).pk)
            ),
        )
        row.planned_steps += each.quantity_steps
        row.short_steps += short_steps
    SheetPart.objects.bulk_create(row for row in rows.values() if row.pk is None)
    SheetPart.objects.bulk_update(
        [row for row in rows.values() if row.pk], ["planned_steps", "short_steps"]
    )
    sheet.parts.filter(planned_steps=0, used_steps__isnull=True).exclude(
        part__in=tray.keys()
    ).delete()


def _to_tray(
    sheet: ServiceSheet,
    lines: Sequence[tuple[Part, Location, int]],
    author: Person,
    at: datetime,
    request_id: UUID,
    expired_reason: str = "",
) -> list[Movement]:
    tray = sheet.tray
    if tray is None:
        tray = create_location(
            code=f"tray-{sheet}",
            name=f"tray of sheet {sheet}",
            kind=Location.Kind.TRAY,
            author=author,
            at=at,
        )
        sheet.tray = tray
        sheet.save(update_fields=["tray"])
    return transfer(
        lines=[
            TransferLine(part=part, from_location=place, to_location=tray, quantity_steps=quantity)
            for part, place, quantity in lines
        ],
        author=author,
        at=at,
        request_id=request_id,
        reason=f"taken for sheet {sheet}",
        expired_reason=expired_reason,
        source_kind=SOURCE,
        source_number=sheet.number,
    )
