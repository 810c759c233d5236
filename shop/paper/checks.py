"""The checks: as found, in the order along the rig, and with the rig running."""

from collections.abc import Sequence
from dataclasses import replace
from typing import Final

from shop.paper.blocks import LONGEST, Area, Block, Row, Section, continued, stacked, together
from shop.paper.cautions import english, unread
from shop.paper.content import CheckGroup, PaperCheck, RunNote, SheetPaper
from shop.paper.lockout import ELECTRICIAN
from shop.paper.pen import (
    BOX,
    CELL_HEIGHT,
    HAIR,
    TAG_WORD,
    Pen,
    centred,
    worded_width,
)
from shop.paper.rows import NOTHING, TICK_ROW, VALUE_ROW, Cell, Mark, captions, entered, row
from shop.paper.type import SMALL, TEXT, Line, at_most, line, plain, wrap
from shop.paper.wording import gettext, gettext_noop, pgettext

_NUMBER, _LIMIT, _LAST, _FOUND = 24.0, 100.0, 46.0, 142.0  # [pt] column widths
_LIMIT_BEGUN, _LAST_BEGUN, _FOUND_BEGUN = 90.0, 48.0, 176.0  # [pt] with the author beside
_NAME_CELL = 30 * 72 / 25.4  # [pt] where a licensed electrician writes a name
_BETWEEN = 8.0  # [pt] between two boxes
_VALUE_CELL = 40.0  # [pt] where a value as found is written, and as wide a one as left
_LEFT = _VALUE_CELL + 3  # [pt] from the one to the other
_CHOICE_LINE = 17.0  # [pt]

#: Of what a service says to do, so many lines: the whole of it stands on the phone.
MOST_TO_DO: Final = 3

NO_CHECKS = gettext_noop("No checks in this service.")
OUT = gettext_noop("out of limit")


class _Columns:
    """Where the columns stand, [pt], and the words that stand in them row after row."""

    def __init__(self, area: Area, *, sheet: SheetPaper) -> None:
        limit, last, found = _LIMIT, _LAST, _FOUND
        checks = [check for group in sheet.every_group for check in group.checks]
        if sheet.closed or any(check.by_text for check in checks):
            limit, last, found = _LIMIT_BEGUN, _LAST_BEGUN, _FOUND_BEGUN
        self.left, self.right = area.left, area.right
        self.number = area.left + 5
        self.text = area.left + _NUMBER
        self.found = area.right - found
        self.last = self.found - last
        self.limit = self.last - limit
        self.text_width = self.limit - 8 - self.text
        self.limit_width, self.last_width, self.found_width = limit - 8, last - 8, found - 5
        self.tick = (line(gettext("done")), line(gettext("n/a")))
        self.name = line(gettext("name"), size=SMALL)
        self.out = line(gettext(OUT), size=SMALL, bold=True)
        self.electrician = plain(gettext(ELECTRICIAN), width=self.limit_width, bold=True)


def found(sheet: SheetPaper, *, area: Area) -> Section | None:
    """The checks that are read as found; None where there are none."""
    is_rig = sheet.rig_number is not None
    title = gettext("As found, before lockout") if is_rig else gettext("As found")
    return _section(sheet, sheet.found_groups, sheet.found_note, area, title, gettext("As found"))


def section(sheet: SheetPaper, *, area: Area) -> Section | None:
    """The checks while nothing runs, or all; None when the sheet has no services."""
    short = gettext("Checks")
    title = short if sheet.rig_number is None else gettext("Checks, in the order along the rig")
    return _section(sheet, sheet.groups, sheet.groups_note, area, title, short)


def running(sheet: SheetPaper, *, area: Area) -> Section | None:
    """The checks for which it runs again; None where there are none."""
    is_rig = sheet.rig_number is not None
    title = gettext("With the rig running") if is_rig else gettext("Running on the bench")
    return _section(sheet, sheet.run_groups, sheet.run_note, area, title, title)


def _section(
    sheet: SheetPaper,
    groups: Sequence[CheckGroup],
    note: RunNote | None,
    area: Area,
    title: str,
    short: str,
) -> Section | None:
    if not groups:
        return None
    columns = _Columns(area, sheet=sheet)
    rows = _note(note, columns) if note else []
    rows += [made for group in groups for made in _group(group, columns, closed=sheet.closed)]
    head = captions(
        (
            (columns.text, gettext("Check"), False),
            (columns.limit, gettext("Limit"), False),
            (columns.last, gettext("Last"), False),
            *_found_captions(groups, columns, closed=sheet.closed),
        ),
        left=area.left,
        right=area.right,
    )
    return Section(title=title, rows=rows, head=head, short=short)


def _found_captions(
    groups: Sequence[CheckGroup], columns: _Columns, *, closed: bool
) -> tuple[tuple[float, str, bool], ...]:
    """Over what is found: over both cells of a value, where one is to be filled in."""
    checks = [check for group in groups for check in group.checks]
    if closed or not any(check.kind == "value" and not check.found_text for check in checks):
        return ((columns.found, gettext("Found"), False),)
    return (
        (columns.found, pgettext("over a column", "As found"), False),
        (columns.found + _LEFT, pgettext("over a column", "As left"), False),
    )


def _note(note: RunNote, columns: _Columns) -> list[Row]:
    """What is said over the checks, before the first of them."""
    width = columns.right - columns.number - 5
    lines = (*plain(note.text, width=width), *english(note.original, width))
    blocks = row((Cell(x=columns.number, lines=lines),), left=columns.left, right=columns.right)
    area = Area(left=columns.left, width=columns.right - columns.left)
    said = unread(area) if note.original else []
    return [replace(made, keep=True) for made in (*said, *map(Row, blocks))]


def _group(group: CheckGroup, columns: _Columns, *, closed: bool) -> list[Row]:
    about = ", ".join(text for text in (group.service, group.state_text, group.covers_text) if text)
    head: tuple[tuple[str, bool], ...] = ((group.position, True), (about, False))
    if group.outcome_text:
        head = ((group.position, True), (f"{about}:", False), (group.outcome_text, True))
    *before, last = _group_head(columns, *head, small=_small(group, columns))
    rows = [*together([Row(block) for block in before]), Row(last, keep=True)]
    again = _group_head(columns, (group.position, True), (continued(group.service), False))[0]
    for check in group.checks:
        made = [Row(block, group=again) for block in _check(check, columns, closed=closed)]
        if check is group.checks[-1] and check is not group.checks[0]:
            # Never the last of a group alone on a page.
            rows[-1] = replace(rows[-1], keep=True)
        rows.extend(made)
    if not group.checks:
        cell = Cell(x=columns.text, lines=plain(gettext(NO_CHECKS), width=columns.text_width))
        rows.extend(Row(block) for block in row((cell,), left=columns.left, right=columns.right))
    if group.left_text:
        left = plain(group.left_text, width=columns.right - columns.text - 5, bold=True)
        cell = Cell(x=columns.text, lines=left)
        blocks = row((cell,), left=columns.left, right=columns.right)
        rows.extend(Row(block, group=again) for block in blocks)
    return rows


def _small(group: CheckGroup, columns: _Columns) -> list[Line]:
    """Under the heading of a service: what it says to do, and what is known of the work."""
    width = columns.right - columns.number
    lines = [*at_most(MOST_TO_DO, group.instructions, width=width, size=SMALL)]
    return lines + [made for note in group.notes for made in plain(note, width=width, size=SMALL)]


def _group_head(
    columns: _Columns, *parts: tuple[str, bool], small: Sequence[Line] = ()
) -> tuple[Block, ...]:
    width = columns.right - columns.number
    lines = wrap(*parts, size=TEXT, width=width)
    cell = Cell(x=columns.number, lines=(*lines, *small))
    return row((cell,), left=columns.left, right=columns.right, least=TICK_ROW, rule=1.0)


def _check(check: PaperCheck, columns: _Columns, *, closed: bool) -> tuple[Block, ...]:
    choices = [line(choice) for choice in check.choices] if check.kind == "choice" else []
    inline = sum(map(worded_width, choices)) + _BETWEEN * (len(choices) - 1) <= _FOUND
    limit: tuple[Line, ...] = plain(check.limit_text, width=columns.limit_width)
    if check.electrician:
        limit = (*columns.electrician, *limit)
    found_text = check.found_text or (NOTHING if closed else "")
    found = entered(found_text, check.by_text, x=columns.found, width=columns.found_width)
    tag = None
    if check.is_out and found:
        tag = _out_of_limit(columns)
        # Under its tag, which takes the first line.
        lower = [replace(cell, lines=(line(""), *cell.lines)) for cell in found]
        found = (Cell(x=columns.found + TAG_WORD, lines=(columns.out,)), *lower)
    cells = (
        Cell(x=columns.number, lines=(line(str(check.number)),)),
        Cell(
            x=columns.text,
            lines=(
                *plain(check.text, width=columns.text_width),
                *plain(check.hint, width=columns.text_width, size=SMALL),
                *plain(check.apart_text, width=columns.text_width, size=SMALL),
            ),
        ),
        Cell(x=columns.limit, lines=limit),
        Cell(x=columns.last, lines=plain(check.last_text, width=columns.last_width)),
        *(found or (_unit(check, columns),)),
    )
    if found:
        return row(cells, left=columns.left, right=columns.right, mark=tag)
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
    """The unit after the empty cells of a value."""
    x = columns.found + _LEFT + _VALUE_CELL + 4
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
        return _value_cells(columns), VALUE_ROW
    if check.electrician:
        return _name_cell(columns.name, right), VALUE_ROW
    if check.kind == "choice" and not check.choices:
        return _value_cell(columns, columns.found_width), VALUE_ROW
    boxes = choices if check.kind == "choice" else columns.tick
    if not boxes:
        return None, TICK_ROW
    return _boxes(boxes, right), TICK_ROW


def _out_of_limit(columns: _Columns) -> Mark:
    def mark(pen: Pen, middle: float) -> None:
        pen.torn_tag(columns.found, middle, columns.out.width)

    return mark


def _value_cells(columns: _Columns) -> Mark:
    """A cell for the value as found, and one for it as left."""

    def mark(pen: Pen, middle: float) -> None:
        for x in (columns.found, columns.found + _LEFT):
            pen.box(x, middle - CELL_HEIGHT / 2, _VALUE_CELL, CELL_HEIGHT)

    return mark


def _value_cell(columns: _Columns, width: float) -> Mark:
    def mark(pen: Pen, middle: float) -> None:
        pen.box(columns.found, middle - CELL_HEIGHT / 2, width, CELL_HEIGHT)

    return mark


def _name_cell(word: Line, right: float) -> Mark:
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
    mark = _name_cell(columns.name, columns.right - 5)
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
