"""Parts and bins: what to take, what was used, and rows for what was used beyond the plan."""

from dataclasses import replace

from shop.paper.blocks import Area, Block, Row, Section, together
from shop.paper.content import PaperPart, SheetPaper
from shop.paper.pen import BOX, CELL_HEIGHT, CELL_WIDTH, Pen
from shop.paper.rows import NOTHING, VALUE_ROW, Cell, Mark, captions, row
from shop.paper.type import SMALL, line, plain
from shop.paper.wording import gettext, gettext_noop

_BLANK, _BLANK_ALONE = 1, 2  # for parts used beyond the plan; where none is planned
_TOGETHER = 3  # how many parts stand on the page with the heading

PARTS = gettext_noop("Parts and bins")
NO_PARTS = gettext_noop("No parts are planned.")
MORE_PARTS = gettext_noop("Also used:")


def section(sheet: SheetPaper, *, area: Area) -> Section | None:
    """The parts to take and those used; None where a closed sheet has none."""
    if sheet.closed and not sheet.parts:
        return None
    name = area.left + BOX + 14
    used = area.right - 5 - CELL_WIDTH * 0.8
    position = used - 28
    planned = position - 62
    lot = planned - 112
    shelf = lot - 82
    head = captions(
        (
            (name, gettext("Part"), False),
            (shelf, gettext("Bin"), False),
            (lot, gettext("Lot"), False),
            (planned, gettext("Planned"), True),
            (position, gettext("Position"), True),
            (area.right - 5, gettext("Used"), True),
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
        used_text = part.used_text or (NOTHING if sheet.closed else "")
        room = shelf - 8 - name
        small = "; ".join(filter(None, (part.kit_text, part.by_text if used_text else "")))
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
    first = [row for rows in papers[: _TOGETHER - 1] for row in rows]
    rows = [*together(first), *(row for rows in papers[_TOGETHER - 1 :] for row in rows)]
    if not sheet.closed:
        rows.extend(_more_parts(sheet, area, name=name, mark=cell))
    *before, last = rows
    return Section(title=gettext(PARTS), rows=[*before, replace(last, keep=False)], head=head)


def _more_parts(sheet: SheetPaper, area: Area, *, name: float, mark: Mark) -> list[Row]:
    """Rows to write in what was used beyond the plan."""
    first = gettext(MORE_PARTS)
    if not sheet.parts:
        first = f"{gettext(NO_PARTS)} {first}"
    count = _BLANK if sheet.parts else _BLANK_ALONE
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
