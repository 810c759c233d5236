"""Several files that share days, as one stream of rows.

Files whose times do not touch follow each other. Where they overlap their rows are laid into each
other by time: rows that say the same count once, rows of one instant that contradict each other are
asked about. Within a file the order stays, also where its clock was put back.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from typing import Final

import numpy as np

from equipment.shiftlogs.blocks import Block, Integers, RigFacts, Rules
from equipment.shiftlogs.days import Reckoned, Reckoner, chosen
from equipment.shiftlogs.instants import concatenate, take
from equipment.shiftlogs.layout import Question

EARLIER: Final = "earlier"
LATER: Final = "later"
OVERLAP_CHOICES: Final = (
    (EARLIER, "What the file says that begins earlier."),
    (LATER, "What the file says that begins later."),
)


def join(
    streams: Sequence[Iterable[Block]],
    *,
    facts: RigFacts,
    rules: Rules,
    answers: Mapping[str, str],
) -> Reckoned:
    """Return the days that several files tell together.

    streams: the blocks of each file, in any order of files. As many blocks as files are in memory.
    answers: besides those of Reckoner `overlap`: EARLIER or LATER.
    Raises AnswerRefused for an answer that is none of the choices.
    """
    reckoner = Reckoner(facts, rules, answers)
    overlap = _Overlap(chosen(answers, "overlap", OVERLAP_CHOICES))
    for block in overlap.merged(streams):
        reckoner.add(block)
    reckoned = reckoner.close()
    if not overlap.clashes:
        return reckoned
    line, instant_us = overlap.first_clash
    rows = "A row" if overlap.clashes == 1 else f"{overlap.clashes:,} rows"
    question = Question(
        key="overlap",
        choices=OVERLAP_CHOICES,
        why=f"Two files tell of the same time, and do not say the same. {rows} differ: first at "
        f"{reckoner.when(instant_us)}, line {line:,} of the file that begins later.",
    )
    return replace(reckoned, questions=(*reckoned.questions, question))


class _Stream:
    """The rows of one file that are still to come."""

    def __init__(self, blocks: Iterable[Block], place: int) -> None:
        self._blocks: Iterator[Block] = iter(blocks)
        self.place = place
        self.block: Block | None = None
        self.key: Integers = np.empty(0, np.int64)
        self._high = np.iinfo(np.int64).min
        self.advance()

    def advance(self) -> None:
        """Fetch the next rows; `block` is None when there are none."""
        self.block = next((block for block in self._blocks if len(block)), None)
        if self.block is not None:
            # Rows after a clock that was put back keep their place behind the latest row before.
            self.key = np.maximum(np.maximum.accumulate(self.block.instant_us), self._high)
            self._high = int(self.key[-1])

    def upto(self, key: int) -> tuple[Block, Integers]:
        """Take the rows that lie no later than a key."""
        assert self.block is not None
        end = int(np.searchsorted(self.key, key, side="right"))
        taken, keys = take(self.block, slice(0, end)), self.key[:end]
        if end == len(self.block):
            self.advance()
        else:
            self.block, self.key = take(self.block, slice(end, None)), self.key[end:]
        return taken, keys


class _Overlap:
    """Rows of several files laid into each other. choice: EARLIER, LATER or None."""

    def __init__(self, choice: str | None) -> None:
        self.choice = choice
        self.clashes = 0
        self.first_clash = (0, 0)

    def merged(self, streams: Sequence[Iterable[Block]]) -> Iterator[Block]:
        """Yield all rows in order of time."""
        waiting = [_Stream(blocks, place) for place, blocks in enumerate(streams)]
        waiting = [stream for stream in waiting if stream.block is not None]
        waiting.sort(key=lambda stream: (int(stream.key[0]), stream.place))
        for rank, stream in enumerate(waiting):
            stream.place = rank
        while waiting:
            # Up to here no stream has rows that are not yet fetched …
            frontier = min(int(stream.key[-1]) for stream in waiting)
            if len(waiting) > 1:
                lone = self._lone(waiting)
                if lone is not None:
                    yield lone
                    waiting = [stream for stream in waiting if stream.block is not None]
                    continue
                # … but of the last instant itself there may be more.
                frontier -= 1
            parts = self._fetch(waiting, frontier)
            if not parts:
                parts = self._whole_instant(waiting, frontier + 1)
            yield self._lay(parts)
            waiting = [stream for stream in waiting if stream.block is not None]

    def _lone(self, waiting: Sequence[_Stream]) -> Block | None:
        """Return rows of one stream that lie before all rows of the others."""
        first, second = sorted(waiting, key=lambda stream: (int(stream.key[0]), stream.place))[:2]
        before = int(second.key[0]) - 1
        return first.upto(before)[0] if first.key[0] <= before else None

    def _fetch(self, waiting: Sequence[_Stream], upto: int) -> list[tuple[int, Block, Integers]]:
        return [
            (stream.place, *stream.upto(upto))
            for stream in waiting
            if stream.block is not None and stream.key[0] <= upto
        ]

    def _whole_instant(
        self, waiting: Sequence[_Stream], instant: int
    ) -> list[tuple[int, Block, Integers]]:
        """Return all rows of one instant, over as many blocks as they take."""
        parts: list[tuple[int, Block, Integers]] = []
        while more := self._fetch(waiting, instant):
            parts += more
        return parts

    def _lay(self, parts: Sequence[tuple[int, Block, Integers]]) -> Block:
        """Return rows of several files in order of time, those that say the same once."""
        if len({place for place, _, _ in parts}) == 1:
            return concatenate([block for _, block, _ in parts])
        whole = concatenate([block for _, block, _ in parts])
        key = np.concatenate([keys for _, _, keys in parts])
        place = np.concatenate([np.full(len(keys), rank) for rank, _, keys in parts])
        order = np.lexsort((place, key))
        whole, key, place = take(whole, order), key[order], place[order]
        # The first row of an instant in one file meets the first in the other, and so on.
        occurrence = _occurrence(key, place)
        order = np.lexsort((place, occurrence, key))
        whole, key, occurrence = take(whole, order), key[order], occurrence[order]
        meets = np.flatnonzero((key[1:] == key[:-1]) & (occurrence[1:] == occurrence[:-1])) + 1
        if not len(meets):
            return whole
        has_running = all(block.running is not None for _, block, _ in parts)
        return self._settle(whole, meets, has_running=has_running)

    def _settle(self, whole: Block, meets: Integers, *, has_running: bool) -> Block:
        """Return the block with each row of `meets` and the row before it made one."""
        meets = meets[whole.instant_us[meets] == whole.instant_us[meets - 1]]
        keep = np.ones(len(whole), np.bool_)
        keep[meets - 1] = False
        # Where more than two files meet, the second and third are made one after the first two.
        chain = _occurrence(meets - np.arange(len(meets)), np.zeros(len(meets), np.int64))
        for link in range(int(chain.max(initial=-1)) + 1):
            self._make_one(whole, meets[chain == link], has_running=has_running)
        return take(whole, keep)

    def _make_one(self, whole: Block, later: Integers, *, has_running: bool) -> None:
        """Write into each row what it and the row before say together."""
        earlier = later - 1
        clash = np.zeros(len(later), np.bool_)
        if has_running and whole.running is not None:
            clash |= whole.running[later] != whole.running[earlier]
        for values in whole.values.values():
            # NaN differs from nothing: what one file does not say the other may.
            with np.errstate(invalid="ignore"):
                clash |= np.abs(values[later] - values[earlier]) > 1e-6 * np.abs(values[later])
        self._count_clashes(whole, later[clash])
        later_wins = clash & (self.choice == LATER)
        for values in whole.values.values():
            mine, theirs = values[later], values[earlier]
            first, second = np.where(later_wins, mine, theirs), np.where(later_wins, theirs, mine)
            values[later] = np.where(np.isnan(first), second, first)
        if whole.running is not None:
            whole.running[later] = np.where(
                later_wins, whole.running[later], whole.running[earlier]
            )

    def _count_clashes(self, whole: Block, at: Integers) -> None:
        if self.choice is None and len(at):
            if not self.clashes:
                self.first_clash = int(whole.line[at[0]]), int(whole.instant_us[at[0]])
            self.clashes += len(at)


def _occurrence(key: Integers, place: Integers) -> Integers:
    """Return for rows in order of key and place how many of the same lie before each."""
    new = np.ones(len(key), np.bool_)
    new[1:] = (key[1:] != key[:-1]) | (place[1:] != place[:-1])
    starts = np.flatnonzero(new)
    return np.arange(len(key)) - np.repeat(starts, np.diff(np.append(starts, len(key))))
