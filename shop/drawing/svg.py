"""Writing SVG as text: numbers, escaping, the few shapes every drawing shares."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from html import escape

Attribute = str | float | int | None


def num(value: float) -> str:
    """Return a coordinate with at most two decimals and no trailing zeros. [px]"""
    text = f"{value:.2f}".rstrip("0").rstrip(".")
    return "0" if text in ("-0", "") else text


def el(name: str, *children: str, **attributes: Attribute) -> str:
    """Return an element; children are SVG already, attribute values are escaped.

    `class_` writes `class`, other underscores become hyphens, None leaves the attribute out.
    """
    parts = [name]
    for key, value in attributes.items():
        if value is None:
            continue
        written = value if isinstance(value, str) else num(value)
        label = key.rstrip("_") if key.endswith("_") else key.replace("_", "-")
        label = {"viewbox": "viewBox", "preserveaspectratio": "preserveAspectRatio"}.get(
            label, label
        )
        parts.append(f'{label}="{escape(written, quote=True)}"')
    if children:
        return f"<{' '.join(parts)}>{''.join(children)}</{name}>"
    return f"<{' '.join(parts)}/>"


def text(words: str, *, x: float, y: float, size: float, **attributes: Attribute) -> str:
    """Return a text element with its words escaped."""
    return el("text", escape(words), x=x, y=y, font_size=size, **attributes)


def outline(*points: tuple[float, float], closed: bool = True) -> str:
    """Return the path data of straight lines from point to point. [px]"""
    data = "L".join(f"{num(x)} {num(y)}" for x, y in points)
    return f"M{data}{'Z' if closed else ''}"


def rect(
    x: float, y: float, width: float, height: float, class_: str, **attributes: Attribute
) -> str:
    """Return a rectangle. [px]"""
    return el("rect", x=x, y=y, width=width, height=height, class_=class_, **attributes)


def line(
    x1: float, y1: float, x2: float, y2: float, *, width: float, **attributes: Attribute
) -> str:
    """Return a straight line of the given width. [px]"""
    attributes.setdefault("class_", "s-ink")
    return el("line", x1=x1, y1=y1, x2=x2, y2=y2, stroke_width=width, **attributes)


def image(
    *children: str,
    width: float,
    height: float,
    label: str,
    class_: str,
    ident: str = "",
    sized: bool = True,
) -> str:
    """Return a whole drawing, one image with one sentence to a screen reader.

    label: the sentence; empty hides the drawing, for where the words stand beside it.
    sized: write width and height too, so that it keeps its size before the style sheet comes.
    """
    return el(
        "svg",
        *children,
        xmlns="http://www.w3.org/2000/svg",
        viewbox=f"0 0 {num(width)} {num(height)}",
        width=width if sized else None,
        height=height if sized else None,
        class_=class_,
        id=ident or None,
        role="img" if label else None,
        aria_label=label or None,
        aria_hidden=None if label else "true",
        focusable="false",
    )


def hatch(
    x: float, y: float, width: float, height: float, *, gap: float, back: bool = False
) -> str:
    """Return the path data of 45° lines clipped to a rectangle.

    Lines are cut by arithmetic, not by a pattern: a pattern needs an id that no other drawing on
    the page may use. gap: distance between lines along the x axis, > 0. [px]
    back: lean the other way, like a backslash.
    """
    if gap <= 0:
        raise ValueError("the gap of a hatch must be above zero")
    if width <= 0 or height <= 0:
        return ""
    parts = []
    offset = gap / 2
    while offset < width + height:
        # The line u + v = offset inside 0..width, 0..height, v measured up from the lower edge.
        start, end = max(0.0, offset - height), min(width, offset)
        if end - start > 0.01:
            v_start, v_end = offset - start, offset - end
            if back:
                points = (x + start, y + height - v_start, x + end, y + height - v_end)
            else:
                points = (x + start, y + v_start, x + end, y + v_end)
            parts.append("M{} {}L{} {}".format(*(num(p) for p in points)))
        offset += gap
    return "".join(parts)


def figure(value: float) -> str:
    """Return a number as people read it: 12,480 · 0.045 · −3."""
    rounded = round(value, 4)
    words = f"{abs(rounded):,.4f}".rstrip("0").rstrip(".")
    return f"−{words}" if rounded < 0 else words


def life_figure(life: float) -> str:
    """Return a life without false digits: 203, not 202.72; 41.5; 0.25."""
    return figure(round(life, 0 if life >= 100 else 1 if life >= 10 else 2))


def width_of(words: str, size: float) -> float:
    """Return about how wide digits and words run in Archivo at weight 600. [px]"""
    narrow = sum(1 for c in words if c in ",.:;'’il ")
    return size * (0.60 * (len(words) - narrow) + 0.33 * narrow)


@dataclass(frozen=True, slots=True)
class Ticks:
    """A 1-2-5 scale: `step` between ticks, `numeral` between numbers, both in the unit drawn."""

    step: float
    numeral: float

    def values(self, end: float) -> Iterator[float]:
        """Yield the tick values above 0 and below `end`."""
        count = 1
        while count * self.step < end * (1 - 1e-9):
            yield count * self.step
            count += 1

    def rank(self, value: float) -> int:
        """Return 2 at a numeral, 1 halfway between two, 0 elsewhere."""
        ratio = value / self.numeral
        if abs(ratio - round(ratio)) < 1e-6:
            return 2
        return 1 if abs(ratio * 2 - round(ratio * 2)) < 1e-6 else 0


def ticks_for(span: float, *, most: int = 26) -> Ticks:
    """Return the finest 1-2-5 ticks for 0..span with 2 to 5 numerals and at most `most` ticks.

    span: > 0, in the unit drawn. Raises ValueError otherwise.
    """
    if not span > 0:
        raise ValueError("a scale needs a span above zero")
    power = 10.0 ** (len(str(int(span))) - 1)
    while power > span:
        power /= 10
    found: list[tuple[int, int, Ticks]] = []
    for mantissa, divisors in ((1, (1, 2, 5, 10)), (2, (1, 2, 4, 10, 20)), (5, (1, 5, 10))):
        for scale in (power / 10, power):
            numeral = mantissa * scale
            numerals = _below(span, numeral)
            if not 2 <= numerals <= 5:
                continue
            for divisor in divisors:
                count = _below(span, numeral / divisor)
                if count <= most:
                    found.append((count, numerals, Ticks(numeral / divisor, numeral)))
    if not found:
        return Ticks(span / 2, span / 2)
    return max(found, key=lambda entry: entry[:2])[2]


def _below(span: float, step: float) -> int:
    """Return how many multiples of step lie above 0 and below span."""
    count = int(span / step + 1e-9)
    return count - 1 if abs(count * step - span) < span * 1e-9 else count
