"""Writes the rows of a world as a controller might."""

import csv
import io
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime
from typing import Final
from zoneinfo import ZoneInfo

from .doubts import answers_of, doubts_of
from .style import WRITTEN_IN, Col, Style, When
from .world import Rig, Row


@dataclass(frozen=True, slots=True)
class Written:
    """A log as bytes, and what is true of it.

    rows: those that count, as the file says them (rounded as it rounds), oldest first.
    doubts: by key of a question MUST or MAY. answers: by key what a truthful person says.
    bad: how many bad rows it has.
    """

    data: bytes
    rows: tuple[Row, ...]
    rig: Rig
    style: Style
    doubts: Mapping[str, str]
    answers: Mapping[str, str]
    bad: int


def write(rows: Sequence[Row], style: Style, rig: Rig) -> Written:
    """Write rows, oldest first, in a style."""
    said, lines = [], []
    numbered = list(enumerate(rows))
    if style.newest_first:
        numbered.reverse()
    heading_lines = []
    if style.has_headings:
        heading_lines.append([col.heading for col in style.cols])
        if style.has_units_row:
            heading_lines.append([col.unit_word for col in style.cols])
    lines += [_line(cells, style) for cells in heading_lines]
    for place, (n, row) in enumerate(numbered):
        if style.repeat_headings_every and place and place % style.repeat_headings_every == 0:
            lines += [_line(cells, style) for cells in heading_lines]
        if style.blank_every and place and place % style.blank_every == 0:
            lines.append("")
        is_last = place == len(numbered) - 1
        cells, as_said = _cells(n, row, style, rig)
        if style.is_torn and is_last:
            kept = max(1, len(cells) // 2)
            lines.append(_line(cells[:kept], style))
            break
        if n in style.bad:
            lines.append(_line(_spoilt(cells, style, style.bad[n]), style))
            continue
        said.append(as_said)
        lines += [_line(cells, style)] * (2 if n in style.duplicates else 1)
    if style.newest_first:
        said.reverse()
    text = style.newline.join((*style.preamble, *lines, *style.footer))
    if not style.is_torn:
        text += style.newline
    return Written(
        data=encoded(text, style.encoding),
        rows=tuple(said),
        rig=rig,
        style=style,
        doubts=doubts_of(said, style, rig),
        answers=answers_of(said, style, rig),
        bad=len(style.bad),
    )


def encoded(text: str, encoding: str) -> bytes:
    """Encode, with a byte order mark where the codec's name ends in “-mark”."""
    if encoding.endswith("-mark"):
        encoding = encoding.removesuffix("-mark")
        text = "\ufeff" + text
    return text.encode(encoding)


def _line(cells: Sequence[str], style: Style) -> str:
    out = io.StringIO()
    csv.writer(
        out,
        delimiter=style.delimiter,
        quoting=style.quoting,
        lineterminator="",
    ).writerow(cells)
    return out.getvalue()


def _spoilt(cells: list[str], style: Style, how: str) -> list[str]:
    """Return a row made bad: a wrong number of cells, no readable time, letters in a number."""
    if how == "cells":
        return cells[: len(cells) - 2]
    role = {"time": ("time", "clock", "epoch"), "letters": ("strokes_a", "temp_a", "gallons_a")}
    at = next(n for n, col in enumerate(style.cols) if col.role in role[how])
    return [*cells[:at], "?#:?" if how == "time" else "1x7", *cells[at + 1 :]]


def _cells(n: int, row: Row, style: Style, rig: Rig) -> tuple[list[str], Row]:
    zone = ZoneInfo(style.zone or rig.zone)
    wall = row.at.astimezone(zone)
    cells: list[str] = []
    values: dict[str, int | float | None] = {}
    at = row.at
    for col in style.cols:
        if col.role == "time":
            cells.append(moment(wall, style.when))
        elif col.role == "date":
            cells.append(day_text(wall.date(), style.when))
        elif col.role == "clock":
            cells.append(clock_text(wall, style.when))
        elif col.role == "epoch":
            seconds = int(row.at.timestamp())
            cells.append(str(seconds * {"s": 1, "ms": 1000}[col.unit]))
        elif col.role == "running":
            cells.append(style.on_off[0] if row.running else style.on_off[1])
        elif col.role.startswith("decoy:"):
            cells.append(_decoy(col, n, row, style))
        else:
            text, value = _number(row.values[col.role], col, style)
            cells.append(text)
            values[col.role] = value
    if not style.when.seconds:
        at = at.replace(second=0)
    has_running = any(col.role == "running" for col in style.cols)
    return cells, replace(row, at=at, values=values, running=row.running if has_running else None)


def _number(value: int | float | None, col: Col, style: Style) -> tuple[str, int | float | None]:
    """Return a cell, and the value that it stands for once it is rounded."""
    if value is None:
        return style.codes.get(col.role, style.missing), None
    factor, offset = WRITTEN_IN[col.unit]
    if col.role.startswith("strokes"):
        whole = int(value) // (2 if col.unit == "cycles" else 1)
        return grouped(str(whole), style), whole * (2 if col.unit == "cycles" else 1)
    plain = f"{float(value) * factor + offset:.{col.places}f}"
    return grouped(plain, style), (float(plain) - offset) / factor


def grouped(plain: str, style: Style) -> str:
    """Write a plain number with the style's decimal mark and thousands."""
    whole, _, part = plain.partition(".")
    sign, whole = ("-", whole[1:]) if whole.startswith("-") else ("", whole)
    if style.grouping:
        whole = f"{int(whole):,}".replace(",", style.grouping)
    return sign + whole + (style.decimal + part if part else "")


#: What a decoy shows: near enough to a real value to be taken for it.
_DECOYS: Final[Mapping[str, str]] = {
    "alarm": "0", "serial": "70431", "battery": "13.6", "ambient": "68.0",
}  # fmt: skip


def _decoy(col: Col, n: int, row: Row, style: Style) -> str:
    what = col.role.removeprefix("decoy:")
    if what == "number":
        return str(n + 1)
    if what == "spm":
        flow = row.values.get("flow_a")
        return str(int(float(flow) * 231 / 5)) if flow is not None else "0"
    if what in ("temp_set", "hose_set"):
        return _number(120, col, style)[0]
    if what == "pressure_set":
        return _number(1200, col, style)[0]
    if what == "amps":
        return grouped(f"{18.0 + n % 7 / 2:.1f}", style)
    if what == "ambient":
        return _number(68.0 + n // 200, col, style)[0]
    return grouped(_DECOYS[what], style) if what == "battery" else _DECOYS[what]


# --- moments -----------------------------------------------------------------------------------


def moment(wall: datetime, when: When) -> str:
    """Write date and time of day in one cell."""
    zone = ""
    if when.zone == "Z":
        assert wall.utcoffset() == UTC.utcoffset(None)
        zone = " UTC" if "utc" in when.quirks else "Z"
    elif when.zone == "offset":
        plain = wall.strftime("%z")
        zone = f" {plain}" if "bare" in when.quirks else f"{plain[:3]}:{plain[3:]}"
    return day_text(wall.date(), when) + when.joiner + clock_text(wall, when) + zone


def day_text(day: date, when: When) -> str:
    """Write a date."""
    year = f"{day.year:04d}" if when.year == 4 else f"{day.year % 100:02d}"
    pad = 2 if when.is_padded else 1
    if when.order in ("month", "first"):
        month = when.months.split()[day.month - 1]
        number = f"{day.day:0{pad}d}"
        if "upper" in when.quirks:
            month = month.upper()
        if when.order == "first":
            weekday = f"{day:%a} " if "weekday" in when.quirks else ""
            return f"{weekday}{month} {number}, {year}"
        return when.separator.join((number, month, year))
    if when.order == "ymd" and when.year == 4 and "compact" in when.quirks:
        return f"{day:%Y%m%d}"
    parts = {"y": year, "m": f"{day.month:0{pad}d}", "d": f"{day.day:0{pad}d}"}
    return when.separator.join(parts[part] for part in when.order)


def clock_text(wall: datetime, when: When) -> str:
    """Write a time of day."""
    hour, half = wall.hour, ""
    if when.clock != "24":
        hour = hour % 12 or 12
        half = "" if when.clock == "12?" else " PM" if wall.hour >= 12 else " AM"
    text = f"{hour:02d}:{wall.minute:02d}" + (f":{wall.second:02d}" if when.seconds else "")
    if "short" in when.quirks:
        text = text.removeprefix("0")
    if "dots" in when.quirks and when.clock == "24":
        text = text.replace(":", ".")
    if "fraction" in when.quirks and when.seconds:
        text += ".000"
    if "small" in when.quirks:
        half = half.strip().lower()
    if "points" in when.quirks:
        half = half.replace("AM", "a.m.").replace("PM", "p.m.")
    return text + half
