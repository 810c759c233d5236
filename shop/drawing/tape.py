"""The wear tape drawn: lying, upright and small. Where each mark lies is decided in tape_marks."""

from __future__ import annotations

from shop.drawing.svg import (
    el,
    figure,
    image,
    line,
    num,
    outline,
    rect,
    text,
    width_of,
)
from shop.drawing.tape_marks import Marks, Tape, marks
from shop.drawing.tape_parts import (
    dates_lying,
    dates_upright,
    due_line,
    free,
    house,
    tolerance,
    unread,
    window,
)

__all__ = ["Marks", "Tape", "lying", "marks", "small", "upright"]

#: The end hook of a blade, and how strong the ticks are by rank, as a share of the blade. [px], [1]
HOOK = 5
TICKS = (0.13, 0.20, 0.26)


def lying(tape: Tape, *, ident: str = "", length: float = 338) -> str:
    """Return the tape lying, 38 high: unit on the upper edge, dates on the lower.

    ident: an id for the drawing, where something must find it.
    """
    left, top, thick = 8.0, 11.0, 38.0
    low = top + thick
    if tape.life is None:
        return unread(tape, ident=ident, left=left, top=top, length=length, thick=thick)
    m = marks(tape, length=length)
    now = m.now or 0.0
    words = tape.life_words
    plate_width = max(width_of(words, 15) + 16, 30)
    plate = min(max(left + now - plate_width / 2, 0), left + length + 8 - plate_width)
    out = [
        rect(left, top, length, thick, "d-paper"),
        rect(left, top, min(now, m.due if m.past_tolerance else now), thick, "d-steel"),
        window(m, x=left + m.early, y=top, width=m.due - m.early, height=thick),
        tolerance(m, x=left + m.falls, y=top, width=length - m.falls, height=thick),
        rect(left, top, length, thick, "d-none s-ink", stroke_width=1.2),
    ]
    taken = [(plate - 4, plate + plate_width + 4), (left + m.falls - 8, left + m.falls + 8)]
    for at, rank, value in m.ticks:
        out.append(line(left + at, top, left + at, top + thick * TICKS[rank], width=1.2))
        half = width_of(figure(value), 12.5) / 2
        if rank == 2 and free(left + at - half, left + at + half, taken, low=0, high=left + length):
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
    out.append(due_line(m, left=left, top=top, thick=thick, past=7))
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
        rect(plate, top + 8, plate_width, 22, f"d-{colour} s-paper", stroke_width=2),
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
        out.append(dates_lying(tape, m, left=left, y=low + 11))
        height = low + 19
    if m.stay is not None:
        out.append(house(left + m.stay, low + 19, off=m.stay_off, lying=True))
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
        return unread(
            tape, ident=ident, left=left, top=top, length=length, thick=thick, hanging=True
        )
    m = marks(tape, length=length)
    now = m.now or 0.0
    used = min(now, m.due) if m.past_tolerance else now
    out = [
        rect(left, top, thick, length, "d-paper"),
        rect(left, top, thick, used, "d-steel"),
        window(m, x=left, y=top + m.early, width=thick, height=m.due - m.early),
        tolerance(m, x=left, y=top + m.falls, width=thick, height=length - m.falls),
        rect(left, top, thick, length, "d-none s-ink", stroke_width=1.2),
    ]
    words = tape.life_words
    plate_at = top + now
    taken = [(plate_at - 18, plate_at + 18), (top + m.falls - 9, top + m.falls + 9)]
    for at, rank, value in m.ticks:
        out.append(line(left, top + at, left + thick * TICKS[rank], top + at, width=1.2))
        if rank == 2 and free(top + at - 6, top + at + 6, taken, low=top, high=top + length):
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
    out.append(due_line(m, left=left, top=top, thick=thick, past=7, hanging=True))
    if not m.past_tolerance:
        out.append(line(left - 3, top + length + 1, right + 3, top + length + 1, width=HOOK))
    centre = left + thick / 2
    wider = max(5.0, (width_of(words, 14) - thick) / 2 + 5)
    if m.past_tolerance:
        # Under the blade, so that the figure does not cover what it points at.
        y = top + length + 9
        out += [
            el(
                "path",
                d=outline((centre - 7, y), (centre, y - 9), (centre + 7, y)),
                class_="d-oxide",
            ),
            rect(left - wider, y, thick + 2 * wider, 20, "d-oxide"),
        ]
        plate_y = y + 10
    else:
        plate_y = plate_at
        reach = max(0.0, (width_of(words, 14) - thick) / 2) + 11
        first, last = left - reach, right + reach
        plate = outline(
            (first, plate_y),
            (first + 7, plate_y - 10),
            (last - 7, plate_y - 10),
            (last, plate_y),
            (last - 7, plate_y + 10),
            (first + 7, plate_y + 10),
        )
        out.append(el("path", d=plate, class_="d-ink s-paper", stroke_width=2))
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
        out.append(dates_upright(tape, m, x=right + 11, top=top))
    if m.stay is not None:
        out.append(house(right + 19, top + m.stay, off=m.stay_off, lying=False))
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
        frame = rect(
            left, top, length, thick, "d-none s-line", stroke_width=1.2, stroke_dasharray="4 3"
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
        rect(left, top, length, thick, "d-paper"),
        rect(left, top, min(now, m.due) if m.past_tolerance else now, thick, "d-steel"),
        window(m, x=left + m.early, y=top, width=m.due - m.early, height=thick, gap=5),
        tolerance(m, x=left + m.falls, y=top, width=length - m.falls, height=thick, gap=5),
        rect(left, top, length, thick, "d-none s-ink", stroke_width=1.2),
        *(
            line(left + at, top, left + at, top + 4.5, width=1.2)
            for at, rank, _ in m.ticks
            if rank == 2
        ),
        due_line(m, left=left, top=top, thick=thick, past=2),
        line(x, top, x, low, width=2, class_=f"s-{colour}"),
        el(
            "path",
            d=f"M{num(x - 5)} {num(top - 7)}H{num(x + 5)}L{num(x)} {num(top + 1)}Z",
            class_=f"d-{colour}",
        ),
    ]
    if m.middle is not None:
        out.append(dates_lying(tape, m, left=left, y=low + 6, tight=True))
    return image(
        *out,
        width=width,
        height=height,
        label=spoken,
        class_="tape tape-small",
        ident=ident,
        sized=False,
    )
