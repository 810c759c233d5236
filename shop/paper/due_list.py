"""The due list on paper: landscape, black on white, as the page shows it.

`due_list_pdf` sets every row of the filtered list; the head of the table stands on each page.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from shop.paper.content import PageSize
from shop.paper.document import MARGIN, SIZES
from shop.paper.list_foot import FOOT, list_file
from shop.paper.pen import BOX, FRAME, HAIR, Pen
from shop.paper.type import CAP_HEIGHT, LEADING, SMALL, TEXT, Line, line, plain

TITLE: Final = 16.0  # [pt]
_PAD: Final = 4.0  # [pt]
#: Headings and shares of the width after the box; they add up to one.
COLUMNS: Final = (
    ("Rig", 0.09),
    ("Component and service", 0.22),
    ("Life now", 0.12),
    ("State", 0.09),
    ("Falls due, 10 – 90 %", 0.15),
    ("Odds of falling due", 0.15),
    ("Kit", 0.10),
    ("Parts", 0.08),
)


@dataclass(frozen=True, slots=True)
class DuePaperRow:
    """One service: what is read first in each cell, and what stands under it."""

    cells: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class DuePaper:
    """A due list. asked: the filters and the order, in words. language: BCP 47 tag."""

    shop_name: str
    asked: str
    printed_text: str
    rows: tuple[DuePaperRow, ...]
    language: str = "en"


@dataclass(frozen=True, slots=True)
class _Set:
    """A row broken into lines, and its height. [pt]"""

    cells: tuple[tuple[Line, ...], ...]
    height: float


def due_list_pdf(paper: DuePaper, *, page_size: PageSize = "letter") -> bytes:
    """Return the list as a PDF file.

    Equal lists give equal bytes. Raises ValueError for a row of other than eight cells, KeyError
    for an unknown page size.
    """
    height, width = SIZES[page_size]  # landscape
    columns = _columns(width)
    waiting = [_set(row, columns) for row in paper.rows]
    head = _head(paper, width - 2 * MARGIN)
    first = height - 2 * MARGIN - FOOT - _heights(head) - _PAD - SMALL * 2
    pages = _pages(waiting, first=first, further=height - 2 * MARGIN - FOOT - SMALL * 2)

    def draw(pen: Pen, number: int, rows: Sequence[_Set]) -> None:
        y = height - MARGIN
        if number == 1:
            for text in head:
                y -= text.size * LEADING
                pen.write(MARGIN, y, text)
            y -= _PAD
        y = _captions(pen, columns, y, right=width - MARGIN)
        for row in rows:
            y = _draw(pen, row, columns, y, right=width - MARGIN)
        if not paper.rows:
            pen.write(MARGIN, y - TEXT * LEADING - _PAD, line("Nothing falls due like that."))

    return list_file(
        pages,
        draw,
        size=(width, height),
        language=paper.language,
        shop_name=paper.shop_name,
        subject="Due list",
        title=f"Due list, {paper.asked}",
        printed=paper.printed_text,
    )


def _columns(width: float) -> list[tuple[float, float]]:
    """Where each column begins, and how wide it is. [pt]"""
    left, room = MARGIN + BOX + 2 * _PAD, width - 2 * MARGIN - BOX - 2 * _PAD
    found = []
    for _, share in COLUMNS:
        found.append((left, room * share))
        left += room * share
    return found


def _head(paper: DuePaper, width: float) -> list[Line]:
    return [
        line(f"Due, {paper.shop_name}", size=TITLE, bold=True),
        *plain(paper.asked, width=width),
    ]


def _heights(lines: Sequence[Line]) -> float:
    return sum(text.size * LEADING for text in lines)


def _set(row: DuePaperRow, columns: Sequence[tuple[float, float]]) -> _Set:
    cells = []
    for (first, under), (_, width) in zip(row.cells, columns, strict=True):
        room = width - 2 * _PAD
        cells.append(plain(first, width=room, bold=True) + plain(under, width=room, size=SMALL))
    return _Set(tuple(cells), max(map(_heights, cells)) + 2 * _PAD)


def _pages(rows: Sequence[_Set], *, first: float, further: float) -> list[list[_Set]]:
    pages: list[list[_Set]] = [[]]
    room = first
    for row in rows:
        if row.height > room and pages[-1]:
            pages.append([])
            room = further
        pages[-1].append(row)
        room -= row.height
    return pages


def _captions(pen: Pen, columns: Sequence[tuple[float, float]], top: float, right: float) -> float:
    for (name, _), (x, width) in zip(COLUMNS, columns, strict=True):
        text = line(name, size=SMALL)
        if name == COLUMNS[-1][0]:
            pen.write_right(x + width, top - SMALL, text)
        else:
            pen.write(x, top - SMALL, text)
    bottom = top - SMALL * 2
    pen.rule(MARGIN, bottom + _PAD, right, bottom + _PAD, FRAME)
    return bottom + _PAD


def _draw(
    pen: Pen, row: _Set, columns: Sequence[tuple[float, float]], top: float, right: float
) -> float:
    pen.tick_box(MARGIN, top - _PAD - TEXT * LEADING / 2)
    for place, ((x, width), lines) in enumerate(zip(columns, row.cells, strict=True)):
        y = top - _PAD - TEXT * (LEADING - 1) / 2 - TEXT * CAP_HEIGHT
        for text in lines:
            if place == len(columns) - 1:
                pen.write_right(x + width, y, text)
            else:
                pen.write(x, y, text)
            y -= text.size * LEADING
    bottom = top - row.height
    pen.rule(MARGIN, bottom, right, bottom, HAIR)
    return bottom
