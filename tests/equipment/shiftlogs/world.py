"""An invented controller's day, and an oracle that says what figures its rows stand for.

Written before the importer and without looking at it. The oracle is slow and obvious on purpose: it
follows `shift_log_definitions.md` (DEVELOPERS.md, “What the figures of a log mean”) sentence by
sentence, in plain Python and whole numbers, and shares no code with what it judges.

Where the definitions are silent, a comment beginning with “Silent:” says which reading was taken;
nothing tests it: the worlds avoid it, or `Truth.slack` allows for it.
"""

import random
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime, timedelta
from fractions import Fraction
from itertools import pairwise
from statistics import median
from typing import Any
from zoneinfo import ZoneInfo

#: 1 gal is exactly 231 in³ (NIST Handbook 44, Appendix C).
IN3_PER_GALLON = 231

SIDES = ("a", "b")
PLACES = ("a", "b", "hose")


# --- rows --------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Row:
    """One row of a log, in canonical units: single strokes, gal, gal/min, h, °F, psi.

    at: what the controller's clock said, as an instant in UTC. values: by role; None for a value
    that was not there. glitched: roles whose value here is nonsense (it left and returns).
    """

    at: datetime
    values: Mapping[str, int | float | Fraction | None]
    running: bool | None = None
    glitched: frozenset[str] = frozenset()


@dataclass(frozen=True, slots=True)
class Rig:
    """What the rig knows and its log does not. in³ per single stroke; top: values of the face."""

    zone: str = "America/Chicago"
    in3_a: Fraction | None = Fraction(5)
    in3_b: Fraction | None = Fraction(5)
    top_a: int | None = None
    top_b: int | None = None


@dataclass(frozen=True, slots=True)
class Stretch:
    """A stretch of the controller's day.

    seconds: its length, a multiple of the step. per_minute: strokes of side A. b_share: volume of B
    to A. logged: False for time that goes by without rows. resets: sides set back to zero as it
    begins. clock_back_s: how far somebody puts the clock back as it begins.
    """

    seconds: int
    per_minute: float = 0.0
    b_share: float = 1.0
    logged: bool = True
    running: bool = True
    resets: str = ""
    clock_back_s: int = 0


@dataclass(frozen=True, slots=True)
class Plan:
    """A world to be run. start: wall time of the shop at the first row, as "2026-03-04 09:00"."""

    start: str
    stretches: tuple[Stretch, ...]
    rig: Rig = field(default_factory=Rig)
    step_s: int = 5
    first_a: int = 41_200
    first_b: int = 40_950
    temp_f: Mapping[str, float] = field(
        default_factory=lambda: {"a": 122.0, "b": 120.0, "hose": 118.0}
    )
    psi: Mapping[str, float] = field(default_factory=lambda: {"a": 1180.0, "b": 1150.0})
    jitter: bool = False
    seed: int = 1


def run(plan: Plan) -> list[Row]:
    """Return the rows that the controller of this plan writes, oldest first."""
    chance = random.Random(plan.seed)
    zone = ZoneInfo(plan.rig.zone)
    instant = datetime.fromisoformat(plan.start).replace(tzinfo=zone).astimezone(UTC)
    per_b = (plan.rig.in3_a or Fraction(1)) / (plan.rig.in3_b or Fraction(1))
    shown = {"a": float(plan.first_a), "b": float(plan.first_b)}
    pumped = {"a": 800.0, "b": 790.0}
    hours = 310.0
    swing = {place: chance.uniform(0.3, 2.5) for place in PLACES}
    rows: list[Row] = []
    for stretch in plan.stretches:
        instant -= timedelta(seconds=stretch.clock_back_s)
        for side in stretch.resets:
            shown[side] = 0.0
        assert stretch.seconds % plan.step_s == 0
        for n in range(stretch.seconds // plan.step_s):
            if stretch.logged:
                late = 1 if plan.jitter and n and plan.step_s > 2 and chance.random() < 0.1 else 0
                rows.append(
                    Row(
                        at=instant + timedelta(seconds=late),
                        values={
                            "strokes_a": _on_the_face(shown["a"], plan.rig.top_a),
                            "strokes_b": _on_the_face(shown["b"], plan.rig.top_b),
                            "gallons_a": pumped["a"],
                            "gallons_b": pumped["b"],
                            "gallons": pumped["a"] + pumped["b"],
                            "hours": hours,
                            "flow_a": float(stretch.per_minute * (plan.rig.in3_a or 5) / 231),
                            "flow_b": float(
                                stretch.per_minute * stretch.b_share * (plan.rig.in3_a or 5) / 231
                            ),
                            **{
                                f"temp_{place}": plan.temp_f[place]
                                + chance.uniform(-swing[place], swing[place])
                                for place in PLACES
                            },
                            **{
                                f"pressure_{side}": plan.psi[side]
                                * (1 + chance.uniform(-0.03, 0.03))
                                for side in SIDES
                            },
                        },
                        running=stretch.running,
                    )
                )
            a = stretch.per_minute * plan.step_s / 60
            b = a * float(per_b) * stretch.b_share
            shown["a"] += a
            shown["b"] += b
            pumped["a"] += a * float(plan.rig.in3_a or 5) / IN3_PER_GALLON
            pumped["b"] += b * float(plan.rig.in3_b or 5) / IN3_PER_GALLON
            hours += plan.step_s / 3600 if stretch.running else 0
            instant += timedelta(seconds=plan.step_s)
    return rows


def _on_the_face(total: float, top: int | None) -> int:
    return int(total) if top is None else int(total) % top


def with_glitch(
    rows: Sequence[Row], at: int, role: str, values: Sequence[int | float]
) -> list[Row]:
    """Return rows in which a value leaves at row `at` for as many rows as `values` has."""
    out = list(rows)
    for n, value in enumerate(values, at):
        out[n] = replace(
            out[n],
            values={**out[n].values, role: value},
            glitched=out[n].glitched | {role},
        )
    return out


def with_missing(rows: Sequence[Row], at: int, *roles: str) -> list[Row]:
    """Return rows in which one row lacks some values."""
    out = list(rows)
    out[at] = replace(out[at], values={**out[at].values, **dict.fromkeys(roles)})
    return out


def only(rows: Sequence[Row], *roles: str, running: bool = False) -> list[Row]:
    """Return rows that hold no more than these roles, and whether it ran where that is asked."""
    return [
        replace(
            row,
            values={role: value for role, value in row.values.items() if role in roles},
            running=row.running if running else None,
            glitched=row.glitched & set(roles),
        )
        for row in rows
    ]


# --- the oracle --------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Truth:
    """The day summaries of some rows in the form of `--json`, and what the definitions leave open.

    slack: by date, {"run_hours": h, "minutes_off_ratio": min} that a reading may lie beside.
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

    figures = {
        day: {
            "run_hours": 0.0,
            "gap_minutes": 0.0,
            "strokes_a": 0,
            "strokes_b": 0,
            "resets": {"a": 0, "b": 0},
            "at_least": False,
        }
        for day in sorted(set(days))
    }
    slack = {day: {"run_hours": 0.0, "minutes_off_ratio": 0.0} for day in figures}

    for n, step in enumerate(steps):
        if unlogged[n]:
            if days[n] == days[n + 1]:
                figures[days[n + 1]]["gap_minutes"] += step / 60
            continue
        # "A clock put back counts as one nominal interval."
        length = step if step >= 0 else nominal
        # "where the file has a running/stopped column, only intervals whose earlier row says so"
        if rows[n].running is not False:
            figures[days[n + 1]]["run_hours"] += length / 3600
            if days[n] != days[n + 1]:
                # Silent: to which day the interval over midnight belongs.
                for day in (days[n], days[n + 1]):
                    slack[day]["run_hours"] += length / 3600

    minutes: dict[datetime, dict[str, int]] = {}
    for side in SIDES:
        for n, rise in _rises(rows, f"strokes_{side}", rig.top_a if side == "a" else rig.top_b):
            day = figures[days[n.later]]
            day[f"strokes_{side}"] += rise
            unseen = any(unlogged[n.earlier : n.later])
            if n.is_reset:
                day["resets"][side] += 1
                day["at_least"] = day["at_least"] or unseen
            if not unseen:  # "gaps left out"
                minute = _minute(rows[n.later].at)
                minutes.setdefault(minute, {"a": 0, "b": 0})[side] += rise

    # Silent: whether a minute that is logged only in part (beside a gap, at the ends) is whole.
    partly = {_minute(rows[0].at), _minute(rows[-1].at)} | {
        _minute(row.at)
        for n, is_unlogged in enumerate(unlogged)
        if is_unlogged
        for row in (rows[n], rows[n + 1])
    }
    off: dict[date, int] = dict.fromkeys(figures, 0)
    for minute, made in minutes.items():
        if _is_off_ratio(made, rig):
            day = minute.astimezone(zone).date()
            off[day] += 1
            slack[day]["minutes_off_ratio"] += minute in partly

    out = []
    for day, figure in figures.items():
        todays = [row for row, its_day in zip(rows, days, strict=True) if its_day == day]
        has = {side: any(f"strokes_{side}" in row.values for row in rows) for side in SIDES}
        both = has["a"] and has["b"]
        gallons: Fraction | float | None = None
        if both and rig.in3_a is not None and rig.in3_b is not None:
            gallons = figure["strokes_a"] * rig.in3_a + figure["strokes_b"] * rig.in3_b
            gallons /= IN3_PER_GALLON
        elif not has["a"] and not has["b"]:
            gallons = _pumped(rows, days, day)
        out.append(
            {
                "date": day.isoformat(),
                "run_hours": figure["run_hours"],
                "strokes_a": figure["strokes_a"] if has["a"] else None,
                "strokes_b": figure["strokes_b"] if has["b"] else None,
                "gallons": None if gallons is None else float(gallons),
                "resets": {s: figure["resets"][s] if has[s] else None for s in SIDES},
                "at_least": figure["at_least"],
                "minutes_off_ratio": off[day] if both else None,
                "gap_minutes": figure["gap_minutes"],
                "temp_f": {place: _spread(todays, f"temp_{place}") for place in PLACES},
                "pressure_psi_max": {
                    side: (_spread(todays, f"pressure_{side}") or {"max": None})["max"]
                    for side in SIDES
                },
            }
        )
    return Truth(days=out, slack={day.isoformat(): its for day, its in slack.items()})


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


def _is_off_ratio(made: Mapping[str, int], rig: Rig) -> bool:
    """At least 20 strokes on the busier side, and volumes more than 10 % apart."""
    if rig.in3_a is None or rig.in3_b is None or max(made.values()) < 20:
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


def _spread(rows: Sequence[Row], role: str) -> dict[str, float] | None:
    values = [float(row.values[role]) for row in rows if row.values.get(role) is not None]  # type: ignore[arg-type]
    if not values:
        return None
    return {"min": min(values), "mean": sum(values) / len(values), "max": max(values)}


# --- comparing ---------------------------------------------------------------------------------

#: How far a figure may lie beside the truth: half of the last place that anybody would show.
#: Silent: to how many places the figures of `--json` are rounded.
NEAR = {
    "run_hours": 0.0051,
    "gallons": 0.051,
    "gap_minutes": 0.051,
    "temp_f": 0.051,
    "pressure_psi_max": 0.51,
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
        for key in ("strokes_a", "strokes_b", "resets", "at_least"):
            if mine[key] != day[key] or isinstance(mine[key], bool) != isinstance(day[key], bool):
                out.append(f"{day['date']} {key}: {mine[key]!r}, truly {day[key]!r}")
        for key in ("run_hours", "gallons", "gap_minutes"):
            if not _near(mine[key], day[key], NEAR[key] + slack.get(key, 0.0)):
                out.append(f"{day['date']} {key}: {mine[key]!r}, truly {day[key]!r}")
        low, high = day["minutes_off_ratio"], day["minutes_off_ratio"]
        if low is not None:
            low -= slack["minutes_off_ratio"]
        if mine["minutes_off_ratio"] is None or low is None:
            if mine["minutes_off_ratio"] is not low:
                out.append(
                    f"{day['date']} minutes_off_ratio: {mine['minutes_off_ratio']}, truly {high}"
                )
        elif not low <= mine["minutes_off_ratio"] <= high:
            out.append(
                f"{day['date']} minutes_off_ratio: {mine['minutes_off_ratio']}, truly {high}"
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
