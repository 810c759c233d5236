"""One page to hang up beside a rig: its strip with tapes, found work, drawer and jobs.

Landscape, black on white: grey, hatch, frame and word tell all that colour tells on a screen.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from io import BytesIO
from typing import Final

from shop.drawing.strip import ICON as ICON_UNITS
from shop.drawing.strip import LINES, MID, WIDTH, FlowLine, StripPosition, flow_lines
from shop.paper.blocks import Area, Block, heading
from shop.paper.content import PageSize
from shop.paper.document import MARGIN, SIZES, begin
from shop.paper.drawings import draw_icon
from shop.paper.hanging_tape import BLADE, hanging_tape
from shop.paper.head import FOOT, NUMBER_CELL, OUTER, TITLE, foot_line, rig_head, value_rows
from shop.paper.pen import HAIR, SIDE, Pen, centred
from shop.paper.type import CAP_HEIGHT, LEADING, SMALL, TEXT, Line, line, plain

MOST_IN_A_ROW: Final = 10
SIZE: Final = 8.25  # [pt] of the words of a column
STRETCH: Final = 0.8
LONGEST_BLADE, SHORTEST_BLADE = 150.0, 30.0  # [pt]
LEAST_BELOW: Final = 62.0  # [pt] kept for what stands under the strip
_ICON = 24.0
_BAND = 34.0  # [pt] of the flow: an icon, A over it and B under it
_FLOW_SCALE = 0.4  # [pt] of a unit of the flow, upright
_PAD = 8.0
_STEP = SIZE * LEADING
#: How a state is framed: width of the frame, dashed or not. The word says it too.
_FRAMES: dict[str, tuple[float, bool]] = {
    "overdue": (2.2, False),
    "due": (1.4, False),
    "soon": (HAIR, False),
    "unread": (HAIR, True),
}


@dataclass(frozen=True, slots=True)
class RigDrawing:
    """What the page says. Each list is in the order it is shown in.

    cells: caption and value in the title block. ready: whether it may leave, and why.
    found, drawer, jobs: words, and a figure or a day. language: BCP 47 tag of the texts.
    """

    rig_number: int
    title: str
    shop_name: str
    printed_text: str
    positions: tuple[StripPosition, ...]
    cells: tuple[tuple[str, str], ...] = ()
    ready: str = ""
    found: tuple[tuple[str, str], ...] = ()
    drawer: tuple[tuple[str, str], ...] = ()
    jobs: tuple[tuple[str, str], ...] = ()
    language: str = "en"

    @property
    def name(self) -> str:
        return f"Rig {self.rig_number:02d}, {self.title}"


def rig_drawing_pdf(drawing: RigDrawing, *, page_size: PageSize = "letter") -> bytes:
    """Return the page as a PDF file; equal drawings give equal bytes.

    The blades are as long as the page leaves room for. Lists too long for it end in a line that
    counts the rest. Raises KeyError for an unknown page size.
    """
    height, width = SIZES[page_size]  # landscape
    file = BytesIO()
    canvas = begin(
        file,
        size=(width, height),
        language=drawing.language,
        author=drawing.shop_name,
        subject="Rig drawing",
    )
    canvas.setTitle(drawing.name)
    pen = Pen(canvas)
    area = Area(left=MARGIN, width=width - 2 * MARGIN)
    top, bottom = height - MARGIN, MARGIN + FOOT
    head = _head(drawing, area)
    head.draw(pen, top)
    top -= head.height
    if drawing.positions:
        top -= _strip(drawing.positions, area, room=top - bottom - LEAST_BELOW).draw_at(pen, top)
    _below(pen, drawing, area, top=top - 6, bottom=bottom)
    foot_line(
        pen,
        area=area,
        bottom=MARGIN,
        printed_text=drawing.printed_text,
        count=f"Rig drawing {drawing.rig_number:02d}",
    )
    pen.finish()
    canvas.showPage()
    canvas.save()
    return file.getvalue()


def _head(drawing: RigDrawing, area: Area) -> Block:
    width = area.width - NUMBER_CELL
    title = plain(drawing.title, width=width - 2 * _PAD, size=TITLE, bold=True)
    ready = plain(drawing.ready, width=width - 2 * _PAD) if drawing.ready else ()
    title_row = 10.0 + len(title) * TITLE * LEADING

    def write_title(pen: Pen, x: float, top: float) -> None:
        pen.paragraph(x + _PAD, top - 8 - TITLE * CAP_HEIGHT, title)
        pen.paragraph(x + _PAD, top - title_row - TEXT * CAP_HEIGHT, ready)

    return rig_head(
        area,
        number=drawing.rig_number,
        title_row=title_row + (len(ready) * TEXT * LEADING + 3 if ready else 0),
        values=value_rows((("Shop", drawing.shop_name), *drawing.cells), width=width),
        write_title=write_title,
    )


@dataclass(frozen=True, slots=True)
class _Column:
    """One position, its words broken into lines that fit its column."""

    position: StripPosition
    flow: tuple[FlowLine, ...]
    name: tuple[Line, ...]
    tag: tuple[Line, ...]
    since: tuple[Line, ...]
    service: tuple[Line, ...]
    state: tuple[Line, ...]
    falls: tuple[Line, ...]

    @property
    def above(self) -> int:
        return len(self.name) + len(self.tag)

    @property
    def under(self) -> int:
        return len(self.service) + len(self.state) + len(self.falls)


@dataclass(frozen=True, slots=True)
class _Strip:
    """Rows of columns, their width and the length of their blades. [pt]"""

    rows: tuple[tuple[_Column, ...], ...]
    area: Area
    width: float
    blade: float

    def draw_at(self, pen: Pen, top: float) -> float:
        """Draw it under the title block; return its height. [pt]"""
        y = top
        for row in self.rows:
            height = _words_of(row) + self.blade
            for index, column in enumerate(row):
                x = self.area.left + index * self.width
                if index:
                    pen.rule(x, y, x, y - height, HAIR)
                _draw_column(pen, column, x=x, top=y, strip=self, row=row)
            y -= height
            pen.rule(self.area.left, y, self.area.right, y, 0.9)
        pen.box(self.area.left, y, self.area.width, top - y, OUTER)
        return top - y


def _strip(positions: Sequence[StripPosition], area: Area, *, room: float) -> _Strip:
    """As few rows as hold ten each; blades as long as the room allows. room: [pt]"""
    count = math.ceil(len(positions) / MOST_IN_A_ROW)
    size = math.ceil(len(positions) / count)
    width = area.width / max(size, 5)
    columns = [
        _column(each, flow, width=width)
        for each, flow in zip(positions, flow_lines(list(positions)), strict=True)
    ]
    rows = tuple(tuple(columns[start : start + size]) for start in range(0, len(columns), size))
    left = (room - sum(_words_of(row) for row in rows)) / len(rows)
    return _Strip(rows, area, width, min(max(left, SHORTEST_BLADE), LONGEST_BLADE))


def _column(position: StripPosition, flow: Sequence[FlowLine], *, width: float) -> _Column:
    room = (width - 8) / STRETCH

    def lines(text: str, *, bold: bool = False, less: float = 0.0) -> tuple[Line, ...]:
        return plain(text, width=room - less, size=SIZE, bold=bold)

    shown = position.tape is not None
    service = position.service if position.fitted else "nothing fitted"
    return _Column(
        position=position,
        flow=tuple(flow),
        name=lines(position.name, bold=True, less=(SIDE + 3) / STRETCH if position.side else 0),
        tag=lines(position.tag),
        since=lines(f"last {position.since_text}" if shown else ""),
        service=(*lines(service, bold=True), *lines(position.at_text)),
        state=lines(position.state_word, bold=position.state in ("overdue", "due"), less=8),
        falls=(*lines(position.date_text, bold=True), *lines(position.band_text)),
    )


def _words_of(row: Sequence[_Column]) -> float:
    """Height of a row without its blades. [pt]"""
    above = max(each.above for each in row)
    since = max(len(each.since) for each in row)
    under = max(each.under for each in row)
    return 6 + above * _STEP + 2 + _BAND + 5 + since * _STEP + 7 + 10 + under * _STEP + 5


def _draw_column(
    pen: Pen,
    column: _Column,
    *,
    x: float,
    top: float,
    strip: _Strip,
    row: Sequence[_Column],
) -> None:
    position, left = column.position, x + 4
    y = top - 6 - SIZE * CAP_HEIGHT
    for text in column.name:
        pen.write(left, y, text, stretch=STRETCH)
        y -= _STEP
    if position.side:
        pen.side(x + strip.width - SIDE - 4, top - 6 - SIDE / 2, position.side)
    for text in column.tag:
        pen.write(left, y, text, stretch=STRETCH)
        y -= _STEP
    band = top - 6 - max(each.above for each in row) * _STEP - 2
    centre, middle = x + strip.width / 2, band - _BAND / 2
    for each in column.flow:
        _draw_flow(pen, each, x=x, middle=middle, width=strip.width)
    draw_icon(pen, position.icon, centre - _ICON / 2, middle + _ICON / 2, _ICON)
    y = band - _BAND - 5 - SIZE * CAP_HEIGHT
    for text in column.since:
        pen.write(left, y, text, stretch=STRETCH)
        y -= _STEP
    blade = band - _BAND - 5 - max(len(each.since) for each in row) * _STEP - 7
    if position.tape is not None:
        hanging_tape(pen, position.tape, x=centre - BLADE / 2 - 4, top=blade, length=strip.blade)
    elif not position.fitted:
        pen.canvas.setDash([4, 3])
        pen.box(left, blade - strip.blade, strip.width - 8, strip.blade, 1.0)
        pen.canvas.setDash([])
    y = blade - strip.blade - 10 - SIZE * CAP_HEIGHT
    for text in column.service:
        pen.write(left, y, text, stretch=STRETCH)
        y -= _STEP
    y = _state(pen, column, left, y)
    for text in column.falls:
        pen.write(left, y, text, stretch=STRETCH)
        y -= _STEP


def _draw_flow(pen: Pen, each: FlowLine, *, x: float, middle: float, width: float) -> None:
    """Draw a line of the flow in a column from x on; the icon keeps its own width in it."""
    edge = (WIDTH - ICON_UNITS) / 2 - 3
    gap = (width - _ICON) / 2 - 3

    def along(units: float) -> float:
        if units <= edge:
            return x + units * gap / edge
        if units >= WIDTH - edge:
            return x + width - (WIDTH - units) * gap / edge
        return x + gap + (units - edge) * (width - 2 * gap) / (WIDTH - 2 * edge)

    dash, thickness = LINES[each.flow]
    points = [(along(px), middle - (py - MID) * _FLOW_SCALE) for px, py in each.points]
    path = pen.canvas.beginPath()
    path.moveTo(*points[0])
    for point in points[1:]:
        path.lineTo(*point)
    pen.line_width(thickness / 2)
    pen.canvas.setDash([float(part) * 0.6 for part in dash.split()] if dash else [])
    pen.canvas.drawPath(path, stroke=1, fill=0)
    pen.canvas.setDash([])
    if each.letter:
        y = points[0][1]
        letter = line(each.letter, size=SMALL, bold=True)
        pen.canvas.setFillGray(1)
        pen.canvas.rect(x + width / 2 - 5, y - 5, 10, 10, stroke=0, fill=1)
        pen.canvas.setFillGray(0)
        pen.write_centred(x + width / 2, centred(y, SMALL), letter)


def _state(pen: Pen, column: _Column, left: float, y: float) -> float:
    frame = _FRAMES.get(column.position.state)
    if frame is None or not column.state:
        for text in column.state:
            pen.write(left, y, text, stretch=STRETCH)
            y -= _STEP
        return y
    wide = max(text.width for text in column.state) * STRETCH
    pen.canvas.setDash([3, 2] if frame[1] else [])
    height = len(column.state) * _STEP
    pen.box(left, y + SIZE * 0.86 - height, wide + 6, height, frame[0])
    pen.canvas.setDash([])
    for text in column.state:
        pen.write(left + 3, y, text, stretch=STRETCH)
        y -= _STEP
    return y - 2


def _below(pen: Pen, drawing: RigDrawing, area: Area, *, top: float, bottom: float) -> None:
    """Found work, drawer and jobs, side by side."""
    gap = 14.0
    wide = (area.width - 2 * gap) * 0.44
    narrow = (area.width - 2 * gap - wide) / 2
    lists = (
        ("Open found work", drawing.found, "Nothing is open on this rig.", wide),
        ("In the drawer of this rig", drawing.drawer, "The drawer is empty.", narrow),
        ("Next jobs", drawing.jobs, "Nothing takes it away.", narrow),
    )
    left = area.left
    for title, rows, nothing, width in lists:
        part = Area(left=left, width=width)
        head = heading(part, title)
        head.draw(pen, top)
        _list(pen, part, rows or ((nothing, ""),), top=top - head.height, bottom=bottom)
        left += width + gap


def _list(
    pen: Pen, area: Area, rows: Sequence[tuple[str, str]], *, top: float, bottom: float
) -> None:
    y, step = top, TEXT * LEADING
    for place, (words, figure) in enumerate(rows):
        end = line(figure)
        lines = plain(words, width=area.width - end.width - 10)
        height = max(len(lines), 1) * step + 4
        # The last of the room is kept for the count of what no longer fits.
        keep = 0.0 if place + 1 == len(rows) else step + 4
        if y - height - keep < bottom:
            more = len(rows) - place
            pen.write(area.left, y - 2 - TEXT * CAP_HEIGHT - 2, line(f"and {more} more"))
            return
        base = y - 3 - TEXT * CAP_HEIGHT
        pen.paragraph(area.left, base, lines)
        pen.write_right(area.right, base, end)
        y -= height
        pen.rule(area.left, y, area.right, y, HAIR)
