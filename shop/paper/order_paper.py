"""An order as it is sent to a supplier: what, in which packs, at which price, by which day."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from shop.paper.content import PageSize
from shop.paper.document import MARGIN, SIZES
from shop.paper.head import ValueRow, draw_values, value_rows
from shop.paper.list_foot import FOOT, list_file
from shop.paper.pen import FRAME, HAIR, Pen
from shop.paper.type import LEADING, SMALL, Line, line, plain

_TITLE: Final = 18.0  # [pt]
_PAD: Final = 4.0  # [pt]
#: Headings and shares of the width, which add up to one; figures stand right.
COLUMNS: Final = (
    ("Your number", 0.17, False),
    ("What", 0.32, False),
    ("Packs", 0.08, True),
    ("One pack", 0.13, False),
    ("By", 0.09, False),
    ("Price of a pack", 0.10, True),
    ("Total", 0.11, True),
)


@dataclass(frozen=True, slots=True)
class OrderPaperLine:
    """One line, in words; price and total are empty where no price is known."""

    their_number: str
    name: str
    our_number: str
    packs: str
    pack: str
    by: str
    price: str
    total: str


@dataclass(frozen=True, slots=True)
class OrderPaper:
    """An order. cells: what stands under the title, as caption and value.

    contact: how to reach them, with line breaks. total: the sum, in words.
    is_draft: it was not sent yet, and says so. language: BCP 47 tag.
    """

    shop_name: str
    number: int
    supplier: str
    contact: str
    cells: tuple[tuple[str, str], ...]
    lines: tuple[OrderPaperLine, ...]
    total: str
    note: str
    printed_text: str
    is_draft: bool = False
    language: str = "en"


def order_pdf(paper: OrderPaper, *, page_size: PageSize = "letter") -> bytes:
    """Return the order as a PDF file; the total never stands alone on a page.

    Equal orders give equal bytes. Raises KeyError for an unknown page size.
    """
    width, height = SIZES[page_size]
    room = width - 2 * MARGIN
    head = _Head.of(paper, room)
    rows = [_row(each, room) for each in paper.lines]
    end = _end(paper, room)
    body = height - 2 * MARGIN - FOOT - _captions_height()
    pages = _pages(rows, first=body - head.height, further=body, last=_tall(end) + 3 * _PAD)

    def draw(pen: Pen, number: int, on_page: Sequence[_Row]) -> None:
        y = height - MARGIN
        if number == 1:
            y = _draw_head(pen, head, y, width)
        y = _draw_rows(pen, on_page, y, width)
        if number == len(pages):
            _draw_end(pen, end, y, width)

    return list_file(
        pages,
        draw,
        size=(width, height),
        language=paper.language,
        shop_name=paper.shop_name,
        subject="Order",
        title=f"{_title(paper)}, {paper.shop_name} to {paper.supplier}",
        printed=paper.printed_text,
        named=f"Order {paper.number}",
    )


def _title(paper: OrderPaper) -> str:
    return f"Order {paper.number}" + (", draft, not sent" if paper.is_draft else "")


@dataclass(frozen=True, slots=True)
class _Head:
    """From whom, to whom, and the facts of the order. height: with what stands under it. [pt]"""

    title: Line
    shop: Line
    supplier: tuple[Line, ...]
    values: tuple[ValueRow, ...]
    height: float

    @classmethod
    def of(cls, paper: OrderPaper, room: float) -> "_Head":
        supplier = plain(paper.supplier, width=room * 0.7, size=12, bold=True) + plain(
            paper.contact, width=room * 0.7
        )
        values = tuple(value_rows(paper.cells, width=room))
        title = line(_title(paper), size=_TITLE, bold=True)
        height = _TITLE * LEADING + _tall(supplier) + sum(row.height for row in values) + 5 * _PAD
        return cls(title, line(paper.shop_name, size=12, bold=True), supplier, values, height)


@dataclass(frozen=True, slots=True)
class _Row:
    cells: tuple[tuple[Line, ...], ...]
    height: float


def _row(each: OrderPaperLine, room: float) -> _Row:
    texts = (
        plain(each.their_number, width=_inside(0, room), bold=True),
        plain(each.name, width=_inside(1, room), bold=True)
        + plain(f"ours: {each.our_number}", width=_inside(1, room), size=SMALL),
        plain(each.packs, width=_inside(2, room), bold=True),
        plain(each.pack, width=_inside(3, room)),
        plain(each.by, width=_inside(4, room)),
        plain(each.price, width=_inside(5, room)),
        plain(each.total, width=_inside(6, room)),
    )
    return _Row(texts, max(map(_tall, texts)) + 2 * _PAD)


def _inside(place: int, room: float) -> float:
    return COLUMNS[place][1] * room - 2 * _PAD


def _end(paper: OrderPaper, room: float) -> tuple[Line, ...]:
    total = (line(paper.total, size=12, bold=True),)
    return total + plain(paper.note, width=room)


def _pages(rows: Sequence[_Row], *, first: float, further: float, last: float) -> list[list[_Row]]:
    """Share rows over pages; the last page also holds the total, with a row above it."""
    pages: list[list[_Row]] = [[]]
    left = first
    for place, row in enumerate(rows):
        needed = row.height + (last if place == len(rows) - 1 else 0.0)
        if needed > left and pages[-1]:
            pages.append([])
            left = further
        pages[-1].append(row)
        left -= row.height
    return pages


def _tall(lines: Sequence[Line]) -> float:
    return sum(text.size * LEADING for text in lines)


def _captions_height() -> float:
    return SMALL * LEADING + 2 * _PAD


def _draw_head(pen: Pen, head: _Head, top: float, width: float) -> float:
    y = top - head.title.size
    pen.write(MARGIN, y, head.title)
    pen.write_right(width - MARGIN, y, head.shop)
    y -= head.title.size * (LEADING - 1) + _PAD
    for text in head.supplier:
        y -= text.size * LEADING
        pen.write(MARGIN, y + text.size * 0.2, text)
    y -= 2 * _PAD
    for values in head.values:
        pen.box(MARGIN, y - values.height, width - 2 * MARGIN, values.height, FRAME)
        draw_values(pen, values, x=MARGIN, top=y, bottom=y - values.height)
        y -= values.height
    return top - head.height


def _draw_rows(pen: Pen, rows: Sequence[_Row], top: float, width: float) -> float:
    """The captions and the rows under them; returns where they end."""
    room = width - 2 * MARGIN
    _cells(pen, [(line(name, size=SMALL),) for name, _, _ in COLUMNS], top, room)
    y = top - _captions_height()
    pen.rule(MARGIN, y + _PAD / 2, width - MARGIN, y + _PAD / 2, FRAME)
    for row in rows:
        _cells(pen, row.cells, y - _PAD, room)
        y -= row.height
        pen.rule(MARGIN, y, width - MARGIN, y, HAIR)
    return y


def _cells(pen: Pen, cells: Sequence[Sequence[Line]], top: float, room: float) -> None:
    x = MARGIN
    for (_, share, is_figure), lines in zip(COLUMNS, cells, strict=True):
        y = top
        for text in lines:
            y -= text.size * LEADING
            if is_figure:
                pen.write_right(x + share * room - 2 * _PAD, y + text.size * 0.25, text)
            else:
                pen.write(x, y + text.size * 0.25, text)
        x += share * room


def _draw_end(pen: Pen, end: Sequence[Line], top: float, width: float) -> None:
    y = top - _PAD
    total, *note = end
    y -= total.size * LEADING
    pen.write_right(width - MARGIN - 2 * _PAD, y + total.size * 0.2, total)
    y -= _PAD
    for text in note:
        y -= text.size * LEADING
        pen.write(MARGIN, y + text.size * 0.2, text)
