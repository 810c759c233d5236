"""A day as the mathematics knows it, and as the database keeps it."""

from collections.abc import Mapping
from dataclasses import asdict
from datetime import UTC, date, datetime
from typing import Any, Final
from zoneinfo import ZoneInfo

from equipment.models import ShiftDay
from equipment.shiftlogs.blocks import Day, Extremes, Face, FaceChange, Span, Trace

#: Columns of ShiftDay that a Day has under the same name.
COLUMNS: Final = (
    "rows",
    "first_at",
    "last_at",
    "run_hours",
    "strokes_a",
    "strokes_b",
    "gallons_a",
    "gallons_b",
    "gallons",
    "resets_a",
    "resets_b",
    "is_at_least",
    "minutes_off_ratio",
    "gap_minutes",
)


def columns(day: Day) -> dict[str, Any]:
    """Return what the columns of a ShiftDay hold for a day."""
    return {
        **{name: getattr(day, name) for name in COLUMNS},
        "details": {
            "extremes": {role: asdict(each) for role, each in day.extremes.items()},
            "faces": {role: _face_json(each) for role, each in day.faces.items()},
            "gaps": _spans_json(day.gaps),
            "off_ratio": _spans_json(day.off_ratio),
            "trace": asdict(day.trace),
        },
    }


def day_of(row: ShiftDay, zone: ZoneInfo) -> Day:
    """Return the day that a row keeps, its instants in the shop's zone."""
    kept = row.details
    return Day(
        date=row.date,
        **{
            **{name: getattr(row, name) for name in COLUMNS},
            "first_at": row.first_at.astimezone(zone),
            "last_at": row.last_at.astimezone(zone),
        },
        extremes={role: Extremes(**each) for role, each in kept["extremes"].items()},
        faces={role: _face(each, zone) for role, each in kept["faces"].items()},
        gaps=_spans(kept["gaps"], zone),
        off_ratio=_spans(kept["off_ratio"], zone),
        trace=_trace(kept["trace"]),
    )


def days_between(rig_id: int, first: date, last: date, zone: ZoneInfo) -> list[Day]:
    """Return the logged days of a rig from one day to another, both included, in order."""
    rows = ShiftDay.objects.filter(rig=rig_id, date__range=(first, last)).order_by("date")
    return [day_of(row, zone) for row in rows]


def _face_json(face: Face) -> dict[str, Any]:
    return {
        "first": face.first,
        "first_at": _text(face.first_at),
        "last": face.last,
        "last_at": _text(face.last_at),
        "changes": [
            {**asdict(each), "at_before": _text(each.at_before), "at_after": _text(each.at_after)}
            for each in face.changes
        ],
    }


def _face(kept: Mapping[str, Any], zone: ZoneInfo) -> Face:
    return Face(
        first=kept["first"],
        first_at=_instant(kept["first_at"], zone),
        last=kept["last"],
        last_at=_instant(kept["last_at"], zone),
        changes=tuple(
            FaceChange(
                **{
                    **each,
                    "at_before": _instant(each["at_before"], zone),
                    "at_after": _instant(each["at_after"], zone),
                }
            )
            for each in kept["changes"]
        ),
    )


def _trace(kept: Mapping[str, Any]) -> Trace:
    return Trace(
        starts=tuple(kept["starts"]),
        strokes_a=tuple(kept["strokes_a"]),
        strokes_b=tuple(kept["strokes_b"]),
        seen={role: tuple(values) for role, values in kept["seen"].items()},
    )


def _spans_json(spans: tuple[Span, ...]) -> list[list[str]]:
    return [[_text(each.start), _text(each.end)] for each in spans]


def _spans(kept: list[list[str]], zone: ZoneInfo) -> tuple[Span, ...]:
    return tuple(Span(_instant(start, zone), _instant(end, zone)) for start, end in kept)


def _text(at: datetime) -> str:
    return at.astimezone(UTC).isoformat()


def _instant(text: str, zone: ZoneInfo) -> datetime:
    return datetime.fromisoformat(text).astimezone(zone)
