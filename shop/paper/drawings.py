"""Puts the drawings of `shop.drawing` on paper: the same path data the screens use."""

from shop.drawing.icons import shapes_of
from shop.drawing.stencil import CELL_HEIGHT, CELL_WIDTH, STEP, STROKE_WIDTH, STROKES, digits_of
from shop.paper.pen import Pen

_GRID = 64  # the icons' grid
_ICON_STROKE = 2.4
_TALLEST = 40.0  # [pt] numerals


def draw_icon(pen: Pen, kind: str, x: float, y: float, size: float) -> None:
    """Draw a position's icon in a square, its upper left corner at x, y. [pt]"""
    for shape in shapes_of(kind):
        pen.path(
            shape.d,
            x=x,
            y=y,
            scale=size / _GRID,
            stroke=_ICON_STROKE,
            filled=shape.filled,
            dash=shape.dash,
        )


def draw_number(pen: Pen, number: int, *, x: float, y: float, width: float, height: float) -> None:
    """Draw a rig number, >= 0, in stencil numerals in the middle of a cell; x, y is its upper
    left corner. [pt]
    """
    digits = digits_of(number)
    units = STEP * (len(digits) - 1) + CELL_WIDTH
    scale = min(_TALLEST / CELL_HEIGHT, (width - 12) / units)
    left = x + (width - units * scale) / 2
    top = y - (height - CELL_HEIGHT * scale) / 2
    for place, digit in enumerate(digits):
        pen.path(
            STROKES[digit],
            x=left + place * STEP * scale,
            y=top,
            scale=scale,
            stroke=STROKE_WIDTH,
        )
