"""What frames every page: the title block with its QR code, and the foot."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from shop.paper.blocks import Area, Block
from shop.paper.content import SheetPaper
from shop.paper.drawings import draw_icon, draw_number
from shop.paper.pen import STEEL, Pen, centred
from shop.paper.type import CAP_HEIGHT, LEADING, SMALL, TEXT, Line, line, plain
from shop.paper.wording import gettext, gettext_noop

NUMBER_CELL, QR_CELL = 64.0, 66.0  # [pt]
TITLE, NAME = 15.0, 11.5  # [pt] sizes
OUTER = 1.2  # [pt] frame of the title block
_INNER = 0.9  # [pt] between its parts
FOOT = 18.0  # [pt] height of the foot
_PAD = 8.0
_CELLS_A_ROW = 5
_PUNCHES, _PUNCH, _PUNCH_STEP = 4, 3.6, 11.0  # how many; radius, step [pt]
_LEAST = 66.0  # [pt] what the QR code needs

FOOT_WORDS = gettext_noop("The maker’s instructions and local codes go first.")


@dataclass(frozen=True, slots=True)
class ValueRow:
    """Cells of caption over value, broken into lines. widths, height: [pt]"""

    captions: tuple[Line, ...]
    values: tuple[tuple[Line, ...], ...]
    widths: tuple[float, ...]
    height: float


def head(
    sheet: SheetPaper,
    *,
    area: Area,
    show_qr: Callable[[float, float, float], None],
    is_first: bool = True,
) -> Block:
    """The title block: number, title, punches, values, QR code.

    `show_qr` takes x, y and size. [pt] is_first: of the first page; the values stand there alone.
    """
    left, right = area.left + NUMBER_CELL, area.right - QR_CELL
    title = line(
        gettext("Service sheet {number}").format(number=sheet.number_text), size=TITLE, bold=True
    )
    word = line(gettext("void") if sheet.void else sheet.step_word)
    punches = _PUNCHES * _PUNCH_STEP + 3 + word.width
    name = ", ".join(text for text in (sheet.title, sheet.subtitle) if text)
    beside = plain(
        name, width=max(right - left - 2 * _PAD - title.width - punches - 20, 1), size=NAME
    )
    below: tuple[Line, ...] = ()
    if len(beside) > 1:
        below, beside = plain(name, width=right - left - 2 * _PAD, size=NAME), ()
    cells = ((gettext("Shop"), sheet.shop_name), *sheet.cells) if is_first else ()
    values = value_rows(cells, width=right - left)
    title_row = 28.0 + len(below) * NAME * LEADING
    natural = title_row + sum(row.height for row in values)
    height = max(natural, _LEAST)
    aside = 0.0 if values else (height - title_row) / 2

    def draw(pen: Pen, upper: float) -> None:
        bottom, top = upper - height, upper - aside
        base = top - 14 - TITLE * CAP_HEIGHT / 2
        pen.write(left + _PAD, base, title)
        if beside:
            pen.write(left + _PAD + title.width + 9, base, beside[0])
        pen.paragraph(left + _PAD, base - 4 - NAME * LEADING + 2, below)
        _punches(pen, right - _PAD - punches, top - 14, sheet)
        pen.write_right(right - _PAD, centred(top - 14, TEXT), word)
        if sheet.void:
            pen.rule(left + _PAD, top - 14, left + _PAD + title.width, top - 14, 1.5)
        y = top - title_row
        for index, row in enumerate(values):
            pen.rule(left, y, right, y)
            end = bottom if index == len(values) - 1 else y - row.height
            draw_values(pen, row, x=left, top=y, bottom=end)
            y = end
        pen.rule(left, upper, left, bottom, _INNER)
        pen.rule(right, upper, right, bottom, _INNER)
        pen.box(area.left, bottom, area.width, height, OUTER)
        middle = upper - height / 2
        if sheet.rig_number is not None:
            draw_number(
                pen, sheet.rig_number, x=area.left, y=upper, width=NUMBER_CELL, height=height
            )
        elif sheet.icon:
            draw_icon(pen, sheet.icon, area.left + (NUMBER_CELL - 46) / 2, middle + 23, 46)
        size = QR_CELL - 4
        show_qr(right + 2, middle - size / 2, size)

    return Block(height=height, draw=draw)


def rig_head(
    area: Area,
    *,
    number: int,
    title_row: float,
    values: Sequence[ValueRow],
    write_title: Callable[[Pen, float, float], None],
) -> Block:
    """The title block of a page about one rig: its number, a title, and values under it.

    title_row: height of what `write_title` writes; it takes the pen, x of its left edge and its
    top. values: of `value_rows`, for the width right of NUMBER_CELL. [pt]
    """
    left = area.left + NUMBER_CELL
    height = title_row + sum(each.height for each in values)

    def draw(pen: Pen, top: float) -> None:
        write_title(pen, left, top)
        y = top - title_row
        for each in values:
            pen.rule(left, y, area.right, y)
            draw_values(pen, each, x=left, top=y, bottom=y - each.height)
            y -= each.height
        pen.rule(left, top, left, top - height, _INNER)
        pen.box(area.left, top - height, area.width, height, OUTER)
        draw_number(pen, number, x=area.left, y=top, width=NUMBER_CELL, height=height)

    return Block(height=height, draw=draw)


def value_rows(cells: Sequence[tuple[str, str]], *, width: float) -> list[ValueRow]:
    """Caption over value, as wide as the words need when the row has room for that."""
    found = []
    for start in range(0, len(cells), _CELLS_A_ROW):
        chunk = cells[start : start + _CELLS_A_ROW]
        widths = _shares([_natural(caption, value) for caption, value in chunk], width)
        lines = [
            plain(value, width=room - 2 * _PAD, bold=True)
            for (_, value), room in zip(chunk, widths, strict=True)
        ]
        found.append(
            ValueRow(
                captions=tuple(line(caption, size=SMALL) for caption, _ in chunk),
                values=tuple(lines),
                widths=tuple(widths),
                height=20.0 + max(1, *(len(value) for value in lines)) * TEXT * LEADING,
            )
        )
    return found


def _natural(caption: str, value: str) -> float:
    return max(line(caption, size=SMALL).width, line(value, bold=True).width) + 2 * _PAD + 1


def _shares(natural: list[float], width: float) -> list[float]:
    """Share `width` so that cells get what they need, the greedy ones less when it is short."""
    spare = width - sum(natural)
    if spare >= 0:
        return [need + spare / len(natural) for need in natural]
    fair = width / len(natural)
    modest = sum(need for need in natural if need <= fair)
    greedy = sum(1 for need in natural if need > fair)
    return [need if need <= fair else (width - modest) / greedy for need in natural]


def draw_values(pen: Pen, row: ValueRow, *, x: float, top: float, bottom: float) -> None:
    """Draw a row of cells from x on, between two edges. [pt]"""
    first = x
    for caption, value, width in zip(row.captions, row.values, row.widths, strict=True):
        pen.write(x + _PAD, top - 11, caption)
        pen.paragraph(x + _PAD, top - 24, value)
        if x > first:
            pen.rule(x, top, x, bottom)
        x += width


def _punches(pen: Pen, x: float, middle: float, sheet: SheetPaper) -> None:
    pen.line_width(1.2)
    for index in range(_PUNCHES):
        centre = x + _PUNCH + index * _PUNCH_STEP
        filled = index < sheet.step and not sheet.void
        pen.canvas.circle(centre, middle, _PUNCH, stroke=1, fill=1 if filled else 0)
    if sheet.void:
        pen.rule(x - 3, middle, x + _PUNCHES * _PUNCH_STEP, middle, 1.5)


def foot(pen: Pen, sheet: SheetPaper, *, area: Area, bottom: float, page: int, pages: int) -> None:
    """The foot of a page; `bottom` is the lower margin. [pt]"""
    count = gettext("Sheet {number}, page {page} of {pages}").format(
        number=sheet.number_text, page=page, pages=pages
    )
    foot_line(pen, area=area, bottom=bottom, printed_text=sheet.printed_text, count=count)


def foot_line(pen: Pen, *, area: Area, bottom: float, printed_text: str, count: str) -> None:
    """What stands at the foot of every paper: who goes first, when it was printed, which page."""
    y = bottom + FOOT - 5
    pen.rule(area.left, y, area.right, y, 1.2)
    base = y - 12
    pen.write(area.left, base, line(gettext(FOOT_WORDS), size=SMALL))
    pen.write_centred(area.left + area.width * 0.58, base, line(printed_text, size=SMALL))
    pen.write_right(area.right, base, line(count, size=SMALL, bold=True))


def strike(pen: Pen, *, area: Area, top: float, bottom: float) -> None:
    """The grey line through the body of a void sheet; what it crosses stays readable."""
    pen.canvas.setStrokeGray(STEEL)
    pen.rule(area.left, bottom, area.right, top, 3)
    pen.canvas.setStrokeGray(0)
