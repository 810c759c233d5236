"""Two exploded views, drawn here, of nothing that anybody sells: a gun, a pump's fluid section."""

from collections.abc import Sequence
from dataclasses import dataclass
from io import BytesIO
from pathlib import Path
from typing import Any, Final

from PIL import Image, ImageDraw, ImageFont

SIZE: Final = (1600, 640)
INK: Final = "black"
WIDE: Final = 5
FINE: Final = 3
FONT: Final = Path(__file__).parent.parent / "paper" / "fonts" / "Archivo-Regular.ttf"
AXIS: Final = 250
NUMBERS: Final = 470


@dataclass(frozen=True, slots=True)
class Piece:
    """One part on the axis. form: box, ring, ball, cone or rod; width, height. [px]"""

    name: str
    form: str
    width: int
    height: int


GUN: Final = (
    Piece("tip", "cone", 70, 70),
    Piece("cover", "box", 80, 150),
    Piece("mix chamber", "rod", 200, 46),
    Piece("side seal A", "ring", 46, 110),
    Piece("side seal B", "ring", 46, 110),
    Piece("O-rings", "ring", 30, 84),
    Piece("body", "box", 170, 220),
    Piece("air piston", "rod", 150, 120),
    Piece("handle", "box", 150, 300),
)
PUMP: Final = (
    Piece("rod", "rod", 230, 40),
    Piece("wet cup", "box", 90, 150),
    Piece("packing", "ring", 110, 120),
    Piece("cylinder", "box", 260, 130),
    Piece("piston", "box", 90, 110),
    Piece("piston seal", "ring", 46, 116),
    Piece("ball", "ball", 70, 70),
    Piece("seat", "ring", 40, 100),
    Piece("foot check", "box", 120, 160),
)


def drawn(pieces: Sequence[Piece]) -> BytesIO:
    """A PNG: the pieces pulled apart along their axis, each with its number; below, their names."""
    picture = Image.new("L", SIZE, "white")
    pen = ImageDraw.Draw(picture)
    gap = (SIZE[0] - 80 - sum(piece.width for piece in pieces)) // (len(pieces) - 1)
    for left in range(40, SIZE[0] - 40, 36):  # the axis: long dash, short dash
        pen.line((left, AXIS, left + 20, AXIS), fill=INK, width=1)
        pen.line((left + 26, AXIS, left + 30, AXIS), fill=INK, width=1)
    number = ImageFont.truetype(str(FONT), 34)
    left = 40
    for place, piece in enumerate(pieces, 1):
        _draw(pen, piece, left)
        middle = left + piece.width // 2
        pen.line((middle, AXIS + piece.height // 2, middle, NUMBERS - 30), fill=INK, width=1)
        round_it = (middle - 27, NUMBERS - 30, middle + 27, NUMBERS + 24)
        pen.ellipse(round_it, outline=INK, width=FINE, fill="white")
        pen.text((middle, NUMBERS - 3), str(place), fill=INK, font=number, anchor="mm")
        left += piece.width + gap
    names = ImageFont.truetype(str(FONT), 30)
    listed = [f"{place} {piece.name}" for place, piece in enumerate(pieces, 1)]
    half = (len(listed) + 1) // 2
    for row, words in enumerate((listed[:half], listed[half:])):
        pen.text((40, 530 + 44 * row), "    ".join(words), fill=INK, font=names)
    file = BytesIO()
    picture.save(file, "PNG")
    file.seek(0)
    return file


def _draw(pen: ImageDraw.ImageDraw, piece: Piece, left: int) -> None:
    right, top, bottom = left + piece.width, AXIS - piece.height // 2, AXIS + piece.height // 2
    look: dict[str, Any] = {"outline": INK, "width": WIDE, "fill": "white"}
    if piece.form == "ball":
        pen.ellipse((left, top, right, bottom), **look)
        pen.arc((left + 12, top + 12, right - 12, bottom - 12), 190, 280, fill=INK, width=FINE)
    elif piece.form == "cone":
        pen.polygon(
            [(right, top), (right, bottom), (left, AXIS + 14), (left, AXIS - 14)],
            outline=INK,
            width=WIDE,
            fill="white",
        )
    elif piece.form == "ring":
        pen.rounded_rectangle((left, top, right, bottom), radius=12, **look)
        for line in (AXIS - piece.height // 5, AXIS + piece.height // 5):
            pen.line((left, line, right, line), fill=INK, width=FINE)
    elif piece.form == "rod":
        pen.rounded_rectangle((left, top, right, bottom), radius=10, **look)
        pen.line((left + 24, top, left + 24, bottom), fill=INK, width=FINE)
        pen.line((right - 24, top, right - 24, bottom), fill=INK, width=FINE)
    else:
        pen.rectangle((left, top, right, bottom), **look)
        inner = piece.height // 4
        pen.line((left, AXIS - inner, right, AXIS - inner), fill=INK, width=1)
        pen.line((left, AXIS + inner, right, AXIS + inner), fill=INK, width=1)
