"""Chances, use-days and days: against scipy's distributions, by draws, by hand and as properties.

Whether services keep the odds that are given here is another question: `test_calibration`.
"""

from datetime import date, timedelta
from typing import Any

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy import stats

from equipment import forecast
from equipment.forecast import FAR, Clocks, Part, Timeline
from equipment.usage.gamma import Rate
from equipment.usage.usedays import Away, Calendar
from equipment.usage.wiener import InverseGaussian, first_passage

MONDAY = date(2026, 3, 2)
DAY = MONDAY.toordinal()

shapes = st.floats(0.01, 1e4)
alphas = st.floats(2.001, 1e5)
betas = st.floats(1e-3, 1e9)
amounts = st.floats(1e-3, 1e9)
times = st.floats(0.0, 4000.0)
chances = st.floats(0.001, 0.999)


def reached(remaining: float, use_days: float, v: float, alpha: float, beta: float) -> float:
    return float(
        forecast.chance_reached(
            remaining=np.array([remaining]),
            use_days=np.array([use_days]),
            shape=np.array([v]),
            alpha=np.array([alpha]),
            beta=np.array([beta]),
        )[0]
    )


def until(remaining: float, chance: float, v: float, alpha: float, beta: float) -> float:
    return float(
        forecast.use_days_until(
            remaining=np.array([remaining]),
            chance=chance,
            shape=np.array([v]),
            alpha=np.array([alpha]),
            beta=np.array([beta]),
        )[0]
    )


# --- chances in use-days -----------------------------------------------------------------------


@pytest.mark.parametrize("use_days", [0.25, 3.0, 11.0, 60.0])
@pytest.mark.parametrize(("v", "alpha", "beta"), [(0.4, 4.5, 900.0), (2.0, 40.0, 3000.0)])
def test_the_chance_is_that_of_a_beta_prime_distribution(
    use_days: float, v: float, alpha: float, beta: float
) -> None:
    for amount in (1.0, 80.0, 700.0, 2500.0):
        truth = stats.betaprime.sf(amount, v * use_days, alpha, scale=beta)
        assert reached(amount, use_days, v, alpha, beta) == pytest.approx(truth, abs=1e-12)


def test_the_chance_is_found_in_draws() -> None:
    """Draw a rate, then 200,000 gains: half a per cent is more than three standard errors."""
    chance = np.random.default_rng(11)
    rate = chance.gamma(6.0, 1 / 900.0, 200_000)
    gained = chance.gamma(0.7 * 12, 1 / rate)
    for amount in (600.0, 1500.0, 3000.0):
        assert reached(amount, 12, 0.7, 6.0, 900.0) == pytest.approx(
            (gained >= amount).mean(), abs=0.005
        )


def test_a_rate_known_well_tends_to_a_gamma_process() -> None:
    """α = 1e8: the scipy gamma of shape vτ and rate α/β, and `chance_known` of its moments."""
    for use_days in (15.0, 24.0, 33.0):
        much = reached(120.0, use_days, 3.125, 1e8, 1e8 / 0.625)
        assert much == pytest.approx(
            stats.gamma.sf(120.0, 3.125 * use_days, scale=1 / 0.625), abs=1e-6
        )
        known = forecast.chance_known(remaining=120.0, days=use_days, mean=5.0, variance=8.0)
        assert much == pytest.approx(known, abs=1e-6)


@given(amounts, chances, shapes, alphas, betas)
def test_use_days_invert_the_chance(
    amount: float, chance: float, v: float, alpha: float, beta: float
) -> None:
    use_days = until(amount, chance, v, alpha, beta)
    assume(use_days < 1e12 and 1e-9 * beta < amount < 1e6 * beta)
    assert reached(amount, use_days, v, alpha, beta) == pytest.approx(chance, abs=1e-6)


@given(amounts, times, times, shapes, alphas, betas)
def test_the_chance_rises_with_time(
    amount: float, one: float, other: float, v: float, alpha: float, beta: float
) -> None:
    early, late = sorted((one, other))
    assert reached(amount, early, v, alpha, beta) <= reached(amount, late, v, alpha, beta) + 1e-12


@given(amounts, amounts, times, shapes, alphas, betas)
def test_the_chance_falls_with_what_remains(
    one: float, other: float, use_days: float, v: float, alpha: float, beta: float
) -> None:
    less, more = sorted((one, other))
    assert reached(less, use_days, v, alpha, beta) >= reached(more, use_days, v, alpha, beta) - 1e-9
    assert until(less, 0.5, v, alpha, beta) <= until(more, 0.5, v, alpha, beta) * (1 + 1e-9)


def test_the_ends() -> None:
    rate = (0.8, 5.0, 600.0)
    assert reached(0.0, 0.0, *rate) == 1
    assert reached(-3.0, 5.0, *rate) == 1
    assert reached(40.0, 0.0, *rate) == 0
    assert reached(1e300, 5.0, *rate) == 0
    assert until(0.0, 0.5, *rate) == 0
    assert until(1e300, 0.5, *rate) == np.inf
    unknown = (np.nan, np.nan, np.nan)
    assert reached(40.0, 5.0, *unknown) == 0
    assert reached(-1.0, 5.0, *unknown) == 1
    assert until(40.0, 0.5, *unknown) == np.inf
    assert until(-1.0, 0.5, *unknown) == 0
    for chance in (0.0, 1.0):
        with pytest.raises(ValueError, match="chance"):
            until(40.0, chance, *rate)


# --- the rate known ----------------------------------------------------------------------------


@pytest.mark.parametrize("variance", [1e-9, 1e-3, 8.0, 300.0])
def test_days_with_a_known_rate_invert_the_chance(variance: float) -> None:
    """Down to next to no variance, where the shape is 1e11 (worked_examples.json, A07)."""
    for chance in (0.1, 0.5, 0.9):
        days = forecast.days_known(remaining=100.0, chance=chance, mean=8.0, variance=variance)
        back = forecast.chance_known(remaining=100.0, days=days, mean=8.0, variance=variance)
        assert back == pytest.approx(chance, abs=1e-4 if variance < 1e-6 else 1e-9)
    given = {"remaining": 100.0, "mean": 8.0, "variance": variance}
    assert forecast.chance_known(days=0.0, **given) == 0


def test_the_known_rate_against_scipy() -> None:
    for days in (12.0, 24.0, 40.0):
        truth = stats.gamma.sf(120.0, 25 / 8 * days, scale=8 / 5)
        assert forecast.chance_known(
            remaining=120.0, days=days, mean=5.0, variance=8.0
        ) == pytest.approx(truth, rel=1e-12)


@pytest.mark.parametrize(
    "wrong", [{"mean": 0.0}, {"variance": -1.0}, {"remaining": 0.0}, {"days": -1.0}]
)
def test_a_known_rate_must_be_one(wrong: dict[str, float]) -> None:
    given = {"remaining": 9.0, "days": 3.0, "mean": 1.0, "variance": 1.0, **wrong}
    with pytest.raises(ValueError, match="zero"):
        forecast.chance_known(**given)


# --- first passage -----------------------------------------------------------------------------


@pytest.mark.parametrize(("mean", "shape"), [(25.0, 277.8), (12.0, 30.0), (4.0, 0.5), (9.0, 9e6)])
def test_the_first_passage_is_scipys_inverse_gaussian(mean: float, shape: float) -> None:
    """scipy.stats.invgauss(mu=m/λ, scale=λ), as its documentation gives it."""
    truth = stats.invgauss(mu=mean / shape, scale=shape)
    found = InverseGaussian(mean=mean, shape=shape)
    assert found.variance == pytest.approx(truth.var())
    for factor in (0.0, 0.3, 0.999, 1.0, 1.5, 8.0):
        assert found.chance(factor * mean) == pytest.approx(truth.cdf(factor * mean), abs=1e-10)
    for chance in (0.01, 0.1, 0.5, 0.9, 0.999):
        assert found.quantile(chance) == pytest.approx(truth.ppf(chance), rel=1e-7)


def test_the_first_passage_is_found_in_paths() -> None:
    """5,000 paths in steps of a hundredth of a day, with the chance to cross within a step."""
    chance, step = np.random.default_rng(3), 0.01
    found = first_passage(drift_per_day=4.0, deviation=3.0, remaining=20.0)
    level, crossed = np.zeros(5000), np.zeros(5000, dtype=bool)
    for _ in range(500):
        before = level
        level = before + chance.normal(4.0 * step, 3.0 * step**0.5, 5000)
        gap = np.maximum(20.0 - before, 0) * np.maximum(20.0 - level, 0)
        crossed |= chance.random(5000) < np.exp(-2 * gap / (9.0 * step))
    assert crossed.mean() == pytest.approx(found.chance(5.0), abs=0.022)  # three standard errors


@pytest.mark.parametrize("wrong", ["drift_per_day", "deviation", "remaining"])
def test_a_first_passage_needs_a_way_to_go(wrong: str) -> None:
    given = {"drift_per_day": 1.0, "deviation": 1.0, "remaining": 1.0, wrong: 0.0}
    with pytest.raises(ValueError, match="above zero"):
        first_passage(**given)
    with pytest.raises(ValueError, match="above zero"):
        InverseGaussian(mean=1.0, shape=-1.0)
    with pytest.raises(ValueError, match="chance"):
        InverseGaussian(mean=1.0, shape=1.0).quantile(1.0)


# --- several counters and triggers -------------------------------------------------------------


def rate(**figures: Any) -> Rate:
    given = {"shape": 1.0, "day_shape": 2.0, "alpha": 11.0, "beta": 1000.0}
    return Rate(**{**given, "own_days": 9.0, "fleet_rigs": 2, **figures})


def test_counters_behind_one_measure_add_up_and_are_known_like_the_least_known() -> None:
    """100 strokes a use-day at a tenth of a gallon and 50 at a fifth: 20 gallons."""
    a, b = rate(), rate(shape=0.5, alpha=6.0, beta=500.0)
    both = forecast.together(
        [Part(a, 0.5, 0.8, 0.7, factor=0.1), Part(b, 0.0, 0.6, 0.3, factor=0.2)]
    )
    assert both.rate.mean == pytest.approx(20.0)
    assert (both.rate.shape, both.rate.alpha, both.open_shape, both.factor) == (0.5, 6.0, 0.3, 1.0)
    # A free day brings 5 + 0 of the 20 gallons, an open one 8 + 6.
    assert (both.share, both.load) == (pytest.approx(0.25), pytest.approx(0.7))
    alone = forecast.together([Part(a, 0.5, 0.8, 0.7, factor=0.1)])
    assert (alone.rate.beta, alone.share) == (pytest.approx(100.0), 0.5)


def test_whichever_first_lies_between_moving_together_and_apart() -> None:
    each = np.array([0.2, 0.5, 0.0, 1.0, 0.3, 0.5, 0.5, 0.5])
    at_one, apart = forecast.first_of(each, np.array([0, 2, 4, 5]))
    assert at_one.tolist() == [0.5, 1.0, 0.3, 0.5]
    assert apart.tolist() == pytest.approx([0.6, 1.0, 0.3, 0.875])
    assert (apart >= at_one).all()
    assert forecast.all_of(each, np.array([0, 2, 4, 5])).tolist() == [0.2, 0.0, 0.3, 0.5]
    none = np.zeros(0, dtype=np.int64)
    assert not len(forecast.first_of(np.zeros(0), none)[0])
    assert not len(forecast.all_of(np.zeros(0), none))


def test_odds_are_kept_in_tenths_of_a_per_cent() -> None:
    odds = forecast.permille(np.array([0.0, 0.0005, 0.0015, 0.63449, 0.99996, 1.0, 1.0 + 1e-9]))
    assert odds.tolist() == [0, 0, 2, 634, 1000, 1000, 1000]


# --- days --------------------------------------------------------------------------------------


def timeline(jobs: list[tuple[int, int, int, int]], rigs: int = 1) -> Timeline:
    """jobs: rig, first and last day from MONDAY on, hundredths."""
    rows = np.array(jobs, dtype=np.int64).reshape(-1, 4)
    return Timeline(
        rigs=rigs,
        rig=rows[:, 0],
        first_day=rows[:, 1] + DAY,
        last_day=rows[:, 2] + DAY,
        intensity=rows[:, 3],
        open_from=DAY,
    )


def clocks(n: int = 1, **figures: Any) -> Clocks:
    given = {
        "rig": 0,
        "read_day": DAY,
        "read_part": 0.5,
        "share": 0.25,
        "load": figures.get("share", 0.25),
        "shape": 0.8,
        "open_shape": figures.get("shape", 0.8),
        "alpha": 9.0,
        "beta": 1000.0,
        **figures,
    }
    whole = ("rig", "read_day")
    return Clocks(
        **{
            name: np.broadcast_to(np.asarray(value, np.int64 if name in whole else float), (n,))
            for name, value in given.items()
        }
    )


def test_use_days_run_by_the_bookings() -> None:
    """Read on Monday noon; a job from Wednesday to Friday at half strength, Saturday in the shop.

    Use-days at midnight after Monday, …: 0.125, 0.375, 0.875, 1.375, 1.875, 1.875, 2.125, …
    """
    rig = timeline([(0, 2, 4, 50), (0, 5, 5, 0)])
    read = clocks()
    totals = [0.125, 0.375, 0.875, 1.375, 1.875, 1.875, 2.125, 2.375]
    for day, total in enumerate(totals):
        assert rig.use_days(read, np.array([DAY + day + 1])).tolist() == [total]
    # The first day whose total reaches it.
    for use_days, day in [(0.0, 0), (0.125, 0), (0.13, 1), (1.875, 4), (1.876, 6), (12.375, 47)]:
        assert rig.reach(read, np.array([use_days])).tolist() == [DAY + day]
    assert rig.use_days(read, np.array([DAY])).tolist() == [0]
    assert rig.reach(read, np.array([np.inf])).tolist() == [FAR]


def test_what_no_booking_ahead_brings_is_far() -> None:
    rig = timeline([(0, -9, -3, 100), (0, 3, 4, 150)])
    read = clocks(2, share=0.0)
    assert rig.reach(read, np.array([3.0, 3.01])).tolist() == [DAY + 4, FAR]
    found = forecast.days_reached(
        clocks=clocks(share=0.0),
        timeline=timeline([]),
        remaining=np.array([1.0]),
        chance=0.5,
    )
    assert found.tolist() == [FAR]
    # So far that the calendar ends.
    assert timeline([]).reach(clocks(share=1e-9), np.array([5.0])).tolist() == [FAR]


def test_days_that_nobody_has_planned_count_by_the_load() -> None:
    """A job to Friday, plans to Tuesday week: free days until then, open days after it."""
    rows = np.array([[0], [DAY + 2], [DAY + 4], [100]])
    rig = Timeline(
        rigs=1,
        rig=rows[0],
        first_day=rows[1],
        last_day=rows[2],
        intensity=rows[3],
        open_from=DAY + 9,
    )
    read = clocks(read_part=1.0, share=0.0, load=0.5)
    totals = [0, 0, 1, 2, 3, 3, 3, 3, 3, 3.5, 4, 4.5]
    for day, total in enumerate(totals):
        assert rig.use_days(read, np.array([DAY + day + 1])).tolist() == [total]
    assert rig.planned(read).tolist() == [3]
    assert rig.reach(read, np.array([3.0])).tolist() == [DAY + 4]
    assert rig.reach(read, np.array([3.1])).tolist() == [DAY + 9]
    assert rig.reach(read, np.array([4.01])).tolist() == [DAY + 11]
    # Read on an open day, already.
    late = clocks(read_day=DAY + 20, read_part=0.5, share=0.0, load=0.5)
    assert rig.use_days(late, np.array([DAY + 23])).tolist() == [1.25]
    assert rig.planned(late).tolist() == [0]


def test_days_that_nobody_has_planned_vary_more() -> None:
    """Variances add: 4 planned use-days of shape 1 and 6 open ones of shape 1/4."""
    rig = timeline([(0, 1, 4, 100)])
    read = clocks(read_part=1.0, share=0.0, load=0.5, shape=1.0, open_shape=0.25, beta=800.0)
    until_day = np.array([DAY + 5 + 12])
    shape = 10 / (4 / 1.0 + 6 / 0.25)
    for remaining in (400.0, 1000.0, 1900.0):
        truth = stats.betaprime.sf(remaining, 10 * shape, 9.0, scale=800.0 / shape)
        left: Any = {"clocks": read, "timeline": rig, "remaining": np.array([remaining])}
        assert forecast.chance_before(until=until_day, **left)[0] == pytest.approx(truth)
    for chance in (0.1, 0.5, 0.9):
        left = {"clocks": read, "timeline": rig, "remaining": np.array([1000.0])}
        (day,) = forecast.days_reached(chance=chance, **left)
        # A day is 2 to 5 points here; what three rounds leave is far below that.
        assert forecast.chance_before(until=np.array([day + 1]), **left)[0] > chance - 0.005
        assert forecast.chance_before(until=np.array([day]), **left)[0] < chance + 0.005


def test_no_use_known_no_date() -> None:
    unknown = clocks(2, shape=np.nan, alpha=np.nan, beta=np.nan)
    both = np.array([5.0, -1.0])
    found = forecast.days_reached(clocks=unknown, timeline=timeline([]), remaining=both, chance=0.5)
    assert found.tolist() == [FAR, DAY]
    until_day = np.full(2, DAY + 400)
    assert forecast.chance_before(
        clocks=unknown, timeline=timeline([]), remaining=both, until=until_day
    ).tolist() == [0, 1]


def test_no_stay_ahead_no_odds() -> None:
    odds = forecast.chance_before(
        clocks=clocks(2),
        timeline=timeline([]),
        remaining=np.array([5.0, 0.0]),
        until=np.full(2, FAR),
    )
    assert odds.tolist() == [0, 1]


job_lists = st.lists(
    st.tuples(st.integers(0, 9), st.integers(1, 12), st.sampled_from([0, 50, 80, 100, 150])),
    max_size=8,
)


def laid(rows: list[tuple[int, int, int]], *, start: int, rig: int = 0) -> list[Any]:
    """Jobs one after another: days before it, its length, how hard."""
    jobs, day = [], start
    for gap, length, hard in rows:
        jobs.append((rig, day + gap, day + gap + length - 1, hard))
        day += gap + length
    return jobs


@given(job_lists, st.integers(-15, 5), st.floats(0, 0.999), st.floats(0, 1), st.integers(-3, 90))
def test_use_days_agree_with_the_calendar_of_one_rig(
    rows: list[tuple[int, int, int]], start: int, part: float, share: float, ahead: int
) -> None:
    jobs = laid(rows, start=start)
    calendar = Calendar(
        first_day=MONDAY - timedelta(days=20),
        last_day=MONDAY + timedelta(days=400),
        jobs=[
            Away(MONDAY + timedelta(days=a), MONDAY + timedelta(days=b), hard / 100)
            for _, a, b, hard in jobs
        ],
    )
    truth = calendar.ahead(start=20 + part, until=MONDAY + timedelta(days=ahead), share=share)
    read = clocks(read_part=part, share=share)
    found = float(timeline(jobs).use_days(read, np.array([DAY + ahead]))[0])
    if ahead > 0:
        assert found == pytest.approx(truth, abs=1e-9)
    else:
        assert found == 0


@given(job_lists, st.integers(-15, 5), st.floats(0, 0.999), st.floats(0, 1), st.floats(0.001, 90))
def test_the_day_reached_is_the_first_whose_total_reaches(
    rows: list[tuple[int, int, int]], start: int, part: float, share: float, use_days: float
) -> None:
    assume(share == 0 or share > 1e-4)
    rig = timeline(laid(rows, start=start))
    read = clocks(read_part=part, share=share)
    day = rig.reach(read, np.array([use_days]))
    before = float(rig.use_days(read, day)[0])
    assert before < use_days * (1 + 1e-12) + 1e-12
    if day[0] < FAR:
        assert float(rig.use_days(read, day + 1)[0]) >= use_days * (1 - 1e-12) - 1e-12
    else:
        assert share == 0


@given(job_lists, st.integers(-15, 5), st.integers(1, 40), st.floats(1, 5000))
def test_work_booked_later_makes_no_date_earlier(
    rows: list[tuple[int, int, int]], start: int, later: int, remaining: float
) -> None:
    """The same jobs moved back by some days, on a rig that is not used between jobs."""
    read = clocks(read_day=DAY - 30, share=0.0)
    for chance in (0.1, 0.5, 0.9):
        now, then = (
            forecast.days_reached(
                clocks=read,
                timeline=timeline(laid(rows, start=begin)),
                remaining=np.array([remaining]),
                chance=chance,
            )[0]
            for begin in (start, start + later)
        )
        assert then >= now


@given(st.floats(1, 5000), st.floats(0.02, 1), st.floats(0.05, 20))
def test_the_dates_stand_in_order_and_keep_their_odds(
    remaining: float, share: float, v: float
) -> None:
    rig = timeline([(0, 3, 9, 100), (0, 12, 30, 80)])
    read = clocks(share=share, shape=v, beta=125 * 8 / v)
    left = np.array([remaining])
    before = 0
    for chance in (0.1, 0.5, 0.9):
        day = forecast.days_reached(clocks=read, timeline=rig, remaining=left, chance=chance)
        assert day[0] >= before
        before = day[0]
        if day[0] == FAR:
            continue
        given_day: Any = {"clocks": read, "timeline": rig, "remaining": left}
        assert forecast.chance_before(until=day + 1, **given_day)[0] >= chance - 1e-9
        assert forecast.chance_before(until=day, **given_day)[0] < chance + 1e-9


def test_an_element_is_the_same_whatever_stands_beside_it() -> None:
    """To the last digit: 3,000 counters of 200 rigs at once, one by one, and in another order."""
    chance, n = np.random.default_rng(4), 3000
    jobs = [
        job
        for rig in range(200)
        for job in laid(
            [
                (int(gap), int(length), int(hard))
                for gap, length, hard in zip(
                    chance.integers(0, 9, 7),
                    chance.integers(1, 12, 7),
                    chance.choice([0, 33, 80, 100, 150], 7),
                    strict=True,
                )
            ],
            start=-20,
            rig=rig,
        )
    ]
    together = timeline(jobs, rigs=200)
    read = Clocks(
        rig=chance.integers(0, 200, n),
        read_day=DAY + chance.integers(-40, 5, n),
        read_part=chance.random(n),
        share=chance.choice([0.0, 0.1, 1.0], n) * chance.random(n),
        load=chance.choice([0.0, 1.0], n) * chance.random(n),
        shape=10 ** chance.uniform(-2, 4, n),
        open_shape=10 ** chance.uniform(-2, 4, n),
        alpha=2 + 10 ** chance.uniform(-1, 5, n),
        beta=10 ** chance.uniform(-2, 7, n),
    )
    remaining = chance.uniform(-2, 60, n) * read.shape * read.beta / (read.alpha - 1)
    stay = DAY + chance.integers(0, 60, n)
    days = forecast.days_reached(clocks=read, timeline=together, remaining=remaining, chance=0.1)
    odds = forecast.chance_before(clocks=read, timeline=together, remaining=remaining, until=stay)
    order = chance.permutation(n)
    assert (
        forecast.chance_before(
            clocks=read[order], timeline=together, remaining=remaining[order], until=stay[order]
        )
        == odds[order]
    ).all()
    for at in range(0, n, 29):
        only = [(0, *job[1:]) for job in jobs if job[0] == read.rig[at]]
        alone = read[np.array([at])]
        alone = Clocks(
            rig=np.array([0]), **{name: getattr(alone, name) for name in Clocks.__slots__[1:]}
        )
        given_one: Any = {
            "clocks": alone,
            "timeline": timeline(only),
            "remaining": remaining[at : at + 1],
        }
        assert forecast.days_reached(chance=0.1, **given_one)[0] == days[at]
        assert forecast.chance_before(until=stay[at : at + 1], **given_one)[0] == odds[at]
