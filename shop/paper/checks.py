"""The checks, in the order along the rig."""

from collections.abc import Sequence

from shop.paper.blocks import LONGEST, Area, Block, Row, Section, stacked, together
from shop.paper.content import CheckGroup, PaperCheck, SheetPaper
from shop.paper.opening import ELECTRICIAN
from shop.paper.pen import BOX, CELL_HEIGHT, CELL_WIDTH, HAIR, Pen, centred, worded_width
from shop.paper.rows import TICK_ROW, VALUE_ROW, Cell, Mark, captions, entered, row
from shop.paper.type import SMALL, TEXT, Line, line, plain, wrap

_NUMBER, _LIMIT, _LAST, _FOUND = 24.0, 102.0, 64.0, 116.0  # [pt] column widths
_LIMIT_BEGUN, _LAST_BEGUN, _FOUND_BEGUN = 96.0, 52.0, 138.0  # [pt] an author fits in one line
_LIMIT_CLOSED, _LAST_CLOSED, _FOUND_CLOSED = 90.0, 48.0, 176.0  # [pt] with the author beside
_NAME_CELL = 30 * 72 / 25.4  # [pt] where a licensed electrician writes a name
_BETWEEN = 8.0  # [pt] between two boxes
_CHOICE_LINE = 17.0  # [pt]

NO_CHECKS = "No checks in this service."
NOTHING_FOUND = "–"


class _Columns:
    """Where the columns stand. [pt]"""

    def __init__(self, area: Area, *, sheet: SheetPaper) -> None:
        limit, last, found = _LIMIT, _LAST, _FOUND
        if sheet.closed:
            limit, last, found = _LIMIT_CLOSED, _LAST_CLOSED, _FOUND_CLOSED
        elif any(check.by_text for group in sheet.groups for check in group.checks):
            limit, last, found = _LIMIT_BEGUN, _LAST_BEGUN, _FOUND_BEGUN
        self.left, self.right = area.left, area.right
        self.number = area.left + 5
        self.text = area.left + _NUMBER
        self.found = area.right - found
        self.last = self.found - last
        self.limit = self.last - limit
        self.text_width = self.limit - 8 - self.text
        self.limit_width, self.last_width, self.found_width = limit - 8, last - 8, found - 5


def section(sheet: SheetPaper, *, area: Area) -> Section | None:
    """All checks under one heading; None when the sheet has no services."""
    if not sheet.groups:
        return None
    columns = _Columns(area, sheet=sheet)
    rows = [made for group in sheet.groups for made in _group(group, columns, closed=sheet.closed)]
    head = captions(
        (
            (columns.text, "Check", False),
            (columns.limit, "Limit", False),
            (columns.last, "Last", False),
            (columns.found, "Found", False),
        ),
        left=area.left,
        right=area.right,
    )
    along = "Checks, in the order along the rig" if sheet.rig_number is not None else "Checks"
    return Section(title=along, rows=rows, head=head, short="Checks")


def _group(group: CheckGroup, columns: _Columns, *, closed: bool) -> list[Row]:
    about = ", ".join(text for text in (group.service, group.state_text, group.covers_text) if text)
    head: tuple[tuple[str, bool], ...] = ((group.position, True), (about, False))
    if group.outcome_text:
        head = ((group.position, True), (f"{about}:", False), (group.outcome_text, True))
    *before, last = _group_head(columns, *head, notes=group.notes)
    rows = [*together([Row(block) for block in before]), Row(last, keep=True)]
    again = _group_head(columns, (group.position, True), (f"{group.service}, continued", False))[0]
    for check in group.checks:
        rows.extend(Row(block, group=again) for block in _check(check, columns, closed=closed))
    if not group.checks:
        cell = Cell(x=columns.text, lines=plain(NO_CHECKS, width=columns.text_width))
        rows.extend(Row(block) for block in row((cell,), left=columns.left, right=columns.right))
    return rows


def _group_head(
    columns: _Columns, *parts: tuple[str, bool], notes: Sequence[str] = ()
) -> tuple[Block, ...]:
    width = columns.right - columns.number
    lines = wrap(*parts, size=TEXT, width=width)
    small = [made for note in notes for made in plain(note, width=width, size=SMALL)]
    cell = Cell(x=columns.number, lines=(*lines, *small))
    return row((cell,), left=columns.left, right=columns.right, least=TICK_ROW, rule=1.0)


def _check(check: PaperCheck, columns: _Columns, *, closed: bool) -> tuple[Block, ...]:
    choices = [line(choice) for choice in check.choices] if check.kind == "choice" else []
    inline = sum(map(worded_width, choices)) + _BETWEEN * (len(choices) - 1) <= _FOUND
    limit: tuple[Line, ...] = plain(check.limit_text, width=columns.limit_width)
    if check.electrician:
        limit = (*plain(ELECTRICIAN, width=columns.limit_width, bold=True), *limit)
    found_text = check.found_text or (NOTHING_FOUND if closed else "")
    found = entered(found_text, check.by_text, x=columns.found, width=columns.found_width)
    cells = (
        Cell(x=columns.number, lines=(line(str(check.number)),)),
        Cell(
            x=columns.text,
            lines=(
                *plain(check.text, width=columns.text_width),
                *plain(check.hint, width=columns.text_width, size=SMALL),
            ),
        ),
        Cell(x=columns.limit, lines=limit),
        Cell(x=columns.last, lines=plain(check.last_text, width=columns.last_width)),
        *(found or (_unit(check, columns),)),
    )
    if found:
        return row(cells, left=columns.left, right=columns.right)
    more = _under(check, columns) if choices and not inline else []
    if check.kind == "value" and check.electrician:
        more = [_name_row(columns)]
    mark, least = _mark(check, choices if inline else [], columns)
    blocks = row(
        cells,
        left=columns.left,
        right=columns.right,
        least=least,
        mark=mark,
        rule=0 if more else HAIR,
    )
    return (*blocks[:-1], stacked((blocks[-1], *more[:1])), *more[1:])


def _unit(check: PaperCheck, columns: _Columns) -> Cell:
    """The unit after the empty cell of a value."""
    x = columns.found + CELL_WIDTH + 4
    text = check.unit if check.kind == "value" else ""
    return Cell(x=x, lines=plain(text, width=columns.right - x))


def _mark(
    check: PaperCheck, choices: Sequence[Line], columns: _Columns
) -> tuple[Mark | None, float]:
    """What is drawn to be filled in beside a check still open, and how high its row must be.

    [pt]
    """
    right = columns.right - 5
    if check.kind == "value":
        return _value_cell(columns, CELL_WIDTH), VALUE_ROW
    if check.electrician:
        return _name_cell(right), VALUE_ROW
    if check.kind == "choice" and not check.choices:
        return _value_cell(columns, columns.found_width), VALUE_ROW
    boxes = choices if check.kind == "choice" else (line("done"), line("n/a"))
    if not boxes:
        return None, TICK_ROW
    return _boxes(boxes, right), TICK_ROW


def _value_cell(columns: _Columns, width: float) -> Mark:
    def mark(pen: Pen, middle: float) -> None:
        pen.box(columns.found, middle - CELL_HEIGHT / 2, width, CELL_HEIGHT)

    return mark


def _name_cell(right: float) -> Mark:
    word = line("name", size=SMALL)

    def mark(pen: Pen, middle: float) -> None:
        pen.box(right - _NAME_CELL, middle - CELL_HEIGHT / 2, _NAME_CELL, CELL_HEIGHT)
        pen.write_right(right - _NAME_CELL - 3, centred(middle, SMALL), word)

    return mark


def _boxes(words: Sequence[Line], right: float) -> Mark:
    width = sum(map(worded_width, words)) + _BETWEEN * (len(words) - 1)

    def mark(pen: Pen, middle: float) -> None:
        x = right - width
        for word in words:
            x = pen.worded_box(x, middle, word) + _BETWEEN

    return mark


def _name_row(columns: _Columns) -> Block:
    mark = _name_cell(columns.right - 5)
    return row((), left=columns.left, right=columns.right, least=VALUE_ROW, mark=mark)[0]


def _under(check: PaperCheck, columns: _Columns) -> list[Block]:
    """Choices too wide for the found column, set in lines under the check."""
    room = columns.right - columns.text
    lines: list[list[tuple[Line, bool]]] = [[]]  # (words, whether they have a box)
    used = 0.0
    for choice in check.choices:
        first, *rest = plain(choice, width=room - BOX - 2) or (line(choice),)
        width = worded_width(first) + _BETWEEN
        if lines[-1] and used + width > room:
            lines.append([])
            used = 0.0
        lines[-1].append((first, True))
        lines.extend([(words, False)] for words in rest)
        used += room if rest else width
    most = LONGEST // 2
    starts = range(0, len(lines), most)
    return [_choice_lines(lines[start : start + most], columns) for start in starts]


def _choice_lines(lines: Sequence[Sequence[tuple[Line, bool]]], columns: _Columns) -> Block:
    height = len(lines) * _CHOICE_LINE + 3

    def draw(pen: Pen, top: float) -> None:
        middle = top - _CHOICE_LINE / 2
        for entries in lines:
            x = columns.text
            for words, boxed in entries:
                if boxed:
                    x = pen.worded_box(x, middle, words) + _BETWEEN
                else:
                    pen.write(x + BOX + 2, centred(middle, TEXT), words)
            middle -= _CHOICE_LINE
        pen.rule(columns.left, top - height, columns.right, top - height)

    return Block(height=height, draw=draw)
