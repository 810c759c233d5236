"""Draws SVG path data on a canvas, so that paper and screen share one set of drawings.

Understands M L H V C A Z, absolute: what the icons and numerals of `shop.drawing` are made of.
Source of the arc's conversion: SVG 2, appendix B.2.4, "Conversion from endpoint to center
parameterization".
"""

import math
import re
from functools import lru_cache

from reportlab.pdfgen.canvas import Canvas
from reportlab.pdfgen.pathobject import PDFPathObject

Segment = tuple[str, tuple[float, ...]]

_TOKEN = re.compile(r"[A-Za-z]|[-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?")
_ARGUMENTS = {"M": 2, "L": 2, "H": 1, "V": 1, "C": 6, "A": 7, "Z": 0}


def trace(canvas: Canvas, data: str, *, fill: bool = False) -> None:
    """Stroke (or fill) path data in the canvas's present transform."""
    canvas.drawPath(_outline(data), stroke=0 if fill else 1, fill=1 if fill else 0)


def bounds(data: str) -> tuple[float, float, float, float]:
    """Left, top, right and bottom of path data, by its points and control points.

    Raises ValueError for data without a point, or as `segments` does.
    """
    numbers = [number for _, given in segments(data) for number in given]
    xs, ys = numbers[::2], numbers[1::2]
    if not xs:
        raise ValueError(f"path data has no point: {data}")
    return min(xs), min(ys), max(xs), max(ys)


@lru_cache(maxsize=512)
def _outline(data: str) -> PDFPathObject:
    """The path as the PDF writes it; the same for every sheet, so its numbers are set once."""
    path = PDFPathObject()
    draw = {"M": path.moveTo, "L": path.lineTo, "C": path.curveTo, "Z": path.close}
    for command, numbers in segments(data):
        draw[command](*numbers)
    return path


def segments(data: str) -> tuple[Segment, ...]:
    """Turn path data into absolute M, L, C and Z segments.

    Raises ValueError for a command outside the subset or a missing number.
    """
    found: list[Segment] = []
    x = y = start_x = start_y = 0.0
    for command, numbers in _commands(data):
        match command, numbers:
            case "M", (x, y):
                start_x, start_y = x, y
                found.append(("M", (x, y)))
            case "L", (x, y):
                found.append(("L", (x, y)))
            case "H", (x,):
                found.append(("L", (x, y)))
            case "V", (y,):
                found.append(("L", (x, y)))
            case "C", (*_, x, y):
                found.append(("C", numbers))
            case "A", (rx, ry, turn, large, sweep, *end):
                flags = bool(large), bool(sweep)
                found.extend(_arc((x, y), (end[0], end[1]), rx, ry, turn, *flags))
                x, y = end
            case _:
                found.append(("Z", ()))
                x, y = start_x, start_y
    return tuple(found)


def _commands(data: str) -> list[tuple[str, tuple[float, ...]]]:
    """Split path data into one command with its numbers each, repeating implied commands."""
    tokens = _TOKEN.findall(data)
    found: list[tuple[str, tuple[float, ...]]] = []
    command, at = "", 0
    while at < len(tokens):
        if tokens[at].isalpha():
            command, at = tokens[at], at + 1
        elif command == "M":
            command = "L"
        elif command == "Z":
            raise ValueError(f"a number follows Z in path data: {data}")
        count = _ARGUMENTS.get(command)
        if count is None:
            raise ValueError(f"path command {command!r} is not understood: {data}")
        numbers = tokens[at : at + count]
        if len(numbers) < count or any(token.isalpha() for token in numbers):
            raise ValueError(f"path command {command} needs {count} numbers: {data}")
        found.append((command, tuple(float(number) for number in numbers)))
        at += count
    return found


def _arc(
    start: tuple[float, float],
    end: tuple[float, float],
    rx: float,
    ry: float,
    turn: float,
    large: bool,
    sweep: bool,
) -> list[Segment]:
    """Turn an elliptical arc into Bézier curves of at most a quarter turn each."""
    rx, ry = abs(rx), abs(ry)
    if start == end:
        return []
    if rx == 0 or ry == 0:
        return [("L", end)]
    phi = math.radians(turn)
    cos, sin = math.cos(phi), math.sin(phi)
    half_x, half_y = (start[0] - end[0]) / 2, (start[1] - end[1]) / 2
    x1, y1 = cos * half_x + sin * half_y, cos * half_y - sin * half_x
    too_small = (x1 / rx) ** 2 + (y1 / ry) ** 2
    if too_small > 1:
        rx, ry = rx * math.sqrt(too_small), ry * math.sqrt(too_small)
    below = (rx * y1) ** 2 + (ry * x1) ** 2
    factor = math.sqrt(max(0.0, (rx * ry) ** 2 - below) / below)
    if large == sweep:
        factor = -factor
    cx1, cy1 = factor * rx * y1 / ry, -factor * ry * x1 / rx
    cx = cos * cx1 - sin * cy1 + (start[0] + end[0]) / 2
    cy = sin * cx1 + cos * cy1 + (start[1] + end[1]) / 2
    first = math.atan2((y1 - cy1) / ry, (x1 - cx1) / rx)
    last = math.atan2((-y1 - cy1) / ry, (-x1 - cx1) / rx)
    span = last - first
    if sweep and span < 0:
        span += 2 * math.pi
    elif not sweep and span > 0:
        span -= 2 * math.pi

    pieces = max(1, math.ceil(abs(span) / (math.pi / 2) - 1e-9))
    step = span / pieces
    reach = 4 / 3 * math.tan(step / 4)

    def place(u: float, v: float) -> tuple[float, float]:
        return cx + cos * rx * u - sin * ry * v, cy + sin * rx * u + cos * ry * v

    found: list[Segment] = []
    for piece in range(pieces):
        a, b = first + piece * step, first + (piece + 1) * step
        one = place(math.cos(a) - reach * math.sin(a), math.sin(a) + reach * math.cos(a))
        two = place(math.cos(b) + reach * math.sin(b), math.sin(b) - reach * math.cos(b))
        found.append(("C", (*one, *two, *place(math.cos(b), math.sin(b)))))
    return found
