"""Waiting for parts: what is missing, since when, and whether it has come in."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from uuid import UUID

from django.db import transaction
from django.db.models import Prefetch
from django.utils.translation import gettext_lazy

from inventory.models import Location, Part
from inventory.services import in_words
from inventory.services.promises import free_steps
from shop.models import MissingPart, Person, RigDrawer, ServiceSheet, SheetPart, WaitEntry
from shop.services import clocking, sheet_parts
from shop.services.locking import lock_open_sheet
from shop.services.refusals import SheetRefused, refuse_long

#: What an entry names, in the order in which it is said.
_PARTS = MissingPart.objects.select_related("part").order_by("part__number")


@dataclass(frozen=True, slots=True)
class Missing:
    """A part that is waited for. needs: how much of it, in words. has_come: it is free now, or
    promised to the sheet."""

    part: Part
    needs: str
    has_come: bool


@dataclass(frozen=True, slots=True)
class Wait:
    """Why a sheet stands still, since when and by whom."""

    sheet: ServiceSheet
    entry: WaitEntry
    parts: tuple[Missing, ...]

    @property
    def since(self) -> datetime:
        return self.entry.at

    @property
    def has_come(self) -> bool:
        """Whether all parts that it names are here. What is only told in words stays open."""
        return bool(self.parts) and all(each.has_come for each in self.parts)

    @property
    def text(self) -> str:
        """What is missing, in one line: "packing set, 1 piece; a hose clamp"."""
        return _in_one_line(((each.part, each.needs) for each in self.parts), self.entry.missing)


@dataclass(frozen=True, slots=True)
class Waited:
    """A wait that is over: what was missing, in one line, who said so, from when until when."""

    text: str
    author: Person
    since: datetime
    until: datetime


@transaction.atomic
def wait_for_parts(
    *,
    sheet: ServiceSheet,
    missing: str,
    parts: Sequence[Part],
    event_id: UUID,
    author: Person,
    at: datetime,
    recorded_at: datetime,
) -> WaitEntry:
    """Let a sheet stand still for want of parts, and end the author's time on it.

    parts: those of the sheet that are missing; how much of each is what the sheet is short of.
    missing: what else is, in words. Sent twice with one event_id, it counts once. Raises
    SheetClosed; SheetRefused where nothing is named.
    """
    missing = missing.strip()
    sheet = lock_open_sheet(sheet)
    if earlier := WaitEntry.objects.filter(event_id=event_id).first():
        return earlier
    if not missing and not parts:
        raise SheetRefused(gettext_lazy("Say what is missing."))
    refuse_long(WaitEntry, missing=missing)
    made = WaitEntry.objects.create(
        sheet=sheet,
        missing=missing,
        event_id=event_id,
        author=author,
        at=at,
        recorded_at=recorded_at,
    )
    of_sheet = {row.part_id: row for row in sheet.parts.all()}
    MissingPart.objects.bulk_create(
        MissingPart(wait=made, part_id=part, steps=_wanted(of_sheet.get(part)))
        for part in sorted({part.pk for part in parts})
    )
    _mark(sheet)
    clocking.pause(sheet=sheet, event_id=event_id, author=author, at=at, recorded_at=recorded_at)
    return made


@transaction.atomic
def go_on(
    *,
    sheet: ServiceSheet,
    event_id: UUID,
    author: Person,
    at: datetime,
    recorded_at: datetime,
) -> WaitEntry:
    """Let a sheet that waited go on, and look again for what was short. Raises SheetClosed."""
    sheet = lock_open_sheet(sheet)
    if earlier := WaitEntry.objects.filter(event_id=event_id).first():
        return earlier
    made = WaitEntry.objects.create(
        sheet=sheet,
        goes_on=True,
        event_id=event_id,
        author=author,
        at=at,
        recorded_at=recorded_at,
    )
    _mark(sheet)
    sheet_parts.reserve_again(sheet=sheet, author=author, at=recorded_at)
    return made


def waited_of(sheet: ServiceSheet) -> list[Waited]:
    """The waits of a sheet that are over, the first one first. Two queries; one if it never waited.

    One ends when it goes on, when something else is said to be missing, or with the sheet.
    """
    entries = list(
        sheet.waits.select_related("author")
        .prefetch_related(Prefetch("parts", queryset=_PARTS))
        .order_by("at", "pk")
    )
    ends = [each.at for each in entries[1:]]
    if closed_at := sheet.signed_at or sheet.voided_at:
        ends.append(closed_at)
    return [
        Waited(
            text=_in_one_line(
                ((each.part, _needs(each.part, each.steps)) for each in entry.parts.all()),
                entry.missing,
            ),
            author=entry.author,
            since=entry.at,
            until=until,
        )
        for entry, until in zip(entries, ends, strict=False)
        if not entry.goes_on
    ]


def _needs(part: Part, steps: int) -> str:
    """How much of a part, in words; nothing where that is not known."""
    return in_words(part, steps) if steps else ""


def _in_one_line(parts: Iterable[tuple[Part, str]], missing: str) -> str:
    named = [", ".join(filter(None, (part.name, needs))) for part, needs in parts]
    return "; ".join([*named, missing] if missing else named)


def _wanted(row: SheetPart | None) -> int:
    """How much a sheet is short of, or plans; 0 where the part left it meanwhile. [steps]"""
    return (row.short_steps or row.planned_steps) if row else 0


def _mark(sheet: ServiceSheet) -> None:
    """Keep on the sheet what its newest entry says; a phone may send an older one late."""
    newest = sheet.waits.order_by("at", "pk").last()
    sheet.is_waiting_for_parts = newest is not None and not newest.goes_on
    sheet.save(update_fields=["is_waiting_for_parts"])


def waits_of(sheets: Iterable[ServiceSheet], *, today: date) -> dict[int, Wait]:
    """What each waiting sheet waits for, by its pk. Five queries, none where nothing waits.

    A sheet that somebody marked before what is missing was asked for is not in it.
    """
    waiting = {sheet.pk: sheet for sheet in sheets if sheet.is_waiting_for_parts}
    if not waiting:
        return {}
    newest: dict[int, WaitEntry] = {}
    for entry in (
        WaitEntry.objects.filter(sheet__in=waiting)
        .select_related("author")
        .prefetch_related(Prefetch("parts", queryset=_PARTS))
        .order_by("at", "pk")
    ):
        newest[entry.sheet_id] = entry
    named = {each.part_id for entry in newest.values() for each in entry.parts.all()}
    rows = {
        (row.sheet_id, row.part_id): row
        for row in SheetPart.objects.filter(sheet__in=waiting, part__in=named)
    }
    bins = list(Location.objects.shop_bins())
    drawers = {
        each.rig_id: each.location
        for each in RigDrawer.objects.filter(
            rig__in={sheet.rig_id for sheet in waiting.values() if sheet.rig_id}
        ).select_related("location")
    }
    free = free_steps(named, [*bins, *drawers.values()], today=today)

    def of(sheet: ServiceSheet, each: MissingPart) -> Missing:
        row = rows.get((sheet.pk, each.part_id))
        short = row.short_steps if row else 0
        wanted = short or each.steps
        own = drawers.get(sheet.rig_id or 0)
        places = [*bins, own] if own else bins
        there = sum(max(free[each.part_id, place.pk], 0) for place in places)
        # No longer short: it is promised or in the tray, or a whole kit was found for its lines.
        is_promised = not short and each.steps > 0
        return Missing(
            part=each.part,
            needs=_needs(each.part, wanted),
            has_come=is_promised or there >= max(wanted, 1),
        )

    return {
        pk: Wait(waiting[pk], entry, tuple(of(waiting[pk], each) for each in entry.parts.all()))
        for pk, entry in newest.items()
        if not entry.goes_on
    }
