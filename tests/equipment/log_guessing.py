"""Logs written for a test, and what is guessed of them."""

from datetime import datetime, timedelta
from io import BytesIO
from typing import Any
from zoneinfo import ZoneInfo

from equipment.shiftlogs.blocks import RigFacts
from equipment.shiftlogs.guessing.guess import Understanding, sample_of, understand

CHICAGO = RigFacts(zone=ZoneInfo("America/Chicago"))
BERLIN = RigFacts(zone=ZoneInfo("Europe/Berlin"))
START = datetime(2026, 5, 24, 7, 10)  # noqa: DTZ001 wall time, as a log has it

US = "Time,ISO strokes,RES strokes,ISO temp (F),ISO psi"
US_CELLS = "{t:%Y-%m-%d %H:%M:%S},{n},{n},121.5,1190"
#: What a log leaves open: a name, its headings and cells, the questions that are asked.
DOUBTS: list[tuple[str, str, str, set[str]]] = [
    ("date", "Date,Time,ISO strokes", "03/04/2026,{t:%H:%M:%S},{n}", {"date_order"}),
    ("two-digit year", "When,ISO strokes", "26/03/04 {t:%H:%M:%S},{n}", {"date_order"}),
    ("no date", "Time,ISO strokes", "{t:%H:%M:%S},{n}", {"date"}),
    ("count", "When,ISO count,RES count", "{t},{n},{n}", {"counts"}),
    ("bar or psi", "When,ISO strokes,ISO pressure", "{t},{n},86", {"pressure_unit"}),
    ("F or C", "When,ISO strokes,ISO temp", "{t},{n},61", {"temp_unit"}),
    ("letters", "Zeit;Hübe A;Druck A bar", "{t};{n};86,5", {"sides"}),
    ("left", "When,Left strokes,Right strokes", "{t},{n},{n}", {"sides"}),
    ("no headings", "", "{t},{n},{n}", {"columns"}),
    ("two alike", "When,ISO strokes,Hose 1 F,Hose 2 F", "{t},{n},118.{i},119.{i}", {"columns"}),
    ("no side", "When,Strokes,Temp A F", "{t},{n},120", {"columns"}),
    ("no counter", "When,ISO strokes", "{t},{i:b}", {"columns"}),
    ("zone", "Time (BST),ISO strokes", "{t},{n}", {"zone"}),
    ("tenths", "When,ISO strokes,ISO temp F", "{t},{n},1215", {"columns"}),
    ("hotter than foam", "When,ISO strokes,ISO temp °C", "{t},{n},122.5", {"columns"}),
    ("flow alone", "When,ISO flow", "{t},{n}", {"columns"}),
]  # fmt: skip


def guess(text: str | bytes, *, facts: RigFacts = CHICAGO, **details: Any) -> Understanding:
    data = text.encode() if isinstance(text, str) else text
    answers = details.pop("answers", {})
    return understand(sample_of(BytesIO(data)), facts=facts, answers=answers, **details)


def asked(understood: Understanding) -> set[str]:
    return {each.key for each in understood.questions}


def roles(understood: Understanding) -> dict[str, str]:
    return {
        each.heading: f"{each.role}:{each.unit}".rstrip(":") for each in understood.layout.columns
    }


def log(
    headings: str, cells: str, *, rows: int = 60, start: datetime = START, step_s: int = 5
) -> str:
    """Write a log. In `cells`, {t:…} is the time, {n} a number that rises with each row."""
    lines = [headings] if headings else []
    for n in range(rows):
        lines.append(cells.format(t=start + timedelta(seconds=step_s * n), n=1000 + 2 * n, i=n))
    return "\n".join(lines) + "\n"
