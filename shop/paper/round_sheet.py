"""The round of a rig on paper, for a week without phones: a column for each day to write in.

`round_sheets_pdf` makes one file for one rig or for all of them, landscape, black on white.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from io import BytesIO
from itertools import chain, groupby
from typing import Final

from reportlab.pdfgen.canvas import Canvas

from shop.paper.blocks import Area, Block, Row, Section, paginate
from shop.paper.content import PageSize, Side
from shop.paper.document import MARGIN, SIZES, begin
from shop.paper.head import (
    FOOT,
    NUMBER_CELL,
    TITLE,
    foot_line,
    rig_head,
    value_rows,
)
from shop.paper.pen import BOX, HAIR, SIDE, Pen, centred
from shop.paper.rows import Cell, Mark, captions, row
from shop.paper.type import CAP_HEIGHT, LEADING, SMALL, line, plain

DAY: Final = 58.0  # [pt] column of a day: 20 mm, room for seven figures by hand
CELL_ROW: Final = 22.0  # [pt] a row of one line, whose ruled cells figures are written in
FOUND_LINES: Final = 5
CHECK_ROW: Final = 17.0  # [pt] a row with its boxes
_FOUND_ROW: Final = 20.0  # [pt]
_PAD: Final = 8.0

LEGEND: Final = "✓ in order, ✗ not right (write it under found work), – does not apply"
COUNTERS, CHECKS, DRUMS = "Counters", "Checks of the round", "Drums"
FOUND, NAMES = "Found work", "Who walked it"


@dataclass(frozen=True, slots=True)
class RoundCheck:
    """One check: where along the rig, what, and whether once a week is enough."""

    place: str
    text: str
    side: Side = ""
    sign: str = ""
    is_weekly: bool = False


@dataclass(frozen=True, slots=True)
class RoundCounter:
    """A face: its name, "last 4,653.8 h, 22 Nov", "this week 4,654 to 4,760"."""

    name: str
    last_text: str = ""
    expect_text: str = ""


@dataclass(frozen=True, slots=True)
class RoundPaper:
    """The round of one rig for some days.

    days: headings of the columns, 1 to 7: "Mon 30 Nov". open_work: found work that is open
    already, so that nobody writes it again. language: BCP 47 tag of the texts.
    """

    rig_number: int
    title: str
    shop_name: str
    days: tuple[str, ...]
    printed_text: str
    cells: tuple[tuple[str, str], ...] = ()
    checks: tuple[RoundCheck, ...] = ()
    counters: tuple[RoundCounter, ...] = ()
    open_work: tuple[str, ...] = ()
    language: str = "en"

    @property
    def name(self) -> str:
        return f"Round sheet, rig {self.rig_number:02d}"


def round_sheets_pdf(rounds: Iterable[RoundPaper], *, page_size: PageSize = "letter") -> bytes:
    """Return the round sheets of some rigs in one PDF file, each with its own pages and bookmark.

    Equal sheets give equal bytes. Raises ValueError when there is none, KeyError for an unknown
    page size.
    """
    waiting = iter(rounds)
    first = next(waiting, None)
    if first is None:
        raise ValueError("There is no rig to print a round sheet for.")
    height, width = SIZES[page_size]  # landscape
    file = BytesIO()
    canvas = begin(
        file,
        size=(width, height),
        language=first.language,
        author=first.shop_name,
        subject="Round sheet",
    )
    last = first
    for index, paper in enumerate(chain((first,), waiting)):
        _draw(canvas, paper, index=index, width=width, height=height)
        last = paper
    week = f"{first.days[0]} – {first.days[-1]}"
    canvas.setTitle(f"{first.name}, {week}" if last is first else f"Round sheets, {week}")
    canvas.save()
    return file.getvalue()


def _draw(canvas: Canvas, paper: RoundPaper, *, index: int, width: float, height: float) -> None:
    area = Area(left=MARGIN, width=width - 2 * MARGIN)
    head = _head(paper, area)
    body = height - 2 * MARGIN - FOOT - head.height
    pages = paginate(_sections(paper, area), area=area, first=body, further=body)
    for number, blocks in enumerate(pages, start=1):
        pen = Pen(canvas)
        top = height - MARGIN
        if number == 1:
            canvas.bookmarkHorizontal(f"round{index}", 0, top)
            canvas.addOutlineEntry(
                f"Rig {paper.rig_number:02d}, {paper.title}", f"round{index}", level=0, closed=True
            )
        head.draw(pen, top)
        top -= head.height
        for placed in blocks:
            if placed.title:
                key = f"round{index}-{number}-{placed.top:.0f}"
                canvas.bookmarkHorizontal(key, 0, top - placed.top)
                canvas.addOutlineEntry(placed.title, key, level=1)
            placed.block.draw(pen, top - placed.top)
        foot_line(
            pen,
            area=area,
            bottom=MARGIN,
            printed_text=paper.printed_text,
            count=f"{paper.name}, page {number} of {len(pages)}",
        )
        pen.finish()
        canvas.showPage()


def _head(paper: RoundPaper, area: Area) -> Block:
    width = area.width - NUMBER_CELL
    title = line("Round sheet", size=TITLE, bold=True)
    name = plain(paper.title, width=width - title.width - 3 * _PAD, size=11.5)

    def write_title(pen: Pen, x: float, top: float) -> None:
        base = top - 14 - TITLE * CAP_HEIGHT / 2
        pen.write(x + _PAD, base, title)
        pen.paragraph(x + 2 * _PAD + title.width, base, name)

    return rig_head(
        area,
        number=paper.rig_number,
        title_row=28.0 + max(len(name) - 1, 0) * 11.5 * LEADING,
        values=value_rows((("Shop", paper.shop_name), *paper.cells), width=width),
        write_title=write_title,
    )


class _Columns:
    """Where the day columns stand: they end at the right edge, the words take the rest. [pt]"""

    def __init__(self, paper: RoundPaper, area: Area) -> None:
        self.area = area
        self.days = paper.days
        self.first = area.right - len(paper.days) * DAY
        self.text = area.left + 5
        self.text_width = self.first - 10 - self.text

    @property
    def middles(self) -> list[float]:
        return [self.first + DAY * (place + 0.5) for place in range(len(self.days))]

    def head(self, caption: str) -> Block:
        """The days over the columns, repeated on each page."""
        words = captions(((self.text, caption, False),), left=self.area.left, right=self.area.right)
        days = [line(day, size=SMALL, bold=True) for day in self.days]

        def draw(pen: Pen, top: float) -> None:
            words.draw(pen, top)
            for middle, day in zip(self.middles, days, strict=True):
                pen.write_centred(middle, centred(top - words.height / 2, SMALL), day)
            self._rules(pen, top, words.height)

        return Block(height=words.height, draw=draw)

    def row(self, cells: Sequence[Cell], *, least: float, mark: Mark | None = None) -> list[Block]:
        """A row with something to fill in for each day: its ruled columns are the cells."""
        return [
            self._ruled(block)
            for block in row(
                cells, left=self.area.left, right=self.area.right, least=least, mark=mark
            )
        ]

    def _ruled(self, block: Block) -> Block:
        def draw(pen: Pen, top: float) -> None:
            block.draw(pen, top)
            self._rules(pen, top, block.height)

        return Block(height=block.height, draw=draw)

    def _rules(self, pen: Pen, top: float, height: float) -> None:
        for place in range(len(self.days)):
            x = self.first + DAY * place
            pen.rule(x, top, x, top - height, HAIR)

    def boxes(self, pen: Pen, middle: float) -> None:
        for x in self.middles:
            pen.tick_box(x - BOX / 2, middle)

    def once(self, pen: Pen, middle: float) -> None:
        """One box for the week, and where to write the day."""
        end = pen.worded_box(self.middles[0] - BOX / 2, middle, line("once this week, on"))
        pen.rule(end + 4, middle - 5, min(end + 84, self.area.right - 4), middle - 5, 0.9)


def _sections(paper: RoundPaper, area: Area) -> list[Section]:
    columns = _Columns(paper, area)
    found = []
    if paper.counters:
        found.append(_counters(paper, columns))
    found += [_drums(columns), _names(columns)]
    if paper.checks:
        found.append(_checks(paper, columns))
    found.append(_found(paper, area))
    return found


def _counters(paper: RoundPaper, columns: _Columns) -> Section:
    rows = []
    for counter in paper.counters:
        about = ", ".join(text for text in (counter.last_text, counter.expect_text) if text)
        cell = Cell(
            x=columns.text,
            lines=(
                *plain(counter.name, width=columns.text_width, bold=True),
                *plain(about, width=columns.text_width, size=SMALL),
            ),
        )
        rows += columns.row((cell,), least=CELL_ROW)
    return Section(
        title=COUNTERS, rows=[Row(block) for block in rows], head=columns.head("Counter")
    )


def _drums(columns: _Columns) -> Section:
    rows = []
    for side in ("A", "B"):
        for words in (f"{side} drum, gallons left", f"New {side} drum put on, its full size"):
            cell = Cell(x=columns.text, lines=plain(words, width=columns.text_width))
            rows += columns.row((cell,), least=CELL_ROW)
    return Section(title=DRUMS, rows=[Row(block) for block in rows], head=columns.head("gal"))


def _checks(paper: RoundPaper, columns: _Columns) -> Section:
    rows: list[Row] = []
    for place, checks in groupby(paper.checks, key=lambda each: each.place):
        again = _place(columns, f"{place}, continued")
        rows.append(Row(_place(columns, place), keep=True))
        for check in checks:
            rows += [Row(block, group=again) for block in _check(check, columns)]
    return Section(title=f"{CHECKS}: {LEGEND}", rows=rows, head=columns.head(""), short=CHECKS)


def _place(columns: _Columns, place: str) -> Block:
    cell = Cell(x=columns.text, lines=plain(place, width=columns.area.width - 10, bold=True)[:1])
    return row((cell,), left=columns.area.left, right=columns.area.right, rule=1.0)[0]


def _check(check: RoundCheck, columns: _Columns) -> list[Block]:
    indent = SIDE + 5 if check.side else 0.0
    width = columns.text_width - indent
    cell = Cell(
        x=columns.text + indent,
        lines=(*plain(check.text, width=width), *plain(check.sign, width=width, size=SMALL)),
    )

    def mark(pen: Pen, middle: float) -> None:
        if check.side:
            pen.side(columns.text, middle, check.side)
        if check.is_weekly:
            columns.once(pen, middle)
        else:
            columns.boxes(pen, middle)

    if not check.is_weekly:
        return columns.row((cell,), least=CHECK_ROW, mark=mark)
    # One box for the whole week: no columns run through it.
    area = columns.area
    return list(row((cell,), left=area.left, right=area.right, least=CHECK_ROW, mark=mark))


def _names(columns: _Columns) -> Section:
    rows = []
    for words in ("Name or initials", "Time"):
        cell = Cell(x=columns.text, lines=plain(words, width=columns.text_width))
        rows += columns.row((cell,), least=CELL_ROW)
    return Section(title=NAMES, rows=[Row(block) for block in rows], head=columns.head(""))


def _found(paper: RoundPaper, area: Area) -> Section:
    """What is open already, then lines to write on, each with its day and its box."""
    rows = [
        Row(block)
        for text in paper.open_work
        for block in row(
            (Cell(x=area.left + 5, lines=plain(f"Open: {text}", width=area.width - 10)),),
            left=area.left,
            right=area.right,
        )
    ]
    word = line("rig must not leave", size=SMALL)
    day = line("day", size=SMALL)
    box_at = area.right - BOX - 8 - word.width

    def mark(pen: Pen, middle: float) -> None:
        pen.write(area.left + 5, centred(middle - 4, SMALL), day)
        pen.rule(area.left + 62, middle - _FOUND_ROW / 2, area.left + 62, middle + _FOUND_ROW / 2)
        pen.worded_box(box_at, middle, word)

    for _ in range(FOUND_LINES):
        rows += [
            Row(block)
            for block in row((), left=area.left, right=area.right, least=_FOUND_ROW, mark=mark)
        ]
    return Section(title=FOUND, rows=rows)
