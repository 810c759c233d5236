"""Lockout before the checks with the gauges that must read zero, and the way back after them."""

from collections.abc import Sequence
from dataclasses import replace
from typing import Final

from shop.paper.blocks import Area, Block, Row, Section, together
from shop.paper.cautions import english, unread
from shop.paper.content import LockoutStep, SheetPaper, ZeroGauge
from shop.paper.grid import Item, grid
from shop.paper.pen import BOX, CELL_HEIGHT, CELL_WIDTH, FRAME, HAIR, SIDE, Pen, centred
from shop.paper.rows import NOTHING
from shop.paper.type import LEADING, READ, SMALL, TEXT, Line, line, plain, wrap
from shop.paper.wording import gettext, gettext_noop

_BOX_AT: Final = 2.0  # [pt]
_INITIALS: Final = 22.0  # [pt] a box wide enough for them
_GAUGES_A_ROW: Final = 3
_ABOVE: Final = 5.0  # [pt] between the lockout rows and the gauges
_FIRST: Final = 2  # rows that stand with the heading

MUST_READ: Final = gettext_noop("must read zero")
ELECTRICIAN: Final = gettext_noop("licensed electrician")
#: What stands over the steps before the checks, and what that is called for short.
LOCKOUT: Final = (
    gettext_noop("Lockout: one lock per person on every source"),
    gettext_noop("Lockout"),
)
ON_THE_BENCH: Final = (
    gettext_noop("On the bench: before it is opened"),
    gettext_noop("On the bench"),
)
INITIALS: Final = gettext_noop("initials in each box")
BACK: Final = gettext_noop("Back to service, in this order")


def section(sheet: SheetPaper, *, area: Area) -> Section | None:
    """The steps before the checks and the gauges; None where nothing is locked out."""
    rows = _steps(sheet.lockout, area, closed=sheet.closed)
    if not rows and any(gauge.original for gauge in sheet.zero_gauges):
        rows = unread(area)
    gauges = _gauges(sheet.zero_gauges, area, closed=sheet.closed)
    if not rows and not gauges:
        return None
    title, short = LOCKOUT
    # What was signed before a bench had a heading of its own prints as it did.
    if sheet.rig_number is None and sheet.edition > 1:
        title, short = ON_THE_BENCH
    return Section(
        title=_title(title, closed=sheet.closed),
        rows=_held_together(rows, gauges),
        short=gettext(short),
    )


def way_back(sheet: SheetPaper, *, area: Area) -> Section | None:
    """The steps back to service, after the checks; None when nothing was locked out."""
    rows = _steps(sheet.way_back, area, closed=sheet.closed)
    if not rows:
        return None
    *before, last = together(rows)
    return Section(
        title=_title(BACK, closed=sheet.closed),
        rows=[*before, replace(last, keep=False)],
        short=gettext("Back to service"),
    )


def _title(title: str, *, closed: bool) -> str:
    said = gettext(title)
    return said if closed else f"{said} ({gettext(INITIALS)})"


def _held_together(rows: Sequence[Row], gauges: Sequence[Row]) -> list[Row]:
    """No row alone under the heading, and the gauges with the row before them."""
    opened = [replace(row, keep=True) for row in rows[: _FIRST - 1]] + list(rows[_FIRST - 1 :])
    *before, last = [*opened[:-1], *together([*opened[-1:], *gauges])]
    return [*before, replace(last, keep=False)]


def _steps(steps: Sequence[LockoutStep], area: Area, *, closed: bool) -> list[Row]:
    """Two steps a row, numbered along it."""
    rows = unread(area) if any(step.original for step in steps) else []
    items = [_item(number, step, closed=closed) for number, step in enumerate(steps, 1)]
    return [*rows, *grid(items, area=area)]


def _item(number: int, step: LockoutStep, *, closed: bool) -> Item:
    is_done = bool(step.done_text) and not step.is_absent
    # What is done says who; until then there is room for initials.
    wide = BOX if closed or step.done_text else _INITIALS
    electrician = gettext(ELECTRICIAN) if step.electrician else ""
    said = f"{step.done_text}: {step.by_text}" if step.by_text else step.done_text

    def lines(width: float) -> Sequence[Line]:
        title = f"{number}\u00a0{step.source}"
        return (
            *wrap((title, True), (step.action, False), size=READ, width=width),
            *english(step.original, width),
            *plain(electrician, width=width, size=SMALL, bold=True),
            *plain(said if step.done_text else "", width=width, size=SMALL, bold=True),
            *plain(step.before_text, width=width, size=SMALL),
        )

    def mark(pen: Pen, left: float, middle: float) -> None:
        if wide == BOX:
            pen.tick_box(left + _BOX_AT, middle, ticked=is_done)
        else:
            pen.box(left + _BOX_AT, middle - BOX / 2, wide, BOX, FRAME)

    return Item(indent=_BOX_AT + wide + 6, lines=lines, mark=mark)


def _gauges(gauges: Sequence[ZeroGauge], area: Area, *, closed: bool) -> list[Row]:
    """Three framed cells a row."""
    width = area.width / _GAUGES_A_ROW
    rows = []
    for start in range(0, len(gauges), _GAUGES_A_ROW):
        chunk = gauges[start : start + _GAUGES_A_ROW]
        cells = [
            _gauge(gauge, Area(left=area.left + index * width, width=width), closed=closed)
            for index, gauge in enumerate(chunk)
        ]
        rows.append(Row(_framed(cells, Area(left=area.left, width=width * len(chunk)))))
    return rows


def _framed(cells: Sequence[Block], area: Area) -> Block:
    tallest = max(block.height for block in cells)

    def draw(pen: Pen, top: float) -> None:
        top -= _ABOVE
        width = area.width / len(cells)
        for index, cell in enumerate(cells):
            cell.draw(pen, top)
            pen.box(area.left + index * width, top - tallest, width, tallest, HAIR)

    return Block(height=tallest + _ABOVE, draw=draw)


def _gauge(gauge: ZeroGauge, area: Area, *, closed: bool) -> Block:
    """Its name with the side, "must read zero" under it, the cell and its unit at the right."""
    unit = line(gauge.unit, size=SMALL)
    cell = area.right - 6 - CELL_WIDTH - (unit.width + 3 if gauge.unit else 0)
    x = area.left + 8
    room = cell - 6 - x
    name = plain(gauge.label, width=room - (SIDE + 4 if gauge.side else 0), bold=True)
    must = plain(gettext(MUST_READ), width=room)
    originally = english(gauge.original, area.width - 14)
    found = plain(
        gauge.found_text or (NOTHING if closed else ""), width=area.right - 6 - cell, bold=True
    )
    small = "\n".join(filter(None, (gauge.by_text if found else "", gauge.before_text)))
    by = plain(small, width=area.width - 14, size=SMALL)
    leading = TEXT * LEADING
    upper = max(len(name) + len(must), len(found)) * leading
    height = upper + (len(originally) + len(by)) * SMALL * LEADING + 8

    def draw(pen: Pen, top: float) -> None:
        first = top - 4 - leading / 2
        pen.paragraph(x, centred(first, TEXT), (*name, *must))
        if gauge.side:
            after = x + max((text.width for text in name), default=-4.0) + 4
            pen.side(after, first, gauge.side)
        if found:
            pen.paragraph(cell, centred(first, TEXT), found)
        pen.paragraph(x, top - 4 - upper - SMALL * LEADING * 0.76, (*originally, *by))
        if not found:
            middle = top - (upper + 8) / 2
            pen.box(cell, middle - CELL_HEIGHT / 2, CELL_WIDTH, CELL_HEIGHT)
            pen.write(cell + CELL_WIDTH + 3, centred(middle, SMALL), unit)

    return Block(height=height, draw=draw)
