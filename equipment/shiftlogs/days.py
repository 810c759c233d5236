"""Rows of a log to the figures of its days.

What each figure means: DEVELOPERS.md, “What the figures of a log mean”. Where that leaves a choice
it is made here and said beside the code:

- A step over midnight is never a gap. As long as a gap it is a night, and logged time of neither
  day; shorter, it is split at midnight. A step of the clock back belongs to the day of the later
  row.
- Which steps are gaps depends on the nominal interval, which is known at the end: until then steps
  longer than a minute are kept aside.
- A clock minute is left out of `minutes_off_ratio` if any of it lies in a gap or if a counter had
  no value in it, and so is the minute in which the count comes again after that.
- From flow rates gallons are summed as the rate at the earlier row times the step, without gaps.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from typing import Any, Final

import numpy as np
import numpy.typing as npt

from equipment.shiftlogs.blocks import (
    TRACE_MINUTES,
    Block,
    Day,
    Extremes,
    Face,
    FaceChange,
    Floats,
    Integers,
    RigFacts,
    Rules,
    Span,
    Trace,
)
from equipment.shiftlogs.faces import (
    MINUTE_US,
    RESET,
    SECOND_US,
    WRONG,
    Change,
    CounterDay,
    CounterTally,
    pace_of,
    why_asked,
)
from equipment.shiftlogs.instants import (
    DUPLICATE_CHOICES,
    Repeats,
    SameInstant,
    steps_of,
    take,
)
from equipment.shiftlogs.layout import (
    FLOW_A,
    FLOW_B,
    GALLONS,
    GALLONS_A,
    GALLONS_B,
    MEASURES,
    PRESSURE_A,
    PRESSURE_B,
    STROKES_A,
    STROKES_B,
    TEMP_A,
    TEMP_B,
    TEMP_HOSE,
    TOTALS,
    AnswerRefused,
    Question,
)
from equipment.shiftlogs.steps import LONG_US, Steps

#: Minutes of the longest calendar day: 24 hours, and up to two that a change of zone adds.
DAY_MINUTES: Final = 26 * 60
IN3_PER_GAL: Final = 231.0  # NIST Handbook 44, Appendix C: exactly
EPOCH: Final = datetime(1970, 1, 1, tzinfo=UTC)


@dataclass(frozen=True, slots=True)
class Reckoned:
    """The days of a log, in order. questions: where not empty the figures are provisional.

    nominal_s: the nominal interval, to the millisecond; None for fewer than two rows. [s]
    notes: what was decided, for the page.
    """

    days: list[Day]
    questions: tuple[Question, ...] = ()
    nominal_s: float | None = None
    notes: tuple[str, ...] = ()


@dataclass(slots=True)
class _Measure:
    """Extremes on the way; seen: the first value of each slot since midnight."""

    low: float = math.inf
    total: float = 0.0
    high: float = -math.inf
    rows: int = 0
    seen: Floats = field(default_factory=lambda: np.full(DAY_MINUTES // TRACE_MINUTES, np.nan))

    def take(self, values: Floats) -> bool:
        """Add rows; return whether all of them had a value."""
        low = float(values.min())
        is_whole = low == low
        if not is_whole:
            values = values[~np.isnan(values)]
            if not len(values):
                return False
            low = float(values.min())
        self.low = min(self.low, low)
        self.high = max(self.high, float(values.max()))
        self.total += float(values.sum())
        self.rows += len(values)
        return is_whole

    def see(self, slots: Integers, values: Floats) -> None:
        """Keep the first value of each slot; where a slot comes twice, the earlier row's."""
        new = np.isnan(self.seen[slots])
        self.seen[slots[new][::-1]] = values[new][::-1]

    def extremes(self) -> Extremes:
        return Extremes(min=self.low, mean=self.total / self.rows, max=self.high, rows=self.rows)


@dataclass(slots=True)
class _Strokes:
    """Strokes of a side by minute since midnight. is_known: the counter had a value in it."""

    gained: Floats = field(default_factory=lambda: np.zeros(DAY_MINUTES))
    is_known: npt.NDArray[np.bool_] = field(
        default_factory=lambda: np.zeros(DAY_MINUTES, dtype=np.bool_)
    )

    def is_whole(self, has_rows: npt.NDArray[np.bool_]) -> npt.NDArray[np.bool_]:
        """Return the minutes whose strokes are their own: no minute before went without value."""
        missing = np.cumsum(has_rows & ~self.is_known)
        known = np.flatnonzero(self.is_known)
        whole = self.is_known.copy()
        whole[known[np.diff(missing[known], prepend=0) > 0]] = False
        return whole


@dataclass(slots=True)
class _DayTally:
    """One day on the way. Arrays run over its minutes since midnight."""

    midnight_us: int
    first_us: int
    last_us: int = 0
    rows: int = 0
    measures: dict[str, _Measure] = field(default_factory=dict)
    strokes: dict[str, _Strokes] = field(default_factory=dict)
    has_rows: npt.NDArray[np.bool_] = field(
        default_factory=lambda: np.zeros(DAY_MINUTES, dtype=np.bool_)
    )

    def strokes_of(self, role: str) -> _Strokes:
        return self.strokes.setdefault(role, _Strokes())


class Reckoner:
    """Days out of the blocks of one stream, handed in one after the other.

    The figures do not depend on where one block ends and the next begins. Memory grows with the
    days (some 60 kB each) and the steps longer than a minute, not with the rows.

    answers: of a person, by key; here `reset` and `duplicates` matter.
    Raises AnswerRefused for an answer that is none of the choices.
    """

    def __init__(self, facts: RigFacts, rules: Rules, answers: Mapping[str, str]) -> None:
        self.facts = facts
        self.rules = rules
        self._reset = chosen(answers, "reset", RESET_CHOICES)
        self._repeats = Repeats()
        self._same_instant = SameInstant(chosen(answers, "duplicates", DUPLICATE_CHOICES))
        self._counters: dict[str, CounterTally] = {}
        self._days: dict[int, _DayTally] = {}
        self._midnights: dict[int, int] = {}
        self._steps: Steps | None = None
        self._last: Block | None = None

    def add(self, block: Block) -> None:
        """Take the next rows of the stream."""
        self._take(self._same_instant.sift(self._repeats.drop(block), self._last))

    def _take(self, block: Block) -> None:
        if not len(block):
            return
        step = steps_of(block, self._last)
        # One comparison finds both: 0 and below wrap around to the largest numbers.
        odd = np.flatnonzero((step - 1).view(np.uint64) >= LONG_US)
        if self._steps is None:
            self._steps = Steps(flows=self._flows_needed(block), midnight_us=self._midnight_us)
        minute = block.instant_us // MINUTE_US
        turns = np.flatnonzero(minute[1:] != minute[:-1])
        starts = np.concatenate(([0], turns + 1))
        ends = np.concatenate((turns, [len(block) - 1]))
        runs = _runs(block.day, starts)
        self._steps.add(block, step=step, odd=odd, runs=runs, last=self._last)
        for day, first, end in runs:
            self._add_rows(day, block, first, end, minute[starts], starts)
        for role in TOTALS:
            if role in block.values:
                self._count(role, block, minute, ends)
        self._last = take(block, slice(-1, None))

    def close(self) -> Reckoned:
        """Return the days, and what remains to be asked. Once, at the end."""
        held = self._same_instant.held()
        if held is not None:
            self._take(held)
        if self._steps is None:
            return Reckoned(days=[])
        for role, counter in self._counters.items():
            counter.close()
            self._post_minutes(role, counter)
        self._steps.close()
        nominal_us = self._steps.nominal_us
        return Reckoned(
            days=[self._day(number) for number in sorted(self._days)],
            questions=tuple(self._questions()),
            nominal_s=None if nominal_us is None else nominal_us / SECOND_US,
            notes=tuple(self._notes()),
        )

    # On the way

    def _flows_needed(self, block: Block) -> list[str]:
        """Return the flow rates that gallons must be summed from, for want of a counter."""
        return [
            flow
            for flow, gallons, strokes in _SIDES
            if flow in block.values and not block.values.keys() & {gallons, strokes}
        ]

    def _gallons_per_stroke(self, role: str) -> float | None:
        in3 = self.facts.in3_per_stroke_a if role == STROKES_A else self.facts.in3_per_stroke_b
        return in3 / IN3_PER_GAL if in3 else None

    def _midnight_us(self, day: int) -> int:
        if day not in self._midnights:
            on = date.fromordinal(_EPOCH_ORDINAL + day)
            midnight = datetime(on.year, on.month, on.day, tzinfo=self.facts.zone)
            self._midnights[day] = (midnight - EPOCH) // timedelta(microseconds=1)
        return self._midnights[day]

    def _add_rows(
        self, day: int, block: Block, first: int, end: int, minutes: Integers, starts: Integers
    ) -> None:
        """Take rows of one day. minutes, starts: clock minutes, and the first row of each."""
        tally = self._days.get(day)
        if tally is None:
            tally = self._days[day] = _DayTally(
                midnight_us=self._midnight_us(day), first_us=int(block.instant_us[first])
            )
        tally.rows += end - first
        tally.last_us = int(block.instant_us[end - 1])
        low, high = np.searchsorted(starts, (first, end))
        places = minutes[low:high] - tally.midnight_us // MINUTE_US
        if places.min() < 0 or places.max() >= DAY_MINUTES:
            raise ValueError("A row lies outside the calendar day that it is said to be of.")
        tally.has_rows[places] = True
        slots = places // TRACE_MINUTES
        new = np.concatenate(([0], np.flatnonzero(slots[1:] != slots[:-1]) + 1))
        slots, slot_rows = slots[new], starts[low:high][new]
        for role in MEASURES:
            if role in block.values:
                values = block.values[role]
                measure = tally.measures.setdefault(role, _Measure())
                if measure.take(values[first:end]):
                    measure.see(slots, values[slot_rows])
                else:
                    with_value = np.flatnonzero(~np.isnan(values[first:end])) + first
                    at = block.instant_us[with_value] - tally.midnight_us
                    measure.see(at // (TRACE_MINUTES * MINUTE_US), values[with_value])

    def _count(self, role: str, block: Block, minute: Integers, ends: Integers) -> None:
        counter = self._counters.get(role)
        if counter is None:
            counter = self._counters[role] = CounterTally(
                role,
                pace=pace_of(role, self.facts),
                rollover={
                    STROKES_A: self.facts.rollover_a,
                    STROKES_B: self.facts.rollover_b,
                }.get(role),
                answer=self._reset,
            )
        values, instant, day, line = block.values[role], block.instant_us, block.day, block.line
        if math.isnan(values.min()):
            there = np.flatnonzero(~np.isnan(values))
            if not len(there):
                return
            values, instant, day, line = values[there], instant[there], day[there], line[there]
            minute = minute[there]
            ends = np.append(np.flatnonzero(minute[1:] != minute[:-1]), len(there) - 1)
        counter.add(values=values, instant_us=instant, day=day, line=line, minute=minute, ends=ends)
        self._post_minutes(role, counter)

    def _post_minutes(self, role: str, counter: CounterTally) -> None:
        """Lay the gains of clock minutes into their days."""
        for minutes, gains in counter.take_minutes():
            if role not in (STROKES_A, STROKES_B):
                continue
            numbers = sorted(self._days)
            midnights = np.array([self._days[each].midnight_us // MINUTE_US for each in numbers])
            owner = np.searchsorted(midnights, minutes, side="right") - 1
            for at in np.unique(owner).tolist():
                mine = owner == at
                strokes = self._days[numbers[at]].strokes_of(role)
                np.add.at(strokes.gained, minutes[mine] - midnights[at], gains[mine])
                strokes.is_known[minutes[mine] - midnights[at]] = True

    # At the end

    def _day(self, number: int) -> Day:
        assert self._steps is not None
        tally = self._days[number]
        limit_us = self._steps.limit_us
        counts = {
            role: counter.days[number]
            for role, counter in self._counters.items()
            if number in counter.days
        }
        gallons_a, gallons_b = (self._gallons(number, tally, counts, side) for side in _SIDES)
        gallons = None
        if gallons_a is not None and gallons_b is not None:
            gallons = gallons_a + gallons_b
        elif GALLONS in counts and STROKES_A not in counts and STROKES_B not in counts:
            gallons = counts[GALLONS].gain
        resets = {
            role: sum(not each.is_rollover and not each.is_set for each in count.changes)
            for role, count in counts.items()
        }
        gaps = self._steps.gaps.get(number, [])
        off_ratio = self._minutes_off_ratio(number, tally)
        return Day(
            date=date.fromordinal(_EPOCH_ORDINAL + number),
            rows=tally.rows,
            first_at=self._at(tally.first_us),
            last_at=self._at(tally.last_us),
            run_hours=self._steps.logged_us.get(number, 0.0) / (3600 * SECOND_US),
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
            gaps=tuple(Span(self._at(start), self._at(end)) for start, end in gaps),
            off_ratio=tuple(
                Span(self._at(minute), self._at(minute + MINUTE_US)) for minute in off_ratio or ()
            ),
            trace=self._trace(tally),
        )

    def _gallons(
        self,
        number: int,
        tally: _DayTally,
        counts: Mapping[str, CounterDay],
        side: tuple[str, str, str],
    ) -> float | None:
        """Return the gallons of a side: from a meter only where no stroke counter is."""
        flow, gallons, strokes = side
        if strokes in counts:
            per_stroke = self._gallons_per_stroke(strokes)
            return None if per_stroke is None else counts[strokes].gain * per_stroke
        if gallons in counts:
            return counts[gallons].gain
        assert self._steps is not None
        if flow in self._steps.gallons and tally.measures[flow].rows:
            return self._steps.gallons[flow].get(number, 0.0)
        return None

    def _minutes_off_ratio(self, number: int, tally: _DayTally) -> list[int] | None:
        """Return the instants at which clock minutes off ratio begin; None where nobody knows."""
        assert self._steps is not None
        per_a, per_b = (self._gallons_per_stroke(role) for role in (STROKES_A, STROKES_B))
        a, b = tally.strokes.get(STROKES_A), tally.strokes.get(STROKES_B)
        if per_a is None or per_b is None or a is None or b is None:
            return None
        counts = (
            (np.maximum(a.gained, b.gained) >= self.rules.off_ratio_strokes)
            & a.is_whole(tally.has_rows)
            & b.is_whole(tally.has_rows)
        )
        for gap in self._steps.gaps.get(number, []):
            # The minutes between have no strokes, unless a clock that was put back came by again.
            counts[[(each - tally.midnight_us) // MINUTE_US for each in gap]] = False
        for after in self._steps.after_night.get(number, []):
            counts[(after - tally.midnight_us) // MINUTE_US] = False
        for role in (STROKES_A, STROKES_B):
            for before, after in self._counters[role].days[number].glitches:
                if after - before > self._steps.limit_us:
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
            first_at=self._at(count.first[2]),
            last=count.last[1],
            last_at=self._at(count.last[2]),
            changes=tuple(
                FaceChange(
                    before=each.before,
                    after=each.after,
                    at_before=self._at(each.before_us),
                    at_after=self._at(each.after_us),
                    is_rollover=each.is_rollover,
                    is_unseen=_is_unseen(each, limit_us),
                    is_set=each.is_set,
                )
                for each in count.changes
            ),
        )

    def _trace(self, tally: _DayTally) -> Trace:
        """Return the day in slots of the wall clock; an hour that comes twice is drawn as one."""
        slots = np.unique(np.flatnonzero(tally.has_rows) // TRACE_MINUTES)
        length = TRACE_MINUTES * MINUTE_US
        walls = [self._at(tally.midnight_us + slot * length) for slot in slots.tolist()]
        starts = [wall.hour * 60 + wall.minute for wall in walls]
        order = sorted(set(starts))
        place = np.searchsorted(order, starts)

        def strokes(role: str) -> tuple[float, ...]:
            mine = tally.strokes.get(role)
            if mine is None:
                return ()
            each = mine.gained.reshape(-1, TRACE_MINUTES).sum(axis=1)[slots]
            return tuple(np.bincount(place, weights=each, minlength=len(order)).tolist())

        def seen(measure: _Measure) -> tuple[float | None, ...]:
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

    def _at(self, instant_us: int) -> datetime:
        return (EPOCH + timedelta(microseconds=instant_us)).astimezone(self.facts.zone)

    def _questions(self) -> list[Question]:
        asked = []
        said = why_asked(self._counters, self.when)
        if said:
            asked.append(Question(key="reset", choices=RESET_CHOICES, why=" ".join(said)))
        clash = self._same_instant.why(self.when)
        if clash:
            asked.append(Question(key="duplicates", choices=DUPLICATE_CHOICES, why=clash))
        return asked

    def when(self, instant_us: int) -> str:
        """Return an instant in words: "10:32:05 on 4 March 2026"."""
        at = self._at(instant_us)
        return f"{at:%H:%M:%S} on {at.day} {at:%B %Y}"

    def _notes(self) -> list[str]:
        assert self._steps is not None
        notes = []
        if self._steps.put_back:
            times = "once" if self._steps.put_back == 1 else f"{self._steps.put_back:,} times"
            notes.append(f"The clock was put back {times}; each counts as one usual step.")
        if self._repeats.count:
            rows = "A row" if self._repeats.count == 1 else f"{self._repeats.count:,} rows"
            notes.append(f"{rows} came again some lines later and counted once.")
        if self._same_instant.is_coarse:
            notes.append("Several rows share each time written; all of them count, in their order.")
        return notes


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


def chosen(
    answers: Mapping[str, str], key: str, choices: tuple[tuple[str, str], ...]
) -> str | None:
    """Return the choice that was answered, or None. Raises AnswerRefused for any other word."""
    answer = answers.get(key)
    if answer is None:
        return None
    token = answer.strip().casefold().replace(" ", "_").replace("-", "_")
    if token not in {each for each, _ in choices}:
        listed = " or ".join(each for each, _ in choices)
        raise AnswerRefused(key, f"“{answer}” is no answer here: {listed}.")
    return token


def _runs(day: Integers, starts: Integers) -> list[tuple[int, int, int]]:
    """Return stretches of one day: day, first row, row after the last. starts: of minutes."""
    days = day[starts]
    turns = np.concatenate(([0], np.flatnonzero(days[1:] != days[:-1]) + 1))
    firsts = starts[turns].tolist()
    return list(zip(days[turns].tolist(), firsts, [*firsts[1:], len(day)], strict=True))


def _driving(counts: Mapping[str, CounterDay]) -> list[str]:
    """Return the counters that the day's strokes, or else its gallons, come from."""
    strokes = [role for role in (STROKES_A, STROKES_B) if role in counts]
    return strokes or [role for role in (GALLONS_A, GALLONS_B, GALLONS) if role in counts]


def _is_unseen(change: Change, limit_us: float) -> bool:
    """Return whether time went unlogged around a reset."""
    is_reset = not change.is_rollover and not change.is_set
    return is_reset and change.after_us - change.before_us > limit_us


_EPOCH_ORDINAL: Final = EPOCH.toordinal()
#: Flow rate, flow meter and stroke counter of each side.
_SIDES: Final = ((FLOW_A, GALLONS_A, STROKES_A), (FLOW_B, GALLONS_B, STROKES_B))
RESET_CHOICES: Final = (
    (RESET, "The counter was reset, or really moved so: count what it showed after that."),
    (WRONG, "A wrong number: count nothing there, and go on from the new one."),
)
