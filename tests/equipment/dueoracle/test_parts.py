"""The pure parts of due dates beside a walk through the days, on stories drawn at random."""

import random
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from equipment import forecast, triggers
from equipment.caldates import Every, renew_fixed
from equipment.combining import service_dates
from tests.equipment.dueoracle.plain import Asked, Booked, Counted, Doing, Story, Way
from tests.equipment.dueoracle.reckon import (
    FAR,
    Verdict,
    by_day,
    by_use,
    counts_from,
    on_force,
    verdict,
)

ZONE = ZoneInfo("America/Chicago")
CAME = date(2026, 1, 5)
DAY = timedelta(days=1)
#: Each is a world of its own; `python -m tests.equipment.dueoracle` walks more.
SEEDS = range(60)


def jobs(draw: random.Random, *, begin: date, count: int) -> tuple[Booked, ...]:
    found, day = [], begin
    for _ in range(count):
        day += timedelta(days=draw.randint(0, 25))
        last = day + timedelta(days=draw.randint(0, 20))
        found.append(Booked(day, last, draw.choice([0.5, 1.0, 1.0, 1.5])))
        day = last + DAY
    return tuple(found)


def moment(draw: random.Random, days: int) -> datetime:
    return datetime(2026, 1, 5, 12, tzinfo=UTC) + timedelta(
        days=draw.randint(0, days), minutes=draw.randint(0, 700)
    )


def counted(draw: random.Random, measure: str) -> Counted:
    at, total = datetime(2026, 1, 5, 12, tzinfo=UTC), Decimal(0)
    totals = [(at, total)]
    for _ in range(draw.randint(0, 12)):
        at += timedelta(days=draw.randint(1, 20), minutes=draw.randint(0, 600))
        total += draw.randint(0, 900)
        totals.append((at, total))
    rate = (draw.uniform(0.2, 6), draw.uniform(2.1, 60), draw.uniform(20, 3000))
    return Counted(
        measure=measure,
        totals=tuple(totals),
        per_count=Decimal(1),
        began_at=totals[0][0],
        ended_at=None,
        rate=rate if draw.random() < 0.9 else None,
        share=draw.choice([0.0, 0.1, 0.5, 1.0, draw.random()]),
        load=draw.choice([0.2, 0.7, 1.0]),
        open_shape=rate[0] * draw.choice([0.5, 1.0]),
    )


def story(seed: int, *ways: Way, renewed: bool | None = None) -> Story:
    draw = random.Random(seed)
    is_fixed = draw.random() < 0.5
    asked = Asked(
        service=1,
        ways=ways,
        is_all=draw.random() < 0.5,
        tolerance=Decimal(draw.choice(["0", "0.1", "0.25"])),
        early=Decimal(draw.choice(["0", "0.1", "0.3"])),
        is_hard_limit=False,
        is_fixed=is_fixed,
    )
    grids = [(w.measure, int(w.interval)) for w in ways if w.measure in ("days", "months")]
    doings = [
        Doing(
            number=number,
            service=1,
            done_at=moment(draw, 400),
            grid=grids[0] if is_fixed and grids else None,
            early=asked.early,
        )
        for number in range(draw.randint(0, 4) if renewed is None else int(renewed))
    ]
    doings = [
        Doing(d.number, 1, at, d.grid, d.early)
        for d, at in zip(doings, sorted(each.done_at for each in doings), strict=True)
    ]
    return Story(
        came_on=CAME,
        opening={},
        counted=tuple(counted(draw, way.measure) for way in ways if way.measure in ("hours",)),
        used_on=CAME + timedelta(days=draw.randint(0, 200)) if draw.random() < 0.8 else None,
        jobs=jobs(draw, begin=CAME, count=draw.randint(0, 14)),
        asked=asked,
        doings=tuple(doings),
        open_from=CAME + timedelta(days=draw.randint(0, 300)),
        others={7: tuple(moment(draw, 500) for _ in range(draw.randint(0, 2)))},
    )


def ours(told: Story, way: Way) -> triggers.Dates:
    """The same by the product's functions."""
    standing = on_force(told)
    counted_from, anchor = CAME, CAME
    every = Every(**{way.measure: int(way.interval)}) if way.measure in ("days", "months") else None
    for doing in told.doings:
        said_on = doing.done_at.astimezone(ZONE).date()
        if doing.grid and every:
            counted_from = renew_fixed(
                counts_from=counted_from,
                every=every,
                done_on=said_on,
                early=doing.early,
                anchor=anchor,
            ).satisfied
        else:
            counted_from = anchor = max(said_on, counted_from)
    away = [triggers.Away(job.first_day, job.last_day) for job in told.jobs]
    done_on = standing[-1].done_at.astimezone(ZONE).date() if standing else None
    days = int(way.interval)
    if every:
        return triggers.by_calendar(
            counts_from=counted_from,
            every=every,
            tolerance=told.asked.tolerance,
            early=told.asked.early,
            anchor=anchor,
        )
    if way.measure == "season":
        assert way.season
        return triggers.by_season(
            counts_from=done_on or CAME,
            is_renewed=bool(standing),
            month=way.season[0],
            day=way.season[1],
            window_days=days,
        )
    if way.measure == "job":
        return triggers.by_job(
            jobs=away, counts_from=done_on or CAME, is_renewed=bool(standing), window_days=days
        )
    if way.measure == "idle":
        return triggers.by_idle_days(
            used_on=told.used_on or CAME,
            done_on=done_on,
            jobs=away,
            idle_days=days,
            early=told.asked.early,
        )
    moments = [m for m in told.others[7] if not standing or m > standing[-1].done_at]
    return triggers.by_other(
        other_done_on=max(moments).astimezone(ZONE).date() if moments else None,
        days_after=days,
        early=told.asked.early,
    )


def by_calendar(draw: random.Random) -> Way:
    measure = draw.choice(["days", "months", "season", "job", "idle", "after"])
    interval = Decimal({"months": draw.randint(1, 14)}.get(measure, draw.randint(1, 120)))
    season = draw.choice([(2, 29), (10, 15), (1, 1), (12, 31)]) if measure == "season" else None
    return Way(measure, interval, season=season, after=7 if measure == "after" else None)


@pytest.mark.parametrize("seed", SEEDS)
def test_what_is_not_forecast_falls_on_the_day_a_walk_finds(seed: int) -> None:
    for part in range(40):
        way = by_calendar(random.Random(seed * 1000 + part))
        told = story(seed * 1000 + part, way)
        day, allowed, early, _ = by_day(told, way, ZONE)
        found = ours(told, way)
        assert found.due_10 == found.due_date == found.due_90 == day, (way, told)
        if day != FAR:
            assert found.late_date == day + timedelta(days=allowed), (way, told)
            if way.measure not in ("days", "months") or not told.doings:
                assert found.window_from == day - timedelta(days=early), (way, told)


@pytest.mark.parametrize("seed", SEEDS)
def test_a_forecast_is_what_a_walk_of_the_days_finds(seed: int) -> None:
    way = Way("hours", Decimal(random.Random(seed).choice([50, 500, 5000])))
    told = story(seed, way)
    wanted = by_use(told, way, ZONE)
    counter = told.counted[0]
    read_at = counter.totals[-1][0].astimezone(ZONE)
    standing = on_force(told)
    since = counter.gained(counter.totals[-1][0])
    since -= counter.gained(standing[-1].done_at) if standing else 0.0
    nan = float("nan")
    shape, alpha, beta = counter.rate or (nan, nan, nan)
    clocks = forecast.Clocks(
        rig=np.zeros(1, dtype=np.int64),
        read_day=np.array([read_at.date().toordinal()]),
        read_part=np.array([(read_at.hour * 60 + read_at.minute) / 1440]),
        share=np.array([counter.share]),
        load=np.array([counter.load]),
        shape=np.array([shape]),
        open_shape=np.array([counter.open_shape if counter.rate else nan]),
        alpha=np.array([alpha]),
        beta=np.array([beta]),
    )
    days = [(job.first_day.toordinal(), job.last_day.toordinal()) for job in told.jobs]
    timeline = forecast.Timeline(
        rigs=1,
        rig=np.zeros(len(days), dtype=np.int64),
        first_day=np.array([first for first, _ in days], dtype=np.int64),
        last_day=np.array([last for _, last in days], dtype=np.int64),
        intensity=np.array([round(100 * job.intensity) for job in told.jobs], dtype=np.int64),
        open_from=told.open_from.toordinal(),
    )
    remaining = np.array([float(way.interval) - since])
    for chance in (0.1, 0.5, 0.9):
        day = forecast.days_reached(
            clocks=clocks, timeline=timeline, remaining=remaining, chance=chance
        )[0]
        there = np.flatnonzero(wanted.due >= chance - 1e-9)
        if not len(there):
            assert day - wanted.start.toordinal() >= len(wanted.due)
        else:
            assert day == wanted.start.toordinal() + there[0], (chance, told)
    for ahead in (0, 1, 10, 60, 400):
        until = wanted.start + timedelta(days=ahead)
        odds = forecast.chance_before(
            clocks=clocks,
            timeline=timeline,
            remaining=remaining,
            until=np.array([until.toordinal()]),
        )[0]
        should = wanted.due[ahead - 1] if ahead else float(remaining[0] <= 0)
        assert odds == pytest.approx(should, abs=1e-6), (ahead, told)


@pytest.mark.parametrize("seed", SEEDS)
def test_services_of_several_triggers_fall_when_a_walk_says_so(seed: int) -> None:
    draw = random.Random(seed)
    ways = tuple({way.measure: way for way in (by_calendar(draw) for _ in range(4))}.values())
    if any(way.measure == "days" for way in ways):
        ways = tuple(way for way in ways if way.measure != "months")
    told = story(seed, *ways)
    postponed = CAME + timedelta(days=draw.randint(1, 600)) if draw.random() < 0.5 else None
    brought = CAME + timedelta(days=draw.randint(1, 600)) if draw.random() < 0.5 else None
    later = datetime(2030, 1, 1, tzinfo=UTC)
    told = Story(
        **{
            name: getattr(told, name)
            for name in Story.__dataclass_fields__
            if name not in ("postponed", "brought")
        },
        postponed=(later, postponed) if postponed else None,
        brought=(later, brought) if brought else None,
    )
    wanted: Verdict = verdict(told, zone=ZONE)
    found = service_dates(
        [ours(told, way) for way in ways],
        is_all=told.asked.is_all,
        postponed_to=postponed,
        wanted_by=brought or FAR,
    )
    for name in ("due_10", "due_date", "due_90", "late_date"):
        assert getattr(found, name) == getattr(wanted, name), (name, told)


def test_the_walk_counts_planned_days_as_the_worked_example_does() -> None:
    """F08 of worked_examples.json: done 28 April it satisfies 15 April, done 10 July 14 July."""
    way = Way("days", Decimal(90))
    asked = Asked(1, (way,), False, Decimal(0), Decimal(0), False, True)
    doings = (
        Doing(1, 1, datetime(2026, 4, 28, 17, tzinfo=UTC), ("days", 90), Decimal(0)),
        Doing(2, 1, datetime(2026, 7, 10, 17, tzinfo=UTC), ("days", 90), Decimal(0)),
    )
    told = Story(date(2026, 1, 15), {}, (), None, (), asked, doings)
    assert counts_from(told, ZONE)[0] == date(2026, 7, 14)


def test_the_walk_of_chances_is_what_drawn_processes_do() -> None:
    """By Monte Carlo: use of each day drawn from a gamma process whose rate is drawn too."""
    draw = np.random.default_rng(4)
    read = datetime(2026, 3, 2, 6, tzinfo=UTC)
    counter = Counted(
        "hours", ((read, Decimal(0)),), Decimal(1), read, None, (1.4, 6.0, 25.0), 0.25, 0.7, 1.4
    )
    way = Way("hours", Decimal(120))
    asked = Asked(1, (way,), False, Decimal("0.2"), Decimal(0), False, False)
    jobs = (Booked(date(2026, 3, 9), date(2026, 3, 20), 1.5),)
    told = Story(date(2026, 3, 2), {}, (counter,), None, jobs, asked, (), open_from=read.date())
    wanted = by_use(told, way, ZONE)
    days = np.full(60, 0.7)
    days[:7], days[7:19] = 0.25, 1.5
    days[0] = 0.25  # 06:00 UTC is midnight in Chicago: all of 2 March is still ahead
    rate = draw.gamma(6.0, 1 / 25.0, size=40_000)
    use = np.cumsum(draw.gamma(1.4 * days, size=(40_000, 60)) / rate[:, None], axis=1)
    for chance, column in ((120.0, wanted.due), (144.0, wanted.late)):
        told_odds = (use >= chance).mean(axis=0)
        assert np.abs(told_odds - column[:60]).max() < 0.01
