"""Each column of a table by itself: what its heading says, and what its cells look like."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import islice, pairwise
from typing import Final

from equipment.shiftlogs.guessing.cells import (
    MISSING,
    Marks,
    marks,
    number,
    plain,
    read_clock,
    read_date,
    read_moment,
    unit_behind,
)
from equipment.shiftlogs.guessing.headings import Heading, read_heading, unit_of
from equipment.shiftlogs.guessing.table import Table
from equipment.shiftlogs.guessing.words import COUNT, CYCLES, DATE, EPOCH, PRESSURE, STROKES, TIME
from equipment.shiftlogs.layout import UNITS
from equipment.shiftlogs.reading.rows import RUNNING_WORDS, STOPPED_WORDS

_MISSING = frozenset(MISSING)

# Kinds of cells.
MOMENT: Final = "moment"
DAY: Final = "day"
CLOCK: Final = "clock"
NUMBER: Final = "number"
FLAG: Final = "flag"
TEXT: Final = "text"
EMPTY: Final = "empty"


@dataclass(slots=True)
class Found:
    """One column. cells: those of the rows looked at, in order; values: as numbers, None for none.

    breaks: places in cells at which rows were left out.
    """

    index: int
    name: str
    heading: Heading
    kind: str
    cells: list[str]
    breaks: frozenset[int]
    values: list[float | None] = field(default_factory=list)
    unit: str = ""

    def filled(self) -> list[float]:
        return [each for each in self.values if each is not None]

    def rises(self, *, sign: int = 1) -> bool:
        """Say whether the values behave as a counter: falls are rare. sign: -1 newest first."""
        up = down = 0
        last: float | None = None
        for at, value in enumerate(self.values):
            if at in self.breaks:
                last = None
            if value is None:
                continue
            if last is not None:
                up += sign * (value - last) > 0
                down += sign * (value - last) < 0
            last = value
        return down == 0 or down <= max(1, (up + down) // 12)

    def moves(self) -> bool:
        return len(set(self.filled()[:400])) > 1

    def moves_at_all(self) -> bool:
        """Say whether the cells are not all alike."""
        return len(set(self.cells[:400])) > 1

    def whole(self) -> bool:
        return all(each == int(each) for each in self.filled())


def look(table: Table) -> tuple[list[Found], str, str]:
    """Return the columns of a table, with a few hundred rows of each; decimal mark and grouping."""
    rows, breaks = _some(table)
    found = []
    for index in range(table.width):
        name = table.headings[index] if table.headings else ""
        heading = read_heading(name, table.units[index] if table.units else "")
        cells = [row[index] for row in rows]
        found.append(Found(index, name, heading, _kind(cells, heading), cells, breaks))
    _units_beside(found)
    decimal, grouping = writing(found, table)
    for each in found:
        if each.kind == NUMBER:
            each.values = [number(cell, decimal=decimal, grouping=grouping) for cell in each.cells]
            behind = Counter(unit_behind(cell) for cell in each.cells[:50])
            each.unit = each.heading.unit
            if not each.unit and (said := behind.most_common(1)) and said[0][0]:
                each.unit = unit_of(said[0][0])
    return found, decimal, grouping


_UNIT_HEADINGS = frozenset(
    ("unit", "units", "uom", "einheit", "einh", "unite", "unites", "unidad", "unita", "eenheid", "")
)


def _units_beside(found: Sequence[Found]) -> None:
    """Take the unit of a column from the one beside it, where each row says it there."""
    for value, beside in pairwise(found):
        words = {cell for cell in beside.cells if cell}
        if (
            value.kind == NUMBER
            and not value.heading.unit
            and beside.kind in (TEXT, FLAG)
            and plain(beside.name).strip(".:") in _UNIT_HEADINGS
            and len(words) == 1
            and (unit := unit_of(words.pop())) in UNITS
        ):
            value.heading = read_heading(value.name, unit)
            beside.heading = read_heading("")


def _some(table: Table) -> tuple[list[list[str]], frozenset[int]]:
    rows: list[list[str]] = []
    breaks: set[int] = set()

    def add(more: Sequence[list[str]]) -> None:
        breaks.add(len(rows))
        rows.extend(more)

    head = table.rows
    add(head[:160])
    if len(head) > 160:
        step = max(1, (len(head) - 160) // 8)
        for start in range(160, len(head), step):
            add(head[start : start + 12])
    for each in table.later:
        add(each[:8] if len(table.later) > 3 else each[:: max(1, len(each) // 40)])
    return rows, frozenset(breaks)


def _kind(cells: Sequence[str], heading: Heading) -> str:
    filled = [each for each in cells if each and plain(each) not in _MISSING]
    if not filled:
        return EMPTY
    tried = filled[:: max(1, len(filled) // 60)]
    most = 0.8 * len(tried)
    is_time = heading.quantity in (TIME, DATE, EPOCH) or not heading.text
    if sum(read_moment(each) is not None for each in tried) >= most:
        return MOMENT
    loud = [each for each in tried if not each.isdigit()]
    if len(loud) < len(tried) and not is_time:
        return _figure(tried, most)
    clock = sum(read_clock(each) is not None for each in tried)
    day = sum(read_date(each) is not None for each in tried)
    if len(loud) < most and not heading.text:
        # Bare digits without a heading: only the eight of a date are taken for one.
        day = sum(len(each) == 8 and read_date(each) is not None for each in tried)
        clock = 0
    if not is_time and any(each.count(".") == 1 and ":" not in each for each in tried):
        clock = sum(":" in each and read_clock(each) is not None for each in tried)
    if not heading.text and any(each.count(".") == 1 for each in tried):
        clock = sum(":" in each and read_clock(each) is not None for each in tried)
    if day >= most and day >= clock and not (clock == day and heading.quantity == TIME):
        return DAY
    if clock >= most:
        return CLOCK
    return _figure(tried, most)


def _figure(tried: Sequence[str], most: float) -> str:
    figures = sum(
        number(each, decimal=".", grouping="") is not None
        or any(
            number(each, decimal=d, grouping=g) is not None
            for d, g in ((",", ""), (".", ","), (",", "."), (".", " "), (",", " "), (".", "'"))
        )
        for each in tried
    )
    if figures >= most:
        return NUMBER
    if {each.casefold() for each in tried} <= RUNNING_WORDS | STOPPED_WORDS:
        return FLAG
    return TEXT


def writing(found: Sequence[Found], table: Table) -> tuple[str, str]:
    """Return decimal mark and grouping.

    All rows of the table are looked through, for a counter that goes past 1,000 on its way.
    """
    seen: list[tuple[Found, Marks]] = []
    for each in found:
        if each.kind == NUMBER:
            cells = each.cells[:300:2] + each.cells[300:]
            shown = " ".join(cells)
            everything = " ".join([row[each.index] for row in table.rows])
            for mark in ".,'":
                if mark in everything and mark not in shown:
                    more = (row[each.index] for row in table.rows if mark in row[each.index])
                    cells = [*cells, *islice(more, 20)]
            seen.append((each, marks(cells)))
    decimals: Counter[str] = Counter()
    groups: Counter[str] = Counter()
    for _, has in seen:
        decimals.update(has.decimal)
        groups.update(has.group)
    decimal = decimals.most_common(1)[0][0] if decimals else ""
    grouping = groups.most_common(1)[0][0] if groups else ""
    if not decimal and grouping in (",", "."):
        decimal = "." if grouping == "," else ","
    for column, has in seen:
        for mark in has.either:
            if mark in (decimal, grouping):
                continue
            if decimal:
                grouping = grouping or mark
            elif _is_grouped(column, has):
                grouping = grouping or mark
                decimal = "." if mark == "," else ","
            else:
                decimal = mark
    return decimal or ".", "" if grouping == decimal else grouping


def _is_grouped(column: Found, shown: Marks) -> bool:
    """Say whether the mark in “1.234” parts thousands, where no other number decides it."""
    if shown.bare_thousands:
        return False
    quantity = column.heading.quantity
    if shown.bare or quantity in (STROKES, CYCLES, COUNT):
        return True
    # No rig sprays at 1.2 psi, or at 8 kPa.
    return quantity == PRESSURE and column.heading.unit in ("psi", "kPa")
