"""Rows of ruled columns: the one shape cautions, checks and parts share."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from shop.paper.blocks import LONGEST, Block
from shop.paper.pen import HAIR, Pen, centred
from shop.paper.type import LEADING, SMALL, TEXT, Line, line, plain

NOTHING = "–"  # in place of what stayed empty on a closed sheet
TICK_ROW, VALUE_ROW = 18.5, 19.5  # [pt] rows that hold a box, a cell
_APART = 6.0  # [pt] between an entry and its author


@dataclass(frozen=True, slots=True)
class Cell:
    """Lines of one column. `x` is where they start, or end when `right`. [pt]"""

    x: float
    lines: Sequence[Line]
    right: bool = False


Mark = Callable[
    [Pen, float], None
]  # draws boxes and value cells; takes the middle of the row's first line


def row(
    cells: Sequence[Cell],
    *,
    left: float,
    right: float,
    least: float = TICK_ROW,
    mark: Mark | None = None,
    rule: float = HAIR,
    size: float = TEXT,
) -> tuple[Block, ...]:
    """Set cells side by side with a rule under them.

    least: height of a row of one line. [pt] `mark` draws beside the first line.
    rule: width of the rule below, 0 for none. [pt]
    size: of the first lines. [pt]
    Text of more than LONGEST lines goes on in further blocks, so returns one or more.
    """
    longest = max((len(cell.lines) for cell in cells), default=0)
    return tuple(
        _block(
            [
                Cell(x=cell.x, lines=cell.lines[start : start + LONGEST], right=cell.right)
                for cell in cells
            ],
            left=left,
            right=right,
            least=least,
            mark=mark if start == 0 else None,
            rule=rule,
            size=size,
        )
        for start in range(0, max(longest, 1), LONGEST)
    )


def _block(
    cells: Sequence[Cell],
    *,
    left: float,
    right: float,
    least: float,
    mark: Mark | None,
    rule: float,
    size: float,
) -> Block:
    tallest = max((tall(cell.lines) for cell in cells), default=0.0)
    height = least + max(0.0, tallest - size * LEADING)

    def draw(pen: Pen, top: float) -> None:
        middle = top - least / 2
        if mark is not None:
            mark(pen, middle)
        for cell in cells:
            y = centred(middle, size)
            for text in cell.lines:
                if cell.right:
                    pen.write_right(cell.x, y, text)
                else:
                    pen.write(cell.x, y, text)
                y -= text.size * LEADING
        if rule:
            pen.rule(left, top - height, right, top - height, rule)

    return Block(height=height, draw=draw)


def tall(lines: Sequence[Line]) -> float:
    """How high lines under one another are. [pt]"""
    return sum(text.size * LEADING for text in lines)


def captions(cells: Sequence[tuple[float, str, bool]], *, left: float, right: float) -> Block:
    """Column captions over a rule: (x, text, whether it ends at x)."""
    set_cells = [Cell(x=x, lines=(line(text, size=SMALL),), right=ends) for x, text, ends in cells]
    (block,) = row(set_cells, left=left, right=right, least=15.0, rule=1.0)
    return block


def entered(what: str, by: str, *, x: float, width: float) -> tuple[Cell, ...]:
    """What a person entered, bold, and who and when, small: beside it where both fit, else below.

    x, width: of the column. [pt] Returns no cells where nothing was entered.
    """
    lines = plain(what, width=width, bold=True)
    if not by or not lines:
        return (Cell(x=x, lines=lines),) if lines else ()
    author = line(by, size=SMALL)
    if len(lines) == 1 and lines[0].width + _APART + author.width <= width:
        return Cell(x=x, lines=lines), Cell(x=x + width, lines=(author,), right=True)
    return (Cell(x=x, lines=(*lines, *plain(by, width=width, size=SMALL))),)
