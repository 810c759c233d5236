"""due-rebuild: every due row forecast anew at the turn of the day, and what changed written.

The floor reads the same state by the raw driver, as numbers, and reckons all rows at once by the
pure functions of `equipment`, in numpy and scipy; it writes nothing.
"""

from collections.abc import Sequence
from datetime import date, datetime
from typing import Any, Final
from zoneinfo import ZoneInfo

import numpy as np
from django.db import connection
from django.utils import timezone

from equipment import combining, forecast
from equipment import due as dates
from equipment.combining import Columns
from equipment.due import FAR_DATE, LONGEST_LOOK_BACK_DAYS
from equipment.forecast import Clocks, Timeline
from equipment.models import Due, UsageRate
from equipment.services import turning
from shop.models import Shop
from tests.benchmarks import worlds
from tests.benchmarks.database import Databases, analyze
from tests.benchmarks.measure import Options, Result, must, take_turns

NAME: Final = "due-rebuild"
GOAL: Final = 1.5
#: Rigs worked out in full; the rest are copies of their rows.
RIGS: Final = 50
#: So many times the rigs, and the most rounds at that size: a thousand, then nearly ten thousand
#: (a rig's number has four digits).
SIZES: Final = ((20, 5), (199, 1))
#: One due row in so many has changed since the day before.
CHANGED: Final = 100
#: Kept dates, in the order of `forecast_bare`, then the odds.
KEPT: Final = ("due_10", "due_date", "due_90", "window_from", "late_date")
ODDS: Final = ("odds_due_permille", "odds_due_most_permille", "odds_late_permille")


def run(options: Options, databases: Databases) -> list[Result]:
    """A thousand rigs, then nearly ten thousand: the cost should grow as the rows do."""
    now = timezone.now()
    rigs, sizes = (2, ((2, 1), (4, 1))) if options.quick else (RIGS, SIZES)
    results = []
    with databases.throwaway():
        shop, manager = worlds.shop(at=now)
        worlds.fleet(rigs=rigs, readings=6, author=manager, at=now)
        copies = worlds.Copies(is_whole=True)
        for times, most in sizes:
            copies.grow(times)
            analyze()
            today = timezone.localdate(now, shop.zone)
            results.append(measured(shop=shop, today=today, rounds=min(options.rounds, most)))
    return results


def measured(*, shop: Shop, today: date, rounds: int) -> Result:
    """One size, in the database there is."""
    zone = shop.zone
    rows = Due.objects.count()

    def ours(number: int = 0) -> int:
        return turning.turn_rigs(today=today, zone=zone)[1]

    def floor(number: int = 0) -> dict[str, Any]:
        return forecast_bare(zone)

    check(floor())
    disturbed = disturb(0)
    must(disturbed > 0, "nothing changed, so there is nothing to write")
    must(ours() == disturbed, "the turn of the day writes other rows than have changed")
    check(floor())
    floor_s, ours_s = take_turns(ours, floor, rounds=rounds, warm=0, before=disturb)
    check(floor())
    rigs = Due.objects.values("rig").distinct().count()
    return Result(
        name=NAME,
        database=connection.vendor,
        size=f"{rigs:,} rigs, {rows:,} due rows",
        floor_s=floor_s,
        ours_s=ours_s,
        goal=GOAL,
    )


def disturb(number: int) -> int:
    """Leave one row in CHANGED as if its forecast had been another; return how many."""
    with connection.cursor() as cursor:
        cursor.execute(
            "UPDATE equipment_due SET odds_late_permille = "
            "CASE WHEN odds_late_permille < 500 THEN 999 ELSE 1 END "
            f"WHERE id % {CHANGED} = {number % CHANGED}"
        )
        return int(cursor.rowcount)


def check(found: dict[str, Any]) -> None:
    """What was reckoned is what is kept, row by row. Raises WrongAnswer."""
    kept = list(Due.objects.order_by("pk").values_list("pk", *KEPT, *ODDS).iterator())
    must([row[0] for row in kept] == found["pk"].tolist(), "the floor reckons other rows")
    for place, name in enumerate((*KEPT, *ODDS), start=1):
        column = [each.toordinal() if name in KEPT else each for each in (r[place] for r in kept)]
        wrong = int((np.array(column) != found[name]).sum())
        must(wrong == 0, f"{wrong} of {len(kept)} rows are kept with another {name}")


# --- the floor ----------------------------------------------------------------------------------


def forecast_bare(zone: ZoneInfo) -> dict[str, Any]:
    """Dates and odds of every due row, by column, sorted by key.

    For the fleets of `worlds`: all components are fitted, nothing is put off or brought forward.
    """
    rigs, stays = _read(f"SELECT id, {_day('stay_on')} FROM equipment_rig ORDER BY id").T
    rig, first, last, intensity = _read(
        f"SELECT rig_id, {_day('first_day')}, {_day('last_day')}, intensity * 100 "
        "FROM equipment_jobbooking"
    ).T
    timeline = Timeline(
        rigs=len(rigs) + 1,
        rig=np.searchsorted(rigs, rig) + 1,
        first_day=first.astype(np.int64),
        last_day=last.astype(np.int64),
        intensity=np.rint(intensity).astype(np.int64),
        open_from=UsageRate.objects.latest("as_of").open_from.toordinal(),
    )
    parts = _parts()
    wear_key, life, rate, read_at = _read(
        f"SELECT component_id * 8 + {_code('measure')}, {_number('life')}, "
        f"COALESCE({_number('rate_per_day')}, 0), {_second('read_at')} "
        "FROM equipment_wear ORDER BY 1"
    ).T
    (due, key, is_use, interval, from_life, allowed_of, tolerance, early, date_, window, late,
     is_past, of_rig, is_all) = _read(
        f"SELECT c.due_id, d.component_id * 8 + {_code('c.measure')}, "
        f"CASE WHEN c.measure IN ('hours', 'strokes', 'gallons') THEN 1 ELSE 0 END, "
        f"{_number('c.interval')}, {_number('c.life_at_renewal')}, {_number('c.allowed_of')}, "
        f"{_number('d.tolerance')}, {_number('d.early')}, {_day('c.due_date')}, "
        f"{_day('c.window_from')}, {_day('c.late_date')}, "
        f"CASE WHEN c.is_past_due THEN 1 ELSE 0 END, d.rig_id, "
        f"CASE WHEN v.rule = '{dates.ALL_OF_THEM}' THEN 1 ELSE 0 END "
        "FROM equipment_dueclock c JOIN equipment_due d ON d.id = c.due_id "
        "JOIN equipment_serviceversion v ON v.id = d.version_id ORDER BY c.due_id"
    ).T  # fmt: skip
    pk, starts = np.unique(due, return_index=True)
    place = np.searchsorted(rigs, of_rig)
    until = stays[place].astype(np.int64)
    middle, window, late = (each.astype(np.int64) for each in (date_, window, late))
    early_day, last_day = middle.copy(), middle.copy()
    there = until < FAR_DATE.toordinal()
    chance = ((middle < until) & there).astype(np.float64)
    chance_late = ((late < until) & there).astype(np.float64)
    is_past_late = np.zeros(len(due), dtype=bool)
    at = np.flatnonzero(is_use)
    worn = np.searchsorted(wear_key, key[at])
    left = np.round(interval[at] - np.maximum(np.round(life[worn] - from_life[at], 6), 0.0), 6)
    allowed = np.round(left + allowed_of[at] * tolerance[at], 7)
    opens = np.round(left - allowed_of[at] * early[at], 7)
    day, part_of_day = _local(read_at[worn], zone)
    clocks = Clocks(place[at] + 1, day, part_of_day, *parts(key[at]))
    asked = ((left, 0.1), (left, 0.5), (left, 0.9), (allowed, 0.5), (opens, 0.5))
    remaining = np.concatenate([each for each, _ in asked])
    many = clocks[np.tile(np.arange(len(at)), len(asked))]
    days = forecast.days_reached(
        clocks=many,
        timeline=timeline,
        remaining=remaining,
        chance=np.repeat([each for _, each in asked], len(at)),
    )
    pace = np.tile(np.where(rate[worn] > 0, rate[worn], np.nan), len(asked))
    with np.errstate(invalid="ignore"):
        back = np.nan_to_num(np.ceil(np.maximum(remaining / pace, -LONGEST_LOOK_BACK_DAYS)))
    days = np.where(remaining <= 0, many.read_day + back.astype(np.int64), days)
    early_day[at], middle[at], last_day[at], late[at], window[at] = days.reshape(len(asked), -1)
    is_past_late[at] = allowed < 0
    is_past = is_past.astype(bool)
    is_past[at] = left <= 0
    both = forecast.chance_before(
        clocks=clocks[np.tile(np.arange(len(at)), 2)],
        timeline=timeline,
        remaining=np.concatenate((left, allowed)),
        until=np.tile(until[at], 2),
    )
    chance[at], chance_late[at] = np.where(np.tile(there[at], 2), both, 0.0).reshape(2, -1)
    all_of = is_all[starts].astype(bool)
    found = combining.combine(
        Columns(early_day, middle, last_day, window, late, is_past, is_past_late),
        starts=starts,
        is_all=all_of,
    )
    first_, most = forecast.first_of(chance, starts)
    first_late, _ = forecast.first_of(chance_late, starts)
    whole, whole_late = forecast.all_of(chance, starts), forecast.all_of(chance_late, starts)
    odds = (
        np.where(all_of, whole, first_),
        np.where(all_of, whole, most),
        np.where(all_of, whole_late, first_late),
    )
    return {
        "pk": pk.astype(np.int64),
        **{name: getattr(found, name) for name in KEPT},
        **{name: forecast.permille(each) for name, each in zip(ODDS, odds, strict=True)},
    }


def _parts() -> Any:
    """By key of component and measure: share, load, shape, open shape, alpha and beta of its use.

    Several counters behind one measure are put together as `forecast.together` does.
    """
    key, factor, share, load, shape, open_shape, alpha, beta = _read(
        f"SELECT i.component_id * 8 + {_code('w.measure')}, {_number('w.per_count')}, u.share, "
        "u.load, u.shape, u.open_shape, u.alpha, u.beta FROM equipment_wearsource w "
        "JOIN equipment_installation i ON i.id = w.installation_id "
        "JOIN equipment_usagerate u ON u.counter_id = w.counter_id "
        "WHERE w.ended_at IS NULL ORDER BY 1, u.alpha, u.shape"
    ).T
    keys, starts = np.unique(key, return_index=True)
    means = shape * beta / (alpha - 1) * factor
    mean = np.add.reduceat(means, starts)
    # Sorted so that the first of each key is the one known least.
    shape, open_shape, alpha = shape[starts], open_shape[starts], alpha[starts]
    columns = (
        np.add.reduceat(means * share, starts) / mean,
        np.add.reduceat(means * load, starts) / mean,
        shape,
        open_shape,
        alpha,
        mean * (alpha - 1) / shape,
    )

    def of(asked: Any) -> Sequence[Any]:
        at = np.minimum(np.searchsorted(keys, asked), len(keys) - 1)
        is_known = keys[at] == asked
        return [
            np.where(is_known, column[at], 0.0 if place < 2 else np.nan)
            for place, column in enumerate(columns)
        ]

    return of


def _read(statement: str) -> Any:
    with connection.cursor() as cursor:
        cursor.execute(statement)
        return np.array(cursor.fetchall(), dtype=np.float64)


def _day(column: str) -> str:
    """SQL for a date as an ordinal."""
    if connection.vendor == "postgresql":
        return f"{column} - DATE '0001-01-01' + 1"
    return f"CAST(julianday({column}) - 1721424.5 AS INTEGER)"


def _second(column: str) -> str:
    """SQL for a moment in whole seconds of the epoch."""
    if connection.vendor == "postgresql":
        return f"floor(extract(epoch FROM {column}))"
    return f"CAST(strftime('%s', {column}) AS INTEGER)"


def _number(column: str) -> str:
    return f"CAST({column} AS double precision)"


def _code(column: str) -> str:
    """SQL for a measure as a number below eight; 0 for one that is not of use."""
    return (
        f"CASE {column} WHEN 'hours' THEN 1 WHEN 'strokes' THEN 2 WHEN 'gallons' THEN 3 ELSE 0 END"
    )


def _local(seconds: Any, zone: ZoneInfo) -> tuple[Any, Any]:
    """The day of each moment in a zone, and how much of it had passed."""
    known, which = np.unique(seconds, return_inverse=True)
    moments = [datetime.fromtimestamp(each, tz=zone) for each in known.tolist()]
    days = np.array([each.toordinal() for each in moments], dtype=np.int64)
    passed = np.array([each.hour * 3600 + each.minute * 60 + each.second for each in moments])
    return days[which], passed[which] / 86_400
