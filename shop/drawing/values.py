"""Measured values of one thing over the days, its limits, and its trend to where it meets one."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

from shop.drawing.svg import el, figure, image, line, outline, rect, text, width_of

WIDE, PHONE = 1100.0, 358.0
HIGH, PHONE_HIGH = 240.0, 220.0
TOP, BOTTOM = 14.0, 34.0
#: The scale shows about so many lines.
LINES = 4
#: Room over the highest and under the lowest thing drawn, of their distance. [1]
MARGIN = 0.16

Place = Callable[[float], float]


@dataclass(frozen=True, slots=True)
class ChartValue:
    """One value. day: from the first day drawn, >= 0. [d] label: its day, "3 Nov"."""

    day: float
    value: float
    label: str
    is_past: bool = False


@dataclass(frozen=True, slots=True)
class Line:
    """Where the trend stands on the day of the first value and on a later day. [unit]"""

    first: float
    last: float


@dataclass(frozen=True, slots=True)
class ValueChart:
    """What is drawn. Days count from that of the first value.

    values: at least one, in the order of their days. low, high: limits, None without one. [unit]
    trend: on the days of the first and the last value; None: no sure one.
    meets: the day it meets a limit, and its label; None without. [d]
    label: the sentence for a screen reader.
    """

    values: tuple[ChartValue, ...]
    unit: str
    low: float | None
    high: float | None
    trend: Line | None
    meets: tuple[float, str] | None
    label: str


def value_chart(chart: ValueChart, *, phone: bool = False) -> str:
    """Return the chart, wide for a desk or narrow for a phone.

    Dot: a value; triangle: past a limit; dash and dot: a limit; thick line: the trend, broken
    where it runs ahead, to the ring where it meets the limit.
    """
    width, height = (PHONE, PHONE_HIGH) if phone else (WIDE, HIGH)
    bottom = height - BOTTOM
    lowest, highest, step = _scale(chart)
    marks = _marks(lowest, highest, step)
    left = max(width_of(words, 12) for _, words in marks) + 14
    right = width - 12.0
    last = chart.values[-1].day
    until = max(last, chart.meets[0] if chart.meets else 0.0, 1.0)

    def x(day: float) -> float:
        # A little inside, so that the first and the last mark stand whole.
        return left + 14 + day / until * (right - left - 28)

    def y(value: float) -> float:
        return bottom - (value - lowest) / (highest - lowest) * (bottom - TOP)

    out = [rect(left, TOP, right - left, bottom - TOP, "d-white s-ink", stroke_width=1.2)]
    for value, words in marks:
        at = y(value)
        out.append(line(left, at, right, at, width=0.75, class_="s-hair"))
        out.append(text(words, x=left - 6, y=at + 4, size=12, text_anchor="end", class_="d-ink"))
    out += [
        *_limit(chart.high, y, left, right, chart.unit, above=True),
        *_limit(chart.low, y, left, right, chart.unit, above=False),
        *_trend(chart, x, y),
    ]
    out += [
        _value(each, x(each.day), y(each.value), upward=_is_over(each, chart))
        for each in chart.values
    ]
    out += _days(chart, x, bottom, left, right)
    return image(
        *out,
        width=width,
        height=height,
        label=chart.label,
        class_="shift-phone" if phone else "shift-wide",
        sized=False,
    )


def _scale(chart: ValueChart) -> tuple[float, float, float]:
    """The lowest and the highest value drawn, and a step of 1, 2 or 5 between its lines."""
    shown = [each.value for each in chart.values]
    shown += [each for each in (chart.low, chart.high) if each is not None]
    low, high = min(shown), max(shown)
    room = (high - low) * MARGIN or max(abs(high) * MARGIN, 1.0)
    low, high = low - room, high + room
    power = 10.0 ** math.floor(math.log10((high - low) / LINES))
    step = next(m * power for m in (1, 2, 5, 10) if m * power * LINES >= high - low)
    return low, high, step


def _marks(low: float, high: float, step: float) -> list[tuple[float, str]]:
    first, last = math.ceil(low / step), math.floor(high / step)
    return [(each * step, figure(each * step)) for each in range(first, last + 1)]


def _limit(
    limit: float | None, y: Place, left: float, right: float, unit: str, *, above: bool
) -> list[str]:
    if limit is None:
        return []
    at = y(limit)
    words = f"limit {figure(limit)} {unit}".strip()
    # On the side where no value should be.
    base = at - 6 if above else at + 16
    return [
        el("path", d=outline((left, at), (right, at), closed=False), class_="d-none s-oxide",
           stroke_width=2, stroke_dasharray="9 3 2 3"),
        text(words, x=left + 8, y=base, size=13, class_="d-oxide t-bold"),
    ]  # fmt: skip


def _trend(chart: ValueChart, x: Place, y: Place) -> list[str]:
    if chart.trend is None:
        return []
    first, last = chart.values[0].day, chart.values[-1].day
    start, end = (x(first), y(chart.trend.first)), (x(last), y(chart.trend.last))
    out = [el("path", d=outline(start, end, closed=False), class_="d-none s-ink", stroke_width=3)]
    limit = chart.high if chart.trend.last >= chart.trend.first else chart.low
    if chart.meets is not None and limit is not None:
        met = (x(chart.meets[0]), y(limit))
        out.append(
            el("path", d=outline(end, met, closed=False), class_="d-none s-ink", stroke_width=2,
               stroke_dasharray="6 4")
        )  # fmt: skip
        out.append(
            el("circle", cx=met[0], cy=met[1], r=6, class_="d-white s-oxide", stroke_width=2.5)
        )
    return out


def _is_over(each: ChartValue, chart: ValueChart) -> bool:
    return chart.high is not None and each.value > chart.high


def _value(each: ChartValue, at: float, here: float, *, upward: bool) -> str:
    if not each.is_past:
        return el("circle", cx=at, cy=here, r=4.5, class_="d-ink s-white", stroke_width=1)
    tip = -7 if upward else 7
    foot = 5 if upward else -5
    corners = outline((at, here + tip), (at + 7, here + foot), (at - 7, here + foot))
    return el("path", d=corners, class_="d-oxide s-white", stroke_width=1)


def _days(chart: ValueChart, x: Place, bottom: float, left: float, right: float) -> list[str]:
    """The days of the first and the last value and of the meeting; then others that have room."""
    named = [(each.day, each.label) for each in chart.values]
    order = [named[-1], named[0], *named[1:-1]]
    if chart.meets is not None:
        order.insert(0, chart.meets)
    out: list[str] = []
    taken: list[tuple[float, float]] = []
    for day, words in order:
        half = width_of(words, 12) / 2
        middle = min(max(x(day), left + half), right - half)
        if any(middle - half < end + 8 and middle + half > start - 8 for start, end in taken):
            continue
        taken.append((middle - half, middle + half))
        out.append(line(x(day), bottom, x(day), bottom + 6, width=1))
        out.append(
            text(words, x=middle, y=bottom + 20, size=12, text_anchor="middle", class_="d-ink")
        )
    return out
