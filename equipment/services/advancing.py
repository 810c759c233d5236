"""Kept rows moved on by appended readings, without reading what came before.

What one reading added is added to wear, clocks and due rows. Where a boundary (an exchange, a
renewal) lies after the reading before, it was estimated and now is not: Unsettled is raised, and
the caller works the rows out anew (`dues.recompute`).
"""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from zoneinfo import ZoneInfo

from equipment.models import Counter, Due, DueClock, Wear, WearSource
from equipment.services.forecasting import settle
from equipment.services.keeping import picture, write, write_changed
from equipment.services.kept import KEPT_OF_CLOCK, MOVED_OF_DUE, flat_entries
from equipment.services.lives import KEPT_OF_WEAR, Key, pace, worn


class Unsettled(Exception):
    """An appended reading settles a boundary that was estimated until now."""


@dataclass(frozen=True, slots=True)
class Move:
    """A counter moved on by one reading: the counter after it, and what it showed before."""

    counter: Counter
    total_before: Decimal
    at_before: datetime
    is_unseen: bool


def advance(*, moves: Mapping[int, Move], sources: Sequence[WearSource], zone: ZoneInfo) -> None:
    """Move wear, clocks and due rows on by appended readings.

    moves: by counter. sources: every open source of every component that one of the counters
    drives, with their counters. Raises Unsettled before anything of these rows is written.
    """
    by_key: dict[Key, list[WearSource]] = defaultdict(list)
    since: dict[int, datetime] = {}
    for source in sources:
        component = source.installation.component_id
        by_key[component, source.measure].append(source)
        move = moves.get(source.counter_id)
        if move is None:
            continue
        if source.began_at > move.at_before:
            raise Unsettled
        source.counter = move.counter
        since[component] = min(move.at_before, since.get(component, move.at_before))

    wear: dict[Key, Wear] = {
        (row.component_id, row.measure): row for row in Wear.objects.filter(component__in=since)
    }
    entries = flat_entries(Due.objects.filter(component__in=since))
    if any(row.renewed_at > since[row.component_id] for row, _ in entries):
        raise Unsettled

    moved, unseen = _advance_wear(moves, by_key, wear)
    rows = [row for row, _ in entries]
    clocks = [clock for _, of_row in entries for clock in of_row]
    before = [picture(row, MOVED_OF_DUE) for row in rows]
    old = [picture(clock, KEPT_OF_CLOCK) for clock in clocks]
    for row, of_row in entries:
        for clock in of_row:
            if (row.component_id, clock.measure) in unseen:
                clock.is_at_least = True
    settle(entries, wear=wear, sources=by_key, zone=zone)
    write(Wear, moved, KEPT_OF_WEAR)
    write_changed(DueClock, clocks, old, KEPT_OF_CLOCK)
    write_changed(Due, rows, before, MOVED_OF_DUE)


def _advance_wear(
    moves: Mapping[int, Move], by_key: Mapping[Key, list[WearSource]], wear: Mapping[Key, Wear]
) -> tuple[list[Wear], set[Key]]:
    moved, unseen = [], set()
    for key, sources in by_key.items():
        driven = [source for source in sources if source.counter_id in moves]
        if not driven:
            continue
        row = wear[key]
        for source in driven:
            move = moves[source.counter_id]
            row.life += worn(source, move.counter.total) - worn(source, move.total_before)
            if move.is_unseen:
                row.is_at_least = True
                unseen.add(key)
        row.rate_per_day, row.read_at = pace(sources, otherwise=row.read_at)
        moved.append(row)
    return moved, unseen
