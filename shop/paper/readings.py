"""Readings when done and found work, side by side where both are short."""

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from shop.paper.blocks import Area, Block, Row, Section, beside, heading, stacked
from shop.paper.content import PaperFound, PaperReading, SheetPaper
from shop.paper.pen import CELL_HEIGHT, Pen, worded_width
from shop.paper.rows import NOTHING, TICK_ROW, VALUE_ROW, Cell, captions, entered, row
from shop.paper.type import SMALL, line, plain
from shop.paper.wording import gettext, gettext_noop

_FEWEST_BLANK = 3  # lines to write found work on; as many more as the page has room for
_MOST_MORE = 9  # further lines where the last page has room for them
_NOW = 78.0  # [pt] cell of a new reading
_PAIR_AT_MOST = 330.0  # [pt] readings and found work stand side by side up to this height
_LEFT_SHARE, _GUTTER = 0.58, 16.0

READINGS = gettext_noop("Readings when done")
FOUND, FOUND_OPEN = gettext_noop("Found work"), gettext_noop("Found work and notes")
WRITE_HERE = gettext_noop("Of a check: its number, why it is n/a, what was done.")
NEEDS_PARTS, MUST_NOT_LEAVE = gettext_noop("needs parts"), gettext_noop("rig must not leave")


def sections(sheet: SheetPaper, *, area: Area) -> list[Section]:
    """Side by side when both are short, else one after the other."""
    if not sheet.readings and not sheet.counters_note:
        return [_found(sheet, area, more=True)]
    left = Area(left=area.left, width=area.width * _LEFT_SHARE - _GUTTER / 2)
    right = Area(left=left.right + _GUTTER, width=area.right - left.right - _GUTTER)
    readings = _stack(_readings(sheet, left), left)
    both = beside((readings, _found_as_high(sheet, right, readings.height)))
    if both.height <= _PAIR_AT_MOST:
        rows = [Row(both)] if sheet.closed else [Row(both, keep=True), _more_lines(area)]
        return [Section(title="", rows=rows, short=gettext(READINGS))]
    return [_readings(sheet, area), _found(sheet, area, more=True)]


def _found_as_high(sheet: SheetPaper, area: Area, height: float) -> Block:
    """Found work with as many lines to write on as stand beside so much. [pt]"""
    least = _stack(_found(sheet, area), area)
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
    was_reset = line(gettext("was reset"))
    reset = area.right - worded_width(was_reset) - 2
    now = reset - 8 - _NOW
    last = now - 10
    counter = area.left + 5
    head = captions(
        (
            (counter, gettext("Counter"), False),
            (last, gettext("Last"), True),
            (now, gettext("Now"), False),
        ),
        left=area.left,
        right=area.right,
    )

    def made(reading: PaperReading) -> tuple[Block, ...]:
        found = reading.now_text or (NOTHING if sheet.closed else "")
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
    return Section(title=gettext(READINGS), rows=rows, head=head if sheet.readings else None)


def _found(
    sheet: SheetPaper, area: Area, *, lines: int = _FEWEST_BLANK, more: bool = False
) -> Section:
    """What was found, and lines to write more on while the sheet is open.

    more: it stands alone, so that its lines may fill the page.
    """
    entries: Sequence[PaperFound] = sheet.found_work
    if sheet.closed and not entries:
        entries = (PaperFound(text=gettext("None.")),)
    rows = [Row(block) for entry in entries for block in _found_row(entry, area)]
    if not sheet.closed:
        rows.extend(_to_write_on(area, lines=lines, more=more))
    return Section(title=gettext(FOUND if sheet.closed else FOUND_OPEN), rows=rows)


def _to_write_on(area: Area, *, lines: int, more: bool) -> list[Row]:
    """What the lines are for, the lines, and the boxes that go with found work."""
    hint = Cell(x=area.left, lines=plain(gettext(WRITE_HERE), width=area.width, size=SMALL))
    words = (line(gettext(NEEDS_PARTS)), line(gettext(MUST_NOT_LEAVE)))

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
    grave = f" ({gettext(MUST_NOT_LEAVE)})" if entry.is_grave else ""
    lines = (
        *plain(f"{entry.text}{grave}", width=area.width),
        *plain(entry.by_text, width=area.width, size=SMALL),
    )
    return row((Cell(x=area.left, lines=lines),), left=area.left, right=area.right)
