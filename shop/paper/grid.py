"""Two columns of texts with a box before each, under rules that meet: cautions and lockout."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final

from shop.paper.blocks import Area, Row
from shop.paper.pen import Pen
from shop.paper.rows import Cell, row, tall
from shop.paper.type import LEADING, READ, Line

_GUTTER: Final = 14.0  # [pt] between the two columns
_ROW: Final = 15.0  # [pt] a row of one line
_PAD: Final = _ROW - READ * LEADING


@dataclass(frozen=True, slots=True)
class Item:
    """One text of a grid.

    indent: of the text, room for its box. [pt] lines: the text, broken for a width. [pt]
    mark: draws the box; takes the pen, the left edge and the middle of the first line. [pt]
    """

    indent: float
    lines: Callable[[float], Sequence[Line]]
    mark: Callable[[Pen, float, float], None]


def grid(items: Sequence[Item], *, area: Area) -> list[Row]:
    """Two items a row, or one with the row to itself, whichever takes less paper in all.

    They stand in their order along the rows.
    """
    half = (area.width - _GUTTER) / 2
    rows: list[Row] = []
    for chunk, width in _arranged(items, whole=area.width, half=half):
        lefts = [area.left + index * (half + _GUTTER) for index in range(len(chunk))]
        cells = [
            Cell(x=left + item.indent, lines=item.lines(width - item.indent))
            for item, left in zip(chunk, lefts, strict=True)
        ]

        def mark(
            pen: Pen,
            middle: float,
            chunk: Sequence[Item] = chunk,
            lefts: Sequence[float] = lefts,
        ) -> None:
            for item, left in zip(chunk, lefts, strict=True):
                item.mark(pen, left, middle)

        blocks = row(cells, left=area.left, right=area.right, least=_ROW, mark=mark, size=READ)
        rows.extend(map(Row, blocks))
    return rows


def _arranged(
    items: Sequence[Item], *, whole: float, half: float
) -> list[tuple[Sequence[Item], float]]:
    """What stands in each row, and how wide each of it is. [pt]"""

    def height(chunk: Sequence[Item], width: float) -> float:
        return _PAD + max(tall(item.lines(width - item.indent)) for item in chunk)

    # From the last item back: the least height of what begins with an item, and its first row.
    least = [0.0] * (len(items) + 2)
    taken = [1] * len(items)
    for start in reversed(range(len(items))):
        pair = items[start : start + 2]
        alone = height(pair[:1], whole) + least[start + 1]
        beside = height(pair, half) + least[start + 2]
        taken[start] = 2 if len(pair) == 2 and beside <= alone else 1
        least[start] = beside if taken[start] == 2 else alone
    rows = []
    start = 0
    while start < len(items):
        count = taken[start]
        rows.append((items[start : start + count], half if count == 2 else whole))
        start += count
    return rows
