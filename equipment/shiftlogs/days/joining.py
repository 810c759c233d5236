"""Several files that share days, as one stream of rows.

Files whose times do not touch follow each other. Where they overlap their rows are laid into each
other by time: rows that say the same count once. Rows of one instant that contradict each other are
asked about, and so are counters that fall each time the word passes from one file to the other.
Once that is answered, the other file is silent wherever the chosen one logs.
Within a file the order stays, also where its clock was put back.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from typing import Final

import numpy as np
import numpy.typing as npt

from equipment.shiftlogs.blocks import Block, Integers, RigFacts, Rules
from equipment.shiftlogs.days.instants import concatenate, take
from equipment.shiftlogs.days.reckoning import Reckoned, Reckoner, chosen
from equipment.shiftlogs.days.steps import LONG_US
from equipment.shiftlogs.layout import TOTALS, Question

#: Rows of one file in a row that are passed on by themselves; fewer are laid together with others.
MANY: Final = 1_000

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
    clash = overlap.clash
    if clash is None:
        return reckoned
    line, instant_us = clash
    question = Question(
        key="overlap",
        choices=OVERLAP_CHOICES,
        why="Two files tell of the same time, and do not say the same: first at "
        f"{reckoner.when(instant_us)}, line {line:,} of one of them.",
    )
    # What else is doubtful comes of the two being mixed, or is asked once this is answered.
    return replace(reckoned, questions=(question,))


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
        self._clash: tuple[int, int] | None = None
        #: By counter: the file that spoke last of it, and what it said.
        self._said: dict[str, tuple[int, float]] = {}
        #: Falls of a counter where the word passed from one file to another, with the first.
        self._falls: dict[tuple[str, int, int], list[tuple[int, int]]] = {}
        #: The last row of each file that was laid. [µs]
        self._laid: dict[int, int] = {}

    @property
    def clash(self) -> tuple[int, int] | None:
        """Line and instant of the first contradiction, or None.

        Files that follow each other hand the word on once: a fall there may be a reset.
        """
        falls = [found[0] for found in self._falls.values() if len(found) > 1]
        return min([*falls, *([self._clash] if self._clash else [])], default=None, key=_instant)

    def merged(self, streams: Sequence[Iterable[Block]]) -> Iterator[Block]:
        """Yield all rows in order of time."""
        waiting = [_Stream(blocks, place) for place, blocks in enumerate(streams)]
        waiting = [stream for stream in waiting if stream.block is not None]
        waiting.sort(key=lambda stream: (int(stream.key[0]), stream.place))
        for rank, stream in enumerate(waiting):
            stream.place = rank
        while waiting:
            yield self._next(waiting)
            waiting = [stream for stream in waiting if stream.block is not None]

    def _next(self, waiting: Sequence[_Stream]) -> Block:
        first, *others = sorted(waiting, key=lambda stream: (int(stream.key[0]), stream.place))
        if not others:
            return self._lay([(first.place, *first.upto(int(first.key[-1])))], waiting)
        before = int(others[0].key[0]) - 1
        alone = int(np.searchsorted(first.key, before, side="right"))
        if alone == len(first.key) or alone >= MANY:
            return self._lay([(first.place, *first.upto(before))], waiting)
        # Up to the last row that every stream has fetched, less its own instant: of that there may
        # be more.
        frontier = min(int(stream.key[-1]) for stream in waiting) - 1
        parts = self._fetch(waiting, frontier) or self._whole_instant(waiting, frontier + 1)
        return self._lay(parts, waiting)

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

    def _lay(
        self, parts: Sequence[tuple[int, Block, Integers]], waiting: Sequence[_Stream]
    ) -> Block:
        """Return rows of several files in order of time, those that say the same once."""
        whole = concatenate([block for _, block, _ in parts])
        key = np.concatenate([keys for _, _, keys in parts])
        place = np.concatenate([np.full(len(keys), rank) for rank, _, keys in parts])
        if len({rank for rank, _, _ in parts}) > 1:
            # The first row of an instant in one file meets the first in the other, and so on.
            order = np.lexsort((place, key))
            occurrence = _occurrence(key[order], place[order])
            order = order[np.lexsort((place[order], occurrence, key[order]))]
            whole, key, place = take(whole, order), key[order], place[order]
            occurrence = _occurrence_in_order(key, place)
            meets = np.flatnonzero((key[1:] == key[:-1]) & (occurrence[1:] == occurrence[:-1])) + 1
            meets = meets[whole.instant_us[meets] == whole.instant_us[meets - 1]]
        else:
            meets = np.zeros(0, np.int64)
        keep = np.ones(len(whole), np.bool_)
        if self.choice is not None:
            keep &= ~self._is_silent(key, place, waiting)
        else:
            self._watch(whole, place)
        for rank, _, keys in parts:
            self._laid[rank] = int(keys[-1])
        if len(meets):
            has_running = all(block.running is not None for _, block, _ in parts)
            self._settle(whole, meets, has_running=has_running)
            keep[meets] = True
            keep[meets - 1] = False
        return whole if keep.all() else take(whole, keep)

    def _is_silent(
        self, key: Integers, place: Integers, waiting: Sequence[_Stream]
    ) -> npt.NDArray[np.bool_]:
        """Return which rows lie where a file that goes before theirs logs, row after row."""
        silent = np.zeros(len(key), np.bool_)
        coming = {stream.place: int(stream.key[0]) for stream in waiting if len(stream.key)}
        for rank in {*self._laid, *coming, *place.tolist()}:
            mine = key[place == rank]
            ends = [self._laid[rank]] if rank in self._laid else []
            nexts = [coming[rank]] if rank in coming else []
            rows = np.concatenate((ends, mine, nexts)).astype(np.int64)
            goes_after = place > rank if self.choice == EARLIER else place < rank
            after = np.searchsorted(rows, key, side="right")
            inside = (after > 0) & (after < len(rows))
            step = rows[np.minimum(after, len(rows) - 1)] - rows[np.maximum(after - 1, 0)]
            silent |= goes_after & inside & (step <= LONG_US)
        return silent

    def _watch(self, whole: Block, place: Integers) -> None:
        """Count where a counter falls as another file takes the word."""
        for role in TOTALS:
            if role not in whole.values:
                continue
            there = np.flatnonzero(~np.isnan(whole.values[role]))
            if not len(there):
                continue
            values, ranks = whole.values[role][there], place[there]
            if role in self._said:
                rank, value = self._said[role]
                values, ranks = np.insert(values, 0, value), np.insert(ranks, 0, rank)
                there = np.insert(there, 0, there[0])
            self._said[role] = int(ranks[-1]), float(values[-1])
            passes = (ranks[1:] != ranks[:-1]) & (values[1:] < values[:-1])
            for at in (np.flatnonzero(passes) + 1).tolist():
                found = self._falls.setdefault((role, int(ranks[at - 1]), int(ranks[at])), [])
                if len(found) < 2:
                    row = there[at]
                    found.append((int(whole.line[row]), int(whole.instant_us[row])))

    def _settle(self, whole: Block, meets: Integers, *, has_running: bool) -> None:
        """Make one of each row of `meets` and the row before it, in the later of the two."""
        # Where more than two files meet, the second and third are made one after the first two.
        chain = _occurrence(meets - np.arange(len(meets)), np.zeros(len(meets), np.int64))
        for link in range(int(chain.max(initial=-1)) + 1):
            self._make_one(whole, meets[chain == link], has_running=has_running)

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
        if self._clash is None and self.choice is None and clash.any():
            at = later[clash][0]
            self._clash = int(whole.line[at]), int(whole.instant_us[at])
        later_wins = clash & (self.choice == LATER)
        for values in whole.values.values():
            mine, theirs = values[later], values[earlier]
            first, second = np.where(later_wins, mine, theirs), np.where(later_wins, theirs, mine)
            values[later] = np.where(np.isnan(first), second, first)
        if whole.running is not None:
            whole.running[later] = np.where(
                later_wins, whole.running[later], whole.running[earlier]
            )


def _instant(clash: tuple[int, int]) -> int:
    return clash[1]


def _occurrence(key: Integers, place: Integers) -> Integers:
    """Return for rows in order of key and place how many of the same lie before each."""
    new = np.ones(len(key), np.bool_)
    new[1:] = (key[1:] != key[:-1]) | (place[1:] != place[:-1])
    starts = np.flatnonzero(new)
    return np.arange(len(key)) - np.repeat(starts, np.diff(np.append(starts, len(key))))


def _occurrence_in_order(key: Integers, place: Integers) -> Integers:
    """Return the same for rows that lie in order of key, occurrence and place."""
    order = np.lexsort((np.arange(len(key)), place, key))
    occurrence = np.empty(len(key), np.int64)
    occurrence[order] = _occurrence(key[order], place[order])
    return occurrence
