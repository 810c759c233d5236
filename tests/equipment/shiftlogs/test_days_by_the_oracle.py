"""The reckoning of days against the oracle, from rows and without any text between.

Properties of days that several files tell of: split, overlapping, and the same file twice.
"""

import random
from collections.abc import Sequence
from dataclasses import replace
from datetime import timedelta
from typing import Any

import pytest

from equipment.shiftlogs.blocks import Rules
from equipment.shiftlogs.days.joining import join
from equipment.shiftlogs.days.reckoning import Reckoned, Reckoner, day_json
from tests.depth import share_of

from .blocks import blocks_of, facts_of
from .drawn import Draw
from .named import LOGS, MORNING, plan
from .oracle import differences, truth_of
from .world import Rig, Row, Stretch, run, with_glitch

DRAWS = 250
BATCH = 25


def reckoned(rows: Sequence[Row], rig: Rig, *, size: int = 4096, reset: str = "") -> Reckoned:
    answers = {"reset": reset} if reset else {}
    reckoner = Reckoner(facts_of(rig), Rules(), answers)
    for block in blocks_of(rows, rig, size=size):
        reckoner.add(block)
    return reckoner.close()


def joined(rig: Rig, *files: Sequence[Row]) -> Reckoned:
    streams = [blocks_of(rows, rig, size=97) for rows in files]
    return join(streams, facts=facts_of(rig), rules=Rules(), answers={})


def days(found: Reckoned) -> list[dict[str, Any]]:
    return [day_json(day) for day in found.days]


@pytest.mark.parametrize("name", LOGS)
@pytest.mark.parametrize("size", [7, 4096])
def test_named_rows_are_reckoned_as_the_oracle_says(name: str, size: int) -> None:
    log = LOGS[name]()
    found = reckoned(log.rows, log.rig, size=size)
    # A counter that begins anew over unlogged time may have been reset or read wrongly: it may ask.
    assert {question.key for question in found.questions} <= {"reset"}
    if found.questions:
        assert any(day["at_least"] for day in truth_of(log.rows, log.rig).days)
        found = reckoned(log.rows, log.rig, size=size, reset="reset")
    assert differences(days(found), truth_of(log.rows, log.rig)) == []


@pytest.mark.parametrize("batch", share_of(range(DRAWS // BATCH), every=3))
def test_drawn_rows_are_reckoned_as_the_oracle_says(batch: int) -> None:
    wrong = {}
    for number in range(batch * BATCH, (batch + 1) * BATCH):
        log = Draw(number).written
        size = random.Random(number).choice((1, 5, 64, 1000))
        truth = truth_of(log.rows, log.rig)
        found = reckoned(log.rows, log.rig, size=size)
        if found.questions and any(day["at_least"] for day in truth.days):
            found = reckoned(log.rows, log.rig, size=size, reset="reset")
        wrong[number] = [
            *(f"asks {question.key}: {question.why}" for question in found.questions),
            *differences(days(found), truth),
        ]
    assert {number: said for number, said in wrong.items() if said} == {}


# --- one thing each ----------------------------------------------------------------------------

#: Four quiet minutes, a spray of ten at 60 strokes a minute, four quiet minutes; every 5 s.
SPRAY = (Stretch(240), Stretch(600, 60), Stretch(240))


def one_day(rows: Sequence[Row], rig: Rig | None = None) -> dict[str, Any]:
    found = reckoned(rows, rig or Rig())
    assert found.questions == ()
    (day,) = days(found)
    return day


def test_ten_percent_is_not_more_than_ten_percent() -> None:
    """40 strokes a minute to 44 of the same pump are 1.1 to 1 to the letter; 40 to 45 are more."""
    for b, minutes in ((44, 0), (45, 10)):
        rows = run(plan("2026-03-14 08:00:00", *SPRAY))
        for n, row in enumerate(rows):
            sprayed = min(max(n - 48, 0) // 12, 10)
            rows[n] = replace(row, values={"strokes_a": 40 * sprayed, "strokes_b": b * sprayed})
        assert one_day(rows)["minutes_off_ratio"] == minutes


def test_a_side_that_makes_nothing_is_off_ratio() -> None:
    rows = run(plan("2026-03-14 08:00:00", *SPRAY))
    rows = [replace(row, values={**row.values, "strokes_b": 500}) for row in rows]
    assert one_day(rows)["minutes_off_ratio"] == pytest.approx(10, abs=1)


def test_too_few_strokes_to_judge_a_minute() -> None:
    slow = run(plan("2026-03-14 08:00:00", Stretch(240), Stretch(1200, 19, 0.5), Stretch(240)))
    assert one_day(slow)["minutes_off_ratio"] == 0
    enough = run(plan("2026-03-14 08:00:00", Stretch(240), Stretch(1200, 22, 0.5), Stretch(240)))
    assert one_day(enough)["minutes_off_ratio"] == pytest.approx(20, abs=1)


def test_a_fall_that_stays_high_is_asked_about() -> None:
    """41,000 → 40,000 and on from there: reset to a value, or a wrong one before? Nobody knows."""
    rows = run(plan("2026-03-14 08:00:00", *SPRAY))
    fallen = [
        replace(row, values={**row.values, "strokes_a": int(row.values["strokes_a"] or 0) - 1_000})
        for row in rows[100:]
    ]
    found = reckoned([*rows[:100], *fallen], Rig())
    assert {question.key for question in found.questions} == {"reset"}


def test_different_rows_of_one_instant_are_asked_about() -> None:
    rows = run(plan("2026-03-14 08:00:00", *SPRAY))
    other = replace(rows[50], values={**rows[50].values, "temp_a": 61.0})
    found = reckoned([*rows[:51], other, *rows[51:]], Rig())
    assert {question.key for question in found.questions} == {"duplicates"}


@pytest.mark.parametrize("length", [1, 2, 3])
@pytest.mark.parametrize("value", [0, 7, 3_000, 9_999_999])
def test_a_value_that_leaves_and_returns_gains_nothing(value: int, length: int) -> None:
    rows = run(plan("2026-03-14 08:00:00", *SPRAY))
    right = one_day(rows)
    wrong = one_day(with_glitch(rows, 102, "strokes_b", [value] * length))
    assert (wrong["strokes_b"], wrong["resets"]) == (right["strokes_b"], right["resets"])


def test_a_reset_is_at_least_only_where_time_went_unlogged_around_it() -> None:
    logged = run(plan("2026-03-14 08:00:00", *SPRAY, Stretch(300, 40, resets="ab")))
    assert one_day(logged)["at_least"] is False
    gap = Stretch(600, 30, logged=False, resets="ab")
    unlogged = run(plan("2026-03-14 08:00:00", *SPRAY, gap, Stretch(300, 40)))
    found = reckoned(unlogged, Rig(), reset="reset")
    assert [day["at_least"] for day in days(found)] == [True]


def test_one_row_is_a_day_of_nothing() -> None:
    """The first row adds nothing, and no time passes; what was read then was read."""
    day = one_day(run(plan("2026-03-14 08:00:00", Stretch(5))))
    assert (day["run_hours"], day["strokes_a"], day["gallons"], day["gap_minutes"]) == (0, 0, 0, 0)
    assert day["temp_f"]["a"]["min"] == day["temp_f"]["a"]["max"]


# --- several files of one day ------------------------------------------------------------------

GAP = Stretch(900, 30, logged=False)
NIGHT = Stretch(14 * 3600, logged=False)
SHARED = {
    "a morning": plan("2026-03-14 07:10:00", *MORNING),
    "a gap and a reset": plan(
        "2026-03-14 07:10:00", *SPRAY, GAP, *SPRAY, Stretch(600, 45, resets="ab")
    ),
    "two days": plan("2026-09-16 13:00:00", *MORNING, NIGHT, *MORNING),
    "over midnight": plan("2026-05-12 23:35:00", *MORNING),
    "the autumn change": plan("2026-11-01 00:20:00", Stretch(3 * 3600, 40), step_s=30),
}


@pytest.mark.parametrize("name", SHARED)
@pytest.mark.parametrize("share", [0.02, 0.31, 0.5, 0.83, 0.98])
def test_a_log_cut_in_two_joins_to_the_same_days(name: str, share: float) -> None:
    world = SHARED[name]
    rows = run(world)
    cut = int(len(rows) * share)
    truth = truth_of(rows, world.rig)
    for files in ((rows[:cut], rows[cut:]), (rows[cut:], rows[:cut])):
        found = joined(world.rig, *files)
        assert found.questions == ()
        assert differences(days(found), truth) == []


@pytest.mark.parametrize("name", SHARED)
def test_overlapping_equal_rows_count_once(name: str) -> None:
    world = SHARED[name]
    rows = run(world)
    first, second = rows[: len(rows) * 2 // 3], rows[len(rows) // 3 :]
    truth = truth_of(rows, world.rig)
    for files in ((first, second), (second, first), (rows, rows), (rows, rows[50:60])):
        found = joined(world.rig, *files)
        assert found.questions == ()
        assert differences(days(found), truth) == []


def test_three_files_in_any_order() -> None:
    world = SHARED["a gap and a reset"]
    rows = run(world)
    parts = [rows[:150], rows[150:300], rows[300:]]
    truth = truth_of(rows, world.rig)
    for order in ((0, 1, 2), (2, 1, 0), (1, 2, 0), (2, 0, 1)):
        found = joined(world.rig, *(parts[n] for n in order))
        assert differences(days(found), truth) == []


def test_one_file_joined_with_nothing_is_itself() -> None:
    world = SHARED["two days"]
    rows = run(world)
    assert days(joined(world.rig, rows)) == days(reckoned(rows, world.rig))


def test_overlapping_rows_that_contradict_are_asked_about() -> None:
    rows = run(SHARED["a morning"])
    first, second = rows[:400], rows[300:]
    second[20] = replace(
        second[20],
        values={**second[20].values, "strokes_a": int(second[20].values["strokes_a"] or 0) + 40},
    )
    assert {question.key for question in joined(Rig(), first, second).questions} == {"overlap"}


def test_two_logs_that_tell_of_the_same_hour_differently_are_asked_about() -> None:
    """The second file's rows lie between those of the first, with other counters."""
    rows = run(SHARED["a morning"])
    other = [
        replace(
            row,
            at=row.at + timedelta(seconds=2),
            values={**row.values, "strokes_a": int(row.values["strokes_a"] or 0) + 5_000},
        )
        for row in rows[100:300]
    ]
    assert {question.key for question in joined(Rig(), rows, other).questions} == {"overlap"}
