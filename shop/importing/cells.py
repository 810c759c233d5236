"""What stands in one cell of an import file, as a value; or why it cannot be one, in plain words.

A cell of CSV is text; a cell of a workbook may also be a number, a day or a time of day. Numbers
of a workbook are turned into decimals by their shortest text, so that 0.1 stays 0.1.
"""

import re
from collections.abc import Callable, Mapping
from datetime import date, datetime, time
from decimal import Decimal, InvalidOperation
from typing import Final

from dateutil import parser as words

Cell = str | int | float | bool | date | datetime | time | None

YES: Final = frozenset({"yes", "y", "true", "x", "1"})
NO: Final = frozenset({"", "no", "n", "false", "0"})
EARLIEST: Final = date(1970, 1, 1)
LATEST: Final = date(2099, 12, 31)
MOST: Final = Decimal(10) ** 9

_ISO = re.compile(r"(\d{4})-(\d{1,2})-(\d{1,2})")
_THREE_NUMBERS = re.compile(r"(\d{1,2})[./-](\d{1,2})[./-](\d{4})")
_SHORT_YEAR = re.compile(r"\d{1,2}[./-]\d{1,2}[./-]\d{2}")
_TIME = re.compile(r"(\d{1,2})[:.](\d{2})(?::(\d{2}))?\s*([ap])?\.?m?\.?", re.IGNORECASE)
_THOUSANDS = re.compile(r"-?[1-9]\d{0,2}(,\d{3})+(\.\d+)?")


class CellRefused(ValueError):
    """A cell that cannot be taken; its text is meant for the person."""


def as_text(cell: Cell) -> str:
    """Return a cell as text, without spaces around it. A number keeps no empty decimals."""
    if cell is None:
        return ""
    if isinstance(cell, bool):
        return "yes" if cell else "no"
    if isinstance(cell, float):
        return f"{_decimal(cell).normalize():f}"
    if isinstance(cell, datetime) and cell.time() == time():
        return cell.date().isoformat()
    return str(cell).strip()


def text(most: int) -> Callable[[Cell], str]:
    """Return the reader of a text with at most so many characters."""

    def read(cell: Cell) -> str:
        value = as_text(cell)
        if len(value) > most:
            raise CellRefused(f"At most {most} characters; this has {len(value)}.")
        if "\x00" in value:
            raise CellRefused("This holds a character that is no text.")
        return value

    return read


def long_text(cell: Cell) -> str:
    """Read a text of any reasonable length."""
    return text(2000)(cell)


def number(cell: Cell) -> Decimal:
    """Read a number of zero or more."""
    if isinstance(cell, (int, float)) and not isinstance(cell, bool):
        value = _decimal(cell)
    else:
        typed = as_text(cell)
        if _THOUSANDS.fullmatch(typed):
            typed = typed.replace(",", "")
        if "," in typed:
            raise CellRefused(f"“{typed}” has a comma. Write the number like 1234.5.")
        value = _decimal(typed)
    if value < 0:
        raise CellRefused(f"{value:f} is below zero.")
    if value >= MOST:
        raise CellRefused(f"{value:f} is too large.")
    return value


def whole_number(least: int, most: int) -> Callable[[Cell], int]:
    """Return the reader of a whole number between two others."""

    def read(cell: Cell) -> int:
        value = number(cell)
        if value != value.to_integral_value():
            raise CellRefused(f"{value:f} is not a whole number.")
        if not least <= value <= most:
            raise CellRefused(f"{value:f} is not between {least} and {most}.")
        return int(value)

    return read


def yes_or_no(cell: Cell) -> bool:
    """Read yes or no; nothing means no."""
    typed = as_text(cell).casefold()
    if typed in YES:
        return True
    if typed in NO:
        return False
    raise CellRefused(f"“{as_text(cell)}” is neither yes nor no.")


def one_of(choices: Mapping[str, str]) -> Callable[[Cell], str]:
    """Return the reader of one of these words; each stands for a value."""

    def read(cell: Cell) -> str:
        typed = " ".join(as_text(cell).casefold().split())
        if typed not in choices:
            known = ", ".join(word for word in choices if word)
            raise CellRefused(f"“{as_text(cell)}” is none of: {known}.")
        return choices[typed]

    return read


def day(cell: Cell) -> date:
    """Read a day. Where day and month could be swapped, it asks instead of guessing."""
    if isinstance(cell, datetime):
        return _sensible(cell.date())
    if isinstance(cell, date):
        return _sensible(cell)
    typed = as_text(cell)
    if iso := _ISO.fullmatch(typed):
        return _day(typed, *(int(part) for part in iso.groups()))
    if three := _THREE_NUMBERS.fullmatch(typed):
        first, second, year = (int(part) for part in three.groups())
        if first <= 12 and second <= 12 and first != second:
            a, b = _day(typed, year, first, second), _day(typed, year, second, first)
            raise CellRefused(
                f"{typed} could be {a:%B} {a.day} or {b:%B} {b.day}: "
                f"write {a.isoformat()} or {b.isoformat()}."
            )
        month, day_of_month = (first, second) if first <= 12 else (second, first)
        return _day(typed, year, month, day_of_month)
    if _SHORT_YEAR.fullmatch(typed):
        raise CellRefused(f"Write the year of {typed} with four digits.")
    if re.search(r"[a-z]{3}", typed, re.IGNORECASE) and re.search(r"\b\d{4}\b", typed):
        try:
            return _sensible(words.parse(typed, default=datetime(1970, 1, 1)).date())  # noqa: DTZ001
        except (words.ParserError, OverflowError) as unread:
            raise CellRefused(f"“{typed}” is not a day. Write it like 2026-03-04.") from unread
    raise CellRefused(f"“{typed}” is not a day. Write it like 2026-03-04.")


def time_of_day(cell: Cell) -> time:
    """Read a time of day: 14:30, 2:30 pm."""
    if isinstance(cell, datetime):
        return cell.time().replace(microsecond=0)
    if isinstance(cell, time):
        return cell.replace(microsecond=0)
    typed = as_text(cell)
    found = _TIME.fullmatch(typed)
    if found:
        hour, minute, second = int(found[1]), int(found[2]), int(found[3] or 0)
        if found[4] and 1 <= hour <= 12:
            hour = hour % 12 + (12 if found[4].lower() == "p" else 0)
        if hour < 24 and minute < 60 and second < 60:
            return time(hour, minute, second)
    raise CellRefused(f"“{typed}” is not a time of day. Write it like 14:30.")


def _decimal(typed: str | float) -> Decimal:
    try:
        value = Decimal(str(typed))
    except InvalidOperation as unread:
        raise CellRefused(f"“{typed}” is not a number. Write it like 1234.5.") from unread
    if not value.is_finite():
        raise CellRefused(f"“{typed}” is not a number. Write it like 1234.5.")
    return value


def _day(typed: str, year: int, month: int, day_of_month: int) -> date:
    try:
        return _sensible(date(year, month, day_of_month))
    except ValueError as unread:
        if isinstance(unread, CellRefused):
            raise
        raise CellRefused(f"There is no such day as {typed}.") from unread


def _sensible(given: date) -> date:
    if not EARLIEST <= given <= LATEST:
        raise CellRefused(f"The year {given.year} cannot be right.")
    return given
