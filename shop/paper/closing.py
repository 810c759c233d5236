"""What ends the sheet: parts and bins, readings when done, found work, signature."""

from collections.abc import Sequence
from dataclasses import replace

from shop.paper.blocks import SECTION_GAP, Area, Block, Row, Section, beside, heading, stacked
from shop.paper.content import PaperPart, PaperReading, SheetPaper
from shop.paper.pen import BOX, CELL_HEIGHT, CELL_WIDTH, FRAME, Pen
from shop.paper.rows import VALUE_ROW, Cell, captions, row
from shop.paper.type import LEADING, SMALL, TEXT, line, plain

_NOTHING = "–"
_BLANK_LINES, _FEWEST_BLANK = 5, 2  # found work to write by hand
_NOW = 88.0  # [pt] cell of a new reading
_RESET = 76.0  # [pt] "was reset" with its box
_PAIR_AT_MOST = 330.0  # [pt] readings and found work stand side by side up to this height
_LEFT_SHARE, _GUTTER = 0.58, 16.0

PARTS, READINGS, FOUND = "Parts and bins", "Readings when done", "Found work"


def sections(sheet: SheetPaper, *, area: Area) -> list[Section]:
    """The sections after the checks; the signature is never alone on a page."""
    found = []
    if sheet.parts:
        found.append(_parts(sheet, area))
    found.extend(_readings_and_found(sheet, area))
    last = found.pop()
    *rows, end = last.rows
    signed = [*rows, replace(end, keep=True), Row(_sign(sheet, area))]
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

    def made(part: PaperPart) -> tuple[Block, ...]:
        used_text = part.used_text or (_NOTHING if sheet.closed else "")
        cells = (
            Cell(x=name, lines=plain(f"{part.name} {part.number}", width=shelf - 8 - name)),
            Cell(
                x=shelf,
                lines=plain(f"{part.bin} {part.short_text}", width=lot - 6 - shelf, bold=True),
            ),
            Cell(x=lot, lines=plain(part.lot, width=planned - 44 - lot)),
            Cell(x=planned, lines=plain(part.planned_text, width=44), right=True),
            Cell(x=position, lines=plain(part.position, width=54), right=True),
            Cell(x=area.right - 5, lines=plain(used_text, width=CELL_WIDTH, bold=True), right=True),
        )

        def mark(pen: Pen, middle: float) -> None:
            if not used_text:
                pen.tick_box(area.left + 5, middle)
                pen.box(used, middle - CELL_HEIGHT / 2, area.right - 5 - used, CELL_HEIGHT)

        return row(cells, left=area.left, right=area.right, least=VALUE_ROW, mark=mark)

    rows = [Row(block) for part in sheet.parts for block in made(part)]
    return Section(title=PARTS, rows=rows, head=head)


# Readings and found work


def _readings_and_found(sheet: SheetPaper, area: Area) -> list[Section]:
    """Side by side when both are short, else one after the other."""
    if not sheet.readings and not sheet.counters_note:
        return [_found(sheet, area)]
    left = Area(left=area.left, width=area.width * _LEFT_SHARE - _GUTTER / 2)
    right = Area(left=left.right + _GUTTER, width=area.right - left.right - _GUTTER)
    pair = [_stack(_readings(sheet, left), left), _stack(_found(sheet, right), right)]
    both = beside(pair)
    if both.height <= _PAIR_AT_MOST:
        return [Section(title="", rows=[Row(both)], short=READINGS)]
    return [_readings(sheet, area), _found(sheet, area)]


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
            Cell(x=now, lines=plain(found, width=area.right - now, bold=True)),
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


def _found(sheet: SheetPaper, area: Area) -> Section:
    entries: Sequence[str] = sheet.found_work
    if sheet.closed and not entries:
        entries = ("None.",)
    rows = [
        Row(block)
        for entry in entries
        for block in row(
            (Cell(x=area.left, lines=plain(entry, width=area.width)),),
            left=area.left,
            right=area.right,
        )
    ]
    if not sheet.closed:
        blanks = max(_BLANK_LINES - len(entries), _FEWEST_BLANK)
        for _ in range(blanks):
            rows.extend(
                Row(block, keep=True) for block in row((), left=area.left, right=area.right)
            )
        words = (line("needs parts"), line("rig must not leave"))

        def mark(pen: Pen, middle: float) -> None:
            x = area.left
            for word in words:
                x = pen.worded_box(x, middle, word) + 8

        rows.extend(
            Row(block)
            for block in row((), left=area.left, right=area.right, least=24, mark=mark, rule=0)
        )
    return Section(title=FOUND, rows=rows)


# Signature


def _sign(sheet: SheetPaper, area: Area) -> Block:
    """Started, finished, signed and date; a signed sheet's signature brings its own date."""
    open_text = _NOTHING if sheet.closed else ""
    cells = [
        ("Started", sheet.started or open_text, 0.2),
        ("Finished", sheet.finished or open_text, 0.2),
        (
            "Signature" if sheet.signed else "Signed",
            sheet.signed or open_text,
            0.6 if sheet.signed else 0.4,
        ),
    ]
    if not sheet.signed:
        cells.append(("Date", open_text, 0.2))
    made = [
        (
            line(caption, size=SMALL),
            plain(value, width=area.width * share - 14, bold=True),
            area.width * share,
        )
        for caption, value, share in cells
    ]
    most = max(len(value) for _, value, _ in made)
    height = max(40.0, 20 + most * TEXT * LEADING)

    def draw(pen: Pen, top: float) -> None:
        top -= SECTION_GAP
        x = area.left
        for caption, value, width in made:
            pen.write(x + 7, top - 11, caption)
            pen.paragraph(x + 7, top - 24, value)
            pen.box(x, top - height, width, height, FRAME)
            x += width

    return Block(height=height + SECTION_GAP, draw=draw)
