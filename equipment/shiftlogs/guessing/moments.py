"""When a row was written: the columns of time, their order of day and month, direction, clock."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from itertools import pairwise
from statistics import median
from typing import Final

from equipment.shiftlogs.guessing.cells import (
    DAY_US,
    ORDERS,
    ClockCell,
    DateCell,
    read_clock,
    read_date,
    read_moment,
)
from equipment.shiftlogs.guessing.zone_names import offset_of, place_of

_HOUR: Final = 3_600_000_000


@dataclass(slots=True)
class Seen:
    """The moments of a stretch of rows that follow each other, as written."""

    days: list[DateCell | None] = field(default_factory=list)
    clocks: list[ClockCell | None] = field(default_factory=list)
    texts: list[str] = field(default_factory=list)


@dataclass(frozen=True, slots=True)
class Decided:
    """What the moments of a file say.

    orders: those of ORDERS that they leave, the likeliest first; () where there is no date.
    why: what decided, for the person. is_backward: newest row first.
    is_twelve: AM and PM stand beside the hour. wraps: hours of a 12-hour clock without AM and PM.
    example: a date that leaves the doubt. zones: as written in the cells.
    """

    orders: tuple[str, ...]
    why: str = ""
    is_backward: bool = False
    is_twelve: bool = False
    wraps: str = ""
    example: str = ""
    zones: tuple[str, ...] = ()
    contradiction: str = ""
    is_sure: bool = True


def see(
    rows: Sequence[Sequence[str]],
    *,
    moment: int | None,
    day: Sequence[int],
    clock: Sequence[int],
) -> Seen:
    """Return moments in rows: of some rows evenly, and of each about a change of date.

    moment, day, clock: places of the columns; date and time of day may take several cells.
    """
    read: dict[int, tuple[DateCell | None, ClockCell | None]] = {}

    def look(at: int) -> tuple[DateCell | None, ClockCell | None]:
        if at not in read:
            row = rows[at]
            if moment is not None:
                read[at] = read_moment(row[moment]) or (None, None)
            else:
                on = read_date(" ".join([row[place] for place in day])) if day else None
                when = None
                if clock and (on or not day):
                    when = read_clock(" ".join([row[place] for place in clock]))
                read[at] = (on, when)
        return read[at]

    step = 1 + len(rows) // 100 if len(rows) > 200 else 1 + len(rows) // 40
    places = sorted({*range(min(12, len(rows))), *range(0, len(rows), step), len(rows) - 1})
    for before, after in pairwise(places):
        if after > before + 1 and look(before)[0] != look(after)[0]:
            for at in range(before, after):
                look(at)
    needs_day = moment is not None or bool(day)
    shown = (moment,) if moment is not None else day or clock
    seen = Seen()
    for at in sorted({*places, *read}) if rows else ():
        on, when = look(at)
        if (needs_day and on is None) or (when is None and (moment is not None or clock)):
            continue
        seen.days.append(on)
        seen.clocks.append(when)
        seen.texts.append(" ".join(rows[at][place] for place in shown))
    return seen


def decide(stretches: Sequence[Seen], hints: Iterable[date] = ()) -> Decided:
    """Return what the moments of a file say.

    stretches: of the file, in its order. hints: dates that the file states beyond doubt elsewhere
    (in its preamble, by an epoch column), of its first or last row.
    """
    is_backward = _is_backward(stretches)
    clocks = [each for seen in stretches for each in seen.clocks if each]
    is_twelve = any(each.meridiem for each in clocks)
    zones = tuple(dict.fromkeys(each.zone for each in clocks if each.zone))
    wraps = "" if is_twelve else _wraps(stretches, clocks, is_backward)
    cells: dict[DateCell, str] = {}
    for seen in stretches:
        for day, text in zip(seen.days, seen.texts, strict=True):
            if day and day not in cells:
                cells[day] = text
    if not cells:
        return Decided((), "", is_backward, is_twelve, wraps, "", zones)
    orders, why, contradiction = _orders(cells)
    alike = [o for o in ORDERS if all(o in each.orders for each in cells)]
    if len(orders) > 1:
        orders, why = _by_progress(orders, stretches, is_backward)
    if len(orders) > 1 and (stated := list(hints)):
        first, *_, last = [*cells, *cells]
        fit = [o for o in orders if {first.day(o), last.day(o)} & set(stated)]
        if len(fit) == 1:
            orders, why = (fit[0],), "another date in the file is the same day"
    example = next((text for day, text in cells.items() if _differs(day, orders)), "")
    return Decided(
        orders, why, is_backward, is_twelve, wraps, example, zones, contradiction,
        is_sure=len(alike) < 2 or any(_differs(each, alike) for each in cells),
    )  # fmt: skip


def _differs(day: DateCell, orders: Sequence[str]) -> bool:
    return len({day.day(each) for each in orders} - {None}) > 1


def _orders(cells: dict[DateCell, str]) -> tuple[tuple[str, ...], str, str]:
    left = [o for o in ORDERS if all(o in each.orders for each in cells)]
    if left:
        same = all(not _differs(each, left) for each in cells)
        if len(left) == 1 or same:
            by_name = any(each.weekday for each in cells)
            text = next(iter(cells.values()))
            for each, written in cells.items():
                if len(each.orders) == 1:
                    text = written
                    break
            why = f"“{text}” can be read in one way only"
            if by_name:
                why += " with its weekday"
            return (left[0],), why, ""
        return tuple(left), "", ""
    one = {o: next((t for c, t in cells.items() if o not in c.orders), "") for o in ORDERS}
    likeliest = max(ORDERS, key=lambda o: sum(o in each.orders for each in cells))
    fitting = next((t for c, t in cells.items() if c.orders == (likeliest,)), "")
    words = f"“{one[likeliest]}” and “{fitting or next(iter(cells.values()))}”"
    return (likeliest,), "", words


def _at(day: DateCell | None, clock: ClockCell | None, order: str) -> int | None:
    """Return a moment without a zone. [µs]"""
    if day is None or (on := day.day(order)) is None:
        return None
    return on.toordinal() * DAY_US + (clock.us if clock else 0)


def _by_progress(
    orders: Sequence[str], stretches: Sequence[Seen], is_backward: bool
) -> tuple[tuple[str, ...], str]:
    sign = -1 if is_backward else 1
    steps: list[int] = []
    changes: list[tuple[Seen, int]] = []
    for seen in stretches:
        for at in range(1, len(seen.days)):
            before, after = seen.clocks[at - 1], seen.clocks[at]
            if seen.days[at] != seen.days[at - 1]:
                changes.append((seen, at))
            elif before and after and (step := sign * (after.us - before.us)) > 0:
                steps.append(step)
    nominal = median(steps) if steps else 60_000_000
    reach = max(5 * nominal, 60_000_000)
    for seen, at in changes:
        fits, gaps = [], []
        for order in orders:
            a = _at(seen.days[at - 1], seen.clocks[at - 1], order)
            b = _at(seen.days[at], seen.clocks[at], order)
            if a is not None and b is not None:
                step = sign * (b - a)
                if 0 < step <= reach:
                    fits.append(order)
                elif abs(step) > DAY_US:
                    gaps.append(order)
        if len(fits) == 1 and len(gaps) == len(orders) - 1:
            return (
                (fits[0],),
                f"the rows run on over midnight from “{seen.texts[at - 1]}” to “{seen.texts[at]}”",
            )
    # Dates in the file's order: one order in which time runs on, others in which it leaps back.
    days: list[tuple[DateCell, str]] = []
    for seen in stretches:
        for day, text in zip(seen.days, seen.texts, strict=True):
            if day and (not days or days[-1][0] != day):
                days.append((day, text))
    rises, close, far = [], [], []
    for order in orders:
        ordinals = [on.toordinal() if (on := day.day(order)) else 0 for day, _ in days]
        jumps = [sign * (b - a) for a, b in pairwise(ordinals)]
        if min(jumps, default=0) >= 0:
            rises.append(order)
            if len(jumps) >= 2:
                close += [order] if max(jumps) <= 4 else []
                far += [order] if min(jumps) >= 27 else []
    if len(rises) == 1 and len(days) > 1:
        return (rises[0],), f"only so do the dates run on, from “{days[0][1]}” to “{days[-1][1]}”"
    if len(close) == 1 and len(far) == len(orders) - 1:
        return (close[0],), f"the dates from “{days[0][1]}” to “{days[-1][1]}” follow each other"
    return tuple(rises or orders), ""


def _is_backward(stretches: Sequence[Seen]) -> bool:
    """Say whether the file runs newest first: by the time of day within a date, in any order."""
    up = down = 0
    for seen in stretches:
        for at in range(1, len(seen.clocks)):
            before, after = seen.clocks[at - 1], seen.clocks[at]
            if before and after and seen.days[at] == seen.days[at - 1]:
                up += after.us > before.us
                down += after.us < before.us
    return down > up


def _wraps(stretches: Sequence[Seen], clocks: Sequence[ClockCell], is_backward: bool) -> str:
    """Return the two times between which a clock without AM and PM went past 12, or ""."""
    if not clocks or any(each.hour > 12 or each.hour == 0 for each in clocks):
        return ""
    last: ClockCell | None = None
    last_day: DateCell | None = None
    for seen in stretches:
        for day, clock in zip(seen.days, seen.clocks, strict=True):
            if clock and last and day == last_day:
                step = clock.us - last.us if not is_backward else last.us - clock.us
                if step < -8 * _HOUR or ((last.hour == 12) and step < -_HOUR):
                    return f"{_clock_text(last)} and {_clock_text(clock)}"
            last, last_day = clock, day
    return ""


def _clock_text(clock: ClockCell) -> str:
    minutes = clock.us // 60_000_000
    return f"{minutes // 60}:{minutes % 60:02d}"


def moment_of(text: str) -> datetime | date | None:
    """Return a moment or date that can be read in one way only; aware if it names an offset."""
    both = read_moment(text)
    day = both[0] if both else read_date(text)
    if not day:
        return None
    found = {day.day(each) for each in day.orders}
    if len(found) != 1 or (on := found.pop()) is None:
        return None
    if both:
        wall = datetime(on.year, on.month, on.day) + timedelta(microseconds=both[1].us)  # noqa: DTZ001
        ahead = offset_of(both[1].zone) or ("+00:00" if place_of(both[1].zone) == "UTC" else "")
        return datetime.fromisoformat(f"{wall.isoformat()}{ahead}")
    return on
