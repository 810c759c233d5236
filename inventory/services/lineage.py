"""Which lots became which: through kits that were opened, and kits that were made."""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final
from uuid import UUID

from inventory.models import Movement

KIT_WORK: Final = (Movement.Kind.BREAK, Movement.Kind.MAKE)


@dataclass(frozen=True, slots=True)
class Passage:
    """Some of a lot went into other lots: the line that took it, and those that brought it in.

    Of a kit opened: one line out, a line in for each of its parts. Of a kit made: its line in.
    """

    out: Movement
    into: tuple[Movement, ...]


def passages(lots: Iterable[int] = (), *, into: Iterable[int] = ()) -> list[Passage]:
    """Return the passages out of some lots, or into some, oldest first; none that was undone.

    lots, into: keys of lots. Two queries.
    """
    lots, into = set(lots), set(into)
    live = Movement.objects.filter(kind__in=KIT_WORK, reversed_by__isnull=True)
    seen = live.filter(lot__in=lots, quantity_steps__lt=0) | live.filter(
        lot__in=into, quantity_steps__gt=0
    )
    by_request: dict[UUID, list[Movement]] = defaultdict(list)
    for row in (
        live.filter(request_id__in=seen.values("request_id"))
        .select_related("part", "lot", "location")
        .order_by("pk")
    ):
        by_request[row.request_id].append(row)
    found = []
    for rows in by_request.values():
        for each in _of_request(rows):
            if each.out.lot_id in lots or any(row.lot_id in into for row in each.into):
                found.append(each)
    return found


def descendants(lot: int) -> set[int]:
    """Return the keys of all lots that hold some of a lot, itself among them."""
    return _reached(lot, forwards=True)


def ancestors(lot: int) -> set[int]:
    """Return the keys of all lots that some of a lot came from, itself among them."""
    return _reached(lot, forwards=False)


def _reached(lot: int, *, forwards: bool) -> set[int]:
    reached, new = {lot}, {lot}
    while new:
        if forwards:
            met = {row.lot_id for each in passages(new) for row in each.into}
        else:
            met = {each.out.lot_id for each in passages(into=new)}
        new = met - reached
        reached |= new
    return reached


def _of_request(rows: list[Movement]) -> list[Passage]:
    """The lines of one request, in its order, as passages.

    Made, all lines out went into the one line in. A kit is opened lot by lot: first stand the lines
    that took the kits, then, in the same order, the parts of each. Parts carry the code and place
    in the queue of their kit, and a kit holds a part once: by that the next kit's begin.
    """
    out = [row for row in rows if row.quantity_steps < 0]
    into = [row for row in rows if row.quantity_steps > 0]
    if rows[0].kind == Movement.Kind.MAKE:
        return [Passage(row, tuple(into)) for row in out]
    laid: list[list[Movement]] = [[]]
    for row in into:
        last = laid[-1]
        others = last and (row.lot.code, row.lot.received_at) != (
            last[0].lot.code,
            last[0].lot.received_at,
        )
        if others or row.part_id in {each.part_id for each in last}:
            laid.append([])
        laid[-1].append(row)
    if len(laid) != len(out):  # Two lots alike in all that, with other parts: either may be it.
        laid = [[row for row in into if row.lot.code == each.lot.code] for each in out]
    return [Passage(row, tuple(parts)) for row, parts in zip(out, laid, strict=True)]
