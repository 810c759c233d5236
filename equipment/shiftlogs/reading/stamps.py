"""The times of many rows at once, where they are written alike.

The cells of one log that say when are alike but for a few digits: minutes, seconds and fractions
change from row to row, all else once an hour. So those digits are read in columns, from the bytes
themselves, and the rest by `Cells.when` where it changes.
"""

import re
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from equipment.shiftlogs.blocks import Integers
from equipment.shiftlogs.reading.lines import Cells, Unreadable
from equipment.shiftlogs.reading.rows import NO_OFFSET
from equipment.shiftlogs.reading.zones import SECOND_US

Words = npt.NDArray[np.uint64]

#: The longest stretch of cells that say when. [bytes]
LONGEST: Final = 120
#: How often cells may change their length within a piece.
SHAPES: Final = 64

#: Minutes, seconds and fraction of a time of day, in a row's own bytes.
_FORMS: Final = (
    re.compile(rb"\d[:h](\d\d)(?:[:m](\d\d)(?:[.,:](\d{1,9}))?)?(?!\d)"),
    re.compile(rb"(?<![\d.])\d{1,2}\.(\d\d)\.(\d\d)(?:,(\d{1,9}))?(?![\d.])"),
    re.compile(rb"(?<!\d)(?:\d{8}[T _-]?)?\d\d(\d\d)(\d\d)(?!\d)"),
)


@dataclass(frozen=True, slots=True)
class Stamps:
    """When rows were written: see `rows.Rows`. dots: full stops in the cells that say so."""

    when_us: Integers
    offset_us: Integers | None
    dots: int


def stamps(
    text: bytes, starts: Integers, *, cells: Cells, places: tuple[int, ...], separator: bytes
) -> Stamps | None:
    """Return the times of rows, or None where they are not written alike.

    starts: where in the text the rows begin, ascending. places: of the cells that say when: the
    first of each row. separator: what parts and ends them.
    """
    if len(starts) == 0:
        return None
    when_us = np.empty(len(starts), dtype=np.int64)
    offset_us: Integers | None = None
    done = shapes = dots = 0
    while done < len(starts):
        shape = _shape(text, int(starts[done]), len(places), separator)
        if shape is None or shapes == SHAPES:
            return None
        shapes += 1
        alike = _Alike(text, starts[done:], shape)
        for begins, ends in alike.stretches():
            row = alike.row(begins)
            base = _base(row, shape, cells, places, separator)
            if base is None:
                return None
            when_us[done + begins : done + ends] = base[0]
            if base[1] is not None and offset_us is None:
                offset_us = np.full(len(starts), NO_OFFSET, dtype=np.int64)
            if offset_us is not None and base[1] is not None:
                offset_us[done + begins : done + ends] = base[1]
            dots += row.count(b".") * (ends - begins)
        within = alike.within_us()
        if within is None:
            return None
        when_us[done : done + alike.count] += within
        done += alike.count
    return Stamps(when_us, offset_us, dots)


@dataclass(frozen=True, slots=True)
class _Shape:
    """How the cells that say when are written.

    length: of them all, with the separator behind each. [bytes]
    digits: place and worth of each digit that changes from row to row. [µs]
    """

    length: int
    digits: tuple[tuple[int, int], ...]

    @property
    def places(self) -> frozenset[int]:
        return frozenset(place for place, _ in self.digits)


def _shape(text: bytes, start: int, count: int, separator: bytes) -> _Shape | None:
    """Return the shape of the cells that begin a row."""
    line = text[start : start + LONGEST].partition(b"\n")[0]
    bounds = []
    end = -1
    for _ in range(count):
        begin, end = end + 1, line.find(separator, end + 1)
        if end < 0:
            # The last cell of a line: its end is that of the line.
            end = len(line)
        bounds.append((begin, end))
    if end + 1 > LONGEST - 1:
        return None
    for form in _FORMS:
        for bound in bounds:
            if match := form.search(line, *bound):
                return _Shape(end + 1, tuple(_worths(match)))
    return None


def _worths(match: re.Match[bytes]) -> Iterator[tuple[int, int]]:
    minute, second, *fraction = range(1, len(match.groups()) + 1)
    for group, worth in ((minute, 60 * SECOND_US), (second, SECOND_US)):
        if match.group(group):
            yield match.start(group), worth * 10
            yield match.start(group) + 1, worth
    for group in fraction:
        for place in range(*match.span(group)) if match.group(group) else ():
            yield place, SECOND_US // 10 ** (place - match.start(group) + 1)


def _base(
    row: bytes, shape: _Shape, cells: Cells, places: tuple[int, ...], separator: bytes
) -> tuple[int, int | None] | None:
    """Return when a row would have been written with noughts for the digits that change."""
    noughts, others = bytearray(row), bytearray(row)
    worth = 0
    for place, each in shape.digits:
        noughts[place] = 0x30
        # Any other digits must count as much as was thought, or they are no minutes and seconds.
        others[place] = 0x31
        worth += each
    base = _when(bytes(noughts), cells, places, separator)
    other = _when(bytes(others), cells, places, separator)
    if base is None or other is None or other[0] - base[0] != worth or other[1] != base[1]:
        return None
    return base


def _when(
    row: bytes, cells: Cells, places: tuple[int, ...], separator: bytes
) -> tuple[int, int | None] | None:
    try:
        found = row.decode("utf-8").rstrip("\r").split(separator.decode())
        line = [""] * cells.layout.width
        for place, cell in zip(places, found, strict=True):
            line[place] = cell
        return cells.when(line)
    except (Unreadable, UnicodeDecodeError, ValueError):
        return None


class _Alike:
    """The first rows that have one shape, by words of eight bytes.

    count: how many those are.
    """

    def __init__(self, text: bytes, starts: Integers, shape: _Shape) -> None:
        size = (shape.length + 7) // 8 * 8
        if int(starts[-1]) + size > len(text):
            text += bytes(size)
        self.text = text
        self.starts = starts
        self.shape = shape
        self.count = len(starts)
        # One copy of so many bytes for each row is much quicker than one for each word.
        window = np.ndarray((len(text) - size + 1,), f"V{size}", text, strides=(1,))
        self.words: Words = window[starts].view("<u8").reshape(len(starts), size // 8)
        fixed = np.array([_mask(shape, first) for first in range(0, size, 8)], dtype="<u8")
        changes = (self.words[1:] ^ self.words[:-1]) & fixed
        changed = changes[:, 0]
        for place in range(1, size // 8):
            changed = changed | changes[:, place]
        self._changes = [0, *(np.flatnonzero(changed) + 1).tolist()]

    def stretches(self) -> Iterator[tuple[int, int]]:
        """From and until which row all but the digits is the same; ends where the shape does."""
        ends = [*self._changes[1:], len(self.starts)]
        for begins, end in zip(self._changes, ends, strict=True):
            if begins and not self._has_shape(begins):
                self.count = begins
                return
            yield begins, end

    def _has_shape(self, index: int) -> bool:
        """A row whose other bytes changed has its separators and its digits where they were."""
        start = int(self.starts[index])
        first = int(self.starts[0])
        length = self.shape.length
        row, known = (self.text[each : each + length] for each in (start, first))
        return all(_is_like(now, then) for now, then in zip(row, known, strict=True))

    def row(self, index: int) -> bytes:
        """Return the cells of a row that say when."""
        start = int(self.starts[index])
        return self.text[start : start + self.shape.length - 1]

    def within_us(self) -> Integers | None:
        """Return what the digits are worth that change, None where one is none. [µs]"""
        total = np.zeros(self.count, dtype=np.int64)
        for place, worth in self.shape.digits:
            digit = (self.words[: self.count, place // 8] >> np.uint64(8 * (place % 8))) & _BYTE
            digit -= _NOUGHT
            # Bytes below “0” wrap to huge numbers.
            highest = 5 if worth in (600 * SECOND_US, 10 * SECOND_US) else 9
            if int(digit.max()) > highest:
                return None
            total += digit.view(np.int64) * worth
        return total


def _is_like(now: int, then: int) -> bool:
    """Digits stand for digits and letters for letters; what parts them stays."""
    return (
        now == then
        or all(_is_digit(each) for each in (now, then))
        or (all(_is_letter(each) for each in (now, then)))
    )


def _is_digit(byte: int) -> bool:
    return 0x30 <= byte <= 0x39


def _is_letter(byte: int) -> bool:
    return 0x61 <= byte | 0x20 <= 0x7A or byte >= 0x80


_BYTE: Final = np.uint64(0xFF)
_NOUGHT: Final = np.uint64(0x30)


def _mask(shape: _Shape, first: int) -> int:
    """Return which bits of a word are the same in rows that differ in their digits alone."""
    return sum(
        0xFF << (8 * place)
        for place in range(8)
        if first + place < shape.length and first + place not in shape.places
    )
