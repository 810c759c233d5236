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
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Final

import numpy as np

from equipment.shiftlogs.blocks import (
    TRACE_MINUTES,
    Block,
    Day,
    Floats,
    Integers,
    RigFacts,
    Rules,
)
from equipment.shiftlogs.days.faces import (
    MINUTE_US,
    RESET,
    WRONG,
    CounterTally,
    why_asked,
)
from equipment.shiftlogs.days.figures import (
    EPOCH,
    EPOCH_DAY,
    SIDES,
    DayFigures,
    day_json,
    instant,
)
from equipment.shiftlogs.days.instants import (
    DUPLICATE_CHOICES,
    Repeats,
    SameInstant,
    steps_of,
    take,
)
from equipment.shiftlogs.days.paces import SECOND_US, pace_of
from equipment.shiftlogs.days.steps import LONG_US, Steps
from equipment.shiftlogs.days.tally import DAY_MINUTES, DayTally, MeasureTally
from equipment.shiftlogs.layout import (
    MEASURES,
    STROKES_A,
    STROKES_B,
    TOTALS,
    AnswerRefused,
    Question,
)

__all__ = ["Reckoned", "Reckoner", "chosen", "day_json"]


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
        self._days: dict[int, DayTally] = {}
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
        figures = DayFigures(self.facts, self.rules, self._steps, self._counters)
        nominal_us = self._steps.nominal_us
        return Reckoned(
            days=[figures.day(number, self._days[number]) for number in sorted(self._days)],
            questions=tuple(self._questions()),
            nominal_s=None if nominal_us is None else nominal_us / SECOND_US,
            notes=tuple(self._notes()),
        )

    # On the way

    def _flows_needed(self, block: Block) -> list[str]:
        """Return the flow rates that gallons must be summed from, for want of a counter."""
        return [
            flow
            for flow, gallons, strokes in SIDES
            if flow in block.values and not block.values.keys() & {gallons, strokes}
        ]

    def _midnight_us(self, day: int) -> int:
        if day not in self._midnights:
            on = date.fromordinal(EPOCH_DAY + day)
            midnight = datetime(on.year, on.month, on.day, tzinfo=self.facts.zone)
            self._midnights[day] = (midnight - EPOCH) // timedelta(microseconds=1)
        return self._midnights[day]

    def _add_rows(
        self, day: int, block: Block, first: int, end: int, minutes: Integers, starts: Integers
    ) -> None:
        """Take rows of one day. minutes, starts: clock minutes, and the first row of each."""
        tally = self._days.get(day)
        if tally is None:
            tally = self._days[day] = DayTally(
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
                measure = tally.measures.setdefault(role, MeasureTally())
                rows = slot_rows
                if not measure.take(values[first:end]):
                    rows = _first_with_value(values, slot_rows, end)
                measure.see(slots, values[rows])

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
        values, instants, day, line = block.values[role], block.instant_us, block.day, block.line
        if math.isnan(values.min()):
            there = np.flatnonzero(~np.isnan(values))
            if not len(there):
                return
            values, instants, day, line = values[there], instants[there], day[there], line[there]
            minute = minute[there]
            ends = np.append(np.flatnonzero(minute[1:] != minute[:-1]), len(there) - 1)
        counter.add(
            values=values, instant_us=instants, day=day, line=line, minute=minute, ends=ends
        )
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
        at = instant(self.facts, instant_us)
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


def _first_with_value(values: Floats, starts: Integers, end: int) -> Integers:
    """Return for stretches of rows the first that has a value, or the first where none has."""
    found = starts.copy()
    bounds = [*starts.tolist(), end]
    for place in np.flatnonzero(np.isnan(values[starts])).tolist():
        there = np.flatnonzero(~np.isnan(values[bounds[place] : bounds[place + 1]]))
        if len(there):
            found[place] += there[0]
    return found


def _runs(day: Integers, starts: Integers) -> list[tuple[int, int, int]]:
    """Return stretches of one day: day, first row, row after the last. starts: of minutes."""
    days = day[starts]
    turns = np.concatenate(([0], np.flatnonzero(days[1:] != days[:-1]) + 1))
    firsts = starts[turns].tolist()
    return list(zip(days[turns].tolist(), firsts, [*firsts[1:], len(day)], strict=True))


RESET_CHOICES: Final = (
    (RESET, "The counter was reset, or really moved so: count what it showed after that."),
    (WRONG, "A wrong number: count nothing there, and go on from the new one."),
)
