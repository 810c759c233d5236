"""Rows in columns: taken apart, put together, compared; and rows that share one instant."""

from __future__ import annotations

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
