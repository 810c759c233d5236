"""One line of a log to its cells, and what they say: what both ways of reading hold to."""

import csv
import re
from datetime import date as Date
from datetime import tzinfo
from typing import Final
from zoneinfo import ZoneInfo

import numpy as np

from equipment.shiftlogs.blocks import Floats, Integers
from equipment.shiftlogs.guessing.cells import (
    DAY_US,
    DateCell,
    number,
    plain,
    read_clock,
    read_date,
    read_moment,
)
from equipment.shiftlogs.guessing.zone_names import ABBREVIATIONS, offset_of, place_of
from equipment.shiftlogs.layout import RUNNING, Layout
from equipment.shiftlogs.reading.rows import RUNNING_WORDS, STOPPED_WORDS, Plan
from equipment.shiftlogs.reading.zones import ahead_us, parted_us

EPOCH_ORDINAL: Final = Date(1970, 1, 1).toordinal()
#: The most states that a running column is said to have shown, and the longest.
STATES: Final = 50
STATE_LENGTH: Final = 60
_SPAN: Final = re.compile(r"(\d{1,6}):(\d\d)(?::(\d\d)(?:[.,](\d{1,9}))?)?", re.ASCII)


class Unreadable(Exception):
    """Why a row is bad, as a clause. is_time: the row has no time that could be read."""

    def __init__(self, reason: str, *, is_time: bool = False) -> None:
        self.is_time = is_time
        super().__init__(reason)


class WrongOrder(Unreadable):
    """A date that is one in another order of day and month only. text: the cell."""

    def __init__(self, reason: str, text: str) -> None:
        self.text = text
        super().__init__(reason, is_time=True)


class Cells:
    """Reads lines and cells of one layout; keeps nothing but states it does not know.

    zone: whose wall times the file has. unknown_states: what a running column said that is neither
    a word for running nor for stopped.
    """

    def __init__(self, layout: Layout, plan: Plan, *, zone: tzinfo) -> None:
        self.layout = layout
        self.plan = plan
        self.zone = zone
        self.unknown_states: set[str] = set()
        self.missing = frozenset(plain(each) for each in layout.missing) | {""}
        self._has_halves = layout.clock == "12"
        #: The one word that means that the rig runs, where the layout knows it.
        self._runs = getattr(layout.column(RUNNING), "unit", "")

    def split(self, line: str) -> list[str]:
        """Return the cells of a line that is not blank. Raises Unreadable for a wrong number."""
        layout = self.layout
        if "\r" in line:
            # Lines end at LF here, and Python's csv ends them at CR too.
            line = line.replace("\r", " ")
        if layout.delimiter == " ":
            line = " ".join(line.split())
        if '"' in line:
            reader = csv.reader([line], delimiter=layout.delimiter, skipinitialspace=True)
            try:
                cells = next(reader, [])
            except csv.Error as error:
                raise Unreadable("its quotation marks do not match") from error
        else:
            cells = line.split(layout.delimiter)
        if len(cells) != layout.width:
            raise Unreadable(
                f"it has {len(cells)} cells, not {layout.width}", is_time=not self._has_time(cells)
            )
        return cells

    def _has_time(self, cells: list[str]) -> bool:
        """The cells that are there begin as those of a row do."""
        try:
            self.when(cells)
        except (Unreadable, IndexError):
            return False
        return True

    def timed(self, cells: list[str]) -> list[str]:
        """Return those that say when."""
        plan = self.plan
        return [
            cells[place]
            for place in (plan.date, *plan.more_dates, *plan.clock, plan.counted)
            if place is not None
        ]

    def when(self, cells: list[str]) -> tuple[int, int | None]:
        """Return when a row was written, as Plan.kind says, and its offset from UTC. [µs]"""
        plan = self.plan
        if plan.is_one_cell:
            when, zone = self._moment(cells[plan.clock[0]])
        elif plan.clock:
            when, zone = self._clock(" ".join(cells[place] for place in plan.clock))
        else:
            assert plan.counted is not None
            when, zone = self._counted(cells[plan.counted].strip()), ""
        if plan.date is not None and not plan.is_one_cell:
            parts = (plan.date, *plan.more_dates)
            when += self._date(" ".join(cells[place] for place in parts)) * DAY_US
        if plan.zone is not None:
            zone = cells[plan.zone].strip() or zone
        return when, self._ahead(zone, when) if zone else None

    def _moment(self, text: str) -> tuple[int, str]:
        """Return a date and time of day of one cell, and the zone as written. [µs]"""
        both = read_moment(text)
        if both is None:
            # Some programs write midnight as the date alone.
            day = None if self._has_halves else read_date(text.strip())
            if day is None:
                raise Unreadable(f"its time cannot be read: {quoted(text)}", is_time=True)
            return self._day_number(day, text) * DAY_US, ""
        day, clock = both
        if self._has_halves and not clock.meridiem:
            raise Unreadable(f"neither AM nor PM stands beside {quoted(text)}", is_time=True)
        return self._day_number(day, text) * DAY_US + clock.us, clock.zone

    def _clock(self, text: str) -> tuple[int, str]:
        """Return the time of day of a cell, and the zone as written. [µs]"""
        clock = read_clock(text)
        if clock is None and self.plan.date is not None and (both := read_moment(text)):
            # Some programs write a date of 1899 or of the day itself beside the time.
            clock = both[1]
        if clock is None:
            raise Unreadable(f"its time cannot be read: {quoted(text)}", is_time=True)
        if self._has_halves and not clock.meridiem:
            raise Unreadable(f"neither AM nor PM stands beside {quoted(text)}", is_time=True)
        return clock.us, clock.zone

    def _date(self, text: str) -> int:
        """Return the days since 1970-01-01 of a cell with a date, beside whatever time."""
        day = read_date(text.strip())
        if day is None and (both := read_moment(text)):
            # Some programs write midnight behind every date.
            day = both[0]
        if day is None:
            raise Unreadable(f"its date cannot be read: {quoted(text)}", is_time=True)
        return self._day_number(day, text)

    def _day_number(self, day: DateCell, text: str) -> int:
        """Return the days since 1970-01-01 of a date in the order of the layout."""
        order = self.layout.date_order
        if not order and len(day.orders) == 1:
            order = day.orders[0]
        found = day.day(order) if order in day.orders else None
        if found is None:
            raise WrongOrder(f"its date is none in this order: {quoted(text)}", text.strip())
        return found.toordinal() - EPOCH_ORDINAL

    def _counted(self, text: str) -> int:
        if not self.plan.unit_us:
            match = _SPAN.fullmatch(text)
            if match is None:
                raise Unreadable(f"its time cannot be read: {quoted(text)}", is_time=True)
            hours, minutes, seconds = (int(each or 0) for each in match.groups()[:3])
            micro = int((match[4] or "")[:6].ljust(6, "0"))
            return ((hours * 60 + minutes) * 60 + seconds) * 1_000_000 + micro
        value = self._number_in(text)
        counted = None
        if value is not None:
            counted = counted_us(np.array([value]), self.plan.unit_us)
        if counted is None:
            raise Unreadable(f"its time cannot be read: {quoted(text)}", is_time=True)
        return int(counted[0])

    def _ahead(self, zone: str, wall_us: int) -> int | None:
        """Return how far a zone as a cell names it is ahead of UTC; None for the layout's. [µs]"""
        if offset := offset_of(zone):
            return parted_us(offset)
        if place := place_of(zone):
            return ahead_us(ZoneInfo(place), wall_us)[0]
        meanings = ABBREVIATIONS.get(zone.upper())
        if meanings is None:
            raise Unreadable(f"its zone cannot be read: {quoted(zone)}", is_time=True)
        # CST and CDT tell the two passes of a repeated hour apart; what else they mean was asked.
        here = ahead_us(self.zone, wall_us)
        return next((each for meaning in meanings if (each := parted_us(meaning[0])) in here), None)

    def is_number(self, text: str) -> bool:
        return plain(text) not in self.missing and self._number_in(text) is not None

    def _number_in(self, text: str) -> float | None:
        value = number(text, decimal=self.layout.decimal, grouping=self.layout.grouping)
        # More digits than a float holds are no measurement.
        return None if value in (np.inf, -np.inf) else value

    def number(self, cell: str) -> float:
        """Return the number of a cell, NaN for none. Raises Unreadable."""
        if cell in self.missing:
            return np.nan
        value = self._number_in(cell)
        if value is None:
            if plain(cell) in self.missing:
                return np.nan
            raise Unreadable(f"{quoted(cell)} is no number")
        return value

    def running(self, cell: str) -> bool:
        """Return whether a cell says that the rig runs; so it does where the word is not known."""
        text = cell.strip().casefold()
        if self._runs:
            return text == self._runs
        if text in RUNNING_WORDS:
            return True
        if text in STOPPED_WORDS or plain(text) in self.missing:
            return False
        value = self._number_in(text)
        if value is not None:
            return value != 0
        if len(self.unknown_states) < STATES:
            self.unknown_states.add(text[:STATE_LENGTH])
        return True


def counted_us(values: Floats, unit_us: int) -> Integers | None:
    """Return numbers of a unit of time, whole, None where one is far from any log. [µs]"""
    counted = values * float(unit_us)
    # The year 2200, from 1970.
    if not (np.abs(counted) < 7.25e15).all():
        return None
    whole: Integers = np.rint(counted).astype(np.int64)
    return whole


def quoted(text: str) -> str:
    """Return a cell as it is shown in a sentence."""
    text = text.strip()
    return f"“{text[:40]}…”" if len(text) > 40 else f"“{text}”"
