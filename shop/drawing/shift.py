"""One day of a rig's log as a picture: strokes of both sides, heat and pressure over the hours."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field

from shop.drawing.svg import (
    el,
    figure,
    hatch,
    image,
    line,
    num,
    outline,
    rect,
    text,
    ticks_for,
    width_of,
)

SLOT_MINUTES = 5
DAY_MINUTES = 24 * 60
#: How a side's line is drawn: never told apart by colour.
DASHES = {"A": None, "B": "2 3", "hose": "9 4"}
STROKES_HIGH, TRACE_HIGH, BETWEEN, RULER = 132.0, 84.0, 30.0, 30.0
WIDE, PHONE = 1100.0, 358.0


@dataclass(frozen=True, slots=True)
class Line:
    """What one sensor read over the day. side: "A", "B" or "hose"; points: (minute, value)."""

    side: str
    points: tuple[tuple[float, float], ...]


@dataclass(frozen=True, slots=True)
class Traces:
    """The sensors of one kind. name: "Temperature, °F"."""

    name: str
    lines: tuple[Line, ...]


@dataclass(frozen=True, slots=True)
class ShiftPicture:
    """A day to draw. Minutes are of the shop's calendar day, 0 to 1,440.

    label: the sentence a screen reader says.
    strokes_a, strokes_b: (minute at which a slot of five begins, strokes in it).
    gaps: stretches that were not logged. off_ratio: minutes with the sides off ratio.
    resets: (minute, side).
    """

    label: str
    strokes_a: tuple[tuple[float, float], ...] = ()
    strokes_b: tuple[tuple[float, float], ...] = ()
    gaps: tuple[tuple[float, float], ...] = ()
    off_ratio: tuple[float, ...] = ()
    resets: tuple[tuple[float, str], ...] = ()
    traces: tuple[Traces, ...] = field(default=())

    def span(self) -> tuple[int, int]:
        """Return the whole hours that the day's rows lie in. [min]"""
        minutes = [
            *(minute for minute, _ in (*self.strokes_a, *self.strokes_b)),
            *(minute for kind in self.traces for one in kind.lines for minute, _ in one.points),
            *(minute for gap in self.gaps for minute in gap),
        ]
        if not minutes:
            return 0, DAY_MINUTES
        first = int(min(minutes) // 60) * 60
        last = -int(-(max(minutes) + SLOT_MINUTES) // 60) * 60
        return max(first, 0), min(max(last, first + 60), DAY_MINUTES)


def shift_day(picture: ShiftPicture, *, phone: bool = False) -> str:
    """Return the picture, wide for a desk or narrow for a phone."""
    width = PHONE if phone else WIDE
    left, right = (42.0, width - 36) if phone else (64.0, width - 40)
    start, end = picture.span()

    def x(minute: float) -> float:
        return left + (min(max(minute, start), end) - start) / (end - start) * (right - left)

    out = _hours(x, start, end, left, right, phone)
    top = bottom = RULER
    if picture.strokes_a or picture.strokes_b:
        out += _strokes(picture, x, top, left, right, phone)
        bottom = top + STROKES_HIGH
        top = bottom + BETWEEN
    for kind in picture.traces:
        out += _traces(kind, x, top, left, right)
        bottom = top + TRACE_HIGH
        top = bottom + BETWEEN
    out += _gaps(picture.gaps, x, bottom)
    for minute, side in picture.resets:
        out += _reset(x(minute), side, bottom, right)
    return image(
        *out,
        width=width,
        height=bottom + 8,
        label=picture.label,
        class_="shift-phone" if phone else "shift-wide",
        sized=False,
    )


def _hours(
    x: Callable[[float], float], start: int, end: int, left: float, right: float, phone: bool
) -> list[str]:
    """The hours as a rule along the top, a number wherever one has room."""
    hours = range(start // 60, end // 60 + 1)
    room = (right - left) / max(len(hours) - 1, 1)
    every = next(n for n in (1, 2, 3, 4, 6, 12, 24) if n * room >= (40 if phone else 52) or n == 24)
    out = [rect(left, 1, right - left, RULER - 9, "d-white s-ink", stroke_width=1.2)]
    for hour in hours:
        at = x(hour * 60)
        if start < hour * 60 < end:
            out.append(line(at, RULER - 8, at, RULER - (20 if hour % every == 0 else 14), width=1))
        if hour % every == 0 and hour * 60 < end:
            out.append(text(f"{hour}:00", x=at + 4, y=16, size=12.5, class_="d-ink t-bold"))
    return out


def _strokes(
    picture: ShiftPicture,
    x: Callable[[float], float],
    top: float,
    left: float,
    right: float,
    phone: bool,
) -> list[str]:
    middle, half = top + STROKES_HIGH / 2, STROKES_HIGH / 2 - 8
    most = max((s for _, s in (*picture.strokes_a, *picture.strokes_b)), default=0.0) or 1.0
    out = []
    for value in ticks_for(most, most=3).values(most):
        for y in (middle - value / most * half, middle + value / most * half):
            out.append(line(left, y, right, y, width=0.75, class_="s-hair"))
            out.append(_beside(figure(value), left, y))
    for slots, way, side in ((picture.strokes_a, -1, "A"), (picture.strokes_b, 1, "B")):
        for minute, strokes in slots:
            high = strokes / most * half
            wide = x(minute + SLOT_MINUTES) - x(minute)
            y = middle - high if way < 0 else middle
            if high > 0:
                out.append(rect(x(minute), y, wide, high, "d-steel s-ink", stroke_width=0.75))
        out.append(_letter(side, right, middle + way * half * 0.62, phone))
    out.append(line(left, middle, right, middle, width=1.5))
    for minute in picture.off_ratio:
        at = x(minute + 0.5)
        mark = outline((at, middle - 5), (at - 4, middle + 4), (at + 4, middle + 4))
        out.append(el("path", d=mark, class_="d-oxide s-white", stroke_width=0.75))
    return out


def _traces(
    kind: Traces, x: Callable[[float], float], top: float, left: float, right: float
) -> list[str]:
    values = [value for one in kind.lines for _, value in one.points]
    low, high = min(values), max(values)
    pad = max((high - low) * 0.08, abs(high) * 0.01, 0.5)
    low, high = (0.0 if 0 <= low < high * 0.35 else low - pad), high + pad

    def y(value: float) -> float:
        return top + TRACE_HIGH - (value - low) / (high - low) * TRACE_HIGH

    out = [text(kind.name, x=left, y=top - 7, size=13, class_="d-ink2")]
    step = ticks_for(high - low, most=4).numeral
    value = step * -(-low // step)
    while value <= high:
        out.append(line(left, y(value), right, y(value), width=0.75, class_="s-hair"))
        out.append(_beside(figure(value), left, y(value)))
        value += step
    ends: list[float] = []
    for one in kind.lines:
        for piece in _pieces(one.points):
            path = "M" + "L".join(f"{num(x(minute))} {num(y(value))}" for minute, value in piece)
            out.append(
                el(
                    "path",
                    d=path,
                    class_="d-none s-ink",
                    stroke_width=1.8,
                    stroke_dasharray=DASHES[one.side],
                    stroke_linejoin="round",
                )
            )
        minute, value = one.points[-1]
        end = y(value)
        while any(abs(end - taken) < 13 for taken in ends):
            end += 13
        ends.append(end)
        out.append(text(one.side, x=x(minute) + 4, y=end + 4.5, size=13, class_="d-ink t-bold"))
    return out


def _pieces(points: Iterable[tuple[float, float]]) -> list[list[tuple[float, float]]]:
    """Points that follow each other: a line is not drawn over what was not logged."""
    pieces: list[list[tuple[float, float]]] = []
    for point in points:
        if pieces and point[0] - pieces[-1][-1][0] <= 3 * SLOT_MINUTES:
            pieces[-1].append(point)
        else:
            pieces.append([point])
    return pieces


def _gaps(
    gaps: Iterable[tuple[float, float]], x: Callable[[float], float], bottom: float
) -> list[str]:
    out = []
    for start, end in gaps:
        at, wide = x(start), max(x(end) - x(start), 2)
        out.append(rect(at, RULER, wide, bottom - RULER, "d-paper"))
        data = hatch(at, RULER, wide, bottom - RULER, gap=9)
        out.append(el("path", d=data, class_="d-none s-line", stroke_width=0.75))
        for edge in (at, at + wide):
            out.append(line(edge, RULER, edge, bottom, width=1, class_="s-line"))
        words = "not logged"
        if wide > width_of(words, 13) + 12:
            middle = at + wide / 2
            half = width_of(words, 13) / 2 + 5
            out.append(rect(middle - half, RULER + 8, 2 * half, 20, "d-paper"))
            out.append(
                text(words, x=middle, y=RULER + 23, size=13, text_anchor="middle", class_="d-ink2")
            )
    return out


def _reset(at: float, side: str, bottom: float, right: float) -> list[str]:
    """A counter that began anew: a broken line through the day, and its word."""
    words = f"{side} reset"
    half = width_of(words, 12.5) / 2 + 5
    middle = min(max(at, half), right - half)
    low = RULER + (6 if side == "A" else STROKES_HIGH - 26)
    return [
        line(at, RULER, at, min(bottom, RULER + STROKES_HIGH), width=2, stroke_dasharray="5 4"),
        rect(middle - half, low, 2 * half, 20, "d-white s-ink", stroke_width=1.2),
        text(words, x=middle, y=low + 14.5, size=12.5, text_anchor="middle", class_="d-ink t-bold"),
    ]


def _letter(side: str, right: float, y: float, phone: bool) -> str:
    if phone:
        return text(side, x=right + 8, y=y + 4, size=14, class_="d-ink t-bold")
    shape = (
        el(
            "rect",
            x=right + 10,
            y=y - 11,
            width=22,
            height=22,
            class_="d-white s-ink",
            stroke_width=2,
        )
        if side == "A"
        else el("circle", cx=right + 21, cy=y, r=11.5, class_="d-white s-ink", stroke_width=2)
    )
    letter = text(side, x=right + 21, y=y + 5, size=14, text_anchor="middle", class_="d-ink t-bold")
    return shape + letter


def _beside(words: str, left: float, y: float) -> str:
    return text(words, x=left - 6, y=y + 4, size=12, text_anchor="end", class_="d-ink2")
