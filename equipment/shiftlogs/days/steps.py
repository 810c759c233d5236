"""The time between the rows of a log: what was logged, what was a gap, what was a night.

Meanings: DEVELOPERS.md, “What the figures of a log mean”.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Sequence
from typing import Any, Final, TypeVar

import numpy as np
import numpy.typing as npt

from equipment.shiftlogs.blocks import Block, Floats, Integers
from equipment.shiftlogs.days.paces import SECOND_US

#: A step that is no longer than this is no gap, whatever the nominal interval.
LONG_US: Final = 60 * SECOND_US
#: A gap is longer than this many nominal intervals.
NOMINALS: Final = 5
MS_US: Final = 1_000


class Steps:
    """The steps of one stream of rows.

    add: the rows of consecutive blocks. close: once. Then read the rest.
    flows: roles of flow rates that gallons are summed from. [gal/min]
    midnight_us: the instant at which a day (since 1970-01-01) begins in the shop's zone.

    nominal_us: median positive step, to the millisecond; None where there is none.
    limit_us: a step longer than this is a gap, or a night.
    logged_us: by day, without gaps, while the rig ran. gaps: by day, (start, end).
    after_night: by day, instants of rows before which a night, or another unlogged stretch over
        midnight, had passed.
    gallons: by role of a flow rate and day.
    """

    def __init__(self, *, flows: Sequence[str], midnight_us: Callable[[int], int]) -> None:
        self.flows = tuple(flows)
        self._midnight_us = midnight_us
        self._milliseconds = np.zeros(LONG_US // MS_US + 1, dtype=np.int64)
        #: Steps that are decided at the end: start, end, day before, day after, ran; and flows.
        self._kept: list[tuple[Integers, Integers, Integers, Integers, npt.NDArray[np.bool_]]] = []
        self._kept_flows: list[Floats] = []
        self.count = 0
        self.put_back = 0
        self.nominal_us: float | None = None
        self.limit_us: float = float(LONG_US)
        self.logged_us: dict[int, float] = defaultdict(float)
        self.gaps: dict[int, list[tuple[int, int]]] = defaultdict(list)
        self.after_night: dict[int, list[int]] = defaultdict(list)
        self.gallons: dict[str, dict[int, float]] = {role: defaultdict(float) for role in flows}

    def add(
        self,
        block: Block,
        *,
        step: Integers,
        odd: Integers,
        runs: Sequence[tuple[int, int, int]],
        last: Block | None,
    ) -> None:
        """Take the steps to each row of a block from the row before. `step` is used up.

        odd: indices of steps of 0 and less (the first of the stream among them), and of those
            longer than LONG_US.
        runs: (day, first row, row after the last) of stretches of one day.
        last: the row before the block; None for the first of the stream, whose step is none.
        """
        apart = np.array(
            [first for day, first, _ in runs if first or (last is not None and day != last.day[0])],
            dtype=np.int64,
        )
        odd = np.union1d(odd, apart) if len(apart) else odd
        ran = None
        if block.running is not None:
            ran = _shifted(block.running, None if last is None else last.running)
        flows = [
            _shifted(block.values[role], None if last is None else last.values[role])
            for role in self.flows
        ]
        self._keep(block, step, odd, ran, flows, last)
        # Those over midnight are kept aside, yet count for the median.
        short = step[apart]
        self._count_milliseconds(short[(short > 0) & (short <= LONG_US)])
        step[odd] = 0
        self._count_milliseconds(step, without=len(odd))
        for day, first, end in runs:
            steps = step[first:end]
            if ran is not None:
                steps = steps[ran[first:end]]
            self.logged_us[day] += float(steps.sum())
            for role, flow in zip(self.flows, flows, strict=True):
                amounts = flow[first:end] * step[first:end]
                total = float(amounts.sum())
                if total != total:  # the rate is missing in some rows
                    total = float(np.nansum(amounts))
                self.gallons[role][day] += total / LONG_US
        self.count += len(block) - (last is None)

    def close(self) -> None:
        """Decide what is a gap, now that the nominal interval is known."""
        start, end, day_before, day, ran = (
            np.concatenate(parts) if parts else np.zeros(0, np.int64)
            for parts in (zip(*self._kept, strict=True) if self._kept else ((),) * 5)
        )
        flows = np.concatenate([np.zeros((0, len(self.flows))), *self._kept_flows])
        length = end - start
        self.nominal_us = self._median(length[length > LONG_US])
        nominal = self.nominal_us or 0.0
        self.limit_us = max(NOMINALS * nominal, float(LONG_US))
        self.put_back = int((length < 0).sum())
        for at in np.flatnonzero(day != day_before).tolist():
            if length[at] > self.limit_us:
                self.after_night[int(day[at])].append(int(end[at]))
            elif length[at] > 0:
                self._split(at, start, end, day_before, day, ran, flows)
        within = day == day_before
        is_gap = within & (length > self.limit_us)
        for at in np.flatnonzero(is_gap).tolist():
            self.gaps[int(day[at])].append((int(start[at]), int(end[at])))
        counts = np.where(length < 0, nominal, length.astype(float))
        is_logged = (within & ~is_gap) | (length < 0)
        self._add_by_day(self.logged_us, day, np.where(is_logged & (ran != 0), counts, 0.0))
        for at, role in enumerate(self.flows):
            amounts = np.where(is_logged, np.nan_to_num(flows[:, at]) * counts, 0.0) / LONG_US
            self._add_by_day(self.gallons[role], day, amounts)
        self._kept, self._kept_flows = [], []

    @staticmethod
    def _add_by_day(sums: dict[int, float], day: Integers, amounts: Floats) -> None:
        if not len(day):
            return
        low = int(day.min())
        added = np.bincount(day - low, weights=amounts)
        for at in np.flatnonzero(added).tolist():
            sums[low + at] += float(added[at])

    def _keep(
        self,
        block: Block,
        step: Integers,
        odd: Integers,
        ran: npt.NDArray[np.bool_] | None,
        flows: Sequence[Floats],
        last: Block | None,
    ) -> None:
        odd = odd[step[odd] != 0]
        if last is None:
            odd = odd[odd > 0]
        if not len(odd):
            return
        end = block.instant_us[odd]
        day_before = block.day[odd - 1]
        if last is not None:
            day_before[odd == 0] = last.day[0]
        self._kept.append(
            (
                end - step[odd],
                end,
                day_before,
                block.day[odd],
                np.ones(len(odd), np.bool_) if ran is None else ran[odd],
            )
        )
        if flows:
            self._kept_flows.append(np.stack([flow[odd] for flow in flows], axis=1))

    def _split(
        self,
        at: int,
        start: Integers,
        end: Integers,
        day_before: Integers,
        day: Integers,
        ran: npt.NDArray[Any],
        flows: Floats,
    ) -> None:
        """Give each of two days its part of a step over midnight; days between have no rows."""
        before, after = int(day_before[at]), int(day[at])
        parts = (
            (before, self._midnight_us(before + 1) - int(start[at])),
            (after, int(end[at]) - self._midnight_us(after)),
        )
        for each, part in parts:
            if ran[at]:
                self.logged_us[each] += part
            for place, role in enumerate(self.flows):
                flow = float(flows[at, place])
                self.gallons[role][each] += 0.0 if flow != flow else flow * part / LONG_US

    def _count_milliseconds(self, steps: Integers, *, without: int = 0) -> None:
        """Count steps by whole milliseconds. without: how many of them are 0 for being none."""
        if len(steps):
            counts = np.bincount(steps // MS_US)
            self._milliseconds[: len(counts)] += counts
            self._milliseconds[0] -= without

    def _median(self, longer: Integers) -> float | None:
        """Return the median of all positive steps. longer: those above LONG_US."""
        upto = np.cumsum(self._milliseconds)
        count = int(upto[-1]) + len(longer)
        if not count:
            return None
        ordered = np.sort(longer)

        def ranked(rank: int) -> float:
            if rank < upto[-1]:
                return float(np.searchsorted(upto, rank, side="right")) * MS_US
            return float(ordered[rank - int(upto[-1])])

        return (ranked((count - 1) // 2) + ranked(count // 2)) / 2


_Values = TypeVar("_Values", bound=npt.NDArray[Any])


def _shifted(values: _Values, last: _Values | None) -> _Values:
    """Return for each row what the row before it has; the first row of a stream has none."""
    shifted = np.empty_like(values)
    shifted[1:] = values[:-1]
    shifted[0] = values[0] if last is None else last[0]
    return shifted
