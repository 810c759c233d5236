"""The whole life of one component as one line of time: where it sat, and what was done to it."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import date, timedelta

from shop.drawing.days import MONTHS
from shop.drawing.svg import el, hatch, image, line, outline, rect, text, width_of

Place = Callable[[float], float]

WIDE, PHONE = 1160.0, 358.0
#: From the top: the rule of time, the names over the bars, the bars, the marks, the key.
RULE, NAMES, BAR, MARKS, KEY = 30.0, 22.0, 34.0, 30.0, 24.0
RENEWED, FOUND = "renewed", "found"
WORDS = {RENEWED: "service done", FOUND: "found work"}
#: A younger life is ruled in days. [d]
DAYS_UNTIL_MONTHS = 70
#: Days between two dates on the rule of a young life, the finest that fits.
DAYS_APART = (1, 2, 7, 14, 28)
#: Months between two numbers on the rule, the finest that fits.
MONTHS_APART = (1, 2, 3, 6, 12, 24, 60, 120)


@dataclass(frozen=True, slots=True)
class Stay:
    """A stretch in one position. start, end: days from the first day, start <= end. [d]

    name: where, in few words ("04 pump A"). short: the same where there is no room ("04").
    """

    start: float
    end: float
    name: str
    short: str


@dataclass(frozen=True, slots=True)
class Mark:
    """Something that happened on a day: RENEWED or FOUND. [d]"""

    day: float
    kind: str


@dataclass(frozen=True, slots=True)
class LifeLine:
    """What is drawn. All days are counted from `first`.

    first: the day on which it came into service. days: how many have passed since, > 0. [d]
    estimated: stretches whose use was shared out between two readings. [d]
    breaks: where something was counted that nobody saw; from there the life is a lower bound. [d]
    opening: the life that it brought along, in words, or nothing.
    life: the life today, in words ("at least 41,200 strokes").
    label: the sentence for a screen reader.
    """

    first: date
    days: float
    stays: tuple[Stay, ...]
    marks: tuple[Mark, ...]
    estimated: tuple[tuple[float, float], ...]
    breaks: tuple[float, ...]
    opening: str
    life: str
    label: str


def life_line(life: LifeLine, *, phone: bool = False) -> str:
    """Return the line of time, for a desk or for a phone.

    The list that stands under it says the same in words.
    """
    width = PHONE if phone else WIDE
    # On a desk the life stands at the right of its line, on a phone under it.
    room = 8.0 if phone else max(width_of(life.life, 18) + 34, 120.0)
    left = 34.0 if life.opening else 2.0
    length = width - left - room
    top = RULE + NAMES
    low = top + BAR

    def x(day: float) -> float:
        return left + min(max(day, 0.0), life.days) / life.days * length

    out = [*_rule(life, x), *_shelf(life, x, top), *_bars(life, x, top)]
    out += [
        el(
            "path",
            d=hatch(x(start), top, max(x(end) - x(start), 1.5), BAR, gap=6),
            class_="d-none s-ink",
            stroke_width=1,
        )
        for start, end in life.estimated
    ]
    for stay in life.stays:  # the frame again, over the hatch
        out.append(rect(x(stay.start), top, _long(x, stay), BAR, "d-none s-ink", stroke_width=1.5))
    out += [_break(x(day), top) for day in life.breaks]
    out += [_mark(x(mark.day), low + 5, mark.kind) for mark in life.marks]
    if life.opening:
        # What it brought along has no length that anybody knows: a torn end.
        out.append(
            el(
                "path",
                d=outline(
                    (left, top), (8, top), (14, top + 9), (6, top + 17), (14, top + 26),
                    (8, low), (left, low), closed=False,
                ),
                class_="d-paper s-ink",
                stroke_width=1.5,
                stroke_dasharray="4 3",
            )
        )  # fmt: skip
    keys = _keys(life)
    height = low + MARKS + (KEY * len(_lines(keys, width)) if keys else 0)
    if phone:
        height += 26
        out.append(text(life.life, x=width - 2, y=height - 6, size=18, text_anchor="end",
                        class_="d-ink t-strong"))  # fmt: skip
    else:
        out.append(line(x(life.days), top - 8, x(life.days), low + 8, width=3))
        out.append(text(life.life, x=x(life.days) + 14, y=top + BAR / 2 + 6, size=18,
                        class_="d-ink t-strong"))  # fmt: skip
    out += _key(keys, width, low + MARKS)
    return image(
        *out,
        width=width,
        height=height,
        label=life.label,
        class_="life-phone" if phone else "life-wide",
        sized=False,
    )


def _rule(life: LifeLine, x: Place) -> Iterator[str]:
    """A steel rule of months: a tick each, a longer one with its name where there is room."""
    right = x(life.days)
    yield rect(x(0), 1, right - x(0), RULE - 1, "d-white s-ink", stroke_width=1.5)
    if life.days < DAYS_UNTIL_MONTHS:
        yield from _rule_of_days(life, x)
        return
    months = list(_months(life))
    a_month = (right - x(0)) / life.days * 30.4
    apart = next((step for step in MONTHS_APART if step * a_month >= 46), MONTHS_APART[-1])
    for day, year, month in months:
        number = year * 12 + month - 1
        is_named = number % apart == 0
        if not is_named and a_month < 5 and month != 1:
            continue
        at = x(day)
        yield line(at, RULE, at, RULE - (16 if is_named else 8), width=1.2)
        if not is_named:
            continue
        words = f"{year}" if month == 1 or apart >= 12 else MONTHS[month - 1]
        if at + 4 + width_of(words, 13) < right - 3:
            weight = "d-ink t-strong" if month == 1 else "d-ink"
            yield text(words, x=at + 4, y=14, size=13, class_=weight)


def _rule_of_days(life: LifeLine, x: Place) -> Iterator[str]:
    """A young life: a tick a day, and the date where there is room."""
    a_day = (x(life.days) - x(0)) / life.days
    apart = next((step for step in DAYS_APART if step * a_day >= 52), DAYS_APART[-1])
    for day in range(int(life.days) + 1):
        if day >= life.days or (day % apart and a_day < 5):
            continue
        is_named = day % apart == 0
        if day:
            yield line(x(day), RULE, x(day), RULE - (16 if is_named else 8), width=1.2)
        on = life.first + timedelta(days=day)
        words = f"{on.day} {MONTHS[on.month - 1]}"
        if is_named and x(day) + 4 + width_of(words, 13) < x(life.days) - 3:
            yield text(words, x=x(day) + 4, y=14, size=13, class_="d-ink")


def _shelf(life: LifeLine, x: Place, top: float) -> Iterator[str]:
    """Where it sat nowhere: a thin broken line at half height."""
    middle, done = top + BAR / 2, 0.0
    for stay in [*sorted(life.stays, key=lambda each: each.start), None]:
        until = stay.start if stay else life.days
        if x(until) - x(done) > 2:
            yield line(x(done), middle, x(until), middle, width=2, stroke_dasharray="3 4")
        done = max(done, stay.end) if stay else done


def _bars(life: LifeLine, x: Place, top: float) -> Iterator[str]:
    """One bar a stay, its place over it where there is room."""
    free = x(0) - 4
    for stay in sorted(life.stays, key=lambda each: each.start):
        at, long = x(stay.start), _long(x, stay)
        yield rect(at, top, long, BAR, "d-steel")
        words = next(
            (words for words in (stay.name, stay.short) if width_of(words, 14) <= long + 4), ""
        )
        if words and at >= free:
            yield text(words, x=at + 1, y=top - 6, size=14, class_="d-ink t-bold")
            free = at + width_of(words, 14) + 6


def _long(x: Place, stay: Stay) -> float:
    return max(x(stay.end) - x(stay.start), 1.5)


def _break(at: float, top: float) -> str:
    """Two slanted cuts through the bar, with paper between: something is missing here."""
    low = top + BAR
    gap = outline((at - 5, low + 5), (at + 1, top - 5), (at + 5, top - 5), (at - 1, low + 5))
    return el("path", d=gap, class_="d-paper") + "".join(
        line(at + off - 5, low + 5, at + off + 1, top - 5, width=2) for off in (0, 4)
    )


def _mark(at: float, top: float, kind: str) -> str:
    """A service done: a filled ring that hangs on the bar; found work: a triangle on its tip."""
    stem = line(at, top - 5, at, top + 4, width=1.5)
    if kind == RENEWED:
        return stem + el("circle", cx=at, cy=top + 9, r=5, class_="d-ink")
    path = outline((at - 7, top + 15), (at + 7, top + 15), (at, top + 3))
    return stem + el("path", d=path, class_="d-paper s-ink", stroke_width=2)


def _keys(life: LifeLine) -> list[tuple[str, str]]:
    """What the signs of this drawing mean, in words; only those that are in it."""
    kinds = [kind for kind in (RENEWED, FOUND) if any(mark.kind == kind for mark in life.marks)]
    keys = [(kind, WORDS[kind]) for kind in kinds]
    if life.breaks:
        keys.append(("break", "reset, not all seen"))
    if life.estimated:
        keys.append(("estimated", "use estimated"))
    if life.opening:
        keys.append(("opening", life.opening))
    return keys


def _lines(keys: list[tuple[str, str]], width: float) -> list[list[tuple[str, str, float]]]:
    """The key in as many lines as it needs; with each sign, where it begins. [px]"""
    lines: list[list[tuple[str, str, float]]] = [[]]
    at = 2.0
    for sign, words in keys:
        long = 26 + width_of(words, 14) + 18
        if at + long > width and lines[-1]:
            lines.append([])
            at = 2.0
        lines[-1].append((sign, words, at))
        at += long
    return lines


def _key(keys: list[tuple[str, str]], width: float, top: float) -> Iterator[str]:
    for place, signs in enumerate(_lines(keys, width)):
        base = top + place * KEY
        for sign, words, at in signs:
            yield _sign(sign, at + 9, base)
            yield text(words, x=at + 26, y=base + 15, size=14, class_="d-ink")


def _sign(sign: str, at: float, top: float) -> str:
    if sign in WORDS:
        return _mark(at, top, sign)
    if sign == "break":
        return "".join(line(at + off - 4, top + 18, at + off, top + 2, width=2) for off in (0, 4))
    box = rect(at - 9, top + 3, 18, 14, "d-paper s-ink", stroke_width=1.5,
               stroke_dasharray="4 3" if sign == "opening" else None)  # fmt: skip
    if sign == "opening":
        return box
    lines = hatch(at - 9, top + 3, 18, 14, gap=5)
    return box + el("path", d=lines, class_="d-none s-ink", stroke_width=1)


def _months(life: LifeLine) -> Iterator[tuple[float, int, int]]:
    """The first day of each month within the line: day, year, month."""
    year, month = life.first.year, life.first.month
    while True:
        year, month = (year + 1, 1) if month == 12 else (year, month + 1)
        day = (date(year, month, 1) - life.first).days
        if day >= life.days:
            return
        yield float(day), year, month
