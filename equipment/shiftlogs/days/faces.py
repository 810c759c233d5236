"""One counter of a log, row by row: what it gained, and where it began anew.

A counter of a log only rises. Where it falls, one of four things happened, and this module says
which from the rows around the fall: a value that left and came back (a glitch: nothing gained),
the top of the face passed (rollover), a reset (the new value was counted since), or something
that no rule can tell, which a person is asked about.

Meanings: DEVELOPERS.md, “What the figures of a log mean”. What a pump can make: `paces`.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Final

import numpy as np

from equipment.shiftlogs.blocks import Floats, Integers
from equipment.shiftlogs.days.paces import SECOND_US, Pace
from equipment.shiftlogs.layout import (
    GALLONS,
    GALLONS_A,
    GALLONS_B,
    HOURS,
    STROKES_A,
    STROKES_B,
)

#: How many rows a value may be away and still have been a glitch: "a few".
FEW: Final = 5
#: How much of the past is kept, so that a fall at the edge of a block sees what lay around it.
TAIL: Final = 2 * FEW + 3
MINUTE_US: Final = 60_000_000

#: What an answer to the question `reset` may be.
RESET: Final = "reset"
WRONG: Final = "wrong"


@dataclass(frozen=True, slots=True)
class Change:
    """Where a counter began anew, on the day of its later row. is_set: nothing was counted."""

    day: int
    before: float
    after: float
    before_us: int
    after_us: int
    is_rollover: bool = False
    is_set: bool = False


@dataclass(frozen=True, slots=True)
class Doubt:
    """A place that a person is asked about. is_rise: it leapt; otherwise it fell."""

    line: int
    before: float
    after: float
    after_us: int
    is_rise: bool


@dataclass(slots=True)
class CounterDay:
    """What one counter did on one day. Numbers of samples run through the whole stream."""

    gain: float = 0.0
    first: tuple[int, float, int] | None = None  # number, value, instant
    last: tuple[int, float, int] | None = None
    changes: list[Change] = field(default_factory=list)
    #: Glitches that ended on this day: instants of the good values before and after.
    glitches: list[tuple[int, int]] = field(default_factory=list)


@dataclass(frozen=True, slots=True)
class _Window:
    """Samples around one event; `low` is the number of the first of them."""

    low: int
    values: list[float]
    instants: list[int]
    days: list[int]
    lines: list[int]

    def __contains__(self, number: int) -> bool:
        return self.low <= number < self.low + len(self.values)

    def value(self, number: int) -> float:
        return self.values[number - self.low]

    def instant(self, number: int) -> int:
        return self.instants[number - self.low]

    def day(self, number: int) -> int:
        return self.days[number - self.low]

    @property
    def end(self) -> int:
        return self.low + len(self.values)


class CounterTally:
    """What one counter of a log gained, day by day and minute by minute.

    add: the rows of consecutive blocks. close: once, at the end. Then read `days`, `doubts`.
    """

    def __init__(
        self, role: str, *, pace: Pace, rollover: float | None, answer: str | None
    ) -> None:
        self.role = role
        self.pace = pace
        self.rollover = rollover
        self.answer = answer
        self.days: dict[int, CounterDay] = {}
        self.doubts: list[Doubt] = []
        self.doubt_count = 0
        #: Gains of clock minutes since the last `take_minutes`: minute since 1970, gain.
        self._minutes: list[tuple[Integers, Floats]] = []
        self._count = 0
        self._queue: list[int] = []
        self._settled = 0  # samples before this one belong to an event that is decided
        self._tail = tuple(np.empty(0, kind) for kind in (float, np.int64, np.int64, np.int64))

    def add(
        self,
        *,
        values: Floats,
        instant_us: Integers,
        day: Integers,
        line: Integers,
        minute: Integers,
        ends: Integers,
    ) -> None:
        """Take the next rows that have a value; all arrays of one length, none of it NaN.

        minute: minutes since 1970. ends: index of the last row of each run of equal minutes.
        """
        if not len(values):
            return
        before = self._tail[0][-1] if self._count else values[0]
        last = values[ends]
        gains = np.empty_like(last)
        gains[0] = last[0] - before
        np.subtract(last[1:], last[:-1], out=gains[1:])
        minutes = minute[ends]
        self._minutes.append((minutes, gains))
        self._post_days(values, instant_us, day, ends, gains)
        self._find_events(values, instant_us, before)
        fresh = (values, instant_us, day, line)
        self._resolve(fresh, is_last=False)
        self._keep_tail(fresh)
        self._count += len(values)

    def close(self) -> None:
        """Decide what waited for rows that will not come."""
        nothing = tuple(part[:0] for part in self._tail)
        self._resolve(nothing, is_last=True)

    def take_minutes(self) -> list[tuple[Integers, Floats]]:
        """Return gains of clock minutes, in parts, and forget them. A minute may come again."""
        taken, self._minutes = self._minutes, []
        return taken

    def _post_days(
        self, values: Floats, instant_us: Integers, day: Integers, ends: Integers, gains: Floats
    ) -> None:
        run_days = day[ends]
        starts = np.flatnonzero(run_days[1:] != run_days[:-1]) + 1
        sums = np.add.reduceat(gains, np.concatenate(([0], starts)))
        bounds = [0, *(int(ends[each - 1]) + 1 for each in starts), len(values)]
        for at, gain in enumerate(sums.tolist()):
            first, last = bounds[at], bounds[at + 1] - 1
            tally = self.days.setdefault(int(day[first]), CounterDay())
            tally.gain += gain
            if tally.first is None:
                tally.first = self._sample(values, instant_us, first)
            tally.last = self._sample(values, instant_us, last)

    def _sample(self, values: Floats, instant_us: Integers, at: int) -> tuple[int, float, int]:
        return self._count + at, float(values[at]), int(instant_us[at])

    def _find_events(self, values: Floats, instant_us: Integers, before: float) -> None:
        if self._count and self._is_event(
            float(values[0] - before), int(instant_us[0] - self._tail[1][-1])
        ):
            self._queue.append(self._count)
        rises = values[1:] - values[:-1]
        if not len(rises) or (rises.min() >= 0 and rises.max() <= self.pace.jump):
            return
        for at in np.flatnonzero((rises < 0) | (rises > self.pace.jump)).tolist():
            if self._is_event(float(rises[at]), int(instant_us[at + 1] - instant_us[at])):
                self._queue.append(self._count + at + 1)

    def _is_event(self, rise: float, elapsed_us: int) -> bool:
        return rise < 0 or self.pace.is_jump(rise, elapsed_us)

    def _resolve(self, fresh: tuple[np.ndarray, ...], *, is_last: bool) -> None:
        known = self._count + len(fresh[0])
        waiting = 0
        for number in self._queue:
            if not is_last and number + FEW >= known:
                break
            waiting += 1
            if number >= self._settled:
                self._decide(number, self._window(number, fresh))
        del self._queue[:waiting]

    def _window(self, number: int, fresh: tuple[np.ndarray, ...]) -> _Window:
        low, high = max(number - FEW - 1, 0), number + FEW + 1
        kept = len(self._tail[0])
        old = slice(max(low - self._count + kept, 0), max(high - self._count + kept, 0))
        new = slice(max(low - self._count, 0), max(high - self._count, 0))
        parts = [
            [*mine[old].tolist(), *theirs[new].tolist()]
            for mine, theirs in zip(self._tail, fresh, strict=True)
        ]
        # The tail may be shorter than asked at the very beginning only, where low is 0.
        return _Window(low, *parts)

    def _keep_tail(self, fresh: tuple[np.ndarray, ...]) -> None:
        self._tail = tuple(
            new[-TAIL:].copy()
            if len(new) >= TAIL
            else np.concatenate((old[-(TAIL - len(new)) :], new))
            for old, new in zip(self._tail, fresh, strict=True)
        )

    def _decide(self, number: int, window: _Window) -> None:
        before, after = window.value(number - 1), window.value(number)
        elapsed = window.instant(number) - window.instant(number - 1)
        glitch = self._glitch(number, window)
        if glitch is not None:
            self._forget(*glitch, window)
        elif after > before:
            self._ask(number, window, is_rise=True)
        elif (passed := self._rolled_over(before, after, elapsed)) is not None:
            self._change(number, window, gain=passed, is_rollover=True)
        elif self.pace.is_small(before=before, after=after, elapsed_us=elapsed):
            self._change(number, window, gain=after)
        else:
            self._ask(number, window, is_rise=False)

    def _rolled_over(self, before: float, after: float, elapsed_us: float) -> float | None:
        """Return what was gained over the top of the face, None where it was too far away."""
        if self.rollover is None or before >= self.rollover:
            return None
        passed = self.rollover - before + after
        near = min(self.pace.possible(elapsed_us), self.rollover / 20)
        return passed if passed <= near else None

    def _ask(self, number: int, window: _Window, *, is_rise: bool) -> None:
        """Leave a doubt, unless it was answered; until then nothing was gained there."""
        after = window.value(number)
        if self.answer == RESET:
            if not is_rise:
                self._change(number, window, gain=after)
            return
        self._change(number, window, gain=0.0, is_set=True)
        if self.answer == WRONG:
            return
        self.doubt_count += 1
        if len(self.doubts) < 5:
            self.doubts.append(
                Doubt(
                    line=window.lines[number - window.low],
                    before=window.value(number - 1),
                    after=after,
                    after_us=window.instant(number),
                    is_rise=is_rise,
                )
            )

    def _change(
        self,
        number: int,
        window: _Window,
        *,
        gain: float,
        is_rollover: bool = False,
        is_set: bool = False,
    ) -> None:
        before, after = window.value(number - 1), window.value(number)
        self._correct(number, window, gain - (after - before))
        self.days[window.day(number)].changes.append(
            Change(
                day=window.day(number),
                before=before,
                after=after,
                before_us=window.instant(number - 1),
                after_us=window.instant(number),
                is_rollover=is_rollover,
                is_set=is_set,
            )
        )
        self._settled = number + 1

    def _correct(self, number: int, window: _Window, amount: float) -> None:
        if amount:
            self.days[window.day(number)].gain += amount
            minute = window.instant(number) // MINUTE_US
            self._minutes.append((np.array([minute]), np.array([amount])))

    def _glitch(self, number: int, window: _Window) -> tuple[int, int] | None:
        """Return the samples before and after a value that left and came back, or None.

        Of all pairs the one with the fewest rows between. A rise from the one to the other must be
        possible, and no row between them may lie in that rise.
        """
        best: tuple[int, int] | None = None
        for base in range(number - 1, max(number - FEW - 2, window.low - 1, self._settled - 2), -1):
            low = window.value(base)
            for back in range(max(number, base + 2), min(base + FEW + 2, window.end)):
                if best is not None and back - base >= best[1] - best[0]:
                    break
                high = window.value(back)
                if (
                    high >= low
                    and high - low
                    <= self.pace.possible(window.instant(back) - window.instant(base))
                    and all(not low <= window.value(each) <= high for each in range(base + 1, back))
                    and self._came_back(number, base, back, window)
                ):
                    best = base, back
                    break
        return best

    def _came_back(self, number: int, base: int, back: int, window: _Window) -> bool:
        """Return whether a value came back by a leap, and not by counting up from a reset.

        3, 0, 1, 2, 3 is a counter that was reset; 3, 0, 0, 4 is a glitch.
        """
        before, after = window.value(number - 1), window.value(number)
        elapsed = window.instant(number) - window.instant(number - 1)
        if after > before or not self.pace.is_small(before=before, after=after, elapsed_us=elapsed):
            return True
        speeds = {
            each: self._speed(each, window)
            for each in range(max(window.low + 1, min(base + 1, self._settled)), window.end)
            if window.value(each) > window.value(each - 1)
        }
        impossible = {each for each in speeds if self._is_impossible(each, window)}
        if any(base < each <= back for each in impossible):
            return True
        if base < number - 1 or back not in speeds:
            return False
        others = [speed for at, speed in speeds.items() if at != back and at not in impossible]
        # Pumps speed up, and counts are whole: three times the usual is no leap yet.
        seconds = self._seconds(back, window)
        usual = 3 * max(others) * seconds + 1 if others else 0.0
        return speeds[back] * seconds > usual

    def _speed(self, number: int, window: _Window) -> float:
        rise = window.value(number) - window.value(number - 1)
        return rise / self._seconds(number, window)

    @staticmethod
    def _seconds(number: int, window: _Window) -> float:
        return max(window.instant(number) - window.instant(number - 1), SECOND_US) / SECOND_US

    def _is_impossible(self, number: int, window: _Window) -> bool:
        elapsed = window.instant(number) - window.instant(number - 1)
        return window.value(number) - window.value(number - 1) > self.pace.possible(elapsed)

    def _forget(self, base: int, back: int, window: _Window) -> None:
        """Let the rows between count for nothing."""
        for each in range(base + 1, back + 1):
            right = window.value(back) - window.value(base) if each == back else 0.0
            self._correct(each, window, right - (window.value(each) - window.value(each - 1)))
        for each in range(base + 1, back):
            tally = self.days[window.day(each)]
            if tally.first is not None and tally.first[0] == each:
                tally.first = self._stand_in(back, window, window.day(each))
            if tally.last is not None and tally.last[0] == each:
                tally.last = self._stand_in(base, window, window.day(each))
        self.days[window.day(back)].glitches.append((window.instant(base), window.instant(back)))
        self._settled = back + 1

    @staticmethod
    def _stand_in(number: int, window: _Window, day: int) -> tuple[int, float, int] | None:
        if window.day(number) != day:
            return None
        return number, window.value(number), window.instant(number)


def why_asked(tallies: Mapping[str, CounterTally], when: Callable[[int], str]) -> list[str]:
    """Return a sentence for each doubt, a few for each counter. when: words for an instant."""
    said = []
    for role, tally in tallies.items():
        name = _NAMES[role]
        for doubt in tally.doubts:
            moved = "leapt" if doubt.is_rise else "fell"
            said.append(
                f"Line {doubt.line:,}, {when(doubt.after_us)}: {name} {moved} "
                f"from {doubt.before:,.10g} to {doubt.after:,.10g}."
            )
        if tally.doubt_count > len(tally.doubts):
            more = tally.doubt_count - len(tally.doubts)
            said.append(f"{name[0].upper()}{name[1:]} did so {more} more times.")
    return said


_NAMES: Final[Mapping[str, str]] = {
    STROKES_A: "strokes A",
    STROKES_B: "strokes B",
    GALLONS_A: "gallons A",
    GALLONS_B: "gallons B",
    GALLONS: "gallons of both sides",
    HOURS: "the hour meter",
}
