"""What is read and done before work: holds, cautions, lockout, gauges that must read zero."""

from collections.abc import Sequence
from dataclasses import replace

from shop.paper.blocks import LONGEST, Area, Block, Row, Section, beside, together
from shop.paper.content import Caution, LockoutStep, SheetPaper, ZeroGauge
from shop.paper.pen import BOX, CELL_HEIGHT, CELL_WIDTH, HAIR, SIDE, Pen, centred
from shop.paper.rows import Cell, row
from shop.paper.type import LEADING, SMALL, TEXT, Line, line, plain, wrap

_BOX_COLUMN = BOX + 14  # [pt]
_HAZARD, _SOURCE = 100.0, 92.0  # [pt] column widths
_GUTTER = 14.0  # [pt] between the two lockout columns
_GAUGES_A_ROW = 3
_ABOVE = 5.0  # [pt] between the lockout rows and the gauges
MUST_READ = "must read zero"
ELECTRICIAN = "licensed electrician"


def sections(sheet: SheetPaper, *, area: Area) -> list[Section]:
    """The sections before the checks; those with nothing in them are left out."""
    found = []
    first = [*_held(sheet, area), *_note(sheet, area)]
    if first:
        found.append(Section(title="", rows=first))
    if sheet.cautions:
        rows = [part for caution in sheet.cautions for part in _caution(caution, area)]
        found.append(Section(title="Cautions: read each, then tick", rows=rows, short="Cautions"))
    rows = _lockout(sheet.lockout, area)
    if sheet.zero_gauges:
        rows.extend(_gauges(sheet.zero_gauges, area, closed=sheet.closed))
    if rows:
        *before, last = together(rows)
        found.append(
            Section(
                title="Lockout: one lock per person on every source",
                rows=[*before, replace(last, keep=False)],
                short="Lockout",
            )
        )
    return found


def way_back(sheet: SheetPaper, *, area: Area) -> Section | None:
    """The steps back to service, after the checks; None when nothing was locked out."""
    rows = _lockout(sheet.way_back, area)
    if not rows:
        return None
    *before, last = together(rows)
    return Section(
        title="Back to service, in this order",
        rows=[*before, replace(last, keep=False)],
        short="Back to service",
    )


def _held(sheet: SheetPaper, area: Area) -> list[Row]:
    """Why the sheet or its rig stands still, in a heavy frame."""
    texts = ["Void. Do not work from this sheet."] if sheet.void else []
    texts.append(sheet.held_text)
    lines = plain("\n".join(texts), width=area.width - 16, bold=True)
    return [
        Row(heavy(lines[start : start + LONGEST], area)) for start in range(0, len(lines), LONGEST)
    ]


def _note(sheet: SheetPaper, area: Area) -> list[Row]:
    """What the manager wrote for whoever does the work."""
    lines = wrap(("Note:", True), (sheet.note, False), size=TEXT, width=area.width - 10)
    if not sheet.note:
        return []
    cell = Cell(x=area.left + 5, lines=lines)
    return [Row(block) for block in row((cell,), left=area.left, right=area.right)]


def heavy(lines: Sequence[Line], area: Area) -> Block:
    """Lines in a frame that nobody overlooks."""
    leading = TEXT * LEADING
    height = len(lines) * leading + 11

    def draw(pen: Pen, top: float) -> None:
        pen.box(area.left + 1.25, top - height, area.width - 2.5, height, 2.5)
        pen.paragraph(area.left + 8, top - 5.5 - leading * 0.76, lines)

    return Block(height=height + 2, draw=draw)


def _caution(caution: Caution, area: Area) -> list[Row]:
    hazard = area.left + _BOX_COLUMN
    text = hazard + _HAZARD + 8
    source = area.right - _SOURCE
    room = source - 12 - text
    # Before who read it was kept apart, it was part of what was entered.
    read = f"read: {caution.by_text}" if caution.by_text else caution.read_text
    cells = (
        Cell(x=hazard, lines=plain(caution.hazard, width=_HAZARD, bold=True)),
        Cell(
            x=text,
            lines=(
                *plain(caution.text, width=room),
                *plain(read, width=room, size=SMALL, bold=True),
            ),
        ),
        Cell(x=source, lines=plain(caution.source, width=_SOURCE, size=SMALL)),
    )

    def mark(pen: Pen, middle: float) -> None:
        pen.tick_box(area.left + 5, middle, ticked=bool(caution.read_text))

    return [Row(block) for block in row(cells, left=area.left, right=area.right, mark=mark)]


def _lockout(steps: Sequence[LockoutStep], area: Area) -> list[Row]:
    """Two steps a row, numbered down the page by their order along it."""
    half = (area.width - _GUTTER) / 2
    rows: list[Row] = []
    for start in range(0, len(steps), 2):
        pair = [
            _step(step, Area(left=area.left + index * (half + _GUTTER), width=half))
            for index, step in enumerate(steps[start : start + 2])
        ]
        rows.extend(Row(beside(blocks)) for blocks in _even(pair))
    return rows


def _step(step: LockoutStep, area: Area) -> tuple[Block, ...]:
    x = area.left + _BOX_COLUMN
    width = area.right - x
    cell = Cell(
        x=x,
        lines=(
            *wrap((step.source, True), (step.action, False), size=TEXT, width=width),
            *plain(ELECTRICIAN if step.electrician else "", width=width, size=SMALL, bold=True),
            *plain(_said(step.done_text, step.by_text), width=width, size=SMALL, bold=True),
        ),
    )

    def mark(pen: Pen, middle: float) -> None:
        pen.tick_box(area.left + 5, middle, ticked=bool(step.done_text))

    return row((cell,), left=area.left, right=area.right, mark=mark)


def _even(pair: Sequence[tuple[Block, ...]]) -> list[list[Block]]:
    """The first blocks of each column side by side, then the second, until the longest column
    ends.
    """
    longest = max(len(column) for column in pair)
    return [[column[index] for column in pair if index < len(column)] for index in range(longest)]


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
    must = plain(MUST_READ, width=room)
    found = plain(
        gauge.found_text or ("–" if closed else ""), width=area.right - 6 - cell, bold=True
    )
    by = plain(gauge.by_text, width=area.width - 14, size=SMALL) if found else ()
    leading = TEXT * LEADING
    upper = max(len(name) + len(must), len(found)) * leading
    height = upper + len(by) * SMALL * LEADING + 8

    def draw(pen: Pen, top: float) -> None:
        first = top - 4 - leading / 2
        pen.paragraph(x, centred(first, TEXT), (*name, *must))
        if gauge.side:
            after = x + max((text.width for text in name), default=-4.0) + 4
            pen.side(after, first, gauge.side)
        if found:
            pen.paragraph(cell, centred(first, TEXT), found)
            pen.paragraph(x, top - 4 - upper - SMALL * LEADING * 0.76, by)
        else:
            middle = top - height / 2
            pen.box(cell, middle - CELL_HEIGHT / 2, CELL_WIDTH, CELL_HEIGHT)
            pen.write(cell + CELL_WIDTH + 3, centred(middle, SMALL), unit)

    return Block(height=height, draw=draw)


def _said(what: str, by: str) -> str:
    return f"{what}: {by}" if what and by else what
