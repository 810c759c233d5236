"""Many service sheets in one file behind a list of them: what a shop hands out on Monday.

The list says of each sheet which rig, what work, for whom, and on which pages it lies, with boxes
for whoever hands sheets out and takes them back.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from io import BytesIO
from typing import Final

from reportlab.pdfgen.canvas import Canvas

from shop.paper.blocks import LONGEST, Area, Block, Row, Section, paginate
from shop.paper.content import PageSize, SheetPaper
from shop.paper.document import MARGIN, SIZES, begin
from shop.paper.head import FOOT, OUTER, TITLE, draw_values, foot_line, value_rows
from shop.paper.pen import Pen, centred
from shop.paper.rows import Cell, captions, row
from shop.paper.sheet import bookmark_of, drawn
from shop.paper.type import LEADING, SMALL, TEXT, line, plain
from shop.paper.wording import gettext, gettext_noop, override

LIST: Final = gettext_noop("Sheets in this file")
_PAD: Final = 8.0
_SHEET: Final = 44.0  # [pt] column of the number
_DAY, _WHO, _PLANNED, _PAGES = 66.0, 96.0, 58.0, 48.0  # [pt] columns before the boxes
_BOXES: Final = (gettext_noop("out"), gettext_noop("back"))
_BOX_COLUMN: Final = 26.0  # [pt]
_ROW: Final = 22.0  # [pt]


@dataclass(frozen=True, slots=True)
class StackRow:
    """One sheet in the list. work_text: its services; planned_text: the time they should take."""

    number_text: str
    subject: str
    work_text: str = ""
    day_text: str = ""
    technician: str = ""
    planned_text: str = ""
    state_word: str = ""


@dataclass(frozen=True, slots=True)
class StackPaper:
    """The list before the sheets. cells: caption over value. language: BCP 47 tag; a sheet may be
    in another."""

    title: str
    shop_name: str
    printed_text: str
    rows: tuple[StackRow, ...]
    cells: tuple[tuple[str, str], ...] = ()
    language: str = "en"


class _Columns:
    """Where the columns of the list stand. [pt]"""

    def __init__(self, area: Area) -> None:
        self.left, self.right = area.left, area.right
        self.sheet = area.left + 5
        self.rig = area.left + _SHEET
        self.boxes = area.right - _BOX_COLUMN * len(_BOXES)
        self.pages_end = self.boxes - 10
        self.planned_end = self.pages_end - _PAGES
        self.who = self.planned_end - _PLANNED - _WHO
        self.day = self.who - _DAY
        self.rig_width = self.day - 8 - self.rig


def stack_pdf(
    stack: StackPaper, sheets: Iterable[SheetPaper], *, page_size: PageSize = "letter"
) -> bytes:
    """Return the list and its sheets as one PDF file, a bookmark for each.

    sheets: in the order of the rows, made one at a time, so that no more than one is in memory.
    Raises ValueError when there is none, or not one for each row; KeyError for an unknown size.
    """
    if not stack.rows:
        raise ValueError("There is no service sheet to print.")
    width, height = SIZES[page_size]
    area = Area(left=MARGIN, width=width - 2 * MARGIN)
    columns = _Columns(area)
    file = BytesIO()
    with override(stack.language):
        subject = gettext("Service sheets")
    canvas = begin(
        file,
        size=(width, height),
        language=stack.language,
        author=stack.shop_name,
        subject=subject,
    )
    canvas.setTitle(stack.title)
    with override(stack.language):
        places = _draw_list(canvas, stack, area=area, columns=columns, height=height)
    page = places[-1].page + 1
    spans: list[str] = []
    for pages, _ in drawn(canvas, sheets, page_size=page_size):
        spans.append(str(page) if pages == 1 else f"{page} – {page + pages - 1}")
        page += pages
    if len(spans) != len(stack.rows):
        raise ValueError(f"{len(spans)} sheets for a list of {len(stack.rows)}.")
    for number in range(1, places[-1].page + 1):
        canvas.beginForm(_form(number), 0, 0, width, height)
        pen = Pen(canvas)
        for place, span in zip(places, spans, strict=True):
            if place.page == number:
                pen.write_right(columns.pages_end, centred(place.middle, TEXT), line(span))
        pen.finish()
        canvas.endForm()
    canvas.save()
    return file.getvalue()


@dataclass(frozen=True, slots=True)
class _Place:
    """Where a row stands: its page, and the middle of its first line. [pt]"""

    page: int
    middle: float


def _form(number: int) -> str:
    """The name of what is written on a page of the list last: which pages its sheets lie on."""
    return f"pages{number}"


def _draw_list(
    canvas: Canvas, stack: StackPaper, *, area: Area, columns: _Columns, height: float
) -> list[_Place]:
    """Draw the list, all but the pages of its sheets; return where each row stands."""
    title = _title(stack, area)
    rows = [_row(each, columns) for each in stack.rows]
    known = {id(block) for block in rows}
    heading = gettext(LIST)
    section = Section(title=heading, rows=list(map(Row, rows)), head=_captions(columns))
    body = height - 2 * MARGIN - FOOT
    pages = paginate([section], area=area, first=body - title.height, further=body)
    places: list[_Place] = []
    for number, placed in enumerate(pages, start=1):
        pen = Pen(canvas)
        top = height - MARGIN
        if number == 1:
            canvas.bookmarkHorizontal("list", 0, top)
            canvas.addOutlineEntry(heading, "list", level=0)
            title.draw(pen, top)
            top -= title.height
        for each in placed:
            upper = top - each.top
            each.block.draw(pen, upper)
            if id(each.block) in known:
                link = (area.left, upper - each.block.height, columns.day, upper)
                canvas.linkRect("", bookmark_of(len(places)), link)
                places.append(_Place(page=number, middle=upper - _ROW / 2))
        canvas.doForm(_form(number))
        count = gettext("List, page {page} of {pages}").format(page=number, pages=len(pages))
        foot_line(pen, area=area, bottom=MARGIN, printed_text=stack.printed_text, count=count)
        pen.finish()
        canvas.showPage()
    return places


def _captions(columns: _Columns) -> Block:
    boxes = (
        (columns.boxes + _BOX_COLUMN * index, gettext(name), False)
        for index, name in enumerate(_BOXES)
    )
    return captions(
        (
            (columns.sheet, gettext("Sheet"), False),
            (columns.rig, gettext("Rig or component, work"), False),
            (columns.day, gettext("Planned for"), False),
            (columns.who, gettext("Technician"), False),
            (columns.planned_end, gettext("Time"), True),
            (columns.pages_end, gettext("Pages"), True),
            *boxes,
        ),
        left=columns.left,
        right=columns.right,
    )


def _title(stack: StackPaper, area: Area) -> Block:
    """The title over its cells, framed."""
    title = plain(stack.title, width=area.width - 2 * _PAD, size=TITLE, bold=True)
    values = value_rows(((gettext("Shop"), stack.shop_name), *stack.cells), width=area.width)
    title_row = 10 + len(title) * TITLE * LEADING
    height = title_row + sum(each.height for each in values)

    def draw(pen: Pen, top: float) -> None:
        pen.paragraph(area.left + _PAD, top - 5 - TITLE, title)
        y = top - title_row
        for each in values:
            pen.rule(area.left, y, area.right, y)
            draw_values(pen, each, x=area.left, top=y, bottom=y - each.height)
            y -= each.height
        pen.box(area.left, top - height, area.width, height, OUTER)

    return Block(height=height, draw=draw)


def _row(sheet: StackRow, columns: _Columns) -> Block:
    """One sheet. Work that takes more lines than a row holds is cut; the sheet itself has it."""
    subject = plain(sheet.subject, width=columns.rig_width, bold=True)
    work = plain(sheet.work_text, width=columns.rig_width, size=SMALL)
    who = plain(sheet.technician, width=_WHO - 6)
    state = plain(sheet.state_word, width=_WHO - 6, size=SMALL)
    cells = (
        Cell(x=columns.sheet, lines=(line(sheet.number_text, bold=True),)),
        Cell(x=columns.rig, lines=(*subject, *work)[:LONGEST]),
        Cell(x=columns.day, lines=plain(sheet.day_text, width=_DAY - 6)),
        Cell(x=columns.who, lines=(*who, *state)[:LONGEST]),
        Cell(x=columns.planned_end, lines=plain(sheet.planned_text, width=_PLANNED), right=True),
    )

    def mark(pen: Pen, middle: float) -> None:
        for index in range(len(_BOXES)):
            pen.tick_box(columns.boxes + _BOX_COLUMN * index, middle)

    (block,) = row(cells, left=columns.left, right=columns.right, least=_ROW, mark=mark)
    return block
