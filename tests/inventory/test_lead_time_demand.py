"""Demand over the time to cover: against scipy, published figures, and identities of the losses."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import integrate, stats

from inventory.lead_time_demand import (
    Demand,
    NormalDemand,
    WholeDemand,
    deviations_for,
    positions,
)

normals = st.builds(NormalDemand, st.floats(-50, 50), st.floats(0.1, 30))
poissons = st.builds(WholeDemand.poisson, st.floats(0, 60))
counted = st.lists(st.integers(0, 9), min_size=1, max_size=12).filter(any)


def explicit(weights: list[int]) -> WholeDemand:
    return WholeDemand.explicit({n: each / sum(weights) for n, each in enumerate(weights)})


wholes = st.one_of(poissons, counted.map(explicit))


@pytest.mark.parametrize(
    ("percent", "z"), [(90, 1.2816), (95, 1.6449), (97, 1.8808), (98, 2.0537), (99, 2.3263)]
)
def test_deviations_of_the_standard_table(percent: int, z: float) -> None:
    # inventory_worked_examples.csv, IW20 to IW24: standard normal table.
    assert deviations_for(percent / 100) == pytest.approx(z, abs=0.00005)


@pytest.mark.parametrize("chance", [0, 1, -0.1, 1.1, math.nan])
def test_what_is_no_chance_is_refused(chance: float) -> None:
    with pytest.raises(ValueError, match="between 0 and 1"):
        deviations_for(chance)
    with pytest.raises(ValueError, match="between 0 and 1"):
        WholeDemand.poisson(3).level_for(chance)


def test_two_variances_make_one() -> None:
    # inventory_worked_examples.csv, IW05: daily use 100, sd 20; lead time 7 days, sd 2.
    found = NormalDemand.over(mean=100, sd=20, lead_time=7, lead_time_sd=2)
    assert found.mean == 700
    assert found.sd == pytest.approx(206.88, abs=0.005)


def test_a_lead_time_that_varies_against_draws() -> None:
    """Days of demand added up over a lead time of 3, 5 or 7 days, 200,000 times."""
    random = np.random.default_rng(20)
    days = random.choice([3, 5, 7], size=200_000)
    drawn = random.normal(10 * days, 4 * np.sqrt(days))
    found = NormalDemand.over(mean=10, sd=4, lead_time=5, lead_time_sd=math.sqrt(8 / 3))
    assert drawn.mean() == pytest.approx(found.mean, rel=0.01)
    assert drawn.std() == pytest.approx(found.sd, rel=0.01)


@given(normals, st.floats(-100, 100))
def test_normal_losses_are_those_of_scipy(demand: NormalDemand, level: float) -> None:
    by_hand, _ = integrate.quad(
        lambda x: stats.norm.sf(x, demand.mean, demand.sd),
        level,
        max(level, demand.mean) + 12 * demand.sd,
        points=[demand.mean] if level < demand.mean else None,
        limit=200,
    )
    assert demand.short(level) == pytest.approx(by_hand, rel=1e-6, abs=1e-9)


@given(st.floats(0, 60), st.integers(-3, 90))
def test_poisson_losses_are_those_of_scipy(mean: float, level: int) -> None:
    demand = WholeDemand.poisson(mean)
    beyond = np.arange(max(level, 0), 400)
    lacking = stats.poisson.sf(beyond, mean).sum() - min(level, 0)
    assert demand.short(level) == pytest.approx(lacking, rel=1e-9, abs=1e-15)
    assert demand.at_most(level) == pytest.approx(stats.poisson.cdf(level, mean), abs=1e-12)
    assert demand.mean == pytest.approx(mean, rel=1e-12, abs=1e-12)


@given(st.one_of(normals, wholes), st.integers(-20, 120))
def test_left_less_short_is_the_level_less_the_mean(demand: Demand, level: int) -> None:
    assert demand.left(level) - demand.short(level) == pytest.approx(
        level - demand.mean, rel=1e-9, abs=1e-9
    )
    assert demand.left(level) >= 0
    assert 0 <= demand.short(level + 1) <= demand.short(level)


@given(wholes, st.integers(-10, 80), st.integers(1, 20))
def test_means_over_positions_are_means(demand: WholeDemand, point: int, lot: int) -> None:
    at = range(point + 1, point + lot + 1)
    assert list(positions(point, lot)) == list(at)
    assert demand.mean_short(point, lot) == pytest.approx(
        sum(demand.short(each) for each in at) / lot
    )
    assert demand.mean_left(point, lot) == pytest.approx(
        sum(demand.left(each) for each in at) / lot
    )


@given(normals, st.floats(-60, 60), st.floats(0.5, 60))
def test_normal_means_over_positions_are_integrals(
    demand: NormalDemand, point: float, lot: float
) -> None:
    for mean, at in ((demand.mean_short, demand.short), (demand.mean_left, demand.left)):
        area, _ = integrate.quad(at, point, point + lot, limit=200)
        assert mean(point, lot) == pytest.approx(area / lot, rel=1e-6, abs=1e-7)


@given(wholes, st.floats(0.001, 0.999))
def test_the_level_is_the_smallest_that_suffices(demand: WholeDemand, chance: float) -> None:
    level = int(demand.level_for(chance))
    assert demand.at_most(level) >= chance - 1e-11
    assert demand.at_most(level - 1) < chance


@given(normals, st.floats(0.001, 0.999))
def test_the_normal_level_suffices_with_its_chance(demand: NormalDemand, chance: float) -> None:
    level = demand.level_for(chance)
    assert stats.norm.cdf(level, demand.mean, demand.sd) == pytest.approx(chance, rel=1e-9)


def test_tails_keep_their_digits() -> None:
    # scipy sums the tail from its far end; one less the rest would give 0 or noise.
    beyond = stats.poisson.sf(np.arange(40, 200), 5).sum()
    assert 0 < beyond < 1e-20
    assert WholeDemand.poisson(5).short(40) == pytest.approx(beyond, rel=1e-9)


@pytest.mark.parametrize("mean", [1e-9, 1e4, 1e6])
def test_small_and_large_demand_keep_their_digits(mean: float) -> None:
    demand = WholeDemand.poisson(mean)
    level = int(mean + math.sqrt(mean))
    assert demand.mean == pytest.approx(mean, rel=1e-9)
    assert demand.at_most(level) == pytest.approx(stats.poisson.cdf(level, mean), rel=1e-9)


def test_demand_that_is_known_is_short_by_what_it_lacks() -> None:
    known = NormalDemand(10, 0)
    assert (known.short(7), known.left(7), known.short(12), known.left(12)) == (3, 0, 0, 2)
    # By hand: from 8 to 12 it lacks 2 falling to 0, then nothing: (2 × 2 / 2) / 4.
    assert known.mean_short(8, 4) == pytest.approx(0.5)
    assert WholeDemand.poisson(0).level_for(0.99) == 0


@pytest.mark.parametrize(
    ("chances", "words"),
    [({}, "below zero"), ({-1: 1.0}, "below zero"), ({0: 0.5}, "add up"), ({0: 2, 1: -1}, "add")],
)
def test_chances_that_cannot_be_are_refused(chances: dict[int, float], words: str) -> None:
    with pytest.raises(ValueError, match=words):
        WholeDemand.explicit(chances)


def test_demand_that_cannot_be_is_refused() -> None:
    with pytest.raises(ValueError, match="below zero"):
        WholeDemand.poisson(-1)
    with pytest.raises(ValueError, match="below zero"):
        NormalDemand(1, -1)
    with pytest.raises(ValueError, match="below zero"):
        NormalDemand.over(mean=1, sd=1, lead_time=-1)
    with pytest.raises(ValueError, match="whole"):
        WholeDemand.poisson(3).short(2.5)
    with pytest.raises(ValueError, match="one unit or more"):
        positions(3, 0)
