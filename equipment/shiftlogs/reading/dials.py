"""Times of day to wall times, in columns: where no cell says which day or which half of it."""

from typing import Final

import numpy as np

from equipment.shiftlogs.blocks import Integers
from equipment.shiftlogs.guessing.cells import DAY_US

#: A time of day that falls by more than this began a new turn of the dial; one that falls by less
#: was put back (an hour in autumn, minutes by hand). [µs]
TURN_US: Final = 2 * 3_600_000_000


class Turning:
    """Times of day alone, in order: each turn of the dial comes after the one before.

    begins_us: wall time at which the turn of the first row begins. turn_us: a day, or half of one
    where nothing tells the halves apart.
    """

    def __init__(self, *, begins_us: int, turn_us: int) -> None:
        self.begins_us = begins_us
        self.turn_us = turn_us
        self._last_us: int | None = None

    def wall(self, daytime_us: Integers) -> Integers:
        """Return the wall times of the next rows. [µs]"""
        within = daytime_us % self.turn_us if self.turn_us < DAY_US else daytime_us
        falls = _falls(within, self._last_us)
        turns = np.cumsum(falls)
        wall_us: Integers = within + (self.begins_us + turns * self.turn_us)
        self.begins_us += int(turns[-1]) * self.turn_us
        self._last_us = int(within[-1])
        return wall_us


class Halves:
    """Dates with times of day on a dial of twelve hours, and nothing that tells the halves apart.

    is_afternoon: the first row lies in the second half of its day. Every other day begins in its
    first half, and goes on in its second where the dial begins again.
    """

    def __init__(self, *, is_afternoon: bool) -> None:
        self._half = int(is_afternoon)
        self._last_us: int | None = None
        self._day: int | None = None

    def wall(self, dated_us: Integers) -> Integers:
        """Return the wall times of the next rows. [µs]"""
        half_us = DAY_US // 2
        days, daytime = np.divmod(dated_us, DAY_US)
        within = daytime % half_us
        is_new = np.diff(days, prepend=days[0] if self._day is None else self._day) != 0
        falls = _falls(within, self._last_us)
        half = np.empty_like(within)
        begin = 0
        for place in np.flatnonzero(is_new | falls).tolist():
            half[begin:place] = self._half
            self._half = 0 if is_new[place] else 1
            begin = place
        half[begin:] = self._half
        self._last_us = int(within[-1])
        self._day = int(days[-1])
        wall_us: Integers = days * DAY_US + half * half_us + within
        return wall_us


def _falls(within: Integers, last: int | None) -> "np.ndarray[tuple[int], np.dtype[np.bool_]]":
    """Return where a time of day is far below that of the row before."""
    return np.diff(within, prepend=within[0] if last is None else last) < -TURN_US
