"""Rows of a log to the figures of its days, whatever blocks the rows come in.

`shiftlogs.oracle` says what the definitions say of the same rows, in plain Python; here the
streamed reckoning is held against it and against cases worked by hand.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from itertools import pairwise
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from equipment.shiftlogs.blocks import Block, Day, RigFacts, Rules
from equipment.shiftlogs.days.reckoning import Reckoned, Reckoner, day_json
from equipment.shiftlogs.layout import AnswerRefused

from .shiftlogs.oracle import differences, truth_of
from .shiftlogs.world import Plan, Rig, Row, Stretch, only, run, with_glitch, with_missing

CHICAGO = ZoneInfo("America/Chicago")
NINE = datetime(2026, 3, 4, 15, 0, tzinfo=UTC)  # 09:00 in Chicago
EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
FACTS = RigFacts(zone=CHICAGO, in3_per_stroke_a=5.0, in3_per_stroke_b=5.0)


def block_of(rows: Sequence[Row], *, zone: ZoneInfo = CHICAGO, first_line: int = 2) -> Block:
    """Rows as reading hands them on. Roles that no row has are no columns."""
    roles = dict.fromkeys(role for row in rows for role in row.values)
    has_running = any(row.running is not None for row in rows)
    return Block(
        line=np.arange(first_line, first_line + len(rows)),
        instant_us=np.array(
            [(row.at - EPOCH) // timedelta(microseconds=1) for row in rows], dtype=np.int64
        ),
        day=np.array(
            [(row.at.astimezone(zone).date() - EPOCH.date()).days for row in rows], dtype=np.int64
        ),
        values={
            role: np.array(
                [math.nan if (v := row.values.get(role)) is None else float(v) for row in rows]
            )
            for role in roles
        },
        running=np.array([row.running is not False for row in rows]) if has_running else None,
    )


def parts_of(block: Block, cuts: Sequence[int]) -> list[Block]:
    """The block cut in pieces before the rows of these numbers."""
    bounds = sorted({0, len(block), *(cut for cut in cuts if cut < len(block))})
    return [
        Block(
            line=block.line[a:b],
            instant_us=block.instant_us[a:b],
            day=block.day[a:b],
            values={role: values[a:b] for role, values in block.values.items()},
            running=None if block.running is None else block.running[a:b],
        )
        for a, b in pairwise(bounds)
    ]


def reckon(
    rows: Sequence[Row],
    *,
    facts: RigFacts = FACTS,
    rules: Rules | None = None,
    answers: Mapping[str, str] | None = None,
    cuts: Sequence[int] = (),
) -> Reckoned:
    reckoner = Reckoner(facts, rules or Rules(), answers or {})
    for part in parts_of(block_of(rows, zone=facts.zone), cuts):
        reckoner.add(part)
    return reckoner.close()


def facts_of(rig: Rig) -> RigFacts:
    return RigFacts(
        zone=ZoneInfo(rig.zone),
        in3_per_stroke_a=None if rig.in3_a is None else float(rig.in3_a),
        in3_per_stroke_b=None if rig.in3_b is None else float(rig.in3_b),
        rollover_a=rig.top_a,
        rollover_b=rig.top_b,
    )


def rows_of(
    *table: tuple[Any, ...], roles: Sequence[str] = ("strokes_a", "strokes_b")
) -> list[Row]:
    """Rows of (seconds after nine, value, value …)."""
    return [
        Row(at=NINE + timedelta(seconds=seconds), values=dict(zip(roles, values, strict=True)))
        for seconds, *values in table
    ]


def counted(*values: float | None, every: float = 1.0) -> list[Row]:
    """Rows of strokes A alone, one after the other."""
    return rows_of(*((n * every, value) for n, value in enumerate(values)), roles=("strokes_a",))


def only_day(reckoned: Reckoned) -> Day:
    (day,) = reckoned.days
    return day


# --- against the oracle ------------------------------------------------------------------------

stretches = st.builds(
    Stretch,
    seconds=st.sampled_from((60, 180, 420, 900)),
    per_minute=st.sampled_from((0, 6, 25, 40, 90)),
    b_share=st.sampled_from((1.0, 0.95, 0.8, 1.2)),
    logged=st.sampled_from((True, True, True, False)),
    running=st.sampled_from((True, True, False)),
    resets=st.sampled_from(("", "", "", "a", "ab")),
    clock_back_s=st.sampled_from((0, 0, 0, 37, 1003)),
)
starts = st.sampled_from(
    ("2026-03-04 09:00", "2026-03-04 23:50", "2026-11-01 00:30", "2026-03-08 01:30")
)


def with_clear_resets(stretch: Sequence[Stretch]) -> tuple[Stretch, ...]:
    """Without resets of few strokes: 0, 25, 0, 90 may be a reset as well as a glitch."""
    clear, made = [], 1000.0
    for each in stretch:
        if each.resets:
            each = each if made > 400 else replace(each, resets="")
            made = 0.0 if each.resets else made
        made += each.seconds / 60 * each.per_minute * min(each.b_share, 1.0)
        clear.append(each)
    return tuple(clear)


@settings(deadline=None)  # the oracle takes its time
@given(
    start=starts,
    stretch=st.lists(stretches, min_size=1, max_size=6),
    step=st.sampled_from((5, 20, 60)),
    has_running=st.booleans(),
    glitches=st.lists(st.tuples(st.integers(2, 400), st.integers(1, 4)), max_size=2),
    missing=st.lists(st.integers(1, 400), max_size=3),
    cuts=st.lists(st.integers(1, 600), max_size=6),
)
def test_any_day_in_any_blocks_is_what_the_oracle_says(
    start: str,
    stretch: list[Stretch],
    step: int,
    has_running: bool,
    glitches: list[tuple[int, int]],
    missing: list[int],
    cuts: list[int],
) -> None:
    plan = Plan(start=start, stretches=with_clear_resets(stretch), step_s=step)
    rows = run(plan)
    if not rows:
        return
    for at, length in glitches:
        # Far from resets and the ends, where nobody can tell a glitch from the rest.
        near = [row.values["strokes_a"] for row in rows[max(at - 8, 0) : at + length + 8]]
        if at + length + 8 < len(rows) and near == sorted(near) and near[0] > 2000:
            rows = with_glitch(rows, at, "strokes_a", (0,) * length)
    for at in missing:
        # A minute of which a side has no value is judged otherwise here: see below.
        if at < len(rows) and not rows[at].glitched and step == 5:
            rows = with_missing(rows, at, "strokes_a", "temp_b")
    rows = only(
        rows,
        *("strokes_a", "strokes_b", "temp_a", "temp_b", "pressure_a"),
        running=has_running,
    )
    reckoned = reckon(rows, cuts=cuts)
    assert not reckoned.questions
    truth = truth_of(rows, plan.rig)
    assert differences([day_json(day) for day in reckoned.days], truth) == []


@settings(deadline=None)  # three answers, each whole and in pieces
@given(cuts=st.lists(st.integers(1, 240), max_size=12), seed=st.integers(0, 10_000))
def test_the_cut_between_blocks_changes_nothing(cuts: list[int], seed: int) -> None:
    """Numbers with no sense at all, times that stand still or run back: the same in any blocks."""
    chance = np.random.default_rng(seed)
    steps = chance.choice([0, 1, 1, 1, 1, 5, 70, 400, -3, -200, 40_000], size=240)
    falls = np.where(chance.random(240) < 0.06, -chance.integers(0, 300, 240), 0)
    values = np.maximum(np.cumsum(chance.integers(0, 3, 240) + falls) + 200, 0).astype(float)
    heat = chance.normal(120, 3, 240)
    heat[chance.random(240) < 0.2] = math.nan
    gallons = values / 7
    gallons[chance.random(240) < 0.1] = math.nan
    rows = [
        Row(
            at=NINE + timedelta(seconds=int(at)),
            values={
                "strokes_a": value,
                "strokes_b": value + 1,
                "gallons": gal,
                "flow_a": t,
                "temp_a": t,
            },
            running=bool(ran),
        )
        for at, value, t, gal, ran in zip(
            np.cumsum(steps), values, heat, gallons, chance.random(240) < 0.8, strict=True
        )
    ]
    for answers in ({}, {"duplicates": "first"}, {"duplicates": "last", "reset": "reset"}):
        whole = reckon(rows, answers=answers)
        cut = reckon(rows, answers=answers, cuts=cuts)
        assert cut.questions == whole.questions
        assert cut.notes == whole.notes
        assert cut.nominal_s == whole.nominal_s
        assert [as_approximate(day) for day in cut.days] == [
            as_approximate(day) for day in whole.days
        ]


def as_approximate(value: Any) -> Any:
    """The value with floats that compare equal but for the order of a sum."""
    if isinstance(value, float):
        return pytest.approx(value, rel=1e-9, abs=1e-9)
    if isinstance(value, tuple):
        return tuple(as_approximate(each) for each in value)
    if isinstance(value, dict):
        return {key: as_approximate(each) for key, each in value.items()}
    if hasattr(value, "__slots__") and hasattr(value, "__dataclass_fields__"):
        return {name: as_approximate(getattr(value, name)) for name in value.__dataclass_fields__}
    return value


# --- what a fall was ---------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("values", "strokes", "resets"),
    [
        ((100, 101, 0, 1, 2), 3, 1),  # reset
        ((100, 101, 0, 101, 102), 2, 0),  # glitch down
        ((100, 101, 0, 0, 0, 0, 0, 102, 103), 3, 0),  # five rows are a few
        ((100, 101, 0, 0, 0, 0, 0, 0, 0, 0), 1, 1),  # never came back
        ((100, 101, 9999, 102, 103), 3, 0),  # glitch up
        ((100, 101, 9999, 0, 102, 103), 3, 0),  # up, then down
        ((100, 101, 0, 9999, 102), 2, 0),
        ((3, 0, 1, 2, 3, 4), 4, 1),  # counting up from a reset is no coming back
        ((0, 1, 2, 3, 0, 1, 2, 3), 6, 1),
        ((3, 3, 0, 3, 3), 0, 0),
        ((3, 4, 0, 5, 6, 7), 4, 0),
        ((41200, 41201, 41199, 41202, 41203), 3, 0),  # a hair down
        ((100, None, None, 103, 0, None, 2), 5, 1),  # a value that is missing loses nothing
        ((100, 101, 0, None, 101, None, 102), 2, 0),
        ((500, 501, 0, 1, 0, 1), 3, 2),  # twice
        ((500, 501, 0, 502, 503, 0, 504), 4, 0),
        ((500, 501, 0, 502, 0, 503), 3, 0),
        ((0, 0, 0, 0, 0), 0, 0),
    ],
)
@pytest.mark.parametrize("cut", [(), (1, 2, 3, 4, 5, 6, 7), (3,), (2, 4)])
def test_what_a_fall_was(
    values: tuple[float | None, ...], strokes: int, resets: int, cut: tuple[int, ...]
) -> None:
    reckoned = reckon(counted(*values), cuts=cut)
    day = only_day(reckoned)
    assert reckoned.questions == ()
    assert (day.strokes_a, day.resets_a) == (strokes, resets)
    assert not day.is_at_least


def test_a_rollover_needs_the_top_of_the_face_and_is_no_reset() -> None:
    rows = counted(9990, 9995, 3, 8)
    face = only_day(reckon(rows, facts=replace(FACTS, rollover_a=10_000.0)))
    assert (face.strokes_a, face.resets_a) == (18, 0)
    (change,) = face.faces["strokes_a"].changes
    assert change.is_rollover
    assert only_day(reckon(rows)).resets_a == 1
    # Far from the top it is a reset for all that.
    far = only_day(reckon(counted(5000, 5001, 3, 8), facts=replace(FACTS, rollover_a=10_000.0)))
    assert (far.strokes_a, far.resets_a) == (9, 1)


def test_a_fall_that_no_rule_explains_is_asked_about() -> None:
    rows = counted(41_199, 41_200, 30_000, 30_001, 30_002)
    reckoned = reckon(rows)
    (question,) = reckoned.questions
    assert question.key == "reset"
    assert [token for token, _ in question.choices] == ["reset", "wrong"]
    assert "Line 4, 09:00:02 on 4 March 2026" in question.why
    assert "strokes A fell from 41,200 to 30,000" in question.why
    wrong = reckon(rows, answers={"reset": "wrong"})
    assert wrong.questions == ()
    assert (only_day(wrong).strokes_a, only_day(wrong).resets_a) == (3, 0)
    (change,) = only_day(wrong).faces["strokes_a"].changes
    assert change.is_set
    assert (change.before, change.after) == (41_200, 30_000)
    reset = only_day(reckon(rows, answers={"reset": "Reset"}))
    assert (reset.strokes_a, reset.resets_a) == (1 + 30_000 + 2, 1)


def test_a_leap_that_no_pump_makes_is_asked_about() -> None:
    rows = counted(*range(0, 10), *range(41_200, 41_210))
    (question,) = reckon(rows).questions
    assert "strokes A leapt from 9 to 41,200" in question.why
    assert only_day(reckon(rows, answers={"reset": "wrong"})).strokes_a == 18
    assert only_day(reckon(rows, answers={"reset": "reset"})).strokes_a == 41_209
    # Over a gap of three days as much is possible.
    slow = [*counted(0, 1, 2), *rows_of((3 * 86_400, 41_200), roles=("strokes_a",))]
    assert reckon(slow).questions == ()


def test_an_answer_of_another_kind_is_refused() -> None:
    with pytest.raises(AnswerRefused, match="reset or wrong"):
        reckon(counted(1, 2), answers={"reset": "maybe"})


def test_a_reset_in_the_night_leaves_a_lower_bound() -> None:
    rows = counted(500, 510) + rows_of((15 * 3600, 35), (15 * 3600 + 1, 36), roles=("strokes_a",))
    first, second = reckon(rows).days
    assert (first.strokes_a, first.is_at_least) == (10, False)
    assert (second.strokes_a, second.resets_a, second.is_at_least) == (36, 1, True)
    assert second.gap_minutes == first.gap_minutes == 0
    (change,) = second.faces["strokes_a"].changes
    assert change.is_unseen


# --- time --------------------------------------------------------------------------------------


def test_a_step_over_midnight_is_split_there() -> None:
    """Every 40 s from 23:59:00: the step from 23:59:40 to 00:00:20 is 20 s of either day."""
    start = NINE + timedelta(hours=14, minutes=59)
    rows = [
        Row(at=start + timedelta(seconds=40 * n), values={"strokes_a": 10 * n}) for n in range(4)
    ]
    first, second = reckon(rows).days
    assert first.run_hours == pytest.approx(60 / 3600)
    assert second.run_hours == pytest.approx(60 / 3600)
    assert (first.strokes_a, second.strokes_a) == (10, 20)


def test_an_hour_without_rows_over_midnight_is_a_night_and_no_gap() -> None:
    start = NINE + timedelta(hours=14, minutes=30)
    at = [0, 5, 10, 3610, 3615, 3620]
    rows = [
        Row(at=start + timedelta(seconds=s), values={"strokes_a": n, "strokes_b": n})
        for n, s in enumerate(at)
    ]
    first, second = reckon(rows).days
    assert first.gap_minutes == second.gap_minutes == 0
    assert first.run_hours == second.run_hours == pytest.approx(10 / 3600)


def test_a_gap_is_listed_and_its_whole_length_counts() -> None:
    day = only_day(reckon(rows_of((0, 1, 1), (5, 2, 2), (10, 3, 3), (311, 9, 9), (316, 10, 10))))
    assert day.gap_minutes == pytest.approx(301 / 60)
    (gap,) = day.gaps
    assert (gap.start, gap.end) == (NINE + timedelta(seconds=10), NINE + timedelta(seconds=311))
    assert day.run_hours == pytest.approx(15 / 3600)


def test_flow_rates_are_summed_over_the_time_logged() -> None:
    """A 2 gal/min and B 1 gal/min for 20 intervals of 30 s; an hour's gap adds nothing."""
    at = [*range(0, 330, 30), *range(3930, 4260, 30)]
    rows = rows_of(*((s, 2.0, 1.0) for s in at), roles=("flow_a", "flow_b"))
    day = only_day(reckon(rows))
    assert day.gallons_a == pytest.approx(20)
    assert day.gallons == pytest.approx(30)
    assert (day.strokes_a, day.resets_a, day.minutes_off_ratio) == (None, None, None)
    # A stroke counter whose displacement nobody knows counts no gallons, and no meter stands in.
    both = [replace(row, values={**row.values, "strokes_a": 1, "strokes_b": 1}) for row in rows]
    assert only_day(reckon(both, facts=RigFacts(zone=CHICAGO))).gallons is None


# --- rows of one instant -----------------------------------------------------------------------


def test_different_rows_of_one_instant_are_asked_about() -> None:
    table = [(n, n, n) for n in range(12)]
    rows = rows_of(*table[:5], (4, 9, 4), *table[5:])
    reckoned = reckon(rows, cuts=(5,))
    (question,) = reckoned.questions
    assert question.key == "duplicates"
    assert "line 7, 09:00:04 on 4 March 2026" in question.why
    first = only_day(reckon(rows, answers={"duplicates": "first"}, cuts=(5,)))
    assert (first.rows, first.strokes_a) == (12, 11)
    last = reckon(rows[:6], answers={"duplicates": "last"}, cuts=(5,))
    assert (only_day(last).rows, only_day(last).strokes_a) == (5, 9)
    same = reckon(rows_of(*table[:5], table[4], *table[5:]))
    assert (same.questions, only_day(same).rows) == ((), 12)


def test_times_without_seconds_are_no_question() -> None:
    """Twelve rows a minute, all with the minute's time: all count, in their order."""
    rows = rows_of(*((60 * (n // 12), n, n) for n in range(120)))
    reckoned = reckon(rows, cuts=(5, 17, 60))
    assert reckoned.questions == ()
    assert "share each time" in reckoned.notes[0]
    day = only_day(reckoned)
    assert (day.rows, day.strokes_a) == (120, 119)
    assert day.run_hours == pytest.approx(9 / 60)


# --- the rest of a day -------------------------------------------------------------------------


def test_a_face_tells_what_it_showed_and_where_it_began_anew() -> None:
    day = only_day(reckon(counted(None, 700, 9, 702, 703, 0, 1, 2, 3, 4, 5, 6, None)))
    face = day.faces["strokes_a"]
    assert (face.first, face.first_at) == (700, NINE + timedelta(seconds=1))
    assert (face.last, face.last_at) == (6, NINE + timedelta(seconds=11))
    (change,) = face.changes
    assert (change.before, change.after) == (703, 0)
    assert (change.at_before, change.at_after) == (
        NINE + timedelta(seconds=4),
        NINE + timedelta(seconds=5),
    )
    assert (change.is_rollover, change.is_unseen, change.is_set) == (False, False, False)


def test_a_glitch_is_never_the_first_or_last_of_a_face() -> None:
    start = NINE + timedelta(hours=14, minutes=59, seconds=58)
    rows = [
        Row(at=start + timedelta(seconds=n), values={"strokes_a": value})
        for n, value in enumerate((800, 801, 0, 803, 804))  # the glitch is at midnight
    ]
    first, second = reckon(rows, cuts=(2, 3)).days
    assert (first.faces["strokes_a"].last, second.faces["strokes_a"].first) == (801, 803)
    assert second.strokes_a == 3


def test_a_minute_without_one_sides_values_is_not_off_ratio() -> None:
    """Rows every 60 s at 60 strokes; where A was not logged its 120 come in the next minute."""
    rows = rows_of(*((60 * n, 60 * n, 60 * n) for n in range(10)))
    rows = with_missing(rows, 4, "strokes_a")
    day = only_day(reckon(rows))
    assert (day.strokes_a, day.minutes_off_ratio) == (540, 0)


def test_what_is_off_ratio_is_the_shops_to_say() -> None:
    rows = rows_of(*((5 * n, 3 * n, 2 * n) for n in range(48)))  # 36 and 24 a minute
    assert only_day(reckon(rows)).minutes_off_ratio == 4
    lax = Rules(off_ratio=0.6)
    assert only_day(reckon(rows, rules=lax)).minutes_off_ratio == 0
    many = Rules(off_ratio_strokes=37)
    assert only_day(reckon(rows, rules=many)).minutes_off_ratio == 0
    day = only_day(reckon(rows))
    assert [span.start.minute for span in day.off_ratio] == [0, 1, 2, 3]


def test_the_trace_has_slots_of_five_minutes() -> None:
    rows = rows_of(
        *((10 * n, 2 * n, n, None if n < 40 else 100.0 + n) for n in range(90)),
        roles=("strokes_a", "strokes_b", "temp_a"),
    )
    trace = only_day(reckon(rows, cuts=(31, 65))).trace
    assert trace.starts == (540, 545, 550)
    assert trace.strokes_a == (58, 60, 60)
    assert trace.strokes_b == (29, 30, 30)
    assert trace.seen == {"temp_a": (None, 140.0, 160.0)}


def test_the_day_of_a_clock_change_is_traced_by_the_wall_clock() -> None:
    rows = run(Plan(start="2026-11-01 00:00", stretches=(Stretch(4 * 3600, 30),), step_s=60))
    day = only_day(reckon(only(rows, "strokes_a")))
    assert day.trace.starts == tuple(range(0, 180, 5))
    assert sum(day.trace.strokes_a) == day.strokes_a == 239 * 30
    assert day.run_hours == pytest.approx(239 / 60)


def test_a_day_in_the_form_of_the_definitions() -> None:
    rows = rows_of(
        (0, 10, 120.04), (5, 20, None), (10, 26, 121.0), roles=("strokes_a", "temp_a")
    )  # fmt: skip
    assert day_json(only_day(reckon(rows))) == {
        "date": "2026-03-04",
        "run_hours": 0.0028,
        "strokes_a": 16,
        "strokes_b": None,
        "gallons": None,
        "resets": {"a": 0, "b": None},
        "at_least": False,
        "minutes_off_ratio": None,
        "gap_minutes": 0.0,
        "temp_f": {"a": {"min": 120.04, "mean": 120.52, "max": 121.0}, "b": None, "hose": None},
        "pressure_psi_max": {"a": None, "b": None},
    }


def test_no_rows_are_no_days() -> None:
    assert Reckoner(FACTS, Rules(), {}).close() == Reckoned(days=[])


def test_a_single_row_is_a_day_of_nothing() -> None:
    day = only_day(reckon(counted(5)))
    assert day.date == date(2026, 3, 4)
    assert (day.strokes_a, day.run_hours, day.rows) == (0, 0, 1)
