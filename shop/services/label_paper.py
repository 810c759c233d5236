"""Labels as the paper says them: rows in, `shop.paper.labels` dataclasses out."""

import re
from collections import defaultdict
from collections.abc import Callable, Iterable
from datetime import date
from typing import Final

from inventory.models import Balance, Location, Part, Reservation
from inventory.services import in_words
from shop.models import RigDrawer, ServiceSheet
from shop.paper.labels import BinLabel, DrawerList, Kept, KitTag, Label
from shop.services.drawer_targets import kept_in
from shop.services.sheet_parts import SOURCE

#: K-03: a shelf and a number on it.
_BIN: Final = re.compile(r"([A-Za-z]{1,2})[- ]?(\d{1,4})")
BINS, PARTS, KITS, DRAWERS = "bins", "parts", "kits", "drawers"
KINDS: Final = ((BINS, "Bins"), (PARTS, "Parts"), (KITS, "Kits"), (DRAWERS, "Drawer lists"))
#: More in one file is a slip.
MOST_LABELS: Final = 2_000

#: The whole address of a page of ours, by what it is of and its code.
Address = Callable[[str, str], str]


class TooManyLabels(ValueError):
    """More labels than anybody prints at once; its text is meant for the person."""

    def __init__(self) -> None:
        super().__init__(f"That is more than {MOST_LABELS:,} labels. Name a part or a place.")


def labels_of(kind: str, *, only: str, copies: int, address: Address, today: date) -> list[Label]:
    """Return the labels that were asked for, in the order of the shelves; none where nothing fits.

    kind: one of KINDS. only: a part's number, a place's code or a shelf's beginning ("K-"),
    whatever its case; empty: all. copies: of each label, >= 1.
    Raises TooManyLabels.
    """
    making = {BINS: _bins, PARTS: _parts, KITS: _kits, DRAWERS: _drawers}[kind]
    found: list[Label] = []
    for label in making(only.strip(), address, today):
        found += [label] * copies
        if len(found) > MOST_LABELS:
            raise TooManyLabels
    return found


def _places(only: str) -> tuple[list[int], bool]:
    """Places whose code is or begins so; and whether there is any."""
    exact = list(Location.objects.filter(code__iexact=only).values_list("pk", flat=True))
    if exact:
        return exact, True
    begin = list(Location.objects.filter(code__istartswith=only).values_list("pk", flat=True))
    return begin, bool(begin)


def _asked_balances(only: str) -> Iterable[Balance]:
    rows = Balance.objects.there().select_related("part", "location", "lot")
    if not only:
        return rows
    if Part.objects.filter(number__iexact=only).exists():
        return rows.filter(part__number__iexact=only)
    return rows.filter(location__in=_places(only)[0])


def _buy_at(parts: Iterable[Part]) -> dict[int, str]:
    points = Part.objects.filter(pk__in=[part.pk for part in parts]).with_policy()
    return {
        part.pk: f"buy at {_figure(part, part.reorder_point_steps)}"  # type: ignore[attr-defined]
        for part in points
        if part.order_up_to_steps  # type: ignore[attr-defined]
    }


def _figure(part: Part, steps: int) -> str:
    """A quantity as a label has room for it: pieces without their word."""
    return f"{steps:,}" if part.steps_per_unit == 1 else in_words(part, steps)


def _bins(only: str, address: Address, today: date) -> Iterable[Label]:
    """A label for each part of each bin."""
    rows = {
        (row.location.code, row.part.number): row
        for row in _asked_balances(only)
        if row.location.kind == Location.Kind.BIN
    }
    buy_at = _buy_at(row.part for row in rows.values())
    for (code, number), row in sorted(rows.items()):
        shelf = _BIN.fullmatch(code)
        yield BinLabel(
            name=row.part.name,
            part=number,
            url=address("part", number),
            shelf=shelf[1].upper() if shelf else "",
            number=shelf[2] if shelf else "",
            place="" if shelf else code,
            buy_at=buy_at.get(row.part_id, ""),
        )


def _parts(only: str, address: Address, today: date) -> Iterable[Label]:
    """A label for each part in use, or for those that lie in a place."""
    parts = Part.objects.in_use().order_by("number")
    if only:
        exact = parts.filter(number__iexact=only)
        here = parts.filter(balances__location__in=_places(only)[0], balances__quantity_steps__gt=0)
        parts = exact if exact.exists() else here.distinct()
    found = list(parts[: MOST_LABELS + 1])
    buy_at = _buy_at(found)
    for part in found:
        yield BinLabel(
            name=part.name,
            part=part.number,
            url=address("part", part.number),
            buy_at=buy_at.get(part.pk, ""),
        )


def _kits(only: str, address: Address, today: date) -> Iterable[Label]:
    """A tag for each kit there is: what is promised of a place to a sheet says so."""
    rows = [row for row in _asked_balances(only) if row.part.is_kit]
    rows.sort(key=lambda row: (row.part.number, row.location.code, row.lot.expires_on, row.lot.pk))
    rigs = dict(RigDrawer.objects.values_list("location", "rig__number"))
    waiting: dict[tuple[int, int], list[ServiceSheet]] = defaultdict(list)
    promises = Reservation.objects.filter(
        part__in={row.part_id for row in rows}, source_kind=SOURCE
    ).order_by("source_number")
    sheets = {
        sheet.number: sheet
        for sheet in ServiceSheet.objects.filter(
            number__in=[each.source_number for each in promises]
        ).select_related("rig")
    }
    for each in promises:
        if sheet := sheets.get(each.source_number):
            waiting[each.part_id, each.location_id] += [sheet] * each.quantity_steps
    trays = {
        sheet.tray_id: sheet
        for sheet in ServiceSheet.objects.filter(
            tray__in={row.location_id for row in rows}
        ).select_related("rig")
    }
    lines = {part.pk: part.lines.count() for part in {row.part for row in rows}}
    for row in rows:
        for _ in range(min(row.quantity_steps, MOST_LABELS + 1)):
            promised = waiting[row.part_id, row.location_id]
            in_date = row.lot.expires_on >= today
            sheet = trays.get(row.location_id)
            if sheet is None and in_date and promised:
                sheet = promised.pop(0)
            many = lines[row.part_id]
            of = sheet.rig.number if sheet and sheet.rig else rigs.get(row.location_id)
            yield KitTag(
                name=row.part.name,
                part=row.part.number,
                url=address("part", row.part.number),
                line=f"kit of {many} part{'' if many == 1 else 's'}, from {row.location.code}",
                rig=of,
                sheet=f"{sheet.number:04d}" if sheet else "",
                lot=row.lot.code,
                use_by=f"{row.lot.expires_on:%b %Y}" if row.lot.expires else "keeps",
            )


def _drawers(only: str, address: Address, today: date) -> Iterable[Label]:
    """The list of each drawer that rides on a rig."""
    drawers = RigDrawer.objects.select_related("rig", "location").order_by("rig__number")
    if only:
        drawers = drawers.filter(location__in=_places(only)[0])
    drawers = list(drawers)  # type: ignore[assignment]
    kept = kept_in([drawer.location for drawer in drawers])
    for drawer in drawers:
        yield DrawerList(
            rig=drawer.rig.number,
            name=f"{drawer.rig.name or f'Rig {drawer.rig.number:02d}'}, drawer "
            f"{drawer.location.code}",
            url=address("place", drawer.location.code),
            rows=tuple(
                Kept(
                    name=each.part.name,
                    quantity=_figure(each.part, each.target_steps),
                    rings=each.target_steps if each.part.steps_per_unit == 1 else 0,
                )
                for each in kept.get(drawer.location_id, ())
                if each.target_steps
            ),
        )
