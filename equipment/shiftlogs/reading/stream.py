"""A log and its layout to blocks of rows, streamed: the whole file is never in memory.

The file is cut into pieces at line ends. Each piece is read by `fast` and, where anything in it is
out of the ordinary, by `careful` instead; then its times become instants, its numbers canonical
units, and exact duplicates go.
"""

from collections import deque
from collections.abc import Iterator, Mapping
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import replace
from datetime import UTC, datetime, timedelta, tzinfo
from datetime import date as Date
from typing import BinaryIO, Final

import numpy as np

from equipment.shiftlogs.blocks import Block, Floats, Integers, RigFacts
from equipment.shiftlogs.guessing.cells import DAY_US, number
from equipment.shiftlogs.layout import MEASURES, TOTALS, UNITS, Layout, LogRefused
from equipment.shiftlogs.reading.careful import BadRows, Careful
from equipment.shiftlogs.reading.dials import Halves, Turning
from equipment.shiftlogs.reading.fast import Fast
from equipment.shiftlogs.reading.lines import EPOCH_ORDINAL, Cells
from equipment.shiftlogs.reading.pieces import PIECE, Piece, Pieces
from equipment.shiftlogs.reading.rows import (
    DAYTIME,
    NO_OFFSET,
    SINCE_BEGINNING,
    SINCE_EPOCH,
    WALL,
    Plan,
    Rows,
    planned,
)
from equipment.shiftlogs.reading.zones import EPOCH, Wall, days_of, whole_days, zone_named

#: A piece, or a part of one, and its rows where they could be read in columns.
Part = tuple[Piece, Rows | None]
#: Threads that read pieces: polars and numpy let others run meanwhile.
THREADS: Final = 2
#: What cannot be read in columns is parted in so many parts, down to this size. [bytes]
PARTS: Final = 8
SMALLEST: Final = 32 << 10
#: So few rows of another date order may be slips of the pen. [rows, share]
MISFITS: Final = (2, 0.001)


def read(
    source: BinaryIO,
    layout: Layout,
    *,
    facts: RigFacts,
    answers: Mapping[str, str],
    date: Date | datetime | None = None,
    piece_bytes: int = PIECE,
) -> "Reader":
    """Return the rows of a log as blocks, to be iterated once.

    source: seekable. date: the day of the oldest row, for a log that names none, or the wall time
    from which a log counts; where it is None, answers["date"] in ISO form.
    piece_bytes: how much is read at a time; it changes no figure.
    Raises LogRefused, here or during the iteration, where the file cannot be read in this layout.
    """
    if date is None and (given := answers.get("date", "").strip()):
        try:
            date = datetime.fromisoformat(given)
        except ValueError as error:
            raise LogRefused(f"“{given[:40]}” is no date.") from error
    return Reader(source, layout, facts=facts, date=date, piece_bytes=piece_bytes)


class Reader:
    """Blocks of one log, oldest row first; after the iteration, what there is to say about it.

    rows: good rows. duplicates: exact repetitions of the row before, left out.
    bad: what could not be read. torn: the last line was cut off in writing.
    clock_put_back: how often an instant lies before that of the row before.
    skipped_times: rows whose wall time the clock skips in spring.
    unknown_states: what a running column said that is no known word; it counts as running.
    misfit: why the order of day and month in the layout cannot be right, or "".
    careful_parts: how many parts had to be read cell by cell.
    """

    def __init__(
        self,
        source: BinaryIO,
        layout: Layout,
        *,
        facts: RigFacts,
        date: Date | datetime | None,
        piece_bytes: int = PIECE,
    ) -> None:
        self.layout = layout
        self.plan: Plan = planned(layout)
        self.rows = self.duplicates = self.clock_put_back = self.careful_parts = 0
        self._pieces = Pieces(source, encoding=layout.encoding, piece_bytes=piece_bytes)
        headings = self._pieces.first_lines(layout.header_line)
        self._shop = facts.zone
        self._wall = Wall(zone_named(layout.zone, shop=facts.zone))
        self._is_of_shop = self._wall.zone == facts.zone
        self._cells = Cells(layout, self.plan, zone=self._wall.zone)
        self._careful = Careful(layout, self.plan, self._cells, headings=headings)
        self._fast = Fast(self._cells)
        self._codes = _codes(layout)
        self._units = {column.role: UNITS.get(column.unit, (1.0, 0.0)) for column in layout.columns}
        self._last: Block | None = None
        self._begins_us = 0
        if self.plan.kind in (DAYTIME, SINCE_BEGINNING):
            if date is None:
                raise LogRefused("No row of this log names its date, and none was given.")
            self._begins_us = _wall_us(date, self._wall.zone)
        self._dial = _dial(layout, self.plan, self._begins_us)

    @property
    def bad(self) -> BadRows:
        return self._careful.bad

    @property
    def torn(self) -> bool:
        return self._careful.torn

    @property
    def skipped_times(self) -> int:
        return self._wall.skipped

    @property
    def unknown_states(self) -> frozenset[str]:
        return frozenset(self._cells.unknown_states)

    @property
    def misfit(self) -> str:
        count = self._careful.other_order
        fewest, share = MISFITS
        if count == 0 or (count < fewest and count < share * self.rows):
            return ""
        words = {"ymd": "year", "dmy": "day", "mdy": "month"}.get(self.layout.date_order, "year")
        return f"“{self.misfit_cell}” is no date when it is read {words} first."

    @property
    def misfit_cell(self) -> str:
        """The first cell with a date that another order of day and month would make one."""
        return self._careful.first_other_order

    def __iter__(self) -> Iterator[Block]:
        backwards = self.layout.newest_first
        for parts in self._in_columns():
            for part, rows in reversed(parts) if backwards else parts:
                good = self._cell_by_cell(part) if rows is None else self._taken(rows)
                if len(good) and len(block := self._block(good)):
                    self.rows += len(block)
                    yield block
        self._careful.close()

    def _in_columns(self) -> Iterator[list[Part]]:
        """Read the pieces in columns, a few ahead of what is asked for, on threads of their own."""
        pieces = self._pieces.backward() if self.layout.newest_first else self._pieces.forward()
        if self._pieces.is_one:
            for piece in pieces:
                yield self._parts(piece)
            return
        ahead: deque[Future[list[Part]]] = deque()
        with ThreadPoolExecutor(THREADS, thread_name_prefix="log") as pool:
            try:
                for piece in pieces:
                    ahead.append(pool.submit(self._parts, piece))
                    if len(ahead) > THREADS:
                        yield ahead.popleft().result()
                while ahead:
                    yield ahead.popleft().result()
            finally:
                for each in ahead:
                    each.cancel()

    def _taken(self, rows: Rows) -> Rows:
        """Return rows that were read in columns, oldest first."""
        if len(rows):
            self._careful.passed()
        return rows.taken(slice(None, None, -1)) if self.layout.newest_first else rows

    def _cell_by_cell(self, part: Piece) -> Rows:
        self.careful_parts += 1
        return self._careful.rows(
            part.text,
            line=part.line,
            backwards=self.layout.newest_first,
            is_torn=part.is_torn,
            before=part.before,
        )

    def _parts(self, piece: Piece) -> list[Part]:
        """Read a piece in columns; what cannot be read so comes in parts as small as can be."""
        skip = self.layout.header_line + 1 - piece.line
        part = piece.without_lines(skip) if skip > 0 else piece
        if skip >= 0:
            # What stands above are headings: no row to compare a torn one with.
            part = replace(part, before=b"")
        if not part.is_torn:
            return list(self._read(part))
        whole, last = part.parted()
        return [*self._read(whole), (last, None)]

    def _read(self, piece: Piece) -> Iterator[Part]:
        if not piece.text:
            return
        rows = self._fast.rows(piece.text, line=piece.line)
        if rows is not None or len(piece.text) < SMALLEST:
            yield piece, rows
            return
        for part in piece.parts(PARTS):
            yield from self._read(part)

    def _block(self, rows: Rows) -> Block:
        instant_us, day = self._instants(rows)
        values = {role: self._canonical(role, cells) for role, cells in rows.numbers.items()}
        block = Block(rows.line, instant_us, day, values, rows.running)
        return self._without_duplicates(block)

    def _instants(self, rows: Rows) -> tuple[Integers, Integers]:
        """Return instants [µs] and days of the shop."""
        kind, when_us = self.plan.kind, rows.when_us
        if kind == SINCE_EPOCH:
            return when_us, days_of(when_us, self._shop)
        if kind == SINCE_BEGINNING:
            begins = self._wall.instants(np.array([self._begins_us], dtype=np.int64))[0]
            instant_us = begins + when_us
            return instant_us, days_of(instant_us, self._shop)
        wall_us = when_us if self._dial is None else self._dial.wall(when_us)
        if rows.offset_us is None:
            instant_us = self._wall.instants(wall_us)
            if self._is_of_shop:
                return instant_us, whole_days(wall_us)
            return instant_us, days_of(instant_us, self._shop)
        named = rows.offset_us != NO_OFFSET
        instant_us = wall_us - np.where(named, rows.offset_us, 0)
        if not named.all():
            instant_us[~named] = self._wall.instants(wall_us[~named])
        return instant_us, days_of(instant_us, self._shop)

    def _canonical(self, role: str, cells: Floats) -> Floats:
        """Return the numbers of a column in canonical units, without a sensor's own codes."""
        if codes := self._codes.get(role):
            low, high = np.fmin.reduce(cells), np.fmax.reduce(cells)
            if found := [code for code in codes if low <= code <= high]:
                cells = np.where(np.isin(cells, found), np.nan, cells)
        factor, offset = self._units[role]
        if factor != 1:
            cells = cells * factor
        return cells + offset if offset else cells

    def _without_duplicates(self, block: Block) -> Block:
        """Leave out rows that say the same as the row before, at the same instant."""
        step = np.diff(block.instant_us, prepend=_last_instant(self._last, block))
        self.clock_put_back += int(np.count_nonzero(step < 0))
        same = step == 0
        if self._last is None:
            same[0] = False
        if same.any():
            for values in (*block.values.items(), ("", block.running)):
                role, column = values
                if column is None:
                    continue
                earlier = np.empty_like(column)
                earlier[1:] = column[:-1]
                if self._last is not None:
                    last = self._last.running if role == "" else self._last.values[role]
                    assert last is not None
                    earlier[0] = last[-1]
                same &= (column == earlier) | ((column != column) & (earlier != earlier))
            self.duplicates += int(np.count_nonzero(same))
        self._last = _last_row(block)
        if not same.any():
            return block
        kept = ~same
        return Block(
            block.line[kept],
            block.instant_us[kept],
            block.day[kept],
            {role: column[kept] for role, column in block.values.items()},
            None if block.running is None else block.running[kept],
        )


def _last_instant(last: Block | None, block: Block) -> int:
    return int(block.instant_us[0] if last is None else last.instant_us[-1])


def _last_row(block: Block) -> Block:
    """A block of its last row alone, which keeps nothing else in memory."""
    return Block(
        block.line[-1:].copy(),
        block.instant_us[-1:].copy(),
        block.day[-1:].copy(),
        {role: column[-1:].copy() for role, column in block.values.items()},
        None if block.running is None else block.running[-1:].copy(),
    )


def _wall_us(date: Date | datetime, zone: tzinfo) -> int:
    """Return the wall time in a zone at which a day, or a moment, begins. [µs]"""
    if not isinstance(date, datetime):
        return (date.toordinal() - EPOCH_ORDINAL) * DAY_US
    if date.tzinfo is not None:
        date = date.astimezone(zone)
    return (date.replace(tzinfo=UTC) - EPOCH) // timedelta(microseconds=1)


def _dial(layout: Layout, plan: Plan, begins_us: int) -> Turning | Halves | None:
    """Return what gives times of day their day, or the half of it, where their rows do not."""
    is_afternoon = layout.clock == "12pm"
    has_halves = layout.clock not in ("12am", "12pm")
    if plan.kind == DAYTIME:
        begins_us = begins_us // DAY_US * DAY_US
        if has_halves:
            return Turning(begins_us=begins_us, turn_us=DAY_US)
        half_us = DAY_US // 2
        return Turning(begins_us=begins_us + half_us * is_afternoon, turn_us=half_us)
    return None if has_halves or plan.kind != WALL else Halves(is_afternoon=is_afternoon)


def _codes(layout: Layout) -> dict[str, set[float]]:
    """Return by role the numbers that stand for no value, as the file has them."""
    codes: dict[str, set[float]] = {}
    for role, value in layout.out_of_range:
        codes.setdefault(role, set()).add(value)
    for word in layout.missing:
        code = number(word, decimal=layout.decimal, grouping=layout.grouping)
        if code is not None:
            for role in (*TOTALS, *MEASURES):
                codes.setdefault(role, set()).add(code)
    return codes
