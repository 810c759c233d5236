"""What to put into the drawers of the rigs, to carry along the shelves: a box for each line."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from shop.paper.content import PageSize
from shop.paper.document import MARGIN, SIZES
from shop.paper.list_foot import FOOT, list_file
from shop.paper.pen import BOX, HAIR, Pen
from shop.paper.type import CAP_HEIGHT, LEADING, SMALL, TEXT, Line, line, plain

_TITLE: Final = 16.0  # [pt]
_HEADING: Final = 12.0  # [pt]
_PAD: Final = 4.0  # [pt]
#: Headings and shares of the width after the box; they add up to one.
COLUMNS: Final = (
    ("Part", 0.40),
    ("Keep", 0.13),
    ("In the drawer", 0.13),
    ("Take", 0.20),
    ("The shop lacks", 0.14),
)


@dataclass(frozen=True, slots=True)
class PickRow:
    """One part, in words; take: "2 pieces from K-03"; short: empty where the shop has all."""

    part: str
    number: str
    keep: str
    here: str
    take: str
    short: str = ""


@dataclass(frozen=True, slots=True)
class PickRig:
    """One rig, and what its drawer lacks."""

    number: int
    title: str
    where: str
    rows: tuple[PickRow, ...]


@dataclass(frozen=True, slots=True)
class PickList:
    """A pick list. asked: which rigs, in words. language: BCP 47 tag."""

    shop_name: str
    asked: str
    printed_text: str
    rigs: tuple[PickRig, ...]
    language: str = "en"


def pick_list_pdf(paper: PickList, *, page_size: PageSize = "letter") -> bytes:
    """Return the list as a PDF file; the head of a rig never stands without its first row.

    Equal lists give equal bytes. Raises KeyError for an unknown page size.
    """
    width, height = SIZES[page_size]
    blocks = _blocks(paper, width - 2 * MARGIN)
    room = height - 2 * MARGIN - FOOT
    pages: list[list[_Block]] = [[]]
    left = room
    for block in blocks:
        if block.height > left and pages[-1]:
            pages.append([])
            left = room
        pages[-1].append(block)
        left -= block.height

    def draw(pen: Pen, _: int, page: Sequence[_Block]) -> None:
        y = height - MARGIN
        for block in page:
            _draw(pen, block, y, width)
            y -= block.height

    return list_file(
        pages,
        draw,
        size=(width, height),
        language=paper.language,
        shop_name=paper.shop_name,
        subject="Pick list for the drawers",
        title=f"Pick list, {paper.asked}",
        printed=paper.printed_text,
    )


@dataclass(frozen=True, slots=True)
class _Block:
    """Lines of the page's width, then a row of cells; height with what stands between. [pt]"""

    lines: tuple[Line, ...]
    captions: bool
    cells: tuple[tuple[Line, ...], ...]
    height: float


def _blocks(paper: PickList, width: float) -> list[_Block]:
    title = (
        line(f"Pick list for the drawers, {paper.shop_name}", size=_TITLE, bold=True),
        *plain(paper.asked, width=width),
    )
    found = [_block(title, False, ())]
    for rig in paper.rigs:
        heading = (
            *plain(f"{rig.number:02d}  {rig.title}", width=width, size=_HEADING, bold=True),
            *plain(rig.where, width=width, size=SMALL),
        )
        for number, row in enumerate(rig.rows):
            room = [share * (width - BOX - 2 * _PAD) - _PAD for _, share in COLUMNS]
            cells = (
                plain(row.part, width=room[0], bold=True)
                + plain(row.number, width=room[0], size=SMALL),
                plain(row.keep, width=room[1]),
                plain(row.here, width=room[2]),
                plain(row.take or "–", width=room[3], bold=True),
                plain(row.short or "–", width=room[4]),
            )
            found.append(_block(heading if not number else (), not number, cells))
    if not paper.rigs:
        found.append(_block((line("No drawer lacks anything."),), False, ()))
    return found


def _block(lines: tuple[Line, ...], captions: bool, cells: tuple[tuple[Line, ...], ...]) -> _Block:
    height = _tall(lines) + (2 * _PAD if lines else 0)
    height += SMALL * LEADING + _PAD if captions else 0
    height += max(map(_tall, cells), default=0) + (2 * _PAD if cells else 0)
    return _Block(lines, captions, cells, height)


def _tall(lines: tuple[Line, ...]) -> float:
    return sum(text.size * LEADING for text in lines)


def _draw(pen: Pen, block: _Block, y: float, width: float) -> None:
    if block.lines:
        y -= _PAD
        for text in block.lines:
            y -= text.size * LEADING
            pen.write(MARGIN, y + text.size * 0.2, text)
        y -= _PAD
    left, room = MARGIN + BOX + 2 * _PAD, width - 2 * MARGIN - BOX - 2 * _PAD
    starts = []
    for _, share in COLUMNS:
        starts.append(left)
        left += share * room
    if block.captions:
        y -= SMALL * LEADING
        for (caption, _), at in zip(COLUMNS, starts, strict=True):
            pen.write(at, y + 2, line(caption, size=SMALL))
        y -= _PAD
        pen.rule(MARGIN, y, width - MARGIN, y, 1.2)
    if not block.cells:
        return
    top = y - _PAD
    first = block.cells[0][0].size if block.cells[0] else TEXT
    pen.tick_box(MARGIN, top - first * LEADING + first * CAP_HEIGHT / 2 + first * 0.2)
    for cell, at in zip(block.cells, starts, strict=True):
        under = top
        for text in cell:
            under -= text.size * LEADING
            pen.write(at, under + text.size * 0.2, text)
    bottom = y - 2 * _PAD - max(map(_tall, block.cells))
    pen.rule(MARGIN, bottom, width - MARGIN, bottom, HAIR)
