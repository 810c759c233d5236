"""Lives from faces: resets, rollovers, new faces, late readings, impossible rates."""

from datetime import UTC, datetime, timedelta
from decimal import Decimal
from typing import Any

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from equipment.counters import (
    CONTINUED,
    GALLONS,
    HOURS,
    REPLACED,
    RESET,
    ROLLOVER,
    STROKES,
    FaceReading,
    InFuture,
    OffTheFace,
    ReadingRefused,
    ResetValueTooLow,
    TooFast,
    Total,
    WentDown,
    check_possible,
    gain,
    interpolate,
    most_possible,
    plain,
    possible_rate,
    refuse_future,
    roughly,
    totals,
)

BEGAN = datetime(2025, 1, 1, 8, 0, tzinfo=UTC)
FACE = 10_000  # a face of four digits shows 0 to 9,999


def after(days: float) -> datetime:
    return BEGAN + timedelta(days=days)


def read(days: float, value: str | int, step: str = CONTINUED, **details: int) -> FaceReading:
    return FaceReading(
        at=after(days),
        value=Decimal(value),
        step=step,
        **{name: Decimal(detail) for name, detail in details.items()},
    )


def test_life_over_rollover_reset_and_a_new_face() -> None:
    # worked_examples.json, F04 (design rule, worked by hand):
    # 170; +10+45 = 225; +265 = 490; +92+20 = 602; +55+62 = 719.
    counted = totals(
        [
            read(0, 9820),
            read(1, 9990),
            read(2, 45, ROLLOVER),
            read(3, 310),
            read(4, 20, RESET, before_reset=402),
            read(5, 1062, REPLACED, before_reset=75, face_start=1000),
        ],
        start=Decimal(9820),
        rollover=Decimal(FACE),
    )
    assert [each.total for each in counted] == [0, 170, 225, 490, 602, 719]
    assert not any(each.at_least for each in counted)


def test_a_reset_nobody_saw_leaves_a_lower_bound_from_there_on() -> None:
    counted = totals(
        [read(0, 100), read(1, 30, RESET), read(2, 50)], start=Decimal(0), rollover=None
    )
    # 100; at least the 30 shown since the reset; then 20 more.
    assert [(each.total, each.at_least) for each in counted] == [
        (100, False),
        (130, True),
        (150, True),
    ]


def test_a_face_replaced_unseen_leaves_a_lower_bound() -> None:
    amount, at_least = gain(
        previous=Decimal(400), current=read(1, 1062, REPLACED, face_start=1000), rollover=None
    )
    assert (amount, at_least) == (62, True)


def test_a_lower_value_is_a_question() -> None:
    with pytest.raises(WentDown, match=r"Lower than the last reading, 1,182\.") as refused:
        gain(previous=Decimal(1182), current=read(3, 12), rollover=None)
    assert str(refused.value).endswith("Was the counter reset?")
    assert (refused.value.previous, refused.value.value) == (1182, 12)
    assert refused.value.at == after(3)


def test_a_late_reading_above_the_next_names_the_next() -> None:
    readings = [read(0, 100), read(10, 200), read(5, 250)]
    with pytest.raises(WentDown) as refused:
        totals(readings, start=Decimal(0), rollover=None)
    assert refused.value.at == after(10)


def test_the_value_before_a_reset_cannot_be_below_the_last_reading() -> None:
    with pytest.raises(ResetValueTooLow, match=r"showed 400 .* cannot be 399"):
        gain(previous=Decimal(400), current=read(1, 5, RESET, before_reset=399), rollover=None)


@pytest.mark.parametrize("value", [-1, FACE, FACE + 1])
def test_a_face_cannot_show_what_is_not_on_it(value: int) -> None:
    with pytest.raises(OffTheFace):
        gain(previous=Decimal(0), current=read(1, value), rollover=Decimal(FACE))


def test_the_last_value_on_the_face_and_no_rollover() -> None:
    assert gain(previous=Decimal(0), current=read(1, FACE - 1), rollover=Decimal(FACE))[0] == 9999
    assert gain(previous=Decimal(0), current=read(1, FACE + 1), rollover=None)[0] == 10_001


@pytest.mark.parametrize(
    ("reading", "words"),
    [
        (read(1, 5, ROLLOVER), "no value at which it starts again"),
        (read(1, 5, REPLACED), "new face needs the value"),
        (read(1, 5, CONTINUED, before_reset=3), "before_reset does not belong"),
        (read(1, 5, RESET, face_start=3), "face_start does not belong"),
        (read(1, 5, "guessed"), "Unknown step"),
    ],
)
def test_impossible_combinations_are_refused(reading: FaceReading, words: str) -> None:
    with pytest.raises(ValueError, match=words):
        gain(previous=Decimal(0), current=reading, rollover=None)


def test_a_new_face_cannot_show_less_than_it_started_with() -> None:
    with pytest.raises(WentDown):
        gain(previous=Decimal(0), current=read(1, 5, REPLACED, face_start=6), rollover=None)


# Properties. A history: amounts counted one after the other, on a face that starts again.

amounts = st.lists(st.integers(0, FACE - 1), min_size=1, max_size=12)


def face_history(amounts_: list[int], start: int = 0) -> list[FaceReading]:
    readings, face = [], start
    for place, amount in enumerate(amounts_):
        rolled = face + amount >= FACE
        face = (face + amount) % FACE
        readings.append(read(place, face, ROLLOVER if rolled else CONTINUED))
    return readings


@given(amounts, st.integers(0, FACE - 1))
def test_a_life_never_falls_and_adds_up(amounts_: list[int], start: int) -> None:
    counted = totals(face_history(amounts_, start), start=Decimal(start), rollover=Decimal(FACE))
    lives = [each.total for each in counted]
    assert lives == sorted(lives)
    assert lives[-1] == sum(amounts_)


@given(amounts, st.randoms(use_true_random=False))
def test_the_order_in_which_late_readings_come_in_does_not_matter(
    amounts_: list[int], shuffled_by: object
) -> None:
    in_order = face_history(amounts_)
    mixed = list(in_order)
    shuffled_by.shuffle(mixed)  # type: ignore[attr-defined]
    expected = totals(in_order, start=Decimal(0), rollover=Decimal(FACE))
    assert totals(mixed, start=Decimal(0), rollover=Decimal(FACE)) == expected


@given(st.integers(0, 500), st.integers(0, 500), st.integers(0, 500), st.booleans())
def test_a_reading_in_between_changes_nothing(
    first: int, to_middle: int, to_last: int, ends_in_reset: bool
) -> None:
    middle, last = first + to_middle, first + to_middle + to_last
    end = read(2, 7, RESET, before_reset=last) if ends_in_reset else read(2, last)
    without = totals([read(0, first), end], start=Decimal(0), rollover=None)
    with_middle = totals([read(0, first), read(1, middle), end], start=Decimal(0), rollover=None)
    assert with_middle[-1] == without[-1]


@given(st.lists(st.tuples(st.integers(0, 500), st.booleans()), min_size=1, max_size=10))
def test_resets_with_the_value_seen_count_as_if_there_were_none(
    history: list[tuple[int, bool]],
) -> None:
    steady, reset, life, face = [], [], 0, 0
    for place, (amount, was_reset) in enumerate(history):
        life += amount
        steady.append(read(place, life))
        if was_reset:
            # Half of it before the reset, the rest on the new count.
            before = amount // 2
            reset.append(read(place, amount - before, RESET, before_reset=face + before))
            face = amount - before
        else:
            face += amount
            reset.append(read(place, face))
    assert totals(reset, start=Decimal(0), rollover=None) == totals(
        steady, start=Decimal(0), rollover=None
    )


@given(st.integers(0, 500), st.integers(0, 500), st.integers(0, 500))
def test_a_reset_nobody_saw_never_says_more_than_one_somebody_saw(
    previous: int, unseen: int, shown: int
) -> None:
    seen, exact = gain(
        previous=Decimal(previous),
        current=read(1, shown, RESET, before_reset=previous + unseen),
        rollover=None,
    )
    bound, at_least = gain(previous=Decimal(previous), current=read(1, shown, RESET), rollover=None)
    assert bound <= seen
    assert (exact, at_least) == (False, True)


# Interpolation.

LINE = [
    Total(at=after(0), total=Decimal(10), at_least=False),
    Total(at=after(4), total=Decimal(50), at_least=False),
]


@pytest.mark.parametrize(
    ("days", "total", "estimated"),
    [
        (-1, 10, True),  # nothing is known before the first
        (0, 10, False),
        (1, 20, True),  # 10 + 40 × 1/4
        (3, 40, True),
        (4, 50, False),
        (9, 50, True),  # nor after the last
    ],
)
def test_a_total_between_readings(days: float, total: int, estimated: bool) -> None:
    assert interpolate(LINE, after(days)) == (total, estimated)


def test_a_total_without_readings() -> None:
    assert interpolate([], after(0)) == (0, True)


@given(amounts, st.floats(-1, 13), st.floats(-1, 13))
def test_an_interpolated_life_never_falls(amounts_: list[int], one: float, other: float) -> None:
    counted = totals(face_history(amounts_), start=Decimal(0), rollover=Decimal(FACE))
    earlier, later = sorted((one, other))
    assert interpolate(counted, after(earlier))[0] <= interpolate(counted, after(later))[0]


# What the clock and the pump allow.


def test_more_hours_than_the_clock_allows() -> None:
    # 2 days hold 48 h; 50 h less one display step of 1 h is 49 h, still too much.
    with pytest.raises(TooFast) as refused:
        check_possible(
            counted=Decimal(50),
            elapsed=timedelta(days=2),
            kind=HOURS,
            step=Decimal(1),
            max_per_minute=None,
        )
    assert str(refused.value) == "50 hours in 2 d is more than the clock allows (48)."
    assert refused.value.possible == 48


@pytest.mark.parametrize(
    ("counted", "elapsed", "kind", "step", "most", "possible"),
    [
        # A face of whole hours may have been about to turn: 101 h ten minutes after 100 h.
        ("1", timedelta(minutes=10), HOURS, "1", None, True),
        ("1", timedelta(minutes=10), HOURS, "0.1", None, False),
        ("48", timedelta(days=2), HOURS, "0", None, True),
        ("48.1", timedelta(days=2), HOURS, "0", None, False),
        ("0", timedelta(0), HOURS, "0", None, True),
        # 120 × 60 × 24 = 172,800 strokes in a day.
        ("172800", timedelta(days=1), STROKES, "0", "120", True),
        ("172801", timedelta(days=1), STROKES, "0", "120", False),
        ("172801", timedelta(days=1), STROKES, "1", "120", True),
        ("172801", timedelta(days=1), STROKES, "0", None, True),
        # 2.5 gal/min × 60 = 150 gal in an hour.
        ("150", timedelta(hours=1), GALLONS, "0", "2.5", True),
        ("150.1", timedelta(hours=1), GALLONS, "0", "2.5", False),
    ],
)
def test_possible_rates(
    counted: str, elapsed: timedelta, kind: str, step: str, most: str | None, possible: bool
) -> None:
    arguments: dict[str, Any] = {
        "counted": Decimal(counted),
        "elapsed": elapsed,
        "kind": kind,
        "step": Decimal(step),
        "max_per_minute": None if most is None else Decimal(most),
    }
    assert possible_rate(**arguments) is possible
    if possible:
        check_possible(**arguments)
    else:
        with pytest.raises(TooFast):
            check_possible(**arguments)


def test_the_most_a_pump_can_do_in_a_day() -> None:
    most = most_possible(elapsed=timedelta(days=1), kind=STROKES, max_per_minute=Decimal(120))
    assert most == 172_800


@pytest.mark.parametrize(
    ("elapsed", "kind", "most"),
    [
        (timedelta(seconds=-1), HOURS, None),
        (timedelta(days=1), "miles", None),
        (timedelta(days=1), STROKES, Decimal(0)),
    ],
)
def test_a_limit_of_nonsense_is_refused(
    elapsed: timedelta, kind: str, most: Decimal | None
) -> None:
    with pytest.raises(ValueError, match=r".+"):
        most_possible(elapsed=elapsed, kind=kind, max_per_minute=most)


def test_the_future_is_refused_but_a_clock_may_run_a_little_ahead() -> None:
    slack = timedelta(minutes=5)
    refuse_future(at=BEGAN + slack, now=BEGAN, slack=slack)
    with pytest.raises(InFuture, match="has not come yet"):
        refuse_future(at=BEGAN + slack + timedelta(seconds=1), now=BEGAN, slack=slack)


def test_each_refusal_is_one_a_page_can_catch() -> None:
    for refusal in (OffTheFace, WentDown, ResetValueTooLow, TooFast, InFuture):
        assert issubclass(refusal, ReadingRefused)
        assert issubclass(refusal, ValueError)


@pytest.mark.parametrize(
    ("value", "text"),
    [("1182", "1,182"), ("1182.50", "1,182.5"), ("100", "100"), ("1E+3", "1,000"), ("0.0", "0")],
)
def test_numbers_as_people_write_them(value: str, text: str) -> None:
    assert plain(Decimal(value)) == text


@given(st.integers(0, FACE - 1), st.integers(0, FACE - 1))
def test_a_lower_face_is_always_asked_about(previous: int, value: int) -> None:
    assume(value < previous)
    with pytest.raises(WentDown):
        gain(previous=Decimal(previous), current=read(1, value), rollover=Decimal(FACE))


@pytest.mark.parametrize(
    ("value", "said"),
    [
        (0, "0"),
        (0.3334, "0.33"),
        (5.3666, "5.4"),
        (59.03, "59"),
        (96.4, "96"),
        (99.6, "100"),
        (1534.0, "1,500"),
        (27772.8, "28,000"),
    ],
)
def test_an_estimate_has_two_digits_that_count(value: float, said: str) -> None:
    assert roughly(value) == said
