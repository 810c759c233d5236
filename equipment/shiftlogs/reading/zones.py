"""Wall times to instants and back, in columns: exact through every change of the clock."""

from bisect import bisect_right
from collections.abc import Mapping
from datetime import UTC, datetime, timedelta, timezone, tzinfo
from functools import lru_cache
from typing import Final
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

import numpy as np

from equipment.shiftlogs.blocks import Integers
from equipment.shiftlogs.guessing.cells import DAY_US
from equipment.shiftlogs.guessing.zone_names import offset_of, place_of
from equipment.shiftlogs.layout import LogRefused

SECOND_US: Final = 1_000_000
EPOCH: Final = datetime(1970, 1, 1, tzinfo=UTC)
#: A step back inside the repeated hour, from which on it is its second pass. Less is a clock that
#: was set right. [µs]
PASS_US: Final = 120 * SECOND_US
_NEVER: Final = (np.iinfo(np.int64).max, 0)


def zone_named(name: str, *, shop: ZoneInfo) -> tzinfo:
    """Return the zone that a layout names: "" for the shop's. Raises LogRefused."""
    if not name or name.casefold() == "shop":
        return shop
    if offset := offset_of(name):
        return timezone(timedelta(microseconds=parted_us(offset)))
    try:
        return ZoneInfo(place_of(name) or name)
    except (ZoneInfoNotFoundError, ValueError, OSError) as error:
        raise LogRefused(f"This program knows no time zone “{name[:60]}”.") from error


def parted_us(offset: str) -> int:
    """Return an offset that is written as "+02:00". [µs]"""
    minutes = int(offset[1:3]) * 60 + int(offset[4:6])
    return (-minutes if offset[0] == "-" else minutes) * 60 * SECOND_US


def ahead_us(zone: tzinfo, wall_us: int) -> tuple[int, int]:
    """Return how far a zone is ahead of UTC at a wall time: its first and its second pass. [µs]"""
    wall = EPOCH.replace(tzinfo=zone) + timedelta(microseconds=wall_us)
    first, second = (wall.replace(fold=fold).utcoffset() or timedelta() for fold in (0, 1))
    return first // timedelta(microseconds=1), second // timedelta(microseconds=1)


class Changes:
    """When the clocks of a zone change, for a span of years.

    at_us: instants of the changes, ascending, after one that stands for the beginning. [µs]
    ahead_us: how far the zone is ahead of UTC from each on. [µs]
    """

    def __init__(self, zone: tzinfo, *, first_year: int, last_year: int) -> None:
        at = [np.iinfo(np.int64).min // 2]
        start = datetime(first_year, 1, 1, tzinfo=UTC) - timedelta(days=7)
        end = datetime(last_year + 1, 1, 1, tzinfo=UTC) + timedelta(days=7)
        ahead = [_ahead(zone, start)]
        step = timedelta(days=1)
        while start < end:
            if _ahead(zone, start + step) != ahead[-1]:
                change = _change_between(zone, start, start + step)
                at.append((change - EPOCH) // timedelta(microseconds=1))
                ahead.append(_ahead(zone, change))
            start += step
        self.at_us = np.array(at, dtype=np.int64)
        self.ahead_us = np.array(ahead, dtype=np.int64)
        before = self.ahead_us[:-1]
        #: From which wall time on each offset holds for certain, or is the first pass no more.
        self.walls_us = self.at_us.copy()
        self.walls_us[1:] += np.maximum(before, self.ahead_us[1:])
        #: By its place, the wall times that a change lets the clock show twice: [from, until).
        self.twice_us: Mapping[int, tuple[int, int]] = {
            place: (int(self.at_us[place] + ahead[place]), int(self.walls_us[place]))
            for place in range(1, len(at))
            if ahead[place] < ahead[place - 1]
        }

    def ahead_at(self, instants_us: Integers) -> Integers | int:
        """Return how far the zone is ahead of UTC at instants. [µs]"""
        low, high = int(instants_us.min()), int(instants_us.max())
        first = bisect_right(self.at_us, low) - 1
        if first == bisect_right(self.at_us, high) - 1:
            return int(self.ahead_us[first])
        found: Integers = self.ahead_us[np.searchsorted(self.at_us, instants_us, "right") - 1]
        return found


@lru_cache(maxsize=64)
def changes(zone: tzinfo, first_year: int, last_year: int) -> Changes:
    """Return the changes of a zone in a span of years, kept."""
    return Changes(zone, first_year=first_year, last_year=last_year)


def changes_around(zone: tzinfo, when_us: Integers) -> Changes:
    """Return the changes of a zone around wall times or instants."""
    low, high = ((EPOCH + timedelta(microseconds=each)).year for each in _ends(when_us))
    return changes(zone, low, high)


class Wall:
    """Turns the wall times of one log, in order, into instants.

    A wall time that the clock shows twice is of the first pass until the clock steps back inside
    the repeated hour, and of the second from there on. One that the clock skips in spring is
    counted from the hour before, so that a clock that was put forward late loses nothing.
    skipped: how many such there were.
    """

    def __init__(self, zone: tzinfo) -> None:
        self.zone = zone
        self.skipped = 0
        self._last_us: int | None = None
        #: Changes that the clock has gone through a second time.
        self._second: int | None = None

    def instants(self, wall_us: Integers) -> Integers:
        """Return the instants of the next wall times. [µs]"""
        if not len(wall_us):
            return wall_us
        known = changes_around(self.zone, wall_us)
        low, high = _ends(wall_us)
        first = bisect_right(known.walls_us, low) - 1
        last = bisect_right(known.walls_us, high) - 1
        if first == last and high < known.twice_us.get(first + 1, _NEVER)[0]:
            found: Integers = wall_us - known.ahead_us[first]
        else:
            place = np.searchsorted(known.walls_us, wall_us, "right") - 1
            for each, (begins, ends) in known.twice_us.items():
                if begins <= high and low < ends:
                    self._passes(each, begins, ends, wall_us, place, int(known.at_us[each]))
            found = wall_us - known.ahead_us[place]
            self._count_skipped(known, wall_us, place)
        self._last_us = int(wall_us[-1])
        return found

    def _passes(
        self, change: int, begins: int, ends: int, wall_us: Integers, place: Integers, at: int
    ) -> None:
        """Tell the two passes of a repeated hour apart, and write them into `place`."""
        within = np.flatnonzero((wall_us >= begins) & (wall_us < ends))
        for index in within.tolist():
            now = int(wall_us[index])
            before = self._last_us if index == 0 else int(wall_us[index - 1])
            if before is not None:
                if begins <= before < ends:
                    if now <= before - PASS_US:
                        self._second = at
                elif before < begins:
                    # Told by the row before that it has not come yet.
                    self._second = None if self._second == at else self._second
                elif now <= before - PASS_US:
                    # The clock showed the end of the hour once, and shows its inside again.
                    self._second = at
            if self._second == at:
                place[index] = change

    def _count_skipped(self, known: Changes, wall_us: Integers, place: Integers) -> None:
        for each in range(1, len(known.at_us)):
            if known.ahead_us[each] > known.ahead_us[each - 1]:
                begins = int(known.at_us[each] + known.ahead_us[each - 1])
                ends = int(known.walls_us[each])
                self.skipped += int(np.count_nonzero((wall_us >= begins) & (wall_us < ends)))


def days_of(instants_us: Integers, zone: tzinfo) -> Integers:
    """Return the calendar day in a zone at instants, as days since 1970-01-01."""
    if not len(instants_us):
        return instants_us
    ahead = changes_around(zone, instants_us).ahead_at(instants_us)
    return whole_days(instants_us + ahead)


def whole_days(wall_us: Integers) -> Integers:
    """Return the days since 1970-01-01 of wall times, most of which are of one or two days."""
    low, high = (each // DAY_US for each in _ends(wall_us))
    if low == high:
        return np.full(len(wall_us), low, dtype=np.int64)
    found: Integers = wall_us // DAY_US
    return found


def _ends(values: Integers) -> tuple[int, int]:
    return int(values.min()), int(values.max())


def _ahead(zone: tzinfo, at: datetime) -> int:
    """Return how far a zone is ahead of UTC at an instant. [µs]"""
    return (at.astimezone(zone).utcoffset() or timedelta()) // timedelta(microseconds=1)


def _change_between(zone: tzinfo, start: datetime, end: datetime) -> datetime:
    """Return the first second of the offset that holds at `end` and not at `start`."""
    offset_before = _ahead(zone, start)
    while end - start > timedelta(seconds=1):
        middle = start + (end - start) // 2
        middle = middle.replace(microsecond=0)
        if _ahead(zone, middle) == offset_before:
            start = middle
        else:
            end = middle
    return end
