"""Side A against side B: what counts, what is left out, and how often the chart cries wolf."""

import math
from collections.abc import Callable, Sequence
from datetime import UTC, date, datetime, timedelta

import numpy as np
import numpy.typing as npt
import pytest
from hypothesis import given
from hypothesis import strategies as st

from equipment import sides
from equipment.sides import Count, Rules, Shift, chart

BEGAN = datetime(2025, 3, 3, 12, 0, tzinfo=UTC)
STROKES = 2_000.0
Floats = npt.NDArray[np.float64]


def shift(place: int, ratio: float = 1.0, *, strokes: float = STROKES, step: float = 1.0) -> Shift:
    """One shift a day, in which A made `ratio` times the strokes of B."""
    begins = BEGAN + timedelta(days=place)
    return Shift(
        day=date(2025, 3, 3) + timedelta(days=place),
        begins=begins,
        ends=begins + timedelta(hours=8),
        a=Count(strokes * ratio, step=step),
        b=Count(strokes, step=step),
    )


def steady(count: int, *, spread: float = 0.01, seed: int = 4) -> list[float]:
    return list(np.exp(np.random.default_rng(seed).standard_normal(count) * spread))


def shifts(ratios: Sequence[float]) -> list[Shift]:
    return [shift(place, ratio) for place, ratio in enumerate(ratios)]


# One figure and its error


def test_the_imbalance_of_a_worked_pair() -> None:
    # process_checks.csv, PC09: A=200, B=208 is a ratio of 0.961538.
    assert sides.imbalance(Count(200), Count(208)) == pytest.approx(math.log(0.961538), abs=1e-6)


def test_pumps_of_different_displacement_compare_by_volume() -> None:
    small, large = Count(3_000, worth=4.0), Count(2_000, worth=6.0)
    assert sides.imbalance(small, large) == pytest.approx(0, abs=1e-12)


@given(
    a=st.floats(min_value=1, max_value=1e6),
    b=st.floats(min_value=1, max_value=1e6),
    worth=st.floats(min_value=0.1, max_value=100),
)
def test_changing_the_sides_over_changes_the_sign(a: float, b: float, worth: float) -> None:
    one, other = Count(a, worth=worth, step=1), Count(b, step=10)
    assert sides.imbalance(one, other) == pytest.approx(-sides.imbalance(other, one))
    assert sides.counting_error(one, other) == pytest.approx(sides.counting_error(other, one))


@pytest.mark.parametrize(("strokes", "step"), [(300, 10), (2_000, 100), (5_000, 100)])
def test_the_counting_error_is_that_of_faces_that_show_whole_steps(strokes: int, step: int) -> None:
    rng = np.random.default_rng(11)

    def one_side() -> Floats:
        """How far a face is off, as a share, over shifts of about that many strokes."""
        start, true = rng.random(200_000) * step, strokes + rng.random(200_000) * step
        shown = (np.floor((start + true) / step) - np.floor(start / step)) * step
        return (shown - true) / strokes

    seen = np.std(one_side() - one_side())
    claimed = sides.counting_error(Count(strokes, step=step), Count(strokes, step=step))
    print(f"{strokes} strokes, step {step}: {claimed:.3%} claimed, {seen:.3%} simulated")
    assert claimed == pytest.approx(seen, rel=0.01)


def test_the_error_grows_as_a_shift_gets_shorter() -> None:
    errors = [
        sides.counting_error(Count(count, step=10), Count(count, step=10))
        for count in (100, 200, 400)
    ]
    assert errors[0] == pytest.approx(2 * errors[1])
    assert errors[1] == pytest.approx(2 * errors[2])


def test_what_has_no_balance_is_refused() -> None:
    # process_checks.csv, PC13: no reading must not be shown as balanced.
    for a, b in ((Count(0), Count(0)), (Count(0), Count(5)), (Count(5), Count(0))):
        with pytest.raises(ValueError, match="no balance"):
            sides.imbalance(a, b)
        with pytest.raises(ValueError, match="no balance"):
            sides.counting_error(a, b)
    with pytest.raises(ValueError, match="worth"):
        sides.imbalance(Count(5, worth=0), Count(5))
    with pytest.raises(ValueError, match="step"):
        sides.counting_error(Count(5, step=-1), Count(5))


# The baseline


def test_centre_and_spread_of_a_small_example_worked_by_hand() -> None:
    # Means of pairs (with itself) of 0, 1, 2, 9: 0 .5 1 1.5 2 4.5 5 5.5 9 1 → median 1.75.
    # Distances: 1 2 9 1 8 7 → median 4.5; 4.5 × 1.04836 = 4.7176.
    found = sides.baseline_of([0, 1, 2, 9], [0, 0, 0, 0], rules=Rules())
    assert found.centre == pytest.approx(1.75)
    assert found.spread == pytest.approx(4.7176, abs=1e-4)
    assert found.shifts == 4


def test_the_spread_of_normal_figures_is_their_standard_deviation() -> None:
    drawn = np.random.default_rng(3).standard_normal(1_500) * 0.02 + 0.05
    found = sides.baseline_of(list(drawn), [0.0] * 1_500, rules=Rules())
    assert found.centre == pytest.approx(0.05, abs=0.002)
    assert found.spread == pytest.approx(0.02, rel=0.05)


def test_counting_error_is_no_spread_of_the_pair() -> None:
    rng = np.random.default_rng(5)
    drawn = rng.standard_normal(1_500) * 0.01 + rng.standard_normal(1_500) * 0.02
    found = sides.baseline_of(list(drawn), [0.02] * 1_500, rules=Rules())
    assert found.spread == pytest.approx(0.01, rel=0.2)


def test_a_few_odd_shifts_hardly_move_the_baseline() -> None:
    good = [math.log(each) for each in steady(18)]
    clean = sides.baseline_of([*good, 0.0, 0.0], [0.0] * 20, rules=Rules())
    odd = sides.baseline_of([*good, 0.9, 0.9], [0.0] * 20, rules=Rules())
    assert abs(odd.centre - clean.centre) < 0.4 * clean.spread
    assert odd.spread < 1.6 * clean.spread


def test_a_pair_steadier_than_half_a_per_cent_counts_as_no_steadier() -> None:
    assert sides.baseline_of([0.0] * 8, [0.0] * 8, rules=Rules()).spread == 0.005


def test_a_baseline_of_one_shift_is_refused() -> None:
    with pytest.raises(ValueError, match="two shifts"):
        sides.baseline_of([0.1], [0.0], rules=Rules())


# What must not look like wear


def test_a_steady_pair_gives_no_signal() -> None:
    found = chart(shifts(steady(60)))
    assert found.signal is None
    assert found.missing == 0
    assert found.baseline is not None
    assert found.baseline.shifts == 20


def test_a_pair_with_a_balance_of_its_own_is_compared_with_that() -> None:
    found = chart(shifts([each * 1.08 for each in steady(60)]))
    assert found.signal is None
    assert found.baseline is not None
    assert found.baseline.centre == pytest.approx(math.log(1.08), abs=0.005)


def test_nothing_is_watched_before_eight_shifts_are_in() -> None:
    found = chart(shifts([1.0, 1.2, 0.9, 1.3, 0.8, 1.1, 1.25]))
    assert (found.baseline, found.signal, found.missing) == (None, None, 1)
    assert all(point.z is None for point in found.points)


def test_one_odd_shift_signals_nothing_and_two_after_each_other_hardly() -> None:
    for place in range(9, 50):
        ratios = steady(50)
        ratios[place] *= 3
        assert chart(shifts(ratios)).signal is None


def test_a_short_shift_is_left_out_or_wide() -> None:
    usual = shifts(steady(30))
    warm_up = shift(30, 1.4, strokes=60)
    coarse = shift(31, 1.06, strokes=400, step=20)
    wide = shift(32, 1.06, strokes=1_500, step=50)
    fine = shift(33, 1.06, strokes=1_500, step=1)
    points = chart([*usual, warm_up, coarse, wide, fine]).points[30:]
    assert [each.left_out for each in points] == [sides.TOO_SHORT, sides.TOO_SHORT, "", ""]
    z_wide, z_fine = points[2].z, points[3].z
    assert z_wide is not None
    assert z_fine is not None
    assert z_wide < 0.7 * z_fine


def test_an_unseen_reset_is_left_out() -> None:
    ratios = shifts(steady(30))
    half_seen = shift(30, 0.5)
    found = chart(
        [
            *ratios,
            Shift(half_seen.day, half_seen.begins, half_seen.ends, half_seen.a, half_seen.b, True),
        ]
    )
    assert found.points[-1].left_out == sides.AT_LEAST
    assert found.points[-1].y == pytest.approx(math.log(0.5))
    assert found.signal is None


def test_a_side_that_was_not_read_or_stood_still_is_left_out() -> None:
    usual = shift(0)
    unread = Shift(usual.day, usual.begins, usual.ends, usual.a, None)
    still = Shift(usual.day, usual.begins, usual.ends, usual.a, Count(0, step=1))
    points = chart([unread, still]).points
    assert [each.left_out for each in points] == [sides.NO_FIGURE, sides.STOOD_STILL]
    assert [each.y for each in points] == [None, None]


def test_a_fresh_rebuild_begins_a_fresh_baseline() -> None:
    before, after = steady(30), [each * 1.06 for each in steady(40, seed=8)]
    assert chart(shifts(before + after)).signal is not None
    rebuilt = BEGAN + timedelta(days=29, hours=12)
    found = chart(shifts(before + after), changes=[rebuilt])
    assert found.signal is None
    assert found.began_at == rebuilt
    assert found.baseline is not None
    assert found.baseline.centre == pytest.approx(math.log(1.06), abs=0.01)


def test_a_rebuild_after_the_last_shift_leaves_nothing_to_signal() -> None:
    worn = shifts(steady(30) + [1.1] * 10)
    assert chart(worn).signal is not None
    found = chart(worn, changes=[worn[-1].ends])
    assert (found.signal, found.baseline, found.missing) == (None, None, 8)


def test_a_shift_in_which_a_pump_was_exchanged_is_left_out() -> None:
    everyday = shifts(steady(40))
    noon = everyday[30].begins + timedelta(hours=4)
    found = chart(everyday, changes=[noon])
    assert [point.left_out for point in found.points[29:32]] == ["", sides.CHANGED, ""]
    assert found.points[31].baseline is None
    assert found.missing == 0
    assert found.baseline is not None
    assert found.baseline.shifts == 9


def test_several_changes_count_whatever_their_order() -> None:
    everyday = shifts(steady(40))
    first, second = BEGAN + timedelta(days=9, hours=12), BEGAN + timedelta(days=19, hours=12)
    assert chart(everyday, changes=[second, first]) == chart(everyday, changes=[first, second])


def test_shifts_out_of_order_are_refused() -> None:
    with pytest.raises(ValueError, match="order"):
        chart([shift(1), shift(0)])


# What must be told


@pytest.mark.parametrize(("factor", "more"), [(1.04, sides.A), (1 / 1.04, sides.B)])
def test_a_drift_is_told_with_its_side_its_size_and_when_it_began(factor: float, more: str) -> None:
    ratios = steady(60)
    ratios[35:] = [each * factor for each in ratios[35:]]
    signal = chart(shifts(ratios)).signal
    assert signal is not None
    assert signal.more == more
    assert signal.size == pytest.approx(0.04, abs=0.01)
    assert abs((signal.since - shift(35).day).days) <= 3
    assert shift(35).day < signal.found_on <= shift(42).day
    assert signal.shifts == (shift(59).day - signal.since).days + 1
    assert not signal.is_back


def test_a_pair_that_went_back_within_its_limits_is_said_to_be_back() -> None:
    ratios = steady(70)
    ratios[35:45] = [each * 1.05 for each in ratios[35:45]]
    signal = chart(shifts(ratios)).signal
    assert signal is not None
    assert signal.is_back


# Rates, by simulation with the baseline estimated. Pairs of spread 1, so that the floor of the
# spread plays no part; one healthy life of 150 shifts each.

Noise = Callable[[np.random.Generator, int], Floats]
LIFE = 150
UNIT = Rules(least_spread=1e-9)


def normal(rng: np.random.Generator, count: int) -> Floats:
    return rng.standard_normal(count)


def heavy(rng: np.random.Generator, count: int) -> Floats:
    return rng.standard_t(5, count)


def alike(rng: np.random.Generator, count: int) -> Floats:
    """Neighbours correlate by 0.2."""
    drawn = rng.standard_normal(count)
    for place in range(1, count):
        drawn[place] = 0.2 * drawn[place - 1] + math.sqrt(1 - 0.2**2) * drawn[place]
    return drawn


def first_signal(ys: Floats) -> int | None:
    """Place of the shift at which the chart of these imbalances, in units of 1 %, signals."""
    rows = [shift(place, math.exp(y / 100), step=0) for place, y in enumerate(ys)]
    points = chart(rows, rules=UNIT).points
    return next((place for place, point in enumerate(points) if point.is_out), None)


@pytest.mark.parametrize(
    ("noise", "lives", "low", "high"),
    [(normal, 1_200, 500, 800), (heavy, 600, 340, 640), (alike, 600, 200, 340)],
)
def test_the_rate_of_false_alarms(noise: Noise, lives: int, low: int, high: int) -> None:
    rng = np.random.default_rng(2025)
    alarms = watched = 0
    for _ in range(lives):
        found = first_signal(noise(rng, LIFE))
        alarms += found is not None
        watched += (LIFE if found is None else found + 1) - UNIT.first
    print(f"{noise.__name__}: one false alarm in {watched / alarms:.0f} shifts ({alarms} alarms)")
    assert low < watched / alarms < high


@pytest.mark.parametrize(
    ("percent", "jump", "drift"), [(2, 5, 16), (5, 3, 9), (10, 3, 6)], ids=["2 %", "5 %", "10 %"]
)
def test_how_soon_a_change_of_a_pair_of_one_per_cent_is_noticed(
    percent: int, jump: int, drift: int
) -> None:
    rng = np.random.default_rng(7)
    for wanted, ramp in ((jump, np.ones(60)), (drift, np.minimum(np.arange(1, 61) / 20, 1))):
        taken = []
        for _ in range(150):
            ys = normal(rng, 100)
            ys[40:] += percent * ramp
            found = first_signal(ys)
            if found is None or found >= 40:
                taken.append(60 if found is None else found - 39)
        print(
            f"{percent} %: {np.median(taken):.0f} shifts, nine in ten by {np.quantile(taken, 0.9)}"
        )
        assert abs(np.median(taken) - wanted) <= 1
