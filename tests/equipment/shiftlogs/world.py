"""An invented controller's day: what happened, second by second, as rows."""

import random
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from fractions import Fraction
from zoneinfo import ZoneInfo

#: 1 gal is exactly 231 in³ (NIST Handbook 44, Appendix C).
IN3_PER_GALLON = 231

SIDES = ("a", "b")
PLACES = ("a", "b", "hose")


@dataclass(frozen=True, slots=True)
class Row:
    """One row of a log, in canonical units: single strokes, gal, gal/min, h, °F, psi.

    at: what the controller's clock said, as an instant in UTC. values: by role; None for a value
    that was not there. glitched: roles whose value here is nonsense (it left and returns).
    """

    at: datetime
    values: Mapping[str, int | float | None]
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
