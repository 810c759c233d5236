"""The wear tape: one blade from the last service to the end of tolerance.

Position on the blade = life since the last service × length ÷ (interval × (1 + tolerance)); past
tolerance the tape ends at now. Always the component's own unit, never a percentage. One edge is
the unit, the other is time, its dates set on the blade by the middle forecast.
"""

from __future__ import annotations

from dataclasses import dataclass

from shop.drawing.svg import el, figure, hatch, image, line, num, text, ticks_for, width_of

#: Weeks are ticked on the date edge up to this many days ahead, months beyond.
WEEKS_UNTIL = 75
MONTH = 365.25 / 12
HOOK = 5
LEAST_GAP = 4.0


@dataclass(frozen=True, slots=True)
class Tape:
    """What a tape measures.

    unit: the component's own, "gal", "hours", "days".
    interval: from one service to the next, > 0. [unit]
    tolerance: how far past the interval is still allowed, as a share of it, >= 0. [1]
    life: since the last service, >= 0, or None when nothing was ever read. [unit]
    title: the sentence that says all this in words; the same text stands beside the drawing.
    due_in_days: from today to the middle date, negative once past, None when no date is known.
    band_days: from today to the 10 % and the 90 % date; None where only the middle is known.
    next_stay_days: from today to the rig's next stay in the shop, >= 0, or None.
    calendar_only: the date is exact, so it is a diamond and has no band.
    notches: smaller services on the way, (at this life [unit], done).
    """

    unit: str
    interval: float
    tolerance: float
    life: float | None
    title: str
    due_in_days: float | None = None
    band_days: tuple[float, float] | None = None
    next_stay_days: float | None = None
    calendar_only: bool = False
    notches: tuple[tuple[float, bool], ...] = ()

    def __post_init__(self) -> None:
        if not self.interval > 0:
            raise ValueError("a tape needs an interval above zero")
        if self.tolerance < 0 or (self.life is not None and self.life < 0):
            raise ValueError("a tape takes neither a tolerance nor a life below zero")


@dataclass(frozen=True, slots=True)
class Marks:
    """Where everything lies along a blade of a given length, from its beginning. [px]

    now, middle, band, stay: None where there is none. stay_off: the stay lies past the end.
    """

    length: float
    end: float
    due: float
    tolerance_end: float
    now: float | None
    past_tolerance: bool
    middle: float | None
    band: tuple[float, float] | None
    band_off: bool
    stay: float | None
    stay_off: bool
    ticks: tuple[tuple[float, int, float], ...]
    weeks: tuple[float, ...]
    notches: tuple[tuple[float, bool], ...]


def rate_of(tape: Tape) -> float | None:
    """Return the use that the middle date implies, None when the date does not tell. [unit / day]"""
    if tape.life is None or not tape.due_in_days:
        return None
    rate = (tape.interval - tape.life) / tape.due_in_days
    return rate if rate > 0 else None


def marks(tape: Tape, *, length: float) -> Marks:
    """Return the position of each mark on a blade `length` px long."""
    limit = tape.interval * (1 + tape.tolerance)
    life = tape.life
    # A due date can be kept a shade past the figure it was reckoned from; a hair is not "past".
    past = life is not None and life > limit * (1 + 1e-9)
    end = max(limit, life or 0.0)

    def place(value: float) -> float:
        return value / end * length

    rate = rate_of(tape)
    middle = band = stay = None
    band_off = stay_off = False
    weeks: tuple[float, ...] = ()
    if life is not None and tape.due_in_days is not None and not past:
        middle = place(tape.interval)
    if life is not None and rate is not None and not past:

        def on(days: float) -> float:
            return place(life + rate * days)

        if tape.band_days is not None and not tape.calendar_only:
            first, last = (on(days) for days in tape.band_days)
            band_off = last > length
            band = (min(max(first, 0.0), length), min(max(last, 0.0), length))
        if tape.next_stay_days is not None and tape.next_stay_days >= 0:
            stay_off = on(tape.next_stay_days) > length
            stay = min(on(tape.next_stay_days), length)
        horizon = (end - life) / rate
        step = 7.0 if horizon <= WEEKS_UNTIL else MONTH
        if on(step) - place(life) >= LEAST_GAP:
            weeks = tuple(
                on(step * count) for count in range(1, 27) if on(step * count) < length - 1
            )
    span = max(tape.interval, life or 0.0)
    most = min(26, int(place(span) / LEAST_GAP))
    scale = ticks_for(span, most=max(most, 2))
    return Marks(
        length=length,
        end=end,
        due=place(tape.interval),
        tolerance_end=place(limit),
        now=None if life is None else place(life),
        past_tolerance=past,
        middle=middle,
        band=band,
        band_off=band_off,
        stay=stay,
        stay_off=stay_off,
        ticks=tuple((place(v), scale.rank(v), v) for v in scale.values(span)),
        weeks=weeks,
        notches=tuple((place(at), done) for at, done in tape.notches if 0 < at <= end),
    )


def lying(tape: Tape, *, ident: str = "", length: float = 338) -> str:
    """Return the tape lying, 38 high: unit on the upper edge, dates on the lower.

    ident: an id for the drawing, where something must find it.
    """
    left, top, thick = 8.0, 11.0, 38.0
    low = top + thick
    if tape.life is None:
        return _unread(tape, ident=ident, left=left, top=top, length=length, thick=thick)
    m = marks(tape, length=length)
    now = m.now or 0.0
    words = figure(tape.life)
    plate_width = max(width_of(words, 15) + 16, 30)
    plate = min(max(left + now - plate_width / 2, 0), left + length + 8 - plate_width)
    out = [
        el("rect", x=left, y=top, width=length, height=thick, class_="d-paper"),
        el(
            "rect",
            x=left,
            y=top,
            width=min(now, m.due if m.past_tolerance else now),
            height=thick,
            class_="d-steel",
        ),
        _tolerance(m, x=left + m.due, y=top, width=length - m.due, height=thick),
        el(
            "rect",
            x=left,
            y=top,
            width=length,
            height=thick,
            class_="d-none s-ink",
            stroke_width=1.2,
        ),
    ]
    taken = [(plate - 4, plate + plate_width + 4), (left + m.due - 8, left + m.due + 8)]
    for at, rank, value in m.ticks:
        out.append(
            line(left + at, top, left + at, top + thick * (0.13, 0.20, 0.26)[rank], width=1.2)
        )
        half = width_of(figure(value), 12.5) / 2
        if rank == 2 and _free(
            left + at - half, left + at + half, taken, low=0, high=left + length
        ):
            out.append(
                text(
                    figure(value),
                    x=left + at,
                    y=top + 26,
                    size=12.5,
                    text_anchor="middle",
                    class_="d-ink t-half",
                )
            )
    out += [line(left + at, low, left + at, low - thick * 0.13, width=1.2) for at in m.weeks]
    for at, done in m.notches:
        out.append(
            el(
                "path",
                d=f"M{num(left + at - 5)} {num(low)}A5 5 0 0 1 {num(left + at + 5)} {num(low)}Z",
                class_="d-ink s-ink" if done else "d-paper s-ink",
                stroke_width=1.2,
            )
        )
    out.append(line(left + m.due, top - 7, left + m.due, low + 7, width=3))
    if not m.past_tolerance:
        out.append(line(left + length + 1, top - 2, left + length + 1, low + 2, width=HOOK))
    colour = "oxide" if m.past_tolerance else "ink"
    x = left + now
    out += [
        line(x, top, x, low + 6, width=2, class_=f"s-{colour}"),
        el(
            "path",
            d=f"M{num(x - 6)} {num(top - 9)}H{num(x + 6)}L{num(x)} {num(top)}Z",
            class_=f"d-{colour}",
        ),
        el(
            "rect",
            x=plate,
            y=top + 8,
            width=plate_width,
            height=22,
            class_=f"d-{colour} s-paper",
            stroke_width=2,
        ),
        text(
            words,
            x=plate + plate_width / 2,
            y=top + 24.5,
            size=15,
            text_anchor="middle",
            class_="d-on-ink t-strong",
        ),
    ]
    height = low + 9
    if m.middle is not None:
        out.append(_dates_lying(tape, m, left=left, y=low + 11))
        height = low + 19
    if m.stay is not None:
        out.append(_house(left + m.stay, low + 19, off=m.stay_off, lying=True))
        height = low + 38
    return image(
        *out,
        width=length + left + 8,
        height=height,
        label=tape.title,
        class_="tape tape-lying",
        ident=ident,
        sized=False,
    )


def upright(tape: Tape, *, ident: str = "", length: float = 240) -> str:
    """Return the tape hanging, 54 wide: unit on the left edge, dates on the right."""
    left, top, thick = 24.0, 11.0, 54.0
    right = left + thick
    width, height = 112.0, length + 44
    if tape.life is None:
        return _unread(
            tape, ident=ident, left=left, top=top, length=length, thick=thick, hanging=True
        )
    m = marks(tape, length=length)
    now = m.now or 0.0
    used = min(now, m.due) if m.past_tolerance else now
    out = [
        el("rect", x=left, y=top, width=thick, height=length, class_="d-paper"),
        el("rect", x=left, y=top, width=thick, height=used, class_="d-steel"),
        _tolerance(m, x=left, y=top + m.due, width=thick, height=length - m.due),
        el(
            "rect",
            x=left,
            y=top,
            width=thick,
            height=length,
            class_="d-none s-ink",
            stroke_width=1.2,
        ),
    ]
    words = figure(tape.life)
    plate_at = top + now
    taken = [(plate_at - 18, plate_at + 18), (top + m.due - 9, top + m.due + 9)]
    for at, rank, value in m.ticks:
        out.append(
            line(left, top + at, left + thick * (0.13, 0.20, 0.26)[rank], top + at, width=1.2)
        )
        if rank == 2 and _free(top + at - 6, top + at + 6, taken, low=top, high=top + length):
            out.append(
                text(
                    figure(value),
                    x=left + thick * 0.26 + 2,
                    y=top + at + 4.2,
                    size=12,
                    class_="d-ink t-narrow",
                )
            )
    out += [line(right, top + at, right - thick * 0.13, top + at, width=1.2) for at in m.weeks]
    for at, done in m.notches:
        y = top + at
        out.append(
            el(
                "path",
                d=f"M{num(right)} {num(y - 5)}A5 5 0 0 0 {num(right)} {num(y + 5)}Z",
                class_="d-ink s-ink" if done else "d-paper s-ink",
                stroke_width=1.2,
            )
        )
    out.append(line(left - 7, top + m.due, right + 7, top + m.due, width=3))
    if not m.past_tolerance:
        out.append(line(left - 3, top + length + 1, right + 3, top + length + 1, width=HOOK))
    centre = left + thick / 2
    if m.past_tolerance:
        # Under the blade, so that the figure does not cover what it points at.
        y = top + length + 9
        out += [
            el(
                "path",
                d=f"M{num(centre - 7)} {num(y)}L{num(centre)} {num(y - 9)}L{num(centre + 7)} {num(y)}Z",
                class_="d-oxide",
            ),
            el("rect", x=left - 5, y=y, width=thick + 10, height=20, class_="d-oxide"),
        ]
        plate_y = y + 10
    else:
        plate_y = plate_at
        reach = max(0.0, (width_of(words, 14) - thick) / 2) + 11
        edge = f"M{num(left - reach)} {num(plate_y)}L{num(left - reach + 7)} {num(plate_y - 10)}"
        edge += f"H{num(right + reach - 7)}L{num(right + reach)} {num(plate_y)}L{num(right + reach - 7)} {num(plate_y + 10)}"
        out.append(
            el("path", d=f"{edge}H{num(left - reach + 7)}Z", class_="d-ink s-paper", stroke_width=2)
        )
    out.append(
        text(
            words,
            x=centre,
            y=plate_y + 5,
            size=14,
            text_anchor="middle",
            class_="d-on-ink t-strong",
        )
    )
    if m.middle is not None:
        out.append(_dates_upright(tape, m, x=right + 11, top=top))
    if m.stay is not None:
        out.append(_house(right + 19, top + m.stay, off=m.stay_off, lying=False))
    return image(
        *out,
        width=width,
        height=height,
        label=tape.title,
        class_="tape tape-upright",
        ident=ident,
        sized=False,
    )


def small(tape: Tape, *, ident: str = "", length: float = 150, label: bool = False) -> str:
    """Return the small tape of lists, 14 high; hidden from readers, since its row says the same.

    label: read the sentence aloud after all, where no words stand beside it.
    """
    left, top, thick = 4.0, 10.0, 14.0
    low = top + thick
    spoken = tape.title if label else ""
    width, height = length + 8, low + 12
    if tape.life is None:
        frame = el(
            "rect",
            x=left,
            y=top,
            width=length,
            height=thick,
            class_="d-none s-line",
            stroke_width=1.2,
            stroke_dasharray="4 3",
        )
        return image(
            frame,
            width=width,
            height=height,
            label=spoken,
            class_="tape tape-small",
            ident=ident,
            sized=False,
        )
    m = marks(tape, length=length)
    now = m.now or 0.0
    colour = "oxide" if m.past_tolerance else "ink"
    x = left + now
    out = [
        el("rect", x=left, y=top, width=length, height=thick, class_="d-paper"),
        el(
            "rect",
            x=left,
            y=top,
            width=min(now, m.due) if m.past_tolerance else now,
            height=thick,
            class_="d-steel",
        ),
        _tolerance(m, x=left + m.due, y=top, width=length - m.due, height=thick, gap=5),
        el(
            "rect",
            x=left,
            y=top,
            width=length,
            height=thick,
            class_="d-none s-ink",
            stroke_width=1.2,
        ),
        *(
            line(left + at, top, left + at, top + 4.5, width=1.2)
            for at, rank, _ in m.ticks
            if rank == 2
        ),
        line(left + m.due, top - 2, left + m.due, low + 2, width=3),
        line(x, top, x, low, width=2, class_=f"s-{colour}"),
        el(
            "path",
            d=f"M{num(x - 5)} {num(top - 7)}H{num(x + 5)}L{num(x)} {num(top + 1)}Z",
            class_=f"d-{colour}",
        ),
    ]
    if m.middle is not None:
        out.append(_dates_lying(tape, m, left=left, y=low + 6, tight=True))
    return image(
        *out,
        width=width,
        height=height,
        label=spoken,
        class_="tape tape-small",
        ident=ident,
        sized=False,
    )


def _free(
    start: float, end: float, taken: list[tuple[float, float]], *, low: float, high: float
) -> bool:
    return start >= low and end <= high and all(end <= a or start >= b for a, b in taken)


def _tolerance(m: Marks, *, x: float, y: float, width: float, height: float, gap: float = 8) -> str:
    """The hatch from the due line on; once past tolerance it is oxide, lined in paper."""
    lines = hatch(x, y, width, height, gap=gap)
    if not lines:
        return ""
    if m.past_tolerance:
        return el("rect", x=x, y=y, width=width, height=height, class_="d-oxide") + el(
            "path", d=lines, class_="d-none s-paper", stroke_width=1.2
        )
    return el("path", d=lines, class_="d-none s-ink", stroke_width=0.9)


def _diamond(x: float, y: float, r: float) -> str:
    d = f"M{num(x)} {num(y - r)}L{num(x + r)} {num(y)}L{num(x)} {num(y + r)}L{num(x - r)} {num(y)}Z"
    return el("path", d=d, class_="d-ink")


def _dates_lying(tape: Tape, m: Marks, *, left: float, y: float, tight: bool = False) -> str:
    """The dimension line of the 10–90 % dates, its ring at 50 %; a diamond for an exact date."""
    middle = left + (m.middle or 0.0)
    if tape.calendar_only:
        return _diamond(middle, y - (1 if tight else 0), 4 if tight else 5)
    weight, reach = (3, 4) if tight else (5, 5)
    out = []
    if m.band:
        first, last = left + m.band[0], left + m.band[1]
        out.append(line(first, y, last, y, width=weight))
        out.append(line(first, y - reach, first, y + reach, width=1.5))
        if not m.band_off:
            out.append(line(last, y - reach, last, y + reach, width=1.5))
    out.append(
        el(
            "circle",
            cx=middle,
            cy=y,
            r=2.5 if tight else 3.5,
            class_="d-paper s-ink",
            stroke_width=1.5 if tight else 2,
        )
    )
    return "".join(out)


def _dates_upright(tape: Tape, m: Marks, *, x: float, top: float) -> str:
    middle = top + (m.middle or 0.0)
    if tape.calendar_only:
        return _diamond(x, middle, 5)
    out = []
    if m.band:
        first, last = top + m.band[0], top + m.band[1]
        out.append(line(x, first, x, last, width=5))
        out.append(line(x - 5, first, x + 5, first, width=1.5))
        if not m.band_off:
            out.append(line(x - 5, last, x + 5, last, width=1.5))
    out.append(el("circle", cx=x, cy=middle, r=3.5, class_="d-paper s-ink", stroke_width=2))
    return "".join(out)


def _house(x: float, y: float, *, off: bool, lying: bool) -> str:
    """The next stay: a small house pointing at the date edge; an arrow in it when off the end."""
    if lying:
        d = f"M{num(x)} {num(y)}L{num(x + 6)} {num(y + 7)}V{num(y + 17)}H{num(x - 6)}V{num(y + 7)}Z"
        arrow = (
            f"M{num(x - 2)} {num(y + 7.5)}L{num(x + 2)} {num(y + 11)}L{num(x - 2)} {num(y + 14.5)}"
        )
    else:
        d = f"M{num(x - 8)} {num(y)}L{num(x - 1)} {num(y - 6)}H{num(x + 9)}V{num(y + 6)}H{num(x - 1)}Z"
        arrow = f"M{num(x)} {num(y - 2)}L{num(x + 3.5)} {num(y + 2)}L{num(x + 7)} {num(y - 2)}"
    house = el("path", d=d, class_="d-paper s-ink", stroke_width=1.5)
    return house + (el("path", d=arrow, class_="d-none s-ink", stroke_width=1.5) if off else "")


def _unread(
    tape: Tape,
    *,
    ident: str,
    left: float,
    top: float,
    length: float,
    thick: float,
    hanging: bool = False,
) -> str:
    """A dashed blade that says so: nothing was ever read."""
    width, height = (thick, length) if hanging else (length, thick)
    out = [
        el(
            "rect",
            x=left,
            y=top,
            width=width,
            height=height,
            class_="d-none s-ink2",
            stroke_width=1.2,
            stroke_dasharray="5 4",
        ),
    ]
    centre = left + width / 2
    if hanging:
        out += [
            text(
                word,
                x=centre,
                y=top + height / 2 + 15 * (place - 1),
                size=13,
                text_anchor="middle",
                class_="d-ink2 t-narrow",
            )
            for place, word in enumerate(("no", "reading", "yet"))
        ]
        size, name = (112.0, length + 44), "tape tape-upright"
    else:
        out.append(
            text(
                "no reading yet",
                x=centre,
                y=top + height / 2 + 5,
                size=15,
                text_anchor="middle",
                class_="d-ink2",
            )
        )
        size, name = (length + left + 8, top + thick + 9), "tape tape-lying"
    return image(
        *out, width=size[0], height=size[1], label=tape.title, class_=name, ident=ident, sized=False
    )
