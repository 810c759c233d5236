"""What was gathered of a day, to its figures.

Meanings: DEVELOPERS.md, “What the figures of a log mean”; choices left open there: `days`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from typing import Any, Final

import numpy as np

from equipment.shiftlogs.blocks import (
    TRACE_MINUTES,
    Day,
    Face,
    FaceChange,
    RigFacts,
    Rules,
    Span,
    Trace,
)
from equipment.shiftlogs.days.faces import MINUTE_US, Change, CounterDay, CounterTally
from equipment.shiftlogs.days.paces import SECOND_US
from equipment.shiftlogs.days.steps import Steps
from equipment.shiftlogs.days.tally import DayTally, MeasureTally
from equipment.shiftlogs.layout import (
    FLOW_A,
    FLOW_B,
    GALLONS,
    GALLONS_A,
    GALLONS_B,
    PRESSURE_A,
    PRESSURE_B,
    STROKES_A,
    STROKES_B,
    TEMP_A,
    TEMP_B,
    TEMP_HOSE,
)

EPOCH: Final = datetime(1970, 1, 1, tzinfo=UTC)
EPOCH_DAY: Final = EPOCH.toordinal()
IN3_PER_GAL: Final = 231.0  # NIST Handbook 44, Appendix C: exactly

#: Flow rate, flow meter and stroke counter of each side.
SIDES: Final = ((FLOW_A, GALLONS_A, STROKES_A), (FLOW_B, GALLONS_B, STROKES_B))


def gallons_per_stroke(facts: RigFacts, role: str) -> float | None:
    """Return the gallons of a single stroke of a side's counter, None where nobody knows."""
    in3 = facts.in3_per_stroke_a if role == STROKES_A else facts.in3_per_stroke_b
    return in3 / IN3_PER_GAL if in3 else None


def instant(facts: RigFacts, instant_us: int) -> datetime:
    """Return microseconds since 1970 as a time of the shop."""
    return (EPOCH + timedelta(microseconds=instant_us)).astimezone(facts.zone)


@dataclass(frozen=True, slots=True)
class DayFigures:
    """What the figures of the days are made from, once all rows have been seen."""

    facts: RigFacts
    rules: Rules
    steps: Steps
    counters: Mapping[str, CounterTally]

    def day(self, number: int, tally: DayTally) -> Day:
        """Return the figures of a day. number: days since 1970-01-01."""
        limit_us = self.steps.limit_us
        counts = {
            role: counter.days[number]
            for role, counter in self.counters.items()
            if number in counter.days
        }
        gallons_a, gallons_b = (self._gallons(number, tally, counts, side) for side in SIDES)
        gallons = None
        if gallons_a is not None and gallons_b is not None:
            gallons = gallons_a + gallons_b
        elif GALLONS in counts and STROKES_A not in counts and STROKES_B not in counts:
            gallons = counts[GALLONS].gain
        resets = {
            role: sum(not each.is_rollover and not each.is_set for each in count.changes)
            for role, count in counts.items()
        }
        gaps = self.steps.gaps.get(number, [])
        off_ratio = self._minutes_off_ratio(number, tally)
        return Day(
            date=date.fromordinal(EPOCH_DAY + number),
            rows=tally.rows,
            first_at=instant(self.facts, tally.first_us),
            last_at=instant(self.facts, tally.last_us),
            run_hours=self.steps.logged_us.get(number, 0.0) / (3600 * SECOND_US),
            strokes_a=counts[STROKES_A].gain if STROKES_A in counts else None,
            strokes_b=counts[STROKES_B].gain if STROKES_B in counts else None,
            gallons_a=gallons_a,
            gallons_b=gallons_b,
            gallons=gallons,
            resets_a=resets.get(STROKES_A),
            resets_b=resets.get(STROKES_B),
            is_at_least=any(
                _is_unseen(change, limit_us)
                for role in _driving(counts)
                for change in counts[role].changes
            ),
            minutes_off_ratio=None if off_ratio is None else len(off_ratio),
            gap_minutes=sum(end - start for start, end in gaps) / MINUTE_US,
            extremes={
                role: measure.extremes() for role, measure in tally.measures.items() if measure.rows
            },
            faces={
                role: face
                for role, count in counts.items()
                if (face := self._face(count, limit_us)) is not None
            },
            gaps=tuple(
                Span(instant(self.facts, start), instant(self.facts, end)) for start, end in gaps
            ),
            off_ratio=tuple(
                Span(instant(self.facts, minute), instant(self.facts, minute + MINUTE_US))
                for minute in off_ratio or ()
            ),
            trace=self._trace(tally),
        )

    def _span(self, start_us: int, end_us: int) -> Span:
        return Span(instant(self.facts, start_us), instant(self.facts, end_us))

    def _gallons(
        self,
        number: int,
        tally: DayTally,
        counts: Mapping[str, CounterDay],
        side: tuple[str, str, str],
    ) -> float | None:
        """Return the gallons of a side: from a meter only where no stroke counter is."""
        flow, gallons, strokes = side
        if strokes in counts:
            per_stroke = gallons_per_stroke(self.facts, strokes)
            return None if per_stroke is None else counts[strokes].gain * per_stroke
        if gallons in counts:
            return counts[gallons].gain
        if flow in self.steps.gallons and tally.measures[flow].rows:
            return self.steps.gallons[flow].get(number, 0.0)
        return None

    def _minutes_off_ratio(self, number: int, tally: DayTally) -> list[int] | None:
        """Return the instants at which clock minutes off ratio begin; None where nobody knows."""
        per_a, per_b = (gallons_per_stroke(self.facts, role) for role in (STROKES_A, STROKES_B))
        a, b = tally.strokes.get(STROKES_A), tally.strokes.get(STROKES_B)
        if per_a is None or per_b is None or a is None or b is None:
            return None
        counts = (
            (np.maximum(a.gained, b.gained) >= self.rules.off_ratio_strokes)
            & a.is_whole(tally.has_rows)
            & b.is_whole(tally.has_rows)
        )
        for gap in self.steps.gaps.get(number, []):
            # The minutes between have no strokes, unless a clock that was put back came by again.
            counts[[(each - tally.midnight_us) // MINUTE_US for each in gap]] = False
        for after in self.steps.after_night.get(number, []):
            counts[(after - tally.midnight_us) // MINUTE_US] = False
        for role in (STROKES_A, STROKES_B):
            for before, after in self.counters[role].days[number].glitches:
                if after - before > self.steps.limit_us:
                    counts[(after - tally.midnight_us) // MINUTE_US] = False
        at = np.flatnonzero(counts)
        volume_a, volume_b = a.gained[at] * per_a, b.gained[at] * per_b
        larger = np.maximum(volume_a, volume_b)
        smaller = np.minimum(volume_a, volume_b)
        # ln(larger / smaller) > ln(1 + limit), without the logarithm of a side that stood still;
        # a hair above the limit, so that 22 to 20 strokes are not off by rounding.
        is_off = larger > smaller * (1 + self.rules.off_ratio) * (1 + 1e-9)
        return (at[is_off] * MINUTE_US + tally.midnight_us).tolist()

    def _face(self, count: CounterDay, limit_us: float) -> Face | None:
        if count.first is None or count.last is None:
            return None
        return Face(
            first=count.first[1],
            first_at=instant(self.facts, count.first[2]),
            last=count.last[1],
            last_at=instant(self.facts, count.last[2]),
            changes=tuple(
                FaceChange(
                    before=each.before,
                    after=each.after,
                    at_before=instant(self.facts, each.before_us),
                    at_after=instant(self.facts, each.after_us),
                    is_rollover=each.is_rollover,
                    is_unseen=_is_unseen(each, limit_us),
                    is_set=each.is_set,
                )
                for each in count.changes
            ),
        )

    def _trace(self, tally: DayTally) -> Trace:
        """Return the day in slots of the wall clock; an hour that comes twice is drawn as one."""
        slots = np.unique(np.flatnonzero(tally.has_rows) // TRACE_MINUTES)
        length = TRACE_MINUTES * MINUTE_US
        walls = [instant(self.facts, tally.midnight_us + slot * length) for slot in slots.tolist()]
        starts = [wall.hour * 60 + wall.minute for wall in walls]
        order = sorted(set(starts))
        place = np.searchsorted(order, starts)

        def strokes(role: str) -> tuple[float, ...]:
            mine = tally.strokes.get(role)
            if mine is None:
                return ()
            each = mine.gained.reshape(-1, TRACE_MINUTES).sum(axis=1)[slots]
            return tuple(np.bincount(place, weights=each, minlength=len(order)).tolist())

        def seen(measure: MeasureTally) -> tuple[float | None, ...]:
            first: list[float | None] = [None] * len(order)
            for at, value in zip(place.tolist(), measure.seen[slots].tolist(), strict=True):
                if first[at] is None and value == value:
                    first[at] = value
            return tuple(first)

        return Trace(
            starts=tuple(order),
            strokes_a=strokes(STROKES_A),
            strokes_b=strokes(STROKES_B),
            seen={role: seen(each) for role, each in tally.measures.items() if each.rows},
        )


def day_json(day: Day) -> dict[str, Any]:
    """Return a day as `read_shift_log --json` prints it. Unknown is None, never 0."""

    def rounded(value: float | None, places: int) -> float | None:
        return None if value is None else round(value, places)

    def heat(role: str) -> dict[str, float] | None:
        seen = day.extremes.get(role)
        if seen is None:
            return None
        return {"min": round(seen.min, 2), "mean": round(seen.mean, 2), "max": round(seen.max, 2)}

    def most(role: str) -> float | None:
        seen = day.extremes.get(role)
        return None if seen is None else round(seen.max, 2)

    return {
        "date": day.date.isoformat(),
        "run_hours": rounded(day.run_hours, 4),
        "strokes_a": None if day.strokes_a is None else round(day.strokes_a),
        "strokes_b": None if day.strokes_b is None else round(day.strokes_b),
        "gallons": rounded(day.gallons, 3),
        "resets": {"a": day.resets_a, "b": day.resets_b},
        "at_least": day.is_at_least,
        "minutes_off_ratio": day.minutes_off_ratio,
        "gap_minutes": round(day.gap_minutes, 3),
        "temp_f": {"a": heat(TEMP_A), "b": heat(TEMP_B), "hose": heat(TEMP_HOSE)},
        "pressure_psi_max": {"a": most(PRESSURE_A), "b": most(PRESSURE_B)},
    }


def _driving(counts: Mapping[str, CounterDay]) -> list[str]:
    """Return the counters that the day's strokes, or else its gallons, come from."""
    strokes = [role for role in (STROKES_A, STROKES_B) if role in counts]
    return strokes or [role for role in (GALLONS_A, GALLONS_B, GALLONS) if role in counts]


def _is_unseen(change: Change, limit_us: float) -> bool:
    """Return whether time went unlogged around a reset."""
    is_reset = not change.is_rollover and not change.is_set
    return is_reset and change.after_us - change.before_us > limit_us
