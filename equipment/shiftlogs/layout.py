"""Which column of a log is which, and how its cells are written."""

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from typing import Any, Final

# What a column holds. Everything that is none of these (set points, alarms, amperes) is OTHER.
TIME: Final = "time"  # date and time of day in one cell
# Date and time of day may be parted over several columns, year, month and day for one: these two
# roles may be there more than once, the others not.
DATE: Final = "date"
CLOCK: Final = "clock"  # time of day alone
EPOCH: Final = "epoch"  # since 1970-01-01 UTC; unit s, ms or us
ELAPSED: Final = "elapsed"  # since the log began; unit s, ms, min or h, or hms: as "1:02:03"
ZONE: Final = "zone"  # a zone or offset from UTC for each row
STROKES_A: Final = "strokes_a"  # a counter that only rises; unit strokes or cycles
STROKES_B: Final = "strokes_b"
GALLONS_A: Final = "gallons_a"  # a flow meter's total; unit gal or l
GALLONS_B: Final = "gallons_b"
GALLONS: Final = "gallons"  # the total of both sides
FLOW_A: Final = "flow_a"  # unit gal/min, l/min …
FLOW_B: Final = "flow_b"
HOURS: Final = "hours"  # an hour meter; unit h, min or s
RUNNING: Final = "running"
TEMP_A: Final = "temp_a"  # unit F or C
TEMP_B: Final = "temp_b"
TEMP_HOSE: Final = "temp_hose"
PRESSURE_A: Final = "pressure_a"  # unit psi, bar, kPa or MPa
PRESSURE_B: Final = "pressure_b"
PRESSURE_HOSE: Final = "pressure_hose"
OTHER: Final = "other"

TIMES: Final = (TIME, DATE, CLOCK, EPOCH, ELAPSED, ZONE)
#: What only rises, but for a reset: the order of the columns of `reading.Block.values`.
TOTALS: Final = (STROKES_A, STROKES_B, GALLONS_A, GALLONS_B, GALLONS, HOURS)
MEASURES: Final = (
    FLOW_A, FLOW_B, TEMP_A, TEMP_B, TEMP_HOSE, PRESSURE_A, PRESSURE_B, PRESSURE_HOSE,
)  # fmt: skip
ROLES: Final = (*TIMES, *TOTALS, *MEASURES, RUNNING, OTHER)

#: Units a cell may be written in, to the canonical one: value × factor + offset.
#: Canonical: single strokes, gal, gal/min, h, °F, psi.
#: Sources: NIST SP 811 (2008), Appendix B; NIST Handbook 44, Appendix C (1 gal = 231 in³ exactly).
UNITS: Final[Mapping[str, tuple[float, float]]] = {
    "strokes": (1.0, 0.0),
    "cycles": (2.0, 0.0),
    "gal": (1.0, 0.0),
    "l": (1 / 3.785411784, 0.0),
    "gal/min": (1.0, 0.0),
    "gal/h": (1 / 60, 0.0),
    "l/min": (1 / 3.785411784, 0.0),
    "l/h": (1 / 3.785411784 / 60, 0.0),
    "h": (1.0, 0.0),
    "min": (1 / 60, 0.0),
    "s": (1 / 3600, 0.0),
    "F": (1.0, 0.0),
    "C": (1.8, 32.0),
    "psi": (1.0, 0.0),
    "bar": (14.503773773, 0.0),
    "kPa": (0.14503773773, 0.0),
    "MPa": (145.03773773, 0.0),
    "kgf/cm2": (14.223343307, 0.0),
}


@dataclass(frozen=True, slots=True)
class Column:
    """One column.

    index: its place in the file, 0 first. heading: as the file has it, "" where it has none.
    role: one of ROLES. unit: of UNITS (of EPOCH and ELAPSED: s, ms, us, min, h, hms), or "". Of
        RUNNING: the word that means so, case-folded, where it is none of the usual ones.
    """

    index: int
    heading: str
    role: str
    unit: str = ""


@dataclass(frozen=True, slots=True)
class Layout:
    """How a log is written; everything that reading it takes, and nothing of this one file.

    encoding: a codec of Python ("utf-8-sig", "utf-16", "cp1252" …).
    delimiter: "," ";" "\\t" "|" or " " (one or more blanks).
    decimal: "." or ",". grouping: what parts thousands in a number, "" for nothing.
    header_line: number of the line with the headings, 1 first; 0 where there are none. Of two such
        lines the lower; a heading is then that of both, joined by a blank.
    width: how many cells a row has.
    date_order: "ymd", "dmy" or "mdy"; "" where no column holds a date that needs one.
    clock: "24", or "12" where AM and PM stand beside the hour; "12am" or "12pm" where they do not:
        the first row lies in that half of its day, and the clock starts again after 12:59.
    zone: an IANA name or an offset "+02:00" that the file states; "" for the shop's own.
    newest_first: the file runs backwards.
    missing: words that stand for a value that was not there, case-folded ("", "n/a", "---" …).
    out_of_range: numbers with which a sensor says that it has no value, by role; as the file has
        them, in its unit.
    is_order_sure: False where all dates of the file that the layout was made for read alike in each
        order, as 03/03: those of another file may not.
    """

    encoding: str
    delimiter: str
    decimal: str
    grouping: str
    header_line: int
    width: int
    columns: tuple[Column, ...]
    date_order: str = ""
    clock: str = "24"
    zone: str = ""
    newest_first: bool = False
    missing: tuple[str, ...] = ("",)
    out_of_range: tuple[tuple[str, float], ...] = ()
    is_order_sure: bool = True

    def column(self, role: str) -> Column | None:
        """Return the column of a role, or None."""
        return next((each for each in self.columns if each.role == role), None)

    def headings(self) -> tuple[str, ...]:
        """Return the headings in order, without capitals: what files of one form have in common."""
        columns = sorted(self.columns, key=lambda column: column.index)
        return tuple(column.heading.strip().casefold() for column in columns)

    def to_json(self) -> dict[str, Any]:
        return asdict(self)

    @classmethod
    def from_json(cls, kept: Mapping[str, Any]) -> "Layout":
        """Return the layout that `to_json` wrote. Raises TypeError, KeyError for anything else."""
        return cls(
            **{
                **kept,
                "columns": tuple(Column(**each) for each in kept["columns"]),
                "missing": tuple(kept["missing"]),
                "out_of_range": tuple((role, value) for role, value in kept["out_of_range"]),
            }
        )


@dataclass(frozen=True, slots=True)
class Question:
    """A real doubt that the file leaves, for a person to answer.

    key: one of KEYS. choices: what may be answered: each a token and what it means.
    why: what in the file leaves the doubt, in a sentence or two for the person.
    free: an answer of another form is taken too, and `why` says which (a date, a list of columns).
    """

    key: str
    choices: tuple[tuple[str, str], ...]
    why: str
    free: bool = False


KEYS: Final = (
    "date_order", "date", "zone", "clock", "pressure_unit", "temp_unit", "counts", "sides",
    "columns", "bad_rows", "overlap", "duplicates", "reset",
)  # fmt: skip


class LogRefused(ValueError):
    """A file that is no log, or cannot be read; its text is meant for the person."""


class AnswerRefused(ValueError):
    """An answer that is none of the choices; its text is meant for the person."""

    def __init__(self, key: str, message: str) -> None:
        self.key = key
        super().__init__(message)
