"""Stock against time: what was counted and moved, what is forecast, and when to buy."""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import date, timedelta

from shop.drawing.days import MONTHS
from shop.drawing.svg import el, image, line, num, outline, rect, text, ticks_for, width_of

Place = Callable[[float], float]

WIDE, PHONE = 760.0, 358.0
#: From the top: the plate of now, the field, the months, the key.
PLATE, FIELD, FOOT, KEY = 28.0, 230.0, 30.0, 26.0
LEFT, RIGHT = 46.0, 4.0
#: Room above the highest stock, as part of it.
HEADROOM = 1.3


@dataclass(frozen=True, slots=True)
class Forecast:
    """What is left after so many days with 90, 50 and 10 % chance at least. [d], [units]

    low <= middle <= high, all >= 0.
    """

    day: float
    low: float
    middle: float
    high: float


@dataclass(frozen=True, slots=True)
class StockPlot:
    """What is drawn. Days count from today; days behind are below 0.

    today: day 0. back, ahead: how far the drawing reaches, > 0. [d]
    held: (day, stock from there on), rising days, the first at -back. [units]
    forecast: rising days, the first at 0.
    point: the reorder point, or None. [units] point_text: the same in words.
    lead: how long an order takes, > 0, or 0 to leave it out. [d]
    buy_day: when the middle falls to the point, >= 0, or None.
    label: the sentence for a screen reader.
    """

    today: date
    back: float
    ahead: float
    held: tuple[tuple[float, float], ...]
    forecast: tuple[Forecast, ...]
    point: float | None
    point_text: str
    lead: float
    buy_day: float | None
    label: str


def top_of(plot: StockPlot) -> float:
    """Return the stock at the upper edge: the highest, and room above it. [units]"""
    most = [stock for _, stock in plot.held] + [each.high for each in plot.forecast]
    return max([*most, plot.point or 0.0, 1.0]) * HEADROOM


def stock_plot(plot: StockPlot, *, phone: bool = False) -> str:
    """Return the drawing, for a desk or for a phone. The table beside it says the same."""
    width = PHONE if phone else WIDE
    top = top_of(plot)
    length = width - LEFT - RIGHT

    def x(day: float) -> float:
        inside = min(max(day, -plot.back), plot.ahead)
        return LEFT + (inside + plot.back) / (plot.back + plot.ahead) * length

    def y(stock: float) -> float:
        return PLATE + FIELD * (1 - stock / top)

    dots = f"dots-{'phone' if phone else 'wide'}"
    out = [_dots(dots), rect(LEFT, PLATE, length, FIELD, "d-white s-ink", stroke_width=1.5)]
    out += _grid(top, y, width)
    out += _months(plot, x, phone=phone)
    out += _band(plot, x, y, dots)
    if plot.point is not None:
        out.append(_point(plot, y, width))
        out += _lead(plot, x, y)
    held = [(x(day), y(stock)) for day, stock in plot.held]
    out.append(_steps([*held, (x(0), held[-1][1])], class_="d-none s-ink", stroke_width=3))
    middle = [(x(each.day), y(each.middle)) for each in plot.forecast]
    if middle:
        end = (x(plot.ahead), middle[-1][1])
        out.append(
            _steps([*middle, end], class_="d-none s-ink", stroke_width=2.5, stroke_dasharray="7 4")
        )
    out += _now(x(0))
    keys = PLATE + FIELD + FOOT
    out += _key(keys + 16, dots, phone=phone)
    return image(
        *out,
        width=width,
        height=keys + KEY * (2 if phone else 1),
        label=plot.label,
        class_="stock-phone" if phone else "stock-wide",
        sized=False,
    )


def _dots(ident: str) -> str:
    dot = el("circle", cx=2, cy=2, r=0.9, class_="d-ink")
    return el(
        "defs",
        el("pattern", dot, id=ident, width=5, height=5, patternUnits="userSpaceOnUse"),
    )


def _grid(top: float, y: Place, width: float) -> Iterator[str]:
    """A hair line and a figure for each mark of the scale."""
    ticks = ticks_for(top, most=8)
    yield text("0", x=LEFT - 8, y=y(0) + 5, size=14, text_anchor="end", class_="d-ink")
    for value in ticks.values(top):
        if value != int(value) and top > 4:
            continue
        yield line(LEFT, y(value), width - RIGHT, y(value), width=1, class_="s-hair")
        if ticks.rank(value) == 2:
            yield text(
                f"{value:,g}", x=LEFT - 8, y=y(value) + 5, size=14, text_anchor="end",
                class_="d-ink",
            )  # fmt: skip


def _months(plot: StockPlot, x: Place, *, phone: bool) -> Iterator[str]:
    foot = PLATE + FIELD
    first = plot.today - timedelta(days=int(plot.back))
    last = plot.today + timedelta(days=int(plot.ahead))
    year, month = first.year, first.month
    free = 0.0
    while (on := date(year, month, 1)) <= last:
        if on >= first:
            at = x((on - plot.today).days)
            yield line(at, foot, at, foot + 7, width=1.5)
            words = MONTHS[month - 1]
            if at >= free and at + width_of(words, 14) < x(plot.ahead) + 4:
                yield text(words, x=at + 4, y=foot + 18, size=14, class_="d-ink")
                free = at + width_of(words, 14) + (4 if phone else 12)
        year, month = (year + 1, 1) if month == 12 else (year, month + 1)


def _band(plot: StockPlot, x: Place, y: Place, dots: str) -> Iterator[str]:
    """Between 10 and 90 %: dotted, with hairline edges."""
    ends = [each.day for each in plot.forecast[1:]] + [plot.ahead]
    for each, end in zip(plot.forecast, ends, strict=True):
        if each.high > each.low and end > each.day:
            yield el(
                "rect", x=x(each.day), y=y(each.high), width=x(end) - x(each.day),
                height=y(each.low) - y(each.high), fill=f"url(#{dots})", class_="s-ink",
                stroke_width=0.75,
            )  # fmt: skip


def _point(plot: StockPlot, y: Place, width: float) -> str:
    at = y(plot.point or 0.0)
    words = f"reorder point {plot.point_text}"
    plate = rect(LEFT + 10, at - 21, width_of(words, 14) + 8, 18, "d-white")
    return el(
        "g",
        line(LEFT, at, width - RIGHT, at, width=2, class_="s-oxide", stroke_dasharray="12 4 3 4"),
        plate,
        text(words, x=LEFT + 14, y=at - 7, size=14, class_="d-oxide t-bold"),
    )


def _lead(plot: StockPlot, x: Place, y: Place) -> Iterator[str]:
    """From the day to buy, the lead time as a dimension line; the day itself is ringed."""
    if plot.buy_day is None or plot.buy_day > plot.ahead:
        return
    start = x(plot.buy_day)
    if plot.lead > 0:
        end, at = x(plot.buy_day + plot.lead), PLATE + 34
        yield line(start, at - 8, start, y(plot.point or 0.0), width=1)
        yield line(end, at - 8, end, at + 8, width=1)
        yield line(start, at, end, at, width=1.2)
        for tip, way in ((start, 1), (end, -1)):
            points = ((tip + 7 * way, at - 4), (tip, at), (tip + 7 * way, at + 4))
            yield el(
                "path", d=outline(*points, closed=False), class_="d-none s-ink", stroke_width=1.2
            )
        words = f"lead time {plot.lead:g} d"
        # Right of the plate of now, and inside the field.
        left = min(start, x(plot.ahead) - width_of(words, 13) - 4)
        yield text(words, x=left, y=at - 10, size=13, class_="d-ink")
    yield el(
        "circle", cx=start, cy=y(plot.point or 0.0), r=5, class_="d-white s-oxide", stroke_width=2
    )


def _steps(points: list[tuple[float, float]], **attributes: str | float) -> str:
    """A line that holds each height until the next point."""
    path = f"M{num(points[0][0])} {num(points[0][1])}"
    for (_, before), (at, after) in itertools.pairwise(points):
        path += f"H{num(at)}"
        if after != before:
            path += f"V{num(after)}"
    return el("path", d=path, **attributes)


def _now(at: float) -> Iterator[str]:
    yield line(at, PLATE - 6, at, PLATE + FIELD, width=1.2)
    yield rect(at - 20, PLATE - 24, 40, 20, "d-ink")
    yield text("now", x=at, y=PLATE - 9, size=14, text_anchor="middle", class_="d-on-ink t-bold")


def _key(at: float, dots: str, *, phone: bool) -> Iterator[str]:
    second = at + KEY if phone else at
    yield line(LEFT, at - 5, LEFT + 30, at - 5, width=3)
    yield text("counted and moved", x=LEFT + 38, y=at, size=14, class_="d-ink")
    left = LEFT + 190
    yield line(left, at - 5, left + 30, at - 5, width=2.5, stroke_dasharray="7 4")
    yield text(
        "middle" if phone else "forecast, middle", x=left + 38, y=at, size=14, class_="d-ink"
    )
    left = LEFT if phone else LEFT + 360
    yield el(
        "rect", x=left, y=second - 12, width=30, height=14, fill=f"url(#{dots})", class_="s-ink",
        stroke_width=0.75,
    )  # fmt: skip
    yield text("10 – 90 %", x=left + 38, y=second, size=14, class_="d-ink")
