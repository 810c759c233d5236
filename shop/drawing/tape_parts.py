"""The parts that wear tapes of every kind are put together from."""

from __future__ import annotations

from shop.drawing.svg import el, hatch, image, line, num, outline, rect, text
from shop.drawing.tape_marks import Marks, Tape


def free(
    start: float, end: float, taken: list[tuple[float, float]], *, low: float, high: float
) -> bool:
    return start >= low and end <= high and all(end <= a or start >= b for a, b in taken)


def window(m: Marks, *, x: float, y: float, width: float, height: float, gap: float = 8) -> str:
    """The hatch of the early tolerance, up to the due line: it leans the other way."""
    lines = hatch(x, y, width, height, gap=gap, back=True)
    return el("path", d=lines, class_="d-none s-ink", stroke_width=0.9) if lines else ""


def due_line(
    m: Marks, *, left: float, top: float, thick: float, past: float, hanging: bool = False
) -> str:
    """The due line; put off, its old place is thin and broken, the new one is the line."""

    def across(at: float, *, width: float, dash: str | None = None) -> str:
        ends = (
            (left - past, top + at, left + thick + past, top + at)
            if hanging
            else (left + at, top - past, left + at, top + thick + past)
        )
        return line(*ends, width=width, stroke_dasharray=dash)

    if m.put_off is None:
        return across(m.due, width=3)
    return across(m.due, width=1.5, dash="3 3") + across(m.put_off, width=3)


def tolerance(m: Marks, *, x: float, y: float, width: float, height: float, gap: float = 8) -> str:
    """The hatch from the due line on; once past tolerance it is oxide, lined in paper."""
    lines = hatch(x, y, width, height, gap=gap)
    if not lines:
        return ""
    if m.past_tolerance:
        return rect(x, y, width, height, "d-oxide") + el(
            "path", d=lines, class_="d-none s-paper", stroke_width=1.2
        )
    return el("path", d=lines, class_="d-none s-ink", stroke_width=0.9)


def diamond(x: float, y: float, r: float) -> str:
    d = f"M{num(x)} {num(y - r)}L{num(x + r)} {num(y)}L{num(x)} {num(y + r)}L{num(x - r)} {num(y)}Z"
    return el("path", d=d, class_="d-ink")


def dates_lying(tape: Tape, m: Marks, *, left: float, y: float, tight: bool = False) -> str:
    """The dimension line of the 10–90 % dates, its ring at 50 %; a diamond for an exact date."""
    middle = left + (m.middle or 0.0)
    if tape.calendar_only:
        return diamond(middle, y - (1 if tight else 0), 4 if tight else 5)
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


def dates_upright(tape: Tape, m: Marks, *, x: float, top: float) -> str:
    middle = top + (m.middle or 0.0)
    if tape.calendar_only:
        return diamond(x, middle, 5)
    out = []
    if m.band:
        first, last = top + m.band[0], top + m.band[1]
        out.append(line(x, first, x, last, width=5))
        out.append(line(x - 5, first, x + 5, first, width=1.5))
        if not m.band_off:
            out.append(line(x - 5, last, x + 5, last, width=1.5))
    out.append(el("circle", cx=x, cy=middle, r=3.5, class_="d-paper s-ink", stroke_width=2))
    return "".join(out)


def house(x: float, y: float, *, off: bool, lying: bool) -> str:
    """The next stay: a small house pointing at the date edge; an arrow in it when off the end."""
    if lying:
        d = f"M{num(x)} {num(y)}L{num(x + 6)} {num(y + 7)}V{num(y + 17)}H{num(x - 6)}V{num(y + 7)}Z"
        arrow = (
            f"M{num(x - 2)} {num(y + 7.5)}L{num(x + 2)} {num(y + 11)}L{num(x - 2)} {num(y + 14.5)}"
        )
    else:
        d = outline((x - 8, y), (x - 1, y - 6), (x + 9, y - 6), (x + 9, y + 6), (x - 1, y + 6))
        arrow = f"M{num(x)} {num(y - 2)}L{num(x + 3.5)} {num(y + 2)}L{num(x + 7)} {num(y - 2)}"
    house = el("path", d=d, class_="d-paper s-ink", stroke_width=1.5)
    return house + (el("path", d=arrow, class_="d-none s-ink", stroke_width=1.5) if off else "")


def unread(
    tape: Tape,
    *,
    ident: str,
    left: float,
    top: float,
    length: float,
    thick: float,
    hanging: bool = False,
) -> str:
    """A dashed blade that says so: nothing was ever read, or nothing gives a date."""
    width, height = (thick, length) if hanging else (length, thick)
    out = [
        rect(left, top, width, height, "d-none s-ink2", stroke_width=1.2, stroke_dasharray="5 4"),
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
            for place, word in enumerate(tape.unread.split(" ", 2))
        ]
        size, name = (112.0, length + 44), "tape tape-upright"
    else:
        out.append(
            text(
                tape.unread,
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
