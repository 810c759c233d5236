"""An oracle that says what figures the rows of a log stand for.

Written before the importer and without looking at it. It is slow and obvious on purpose: it follows
`shift_log_definitions.md` (DEVELOPERS.md, “What the figures of a log mean”) sentence by sentence,
in plain Python and whole numbers, and shares no code with what it judges.

Where the definitions are silent, a comment beginning with “Silent:” says which reading was taken;
nothing tests it: the worlds avoid it, or `Truth.slack` allows for it.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from fractions import Fraction
from itertools import pairwise
from statistics import median
from typing import Any, Final
from zoneinfo import ZoneInfo

from .world import IN3_PER_GALLON, PLACES, SIDES, Rig, Row


@dataclass(frozen=True, slots=True)
class Truth:
    """The day summaries of some rows in the form of `--json`, and what the definitions leave open.

    slack: by date, how far run_hours may lie beside, and the least and most minutes_off_ratio.
    """

    days: list[dict[str, Any]]
    slack: dict[str, dict[str, float]]


def truth_of(rows: Sequence[Row], rig: Rig) -> Truth:
    """Return what the definitions say of rows that stand in file order, oldest first."""
    zone = ZoneInfo(rig.zone)
    days = [row.at.astimezone(zone).date() for row in rows]
    steps = [(later.at - row.at).total_seconds() for row, later in pairwise(rows)]
    # "Nominal interval is the median positive step."
    rising = [step for step in steps if step > 0]
    nominal = median(rising) if rising else 0.0
    limit = max(5 * nominal, 60.0)
    # A gap is a step within one day; the night is none, and is not logged time either.
    unlogged = [step > limit for step in steps]

    every_day = sorted(set(days))
    run_hours = dict.fromkeys(every_day, 0.0)
    gap_minutes = dict.fromkeys(every_day, 0.0)
    at_least = dict.fromkeys(every_day, False)
    strokes = {(day, side): 0 for day in every_day for side in SIDES}
    resets = {(day, side): 0 for day in every_day for side in SIDES}
    slack = {day: {"run_hours": 0.0, "off_low": 0.0, "off_high": 0.0} for day in every_day}

    for n, step in enumerate(steps):
        today, tomorrow = days[n], days[n + 1]
        if unlogged[n]:
            if today == tomorrow:
                gap_minutes[today] += step / 60
            continue
        # "A clock put back counts as one nominal interval."
        length = step if step >= 0 else nominal
        # "where the file has a running/stopped column, only intervals whose earlier row says so"
        if rows[n].running is not False:
            run_hours[tomorrow] += length / 3600
            if today != tomorrow:
                # Silent: to which day the interval over midnight belongs.
                for day in (today, tomorrow):
                    slack[day]["run_hours"] += length / 3600

    # Silent: whether a rise over the turn of a minute belongs to the earlier or the later one.
    by_later: Minutes = {}
    by_earlier: Minutes = {}
    for side in SIDES:
        top = rig.top_a if side == "a" else rig.top_b
        for pair, rise in _rises(rows, f"strokes_{side}", top):
            day = days[pair.later]
            unseen = any(unlogged[pair.earlier : pair.later])
            strokes[day, side] += rise
            resets[day, side] += pair.is_reset
            at_least[day] = at_least[day] or (pair.is_reset and unseen)
            if not unseen:  # "gaps left out"
                for minutes, n in ((by_later, pair.later), (by_earlier, pair.earlier)):
                    minutes.setdefault(_minute(rows[n].at), {"a": 0, "b": 0})[side] += rise

    # Silent: whether a minute that is logged only in part (beside a gap, at the ends) is whole.
    partly = {_minute(rows[0].at), _minute(rows[-1].at)} | {
        _minute(row.at)
        for n, is_unlogged in enumerate(unlogged)
        if is_unlogged
        for row in (rows[n], rows[n + 1])
    }
    off = dict.fromkeys(every_day, 0)
    for minute in by_later.keys() | by_earlier.keys():
        later, earlier = (_is_off_ratio(by.get(minute), rig) for by in (by_later, by_earlier))
        day = minute.astimezone(zone).date()
        off[day] += later
        slack[day]["off_high"] += later or earlier
        slack[day]["off_low"] += later and earlier and minute not in partly

    is_metered = any(role.startswith(("gallons", "flow")) for row in rows for role in row.values)
    # Silent: whether a flow meter's total that begins anew is a reset of its side.
    no_counter = SILENT if is_metered else None
    out = []
    for day in every_day:
        todays = [row for row, its_day in zip(rows, days, strict=True) if its_day == day]
        has = {side: any(f"strokes_{side}" in row.values for row in rows) for side in SIDES}
        both = has["a"] and has["b"]
        gallons: Any = None
        if both and rig.in3_a is not None and rig.in3_b is not None:
            gallons = strokes[day, "a"] * rig.in3_a + strokes[day, "b"] * rig.in3_b
            gallons /= IN3_PER_GALLON
        elif not has["a"] and not has["b"]:
            gallons = _pumped(rows, days, day)
        elif is_metered:
            gallons = SILENT  # whether the counter of one side and the meter of the other add up
        out.append(
            {
                "date": day.isoformat(),
                "run_hours": run_hours[day],
                "strokes_a": strokes[day, "a"] if has["a"] else None,
                "strokes_b": strokes[day, "b"] if has["b"] else None,
                "gallons": float(gallons) if isinstance(gallons, Fraction) else gallons,
                "resets": {side: resets[day, side] if has[side] else no_counter for side in SIDES},
                "at_least": at_least[day],
                "minutes_off_ratio": off[day] if both else None,
                "gap_minutes": gap_minutes[day],
                "temp_f": {place: _spread(todays, f"temp_{place}") for place in PLACES},
                "pressure_psi_max": {side: _largest(todays, f"pressure_{side}") for side in SIDES},
            }
        )
    return Truth(days=out, slack={day.isoformat(): its for day, its in slack.items()})


#: A figure that the definitions leave open, in place of a value.
SILENT: Final = "silent"
Minutes = dict[datetime, dict[str, int]]


@dataclass(frozen=True, slots=True)
class _Pair:
    earlier: int
    later: int
    is_reset: bool


def _rises(rows: Sequence[Row], role: str, top: int | None) -> Iterator[tuple[_Pair, int]]:
    """Yield what a counter gained between each two rows that have a value of it.

    "A value that leaves and returns within a few rows (a glitch) gained nothing": such a value
    is passed over. "The first row of the file adds nothing."
    """
    earlier = None
    for n, row in enumerate(rows):
        value = row.values.get(role)
        if value is None or role in row.glitched:
            continue
        value = int(value)
        if earlier is not None:
            before = int(rows[earlier].values[role] or 0)
            if value >= before:
                yield _Pair(earlier, n, False), value - before
            elif top is not None and top - before + value < top / 10:
                # "Rollover needs the top of the face from the rig's counter, and is no reset."
                # Silent: how near to the top it must be. Worlds stay far from the tenth taken here.
                yield _Pair(earlier, n, False), top - before + value
            else:  # "After a reset the new value is added."
                yield _Pair(earlier, n, True), value
        earlier = n


def _minute(at: datetime) -> datetime:
    return at.replace(second=0, microsecond=0)


def _is_off_ratio(made: Mapping[str, int] | None, rig: Rig) -> bool:
    """At least 20 strokes on the busier side, and volumes more than 10 % apart."""
    if made is None or rig.in3_a is None or rig.in3_b is None or max(made.values()) < 20:
        return False
    volumes = sorted((made["a"] * rig.in3_a, made["b"] * rig.in3_b))
    # |ln(A/B)| > ln 1.10, in whole numbers; nothing on one side is as far off as can be.
    return volumes[1] * 10 > volumes[0] * 11


def _pumped(rows: Sequence[Row], days: Sequence[date], day: date) -> float | None:
    """Gallons by flow meters: of both sides, or of their common meter. None if one is missing."""
    for roles in (("gallons_a", "gallons_b"), ("gallons",)):
        if all(any(role in row.values for row in rows) for role in roles):
            total = 0.0
            for role in roles:
                earlier = None
                for row, its_day in zip(rows, days, strict=True):
                    value = row.values.get(role)
                    if value is None:
                        continue
                    if earlier is not None and its_day == day:
                        total += float(value) - earlier
                    earlier = float(value)
            return total
    return None


def _values(rows: Sequence[Row], role: str) -> list[float]:
    found = (row.values.get(role) for row in rows)
    return [float(value) for value in found if value is not None]


def _largest(rows: Sequence[Row], role: str) -> float | None:
    return max(_values(rows, role), default=None)


def _spread(rows: Sequence[Row], role: str) -> dict[str, float] | None:
    values = _values(rows, role)
    if not values:
        return None
    return {"min": min(values), "mean": sum(values) / len(values), "max": max(values)}


# --- comparing ---------------------------------------------------------------------------------

#: How far a figure may lie beside the truth.
#: Silent: to how many places the figures of `--json` are rounded.
NEAR = {
    "run_hours": 0.001,
    "gallons": 0.01,
    "gap_minutes": 0.01,
    "temp_f": 0.01,
    "pressure_psi_max": 0.02,
}


def differences(got: Sequence[Mapping[str, Any]], truth: Truth) -> list[str]:
    """Return in words where the days differ from the truth; nothing if they are the same."""
    dates = [day["date"] for day in got]
    wanted = [day["date"] for day in truth.days]
    if dates != wanted:
        return [f"days {dates} where {wanted} were meant"]
    out = []
    for mine, day in zip(got, truth.days, strict=True):
        slack = truth.slack[day["date"]]
        missing = day.keys() - mine.keys()
        if missing:
            out.append(f"{day['date']}: no {sorted(missing)}")
            continue
        resets = {
            side: None if day["resets"][side] == SILENT else mine["resets"][side] for side in SIDES
        }
        if resets != {s: None if n == SILENT else n for s, n in day["resets"].items()}:
            out.append(f"{day['date']} resets: {mine['resets']}, truly {day['resets']}")
        for key in ("strokes_a", "strokes_b", "at_least"):
            if mine[key] != day[key] or isinstance(mine[key], bool) != isinstance(day[key], bool):
                out.append(f"{day['date']} {key}: {mine[key]!r}, truly {day[key]!r}")
        for key in ("run_hours", "gallons", "gap_minutes"):
            if day[key] == SILENT:
                continue
            if not _near(mine[key], day[key], NEAR[key] + slack.get(key, 0.0)):
                out.append(f"{day['date']} {key}: {mine[key]!r}, truly {day[key]!r}")
        minutes = mine["minutes_off_ratio"]
        if (minutes is None) != (day["minutes_off_ratio"] is None) or (
            minutes is not None and not slack["off_low"] <= minutes <= slack["off_high"]
        ):
            out.append(
                f"{day['date']} minutes_off_ratio: {minutes}, truly {day['minutes_off_ratio']}"
            )
        for place in PLACES:
            said, true = _known(mine["temp_f"], place), day["temp_f"][place]
            for part in ("min", "mean", "max"):
                one = said.get(part) if isinstance(said, Mapping) else said
                other = true[part] if true else None
                if not _near(one, other, NEAR["temp_f"]):
                    out.append(f"{day['date']} temp_f {place} {part}: {one!r}, truly {other!r}")
        for side in SIDES:
            said, true = _known(mine["pressure_psi_max"], side), day["pressure_psi_max"][side]
            if not _near(said, true, NEAR["pressure_psi_max"]):
                out.append(f"{day['date']} pressure_psi_max {side}: {said!r}, truly {true!r}")
    return out


def _known(said: Mapping[str, Any] | None, part: str) -> Any:
    # Silent: whether a place without values is null as a whole or in each of its parts.
    return said.get(part) if said is not None else None


def _near(said: Any, true: float | None, within: float) -> bool:
    if said is None or true is None:
        return said is true is None
    return abs(said - true) <= within
