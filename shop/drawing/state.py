"""Tags, punches, sides, the scale of a measured value: word first, then shape, then colour."""

from __future__ import annotations

from collections.abc import Callable
from html import escape
from typing import Final

from equipment.saying import gettext_noop
from shop.drawing.svg import el, figure, hatch, image, line, num, rect, text, ticks_for, width_of

#: State → shape. The word beside it may say more ("not read 23 d"), the shape does not change.
SHAPES: dict[str, str] = {
    "clear": "clear",
    "none": "clear",
    "soon": "soon",
    "due": "due",
    "overdue": "past",
    "out": "past",
    "out_of_limit": "past",
    "unread": "unread",
    "second_look": "unread",
    "waiting": "waiting",
    "out_of_service": "waiting",
    "held": "past",
    "not_zero": "past",
}
WORDS: dict[str, str] = {
    "clear": "clear",
    "none": gettext_noop("no date"),
    "soon": gettext_noop("due soon"),
    "due": gettext_noop("due"),
    "overdue": gettext_noop("overdue"),
    "out": gettext_noop("out of limit"),
    "out_of_limit": gettext_noop("out of limit"),
    "unread": gettext_noop("not read"),
    "second_look": gettext_noop("second look wanted"),
    "waiting": gettext_noop("waiting for parts"),
    "out_of_service": gettext_noop("out of service"),
    "held": gettext_noop("must not leave"),
    "not_zero": gettext_noop("not zero"),
}

_CAP = "M22 1H8.5L1 8.5V17.5L8.5 25H22"


def tag(state: str, word: str = "") -> str:
    """Return a state as a tag: only exceptions get a frame, clear is a ring and its word.

    Raises ValueError for a state that look.md does not draw.
    """
    if state not in SHAPES:
        raise ValueError(f"no tag for the state {state!r}; one of {', '.join(sorted(SHAPES))}")
    shape = SHAPES[state]
    word = escape(word or WORDS[state])
    if shape == "clear":
        hole = (
            el("circle", cx=9, cy=13, r=5, class_="d-none s-ink", stroke_width=2)
            if state == "clear"
            else line(4, 13, 14, 13, width=2, class_="s-ink2")
        )
        return (
            f'<span class="tag tag-{"none" if state == "none" else "clear"}">'
            f'{_piece(hole, width=18)}<span class="word">{word}</span></span>'
        )
    fill = {"due": "d-brass s-ink", "past": "d-oxide s-oxide"}.get(shape, "d-none s-ink")
    frame = el(
        "path",
        d=_CAP,
        class_=fill,
        stroke_width=2,
        stroke_dasharray="5 3" if shape == "unread" else None,
    )
    marks = {
        "soon": el("circle", cx=12.5, cy=13, r=3.5, class_="d-none s-ink", stroke_width=2),
        "due": el("circle", cx=12.5, cy=13, r=4, class_="d-on-brass"),
        "past": el("circle", cx=12.5, cy=13, r=4, class_="d-on-ink"),
        "unread": text("?", x=12.5, y=18, size=14, text_anchor="middle", class_="d-ink t-strong"),
        "waiting": el(
            "path", d="M10.5 8.5V17.5M15.5 8.5V17.5", class_="d-none s-ink", stroke_width=2.5
        ),
    }
    end = ""
    if shape == "past":
        torn = el("path", d="M0 0H9L5 4.5L9 9L5 13.5L9 18L5 22L9 26H0Z", class_="d-oxide")
        end = _piece(torn, width=9)
    return (
        f'<span class="tag tag-{shape}">{_piece(frame + marks[shape], width=22)}'
        f'<span class="word">{word}</span>{end}</span>'
    )


def _piece(shape: str, *, width: float) -> str:
    return image(shape, width=width, height=26, label="", class_="tag-end")


STEP_WORDS = ("", "drafted", "handed out", "under way", "signed")


def punches(step: int, word: str = "", *, void: bool = False) -> str:
    """Return the four holes of a sheet, as many filled as steps are done, with the word.

    step: 0 to 4. Raises ValueError outside.
    """
    if not 0 <= step <= 4:
        raise ValueError("a sheet has four steps")
    word = word or ("void" if void else STEP_WORDS[step])
    holes = [
        el(
            "circle",
            cx=7 + 17 * place,
            cy=8,
            r=5.5,
            class_="d-ink s-ink" if place < step and not void else "d-none s-ink",
            stroke_width=2,
        )
        for place in range(4)
    ]
    if void:
        holes.append(line(0, 8, 65, 8, width=2))
    drawing = image(*holes, width=65, height=16, label="", class_="holes")
    return f'<span class="punches">{drawing}<span>{escape(word)}</span></span>'


def side(letter: str) -> str:
    """Return a side as its letter in its shape: A in a square, B in a circle, or nothing."""
    if letter not in ("A", "B"):
        return ""
    return f'<span class="side side-{letter.lower()}">{letter}</span>'


#: The room of a scale on the narrowest phone, so that its texts are never smaller than they say.
SCALE_WIDTH: Final = 280
#: Of its texts. [px]
TEXT: Final = 16


def scale(
    value: float | None,
    low: float | None,
    high: float | None,
    last: float | None,
    unit: str,
    translate: Callable[[str], str] = gettext_noop,
) -> str:
    """Return the scale of a measured value: limits as lines, past them hatched, last as a ring.

    low, high: limits, either may be None; value, last: [unit], None when not taken. Empty text
    when there is no limit, since then nothing is measured against anything. translate: says its
    words in the language of the page.
    """
    limits = [limit for limit in (low, high) if limit is not None]
    if not limits:
        return ""

    def say(text: str, value: float, unit: str = "") -> str:
        return translate(text).format(value=figure(value), unit=unit)

    given = limits + [v for v in (value, last) if v is not None]
    span = max(given) - min(given)
    margin = (span or abs(limits[0]) or 1) * (0.35 if span else 0.5)
    start, end = min(given) - margin, max(given) + margin
    if min(given) >= 0:
        start = max(start, 0)
    left, top, length, thick = 6.0, 34.0, SCALE_WIDTH - 12.0, 38.0
    bottom = top + thick

    def place(v: float) -> float:
        return left + (v - start) / (end - start) * length

    out = [rect(left, top, length, thick, "d-paper")]
    for at, x, width in (
        (low, left, place(low) - left if low is not None else 0),
        (
            high,
            place(high) if high is not None else 0,
            left + length - place(high) if high is not None else 0,
        ),
    ):
        if at is not None:
            out.append(
                el(
                    "path",
                    d=hatch(x, top, width, thick, gap=8),
                    class_="d-none s-ink",
                    stroke_width=0.9,
                )
            )
    out.append(rect(left, top, length, thick, "d-none s-ink", stroke_width=1.5))
    ticks = ticks_for(end - start)
    marks, figures = [], []
    count = int(start / ticks.step) - 1
    while count * ticks.step < end:
        at = count * ticks.step
        if at > start:
            rank = ticks.rank(at)
            x = place(at)
            marks.append(f"M{num(x)} {num(top)}v{(6, 10, 16)[rank]}")
            if rank == 2 and all(
                abs(x - place(v)) > 16 for v in (*limits, *([] if value is None else [value]))
            ):
                half = width_of(figure(at), TEXT) / 2
                if left + 2 <= x - half and x + half <= left + length - 2:
                    figures.append(rect(x - half - 2, top + 17, 2 * half + 4, 17, "d-paper"))
                    figures.append(
                        text(
                            figure(at),
                            x=x,
                            y=bottom - 7,
                            size=TEXT,
                            text_anchor="middle",
                            class_="d-ink",
                        )
                    )
        count += 1
    out += [el("path", d="".join(marks), class_="d-none s-ink", stroke_width=1.2), *figures]
    # The line above the scale says which limit it is; a figure that has no room is left to it.
    written = left
    for limit in limits:
        x = place(limit)
        out.append(line(x, top - 8, x, bottom + 8, width=4))
        half = width_of(figure(limit), TEXT) / 2
        x = min(max(x, left + half), left + length - half)
        if x - half >= written:
            written = x + half + 6
            out.append(
                text(
                    figure(limit),
                    x=x,
                    y=19,
                    size=TEXT,
                    text_anchor="middle",
                    class_="d-ink limit",
                )
            )
    if last is not None:
        x = place(last)
        out.append(
            el("circle", cx=x, cy=bottom + 16, r=5.5, class_="d-none s-ink", stroke_width=2.5)
        )
        before = x > left + length / 2
        out.append(
            text(
                say(gettext_noop("last {value}"), last),
                x=x - 12 if before else x + 12,
                y=bottom + 22,
                size=TEXT,
                text_anchor="end" if before else None,
                class_="d-ink2",
            )
        )
    said = []
    now = []
    if value is not None:
        wrong = (low is not None and value < low) or (high is not None and value > high)
        colour = "oxide" if wrong else "ink"
        x = place(value)
        now.append(line(x, top, x, bottom, width=4, class_=f"s-{colour}"))
        now.append(
            el(
                "path",
                d=f"M{num(x - 9)} {num(top - 12)}H{num(x + 9)}L{num(x)} {num(top)}Z",
                class_=f"d-{colour}",
            )
        )
        words = say(gettext_noop("now {value}"), value)
        reach = width_of(words, TEXT)
        spans = [(place(v) - 24, place(v) + 24) for v in limits]
        for begin in (x + 13, x - 13 - reach):
            fits = left <= begin and begin + reach <= left + length
            if fits and all(begin + reach < first or begin > second for first, second in spans):
                now.append(text(words, x=begin, y=27, size=TEXT, class_=f"d-{colour} t-bold"))
                break
        text_now = (
            gettext_noop("now {value} {unit}, out of limit")
            if wrong
            else gettext_noop("now {value} {unit}")
        )
        said.append(say(text_now, value, unit))
    # The phone draws this mark anew while a value is typed. Where the scale begins and ends is told
    # in full: two decimals, as of a coordinate, would move the mark on a scale of hundredths.
    out.append(
        el(
            "g",
            *now,
            class_="now",
            data_start=repr(start),
            data_end=repr(end),
            data_left=num(left),
            data_length=num(length),
            data_top=num(top),
            data_thick=num(thick),
        )
    )
    if low is not None:
        said.append(say(gettext_noop("at least {value}"), low))
    if high is not None:
        said.append(say(gettext_noop("at most {value}"), high))
    if last is not None:
        said.append(say(gettext_noop("last {value}"), last))
    return image(
        *out,
        width=SCALE_WIDTH,
        height=bottom + 28,
        label=", ".join(said),
        class_="scale",
        sized=False,
    )
