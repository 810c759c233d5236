"""Puts the drawings of `shop.drawing` on paper: the same path data the screens use."""

from collections.abc import Sequence

from shop.drawing.icons import HAZARDS, Shape, hazard_kind, shapes_of
from shop.drawing.stencil import CELL_HEIGHT, CELL_WIDTH, STEP, STROKE_WIDTH, STROKES, digits_of
from shop.paper.pen import Pen

_GRID = 64  # the icons' grid
_ICON_STROKE, _HAZARD_STROKE = 2.4, 4.0
_TALLEST = 40.0  # [pt] numerals


def draw_icon(pen: Pen, kind: str, x: float, y: float, size: float) -> None:
    """Draw a position's icon in a square, its upper left corner at x, y. [pt]"""
    _draw(pen, shapes_of(kind), x=x, y=y, size=size, stroke=_ICON_STROKE)


def draw_hazard(pen: Pen, hazard: str, x: float, y: float, size: float) -> None:
    """Draw the sign of a hazard, by its slug or its words, as an icon."""
    shapes = HAZARDS[hazard_kind(hazard)]
    _draw(pen, shapes, x=x, y=y, size=size, stroke=_HAZARD_STROKE)


def _draw(
    pen: Pen, shapes: Sequence[Shape], *, x: float, y: float, size: float, stroke: float
) -> None:
    for shape in shapes:
        pen.path(
            shape.d,
            x=x,
            y=y,
            scale=size / _GRID,
            stroke=stroke * shape.weight,
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
