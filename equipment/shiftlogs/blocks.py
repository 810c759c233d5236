"""What reading hands to the reckoning of days: rows in columns, and the figures of a day."""

from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Final
from zoneinfo import ZoneInfo

import numpy as np
import numpy.typing as npt

#: Length of a slot of a Trace. [min]
TRACE_MINUTES: Final = 5

Floats = npt.NDArray[np.float64]
Integers = npt.NDArray[np.int64]


@dataclass(slots=True)
class Block:
    """Consecutive good rows of one file, oldest first, n of them.

    line: number of the line in the file, 1 first. (n,)
    instant_us: microseconds since 1970-01-01 UTC. Mostly rising; a step back is a clock that was
        put back (a change to or from summer time is none: instants are real time). (n,)
    day: shop's calendar day, as days since 1970-01-01. (n,)
    values: by role of `layout`, in canonical units (single strokes, gal, gal/min, h, °F, psi),
        NaN where the row has no value; a role that the file does not have is not a key. (n,)
    running: True where the controller says that the rig runs; None where no column says. (n,)
    """

    line: Integers
    instant_us: Integers
    day: Integers
    values: dict[str, Floats]
    running: npt.NDArray[np.bool_] | None = None

    def __len__(self) -> int:
        return len(self.line)


@dataclass(frozen=True, slots=True)
class RigFacts:
    """What the rig knows and its log does not say.

    zone: of the shop. in3_per_stroke_a, _b: displacement of a single stroke, > 0, or None. [in³]
    rollover_a, _b: how many values the face of the stroke counter shows, as single strokes; None
        where it never starts again.
    max_strokes_per_minute_a, _b: the most the pump makes; None where nobody knows.
    """

    zone: ZoneInfo
    in3_per_stroke_a: float | None = None
    in3_per_stroke_b: float | None = None
    rollover_a: float | None = None
    rollover_b: float | None = None
    max_strokes_per_minute_a: float | None = None
    max_strokes_per_minute_b: float | None = None


@dataclass(frozen=True, slots=True)
class Rules:
    """What the shop may set.

    off_ratio: how far the volumes of the two sides may differ, as a share, > 0. [1]
    off_ratio_strokes: a minute counts only if the busier side made this many, >= 1.
    """

    off_ratio: float = 0.10
    off_ratio_strokes: int = 20


@dataclass(frozen=True, slots=True)
class Extremes:
    """Over the rows that have a value."""

    min: float
    mean: float
    max: float
    rows: int


@dataclass(frozen=True, slots=True)
class FaceChange:
    """A counter that began anew between two rows.

    before, after: what it showed. [unit of the column, canonical] at_before, at_after: when.
    is_rollover: it passed the top of its face. is_unseen: time went unlogged around a reset.
    is_set: the number was another without anything counted (a person said that one was wrong).
    """

    before: float
    after: float
    at_before: datetime
    at_after: datetime
    is_rollover: bool = False
    is_unseen: bool = False
    is_set: bool = False


@dataclass(frozen=True, slots=True)
class Face:
    """What one counter of the log showed on one day, so that readings can be made of it.

    first, last: value at the first and last row that has one. [canonical]
    """

    first: float
    first_at: datetime
    last: float
    last_at: datetime
    changes: tuple[FaceChange, ...] = ()


@dataclass(frozen=True, slots=True)
class Span:
    """A stretch of a day: a gap in the log, or a minute off ratio."""

    start: datetime
    end: datetime


@dataclass(frozen=True, slots=True)
class Trace:
    """A day in slots of TRACE_MINUTES, those that have rows, in order: enough to draw it.

    starts: minute of the shop's calendar day at which each slot begins, 0 to 1,435. (n,)
    strokes_a, strokes_b: rises in the slot; empty where the log has no such counter. (n,)
    seen: by role of layout.MEASURES the first value in the slot, None where there is none. (n,)
    """

    starts: tuple[int, ...] = ()
    strokes_a: tuple[float, ...] = ()
    strokes_b: tuple[float, ...] = ()
    seen: dict[str, tuple[float | None, ...]] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Day:
    """The figures of one calendar day of one rig. None: the log does not say; never 0 for that.

    Meanings as in DEVELOPERS.md, “What the figures of a log mean”.
    run_hours [h], strokes_a, strokes_b [single strokes], gallons [gal, both sides],
    resets_a, resets_b, is_at_least, minutes_off_ratio [min], gap_minutes [min],
    extremes: by role of layout.MEASURES [°F, psi, gal/min]; faces: by role of layout.TOTALS.
    gaps, off_ratio: the stretches behind the figures. rows: good rows of that day.
    trace: for a picture; it decides nothing.
    """

    date: date
    rows: int
    first_at: datetime
    last_at: datetime
    run_hours: float | None
    strokes_a: float | None
    strokes_b: float | None
    gallons_a: float | None
    gallons_b: float | None
    gallons: float | None
    resets_a: int | None
    resets_b: int | None
    is_at_least: bool
    minutes_off_ratio: int | None
    gap_minutes: float
    extremes: dict[str, Extremes] = field(default_factory=dict)
    faces: dict[str, Face] = field(default_factory=dict)
    gaps: tuple[Span, ...] = ()
    off_ratio: tuple[Span, ...] = ()
    trace: Trace = field(default_factory=Trace)
