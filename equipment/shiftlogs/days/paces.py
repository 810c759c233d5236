"""What the counters of a log can gain in a time: ours, from no source; `pace_of` says how much."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from equipment.shiftlogs.blocks import RigFacts
from equipment.shiftlogs.layout import (
    GALLONS,
    GALLONS_A,
    GALLONS_B,
    HOURS,
    STROKES_A,
    STROKES_B,
)

SECOND_US: Final = 1_000_000


@dataclass(frozen=True, slots=True)
class Pace:
    """What a counter can gain in a time, so that a reset is told from a wrong value.

    per_second: more than any pump makes. [unit / s]
    slack: what it may gain at once: a display step, a value written late. [unit]
    anyhow: values up to this are small, however little the counter showed before. [unit]
    jump: a rise below this is never asked about. [unit]
    """

    per_second: float
    slack: float
    anyhow: float
    jump: float

    def possible(self, elapsed_us: float) -> float:
        """Return the most that may be gained in a time, two seconds of which are the log's.

        Where the clock was put back nobody knows how much time passed: an hour is allowed for.
        """
        seconds = elapsed_us / SECOND_US if elapsed_us >= 0 else 3600.0
        return self.per_second * (seconds + 2.0) + self.slack

    def is_small(self, *, before: float, after: float, elapsed_us: float) -> bool:
        """Return whether a counter that was reset can show this already."""
        return after <= self.possible(elapsed_us) and (after <= self.anyhow or after <= before / 2)

    def is_jump(self, rise: float, elapsed_us: float) -> bool:
        """Return whether no pump can have made that much: ten times what is possible."""
        return rise > self.jump and rise > 10 * self.possible(elapsed_us)


def pace_of(role: str, facts: RigFacts) -> Pace:
    """Return what the counter of a role can gain.

    Where the rig does not say: 300 single strokes a minute, five a second, which is twice and more
    of what the pumps of the trade make; 15 gal a minute for each side. Ours; from no source.
    """
    strokes = {
        STROKES_A: facts.max_strokes_per_minute_a,
        STROKES_B: facts.max_strokes_per_minute_b,
    }
    if role in strokes:
        most = 1.5 * (strokes[role] or 200.0)
        return Pace(per_second=most / 60, slack=2.0, anyhow=500.0, jump=500.0)
    if role == HOURS:
        return Pace(per_second=1 / 3600, slack=1.0, anyhow=1.0, jump=24.0)
    sides = {GALLONS_A: 1, GALLONS_B: 1, GALLONS: 2}[role]
    return Pace(per_second=sides * 0.25, slack=1.0, anyhow=20.0, jump=50.0)
