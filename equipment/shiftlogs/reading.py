"""A log and its layout to blocks of rows, streamed: the whole file is never in memory.

The file is cut into pieces at line ends. Each piece is read by `careful`; then its times become
instants, its numbers canonical units, and exact duplicates go.
"""

from collections.abc import Iterator, Mapping
from datetime import date as Date
from typing import BinaryIO, Final

import numpy as np

from equipment.shiftlogs.blocks import Block, Floats, Integers, RigFacts
from equipment.shiftlogs.careful import BadRows, Careful
from equipment.shiftlogs.layout import UNITS, Layout, LogRefused
from equipment.shiftlogs.pieces import PIECE, Piece, Pieces
from equipment.shiftlogs.rows import (
    DAYTIME,
    NO_OFFSET,
    SINCE_BEGINNING,
    SINCE_EPOCH,
    Plan,
    Rows,
    planned,
)
from equipment.shiftlogs.times import DAY_US, EPOCH_ORDINAL
from equipment.shiftlogs.zones import Wall, days_of, whole_days, zone_named

#: So few rows of another date order may be slips of the pen. [rows, share]
MISFITS: Final = (2, 0.001)


def read(
    source: BinaryIO,
    layout: Layout,
    *,
    facts: RigFacts,
    answers: Mapping[str, str],
    date: Date | None = None,
    piece_bytes: int = PIECE,
) -> "Reader":
    """Return the rows of a log as blocks, to be iterated once.

    source: seekable. date: the day of the oldest row, for a log that names none; else
    answers["date"] is. piece_bytes: how much is read at a time; it changes no figure.
    Raises LogRefused, here or during the iteration, where the file cannot be read in this layout.
    """
    if date is None and (given := answers.get("date")):
        try:
            date = Date.fromisoformat(given.strip())
        except ValueError as error:
            raise LogRefused(f"“{given[:40]}” is no date.") from error
    return Reader(source, layout, facts=facts, date=date, piece_bytes=piece_bytes)


class Reader:
    """Blocks of one log, oldest row first; after the iteration, what there is to say about it.

    rows: good rows. duplicates: exact repetitions of the row before, left out.
    bad: what could not be read. torn: the last line was cut off in writing.
    clock_put_back: how often an instant lies before that of the row before.
    skipped_times: rows whose wall time the clock skips in spring.
    unknown_states: what a running column said that means neither running nor stopped.
    misfit: why the order of day and month in the layout cannot be right, or "".
    careful_pieces: how many pieces had to be read cell by cell.
    """

    def __init__(
        self,
        source: BinaryIO,
        layout: Layout,
        *,
        facts: RigFacts,
        date: Date | None,
        piece_bytes: int = PIECE,
    ) -> None:
        self.layout = layout
        self.plan: Plan = planned(layout)
        self.rows = self.duplicates = self.clock_put_back = self.careful_pieces = 0
        self._pieces = Pieces(source, encoding=layout.encoding, piece_bytes=piece_bytes)
        headings = self._pieces.first_lines(layout.header_line)
        self._careful = Careful(layout, self.plan, headings=headings)
        self._shop = facts.zone
        self._wall = Wall(zone_named(layout.zone, shop=facts.zone))
        self._is_of_shop = self._wall.zone == facts.zone
        self._codes = dict(layout.out_of_range)
        self._units = {column.role: UNITS.get(column.unit, (1.0, 0.0)) for column in layout.columns}
        self._last: Block | None = None
        self._day_us = 0
        self._daytime_us: int | None = None
        if self.plan.kind in (DAYTIME, SINCE_BEGINNING):
            if date is None:
                raise LogRefused("No row of this log names its date, and none was given.")
            self._day_us = (date.toordinal() - EPOCH_ORDINAL) * DAY_US

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
        return frozenset(self._careful.unknown_states)

    @property
    def misfit(self) -> str:
        count = self._careful.other_order
        fewest, share = MISFITS
        if count == 0 or (count < fewest and count < share * self.rows):
            return ""
        words = {"dmy": "day first", "mdy": "month first"}[self.layout.date_order]
        return f"“{self._careful.first_other_order}” is no date when it is read {words}."

    def __iter__(self) -> Iterator[Block]:
        backwards = self.layout.newest_first
        for piece in self._pieces.backward() if backwards else self._pieces.forward():
            rows = self._rows(piece)
            if len(rows) and len(block := self._block(rows)):
                self.rows += len(block)
                yield block
        self._careful.close()

    def _rows(self, piece: Piece) -> Rows:
        """Read a piece by the quicker way that can; oldest row first."""
        text, line = piece.text, piece.line
        backwards = self.layout.newest_first
        if (skip := self.layout.header_line + 1 - line) > 0:
            text, skipped = _without_lines(text, skip)
            line += skipped
        self.careful_pieces += 1
        return self._careful.rows(
            text, line=line, backwards=backwards, is_torn=piece.is_torn, before=piece.before
        )

    def _block(self, rows: Rows) -> Block:
        instant_us, day = self._instants(rows)
        values = {role: self._canonical(role, cells) for role, cells in rows.numbers.items()}
        block = Block(rows.line, instant_us, day, values, rows.running)
        return self._without_duplicates(block)

    def _instants(self, rows: Rows) -> tuple[Integers, Integers]:
        """Return instants [µs] and days of the shop."""
        kind = self.plan.kind
        if kind == SINCE_EPOCH:
            return rows.when_us, days_of(rows.when_us, self._shop)
        if kind == SINCE_BEGINNING:
            begins = self._wall.instants(np.array([self._day_us], dtype=np.int64))[0]
            instant_us = begins + rows.when_us
            return instant_us, days_of(instant_us, self._shop)
        wall_us = self._dated(rows.when_us) if kind == DAYTIME else rows.when_us
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

    def _dated(self, daytime_us: Integers) -> Integers:
        """Give times of day their day: one that falls by half a day or more is of the next."""
        before = np.empty_like(daytime_us)
        before[0] = daytime_us[0] if self._daytime_us is None else self._daytime_us
        before[1:] = daytime_us[:-1]
        nights = np.cumsum(before - daytime_us > DAY_US // 2)
        wall_us: Integers = daytime_us + (self._day_us + nights * DAY_US)
        self._day_us += int(nights[-1]) * DAY_US
        self._daytime_us = int(daytime_us[-1])
        return wall_us

    def _canonical(self, role: str, cells: Floats) -> Floats:
        """Return the numbers of a column in canonical units, without a sensor's own codes."""
        if role in self._codes and (coded := cells == self._codes[role]).any():
            cells = np.where(coded, np.nan, cells)
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


def _without_lines(text: bytes, count: int) -> tuple[bytes, int]:
    """Leave out the first lines, and return how many there were to leave out."""
    position = 0
    for done in range(count):
        found = text.find(b"\n", position)
        if found < 0:
            return b"", done + bool(text[position:])
        position = found + 1
    return text[position:], count
