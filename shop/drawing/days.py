"""The rule of days: fourteen days as a steel rule, one lane a rig."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, timedelta

from shop.drawing.stencil import CELL_HEIGHT, STEP, STROKE_WIDTH, STROKES, can_stencil, digits_of
from shop.drawing.svg import el, image, line, num, outline, rect, text, width_of

DAYS = 14
LANE = 47.0
WEEKDAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


@dataclass(frozen=True, slots=True)
class DayBar:
    """A stretch of days: kind "shop", "bench" or "away"; both ends in days from the first. [d]"""

    start_day: float
    end_day: float
    kind: str
    label: str


@dataclass(frozen=True, slots=True)
class DayMark:
    """A service that falls due: where [d from the first day], what, and whether the rig is away."""

    day: float
    label: str
    away: bool


@dataclass(frozen=True, slots=True)
class DayLane:
    """One rig on the rule; `note` stands in a lane with nothing else ("spare, in the yard")."""

    number: int
    name: str
    bars: tuple[DayBar, ...] = ()
    marks: tuple[DayMark, ...] = ()
    note: str = ""


def _months(start: date) -> str:
    last = start + timedelta(days=DAYS - 1)
    return " – ".join(dict.fromkeys((MONTHS[start.month - 1], MONTHS[last.month - 1])))


def _said(lane: DayLane) -> str:
    parts = [bar.label for bar in lane.bars if bar.label]
    parts += [f"{m.label} falls due {'while away' if m.away else 'here'}" for m in lane.marks]
    return f"{lane.number:02d} {lane.name}: {'; '.join(parts) or lane.note or 'nothing planned'}"


def rule_of_days(
    today: date, start: date, lanes: list[DayLane], ident: str = "", *, now_day: float | None = None
) -> str:
    """Return the rule with a lane for each rig, for a desk.

    start: the first of the fourteen days. now_day: the moment in days from start, midday of today
    unless told. The list in words that follows on the page says the same.
    """
    now = (today - start).days + 0.5 if now_day is None else now_day
    left, day, top = 168.0, 73.5, 8.0
    width, rule_height = left + DAYS * day + 14, 46.0
    low = top + rule_height
    height = low + 12 + LANE * len(lanes)
    right = left + DAYS * day

    def x(days: float) -> float:
        return left + min(max(days, 0), DAYS) * day

    out = []
    for count in range(DAYS):
        if (start + timedelta(days=count)).weekday() >= 5:
            out.append(rect(x(count), low, day, height - low, "d-weekend"))
    out.append(rect(left, top, right - left, rule_height, "d-white"))
    if now > 0:
        out.append(rect(left, top, x(now) - left, rule_height, "d-steel"))
    out.append(rect(left, top, right - left, rule_height, "d-none s-ink", stroke_width=1.5))
    out.append(
        text(
            _months(start),
            x=left - 14,
            y=top + 20,
            size=14,
            text_anchor="end",
            class_="d-ink2",
        )
    )
    for count in range(DAYS):
        at = start + timedelta(days=count)
        off = at.weekday() >= 5
        number = f"{at.day}"
        out.append(
            text(
                number,
                x=x(count) + 7,
                y=top + 21,
                size=17,
                class_="d-ink" + ("" if off else " t-strong"),
            )
        )
        out.append(
            text(
                WEEKDAYS[at.weekday()],
                x=x(count) + 12 + width_of(number, 17),
                y=top + 21,
                size=13.5,
                class_="d-ink" if count < now else "d-ink2",
            )
        )
        for quarter in range(4):
            tick = (20, 7, 11, 7)[quarter]
            if count or quarter:
                out.append(
                    line(x(count + quarter / 4), low, x(count + quarter / 4), low - tick, width=1.2)
                )
    if 0 <= now <= DAYS:
        out.append(line(x(now), low, x(now), height, width=1.5, stroke_dasharray="2 4"))
        out.append(_now(x(now), low - 16, 16))
    for place, lane in enumerate(lanes):
        y = low + 12 + LANE * place
        out.append(_number(lane.number, x=14, y=y + 11, height=23))
        out += _name(lane.name, x=62, y=y + LANE / 2, room=left - 70)
        out += _lane(lane, x=x, y=y, left=left, right=right, size=15, labels=True)
        out.append(line(0, y + LANE, width, y + LANE, width=1, class_="s-hair"))
    label = (
        f"Fourteen days from {start.day} {MONTHS[start.month - 1]}, {len(lanes)} rigs; "
        "the list below says the same in words"
    )
    return image(
        *out, width=width, height=height, label=label, class_="rule-wide", ident=ident, sized=False
    )


def rule_of_days_phone(
    today: date, start: date, lane: DayLane, ident: str = "", *, now_day: float | None = None
) -> str:
    """Return one rig's own rule of fourteen days, 44 px high, for a phone."""
    now = (today - start).days + 0.5 if now_day is None else now_day
    left, width, day = 1.0, 358.0, 356.0 / DAYS
    right = width - 1

    def x(days: float) -> float:
        return left + min(max(days, 0), DAYS) * day

    top = 8.0
    out = [
        rect(x(count), top, day, 36, "d-weekend")
        for count in range(DAYS)
        if (start + timedelta(days=count)).weekday() >= 5
    ]
    out.append(line(left, top, right, top, width=1.5))
    out += [
        line(x(count), top, x(count), top + (8 if count % 7 == 0 else 5), width=1)
        for count in range(DAYS + 1)
    ]
    if 0 <= now <= DAYS:
        out.append(line(x(now), top, x(now), 44, width=1.5, stroke_dasharray="2 3"))
        out.append(_now(x(now), 0, 11, half=6))
    out += _lane(lane, x=x, y=0, left=left, right=right, size=14, labels=False)
    return image(
        *out,
        width=width,
        height=46,
        label=_said(lane),
        class_="rule-phone",
        ident=ident,
        sized=False,
    )


def _now(x: float, y: float, height: float, *, half: float = 7) -> str:
    point = y + height
    d = outline(
        (x - half, y), (x + half, y), (x + half, point - half), (x, point), (x - half, point - half)
    )
    return el("path", d=d, class_="d-ink")


def _number(number: int, *, x: float, y: float, height: float) -> str:
    digits = digits_of(number)
    if not can_stencil(digits):
        return text(digits, x=x, y=y + height - 4, size=20, class_="d-ink t-strong")
    size = height / CELL_HEIGHT
    # Four digits must still leave room for the name.
    size = min(size, 44 / (STEP * len(digits)))
    strokes = [
        el("path", d=STROKES[digit], transform=f"translate({place * STEP} 0)")
        for place, digit in enumerate(digits)
    ]
    return el(
        "g",
        *strokes,
        class_="d-none s-ink",
        stroke_width=STROKE_WIDTH,
        transform=f"translate({num(x)} {num(y)}) scale({size:.3f})",
    )


def _name(name: str, *, x: float, y: float, room: float) -> list[str]:
    """Write a name in as many narrow lines as it needs, up to three, around the height y."""
    if width_of(name, 16) <= room:
        return [text(name, x=x, y=y + 5.5, size=16, class_="d-ink t-bold")]
    size = 13.0
    lines: list[str] = [""]
    for word in name.split():
        longer = f"{lines[-1]} {word}".strip()
        if lines[-1] and width_of(longer, size) * 0.78 > room:
            lines.append(word)
        else:
            lines[-1] = longer
    widest = max(width_of(words, size) for words in lines) * 0.78
    size = max(size * min(1.0, room / widest, 3 / len(lines)), 7.0)
    first = y + size * 0.35 - (len(lines) - 1) * size * 0.55
    return [
        text(words, x=x, y=first + size * 1.1 * place, size=size, class_="d-ink t-bold t-narrow")
        for place, words in enumerate(lines)
    ]


def _lane(
    lane: DayLane,
    *,
    x: Callable[[float], float],
    y: float,
    left: float,
    right: float,
    size: float,
    labels: bool,
) -> list[str]:
    """Boxes for the shop and the bench, dimension lines for away, diamonds for what falls due."""
    out: list[str] = []
    arrow_y = y + (34 if labels else 26)
    box_top, box_height = (y + 6, 35.0) if labels else (15.0, 25.0)
    for bar in lane.bars:
        if bar.end_day <= 0 or bar.start_day >= DAYS or bar.end_day <= bar.start_day:
            continue
        first, last = x(bar.start_day), x(bar.end_day)
        room = last - first
        if bar.kind == "away":
            out.append(line(first, arrow_y, last, arrow_y, width=1.2))
            if bar.start_day >= 0:
                out.append(line(first, arrow_y - 7, first, arrow_y + 7, width=1.2))
                out.append(_arrow(first, arrow_y, 1))
            if bar.end_day <= DAYS:
                out.append(line(last, arrow_y - 7, last, arrow_y + 7, width=1.2))
                out.append(_arrow(last, arrow_y, -1))
            if labels:
                out.append(_fitted(bar.label, x=first + 12, y=y + 19, room=room - 14, size=size))
            continue
        dash = "6 4" if bar.kind == "bench" else None
        out.append(
            rect(
                first + 1,
                box_top,
                max(room - 2, 3),
                box_height,
                "d-paper s-ink",
                stroke_width=2.5,
                stroke_dasharray=dash,
            )
        )
        out.append(
            _fitted(
                bar.label,
                x=first + 9,
                y=box_top + box_height / 2 + 5,
                room=room - 14,
                size=size,
                bold=True,
            )
        )
    if lane.note and labels and not lane.bars:
        out.append(text(lane.note, x=left + 10, y=y + 28, size=size, class_="d-ink2"))
    ordered = sorted((m for m in lane.marks if 0 <= m.day <= DAYS), key=lambda m: m.day)
    for place, mark in enumerate(ordered):
        at = min(max(x(mark.day), left + 9), right - 9)
        centre = arrow_y if mark.away else box_top + box_height / 2
        if labels and mark.away:
            following = x(ordered[place + 1].day) - 10 if place + 1 < len(ordered) else right
            # A label stays on its own line: it never runs into the box where the rig is back.
            ends = (bar.end_day for bar in lane.bars if bar.start_day <= mark.day < bar.end_day)
            following = min([following, *(x(day) for day in ends if day < DAYS)])
            label_width = width_of(mark.label, 13) * 0.8 + 8
            if label_width < following - at - 12:
                out.append(rect(at + 9, centre - 9, label_width, 18, "d-paper"))
                out.append(
                    text(mark.label, x=at + 12, y=centre + 5, size=14, class_="d-ink t-narrow")
                )
        r = 8.5
        d = outline((at - r, centre), (at, centre - r), (at + r, centre), (at, centre + r))
        out.append(
            el(
                "path",
                d=d,
                class_="d-brass s-ink" if mark.away else "d-paper s-ink",
                stroke_width=1.8,
            )
        )
        if mark.away:
            out.append(el("circle", cx=at, cy=centre, r=2.8, class_="d-on-brass"))
    return out


def _arrow(x: float, y: float, way: int) -> str:
    d = f"M{num(x + way * 9)} {num(y - 5)}L{num(x)} {num(y)}L{num(x + way * 9)} {num(y + 5)}"
    return el("path", d=d, class_="d-none s-ink", stroke_width=1.2)


def _fitted(words: str, *, x: float, y: float, room: float, size: float, bold: bool = False) -> str:
    """Write words only where they have room: the list below names everything, so none is cut."""
    if width_of(words, size) * 0.88 > room:
        return ""
    return text(words, x=x, y=y, size=size, class_="d-ink t-half" + (" t-bold" if bold else ""))
