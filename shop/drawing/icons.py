"""Icons: side elevations as on a shop drawing, on a grid of 64, and the hazards of a sheet.

An icon shows a position or a hazard, never a state, and always stands beside its word. SHAPES is
plain path data (M L H V C A Z), so the printed sheet draws the same lines.
"""

from __future__ import annotations

from dataclasses import dataclass

from shop.drawing.svg import el, image


@dataclass(frozen=True, slots=True)
class Shape:
    """One path of an icon on the grid of 64.

    dash: pattern, or none. weight: its stroke as a multiple of the icon's. [1]
    written: entered by a person, so it is drawn in copy-ink.
    """

    d: str
    filled: bool = False
    dash: tuple[float, ...] = ()
    weight: float = 1.0
    written: bool = False


def _circle(x: float, y: float, r: float) -> str:
    return f"M{x - r:g} {y:g}A{r:g} {r:g} 0 1 1 {x + r:g} {y:g}A{r:g} {r:g} 0 1 1 {x - r:g} {y:g}Z"


def _box(x: float, y: float, w: float, h: float) -> str:
    return f"M{x:g} {y:g}H{x + w:g}V{y + h:g}H{x:g}Z"


def _tank(x: float, y: float, w: float, h: float) -> str:
    """A vessel: straight sides, round ends along its longer way."""
    if w > h:
        r = h / 2
        arc = f"A{r:g} {r:g} 0 0 1"
        return (
            f"M{x + r:g} {y:g}H{x + w - r:g}{arc} {x + w - r:g} {y + h:g}"
            f"H{x + r:g}{arc} {x + r:g} {y:g}Z"
        )
    r = w / 2
    arc = f"A{r:g} {r:g} 0 0 1"
    return f"M{x:g} {y + r:g}{arc} {x + w:g} {y + r:g}V{y + h - r:g}{arc} {x:g} {y + h - r:g}Z"


SHAPES: dict[str, tuple[Shape, ...]] = {
    # Skid with two feet, housing, exhaust, a sine in a circle, louvres.
    "generator": (
        Shape(_box(7, 20, 50, 30)),
        Shape("M3 55H61M12 50V55M52 50V55"),
        Shape("M12 20V11H20V20"),
        Shape(_circle(25, 35, 9)),
        Shape("M19 35C21 29 23.5 29 25 35C26.5 41 29 41 31 35"),
        Shape("M40 28H51M40 33H51M40 38H51M40 43H51"),
    ),
    # Receiver on feet, motor, finned head.
    "compressor": (
        Shape(_tank(4, 32, 56, 18)),
        Shape("M14 50L11 56M50 50L53 56"),
        Shape(_circle(19, 23, 9)),
        Shape("M28 20H36M28 26H36"),
        Shape("M36 32V13H52V32M33 17H55M33 22H55M33 27H55"),
    ),
    # Two towers, valves above and below.
    "dryer": (
        Shape(_tank(12, 12, 17, 40)),
        Shape(_tank(35, 12, 17, 40)),
        Shape("M20 12V7H44V12M32 7V2M20 52V57H44V52M32 57V62"),
        Shape("M17 24H24M17 31H24M17 38H24M40 24H47M40 31H47M40 38H47"),
    ),
    # Tank with level line, motor, gauge.
    "hydraulic-unit": (
        Shape(_box(7, 34, 50, 23)),
        Shape("M12 46H52", dash=(4, 3)),
        Shape("M13 34V12H31V34M10 12H34M13 18H31M13 23H31M13 28H31"),
        Shape(_circle(48, 18, 8)),
        Shape("M48 26V34M48 18L52 13"),
    ),
    # Rod, wet cup, cylinder, foot check, an outlet.
    "pump": (
        Shape("M26 3H38M32 3V14"),
        Shape(_box(23, 14, 18, 8)),
        Shape(_box(25, 22, 14, 20)),
        Shape("M39 27H50V20"),
        Shape(_box(22, 42, 20, 10)),
        Shape(_circle(32, 47, 2.6), filled=True),
        Shape("M32 52V61M27 61H37"),
    ),
    # A hand pump's short brother: it stands in a drum and lifts from it.
    "feed-pump": (
        Shape("M25 3H39V13H25ZM32 13V40"),
        Shape("M39 8H52V16"),
        Shape("M14 22H50V59H14Z"),
        Shape("M14 33H50M14 48H50"),
        Shape("M28 40H36V54H28Z"),
    ),
    # Block with a coil in it.
    "preheater": (
        Shape(_box(12, 9, 40, 46)),
        Shape("M4 46H19V18H27V46H35V18H43V46H47"),
        Shape("M47 18H60M47 18V46"),
    ),
    # A paired bend with couplings.
    "hose": (
        Shape(
            "M4 17H40C50 17 56 22 56 30C56 38 50 43 40 43H24C19 43 17 46 17 49C17 53 20 55 24 55H60"
        ),
        Shape("M4 25H40C44 25 47 27 47 30C47 33 44 35 40 35H24C14 35 8 41 8 49"),
        Shape("M12 13V29M52 51V59"),
    ),
    "gun": (
        Shape("M6 17H14V13H40L46 17H54V29H47L44 31H14V29H6Z"),
        Shape("M54 22H61M46 17V8"),
        Shape("M38 31L44 57H54L48 29"),
        Shape("M36 31V40L40 42"),
        Shape(_circle(22, 22, 3.5)),
    ),
    # Two inlets, one outlet, the blade on one of them.
    "transfer-switch": (
        Shape(_box(11, 6, 42, 52)),
        Shape("M22 6V17M42 6V17M32 58V45"),
        Shape(_circle(22, 19, 2.5)),
        Shape(_circle(42, 19, 2.5)),
        Shape(_circle(32, 43, 2.5)),
        Shape("M31 41L23 22"),
    ),
    "trailer": (
        Shape(_box(12, 12, 48, 34)),
        Shape("M12 42H2M2 38V46"),
        Shape(_circle(30, 50, 7)),
        Shape(_circle(46, 50, 7)),
        Shape("M52 46V20H42V43"),
    ),
    "panel": (
        Shape(_box(12, 6, 40, 52)),
        Shape(_box(18, 13, 28, 12)),
        Shape(_circle(23, 36, 3.5)),
        Shape(_circle(41, 36, 3.5)),
        Shape("M20 48H28M36 48H44"),
    ),
    # An extinguisher: bottle, handle, hose.
    "safety": (
        Shape("M20 24A8 8 0 0 1 28 16H36A8 8 0 0 1 44 24V58H20Z"),
        Shape("M28 16V9H36V16M36 9L48 5M28 9H22"),
        Shape("M28 11C16 11 12 20 12 34M9 34H15V42H9Z"),
        Shape("M20 32H44M20 44H44"),
    ),
    "drum": (
        Shape("M14 8H50V56H14Z"),
        Shape("M12 8H52M12 24H52M12 40H52M12 56H52"),
        Shape("M38 8V4H44V8"),
    ),
}

#: What a position without a drawing of its own gets.
PLAIN = (Shape(_box(10, 14, 44, 36)), Shape("M10 22H54"))

_DROP = "M32 8C40 20 46 28 46 38A14 14 0 0 1 18 38C18 28 24 20 32 8Z"

HAZARDS: dict[str, tuple[Shape, ...]] = {
    # A jet leaving a fitting.
    "pressure": (Shape("M4 32H20M20 20L34 26V38L20 44ZM34 32H60M50 24L60 32L50 40"),),
    "lungs": (
        Shape("M32 6V26M32 26L24 32M32 26L40 32"),
        Shape("M24 14C14 16 8 32 8 50C8 58 14 58 20 54C25 51 26 48 26 42V20C26 16 26 14 24 14Z"),
        Shape("M40 14C50 16 56 32 56 50C56 58 50 58 44 54C39 51 38 48 38 42V20C38 16 38 14 40 14Z"),
    ),
    "heat": (
        Shape("M10 52H54"),
        Shape("M18 44C12 36 24 30 18 20C16 16 17 12 18 10"),
        Shape("M32 44C26 36 38 30 32 20C30 16 31 12 32 10"),
        Shape("M46 44C40 36 52 30 46 20C44 16 45 12 46 10"),
    ),
    "electricity": (Shape("M36 4L16 36H30L26 60L48 26H34Z"),),
    "fire": (
        Shape(
            "M32 4C36 16 52 24 52 42A20 18 0 0 1 12 42"
            "C12 34 18 28 20 20C24 24 26 28 26 32C32 26 34 16 32 4Z"
        ),
        Shape("M32 58C24 58 22 50 26 46C29 43 32 40 32 36C38 42 42 48 40 53C39 56 36 58 32 58Z"),
    ),
    "hand": (
        Shape(
            "M20 58V44L10 32C8 28 12 26 15 29L22 36V12C22 8 28 8 28 12V28V8C28 4 34 4 34 8V28"
            "V10C34 6 40 6 40 10V30V16C40 12 46 12 46 16V44L42 58Z"
        ),
    ),
    "eye": (
        Shape("M4 32C14 16 24 12 32 12C40 12 50 16 60 32C50 48 40 52 32 52C24 52 14 48 4 32Z"),
        Shape(_circle(32, 32, 10)),
        Shape(_circle(32, 32, 3), filled=True),
    ),
    # A drop going into a finger.
    "injection": (
        Shape("M4 20H26L32 26M4 44H26L32 38M32 32H60"),
        Shape("M40 26L34 32L40 38M48 22V42"),
    ),
    "chemical": (
        Shape("M26 6H38M28 6V24L12 54C10 58 12 60 16 60H48C52 60 54 58 52 54L36 24V6M19 44H45"),
    ),
    # Two rollers drawing in.
    "entanglement": (
        Shape(_circle(22, 22, 14)),
        Shape(_circle(42, 44, 14)),
        Shape("M22 22H23M42 44H43M58 20L46 28M46 21V28H53"),
    ),
    "crush": (Shape("M8 8H56V22H8ZM8 58H56M32 50V26M24 34L32 26M40 34L32 26M20 50H44V58"),),
    "noise": (
        Shape("M8 24H18L32 12V52L18 40H8Z"),
        Shape("M40 24C44 28 44 36 40 40M47 17C55 25 55 39 47 47"),
    ),
    "gas": (
        Shape("M14 46A10 10 0 0 1 14 26A14 14 0 0 1 40 20A13 13 0 0 1 50 46Z"),
        Shape("M20 54H24M30 54H34M40 54H44"),
    ),
    "cold": (Shape("M32 4V60M8 18L56 46M56 18L8 46M26 8L32 14L38 8M26 56L32 50L38 56"),),
    "road": (Shape("M20 6L8 58M44 6L56 58M32 8V18M32 26V38M32 46V58"),),
    "spill": (Shape(_DROP), Shape("M10 58H54")),
    "start": (Shape(_circle(32, 34, 22)), Shape("M32 4V32")),
    "warning": (
        Shape("M32 6L60 56H4Z"),
        Shape("M32 24V40"),
        Shape(_circle(32, 48, 2.2), filled=True),
    ),
}

SIGNS: dict[str, tuple[Shape, ...]] = {
    "camera": (Shape("M6 18H20L24 11H40L44 18H58V52H6Z"), Shape(_circle(32, 34, 11))),
    "lock": (Shape("M10 28H54V60H10Z", filled=True), Shape("M19 28V19A13 13 0 0 1 45 19V28")),
    "tick": (Shape("M10 34L26 50L54 14", weight=2.6),),
    "box": (Shape(_box(5, 5, 54, 54)),),
    "box-ticked": (
        Shape(_box(5, 5, 54, 54)),
        Shape("M16 32L28 46L50 14", weight=2.6, written=True),
    ),
    "box-barred": (Shape(_box(5, 5, 54, 54)), Shape("M16 32H48", weight=2.6, written=True)),
    "search": (Shape(_circle(27, 27, 17)), Shape("M40 40L58 58")),
    "kept": (Shape(_box(6, 16, 52, 34)),),
    "sending": (Shape(_box(6, 16, 52, 34)), Shape("M18 33H44M35 24L44 33L35 42")),
    "sent": (Shape(_box(6, 16, 52, 34)), Shape("M20 33L29 42L46 24")),
    "refused": (Shape(_box(6, 16, 52, 34)), Shape("M24 25L40 41M40 25L24 41")),
    "no-signal": (
        Shape("M12 50V46M22 50V38M32 50V30M42 50V22M52 50V14", dash=(4, 3)),
        Shape("M8 10L58 58"),
    ),
}

#: Words a caution's hazard may contain, first match wins; the text of the caution stays the truth.
_HAZARD_WORDS: tuple[tuple[str, str], ...] = (
    ("debris", "eye"),
    ("inject", "injection"),
    ("isocyanate on skin", "hand"),
    ("skin", "hand"),
    ("isocyanate", "lungs"),
    ("breath", "lungs"),
    ("vapour", "lungs"),
    ("respirat", "lungs"),
    ("carbon monoxide", "gas"),
    ("exhaust", "gas"),
    ("shock", "electricity"),
    ("electr", "electricity"),
    ("arc", "electricity"),
    ("short circuit", "electricity"),
    ("fire", "fire"),
    ("scald", "heat"),
    ("burn", "heat"),
    ("heat", "heat"),
    ("hot", "heat"),
    ("frost", "cold"),
    ("pressure", "pressure"),
    ("hydraulic", "pressure"),
    ("entangle", "entanglement"),
    ("start", "start"),
    ("crush", "crush"),
    ("strain", "crush"),
    ("noise", "noise"),
    ("eye", "eye"),
    ("crash", "road"),
    ("tow", "road"),
    ("spill", "spill"),
    ("chemical", "chemical"),
    ("acid", "chemical"),
    ("bystander", "lungs"),
)


def hazard_kind(hazard: str) -> str:
    """Return the key of the sign for a hazard's slug or words; "warning" when none fits."""
    words = hazard.casefold()
    if words in HAZARDS:
        return words
    return next((kind for word, kind in _HAZARD_WORDS if word in words), "warning")


def _draw(shapes: tuple[Shape, ...], *, size: float, stroke: float) -> str:
    paths = [
        el(
            "path",
            d=shape.d,
            class_="d-fill" if shape.filled else "s-written" if shape.written else None,
            stroke_dasharray=" ".join(f"{part:g}" for part in shape.dash) or None,
            stroke_width=None if shape.weight == 1 else stroke * shape.weight,
        )
        for shape in shapes
    ]
    group = el("g", *paths, class_="d-icon", stroke_width=stroke)
    drawing = image(group, width=64, height=64, label="", class_="icon", sized=False)
    return drawing.replace("<svg ", f'<svg width="{size:.0f}" height="{size:.0f}" ', 1)


def shapes_of(kind: str) -> tuple[Shape, ...]:
    """Return the paths of a position's icon; a plain framed box for an unknown kind."""
    return SHAPES.get(kind, PLAIN)


def icon(kind: str, *, size: float = 40) -> str:
    """Return the icon of a kind of position; hidden from readers, since its word stands by it.

    size: edge of the square. [px]
    """
    return _draw(SIGNS.get(kind) or shapes_of(kind), size=size, stroke=2 if size >= 50 else 2.5)


def hazard_icon(slug: str, *, size: float = 40) -> str:
    """Return the sign of a hazard, by slug ("lungs") or by the words of a caution."""
    return _draw(HAZARDS[hazard_kind(slug)], size=size, stroke=2.6 if size < 50 else 2.2)
