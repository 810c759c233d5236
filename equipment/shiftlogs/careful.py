"""Rows of a log read cell by cell, whatever they hold; it says what is wrong with each."""

import csv
import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from typing import Final

import numpy as np

from equipment.shiftlogs.layout import Layout
from equipment.shiftlogs.rows import (
    DAYTIME,
    NO_OFFSET,
    RUNNING_WORDS,
    STOPPED_WORDS,
    Plan,
    Rows,
)
from equipment.shiftlogs.times import DAY_US, day_number, moment, offset, time_of_day

#: Bad rows that are kept with their words; the others are only counted.
SHOWN: Final = 50
#: The most lines that a preamble below the headings, or a footer, can have.
EDGE: Final = 200
#: The most of a bad row that is kept.
SHOWN_LENGTH: Final = 300

_LETTER: Final = re.compile(r"[^\W\d_]")
_UNIT: Final = re.compile(r"[^\W\d_]|[%°]")
_DIGITS: Final = re.compile(r"\d+")
#: What some programs write between thousands where the layout says a blank or an apostrophe.
_ALIKE: Final = {" ": " \u00a0\u202f\u2009", "'": "'’"}


@dataclass(frozen=True, slots=True)
class BadRow:
    """A row that could not be read. line: its number, 1 first. reason: a clause for the person."""

    line: int
    text: str
    reason: str


@dataclass(slots=True)
class BadRows:
    """How many rows could not be read, and the first of them."""

    count: int = 0
    shown: list[BadRow] = field(default_factory=list)

    def add(self, row: BadRow) -> None:
        self.count += 1
        if len(self.shown) < SHOWN:
            self.shown.append(row)

    def __len__(self) -> int:
        return self.count


class _Unreadable(Exception):
    """Why a row is bad. is_time: nothing but its time was looked at."""

    def __init__(self, reason: str, *, is_time: bool = False) -> None:
        self.is_time = is_time
        super().__init__(reason)


def number_pattern(layout: Layout) -> re.Pattern[str]:
    """Return what a number of this layout looks like, whole."""
    point = re.escape(layout.decimal)
    whole = r"\d+"
    if layout.grouping:
        group = f"[{re.escape(_ALIKE.get(layout.grouping, layout.grouping))}]"
        whole = rf"(?:\d{{1,3}}(?:{group}\d{{3}})+|\d+)"
    return re.compile(
        rf"[+-]?(?:{whole}(?:{point}\d*)?|{point}\d+)(?:[eE][+-]?\d{{1,3}})?", re.ASCII
    )


class Careful:
    """Reads pieces of one log in turn, and keeps account of what it could not read.

    headings: the lines down to the one with the headings, which may come again.
    bad: rows that could not be read. torn: the last line was cut off in writing.
    """

    def __init__(self, layout: Layout, plan: Plan, *, headings: Iterable[str]) -> None:
        self.layout = layout
        self.plan = plan
        self.bad = BadRows()
        self.torn = False
        #: Rows whose date is none in the order of the layout and one in another, and the first.
        self.other_order = 0
        self.first_other_order = ""
        #: What a running column said that is neither a word for running nor for stopped.
        self.unknown_states: set[str] = set()
        self._pattern = number_pattern(layout)
        self._drop = str.maketrans("", "", _ALIKE.get(layout.grouping, layout.grouping))
        self._missing = frozenset(layout.missing) | {""}
        self._headings = {_bare(line) for line in headings if line.strip()}
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
        above = before.decode("utf-8", "replace")
        good = _Columns(self.plan)
        if last is not None and backwards:
            self._last_line(last, line + len(lines), lines[-1] if lines else above, good)
        numbered: Iterator[tuple[int, str]] = enumerate(lines, start=line)
        for number, each in reversed(list(numbered)) if backwards else numbered:
            self._line(each, number, good)
        if last is not None and not backwards:
            self._last_line(last, line + len(lines), lines[-1] if lines else above, good)
        return good.rows()

    def passed(self) -> None:
        """Take note that rows were read elsewhere: what was doubtful before them is settled."""
        if self._doubtful:
            self._settle()
        self._seen_rows = True

    def close(self) -> None:
        """Take note that the log ended: doubtful lines at its end are a footer."""
        if not self._seen_rows:
            self._settle()
        self._doubtful.clear()
        self.bad.shown.sort(key=lambda each: each.line)

    def _settle(self) -> None:
        """Lines before the first row are an edge of the file; those between rows are bad."""
        if self._seen_rows or len(self._doubtful) > EDGE:
            for each in self._doubtful:
                self.bad.add(each)
        self._doubtful.clear()

    def _line(self, text: str, number: int, good: "_Columns") -> None:
        text = text.rstrip("\r").strip("\0")
        try:
            cells = self._cells(text)
            if cells is None:
                return
            good.add(number, *self._read(cells))
        except _Unreadable as unreadable:
            if unreadable.is_time and self._is_heading(text):
                return
            row = BadRow(number, text[:SHOWN_LENGTH], str(unreadable))
            if unreadable.is_time and len(self._doubtful) <= EDGE:
                self._doubtful.append(row)
            else:
                self.bad.add(row)
        else:
            self.passed()

    def _last_line(self, text: str, number: int, before: str, good: "_Columns") -> None:
        """Read a line that has no end: cut off in writing, or the end of a program without one."""
        text = text.rstrip("\r").strip("\0")
        try:
            cells = self._cells(text)
            if cells is None:
                return
            read = self._read(cells)
        except _Unreadable as unreadable:
            begins = text.split(self.layout.delimiter)[0]
            if not (unreadable.is_time and (self._is_heading(text) or _LETTER.search(begins))):
                self.torn = True
            return
        if self._is_cut(cells, before):
            self.torn = True
            return
        good.add(number, *read)
        self.passed()

    def _is_cut(self, cells: list[str], before: str) -> bool:
        """The last cell is the beginning of one like that of the row before."""
        place = len(cells) - 1
        if place not in self.plan.places or not before.strip():
            return False
        try:
            earlier = self._cells(before.rstrip("\r").strip("\0")) or []
        except _Unreadable:
            return False
        if len(earlier) != len(cells):
            return False
        now, then = cells[-1].strip(), earlier[-1].strip()
        if len(now) >= len(then):
            return False
        if place == self.plan.running:
            return then.casefold().startswith(now.casefold())
        if place not in dict(self.plan.numbers).values():
            return bool(_DIGITS.search(then))
        if not (self._pattern.fullmatch(now) and self._pattern.fullmatch(then)):
            return False
        if self.layout.decimal in then:
            return _decimals(now, self.layout.decimal) < _decimals(then, self.layout.decimal)
        # 48 after 48210 is cut; 99 after 100 is not: a digit more would lead away from it.
        value, earlier_value = self._number(now), self._number(then)
        return abs(value * 10 + 4.5 - earlier_value) < abs(value - earlier_value)

    def _cells(self, text: str) -> list[str] | None:
        """Return the cells of a line, None where it holds no row: blank, or headings again."""
        layout = self.layout
        if not text or text.isspace():
            return None
        if layout.delimiter == " ":
            cells = text.split()
        elif '"' in text:
            try:
                cells = next(csv.reader([text], delimiter=layout.delimiter), [])
            except csv.Error as error:
                raise _Unreadable("its quotation marks do not match") from error
        else:
            cells = text.split(layout.delimiter)
        if len(cells) != layout.width:
            raise _Unreadable(
                f"it has {len(cells)} cells, not {layout.width}",
                is_time=not self._has_time(cells),
            )
        return cells

    def _is_heading(self, text: str) -> bool:
        """A line without a time is headings again, a row of units, or has nothing in its cells."""
        if _bare(text) in self._headings:
            return True
        try:
            cells = self._cells(text) or []
        except _Unreadable:
            return not text.strip(f" \t{self.layout.delimiter}")
        plan = self.plan
        used = [cells[place].strip() for place in plan.places]
        said = [each for each in used if each]
        return (
            not any(self._pattern.fullmatch(each) for each in said)
            and not any(_DIGITS.search(cell) for cell in self._timed(cells))
            and 2 * sum(bool(_UNIT.search(each)) for each in said) >= len(said)
        )

    def _timed(self, cells: list[str]) -> list[str]:
        """The cells that say when."""
        plan = self.plan
        return [
            cells[place] for place in (plan.date, *plan.clock, plan.counted) if place is not None
        ]

    def _has_time(self, cells: list[str]) -> bool:
        """The cells that are there begin as those of a row do."""
        try:
            self._when(cells)
        except (_Unreadable, IndexError):
            return False
        return True

    def _read(self, cells: list[str]) -> tuple[int, int | None, list[float], bool | None]:
        """Return time, offset, numbers and running of a row."""
        plan = self.plan
        try:
            when, ahead = self._when(cells)
        except _Unreadable as unreadable:
            unreadable.is_time = self._is_no_row(cells)
            raise
        numbers = [self._number(cells[place]) for _, place in plan.numbers]
        running = None if plan.running is None else self._running(cells[plan.running])
        return when, ahead, numbers, running

    def _is_no_row(self, cells: list[str]) -> bool:
        """A row without a time is units, headings or a sum, unless its cells are those of a row."""
        if not any(_DIGITS.search(cell) for cell in self._timed(cells)):
            return True
        for _, place in self.plan.numbers:
            try:
                self._number(cells[place])
            except _Unreadable:
                continue
            return False
        return True

    def _when(self, cells: list[str]) -> tuple[int, int | None]:
        plan, layout = self.plan, self.layout
        found: tuple[int, int | None] | None
        if plan.is_one_cell:
            text = cells[plan.clock[0]]
            found = moment(text, order=layout.date_order, clock=layout.clock)
            if found is None:
                self._look_at_order(text)
        elif plan.clock:
            text = " ".join(cells[place] for place in plan.clock)
            found = time_of_day(text, clock=layout.clock)
            if found is None and plan.kind != DAYTIME:
                # Some programs write a date of 1899 or of the day itself beside the time.
                dated = moment(text, order=layout.date_order, clock=layout.clock)
                found = dated and (dated[0] % DAY_US, dated[1])
        else:
            assert plan.counted is not None
            text = cells[plan.counted]
            if not self._pattern.fullmatch(text.strip()):
                raise _Unreadable(f"its time cannot be read: {_quoted(text)}", is_time=True)
            found = (counted_us(self._number(text), plan.unit_us), None)
        if found is None:
            raise _Unreadable(f"its time cannot be read: {_quoted(text)}", is_time=True)
        when, ahead = found
        if plan.date is not None and not plan.is_one_cell:
            when += self._date(cells[plan.date]) * DAY_US
        if plan.zone is not None and ahead is None and cells[plan.zone].strip():
            ahead = offset(cells[plan.zone])
            if ahead is None:
                raise _Unreadable(
                    f"its zone cannot be read: {_quoted(cells[plan.zone])}", is_time=True
                )
        return when, ahead

    def _date(self, text: str) -> int:
        """Return the days since 1970-01-01 of a cell with a date, beside whatever time."""
        order = self.layout.date_order
        days = day_number(text.strip(), order=order)
        if days is None:
            # Some programs write midnight behind every date.
            dated = moment(text, order=order, clock="24")
            days = None if dated is None else dated[0] // DAY_US
        if days is None:
            self._look_at_order(text)
            raise _Unreadable(f"its date cannot be read: {_quoted(text)}", is_time=True)
        return days

    def _look_at_order(self, text: str) -> None:
        """Count what would be a date if day and month changed places."""
        order = {"dmy": "mdy", "mdy": "dmy"}.get(self.layout.date_order)
        if order and moment(text, order=order, clock="24"):
            self.other_order += 1
            self.first_other_order = self.first_other_order or text.strip()

    def _number(self, cell: str) -> float:
        text = cell.strip()
        if text in self._missing:
            return np.nan
        if not self._pattern.fullmatch(text):
            if text.casefold() in self._missing:
                return np.nan
            text = text.replace("−", "-")
            if not self._pattern.fullmatch(text):
                raise _Unreadable(f"{_quoted(cell)} is no number")
        if self._drop:
            text = text.translate(self._drop)
        return float(text.replace(self.layout.decimal, "."))

    def _running(self, cell: str) -> bool:
        text = cell.strip().casefold()
        if text in RUNNING_WORDS:
            return True
        if text in STOPPED_WORDS or text in self._missing:
            return False
        if self._pattern.fullmatch(text):
            return self._number(text) != 0
        if len(self.unknown_states) < SHOWN:
            self.unknown_states.add(text[:SHOWN_LENGTH])
        return False


def counted_us(value: float, unit_us: int) -> int:
    """Return a number of a unit of time, whole. [µs]  Raises _Unreadable for no such time."""
    counted = value * unit_us
    # Up to the year 2200 since 1970.
    if not abs(counted) < 7.3e15:
        raise _Unreadable("its time is far outside of any log", is_time=True)
    return int(np.rint(counted))


@dataclass(slots=True)
class _Columns:
    """Rows as they are found."""

    plan: Plan
    line: list[int] = field(default_factory=list)
    when: list[int] = field(default_factory=list)
    ahead: list[int | None] = field(default_factory=list)
    numbers: list[list[float]] = field(default_factory=list)
    running: list[bool | None] = field(default_factory=list)

    def add(
        self, line: int, when: int, ahead: int | None, numbers: list[float], running: bool | None
    ) -> None:
        self.line.append(line)
        self.when.append(when)
        self.ahead.append(ahead)
        self.numbers.append(numbers)
        self.running.append(running)

    def rows(self) -> Rows:
        width = len(self.plan.numbers)
        table = np.array(self.numbers, dtype=np.float64).reshape(len(self.line), width)
        ahead = None
        if any(each is not None for each in self.ahead):
            ahead = np.array(
                [NO_OFFSET if each is None else each for each in self.ahead], dtype=np.int64
            )
        return Rows(
            line=np.array(self.line, dtype=np.int64),
            when_us=np.array(self.when, dtype=np.int64),
            offset_us=ahead,
            numbers={
                role: np.ascontiguousarray(table[:, place])
                for place, (role, _) in enumerate(self.plan.numbers)
            },
            running=(None if self.plan.running is None else np.array(self.running, dtype=np.bool_)),
        )


def _bare(line: str) -> str:
    """A line of headings or preamble without what may differ when it comes again."""
    return _DIGITS.sub("0", line.strip())


def _quoted(text: str) -> str:
    text = text.strip()
    return f"“{text[:40]}…”" if len(text) > 40 else f"“{text}”"


def _decimals(text: str, point: str) -> int:
    return len(text.partition(point)[2])
