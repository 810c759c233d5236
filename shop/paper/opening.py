"""What stands before everything else: why the sheet stands still, what corrects it, the note."""

from collections.abc import Sequence

from shop.paper.blocks import LONGEST, Area, Block, Row, Section
from shop.paper.content import SheetPaper
from shop.paper.pen import Pen
from shop.paper.rows import Cell, row
from shop.paper.type import LEADING, TEXT, Line, plain, wrap
from shop.paper.wording import gettext, ngettext


def section(sheet: SheetPaper, *, area: Area) -> Section | None:
    """Holds, corrections and the note, without a heading; None where there is none of them."""
    rows = [*_held(sheet, area), *_note(sheet, area)]
    return Section(title="", rows=rows) if rows else None


def _held(sheet: SheetPaper, area: Area) -> list[Row]:
    """Why the sheet or its rig stands still, and which sheets correct it, in a heavy frame."""
    texts = [gettext("Void. Do not work from this sheet.")] if sheet.void else []
    texts += _corrected(sheet)
    texts.append(sheet.held_text)
    lines = plain("\n".join(texts), width=area.width - 16, bold=True)
    return [
        Row(heavy(lines[start : start + LONGEST], area)) for start in range(0, len(lines), LONGEST)
    ]


def _corrected(sheet: SheetPaper) -> list[str]:
    if not sheet.corrected_by:
        return []
    said = ngettext(
        "Corrected by sheet {numbers}", "Corrected by sheets {numbers}", len(sheet.corrected_by)
    )
    return [said.format(numbers=", ".join(sheet.corrected_by))]


def _note(sheet: SheetPaper, area: Area) -> list[Row]:
    """What the manager wrote for whoever does the work."""
    if not sheet.note:
        return []
    lines = wrap((gettext("Note:"), True), (sheet.note, False), size=TEXT, width=area.width - 10)
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
