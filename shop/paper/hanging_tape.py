"""A wear tape hanging on paper, by the same marks as on the screen."""

from typing import Final

from shop.drawing.svg import figure
from shop.drawing.tape_marks import Marks, Tape, marks
from shop.paper.pen import Pen
from shop.paper.type import CAP_HEIGHT, line

BLADE: Final = 24.0  # [pt] width
_TICKS = (0.13, 0.20, 0.26)  # share of the blade by rank, as on the screen
_SIZE = 8.0
_STRETCH = 0.75
_PLATE = 12.0  # [pt]


def hanging_tape(pen: Pen, tape: Tape, *, x: float, top: float, length: float) -> None:
    """Draw a blade `length` long from its upper left corner: unit on the left, dates right. [pt]"""
    canvas = pen.canvas
    right = x + BLADE
    if tape.life is None:
        canvas.setDash([3, 2])
        pen.box(x, top - length, BLADE, length, 1.0)
        canvas.setDash([])
        for place, word in enumerate(tape.unread.split(" ", 2)):
            text = line(word, size=_SIZE)
            pen.write_centred(
                x + BLADE / 2, top - length / 2 + 8 - 10 * place, text, stretch=_STRETCH
            )
        return
    m = marks(tape, length=length)
    now = m.now or 0.0
    pen.steel(x, top - now, BLADE, now)
    _hatch(pen, x, top - m.falls, length - m.falls)
    _hatch(pen, x, top - m.early, m.due - m.early, back=True)
    plate = min(max(top - now, top - length + _PLATE / 2), top - _PLATE / 2)
    above = -_SIZE
    for at, rank, value in m.ticks:
        y = top - at
        pen.rule(x, y, x + BLADE * _TICKS[rank], y, 0.6)
        near = min(abs(y - plate) - _PLATE / 2, abs(at - m.falls), at, length - at)
        # On a short blade a numeral gives way to the one above it.
        if rank == 2 and near > _SIZE / 2 and at - above > _SIZE * 1.15:
            above = at
            pen.write(
                x + BLADE * 0.26 + 1,
                y - _SIZE * CAP_HEIGHT / 2,
                line(figure(value), size=_SIZE),
                stretch=_STRETCH,
            )
    for at in m.weeks:
        pen.rule(right, top - at, right - BLADE * 0.13, top - at, 0.6)
    for at, done in m.notches:
        pen.line_width(0.8)
        notch = canvas.beginPath()
        notch.arc(right - 3, top - at - 3, right + 3, top - at + 3, 90, 180)
        notch.close()
        canvas.setFillGray(0 if done else 1)
        canvas.drawPath(notch, stroke=1, fill=1)
        canvas.setFillGray(0)
    pen.box(x, top - length, BLADE, length, 1.0)
    if m.put_off is not None:
        canvas.setDash([2, 2])
        pen.rule(x - 4, top - m.due, right + 4, top - m.due, 0.9)
        canvas.setDash([])
    pen.rule(x - 4, top - m.falls, right + 4, top - m.falls, 2.0)
    if not m.past_tolerance:
        pen.rule(x - 2, top - length, right + 2, top - length, 2.8)
    _plate(pen, tape, m, x=x, y=plate, tip=top - now)
    if m.middle is not None:
        _dates(pen, tape, m, x=right + 7, top=top)
    if m.stay is not None:
        _house(pen, right + 13, top - m.stay, off=m.stay_off)


def _plate(pen: Pen, tape: Tape, m: Marks, *, x: float, y: float, tip: float) -> None:
    """The life as a figure on its plate; framed twice once past tolerance."""
    text = line(tape.life_words, size=9, bold=True)
    width = max(text.width * 0.85 + 6, BLADE)
    left = x + BLADE / 2 - width / 2
    pen.rule(x, tip, x + BLADE, tip, 1.2)
    pen.canvas.setFillGray(1)
    pen.line_width(1.2)
    pen.canvas.rect(left, y - _PLATE / 2, width, _PLATE, stroke=1, fill=1)
    pen.canvas.setFillGray(0)
    if m.past_tolerance:
        pen.box(left - 2, y - _PLATE / 2 - 2, width + 4, _PLATE + 4, 1.2)
    pen.write_centred(x + BLADE / 2, y - 9 * CAP_HEIGHT / 2, text, stretch=0.85)


def _dates(pen: Pen, tape: Tape, m: Marks, *, x: float, top: float) -> None:
    """The 10–90 % days as a dimension line with its ring; a diamond where the day is known."""
    middle = top - (m.middle or 0.0)
    if tape.calendar_only:
        pen.polygon(((x, middle + 3), (x + 3, middle), (x, middle - 3), (x - 3, middle)))
        return
    if m.band:
        first, last = top - m.band[0], top - m.band[1]
        pen.rule(x, first, x, last, 2.4)
        pen.rule(x - 3, first, x + 3, first, 0.9)
        if not m.band_off:
            pen.rule(x - 3, last, x + 3, last, 0.9)
    pen.canvas.setFillGray(1)
    pen.line_width(1.1)
    pen.canvas.circle(x, middle, 2.1, stroke=1, fill=1)
    pen.canvas.setFillGray(0)


def _house(pen: Pen, x: float, y: float, *, off: bool) -> None:
    """The next stay, pointing at the date edge; an arrow in it when it lies off the end."""
    path = pen.canvas.beginPath()
    path.moveTo(x - 4, y)
    for dx, dy in ((0, 3.5), (6, 3.5), (6, -3.5), (0, -3.5)):
        path.lineTo(x + dx, y + dy)
    path.close()
    pen.line_width(0.9)
    pen.canvas.drawPath(path, stroke=1, fill=0)
    if off:
        pen.rule(x + 1, y + 1.5, x + 3, y - 1.5, 0.9)
        pen.rule(x + 3, y - 1.5, x + 5, y + 1.5, 0.9)


def _hatch(pen: Pen, x: float, top: float, height: float, *, back: bool = False) -> None:
    if height <= 0:
        return
    canvas = pen.canvas
    canvas.saveState()
    outline = canvas.beginPath()
    outline.rect(x, top - height, BLADE, height)
    canvas.clipPath(outline, stroke=0, fill=0)
    canvas.setLineWidth(0.5)
    y = top - height - BLADE
    while y < top:
        ends = (y + BLADE, y) if back else (y, y + BLADE)
        canvas.line(x, ends[0], x + BLADE, ends[1])
        y += 3.2
    canvas.restoreState()
