"""What the text of a log leaves in doubt, and what somebody who knows the controller answers."""

from collections.abc import Sequence
from datetime import date
from typing import Final
from zoneinfo import ZoneInfo

from .style import WRITTEN_IN, Style, When
from .world import Rig, Row

MUST: Final = "must"  # a real doubt: who does not ask, guesses
MAY: Final = "may"  # to ask is no fault, and so is not to ask, if the reading is right


def doubts_of(rows: Sequence[Row], style: Style, rig: Rig) -> dict[str, str]:
    """Return by key of a question whether a truthful importer MUST or MAY ask it.

    MUST is kept to what the text cannot tell whoever reads it. MAY is what a convention tells
    (dots mean day first, side A is the isocyanate) or what the values make much more likely.
    """
    doubts: dict[str, str] = {}
    zone = ZoneInfo(style.zone or rig.zone)
    roles = {col.role for col in style.cols}
    days = sorted({row.at.astimezone(zone).date() for row in rows})
    if not style.has_headings:
        # The answer to `columns` says the units, too; an importer may ask for them one by one.
        doubts["columns"] = MUST
        doubts |= dict.fromkeys(("counts", "sides", "pressure_unit", "temp_unit"), MAY)
    if {"time", "date"} & roles and not _date_is_clear(days, style.when):
        is_open = (
            style.when.separator in "/-"
            and style.when.order in ("mdy", "dmy")
            and style.language == "en"
            and len(days) == 1
            and not style.preamble_date
        )
        doubts["date_order"] = MUST if is_open else MAY
    if "clock" in roles and "date" not in roles:
        if not style.preamble_date:
            doubts["date"] = MUST
        elif style.preamble_date == "order":
            doubts |= {"date": MAY, "date_order": MAY}
        if len(days) > 1:
            doubts["clock"] = MAY  # a new day, or a clock put back?
    if style.when.clock == "12?":
        doubts["clock"] = MUST
    for key, kind, fits_two in (
        ("pressure_unit", "pressure_", _is_psi_or_bar),
        ("temp_unit", "temp_", _is_warm_or_hot),
    ):
        unsaid = [col for col in style.cols if col.role.startswith(kind) and not col.says_unit]
        written = [
            value * WRITTEN_IN[col.unit][0] + WRITTEN_IN[col.unit][1]
            for col in unsaid
            for value in (row.values.get(col.role) for row in rows)
            if value is not None
        ]
        if written and style.has_headings:
            doubts[key] = MUST if fits_two(min(written), max(written)) else MAY
    counters = [col for col in style.cols if col.role.startswith("strokes_")]
    if counters and style.has_headings:
        if not counters[0].says_unit:
            has_meters = any(role.startswith("gallons") for role in roles)
            doubts["counts"] = MAY if has_meters else MUST
        elif counters[0].unit == "cycles":
            doubts["counts"] = MAY  # some call a single stroke a cycle, too
    if style.has_headings and style.sides.startswith("numbers"):
        doubts |= {"sides": MUST, "columns": MAY}  # either key settles it
    elif style.sides in ("letters", "letters swapped", "crossed"):
        doubts.setdefault("sides", MAY)
    if style.bad:
        doubts["bad_rows"] = MUST
    return doubts


def _is_psi_or_bar(low: float, high: float) -> bool:
    """Sprayed at 40 to 240 bar, or a rig that idles at 40 to 240 psi."""
    return 40 <= high <= 240


def _is_warm_or_hot(low: float, high: float) -> bool:
    """Heated to 50 to 85 °C, or standing at 50 to 85 °F."""
    return low >= 50 and high <= 85


def _date_is_clear(days: Sequence[date], when: When) -> bool:
    """Say whether figures alone leave one order, or each order left gives the same days."""
    if when.order in ("month", "first") or (when.order == "ymd" and when.year == 4):
        return True
    orders = ("mdy", "dmy") if when.year == 4 else ("mdy", "dmy", "ymd")
    readings = set()
    for order in orders:
        read = []
        for day in days:
            parts = {"y": day.year % 100, "m": day.month, "d": day.day}
            place = dict(zip(order, (parts[part] for part in when.order), strict=True))
            if place["y"] < 10 and not when.is_padded:
                break  # nobody writes a year in one digit
            try:
                read.append(date(2000 + place["y"], place["m"], place["d"]))
            except ValueError:
                break
        else:
            readings.add(tuple(read))
    return len(readings) == 1


def answers_of(rows: Sequence[Row], style: Style, rig: Rig) -> dict[str, str]:
    """Return what somebody who knows the controller answers, by key."""
    zone = ZoneInfo(style.zone or rig.zone)
    first = min(row.at for row in rows).astimezone(zone) if rows else None
    unit = {kind: col.unit for col in style.cols for kind in (col.role.split("_")[0],)}
    said = [
        f"{n}={col.role}" + (f":{col.unit}" if col.unit else "")
        for n, col in enumerate(style.cols, 1)
        if not col.role.startswith("decoy:")
    ]
    answers = {
        "columns": ", ".join(said),
        "zone": style.zone or "shop",
        "sides": "a_is_resin" if "swapped" in style.sides else "a_is_iso",
        "bad_rows": "skip",
        "reset": "reset",
        "pressure_unit": unit.get("pressure", ""),
        "temp_unit": unit.get("temp", ""),
        "counts": unit.get("strokes", ""),
    }
    if first is not None:
        answers["date"] = first.date().isoformat()
        answers["clock"] = first.strftime("%p").lower() if "12" in style.when.clock else "24"
    if style.when.order in ("ymd", "mdy", "dmy"):
        answers["date_order"] = style.when.order
    return {key: answer for key, answer in answers.items() if answer}
