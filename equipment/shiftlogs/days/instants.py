"""Rows in columns: taken apart, put together, compared; rows that come twice, or share a time."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Sequence
from typing import Final

import numpy as np
import numpy.typing as npt

from equipment.shiftlogs.blocks import Block, Floats, Integers
from equipment.shiftlogs.layout import TOTALS

FIRST: Final = "first"
LAST: Final = "last"
DUPLICATE_CHOICES: Final = (
    (FIRST, "The first row of each time counts."),
    (LAST, "The last row of each time counts."),
)


def take(block: Block, which: slice | Integers | npt.NDArray[np.bool_]) -> Block:
    """Return some rows of a block, in the order asked for."""
    return Block(
        line=block.line[which],
        instant_us=block.instant_us[which],
        day=block.day[which],
        values={role: values[which] for role, values in block.values.items()},
        running=None if block.running is None else block.running[which],
    )


def concatenate(blocks: Sequence[Block]) -> Block:
    """Return blocks as one. A column that some do not have is NaN there (running: True)."""
    roles = dict.fromkeys(role for block in blocks for role in block.values)
    has_running = any(block.running is not None for block in blocks)
    return Block(
        line=np.concatenate([block.line for block in blocks]),
        instant_us=np.concatenate([block.instant_us for block in blocks]),
        day=np.concatenate([block.day for block in blocks]),
        values={
            role: np.concatenate(
                [
                    block.values[role] if role in block.values else np.full(len(block), np.nan)
                    for block in blocks
                ]
            )
            for role in roles
        },
        running=np.concatenate(
            [
                np.ones(len(block), np.bool_) if block.running is None else block.running
                for block in blocks
            ]
        )
        if has_running
        else None,
    )


def steps_of(block: Block, last: Block | None) -> Integers:
    """Return the step to each row from the row before; 0 for the first of a stream. [µs]"""
    step = np.empty_like(block.instant_us)
    step[0] = 0 if last is None else block.instant_us[0] - last.instant_us[-1]
    np.subtract(block.instant_us[1:], block.instant_us[:-1], out=step[1:])
    return step


def are_same(values: Floats, others: Floats) -> npt.NDArray[np.bool_]:
    """Return where two columns say the same; a value that is missing in both is the same."""
    return (values == others) | (np.isnan(values) & np.isnan(others))


def same_rows(
    block: Block, at: slice | Integers, other: Block, there: slice | Integers
) -> npt.NDArray[np.bool_]:
    """Return where rows of two blocks say the same. A column that one lacks is missing there."""
    length = len(block.line[at])
    same = np.ones(length, np.bool_)
    absent = np.full(length, np.nan)
    for role in block.values.keys() | other.values.keys():
        same &= are_same(
            block.values[role][at] if role in block.values else absent,
            other.values[role][there] if role in other.values else absent,
        )
    if block.running is not None and other.running is not None:
        same &= block.running[at] == other.running[there]
    return same


class Repeats:
    """Rows that a log wrote already some rows before, word for word: they count once.

    A controller that loses its line sends a stretch again. Only rows that lie before the row that
    counted last are looked at, and only the last `REACH` rows are looked through.

    count: rows dropped so far.
    """

    REACH: Final = 20_000

    def __init__(self) -> None:
        self.count = 0
        self._kept: deque[Block] = deque()
        self._kept_rows = 0
        #: Rows that counted in all; and which of them a repeat that goes on must say again.
        self._total = 0
        self._expected: int | None = None

    def drop(self, block: Block) -> Block:
        """Return the rows that count."""
        instant = block.instant_us
        is_back = instant[1:] < instant[:-1]
        if self._expected is None and not self._is_before_last(instant) and not is_back.any():
            self._keep(block)
            return block
        backs = [*(np.flatnonzero(is_back) + 1).tolist(), len(block)]
        parts: list[Block] = []
        at = 0
        while at < len(block):
            expected, self._expected = self._expected, None
            if expected is None and self._is_before_last(instant[at:]):
                expected = self._find(block, at)
            if expected is not None and (length := self._repeated(block, at, expected)):
                at += length
                self.count += length
                if at == len(block) and expected + length < self._total:
                    self._expected = expected + length
                continue
            end = next(each for each in backs if each > at)
            part = take(block, slice(at, end))
            self._keep(part)
            parts.append(part)
            at = end
        return concatenate(parts) if parts else take(block, slice(0, 0))

    def _is_before_last(self, instant: Integers) -> bool:
        return bool(self._kept and len(instant) and instant[0] < self._kept[-1].instant_us[-1])

    def _keep(self, block: Block) -> None:
        if not len(block):
            return
        self._kept.append(block)
        self._kept_rows += len(block)
        self._total += len(block)
        while self._kept_rows - len(self._kept[0]) >= self.REACH:
            self._kept_rows -= len(self._kept.popleft())

    def _find(self, block: Block, at: int) -> int | None:
        """Return the number of the latest row within reach that says the same, or None."""
        end = self._total
        lowest = max(self._total - self.REACH, 0)
        for kept in reversed(self._kept):
            start = end - len(kept)
            near = np.flatnonzero(kept.instant_us == block.instant_us[at])
            for there in near[::-1].tolist():
                if start + there < lowest:
                    return None
                if same_rows(block, slice(at, at + 1), kept, slice(there, there + 1))[0]:
                    return start + there
            end = start
        return None

    def _repeated(self, block: Block, at: int, expected: int) -> int:
        """Return how many rows from `at` on say again what the rows from `expected` on said."""
        length = 0
        start = self._total - self._kept_rows
        for kept in self._kept:
            end = start + len(kept)
            there = expected + length - start
            if 0 <= there < len(kept):
                count = min(len(kept) - there, len(block) - at - length)
                mine, theirs = slice(at + length, at + length + count), slice(there, there + count)
                same = same_rows(block, mine, kept, theirs)
                same &= block.instant_us[mine] == kept.instant_us[theirs]
                if not same.all():
                    return length + int(np.argmin(same))
                length += count
                if at + length == len(block):
                    break
            start = end
        return length


class SameInstant:
    """Rows of one instant that follow each other: the same once, different ones a question.

    Where a third of all rows share their time with the row before and the counters go on rising,
    times are written too coarsely, and all rows count in their order: that is no question.

    choice: FIRST, LAST, or None where nobody has answered; then all of them count.
    """

    def __init__(self, choice: str | None) -> None:
        self.choice = choice
        self.clashes = 0
        self._rows = 0
        self._falls = 0
        self._first: tuple[int, int] | None = None
        self._held: Block | None = None

    def sift(self, block: Block, last: Block | None) -> Block:
        """Return the rows that count. last: the row that counted before the block, or None."""
        if self._held is not None:
            block, self._held = concatenate([self._held, block]), None
        if not len(block):
            return block
        self._rows += len(block)
        same = block.instant_us[1:] == block.instant_us[:-1]
        follows = last is not None and bool(last.instant_us[-1] == block.instant_us[0])
        if self.choice == LAST:
            # Of the last instant of a block a further row may come.
            unequal = np.flatnonzero(block.instant_us != block.instant_us[-1])
            keep = int(unequal[-1]) + 1 if len(unequal) else 0
            self._held = take(block, slice(keep, None))
            block = take(block, slice(0, keep))
            return take(block, np.append(~same[:keep][:-1], True)) if keep else block
        if not follows and not same.any():
            return block
        later = np.flatnonzero(same) + 1
        if follows:
            later = np.concatenate(([0], later))
        keep_rows = np.ones(len(block), np.bool_)
        if self.choice == FIRST:
            keep_rows[later] = False
        else:
            keep_rows[later[self._are_repeats(block, later, last)]] = False
        return take(block, keep_rows) if not keep_rows.all() else block

    def held(self) -> Block | None:
        """Return the row that was held back, once, at the end of the stream."""
        held, self._held = self._held, None
        return None if held is None else take(held, slice(-1, None))

    @property
    def is_coarse(self) -> bool:
        """Return whether times are written too coarsely to tell rows apart."""
        return self.clashes * 3 >= self._rows - 1 > 0 and self._falls * 10 <= self.clashes

    def why(self, when: Callable[[int], str]) -> str:
        """Return what is to be asked, or "". when: words for an instant."""
        if self._first is None or self.is_coarse:
            return ""
        line, instant = self._first
        rows = "A row has" if self.clashes == 1 else f"{self.clashes:,} rows have"
        return (
            f"{rows} the same time as the row before, and other values: first in line {line:,}, "
            f"{when(instant)}."
        )

    def _are_repeats(
        self, block: Block, later: Integers, last: Block | None
    ) -> npt.NDArray[np.bool_]:
        """Return which rows say what the row before said, and count the others."""
        repeats = np.ones(len(later), np.bool_)
        falls = np.zeros(len(later), np.bool_)
        columns = {role: (values, role in TOTALS) for role, values in block.values.items()}
        for role, (values, is_total) in columns.items():
            before = values[later - 1]
            if later[0] == 0:
                before[0] = np.nan if last is None else last.values.get(role, [np.nan])[-1]
            repeats &= are_same(values[later], before)
            if is_total:
                falls |= values[later] < before
        if block.running is not None:
            ran = block.running[later - 1]
            if later[0] == 0 and last is not None and last.running is not None:
                ran[0] = last.running[-1]
            repeats &= block.running[later] == ran
        self.clashes += int((~repeats).sum())
        self._falls += int((falls & ~repeats).sum())
        if self._first is None and not repeats.all():
            at = later[np.flatnonzero(~repeats)[0]]
            self._first = int(block.line[at]), int(block.instant_us[at])
        return repeats
