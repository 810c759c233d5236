"""The oracle against small cases reckoned by hand, so that it may judge the importer."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from fractions import Fraction
from typing import Any

import pytest

from .oracle import differences, truth_of
from .world import Plan, Rig, Row, Stretch, only, run, with_glitch

CHICAGO = Rig()  # 5 in³ a stroke on both sides
NINE = datetime(2026, 3, 4, 15, 0, tzinfo=UTC)  # 09:00 in Chicago


def rows_of(*table: tuple[Any, ...], roles: tuple[str, ...] = ("strokes_a", "strokes_b")) -> Any:
    """Rows of (seconds after nine, value, value …)."""
    return [
        Row(at=NINE + timedelta(seconds=seconds), values=dict(zip(roles, values, strict=True)))
        for seconds, *values in table
    ]


def test_ten_rows_with_a_reset_and_a_gap() -> None:
    """By hand, rows every 5 s, so a gap is longer than 60 s:

    s:      0    5   10   15   20 | 320  325  330  335  340
    A:    100  110  120    4   14 |  64   74   84   94  104
    B:    100  110  120  130  140 | 190  200  210  220  230
    A: 10+10, reset 4, 10, over the gap 50, 10×4 = 124; one reset, nothing unlogged around it.
    B: 130. Gallons (124+130)×5/231 = 5.4978. Gap 300 s = 5 min. Logged 4×5 + 4×5 s = 40 s.
    Minute 09:00: A 34, B 40: 40/34 = 1.18, off. Minute 09:05: A 40, B 40.
    """
    rows = rows_of(
        (0, 100, 100), (5, 110, 110), (10, 120, 120), (15, 4, 130), (20, 14, 140),
        (320, 64, 190), (325, 74, 200), (330, 84, 210), (335, 94, 220), (340, 104, 230),
    )  # fmt: skip
    (day,) = truth_of(rows, CHICAGO).days
    assert day["date"] == "2026-03-04"
    assert (day["strokes_a"], day["strokes_b"]) == (124, 130)
    assert day["resets"] == {"a": 1, "b": 0}
    assert day["at_least"] is False
    assert day["gallons"] == pytest.approx(254 * 5 / 231)
    assert day["gap_minutes"] == 5
    assert day["run_hours"] == pytest.approx(40 / 3600)
    assert day["minutes_off_ratio"] == 1
    assert day["temp_f"] == {"a": None, "b": None, "hose": None}
    assert day["pressure_psi_max"] == {"a": None, "b": None}


def test_a_reset_behind_a_gap_is_a_lower_bound() -> None:
    """A: 100, 110, then 300 s later 30: 10 + 30 = 40, and nobody knows what came before it."""
    rows = rows_of((0, 100, 1), (5, 110, 1), (10, 110, 1), (310, 30, 1), (315, 30, 1))
    (day,) = truth_of(rows, CHICAGO).days
    assert (day["strokes_a"], day["strokes_b"]) == (40, 0)
    assert day["resets"] == {"a": 1, "b": 0}
    assert day["at_least"] is True


def test_two_sides_reset_at_once_are_one_each() -> None:
    rows = rows_of((0, 900, 800), (5, 0, 0), (10, 3, 3), (15, 6, 6))
    (day,) = truth_of(rows, CHICAGO).days
    assert day["resets"] == {"a": 1, "b": 1}
    assert (day["strokes_a"], day["strokes_b"]) == (6, 6)


def test_a_rollover_is_no_reset() -> None:
    """A face of 10,000 values: 9,990 → 5 is 15 strokes. Without the top it is a reset: 5."""
    rows = rows_of((0, 9980, 7), (5, 9990, 7), (10, 5, 7), (15, 10, 7))
    (day,) = truth_of(rows, replace(CHICAGO, top_a=10_000)).days
    assert (day["strokes_a"], day["resets"]) == (30, {"a": 0, "b": 0})
    (day,) = truth_of(rows, CHICAGO).days
    assert (day["strokes_a"], day["resets"]) == (20, {"a": 1, "b": 0})


def test_a_glitch_gained_nothing() -> None:
    """100, 101, 0, 0, 104: the counter went from 101 to 104, and was never reset."""
    rows = rows_of(*((5 * n, 100 + n, 50) for n in range(6)))
    (day,) = truth_of(with_glitch(rows, 2, "strokes_a", (0, 0)), CHICAGO).days
    assert (day["strokes_a"], day["resets"]) == (5, {"a": 0, "b": 0})


@pytest.mark.parametrize(
    ("a", "b", "off"), [(22, 20, 0), (23, 20, 1), (20, 0, 1), (19, 0, 0), (40, 44, 0), (40, 45, 1)]
)
def test_more_than_ten_percent_and_at_least_twenty_strokes(a: int, b: int, off: int) -> None:
    """22 to 20 is 10 % and not more; 19 strokes on the busier side are too few to judge."""
    rows = rows_of(*((second, 0, 0) for second in range(0, 60, 5)), (60, 0, 0), (65, a, b))
    rows += rows_of(*((second, a, b) for second in range(70, 180, 5)))
    (day,) = truth_of(rows, CHICAGO).days
    assert day["minutes_off_ratio"] == off


def test_volumes_are_compared_and_not_strokes() -> None:
    """30 strokes of 4 in³ and 24 of 5 in³ are 120 in³ each."""
    rows = rows_of(*((s, 30 * (s >= 65), 24 * (s >= 65)) for s in range(0, 180, 5)))
    rig = Rig(in3_a=Fraction(4), in3_b=Fraction(5))
    (day,) = truth_of(rows, rig).days
    assert day["minutes_off_ratio"] == 0
    (day,) = truth_of(rows, CHICAGO).days
    assert day["minutes_off_ratio"] == 1


def test_run_hours_follow_the_running_column() -> None:
    """Rows at 0, 10, 20, 30 s; it runs in the first and the third: 10 s + 10 s."""
    rows = [
        replace(row, running=running)
        for row, running in zip(
            rows_of((0, 1, 1), (10, 1, 1), (20, 1, 1), (30, 1, 1)),
            (True, False, True, False),
            strict=True,
        )
    ]
    (day,) = truth_of(rows, CHICAGO).days
    assert day["run_hours"] == pytest.approx(20 / 3600)


def test_sixty_seconds_are_no_gap_and_five_intervals_are_none() -> None:
    """Every 5 s a step of 60 s is no gap; every 20 s one of 100 s is none, one of 101 s is."""
    (day,) = truth_of(rows_of((0, 1, 1), (5, 1, 1), (10, 1, 1), (70, 1, 1)), CHICAGO).days
    assert (day["gap_minutes"], day["run_hours"]) == (0, pytest.approx(70 / 3600))
    slow = ((0, 1, 1), (20, 1, 1), (40, 1, 1), (60, 1, 1))
    (day,) = truth_of(rows_of(*slow, (160, 1, 1)), CHICAGO).days
    assert day["gap_minutes"] == 0
    (day,) = truth_of(rows_of(*slow, (161, 1, 1)), CHICAGO).days
    assert day["gap_minutes"] == pytest.approx(101 / 60)


def test_a_clock_put_back_is_one_interval() -> None:
    """Every 5 s; after the third row the clock goes back by 1,003 s: 5 + 5 + 5 + 5 s."""
    rows = rows_of((0, 1, 1), (5, 2, 2), (10, 3, 3), (-993, 4, 4), (-988, 5, 5))
    (day,) = truth_of(rows, CHICAGO).days
    assert day["run_hours"] == pytest.approx(20 / 3600)
    assert (day["strokes_a"], day["gap_minutes"]) == (4, 0)


def test_the_night_is_no_gap_and_a_rise_belongs_to_its_later_row() -> None:
    evening, morning = (0, 5, 10), (15 * 3600, 15 * 3600 + 5, 15 * 3600 + 10)  # 24:00 and after
    rows = rows_of(*((s, n, n) for n, s in enumerate((*evening, *morning))))
    first, second = truth_of(rows, CHICAGO).days
    assert (first["date"], second["date"]) == ("2026-03-04", "2026-03-05")
    assert (first["strokes_a"], second["strokes_a"]) == (2, 3)
    assert first["gap_minutes"] == second["gap_minutes"] == 0
    assert first["run_hours"] == second["run_hours"] == pytest.approx(10 / 3600)


@pytest.mark.parametrize(
    "start", ["2026-11-01 00:00", "2026-03-08 00:00"], ids=["autumn", "spring"]
)
def test_a_clock_change_neither_makes_nor_loses_an_hour(start: str) -> None:
    """Four hours of rows every 60 s: 239 intervals, whatever the wall clock showed."""
    rows = run(Plan(start=start, stretches=(Stretch(4 * 3600, 30),), step_s=60))
    (day,) = truth_of(rows, CHICAGO).days
    assert day["run_hours"] == pytest.approx(239 / 60)
    assert day["strokes_a"] == 239 * 30
    assert day["gap_minutes"] == 0


def test_unknown_is_null_and_never_zero() -> None:
    rows = run(Plan(start="2026-03-04 09:00", stretches=(Stretch(600, 40),)))
    (one_side,) = truth_of(only(rows, "strokes_a", "temp_a"), CHICAGO).days
    assert one_side["strokes_b"] is None
    assert one_side["gallons"] is None
    assert one_side["minutes_off_ratio"] is None
    assert one_side["resets"] == {"a": 0, "b": None}
    (metered,) = truth_of(only(rows, "gallons_a", "gallons_b"), CHICAGO).days
    assert metered["strokes_a"] is metered["strokes_b"] is None
    # 119 intervals of 5 s at 40 strokes/min and 5 in³, both sides alike.
    assert metered["gallons"] == pytest.approx(2 * 119 * 40 * 5 / 60 * 5 / 231)


def test_means_are_over_the_rows_that_have_a_value() -> None:
    rows = rows_of((0, 100.0), (5, None), (10, 130.0), (15, 130.0), roles=("temp_a",))
    (day,) = truth_of(rows, CHICAGO).days
    assert day["temp_f"]["a"] == {"min": 100, "mean": 120, "max": 130}


def test_the_comparison_bites() -> None:
    """Each figure of a day, changed by a little more than rounding, is seen."""
    plan = Plan(start="2026-03-04 09:00", stretches=(Stretch(900, 40), Stretch(300, 40, 0.5)))
    truth = truth_of(run(plan), CHICAGO)
    (day,) = truth.days
    assert differences([day], truth) == []
    for key, changed in {
        "date": "2026-04-03",
        "run_hours": day["run_hours"] + 0.01,
        "strokes_a": day["strokes_a"] + 1,
        "strokes_b": None,
        "gallons": day["gallons"] * 1.01,
        "resets": {"a": 0, "b": None},
        "at_least": 0,
        "minutes_off_ratio": day["minutes_off_ratio"] - 2,
        "gap_minutes": None,
        "temp_f": {**day["temp_f"], "hose": None},
        "pressure_psi_max": {"a": day["pressure_psi_max"]["a"], "b": 0},
    }.items():
        assert differences([{**day, key: changed}], truth), key
    assert differences([], truth)
    assert differences([{key: day[key] for key in day if key != "resets"}], truth)
