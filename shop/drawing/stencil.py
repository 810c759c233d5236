"""Stencil numerals, for rig numbers, bins and drawers only."""

from __future__ import annotations

from shop.drawing.svg import el, image

#: One digit on a grid of 60 × 100, stroke 17, butt ends. The 9 is the 6 turned half round.
STROKES: dict[str, str] = {
    "0": "M26 8.5H20L8.5 22V78L20 91.5H26 M34 8.5H40L51.5 22V78L40 91.5H34",
    "1": "M13 25L28 9 M37 0V100",
    "2": "M8.5 30V22L20 8.5H40L51.5 22V38 M50 48L12 80 M4 91.5H56",
    "3": "M8.5 28V22L20 8.5H40L51.5 22V36L45 43 M18 50H36 M45 57L51.5 64V78L40 91.5H20L8.5 78V72",
    "4": "M29 2L8 58 M1 70H30 M42 0V100",
    "5": "M54 8.5H9.5V42 M24 45H40L51.5 57V78L40 91.5H20L8.5 78V72",
    "6": "M44 8.5H20L8.5 22V78L20 91.5H26 M34 91.5H40L51.5 78V60L42 47H25",
    "7": "M4 8.5H56 M50 25L26 100",
    "8": (
        "M26 8.5H20L9 20V38L20 50L8.5 62V79L20 91.5H26 "
        "M34 8.5H40L51 20V38L40 50L51.5 62V79L40 91.5H34"
    ),
    "9": "M16 91.5H40L51.5 78V22L40 8.5H34 M26 8.5H20L8.5 22V40L18 53H35",
}
STEP = 74
CELL_WIDTH = 60
CELL_HEIGHT = 100
STROKE_WIDTH = 17
LEAST_HEIGHT = 20


def digits_of(number: int | str) -> str:
    """Return a rig number as it is stencilled: two digits at least ("04")."""
    return f"{number:02d}" if isinstance(number, int) else number


def can_stencil(number: int | str) -> bool:
    """Tell whether every character has a stencil; the caller writes plain text otherwise."""
    digits = digits_of(number)
    return bool(digits) and all(character in STROKES for character in digits)


def stencil(number: int | str, *, height: float = 40, label: str = "") -> str:
    """Return a number in stencil numerals.

    number: digits, as text or not below 0; an int gets two digits at least.
    height: 20 or more, smaller is drawn at 20. [px]
    label: what is read aloud, "rig 04" unless told.
    Raises ValueError for anything but digits.
    """
    digits = digits_of(number)
    if not can_stencil(digits):
        raise ValueError(f"only digits can be stencilled, not {digits!r}")
    height = max(height, LEAST_HEIGHT)
    width = STEP * (len(digits) - 1) + CELL_WIDTH
    label = label or f"rig {digits}"
    strokes = [
        el("path", d=STROKES[digit], transform=f"translate({place * STEP} 0)" if place else None)
        for place, digit in enumerate(digits)
    ]
    group = el("g", *strokes, class_="s-ink d-none", stroke_width=STROKE_WIDTH)
    drawing = image(
        el("title", label),
        group,
        width=width,
        height=CELL_HEIGHT,
        label=label,
        class_="stencil",
        sized=False,
    )
    size = f'width="{width * height / CELL_HEIGHT:.0f}" height="{height:.0f}" '
    return drawing.replace("<svg ", f"<svg {size}", 1)
