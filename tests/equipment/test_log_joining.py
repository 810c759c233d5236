"""Several files of one day stand as all of them together say."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import timedelta
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from equipment.shiftlogs.blocks import Block, Rules
from equipment.shiftlogs.days.joining import join
from equipment.shiftlogs.days.reckoning import Reckoned
from equipment.shiftlogs.layout import AnswerRefused

from .shiftlogs.world import Plan, Row, Stretch, only, run
from .test_log_days import (
    FACTS,
    NINE,
    as_approximate,
    block_of,
    only_day,
    parts_of,
    reckon,
    rows_of,
)

PLAN = Plan(
    start="2026-03-04 09:00",
    stretches=(
        Stretch(600, 40),
        Stretch(600, 40, 0.8, resets="a"),
        Stretch(300, logged=False),
        Stretch(600, 25, running=False),
    ),
)
ROLES = ("strokes_a", "strokes_b", "temp_a", "pressure_b", "hours")
ROWS = only(run(PLAN), *ROLES, running=True)


def approximate(reckoned: Reckoned) -> list[Any]:
    return [as_approximate(day) for day in reckoned.days]


def joined(
    *files: Sequence[Row], answers: Mapping[str, str] | None = None, cuts: Sequence[int] = ()
) -> Reckoned:
    streams: list[list[Block]] = [parts_of(block_of(rows), cuts) for rows in files]
    return join(streams, facts=FACTS, rules=Rules(), answers=answers or {})


@settings(deadline=None)  # the whole day is reckoned twice
@given(
    first=st.integers(1, len(ROWS) - 1),
    second=st.integers(1, len(ROWS) - 1),
    turned=st.booleans(),
    cuts=st.lists(st.integers(1, len(ROWS)), max_size=5),
)
def test_files_cut_anywhere_and_overlapping_are_the_whole_day(
    first: int, second: int, turned: bool, cuts: list[int]
) -> None:
    """One file ends somewhere, another begins at or before that: some rows are in both."""
    low, high = sorted((first, second))
    files = [ROWS[:high], ROWS[low:]]
    reckoned = joined(*(files[::-1] if turned else files), cuts=cuts)
    assert reckoned.questions == ()
    whole = reckon(ROWS)
    assert approximate(reckoned) == approximate(whole)


def test_the_same_file_twice_or_thrice_is_one() -> None:
    whole = reckon(ROWS)
    for times in (2, 3):
        reckoned = joined(*[ROWS] * times, cuts=(7, 100))
        assert reckoned.questions == ()
        assert approximate(reckoned) == approximate(whole)


def test_rows_that_lie_between_the_others_rows_are_laid_between() -> None:
    reckoned = joined(ROWS[::2], ROWS[1::2], cuts=(50,))
    assert approximate(reckoned) == approximate(reckon(ROWS))


def test_a_gap_between_two_files_is_a_gap_and_the_second_adds_its_first_rise() -> None:
    morning = rows_of((0, 100, 100), (5, 110, 110), (10, 120, 120))
    noon = rows_of((1000, 500, 480), (1005, 510, 490), (1010, 520, 500))
    day = only_day(joined(noon, morning))
    assert (day.strokes_a, day.strokes_b) == (420, 400)
    assert day.gap_minutes == pytest.approx(990 / 60)
    assert day.run_hours == pytest.approx(20 / 3600)


def test_files_that_say_different_things_of_one_time_are_asked_about() -> None:
    one = rows_of(*((5 * n, 10 * n, 10 * n) for n in range(6)))
    other = rows_of(*((5 * n, 10 * n + (3 if n == 4 else 0), 10 * n) for n in range(3, 8)))
    reckoned = joined(other, one)
    (question,) = reckoned.questions
    assert question.key == "overlap"
    assert [token for token, _ in question.choices] == ["earlier", "later"]
    assert "first at 09:00:20 on 4 March 2026, line 3 of one of them" in question.why
    earlier = joined(one, other, answers={"overlap": "earlier"})
    later = joined(one[:5], other[:2], answers={"overlap": "later"})
    assert (earlier.questions, later.questions) == ((), ())
    assert only_day(earlier).strokes_a == 70
    assert only_day(later).strokes_a == 43
    with pytest.raises(AnswerRefused, match="earlier or later"):
        joined(one, other, answers={"overlap": "both"})


def test_counters_that_contradict_between_the_rows_are_asked_about() -> None:
    """Another rig's log of the same hour, its rows two seconds later and its counter higher."""
    one = rows_of(*((5 * n, 10 * n, 10 * n) for n in range(200)))
    other = rows_of(*((5 * n + 2, 10 * n + 5003, 10 * n + 4) for n in range(50, 250)))
    for cuts in ((), (3, 60, 61)):
        (question,) = joined(one, other, cuts=cuts).questions
        assert question.key == "overlap"
        # While both log, the other is silent; then it goes on, and its higher number is a rise.
        said = {"reset": "reset"}  # the leap from the one to the other
        earlier = only_day(joined(one, other, answers={"overlap": "earlier"} | said, cuts=cuts))
        later = only_day(joined(one, other, answers={"overlap": "later"} | said, cuts=cuts))
        assert (earlier.rows, later.rows) == (251, 251)
        assert earlier.resets_a == later.resets_a == 0
        assert (earlier.strokes_b, later.strokes_b) == (2494, 2494)
    # Files that follow each other with a reset between are no contradiction.
    follows = rows_of(*((2000 + 5 * n, 10 * n, 10 * n) for n in range(20)))
    last = rows_of(*((4000 + 5 * n, 10 * n, 10 * n) for n in range(20)))
    assert joined(last, one, follows).questions == ()


def test_what_one_file_does_not_say_the_other_may() -> None:
    strokes = only(ROWS, "strokes_a", "strokes_b", running=True)
    rest = only(ROWS, "temp_a", "pressure_b", "hours")
    reckoned = joined(strokes, rest)
    assert reckoned.questions == ()
    assert approximate(reckoned) == approximate(reckon(ROWS))


def test_a_clock_that_was_put_back_in_one_file_stays_where_it_was() -> None:
    back = rows_of((0, 0, 0), (5, 5, 5), (10, 10, 10), (2, 15, 15), (7, 20, 20), (12, 25, 25))
    after = rows_of((60, 30, 30), (65, 35, 35))
    day = only_day(joined(after, back, cuts=(2, 4)))
    assert (day.strokes_a, day.resets_a) == (35, 0)
    assert day.run_hours == pytest.approx((5 + 5 + 5 + 5 + 5 + 48 + 5) / 3600)


def test_rows_written_twice_some_lines_later_count_once() -> None:
    table = [(5 * n, 10 * n, 10 * n) for n in range(40)]
    again = rows_of(*table[:20], *table[8:20], *table[15:40])
    for cuts in ((), (20, 22, 31), tuple(range(1, 57))):
        reckoned = reckon(again, cuts=cuts)
        day = only_day(reckoned)
        assert (day.rows, day.strokes_a, day.resets_a) == (40, 390, 0)
        assert reckoned.notes == ("17 rows came again some lines later and counted once.",)
    # A row that differs is none of them: the clock went back.
    other = replace(again[24], values={"strokes_a": 7, "strokes_b": 7})
    assert only_day(reckon([*again[:24], other])).rows == 21


def test_files_of_several_days_keep_their_nights() -> None:
    evening = [replace(row, at=row.at + timedelta(hours=8)) for row in ROWS[:100]]
    morning = [replace(row, at=row.at + timedelta(hours=24)) for row in ROWS[100:]]
    first, second = joined(morning, evening).days
    assert (first.date.day, second.date.day) == (4, 5)
    assert first.gap_minutes == 0
    assert second.first_at == morning[0].at
    assert first.first_at == NINE + timedelta(hours=8)
