"""What ends the sheet: parts and bins, readings when done, found work, signature."""

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from shop.paper.blocks import (
    LONGEST,
    SECTION_GAP,
    Area,
    Block,
    Row,
    Section,
    beside,
    heading,
    stacked,
    together,
)
from shop.paper.content import PaperFound, PaperPart, PaperReading, SheetPaper
from shop.paper.opening import heavy
from shop.paper.paths import bounds
from shop.paper.pen import BOX, CELL_HEIGHT, CELL_WIDTH, FRAME, Pen
from shop.paper.rows import TICK_ROW, VALUE_ROW, Cell, Mark, captions, entered, row
from shop.paper.type import LEADING, SMALL, TEXT, line, plain

_NOTHING = "–"
_BLANK_LINES, _FEWEST_BLANK = 5, 3  # to write found work on, alone and beside the readings
_MOST_MORE = 9  # further lines where the last page has room for them
_BLANK_PARTS, _BLANK_PARTS_ALONE = 1, 2  # for parts used beyond the plan; where none is planned
_PARTS_TOGETHER = 3  # how many parts stand on the page with the heading
_NOW = 78.0  # [pt] cell of a new reading
_RESET = 76.0  # [pt] "was reset" with its box
_PAIR_AT_MOST = 330.0  # [pt] readings and found work stand side by side up to this height
_LEFT_SHARE, _GUTTER = 0.58, 16.0
_SIGNED_AT = 3  # the cell of the signature in its row
_DRAWN_WIDTH, _DRAWN_HEIGHT = 150.0, 34.0  # [pt] at most, for a drawn signature

PARTS, READINGS = "Parts and bins", "Readings when done"
FOUND, FOUND_OPEN = "Found work", "Found work and notes"
NO_PARTS = "No parts are planned."
WRITE_HERE = "Of a check: its number, why it is n/a, what was done."
MORE_PARTS = "Also used:"
WAITS = "Waited for a manager when this was signed:"
NEEDS_PARTS, MUST_NOT_LEAVE = "needs parts", "rig must not leave"


def sections(sheet: SheetPaper, *, area: Area) -> list[Section]:
    """The sections after the checks; the signature is never alone on a page."""
    found = [_parts(sheet, area)] if sheet.parts or not sheet.closed else []
    found.extend(_readings_and_found(sheet, area))
    last = found.pop()
    *rows, end = last.rows
    waits = [Row(block, keep=True) for block in _waits(sheet, area)]
    signed = [*rows, replace(end, keep=True), *waits, Row(_sign(sheet, area))]
    return [*found, replace(last, rows=signed)]


# Parts


def _parts(sheet: SheetPaper, area: Area) -> Section:
    name = area.left + BOX + 14
    used = area.right - 5 - CELL_WIDTH * 0.8
    position = used - 28
    planned = position - 62
    lot = planned - 112
    shelf = lot - 82
    head = captions(
        (
            (name, "Part", False),
            (shelf, "Bin", False),
            (lot, "Lot", False),
            (planned, "Planned", True),
            (position, "Position", True),
            (area.right - 5, "Used", True),
        ),
        left=area.left,
        right=area.right,
    )

    def cell(pen: Pen, middle: float) -> None:
        pen.box(used, middle - CELL_HEIGHT / 2, area.right - 5 - used, CELL_HEIGHT)

    def fill_in(pen: Pen, middle: float) -> None:
        pen.tick_box(area.left + 5, middle)
        cell(pen, middle)

    def made(part: PaperPart) -> tuple[Block, ...]:
        used_text = part.used_text or (_NOTHING if sheet.closed else "")
        room = shelf - 8 - name
        small = "\n".join(
            text for text in (part.kit_text, part.by_text if used_text else "") if text
        )
        cells = (
            Cell(
                x=name,
                lines=(
                    *plain(f"{part.name} {part.number}", width=room),
                    *plain(small, width=room, size=SMALL),
                ),
            ),
            Cell(
                x=shelf,
                lines=plain(f"{part.bin} {part.short_text}", width=lot - 6 - shelf, bold=True),
            ),
            Cell(x=lot, lines=plain(part.lot, width=planned - 44 - lot)),
            Cell(x=planned, lines=plain(part.planned_text, width=44), right=True),
            Cell(x=position, lines=plain(part.position, width=54), right=True),
            Cell(x=area.right - 5, lines=plain(used_text, width=CELL_WIDTH, bold=True), right=True),
        )
        return row(
            cells,
            left=area.left,
            right=area.right,
            least=VALUE_ROW,
            mark=None if used_text else fill_in,
        )

    papers = [[Row(block) for block in made(part)] for part in sheet.parts]
    # Never a row or two of many alone at the foot of a page.
    first = [row for rows in papers[: _PARTS_TOGETHER - 1] for row in rows]
    rows = [*together(first), *(row for rows in papers[_PARTS_TOGETHER - 1 :] for row in rows)]
    if not sheet.closed:
        rows.extend(_more_parts(sheet, area, name=name, mark=cell))
    *before, last = rows
    return Section(title=PARTS, rows=[*before, replace(last, keep=False)], head=head)


def _more_parts(sheet: SheetPaper, area: Area, *, name: float, mark: Mark) -> list[Row]:
    """Rows to write in what was used beyond the plan."""
    first = MORE_PARTS if sheet.parts else NO_PARTS + " " + MORE_PARTS
    count = _BLANK_PARTS if sheet.parts else _BLANK_PARTS_ALONE
    return [
        Row(block)
        for index in range(count)
        for block in row(
            (Cell(x=name, lines=(line(first if index == 0 else "", size=SMALL),)),),
            left=area.left,
            right=area.right,
            least=VALUE_ROW,
            mark=mark,
        )
    ]


# Readings and found work


def _readings_and_found(sheet: SheetPaper, area: Area) -> list[Section]:
    """Side by side when both are short, else one after the other."""
    if not sheet.readings and not sheet.counters_note:
        return [_found(sheet, area, more=True)]
    left = Area(left=area.left, width=area.width * _LEFT_SHARE - _GUTTER / 2)
    right = Area(left=left.right + _GUTTER, width=area.right - left.right - _GUTTER)
    readings = _stack(_readings(sheet, left), left)
    both = beside((readings, _found_as_high(sheet, right, readings.height)))
    if both.height <= _PAIR_AT_MOST:
        rows = [Row(both)] if sheet.closed else [Row(both, keep=True), _more_lines(area)]
        return [Section(title="", rows=rows, short=READINGS)]
    return [_readings(sheet, area), _found(sheet, area, more=True)]


def _found_as_high(sheet: SheetPaper, area: Area, height: float) -> Block:
    """Found work with as many lines to write on as stand beside so much. [pt]"""
    least = _stack(_found(sheet, area, lines=_FEWEST_BLANK), area)
    spare = int((height - least.height) / TICK_ROW)
    if spare <= 0:
        return least
    return _stack(_found(sheet, area, lines=_FEWEST_BLANK + spare), area)


def _more_lines(area: Area) -> Row:
    """As many further lines to write on as the page has room for, none when it has not."""

    def stretch(left: float) -> Block:
        count = min(int(left / TICK_ROW), _MOST_MORE)

        def draw(pen: Pen, top: float) -> None:
            for index in range(1, count + 1):
                y = top - index * TICK_ROW
                pen.rule(area.left, y, area.right, y)

        return Block(height=count * TICK_ROW, draw=draw)

    return Row(stretch(0), stretch=stretch)


def _stack(section: Section, area: Area) -> Block:
    """A whole section as one block."""
    blocks = [heading(area, section.title)]
    if section.head is not None:
        blocks.append(section.head)
    blocks.extend(made.block for made in section.rows)
    return stacked(blocks)


def _readings(sheet: SheetPaper, area: Area) -> Section:
    reset = area.right - _RESET
    now = reset - 8 - _NOW
    last = now - 10
    counter = area.left + 5
    head = captions(
        ((counter, "Counter", False), (last, "Last", True), (now, "Now", False)),
        left=area.left,
        right=area.right,
    )
    was_reset = line("was reset")

    def made(reading: PaperReading) -> tuple[Block, ...]:
        found = reading.now_text or (_NOTHING if sheet.closed else "")
        last_line = plain(reading.last_text, width=74)
        taken = max((text.width for text in last_line), default=0)
        cells = (
            Cell(x=counter, lines=plain(reading.counter, width=last - taken - 8 - counter)),
            Cell(x=last, lines=last_line, right=True),
            *entered(found, reading.by_text, x=now, width=area.right - now),
        )

        def mark(pen: Pen, middle: float) -> None:
            if not found:
                pen.box(now, middle - CELL_HEIGHT / 2, _NOW, CELL_HEIGHT)
                pen.worded_box(reset, middle, was_reset)

        return row(cells, left=area.left, right=area.right, least=VALUE_ROW, mark=mark)

    rows = [Row(block) for reading in sheet.readings for block in made(reading)]
    note = Cell(x=counter, lines=plain(sheet.counters_note, width=area.width - 10, size=SMALL))
    if note.lines:
        rows.extend(Row(block) for block in row((note,), left=area.left, right=area.right, rule=0))
    return Section(title=READINGS, rows=rows, head=head if sheet.readings else None)


def _found(
    sheet: SheetPaper, area: Area, *, lines: int = _BLANK_LINES, more: bool = False
) -> Section:
    """What was found, and lines to write more on while the sheet is open.

    more: it stands alone, so that its lines may fill the page.
    """
    entries: Sequence[PaperFound] = sheet.found_work
    if sheet.closed and not entries:
        entries = (PaperFound(text="None."),)
    rows = [Row(block) for entry in entries for block in _found_row(entry, area)]
    if not sheet.closed:
        rows.extend(_to_write_on(area, lines=lines, more=more))
    return Section(title=FOUND if sheet.closed else FOUND_OPEN, rows=rows)


def _to_write_on(area: Area, *, lines: int, more: bool) -> list[Row]:
    """What the lines are for, the lines, and the boxes that go with found work."""
    hint = Cell(x=area.left, lines=plain(WRITE_HERE, width=area.width, size=SMALL))
    words = (line(NEEDS_PARTS), line(MUST_NOT_LEAVE))

    def mark(pen: Pen, middle: float) -> None:
        x = area.left
        for word in words:
            x = pen.worded_box(x, middle, word) + 8

    def made(*cells: Cell, **how: Any) -> list[Row]:
        blocks = row(cells, left=area.left, right=area.right, **how)
        return [Row(block, keep=True) for block in blocks]

    rows = made(hint, least=13, rule=0)
    for _ in range(lines):
        rows.extend(made())
    if more:
        rows.append(replace(_more_lines(area), keep=True))
    *before, last = [*rows, *made(least=24, mark=mark, rule=0)]
    return [*before, replace(last, keep=False)]


def _found_row(entry: PaperFound, area: Area) -> tuple[Block, ...]:
    grave = f" ({MUST_NOT_LEAVE})" if entry.is_grave else ""
    lines = (
        *plain(f"{entry.text}{grave}", width=area.width),
        *plain(entry.by_text, width=area.width, size=SMALL),
    )
    return row((Cell(x=area.left, lines=lines),), left=area.left, right=area.right)


# Signature


def _waits(sheet: SheetPaper, area: Area) -> list[Block]:
    """What of the signature waited for a manager, each in words."""
    if not sheet.waits:
        return []
    text = "\n".join((WAITS, *sheet.waits))
    lines = plain(text, width=area.width - 16, bold=True)
    starts = range(0, len(lines), LONGEST)
    return [heavy(lines[start : start + LONGEST], area) for start in starts]


def _sign(sheet: SheetPaper, area: Area) -> Block:
    """Started, finished, time worked, signature and date; a signature brings its own date."""
    open_text = _NOTHING if sheet.closed else ""
    cells = [
        ("Started", sheet.started or open_text, 0.18),
        ("Finished", sheet.finished or open_text, 0.18),
        ("Time worked", sheet.labour_text or open_text, 0.15),
        (
            "Signature" if sheet.signed else "Signed",
            sheet.signed or open_text,
            0.49 if sheet.signed else 0.32,
        ),
    ]
    if not sheet.signed:
        cells.append(("Date", open_text, 0.17))
    made = [
        (
            line(caption, size=SMALL),
            plain(value, width=area.width * share - 14, bold=True),
            area.width * share,
        )
        for caption, value, share in cells
    ]
    most = max(len(value) for _, value, _ in made)
    written = 20 + most * TEXT * LEADING
    drawn = _drawn_size(sheet.drawn)
    height = max(40.0, written + (drawn[1] + 8 if drawn else 0))

    def draw(pen: Pen, top: float) -> None:
        top -= SECTION_GAP
        x = area.left
        for index, (caption, value, width) in enumerate(made):
            pen.write(x + 7, top - 11, caption)
            pen.paragraph(x + 7, top - 24, value)
            pen.box(x, top - height, width, height, FRAME)
            if index == _SIGNED_AT and drawn:
                _draw_signature(pen, sheet.drawn, x=x + 9, top=top - written - 1, scale=drawn[0])
            x += width

    return Block(height=height + SECTION_GAP, draw=draw)


def _drawn_size(data: str) -> tuple[float, float] | None:
    """(scale, height [pt]) of a drawn signature as large as its cell allows; None without one."""
    if not data:
        return None
    left, top, right, bottom = bounds(data)
    scale = min(_DRAWN_WIDTH / max(right - left, 1.0), _DRAWN_HEIGHT / max(bottom - top, 1.0))
    return scale, (bottom - top) * scale


def _draw_signature(pen: Pen, data: str, *, x: float, top: float, scale: float) -> None:
    """Draw path data, y down, with the upper left corner of what is drawn at x, top. [pt]"""
    left, upper, _, _ = bounds(data)
    pen.path(data, x=x - left * scale, y=top + upper * scale, scale=scale, stroke=1.1 / scale)
