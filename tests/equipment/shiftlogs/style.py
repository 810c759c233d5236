"""How a controller writes its log: columns, moments, numbers, and what stands around the rows."""

import csv
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Final, Literal

from . import headings

#: Canonical units to those of a cell, as value × factor + offset; NIST SP 811 (2008), Appendix B:
#: 1 psi = 6.894757 kPa, t/°C = (t/°F − 32)/1.8; NIST Handbook 44: 1 gal = 3.785411784 l exactly.
WRITTEN_IN: Final[Mapping[str, tuple[float, float]]] = {
    "": (1.0, 0.0),
    "F": (1.0, 0.0),
    "C": (5 / 9, -160 / 9),
    "psi": (1.0, 0.0),
    "bar": (0.06894757, 0.0),
    "kPa": (6.894757, 0.0),
    "MPa": (0.006894757, 0.0),
    "gal": (1.0, 0.0),
    "l": (3.785411784, 0.0),
    "gal/min": (1.0, 0.0),
    "l/min": (3.785411784, 0.0),
    "h": (1.0, 0.0),
    "strokes": (1.0, 0.0),
    "cycles": (0.5, 0.0),
}


@dataclass(frozen=True, slots=True)
class Col:
    """One column: its role (or "decoy:" and what it pretends), its heading, how it is written."""

    role: str
    heading: str
    unit: str = ""
    places: int = 0
    #: The heading, or the row of units, says the unit.
    says_unit: bool = True
    unit_word: str = ""


@dataclass(frozen=True, slots=True)
class When:
    """How moments are written.

    order: of a date in figures, or where the month is a word "month" (4 Mar 2026) or "first"
    (Mar 4, 2026); separator between its parts.
    year: digits of the year. months: their twelve names. clock: "24", "12" with AM and PM, or
    "12?" without. joiner: between date and time in one cell. zone: "", "Z" or "offset" behind each
    time. seconds: also written.
    """

    order: str = "ymd"
    separator: str = "-"
    year: int = 4
    months: str = headings.MONTHS["en"]
    clock: str = "24"
    joiner: str = " "
    zone: str = ""
    seconds: bool = True
    is_padded: bool = True
    #: What else is peculiar: "compact" (20260304), "weekday" (Wed Mar …), "upper" (04-MAR-2026),
    #: "short" (7:05), "dots" (07.05.09), "fraction" (.000), "small" (7:05am), "points" (a.m.),
    #: "utc" (" UTC" for Z), "bare" (" -0600").
    quirks: frozenset[str] = frozenset()


@dataclass(frozen=True, slots=True)
class Style:
    """How a log is written."""

    name: str
    cols: tuple[Col, ...]
    when: When = field(default_factory=When)
    delimiter: str = ","
    encoding: str = "utf-8"
    newline: str = "\n"
    quoting: Literal[0, 1, 2, 3] = csv.QUOTE_MINIMAL
    decimal: str = "."
    grouping: str = ""
    has_headings: bool = True
    has_units_row: bool = False
    preamble: tuple[str, ...] = ()
    footer: tuple[str, ...] = ()
    repeat_headings_every: int = 0
    blank_every: int = 0
    duplicates: frozenset[int] = frozenset()
    bad: Mapping[int, str] = field(default_factory=dict)
    is_torn: bool = False
    missing: str = ""
    codes: Mapping[str, str] = field(default_factory=dict)
    newest_first: bool = False
    on_off: tuple[str, str] = ("1", "0")
    zone: str = ""  # of the wall time, where it is not the shop's
    sides: str = "chemical"  # how headings name the sides; see `doubts_of`
    language: str = "en"
    preamble_date: str = ""  # "clear" or "order" (in figures that may be read two ways)
