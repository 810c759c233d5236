"""How a logged day is said and drawn: one way for the preview, the day's page and the list."""

from collections.abc import Iterable, Mapping
from datetime import datetime
from typing import Final
from zoneinfo import ZoneInfo

from equipment.shiftlogs import layout as roles
from equipment.shiftlogs.blocks import Day, Extremes, Face, Trace
from equipment.shiftlogs.layout import Column, Layout
from shop.drawing.shift import Line, ShiftPicture, Traces
from shop.drawing.svg import figure
from shop.logwords import COLUMN_WORDS, DELIMITERS, FACE_WORDS, ORDERS

#: What is drawn below the strokes: name, factor and offset from how it is kept, roles by side.
_HEAT: Final = {"A": roles.TEMP_A, "B": roles.TEMP_B, "hose": roles.TEMP_HOSE}
_PRESSURE: Final = {"A": roles.PRESSURE_A, "B": roles.PRESSURE_B, "hose": roles.PRESSURE_HOSE}


def _shown(name: str, unit: str) -> tuple[str, float, float]:
    """A measure's name, and factor and offset from how it is kept to the unit it is shown in."""
    factor, offset = roles.UNITS[unit]
    return name, 1 / factor, -offset / factor


_UNITS: Final = {
    "us": (_shown("Temperature, °F", "F"), _shown("Pressure, psi", "psi")),
    "metric": (_shown("Temperature, °C", "C"), _shown("Pressure, bar", "bar")),
}


def picture_of(day: Day, *, zone: ZoneInfo, units: str = "us", name: str = "") -> ShiftPicture:
    """Return the picture of a day. units: "us" or "metric". name: what the sentence begins with."""
    trace = day.trace
    (heat, heat_by, heat_plus), (pressure, pressure_by, pressure_plus) = _UNITS[units]
    traces = [
        _traces(trace, heat, _HEAT, heat_by, heat_plus),
        _traces(trace, pressure, _PRESSURE, pressure_by, pressure_plus),
    ]
    return ShiftPicture(
        label=f"{name}{': ' if name else ''}{sentence(day)}",
        strokes_a=tuple(zip(trace.starts, trace.strokes_a, strict=False)),
        strokes_b=tuple(zip(trace.starts, trace.strokes_b, strict=False)),
        gaps=tuple(
            (_minute(gap.start, zone), _minute(gap.end, zone, at_end=True)) for gap in day.gaps
        ),
        off_ratio=tuple(_minute(span.start, zone) for span in day.off_ratio),
        resets=tuple(
            (_minute(change.at_after, zone), side)
            for side, role in (("A", roles.STROKES_A), ("B", roles.STROKES_B))
            if role in day.faces
            for change in day.faces[role].changes
            if not change.is_rollover
        ),
        traces=tuple(each for each in traces if each.lines),
    )


def sentence(day: Day) -> str:
    """Say a day: "7.4 h run, 3,612 strokes of A and 3,580 of B, 96 gal, 1 reset of A"."""
    said = []
    if day.run_hours is not None:
        said.append(f"{figure(round(day.run_hours, 1))} h run")
    strokes = [
        f"{figure(round(value))} {'strokes ' if first else ''}of {side}"
        for first, (side, value) in enumerate_first(
            (side, value)
            for side, value in (("A", day.strokes_a), ("B", day.strokes_b))
            if value is not None
        )
    ]
    if strokes:
        said.append(" and ".join(strokes))
    if day.gallons is not None:
        said.append(f"{figure(round(day.gallons, 1))} gal")
    for side, resets in (("A", day.resets_a), ("B", day.resets_b)):
        if resets:
            said.append(f"{resets} reset{'s' if resets > 1 else ''} of {side}")
    if day.minutes_off_ratio:
        said.append(f"{day.minutes_off_ratio} min off ratio")
    if day.gap_minutes:
        said.append(f"{figure(round(day.gap_minutes))} min not logged")
    words = ", ".join(said) or f"{day.rows:,} rows"
    return f"at least {words}" if day.is_at_least else words


def enumerate_first(found: Iterable[tuple[str, float]]) -> Iterable[tuple[bool, tuple[str, float]]]:
    """Each with whether it is the first."""
    return ((place == 0, each) for place, each in enumerate(found))


def _traces(
    trace: Trace, name: str, by_side: Mapping[str, str], factor: float, plus: float
) -> Traces:
    lines = []
    for side, role in by_side.items():
        points = tuple(
            (float(start), value * factor + plus)
            for start, value in zip(trace.starts, trace.seen.get(role, ()), strict=False)
            if value is not None
        )
        if points:
            lines.append(Line(side, points))
    return Traces(name, tuple(lines))


def _minute(at: datetime, zone: ZoneInfo, *, at_end: bool = False) -> float:
    """Minute of the shop's day; midnight at the end of a stretch is 1,440, not 0."""
    local = at.astimezone(zone)
    minute = local.hour * 60 + local.minute + local.second / 60
    return 1440.0 if at_end and minute == 0 else minute


def how_written(layout: Layout) -> str:
    """Say how a file is written: "semicolons, decimal comma, day first, newest row first"."""
    said = [DELIMITERS.get(layout.delimiter, layout.delimiter)]
    if layout.decimal == ",":
        said.append("decimal comma")
    if layout.date_order:
        said.append(ORDERS[layout.date_order])
    if layout.clock == "12":
        said.append("AM and PM")
    if layout.zone:
        said.append(f"zone {layout.zone}")
    if layout.newest_first:
        said.append("newest row first")
    if not layout.header_line:
        said.append("no headings")
    if layout.encoding.replace("-", "").casefold() not in ("utf8", "ascii"):
        said.append(layout.encoding)
    return ", ".join(said)


def used_columns(layout: Layout) -> list[tuple[str, str]]:
    """Return heading and meaning of each column that is used."""
    return [
        (column.heading or f"column {column.index + 1}", words_of(column))
        for column in layout.columns
        if column.role != roles.OTHER
    ]


def words_of(column: Column) -> str:
    """Say what a column holds: "A temperature, °C"."""
    return COLUMN_WORDS.get(f"{column.role}:{column.unit}") or COLUMN_WORDS.get(
        column.role, column.role
    )


def in_units(role: str, seen: Extremes, units: str) -> tuple[float, float, float, str]:
    """Return minimum, mean and maximum of a measure as the shop reads them, and their unit."""
    if role in _HEAT.values():
        (_, factor, plus), unit = _UNITS[units][0], "°F" if units == "us" else "°C"
    elif role in _PRESSURE.values():
        (_, factor, plus), unit = _UNITS[units][1], "psi" if units == "us" else "bar"
    else:
        factor, plus, unit = 1.0, 0.0, "gal/min"
    low, mean, high = (round(value * factor + plus, 1) for value in (seen.min, seen.mean, seen.max))
    return low, mean, high, unit


def faces_of(day: Day) -> list[tuple[str, Face]]:
    """Return the counters of a day with their words, in order."""
    return [(FACE_WORDS[role], day.faces[role]) for role in roles.TOTALS if role in day.faces]
