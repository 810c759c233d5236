"""Rows of a log read cell by cell, whatever they hold: slower, and it says what is wrong with each.

`fast` reads the pieces of a log in which nothing is out of the ordinary; what it leaves comes here.
Both make the same rows of the same text.
"""

import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from typing import Final

import numpy as np

from equipment.shiftlogs.layout import Layout
from equipment.shiftlogs.reading.lines import Cells, Unreadable, WrongOrder
from equipment.shiftlogs.reading.rows import NO_OFFSET, Plan, Rows

#: Bad rows that are kept with their words; the others are only counted.
SHOWN: Final = 50
#: The most lines that a preamble below the headings, or a footer, can have.
EDGE: Final = 200
#: The most of a bad row that is kept.
SHOWN_LENGTH: Final = 300

_LETTER: Final = re.compile(r"[^\W\d_]")
_UNIT: Final = re.compile(r"[^\W\d_]|[%°]")
_DIGITS: Final = re.compile(r"\d+")


@dataclass(frozen=True, slots=True)
class BadRow:
    """A row that could not be read. line: its number, 1 first. reason: a clause for the person."""

    line: int
    text: str
    reason: str


@dataclass(slots=True)
class BadRows:
    """How many rows could not be read, and the first of them that came by."""

    count: int = 0
    shown: list[BadRow] = field(default_factory=list)

    def add(self, row: BadRow) -> None:
        self.count += 1
        if len(self.shown) < SHOWN:
            self.shown.append(row)


class Careful:
    """Reads pieces of one log in turn, and keeps account of what it could not read.

    headings: the lines down to the one with the headings, which may come again.
    bad: rows that could not be read. torn: the last line was cut off in writing.
    other_order: rows whose date is none in the layout's order of day and month, and would be one in
    the other; first_other_order: the time of the first.
    """

    def __init__(
        self, layout: Layout, plan: Plan, cells: Cells, *, headings: Iterable[str]
    ) -> None:
        self.layout = layout
        self.plan = plan
        self.cells = cells
        self.bad = BadRows()
        self.torn = False
        self.other_order = 0
        self.first_other_order = ""
        known = [_bare(line) for line in headings]
        self._headings = {line for line in known if line}
        #: The line of the headings themselves: what stands above it is a preamble.
        self._header = known[-1] if known else ""
        self._is_above_header = False
        #: Lines that are bad unless nothing but their like follows, or went before: a footer.
        self._doubtful: list[BadRow] = []
        self._seen_rows = False

    def rows(
        self, text: bytes, *, line: int, backwards: bool, is_torn: bool = False, before: bytes = b""
    ) -> Rows:
        """Read a piece; its rows come in the order in which they are read.

        text: whole lines in UTF-8. line: number of its first. backwards: last line first.
        is_torn: the last line of the piece is the last of the file and has no end. before: the
        line before the piece, to compare that one with.
        """
        lines = text.decode("utf-8", "replace").split("\n")
        if lines and not lines[-1]:
            lines.pop()
        last = lines.pop() if is_torn and lines else None
        above = lines[-1] if lines else before.decode("utf-8", "replace")
        good = _Columns(self.plan)
        if last is not None and backwards:
            self._last_line(last, line + len(lines), above, good)
        numbered: Iterator[tuple[int, str]] = enumerate(lines, start=line)
        for number, each in reversed(list(numbered)) if backwards else numbered:
            self._line(each, number, good, backwards=backwards)
        if last is not None and not backwards:
            self._last_line(last, line + len(lines), above, good)
        return good.rows()

    def passed(self) -> None:
        """Take note that a row was read: what was doubtful before it is settled."""
        if self._doubtful:
            self._settle()
        self._seen_rows = True
        self._is_above_header = False

    def close(self) -> None:
        """Take note that the log ended: doubtful lines at its end are a footer."""
        if len(self._doubtful) > EDGE:
            self._settle()
        self._doubtful.clear()
        self.bad.shown.sort(key=lambda each: each.line)

    def _settle(self) -> None:
        """Lines before the first row are an edge of the file; those between rows are bad.

        Those above headings that come again are the preamble of another session.
        """
        is_edge = self._is_above_header or not self._seen_rows
        if not is_edge or len(self._doubtful) > EDGE:
            for each in self._doubtful:
                self.bad.add(each)
        self._doubtful.clear()

    def _pass_header(self, *, backwards: bool) -> None:
        """Take note of the headings: the lines above them, up to the next row, are no rows."""
        if backwards:
            self._settle()
            self._is_above_header = True
        else:
            if len(self._doubtful) > EDGE:
                self._settle()
            self._doubtful.clear()

    def _line(self, text: str, number: int, good: "_Columns", *, backwards: bool) -> None:
        text = _whole(text)
        if not text:
            return
        try:
            read = self._read(text)
        except Unreadable as unreadable:
            if unreadable.is_time and self._is_heading(text):
                if self._header and _bare(text) == self._header:
                    self._pass_header(backwards=backwards)
                return
            row = BadRow(number, text[:SHOWN_LENGTH], str(unreadable))
            if unreadable.is_time and len(self._doubtful) <= EDGE:
                self._doubtful.append(row)
            else:
                self.bad.add(row)
            if isinstance(unreadable, WrongOrder):
                self.other_order += 1
                self.first_other_order = self.first_other_order or unreadable.text
        else:
            good.add(number, *read)
            self.passed()

    def _last_line(self, text: str, number: int, before: str, good: "_Columns") -> None:
        """Read a line that has no end: cut off in writing, or the end of a program without one."""
        text = _whole(text)
        if not text:
            return
        try:
            read = self._read(text)
        except Unreadable as unreadable:
            begins = text.split(self.layout.delimiter)[0]
            is_footer = unreadable.is_time and (self._is_heading(text) or _LETTER.search(begins))
            self.torn = self.torn or not is_footer
            return
        if self._is_cut(self.cells.split(text), before):
            self.torn = True
            return
        good.add(number, *read)
        self.passed()

    def _read(self, text: str) -> tuple[int, int | None, list[float], bool | None]:
        """Return time, offset, numbers and running of a row. Raises Unreadable."""
        plan = self.plan
        cells = self.cells.split(text)
        try:
            when, ahead = self.cells.when(cells)
        except Unreadable as unreadable:
            unreadable.is_time = self._is_no_row(cells)
            raise
        numbers = [self.cells.number(cells[place]) for _, place in plan.numbers]
        running = None if plan.running is None else self.cells.running(cells[plan.running])
        return when, ahead, numbers, running

    def _is_no_row(self, cells: list[str]) -> bool:
        """A row without a time is units, headings or a sum, unless its cells are those of a row."""
        if not any(_DIGITS.search(cell) for cell in self.cells.timed(cells)):
            return True
        for _, place in self.plan.numbers:
            try:
                self.cells.number(cells[place])
            except Unreadable:
                continue
            return False
        return True

    def _is_heading(self, text: str) -> bool:
        """A line without a time is headings again, a row of units, or has nothing in its cells."""
        if _bare(text) in self._headings:
            return True
        try:
            cells = self.cells.split(text)
        except Unreadable:
            return not text.strip(f" \t{self.layout.delimiter}")
        said = [cell for place in self.plan.places if (cell := cells[place].strip())]
        return (
            not any(self.cells.is_number(each) for each in said)
            and not any(_DIGITS.search(cell) for cell in self.cells.timed(cells))
            and 2 * sum(bool(_UNIT.search(each)) for each in said) >= len(said)
        )

    def _is_cut(self, cells: list[str], before: str) -> bool:
        """The last cell is the beginning of one like that of the row before."""
        place = len(cells) - 1
        try:
            earlier = self.cells.split(_whole(before))
        except Unreadable:
            return False
        now, then = cells[-1].strip(), earlier[-1].strip()
        if place not in self.plan.places or len(now) >= len(then):
            return False
        if place == self.plan.running:
            return then.casefold().startswith(now.casefold())
        if place not in dict(self.plan.numbers).values():
            return bool(_DIGITS.search(then))
        if not (self.cells.is_number(now) and self.cells.is_number(then)):
            return False
        if self.layout.decimal in then:
            return _decimals(now, self.layout.decimal) < _decimals(then, self.layout.decimal)
        # 48 after 48210 is cut; 99 after 100 is not: a digit more would lead away from it.
        value, value_before = self.cells.number(now), self.cells.number(then)
        return abs(value * 10 + 4.5 - value_before) < abs(value - value_before)


@dataclass(slots=True)
class _Columns:
    """Rows as they are found."""

    plan: Plan
    line: list[int] = field(default_factory=list)
    when: list[int] = field(default_factory=list)
    ahead: list[int] = field(default_factory=list)
    numbers: list[list[float]] = field(default_factory=list)
    running: list[bool | None] = field(default_factory=list)

    def add(
        self, line: int, when: int, ahead: int | None, numbers: list[float], running: bool | None
    ) -> None:
        self.line.append(line)
        self.when.append(when)
        self.ahead.append(NO_OFFSET if ahead is None else ahead)
        self.numbers.append(numbers)
        self.running.append(running)

    def rows(self) -> Rows:
        table = np.array(self.numbers, dtype=np.float64).reshape(
            len(self.line), len(self.plan.numbers)
        )
        ahead = np.array(self.ahead, dtype=np.int64)
        return Rows(
            line=np.array(self.line, dtype=np.int64),
            when_us=np.array(self.when, dtype=np.int64),
            offset_us=None if (ahead == NO_OFFSET).all() else ahead,
            numbers={
                role: np.ascontiguousarray(table[:, place])
                for place, (role, _) in enumerate(self.plan.numbers)
            },
            running=(None if self.plan.running is None else np.array(self.running, dtype=np.bool_)),
        )


def _whole(line: str) -> str:
    """A line without what line ends and a lost supply leave at its ends; "" for a blank one."""
    line = line.rstrip("\r").strip("\0")
    return "" if line.isspace() else line


def _bare(line: str) -> str:
    """A line of headings or preamble without what may differ when it comes again."""
    return _DIGITS.sub("0", line.strip())


def _decimals(text: str, point: str) -> int:
    return len(text.partition(point)[2])
