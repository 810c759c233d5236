"""A control chart: how far one side of a pair lies off the pair's own baseline, shift by shift."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from shop.drawing.svg import (
    el,
    figure,
    image,
    line,
    num,
    outline,
    rect,
    text,
    ticks_for,
    width_of,
)

WIDE, PHONE = 1100.0, 358.0
HIGH, PHONE_HIGH = 300.0, 260.0
TOP, BOTTOM = 24.0, 34.0
#: The scale shows at least so much either way. [%]
LEAST_REACH = 2.0
#: Of so many points the wildest one stands at the edge, as an arrow, and not in the scale.
ONE_IN = 20

# What a shift is on the chart.
BASELINE = "baseline"
WATCHED = "watched"
PAST = "past"
LEFT_OUT = "left out"


@dataclass(frozen=True, slots=True)
class ChartPoint:
    """One shift. All of A against B, above zero where A does more. [%]

    label: its day, "14 Nov". off: from the baseline; None where it gives no figure.
    error: counting error, one standard deviation. average: moving average after it; limit: how
    far that may lie; None where the shift is not watched. begins_anew: after a change of the pair.
    """

    label: str
    kind: str
    off: float | None
    error: float = 0.0
    average: float | None = None
    limit: float | None = None
    begins_anew: bool = False


@dataclass(frozen=True, slots=True)
class ControlChart:
    """A chart to draw. label: the sentence a screen reader says. above, below: "A more"."""

    label: str
    points: tuple[ChartPoint, ...]
    above: str = "A more"
    below: str = "B more"

    def reach(self) -> float:
        """Return how far the scale goes either way. [%]"""
        limits = [point.limit for point in self.points if point.limit is not None]
        averages = [abs(point.average) for point in self.points if point.average is not None]
        offs = sorted(abs(point.off) for point in self.points if point.off is not None)
        usual = offs[: -(len(offs) // ONE_IN + 1)]
        return max([LEAST_REACH, *limits, *averages, *usual]) * 1.1


def control_chart(chart: ControlChart, *, phone: bool = False) -> str:
    """Return the chart, wide for a desk or narrow for a phone."""
    width, height = (PHONE, PHONE_HIGH) if phone else (WIDE, HIGH)
    left, right = (46.0, width - 8) if phone else (64.0, width - 16)
    bottom = height - BOTTOM
    middle, half = (TOP + bottom) / 2, (bottom - TOP) / 2
    reach = chart.reach()
    room = (right - left) / max(len(chart.points), 1)

    def x(place: int) -> float:
        return left + (place + 0.5) * room

    def y(off: float) -> float:
        return middle - min(max(off / reach, -1.0), 1.0) * half

    out = _scale(chart, y, reach, left, right, bottom)
    out += _anew(chart, x, room, bottom)
    out += _limits(chart, x, y, room)
    out += _averages(chart, x, y)
    for place, point in enumerate(chart.points):
        out.append(_point(point, x(place), y, reach, bottom, small=phone))
    out += _days(chart, x, room, bottom, right)
    return image(
        *out,
        width=width,
        height=height,
        label=chart.label,
        class_="shift-phone" if phone else "shift-wide",
        sized=False,
    )


def _scale(
    chart: ControlChart,
    y: Callable[[float], float],
    reach: float,
    left: float,
    right: float,
    bottom: float,
) -> list[str]:
    out = [rect(left, TOP, right - left, bottom - TOP, "d-white s-ink", stroke_width=1.2)]
    ticks = ticks_for(reach, most=12)
    for value in ticks.values(reach):
        if ticks.rank(value) < 2:
            continue
        for sign, written in ((1, "+"), (-1, "−")):
            at = y(sign * value)
            out.append(line(left, at, right, at, width=0.75, class_="s-hair"))
            words = f"{written}{figure(value)} %"
            out.append(
                text(
                    words, x=left - 6, y=at + 4, size=12, text_anchor="end", class_="d-ink t-narrow"
                )
            )
    out.append(line(left, y(0), right, y(0), width=1.5))
    out.append(
        text("0", x=left - 6, y=y(0) + 4, size=12, text_anchor="end", class_="d-ink t-narrow")
    )
    for words, at in ((chart.above, TOP + 16), (chart.below, bottom - 7)):
        out.append(text(words, x=left + 8, y=at, size=13, class_="d-ink2"))
    return out


def _anew(chart: ControlChart, x: Callable[[int], float], room: float, bottom: float) -> list[str]:
    """Where the pair was changed, so that a fresh baseline begins."""
    out = []
    for place, point in enumerate(chart.points):
        if point.begins_anew and place:
            at = x(place) - room / 2
            out.append(line(at, TOP, at, bottom, width=2, stroke_dasharray="6 3"))
            out.append(
                text("new baseline", x=at, y=TOP - 8, size=12, text_anchor="middle", class_="d-ink")
            )
    return out


def _limits(
    chart: ControlChart, x: Callable[[int], float], y: Callable[[float], float], room: float
) -> list[str]:
    """The limits of the average, a step for each shift, dash-dotted; the word stands at the end."""
    out = []
    for sign in (1, -1):
        data, end = "", None
        for place, point in enumerate(chart.points):
            if point.limit is None:
                continue
            at = y(sign * point.limit)
            start = f"{num(x(place) - room / 2)} {num(at)}"
            joins = end is not None and chart.points[place - 1].limit is not None
            data += f"{'L' if joins else 'M'}{start}L{num(x(place) + room / 2)} {num(at)}"
            end = at
        if end is not None:
            out.append(
                el(
                    "path",
                    d=data,
                    class_="d-none s-oxide",
                    stroke_width=2,
                    stroke_dasharray="9 3 2 3",
                )
            )
            first = next(p for p, point in enumerate(chart.points) if point.limit is not None)
            at = y(sign * (chart.points[first].limit or 0))
            out.append(
                text(
                    "limit",
                    x=x(first) - room / 2 + 2,
                    y=at + (14 if sign < 0 else -5),
                    size=12,
                    class_="d-oxide t-bold",
                )
            )
    return out


def _averages(
    chart: ControlChart, x: Callable[[int], float], y: Callable[[float], float]
) -> list[str]:
    runs: list[list[tuple[float, float]]] = [[]]
    for place, point in enumerate(chart.points):
        if point.begins_anew:
            runs.append([])
        if point.average is not None:
            runs[-1].append((x(place), y(point.average)))
    return [
        el("path", d=outline(*run, closed=False), class_="d-none s-ink", stroke_width=3)
        for run in runs
        if len(run) > 1
    ]


def _point(
    point: ChartPoint,
    at: float,
    y: Callable[[float], float],
    reach: float,
    bottom: float,
    *,
    small: bool,
) -> str:
    """Each kind has a shape of its own: ring, dot, triangle, cross."""
    size = 3.5 if small else 4.5
    if point.off is None:
        return text("×", x=at, y=bottom - 4, size=14, text_anchor="middle", class_="d-ink2")
    here = y(point.off)
    if abs(point.off) > reach:
        tip = size + 2 if point.off > 0 else -size - 2
        arrow = outline((at - size, here + tip), (at + size, here + tip), (at, here))
        return el("path", d=arrow, class_="d-paper s-ink", stroke_width=1.5)
    if point.kind == LEFT_OUT:
        cross = "M{} {}l{s} {s}m-{s} 0l{s} -{s}".format(
            num(at - size), num(here - size), s=num(2 * size)
        )
        return el("path", d=cross, class_="d-none s-ink2", stroke_width=1.5)
    bar = ""
    if abs(y(point.off + point.error) - here) > size:
        top, foot = y(point.off + point.error), y(point.off - point.error)
        bar = line(at, top, at, foot, width=1.2)
    if point.kind == PAST:
        corners = outline(
            (at, here - size - 2), (at + size + 2, here + size), (at - size - 2, here + size)
        )
        return bar + el("path", d=corners, class_="d-oxide s-white", stroke_width=1)
    fill = "d-paper s-ink" if point.kind == BASELINE else "d-ink s-white"
    stroke = 1.8 if point.kind == BASELINE else 1
    return bar + el("circle", cx=at, cy=here, r=size, class_=fill, stroke_width=stroke)


def _days(
    chart: ControlChart, x: Callable[[int], float], room: float, bottom: float, right: float
) -> list[str]:
    """The day of a shift wherever one has room, the last always."""
    out: list[str] = []
    before = right + 40
    for place in range(len(chart.points) - 1, -1, -1):
        words = chart.points[place].label
        half = width_of(words, 12) / 2 + 6
        at = min(x(place), right - half + 6)
        if at + half > before:
            continue
        out.append(line(x(place), bottom, x(place), bottom + 6, width=1))
        out.append(
            text(words, x=at, y=bottom + 20, size=12, text_anchor="middle", class_="d-ink t-narrow")
        )
        before = at - half
    return out
