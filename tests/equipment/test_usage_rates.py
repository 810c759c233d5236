"""Use-days, and what a counter gains in them: against scipy, by hand, and by simulated fleets.

The fleets are not drawn from the formulas that are tested: jobs come in blocks with idle weeks
between, days of one job resemble each other, and readings are taken when somebody thinks of it.
`pytest -s` prints the figures.
"""

from datetime import date, timedelta

import numpy as np
import pytest
from scipy import integrate, stats

from equipment.usage.gamma import Fleet, Own, Rate, Spread, fleet_of, fleets_of, learn, own_of
from equipment.usage.usedays import Away, Calendar, ShareSums, share_sums, usual_share
from equipment.usage.wiener import wiener_drift

MONDAY = date(2026, 3, 2)


def after(days: int) -> date:
    return MONDAY + timedelta(days=days)


# --- drift -------------------------------------------------------------------------------------


def test_drift_and_variance_of_irregular_readings() -> None:
    # worked_examples.json, A08 (standard result; e.g. Whitmore 1995, Lifetime Data Analysis 1).
    found = wiener_drift(days=[0, 3, 10, 11, 18, 25], totals=[120, 141, 190, 199, 240, 300])
    assert found.drift_per_day == pytest.approx(7.2)
    assert found.variance_per_day == pytest.approx(5.885714285714286)


@pytest.mark.parametrize("days", [[0.0], [0.0, 0.0], [0.0, 2.0, 1.0]])
def test_drift_needs_days_that_rise(days: list[float]) -> None:
    with pytest.raises(ValueError, match="reading"):
        wiener_drift(days=days, totals=[1.0] * len(days))


# --- use-days ----------------------------------------------------------------------------------


def test_a_span_is_counted_in_booked_and_free_days() -> None:
    """Two weeks: a job on days 2 to 4 at half strength, in the shop on day 6, the rest free."""
    calendar = Calendar(
        first_day=MONDAY,
        last_day=after(13),
        jobs=[Away(after(2), after(4), 0.5)],
        shop_days=[after(6), after(3)],
    )
    booked, free = calendar.parts([0.0, 2.0, 3.5, 6.25, 14.0, 20.0])
    assert booked.tolist() == pytest.approx([0, 0.75, 0.75, 0, 0])
    assert free.tolist() == pytest.approx([2, 0, 1, 7, 0])
    assert calendar.ahead(start=3.5, until=after(9), share=0.25) == pytest.approx(0.75 + 0.25 * 3)
    assert calendar.ahead(start=9.0, until=after(3), share=1.0) == 0


def test_the_share_is_learnt_from_spans_that_differ() -> None:
    """10 a booked day and 2 a free one: a free day is a fifth of a booked one."""
    booked = np.array([5.0, 0.0, 7.0, 2.0, 1.0])
    free = np.array([0.0, 7.0, 3.0, 5.0, 1.0])
    own = share_sums(booked=booked, free=free, used=10 * booked + 2 * free)
    assert usual_share(own=own, fleet=ShareSums()) == pytest.approx(0.2)
    # The fleet stands beside it while it has no days of its own …
    assert usual_share(own=ShareSums(), fleet=own) == pytest.approx(0.2)
    # … and weighs no more than 30 days however large it is.
    idle = share_sums(booked=booked, free=free, used=10 * booked)
    large = ShareSums()
    for _ in range(100):
        large += own
    both = usual_share(own=idle, fleet=large)
    assert 0.02 < both < 0.18


def test_without_bookings_each_day_is_like_any_other() -> None:
    own = share_sums(booked=np.zeros(3), free=np.full(3, 7.0), used=np.array([5.0, 9.0, 7.0]))
    assert usual_share(own=own, fleet=ShareSums()) == 1
    assert usual_share(own=ShareSums(), fleet=ShareSums()) == 1


def test_days_without_a_booking_that_use_nothing_count_nothing() -> None:
    booked, free = np.array([5.0, 0.0, 6.0]), np.array([2.0, 7.0, 1.0])
    own = share_sums(booked=booked, free=free, used=8 * booked)
    assert usual_share(own=own, fleet=ShareSums()) == pytest.approx(0, abs=1e-12)


# --- the gamma process -------------------------------------------------------------------------

RATE = Rate(shape=0.8, day_shape=2.5, alpha=9.0, beta=900.0, own_days=31, fleet_rigs=5)


@pytest.mark.parametrize("use_days", [0.5, 3.0, 40.0])
def test_the_predictive_is_a_gamma_whose_rate_is_gamma(use_days: float) -> None:
    """The closed form against the integral over the rate that it solves, by scipy."""
    mixed = stats.gamma(RATE.alpha, scale=1 / RATE.beta)
    for amount in (10.0, 120.0, 4000.0):
        truth, _ = integrate.quad(
            lambda u, amount=amount: (
                stats.gamma.sf(amount, RATE.shape * use_days, scale=1 / u) * mixed.pdf(u)
            ),
            0,
            0.2,
            limit=400,
            points=[0.005, 0.01, 0.02],
        )
        assert RATE.chance_above(amount, use_days) == pytest.approx(truth, abs=1e-7)
    for chance in (0.1, 0.5, 0.9):
        amount = RATE.quantile(chance, use_days)
        assert RATE.chance_above(amount, use_days) == pytest.approx(1 - chance, abs=1e-9)


def test_the_mean_and_the_single_day() -> None:
    assert RATE.mean == pytest.approx(0.8 * 900 / 8)
    assert RATE.expected(10) == pytest.approx(900)
    draws = stats.betaprime(2.5, 9.0, scale=900 * 0.8 / 2.5)
    assert draws.mean() == pytest.approx(RATE.mean)
    assert RATE.day_quantile(0.9) == pytest.approx(draws.ppf(0.9))
    assert RATE.quantile(0.5, 0.0) == 0
    with pytest.raises(ValueError, match="chance"):
        RATE.quantile(1.0, 2.0)


def test_much_evidence_tends_to_the_gamma_process_with_a_known_rate() -> None:
    """van Noortwijk (2009): P(use >= R) = Q(vτ, uR), the design's mathematics 5."""
    much = Rate(shape=1.5, day_shape=1.5, alpha=2e6, beta=2e6 / 0.05, own_days=1e6, fleet_rigs=0)
    truth = 1 - stats.gamma.sf(700.0, 1.5 * 20, scale=1 / 0.05)
    assert 1 - much.chance_above(700.0, 20) == pytest.approx(truth, abs=1e-3)


def test_the_update_is_conjugate() -> None:
    """α + vΣτ and β + Σx: with one increment, by hand."""
    fleet = Fleet(mean=100.0, between=0.25, spread=Spread(1.0, 40.0), rigs=4)
    own = Own(use_days=10.0, used=700.0, spread=Spread(), seen_days=10.0)
    rate = learn(own=own, fleet=fleet)
    assert rate is not None
    # The spread: 40 of the fleet's of 1 beside 6 of the guess of 3, 58/46; v = 46/58.
    # α = 2 + 1/0.25 = 6 and β = 100 × 5.333/v; then + 10 v and + 700.
    v = 46 / 58
    assert rate.shape == pytest.approx(v)
    assert (rate.alpha, rate.beta) == (pytest.approx(6 + 10 * v), pytest.approx(1600 / 3 / v + 700))
    assert rate.mean == pytest.approx((1600 / 3 + 700 * v) / (5 + 10 * v))
    alone = learn(own=Own(), fleet=fleet)
    assert alone is not None
    # The fleet's mean lies half-way between the mean and the median of the prior, whose relative
    # variance, 1/(α − 2) = 0.25, is that of the fleet.
    middle = alone.shape / stats.gamma(alone.alpha, scale=1 / alone.beta).median()
    assert (alone.mean + middle) / 2 == pytest.approx(100, rel=0.01)
    assert learn(own=Own(), fleet=Fleet()) is None


def test_old_increments_count_for_less() -> None:
    own = own_of(
        days=np.array([7.0, 7.0]),
        use_days=np.array([5.0, 5.0]),
        used=np.array([100.0, 300.0]),
        ages=np.array([120.0, 0.0]),
    )
    assert own.use_days == pytest.approx(5 * 0.25 + 5)
    assert own.used == pytest.approx(25 + 300)
    assert own.seen_days == 10


def test_use_without_a_use_day_belongs_to_the_next() -> None:
    own = own_of(
        days=np.array([7.0, 1.0, 7.0, 3.0]),
        use_days=np.array([0.0, 0.0, 5.0, 0.0]),
        used=np.array([4.0, 1.0, 95.0, 3.0]),
        ages=np.zeros(4),
    )
    assert (own.use_days, own.used) == (5, 100)


def test_the_spread_comes_from_sums_over_three_weeks() -> None:
    """Days that resemble each other: single days tell too little of the spread of weeks."""
    chance = np.random.default_rng(5)
    level = np.repeat(chance.gamma(4, 1 / 4, 120), 7)  # of a week
    used = 100 * level * chance.gamma(10, 1 / 10, 840)
    days = np.ones(840)
    own = own_of(days=days, use_days=days, used=used, ages=np.zeros(840))
    assert own.spread.freedom == 39
    # A week's variance a day: 7 × 1/4 + (1 + 1/4)/10; a single day's: 1/4 + (1 + 1/4)/10.
    assert own.day_spread.squared == pytest.approx(0.375, rel=0.25)
    assert own.spread.squared == pytest.approx(1.875, rel=0.35)


def test_the_spread_between_rigs_has_sampling_taken_off() -> None:
    """Forty rigs whose means vary by 30 %, each seen for 60 use-days of spread 1."""
    chance = np.random.default_rng(8)
    found = []
    for _ in range(60):
        means = 100 * chance.gamma(1 / 0.09, 0.09, 40)
        rigs = [
            Own(use_days=60.0, used=float(chance.gamma(60, m)), spread=Spread(1.0, 4.0))
            for m in means
        ]
        fleet = fleet_of(rigs)
        assert fleet.mean == pytest.approx(100, rel=0.25)
        found.append(fleet.between)
    print(f"between rigs: {np.mean(found):.3f}, truly 0.090 (+ the pull of 1/40 towards 1)")
    assert np.mean(found) == pytest.approx(0.09 + 1 / 40, rel=0.25)


# --- simulated fleets --------------------------------------------------------------------------


def season(chance: np.random.Generator, *, days: int, mean: float) -> tuple[list[Away], np.ndarray]:
    """One rig: its jobs, and what it used each day."""
    jobs, used, day = [], np.zeros(days), int(chance.integers(0, 8))
    while day < days:
        length = int(chance.integers(2, 11))
        end = min(day + length, days)
        hard = float(chance.choice([0.5, 1.0, 1.0, 1.5]))
        jobs.append(Away(after(day), after(end - 1), hard))
        level = chance.gamma(6, 1 / 6)  # of this job: its days resemble each other
        sprayed = chance.random(end - day) < 0.85  # rain
        used[day:end] = mean * hard / 0.85 * level * chance.gamma(3, 1 / 3, end - day) * sprayed
        day = end + int(chance.choice([1, 2, 2, 3, 5, 12]))  # idle weeks now and then
    for day in range(days):
        if (
            used[day] == 0
            and not any(job.first_day <= after(day) <= job.last_day for job in jobs)
            and chance.random() < 0.1
        ):
            used[day] = mean * 0.3  # tried out in the yard
    return jobs, used


def seen(
    chance: np.random.Generator, jobs: list[Away], used: np.ndarray, *, until: int
) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Readings at odd days: length, booked and free days and use of each span until a day."""
    at = [0]
    while at[-1] < until:
        at.append(min(at[-1] + int(chance.choice([1, 1, 2, 3, 7, 9])), until))
    calendar = Calendar(first_day=MONDAY, last_day=after(len(used) - 1), jobs=jobs)
    booked, free = calendar.parts([float(each) for each in at])
    total = np.concatenate(([0.0], np.cumsum(used)))[at]
    return np.diff(np.array(at, float)), booked, free, np.diff(total)


@pytest.mark.parametrize(("learnt", "ahead"), [(21, 20), (60, 20), (180, 45)])
def test_use_ahead_lies_between_its_10_and_90_percent_as_often_as_promised(
    learnt: int, ahead: int
) -> None:
    """Fleets of eight rigs, everything learnt from readings; what the bookings ahead will ask."""
    chance = np.random.default_rng(learnt)
    below = above = n = 0
    errors = []
    for _ in range(60):
        rigs = []
        for _ in range(8):
            mean = 100 * chance.gamma(10, 1 / 10)
            jobs, used = season(chance, days=learnt + ahead, mean=mean)
            rigs.append((jobs, used, seen(chance, jobs, used, until=learnt)))
        sums = [share_sums(booked=b, free=f, used=x) for _, _, (_, b, f, x) in rigs]
        total = ShareSums()
        for each in sums:
            total += each
        owns, shares = [], []
        for (_, _, (length, b, f, x)), mine in zip(rigs, sums, strict=True):
            share = usual_share(own=mine, fleet=total + mine.times(-1))
            shares.append(share)
            ages = np.cumsum(length)[-1] - np.cumsum(length)
            owns.append(own_of(days=length, use_days=b + share * f, used=x, ages=ages))
        fleets = fleets_of(owns)
        assert fleets[3].mean == pytest.approx(fleet_of(owns[:3] + owns[4:]).mean)
        assert fleets[3].between == pytest.approx(fleet_of(owns[:3] + owns[4:]).between)
        for at, (jobs, used, _) in enumerate(rigs):
            rate = learn(own=owns[at], fleet=fleets[at])
            calendar = Calendar(first_day=MONDAY, last_day=after(learnt + ahead - 1), jobs=jobs)
            tau = calendar.ahead(start=float(learnt), until=after(learnt + ahead), share=shares[at])
            if rate is None or tau < 3:
                continue
            truth = used[learnt:].sum()
            n += 1
            below += truth < rate.quantile(0.1, tau)
            above += truth > rate.quantile(0.9, tau)
            errors.append(rate.expected(tau) / 100 / tau - truth / 100 / tau)
    print(
        f"{learnt} days learnt, {ahead} ahead: {below / n:.1%} below the 10 %, "
        f"{above / n:.1%} above the 90 %, mean error {np.mean(errors):+.3f}; n = {n}"
    )
    # Design, "The mathematics", 4: 9–15 % and 88–92 % in a trial. Three standard errors wider.
    assert 0.04 < below / n < 0.18
    assert 0.04 < above / n < 0.18
    assert abs(np.mean(errors)) < 0.06
