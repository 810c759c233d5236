"""The owner's scale: parts spend per gallon, one bar a rig, so that rigs can be compared by eye."""

from __future__ import annotations

from dataclasses import dataclass

from shop.drawing.svg import el, image, line, rect, text, ticks_for

WIDTH, ROW, LEFT = 560.0, 52.0, 1.0


@dataclass(frozen=True, slots=True)
class SpendBar:
    """One rig's spend per gallon.

    value_cents_per_gal: these twelve months, None when it sprayed nothing. [¢ / gal]
    before_cents_per_gal: the twelve before, drawn as a ring, or None. [¢ / gal]
    """

    number: int
    name: str
    value_cents_per_gal: float | None
    before_cents_per_gal: float | None = None


def top_of(bars: list[SpendBar]) -> float:
    """Return where the scale ends: the dearest bar or ring and room for its figure. [¢ / gal]"""
    values = [
        v
        for bar in bars
        for v in (bar.value_cents_per_gal, bar.before_cents_per_gal)
        if v is not None
    ]
    return max(max(values, default=0.0) * 1.18, 1.0)


def _place(value: float, top: float) -> float:
    return LEFT + value / top * (WIDTH - 2)


def _cents(value: float) -> str:
    return f"{value:,.1f} ¢"


def figure_of(bar: SpendBar) -> str:
    """Return the bar's figure in words."""
    value = bar.value_cents_per_gal
    return "no gallons yet" if value is None else _cents(value)


def spend_scale(top: float) -> str:
    """Return the rule above the bars, ticked in cents a gallon.

    top: where the scale ends, > 0. [¢ / gal]
    """
    ticks = ticks_for(top)
    out = [rect(LEFT, 1, WIDTH - 2, 38, "d-white s-ink", stroke_width=1.5)]
    for value in ticks.values(top):
        x = _place(value, top)
        rank = ticks.rank(value)
        out.append(line(x, 39, x, 39 - (7, 13, 20)[rank], width=1.2))
        if rank == 2 and x < WIDTH - 40:
            out.append(text(f"{value:g} ¢", x=x + 5, y=17, size=14, class_="d-ink t-bold"))
    return image(
        *out,
        width=WIDTH,
        height=40,
        label="Scale in cents a gallon",
        class_="bar-wide",
        sized=False,
    )


def spend_bar(bar: SpendBar, *, top: float, fleet: float | None = None) -> str:
    """Return one rig's bar on the scale that ends at `top`. [¢ / gal]

    fleet: all rigs together, a dotted line through every row.
    """
    middle = ROW / 2
    out = [
        line(_place(v, top), 0, _place(v, top), ROW, width=1, class_="s-hair")
        for v in ticks_for(top).values(top)
        if ticks_for(top).rank(v) == 2
    ]
    if fleet is not None:
        x = _place(fleet, top)
        out.append(line(x, 0, x, ROW, width=1.5, stroke_dasharray="2 3"))
    value, before = bar.value_cents_per_gal, bar.before_cents_per_gal
    said = f"{bar.number:02d} {bar.name}: no gallons yet"
    right = LEFT
    if value is not None:
        x = _place(value, top)
        out.append(rect(LEFT, middle - 8, max(x - LEFT, 0), 16, "d-steel s-ink", stroke_width=1.2))
        out.append(line(x, middle - 13, x, middle + 13, width=3))
        said = f"{bar.number:02d} {bar.name}: {_cents(value)} a gallon"
        right = x
    if before is not None:
        x = _place(before, top)
        out.append(el("circle", cx=x, cy=middle, r=6, class_="d-paper s-ink", stroke_width=2))
        said += f", {_cents(before)} the year before"
        right = max(right, x + 6)
    words = figure_of(bar)
    # A plate of paper under the figure, where the line of all rigs would run through it.
    reach = right + 8
    plate = rect(reach - 2, middle - 11, len(words) * 8.5 + 4, 22, "d-paper")
    weight = "d-ink2" if value is None else "d-ink t-bold"
    figure = text(words, x=reach, y=middle + 5.5, size=16, class_=weight)
    out.append(el("g", plate, figure, class_="d-figure"))
    return image(*out, width=WIDTH, height=ROW, label=said, class_="bar-wide", sized=False)
