"""What must follow from a `Story`: every day is looked at, one after the other.

The chance by the end of a day comes from scipy's beta prime distribution (a gamma process whose
rate is gamma distributed itself), not from the incomplete beta function that the product inverts.
Months come from dateutil.
"""

import math
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import numpy as np
from dateutil.relativedelta import relativedelta
from scipy import stats

from tests.equipment.dueoracle.plain import Counted, Doing, Story, Way

FAR = date(9999, 12, 31)
DAY = timedelta(days=1)
USE = ("hours", "strokes", "gallons")
#: How far the days are walked; what lies further is only known to lie further.
WALK = 12_000
#: A life this near to its interval may have been rounded to either side of it.
NEAR = 0.002


@dataclass(frozen=True)
class Steps:
    """One trigger: the chance by the end of each day from `start` on, and of its tolerance.

    start: the day read. What was reached by then has chance 1 from so many days before (`back`:
    due, late, window) on. is_past, is_past_tolerance: None where rounding decides.
    """

    start: date
    due: np.ndarray
    late: np.ndarray
    window: np.ndarray
    back: tuple[int, int, int] = (0, 0, 0)
    is_past: bool | None = False
    is_past_tolerance: bool | None = False


@dataclass(frozen=True)
class Verdict:
    """What a kept row must say; a flag is None where rounding decides."""

    due_10: date
    due_date: date
    due_90: date
    window_from: date
    late_date: date
    is_past_due: bool | None
    is_past_tolerance: bool | None
    odds_due: float
    odds_most: float
    odds_late: float


def on_force(story: Story) -> list[Doing]:
    """The doings that stand, in order of their moments."""
    rows = [d for d in story.doings if d.undone_number is None]
    return sorted(rows, key=lambda d: (d.done_at, d.number))


def grid_days(anchor: date, grid: tuple[str, int]) -> Iterator[date]:
    """anchor, anchor + 1 × interval, anchor + 2 × interval …"""
    kind, interval = grid
    steps = 0
    while True:
        if kind == "days":
            yield anchor + timedelta(days=steps * interval)
        else:
            yield anchor + relativedelta(months=steps * interval)
        steps += 1


def counts_from(story: Story, zone: ZoneInfo) -> tuple[date, date]:
    """The day that the next interval counts from, and the anchor of its months.

    Everything is said again in the order it was said, each against what stood then.
    """
    said: dict[int, tuple[date, date]] = {}
    for doing in sorted(story.doings, key=lambda d: d.number):
        standing = [
            d
            for d in story.doings
            if d.number < doing.number
            and (d.undone_number is None or d.undone_number > doing.number)
            and d.done_at <= doing.done_at
        ]
        last = max(standing, key=lambda d: (d.done_at, d.number), default=None)
        before, anchor = said[last.number] if last else (story.came_on, story.came_on)
        done_on = doing.done_at.astimezone(zone).date()
        if doing.grid is None:
            day = max(done_on, before)
            said[doing.number] = (day, day)
            continue
        counted = before
        previous = None
        for planned in grid_days(anchor, doing.grid):
            if planned < before:
                continue
            if previous is not None:
                length = (planned - previous).days
                part = float(doing.early) or 0.5
                opens = planned - timedelta(days=math.floor(length * part + 1e-9))
                if opens > done_on:
                    break
            counted = previous = planned
            if planned > done_on:
                break
        said[doing.number] = (counted, anchor)
    standing_now = on_force(story)
    if not standing_now:
        return story.came_on, story.came_on
    return said[standing_now[-1].number]


def is_open(story: Story, start: date, days: int) -> np.ndarray:
    """Which days from `start` on nobody has planned yet: after the last job,
    and beyond what the shop has planned."""
    last = max((job.last_day for job in story.jobs), default=date.min)
    every = [start + timedelta(days=number) for number in range(days)]
    return np.array([day > last and day >= story.open_from for day in every])


def weights(story: Story, start: date, days: int, *, share: float, load: float) -> np.ndarray:
    """How much each day from `start` on counts."""
    found = np.where(is_open(story, start, days), load, share)
    for job in story.jobs:
        for number in range((job.last_day - job.first_day).days + 1):
            at = (job.first_day - start).days + number
            if 0 <= at < days:
                found[at] = job.intensity
    return found


@dataclass(frozen=True)
class Pace:
    """What counters gain that move together, in the measure."""

    shape: float
    open_shape: float
    alpha: float
    beta: float
    share: float
    load: float


def merged(driving: list[Counted]) -> Pace | None:
    if not driving or any(each.rate is None for each in driving):
        return None
    rates = [each.rate for each in driving if each.rate is not None]
    means = [
        shape * beta / (alpha - 1) * float(each.per_count)
        for each, (shape, alpha, beta) in zip(driving, rates, strict=True)
    ]
    least = min(range(len(rates)), key=lambda at: (rates[at][1], rates[at][0]))
    shape, alpha, _ = rates[least]
    pairs = list(zip(means, driving, strict=True))
    return Pace(
        shape=shape,
        open_shape=driving[least].open_shape,
        alpha=alpha,
        beta=sum(means) * (alpha - 1) / shape,
        share=sum(mean * each.share for mean, each in pairs) / sum(means),
        load=sum(mean * each.load for mean, each in pairs) / sum(means),
    )


def by_use(story: Story, way: Way, zone: ZoneInfo) -> Steps:
    """A trigger of use: the chance that what remains is gained by the end of each day."""
    mine = [each for each in story.counted if each.measure == way.measure]
    opening = float(story.opening.get(way.measure, 0))
    standing = on_force(story)
    interval = float(way.interval)
    from_life, span, of = 0.0, interval, interval
    if way.first_at is not None:
        span, of = float(way.first_at), min(float(way.first_at), interval)
    if standing:
        done_at = standing[-1].done_at
        life = opening + sum(each.gained(done_at) for each in mine)
        if way.first_at is None or life + interval >= float(way.first_at):
            from_life, span, of = life, interval, interval
    driving = [each for each in mine if each.ended_at is None]
    ends = [each.ended_at for each in mine if each.ended_at is not None]
    if driving:
        read_at = min(each.read_at() for each in driving)
    elif ends:
        read_at = max(ends)
    elif not mine and opening:
        read_at = datetime.combine(story.came_on, time(), tzinfo=zone)
    else:
        begun = datetime.combine(story.came_on, time(), tzinfo=zone)
        read_at = standing[-1].done_at if standing else begun
    now = opening + sum(each.gained(datetime.max.replace(tzinfo=zone)) for each in mine)
    since = max(now - from_life, 0.0)
    allowed = 0.0 if story.asked.is_hard_limit else float(story.asked.tolerance)
    local = read_at.astimezone(zone)
    start = local.date()
    rate = merged(driving)
    part = (local.hour * 3600 + local.minute * 60 + local.second) / 86_400

    def chances(remaining: float) -> np.ndarray:
        if remaining <= 0:
            return np.ones(WALK)
        if rate is None:
            return np.zeros(WALK)
        each = weights(story, start, WALK, share=rate.share, load=rate.load)
        each[0] *= 1 - part
        ahead = is_open(story, start, WALK)
        tau = np.cumsum(each)
        # Means add, and so do variances, in units of the mean of a use-day.
        spread = np.cumsum(each / np.where(ahead, rate.open_shape, rate.shape))
        found = np.zeros(WALK)
        # In pieces, since most are reached long before the end of the walk.
        for begin in range(0, WALK, 1000):
            there = slice(begin, begin + 1000)
            with np.errstate(all="ignore"):
                shapes = tau[there] ** 2 / spread[there]
                scales = rate.beta * rate.shape / (tau[there] / spread[there])
                found[there] = np.where(
                    tau[there] > 0, stats.betaprime.sf(remaining / scales, shapes, rate.alpha), 0.0
                )
            if found[there][-1] > 0.999:
                found[begin + 1000 :] = found[there][-1]
                break
        return found

    left = (
        span - since,
        span + of * allowed - since,
        span - of * float(story.asked.early) - since,
    )
    due, late, window = (chances(each) for each in left)
    back_due, back_late, back_window = (_back(each, driving) for each in left)
    return Steps(
        start=start,
        due=due,
        late=late,
        window=window,
        back=(back_due, back_late, back_window),
        is_past=_at_or_past(since, span),
        is_past_tolerance=_at_or_past(since, span + of * allowed),
    )


def _back(left: float, driving: list[Counted]) -> int:
    """How many days before the reading it was reached, by the mean of 90 days; ten years at most.

    Not known without a mean of every counter: then on the day read.
    """
    means = [each.a_day() for each in driving]
    if left > 0 or not means or None in means:
        return 0
    mean = sum(
        (mean or 0.0) * float(each.per_count) for mean, each in zip(means, driving, strict=True)
    )
    return math.floor(min(-left / mean, 3650.0)) if mean else 0


def _at_or_past(since: float, limit: float) -> bool | None:
    if abs(since - limit) <= NEAR:
        return None
    return since > limit


def by_day(story: Story, way: Way, zone: ZoneInfo) -> tuple[date, int, int, bool]:
    """A trigger of the calendar or of what happened: (day, days allowed, days early, certain)."""
    standing = on_force(story)
    counted, anchor = counts_from(story, zone)
    done_on = standing[-1].done_at.astimezone(zone).date() if standing else None
    interval = int(way.interval)
    early = float(story.asked.early)
    allowed = 0.0 if story.asked.is_hard_limit else float(story.asked.tolerance)
    begun = story.came_on
    if story.asked_at is not None:
        begun = max(begun, story.asked_at.astimezone(zone).date())
    if way.measure in ("days", "months"):
        day = FAR
        for planned in grid_days(
            anchor if _on_grid(counted, anchor, way) else counted, (way.measure, interval)
        ):
            if planned > counted:
                day = planned
                break
        length = (day - counted).days
        return (
            day,
            math.floor(length * allowed + 1e-9),
            math.floor(length * early + 1e-9),
            False,
        )
    if way.measure == "season":
        assert way.season is not None
        # Planned days concern days and months only: here the day done counts.
        day = (done_on + timedelta(days=interval) if done_on else begun) + DAY
        while not _is_season(day, *way.season):
            day += DAY
        return day, 0, interval, False
    if way.measure == "job":
        after = done_on + timedelta(days=interval) if done_on else begun
        begins = sorted(job.first_day for job in story.jobs if job.first_day > after)
        return (begins[0] if begins else FAR), 0, interval, False
    if way.measure == "idle":
        return _idle(story, interval, done_on), 0, math.floor(interval * early + 1e-9), False
    if way.measure == "after":
        assert way.after is not None
        moments = story.others.get(way.after, ())
        came = datetime.combine(story.came_on, time(), tzinfo=zone)
        since = standing[-1].done_at if standing else max(came, story.asked_at or came)
        moments = tuple(m for m in moments if m > since)
        if not moments:
            return FAR, 0, 0, False
        day = max(moments).astimezone(zone).date() + timedelta(days=interval)
        return day, 0, math.floor(interval * early + 1e-9), False
    raise AssertionError(way.measure)


def _on_grid(counted: date, anchor: date, way: Way) -> bool:
    if way.measure == "days":
        return False
    months = (counted.year - anchor.year) * 12 + counted.month - anchor.month
    return anchor + relativedelta(months=months) == counted and months % int(way.interval) == 0


def _is_season(day: date, month: int, number: int) -> bool:
    if (month, number) == (2, 29) and (day + DAY).month == 3 and day.month == 2:
        return True
    return (day.month, day.day) == (month, number)


def _idle(story: Story, interval: int, done_on: date | None) -> date:
    """Walk day by day from the last day of use: a day at a job is a day of use."""
    away = set()
    for job in story.jobs:
        for number in range((job.last_day - job.first_day).days + 1):
            away.add(job.first_day + timedelta(days=number))
    stopped = story.used_on or story.came_on
    day = stopped
    last = max([*away, stopped]) + timedelta(days=interval + 1)
    while day <= last:
        day += DAY
        is_done = done_on is not None and stopped <= done_on
        if not is_done and (day - stopped).days >= interval:
            return day
        if day in away:
            stopped = day
    return FAR


def verdict(story: Story, *, zone: ZoneInfo) -> Verdict:
    """What the kept row must say; triggers on measured values are left out by the caller."""
    steps: list[Steps] = []
    for way in story.asked.ways:
        if way.measure in USE:
            steps.append(by_use(story, way, zone))
    days = [by_day(story, way, zone) for way in story.asked.ways if way.measure not in USE]
    known = [each.start for each in steps] + [day for day, _, _, _ in days if day != FAR]
    known = known or [story.came_on]
    begin = min(known) - timedelta(days=max(800, *(max(each.back) for each in steps), 0))
    length = WALK + (max(known) - begin).days
    due: list[np.ndarray] = []
    late: list[np.ndarray] = []
    window: list[np.ndarray] = []
    for each in steps:
        read = (each.start - begin).days
        for source, target, back in zip(
            (each.due, each.late, each.window), (due, late, window), each.back, strict=True
        ):
            target.append(_on_axis(source, read - back, length))
    for day, allowed, early, _ in days:
        for target, moved in ((due, 0), (late, allowed), (window, -early)):
            column = np.zeros(length)
            if day != FAR:
                column[max((day - begin).days + moved, 0) :] = 1.0
            target.append(column)
    together = np.minimum.reduce if story.asked.is_all else np.maximum.reduce
    row_due, row_late, row_window = together(due), together(late), together(window)
    flags = [each.is_past for each in steps] + [False for _ in days]
    late_flags = [each.is_past_tolerance for each in steps] + [False for _ in days]
    dates = [
        _first(row_due, 0.1, begin),
        _first(row_due, 0.5, begin),
        _first(row_due, 0.9, begin),
        _first(row_window, 0.5, begin),
        _first(row_late, 0.5, begin),
    ]
    past, past_tolerance = (_flag(flags, story), _flag(late_flags, story))
    standing = on_force(story)
    last = standing[-1].done_at if standing else None
    put_off = wanted_by = None
    if story.postponed and (last is None or last < story.postponed[0]):
        put_off = story.postponed[1]
        dates = [max(day, put_off) for day in dates]
        past = past_tolerance = False
    if story.brought and (last is None or last < story.brought[0]):
        wanted_by = story.brought[1]
        dates = [min(day, wanted_by) for day in dates[:4]] + dates[4:]
    odds = most = odds_late = 0.0
    if story.stay_on is not None:
        at = (story.stay_on - begin).days - 1
        if at >= 0:
            at = min(at, length - 1)
            # What was reached when it was read is so before any day, even one before it.
            by_then, late_by_then = [column[at] for column in due], [column[at] for column in late]
            for place, each in enumerate(steps):
                by_then[place] = 1.0 if each.due[0] == 1.0 else by_then[place]
                late_by_then[place] = 1.0 if each.late[0] == 1.0 else late_by_then[place]
            one = min if story.asked.is_all else max
            odds, odds_late = float(one(by_then)), float(one(late_by_then))
            apart = 1.0 - float(np.prod([1.0 - chance for chance in by_then]))
            most = odds if story.asked.is_all else max(apart, odds)
        # What a person said stands for certain: not before that day, or by that day.
        if put_off is not None and put_off >= story.stay_on:
            odds = most = odds_late = 0.0
        if wanted_by is not None and wanted_by < story.stay_on:
            odds = most = 1.0
    return Verdict(
        due_10=dates[0],
        due_date=dates[1],
        due_90=dates[2],
        window_from=dates[3],
        late_date=dates[4],
        is_past_due=past,
        is_past_tolerance=past_tolerance,
        odds_due=odds,
        odds_most=most,
        odds_late=odds_late,
    )


def _on_axis(column: np.ndarray, offset: int, length: int) -> np.ndarray:
    found = np.zeros(length)
    room = min(len(column), length - offset)
    found[offset : offset + room] = column[:room]
    found[offset + room :] = column[room - 1]
    return found


def _first(column: np.ndarray, chance: float, begin: date) -> date:
    there = np.flatnonzero(column >= chance)
    return begin + timedelta(days=int(there[0])) if len(there) else FAR


def _flag(flags: list[bool | None], story: Story) -> bool | None:
    if story.asked.is_all:
        if any(flag is False for flag in flags):
            return False
        return None if None in flags else True
    if any(flag is True for flag in flags):
        return True
    return None if None in flags else False
