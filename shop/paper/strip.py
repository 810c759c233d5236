"""The rig strip: every position in the order of the flow, the ones this sheet works on framed."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from shop.paper.blocks import Area, Block
from shop.paper.content import StripCell
from shop.paper.drawings import draw_icon
from shop.paper.head import OUTER
from shop.paper.pen import SIDE, Pen
from shop.paper.type import Line, plain

MOST_IN_A_ROW = 10
_WIDEST = 92.0  # [pt]
_SIZE, _LEADING = 8.25, 9.25  # [pt] of labels and state words
_STRETCH = 0.8  # look.md: 75–88 % wide letters in narrow strip columns
_BLADE = 9.5  # [pt] height of the tape
_WORKED = 2.5  # [pt] frame of a worked position


@dataclass(frozen=True, slots=True)
class _Measures:
    """The icon's size, and the room above, under and between what a column shows. [pt]"""

    icon: float
    edge: float
    gap: float
    above_tape: float


_ROOMY = _Measures(icon=30.0, edge=7.0, gap=4.0, above_tape=8.0)
_CLOSE = _Measures(icon=20.0, edge=3.5, gap=1.5, above_tape=6.0)  # for strips of several rows


@dataclass(frozen=True, slots=True)
class _Column:
    cell: StripCell
    label: tuple[Line, ...]
    state: tuple[Line, ...]


def strip(cells: Sequence[StripCell], *, area: Area) -> Block | None:
    """Draw all positions in as few rows as hold ten each; None without any.

    It hangs from the title block.
    """
    if not cells:
        return None
    rows = math.ceil(len(cells) / MOST_IN_A_ROW)
    size = math.ceil(len(cells) / rows)
    blocks = [
        _row(
            cells[start : start + size],
            area=area,
            width=min(area.width / size, _WIDEST),
            measures=_ROOMY if rows == 1 else _CLOSE,
        )
        for start in range(0, len(cells), size)
    ]
    height = sum(block.height for block in blocks)

    def draw(pen: Pen, top: float) -> None:
        y = top
        for block in blocks:
            block.draw(pen, y)
            y -= block.height
        pen.box(area.left, top - height, area.width, height, OUTER)

    return Block(height=height, draw=draw)


def _row(cells: Sequence[StripCell], *, area: Area, width: float, measures: _Measures) -> Block:
    icon, edge, gap = measures.icon, measures.edge, measures.gap
    room = (width - 11) / _STRETCH
    columns = [
        _Column(
            cell=cell,
            label=plain(cell.label, width=room, size=_SIZE, bold=cell.worked),
            state=plain(cell.state_word, width=room, size=_SIZE, bold=cell.worked),
        )
        for cell in cells
    ]
    labels = max(len(column.label) for column in columns) * _LEADING
    states = max(len(column.state) for column in columns) * _LEADING
    height = edge + labels + gap + icon + measures.above_tape + _BLADE + 3.5 + states + edge - 1

    def draw(pen: Pen, top: float) -> None:
        icon_top = top - edge - labels - gap
        flow = icon_top - icon / 2
        blade = icon_top - icon - measures.above_tape - _BLADE
        for index, column in enumerate(columns):
            x = area.left + index * width
            centre = x + width / 2
            _centred(pen, centre, top - edge - _LEADING * 0.78, column.label)
            if index:
                reach = (width - icon) / 2 - 3
                pen.rule(x - reach, flow, x + reach, flow, 1.0)
            draw_icon(pen, column.cell.icon, centre - icon / 2, icon_top, icon)
            if column.cell.side:
                # Clear of the frame of a worked position.
                side = min(centre + icon / 2 + 1, x + width - SIDE - 5)
                pen.side(side, icon_top - SIDE / 2, column.cell.side)
            _tape(pen, column.cell, x + 6, blade, width - 12)
            _centred(pen, centre, blade - 3.5 - _LEADING * 0.8, column.state)
            if column.cell.worked:
                pen.box(x + 2, top - height + 2.5, width - 4, height - 5, _WORKED)

    return Block(height=height, draw=draw)


def _centred(pen: Pen, centre: float, y: float, lines: Sequence[Line]) -> None:
    for text in lines:
        pen.write_centred(centre, y, text, stretch=_STRETCH)
        y -= _LEADING


def _tape(pen: Pen, cell: StripCell, x: float, y: float, width: float) -> None:
    """A lying wear tape: used length in steel, due line, hatched tolerance, now-mark above."""
    canvas = pen.canvas
    if cell.fraction_used is None:
        canvas.setDash(3, 2)
        pen.box(x, y, width, _BLADE, 1.2)
        canvas.setDash()
        return
    used = x + width * min(max(cell.fraction_used, 0.0), 1.0)
    pen.steel(x, y, used - x, _BLADE)
    if cell.due_fraction is not None:
        due = x + width * min(max(cell.due_fraction, 0.0), 1.0)
        _hatch(pen, due, y, x + width - due)
        pen.rule(due, y - 2.5, due, y + _BLADE + 2.5, 2.0)
    pen.box(x, y, width, _BLADE, 1.2)
    pen.rule(x + width, y - 1.5, x + width, y + _BLADE + 1.5, 2.2)
    pen.rule(used, y, used, y + _BLADE, 1.0)
    tip = y + _BLADE
    pen.polygon(((used, tip), (used - 3.6, tip + 5.5), (used + 3.6, tip + 5.5)))


def _hatch(pen: Pen, x: float, y: float, width: float) -> None:
    if width <= 0:
        return
    canvas = pen.canvas
    canvas.saveState()
    outline = canvas.beginPath()
    outline.rect(x, y, width, _BLADE)
    canvas.clipPath(outline, stroke=0, fill=0)
    canvas.setLineWidth(0.5)
    start = x - _BLADE
    while start < x + width:
        canvas.line(start, y, start + _BLADE, y + _BLADE)
        start += 2.6
    canvas.restoreState()
