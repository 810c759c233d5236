"""Labels for bins, parts, kits and drawers on sheets of labels: dataclasses in, PDF bytes out.

Black on white. The lower edge of each label is a true millimetre scale: laid on a steel rule, it
proves that the printer did not shrink the page. `trial_pdf` proves where the labels sit.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from io import BytesIO
from typing import Final

from reportlab.pdfgen.canvas import Canvas

from shop.drawing.stencil import CELL_HEIGHT, CELL_WIDTH, STEP, STROKE_WIDTH, STROKES, digits_of
from shop.paper import qr
from shop.paper.document import begin
from shop.paper.label_sheets import LabelSheet
from shop.paper.pen import MM, Pen
from shop.paper.type import CAP_HEIGHT, Line, line, plain

#: The code with its quiet zone; the dark part is then 12 mm or more. [mm]
QR_MM: Final = 16.0
BIN_MM: Final = (52.0, 24.0)
KIT_MM: Final = (60.0, 24.0)
#: A drawer list is at most so wide; it is as high as its label lets it be. [mm]
LIST_MM: Final = 96.0
HOLE_MM: Final = 3.0
#: Rings of a row; where more is kept, the figure alone says it.
MOST_RINGS: Final = 6
#: What is kept clear between a list and the edge of its label. [mm]
CLEAR_MM: Final = 0.7
RULER_MM: Final = 100
_SCALE_MM = 2.0  # room of the millimetre scale
_CLIP_MM = 3.5
_SIGN_MM = 17.0  # cell of shelf and number
_PAD = 1.2 * MM
_SIZES = (9.0, 8.0, 7.5, 7.0, 6.5, 6.0, 5.5, 5.0, 4.5, 4.0, 3.5)  # [pt] of a name, until it fits
_TIGHT = 1.14  # line height ÷ size
_SMALL = 6.5  # [pt]
_HEAD_MM, _ROW_MM = 7.0, 3.0


@dataclass(frozen=True, slots=True)
class BinLabel:
    """What lies in a bin. shelf, number: "K" and "03" of K-03; place: a code of another form.

    Without any of them it is the label of a part. buy_at: "buy at 3"; empty: not set.
    """

    name: str
    part: str
    url: str
    shelf: str = ""
    number: str = ""
    place: str = ""
    buy_at: str = ""


@dataclass(frozen=True, slots=True)
class KitTag:
    """A kit that was packed. rig: its number; None: packed for none. line: "kit of 23 parts"."""

    name: str
    part: str
    url: str
    line: str = ""
    rig: int | None = None
    sheet: str = ""
    lot: str = ""
    use_by: str = ""


@dataclass(frozen=True, slots=True)
class Kept:
    """A row of a drawer list. quantity: in words; rings: pieces to keep, 0 for what is no piece."""

    name: str
    quantity: str
    rings: int = 0


@dataclass(frozen=True, slots=True)
class DrawerList:
    """What is kept in the drawer of a rig; as many labels as its rows need."""

    rig: int
    name: str
    url: str
    rows: tuple[Kept, ...]


Label = BinLabel | KitTag | DrawerList


@dataclass(frozen=True, slots=True)
class _Page:
    """A drawer list, or a part of it that fits on one label."""

    whole: DrawerList
    rows: tuple[Kept, ...]
    word: str


@dataclass(frozen=True, slots=True)
class _Codes:
    """The stored QR codes: name of the form and modules across, by address."""

    forms: dict[str, tuple[str, int]]

    def show(self, canvas: Canvas, url: str, x: float, y: float) -> None:
        name, modules = self.forms[url]
        qr.show(canvas, name=name, modules=modules, x=x, y=y, size=QR_MM * MM)


def labels_pdf(
    labels: Sequence[Label],
    *,
    sheet: LabelSheet,
    start: int = 1,
    shop_name: str = "",
    title: str = "Labels",
    language: str = "en",
) -> bytes:
    """Return labels on a kind of sheet as a PDF file.

    start: the first label of the first page that is still there, 1 to sheet.count.
    Equal labels give equal bytes. Raises ValueError where there is no label or no such start.
    """
    if not labels:
        raise ValueError("there is no label to print")
    if not 1 <= start <= sheet.count:
        raise ValueError(f"a page of this sheet has {sheet.count} labels")
    file = BytesIO()
    canvas = _canvas(file, sheet, shop_name=shop_name, title=title, language=language)
    codes = _Codes({})
    for number, url in enumerate(dict.fromkeys(label.url for label in labels)):
        name = f"code{number}"
        codes.forms[url] = (name, qr.store(canvas, name=name, url=url))
    pieces = [piece for label in labels for piece in _pieces(label, sheet)]
    pen = Pen(canvas)
    for number, piece in enumerate(pieces, start=start - 1):
        place = number % sheet.count
        if place == 0 and number:
            pen.finish()
            canvas.showPage()
            pen = Pen(canvas)
        x, y = sheet.corner(place)
        width, height = size_of(piece, sheet)
        left = (x + (sheet.width - width) / 2) * MM
        bottom = (y + (sheet.height - height) / 2) * MM
        if isinstance(piece, BinLabel):
            _bin(pen, piece, codes, left, bottom)
        elif isinstance(piece, KitTag):
            _kit(pen, piece, codes, left, bottom)
        else:
            _list(pen, piece, codes, left, bottom, width * MM, height * MM)
    pen.finish()
    canvas.showPage()
    canvas.save()
    return file.getvalue()


def trial_pdf(sheet: LabelSheet, *, shop_name: str = "", language: str = "en") -> bytes:
    """Return a page that shows each label's edge and number, and a ruler either way.

    To be printed on plain paper and held against the sheet of labels before a light.
    """
    file = BytesIO()
    title = f"Test print, {sheet.name}"
    canvas = _canvas(file, sheet, shop_name=shop_name, title=title, language=language)
    pen = Pen(canvas)
    for place in range(sheet.count):
        x, y = sheet.corner(place)
        pen.box(x * MM, y * MM, sheet.width * MM, sheet.height * MM, 0.5)
        number = line(str(place + 1), size=9, bold=True)
        pen.write(x * MM + 2 * _PAD, (y + sheet.height) * MM - _PAD - 9, number)
    x, y = sheet.corner(sheet.columns * (sheet.rows // 2))
    left, across = (x + 8) * MM, (y + sheet.height * 0.45) * MM
    pen.rule(left, across, left + RULER_MM * MM, across, 0.75)
    _ticks(pen, left, across, RULER_MM)
    for nth, words in enumerate(("Print at 100 %.", "Both rulers are 100 mm long."), start=1):
        pen.write(left + 2, across - nth * 9.5, line(words, size=8, bold=True))
    bottom = (sheet.page_height - RULER_MM) / 2 * MM
    pen.rule(left, bottom, left, bottom + RULER_MM * MM, 0.75)
    for mm in range(RULER_MM + 1):
        at = bottom + mm * MM
        pen.rule(left, at, left - _tick(mm) * MM, at, 0.5)
    pen.finish()
    canvas.showPage()
    canvas.save()
    return file.getvalue()


def size_of(label: Label | _Page, sheet: LabelSheet) -> tuple[float, float]:
    """Return how wide and high a label is drawn. [mm]"""
    if isinstance(label, BinLabel):
        return BIN_MM
    if isinstance(label, KitTag):
        return KIT_MM
    return min(LIST_MM, sheet.width - 2 * CLEAR_MM), sheet.height - 2 * CLEAR_MM


def _canvas(
    file: BytesIO, sheet: LabelSheet, *, shop_name: str, title: str, language: str
) -> Canvas:
    canvas = begin(
        file,
        size=(sheet.page_width * MM, sheet.page_height * MM),
        language=language,
        author=shop_name,
        subject="Labels",
    )
    canvas.setTitle(title)
    return canvas


def _pieces(label: Label, sheet: LabelSheet) -> Sequence[BinLabel | KitTag | _Page]:
    if not isinstance(label, DrawerList):
        return [label]
    _, height = size_of(label, sheet)
    room = max(1, int((height - _SCALE_MM - _HEAD_MM) / _ROW_MM))
    pages = [label.rows[first : first + room] for first in range(0, len(label.rows), room)] or [()]
    many = len(pages)
    return [
        _Page(label, rows, f"{number} of {many}" if many > 1 else "")
        for number, rows in enumerate(pages, start=1)
    ]


# What is drawn: x, y is the lower left corner. [pt]


def _bin(pen: Pen, label: BinLabel, codes: _Codes, x: float, y: float) -> None:
    width, height = BIN_MM[0] * MM, BIN_MM[1] * MM
    pen.box(x, y, width, height)
    _ticks(pen, x, y, int(BIN_MM[0]))
    left = x
    if label.number or label.place:
        sign = _SIGN_MM * MM
        pen.rule(x + sign, y, x + sign, y + height, 0.75)
        _sign(pen, label, x, y + _SCALE_MM * MM, sign, height - _SCALE_MM * MM)
        left += sign
    right = x + width
    under = y + (_SCALE_MM + QR_MM) * MM
    name = _fitted(label.name, right - left - 2 * _PAD, y + height - under)
    _set_down(pen, name, left + _PAD, y + height - 1.5)
    codes.show(pen.canvas, label.url, right - QR_MM * MM, y + _SCALE_MM * MM)
    room = right - QR_MM * MM - left - _PAD
    top = under - 3
    top = _set_down(pen, _fitted(label.part, room, 18, first=8.0, bold=False), left + _PAD, top)
    if label.buy_at:
        bought = _fitted(label.buy_at, room, 24, first=9.0)
        _set_down(pen, bought, left + _PAD, y + (_SCALE_MM + 1.5) * MM + _height(bought))


def _sign(pen: Pen, label: BinLabel, x: float, y: float, width: float, height: float) -> None:
    """The shelf's letter over the stencil number; a code of another form as it is."""
    if not label.number:
        text = _fitted(label.place, width - 2 * _PAD, height - 2 * _PAD, first=16.0)
        _set_down(pen, text, x + _PAD, y + (height + _height(text)) / 2)
        return
    shelf = line(label.shelf, size=11, bold=True)
    pen.write_centred(x + width / 2, y + height - 12, shelf)
    _stencil(pen, label.number, x, y + 1.5 * MM, width, 12 * MM)


def _stencil(pen: Pen, digits: str, x: float, y: float, width: float, height: float) -> None:
    """Figures in the middle of a cell, as high as they fit."""
    units = STEP * (len(digits) - 1) + CELL_WIDTH
    scale = min(height / CELL_HEIGHT, (width - 2 * _PAD) / units)
    left = x + (width - units * scale) / 2
    top = y + (height + CELL_HEIGHT * scale) / 2
    for place, digit in enumerate(digits):
        pen.path(
            STROKES[digit],
            x=left + place * STEP * scale,
            y=top,
            scale=scale,
            stroke=STROKE_WIDTH,
        )


def _kit(pen: Pen, tag: KitTag, codes: _Codes, x: float, y: float) -> None:
    width, height = KIT_MM[0] * MM, KIT_MM[1] * MM
    clip = _CLIP_MM * MM
    _outline(
        pen,
        (
            (x + clip, y),
            (x + width, y),
            (x + width, y + height),
            (x + clip, y + height),
            (x, y + height - clip),
            (x, y + clip),
        ),
    )
    radius = HOLE_MM / 2 * MM
    pen.line_width(0.75)
    pen.canvas.circle(x + radius + 1.3 * MM, y + height / 2, radius, stroke=1, fill=0)
    _ticks(pen, x, y, int(KIT_MM[0]), first=4)
    left, right = x + 6 * MM, x + width - (QR_MM + 0.8) * MM
    codes.show(
        pen.canvas,
        tag.url,
        right,
        y + _SCALE_MM * MM + (height - _SCALE_MM * MM) / 2 - QR_MM * MM / 2,
    )
    top = _set_down(pen, _fitted(tag.name, right - left, 16), left, y + height - 2.5)
    said = f"{tag.part}, {tag.line}" if tag.line else tag.part
    _set_down(pen, _fitted(said, right - left, 12, first=_SMALL, bold=False), left, top - 1)
    cell, low, high = (right - left) / 4, y + (_SCALE_MM + 1.2) * MM, 8.2 * MM
    pen.box(left, low, right - left, high, 0.75)
    for number, (caption, value) in enumerate(
        (("Rig", ""), ("Sheet", tag.sheet), ("Lot", tag.lot), ("Use by", tag.use_by))
    ):
        at = left + number * cell
        if number:
            pen.rule(at, low, at, low + high, 0.75)
        pen.write(at + 1.5, low + high - 6, line(caption, size=5.5))
        if number == 0 and tag.rig is not None:
            _stencil(pen, "".join(digits_of(tag.rig)), at, low + 1.5, cell, high - 9)
        elif value:
            text = _fitted(value, cell - 3, high - 8, first=_SMALL)
            _set_down(pen, text, at + 1.5, low + high - 7.5)


def _list(
    pen: Pen, page: _Page, codes: _Codes, x: float, y: float, width: float, height: float
) -> None:
    pen.box(x, y, width, height)
    _ticks(pen, x, y, int(width / MM))
    whole = page.whole
    right = x + width - QR_MM * MM
    codes.show(pen.canvas, whole.url, right, y + height - QR_MM * MM - 0.5 * MM)
    head = y + height - _HEAD_MM * MM
    sign = 12 * MM
    _stencil(pen, "".join(digits_of(whole.rig)), x, head + 1, sign, _HEAD_MM * MM - 2)
    top = _set_down(pen, _fitted(whole.name, right - x - sign, 10), x + sign, y + height - 1.5)
    keep = ", ".join(filter(None, ("keep these here", page.word)))
    pen.write(x + sign, top - 6, line(keep, size=6))
    pen.rule(x, head, right, head, 0.75)
    step, ring = _ROW_MM * MM, 0.95 * MM
    for number, row in enumerate(page.rows):
        base = head - (number + 1) * step
        middle = base + step / 2
        rings = row.rings if row.rings <= MOST_RINGS else 0
        at = right - _PAD - rings * (2 * ring + 1.2)
        pen.line_width(0.75)
        for each in range(rings):
            centre = at + ring + each * (2 * ring + 1.2)
            pen.canvas.circle(centre, middle, ring, stroke=1, fill=0)
        quantity = line(row.quantity, size=_SMALL, bold=True)
        until = at - 2 - quantity.width
        pen.write(until, middle - _SMALL * CAP_HEIGHT / 2, quantity)
        name = _fitted(row.name, until - x - 2 * _PAD, step, first=_SMALL, bold=False)
        _set_down(pen, name, x + _PAD, middle + _height(name) / 2)
        pen.rule(x + _PAD, base, right - _PAD, base, 0.5)
    if not page.rows:
        pen.write(x + _PAD, head - step, line("Nothing is kept here.", size=_SMALL))


def _outline(pen: Pen, points: Sequence[tuple[float, float]]) -> None:
    path = pen.canvas.beginPath()
    path.moveTo(*points[0])
    for point in points[1:]:
        path.lineTo(*point)
    path.close()
    pen.line_width(1.0)
    pen.canvas.drawPath(path, stroke=1, fill=0)


def _tick(mm: int) -> float:
    """How long the tick of a millimetre is. [mm]"""
    return 1.8 if mm % 10 == 0 else 1.3 if mm % 5 == 0 else 0.8


def _ticks(pen: Pen, x: float, y: float, length: int, *, first: int = 0) -> None:
    """A tick up for each millimetre from x on; the ends are the frame's."""
    for mm in range(first, length + 1):
        at = x + mm * MM
        pen.rule(at, y, at, y + _tick(mm) * MM, 0.4)


def _fitted(
    text: str, width: float, height: float, *, first: float = 9.0, bold: bool = True
) -> tuple[Line, ...]:
    """Text in the largest size that lets it stand whole in a room. [pt]"""
    lines: tuple[Line, ...] = ()
    for size in (first, *(each for each in _SIZES if each < first)):
        lines = plain(text, width=width, size=size, bold=bold)
        longest = max((line(word, size=size, bold=bold).width for word in text.split()), default=0)
        if _height(lines) <= height and longest <= width:
            break
    return lines


def _height(lines: Sequence[Line]) -> float:
    return sum(each.size * _TIGHT for each in lines)


def _set_down(pen: Pen, lines: Sequence[Line], x: float, top: float) -> float:
    """Set lines under one another from `top` down; return where they end. [pt]"""
    for each in lines:
        top -= each.size * _TIGHT
        pen.write(x, top + each.size * 0.25, each)
    return top
