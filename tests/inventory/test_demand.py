"""Demand of a part: against enumeration, against scipy, by hand, and many parts at once."""

from collections.abc import Sequence
from itertools import pairwise, product

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from inventory import demand
from inventory.demand import (
    Breakage,
    Cases,
    Demand,
    Scenario,
    ServiceOdds,
    Thresholds,
    columns_of,
    demand_blocks,
    independent_demand,
    learnt_breakage,
    part_demand,
    rig_demand,
)

CLOSE = 1e-11

probabilities = st.one_of(st.sampled_from([0.0, 1.0, 0.5]), st.floats(0.0, 1.0))
services = st.builds(
    lambda chances, quantity: ServiceOdds(tuple(sorted(chances, reverse=True)), quantity),
    st.lists(probabilities, min_size=1, max_size=3),
    st.integers(1, 6),
)
rigs = st.lists(st.lists(services, max_size=3).map(tuple), max_size=3).map(tuple)
breakages = st.builds(
    Breakage,
    mean=st.one_of(st.just(0.0), st.floats(0.001, 6.0)),
    shape=st.one_of(st.none(), st.floats(0.3, 20.0)),
    quantity_steps=st.integers(1, 4),
)


@st.composite
def parts(draw: st.DrawFn, most: int = 3) -> list[Scenario]:
    weights = draw(st.lists(st.floats(0.05, 1.0), min_size=1, max_size=most))
    return [
        Scenario(
            weight=weight / sum(weights),
            rigs=draw(rigs),
            breakage=draw(breakages),
            certain_steps=draw(st.integers(0, 3)),
        )
        for weight in weights
    ]


def enumerated_rig(odds: Sequence[ServiceOdds]) -> dict[int, float]:
    """By walking the usage: between two neighbouring chances the same renewals are due."""
    cuts = sorted({0.0, 1.0, *(chance for service in odds for chance in service.chances)})
    found: dict[int, float] = {}
    for low, high in pairwise(cuts):
        middle = (low + high) / 2
        steps = sum(
            service.quantity_steps
            for service in odds
            for chance in service.chances
            if middle < chance
        )
        found[steps] = found.get(steps, 0.0) + high - low
    return found


def enumerated_breakage(broken: Breakage) -> dict[int, float]:
    if not broken.mean:
        return {0: 1.0}
    if broken.shape is None:
        of = stats.poisson(broken.mean)
    else:
        of = stats.nbinom(broken.shape, broken.shape / (broken.shape + broken.mean))
    most = int(of.isf(1e-13)) + 1
    return {count * broken.quantity_steps: float(of.pmf(count)) for count in range(most + 1)}


def enumerated(scenarios: Sequence[Scenario]) -> dict[int, float]:
    found: dict[int, float] = {}
    for scenario in scenarios:
        sources = [enumerated_rig(rig) for rig in scenario.rigs]
        sources.append(enumerated_breakage(scenario.breakage))
        for outcome in product(*(source.items() for source in sources)):
            steps = scenario.certain_steps + sum(step for step, _ in outcome)
            chance = scenario.weight * float(np.prod([chance for _, chance in outcome]))
            found[steps] = found.get(steps, 0.0) + chance
    return found


def agrees(found: Demand, wanted: dict[int, float]) -> None:
    assert found.chances.sum() == pytest.approx(1.0, abs=CLOSE)
    assert (found.chances >= 0).all()
    for steps in {*wanted, *found.steps.tolist()}:
        assert found.chance_of(steps) == pytest.approx(wanted.get(steps, 0.0), abs=CLOSE)


@given(parts())
def test_a_part_as_enumerated(scenarios: list[Scenario]) -> None:
    agrees(part_demand(scenarios), enumerated(scenarios))


@given(st.lists(parts(most=2), min_size=1, max_size=5), st.integers(1, 200))
def test_many_parts_at_once_are_each_as_alone(many: list[list[Scenario]], cells: int) -> None:
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(demand, "BLOCK_POINTS", cells)
        blocks = list(demand_blocks(*columns_of(many)))
    seen = {
        int(part): block.demand(column)
        for block in blocks
        for column, part in enumerate(block.part)
    }
    assert sorted(seen) == list(range(len(many)))
    for part, scenarios in enumerate(many):
        alone = part_demand(scenarios)
        assert seen[part].unit_steps == alone.unit_steps
        np.testing.assert_allclose(seen[part].chances, alone.chances, rtol=0, atol=1e-14)


@given(st.lists(probabilities, max_size=60))
def test_one_service_each_is_the_poisson_binomial_of_scipy(chances: list[float]) -> None:
    found = independent_demand(chances)
    possible = [chance for chance in chances if chance > 0]
    count = np.arange(len(possible) + 1)
    wanted = stats.poisson_binom.pmf(count, possible) if possible else np.array([1.0])
    np.testing.assert_allclose(
        [found.chance_of(k) for k in count.tolist()], wanted, rtol=0, atol=CLOSE
    )
    assert found.mean_steps == pytest.approx(sum(chances), abs=1e-9)
    assert found.variance_steps2 == pytest.approx(sum(p * (1 - p) for p in chances), abs=1e-9)


@given(st.integers(1, 200), st.floats(0.01, 0.99))
def test_equal_chances_are_binomial(count: int, chance: float) -> None:
    found = independent_demand([chance] * count)
    wanted = stats.binom.pmf(np.arange(count + 1), count, chance)
    # What is too rare for a float is left out at the end.
    length = len(found.chances)
    np.testing.assert_allclose(found.chances, wanted[:length], rtol=1e-9, atol=CLOSE)
    assert wanted[length:].sum() < 1e-300


@given(st.floats(0.001, 900.0))
def test_a_known_rate_of_breaking_is_poisson(mean: float) -> None:
    found = part_demand([Scenario(1.0, breakage=Breakage(mean))])
    wanted = stats.poisson.pmf(found.steps, mean)
    np.testing.assert_allclose(found.chances, wanted, rtol=1e-9, atol=1.1e-12)
    assert found.mean_steps == pytest.approx(mean, rel=1e-8)


@given(st.floats(0.05, 30.0), st.floats(30.0, 900.0), st.floats(1.0, 400.0))
def test_a_learnt_rate_of_breaking_is_negative_binomial(
    shape: float, exposure_days: float, days: float
) -> None:
    broken = learnt_breakage(shape=shape, exposure_days=exposure_days, days=days)
    found = part_demand([Scenario(1.0, breakage=broken)])
    wanted = stats.nbinom.pmf(found.steps, shape, exposure_days / (exposure_days + days))
    np.testing.assert_allclose(found.chances, wanted, rtol=1e-8, atol=1.1e-12)


def test_a_rate_known_ever_better_becomes_poisson() -> None:
    poisson = part_demand([Scenario(1.0, breakage=Breakage(2.0))])
    nearly = part_demand([Scenario(1.0, breakage=Breakage(2.0, shape=1e7))])
    np.testing.assert_allclose(nearly.chances[:12], poisson.chances[:12], rtol=0, atol=1e-6)


def test_services_of_one_rig_by_hand() -> None:
    # In the hardest half of all usages three renewals, up to 0.7 both services once, up to 0.9 the
    # first alone, else nothing.
    found = rig_demand([ServiceOdds((0.9, 0.5), 2), ServiceOdds((0.7,), 4)])
    assert found.unit_steps == 2
    agrees(found, {0: 0.1, 2: 0.2, 6: 0.2, 8: 0.5})


@given(st.lists(services, min_size=1, max_size=4))
def test_moving_together_changes_no_mean_and_spreads_more(odds: list[ServiceOdds]) -> None:
    """The comonotone sum is the largest in convex order (Dhaene et al. 2002, theorem 6)."""
    together = rig_demand(odds)
    pairs = [(chance, each.quantity_steps) for each in odds for chance in each.chances]
    apart = independent_demand([p for p, _ in pairs], [q for _, q in pairs])
    assert together.mean_steps == pytest.approx(apart.mean_steps, abs=1e-9)
    for stock in range(sum(quantity for _, quantity in pairs) + 1):
        assert together.served_steps(stock) <= apart.served_steps(stock) + 1e-9


@given(parts())
def test_lead_times_are_mixed_over_whole_distributions(scenarios: list[Scenario]) -> None:
    found = part_demand(scenarios)
    alone = [(each.weight, part_demand([Scenario(1.0, each.rigs, each.breakage,
              each.certain_steps)])) for each in scenarios]  # fmt: skip
    for steps in found.steps.tolist():
        wanted = sum(weight * of.chance_of(steps) for weight, of in alone)
        assert found.chance_of(steps) == pytest.approx(wanted, abs=CLOSE)


def test_certain_impossible_and_no_services() -> None:
    agrees(independent_demand([1, 1, 0]), {2: 1.0})
    agrees(independent_demand([]), {0: 1.0})
    agrees(independent_demand([0.0]), {0: 1.0})
    agrees(part_demand([Scenario(1.0, certain_steps=3)]), {3: 1.0})
    reserved = Scenario(1.0, rigs=((ServiceOdds((0.25,)),),), certain_steps=2)
    agrees(part_demand([reserved]), {2: 0.75, 3: 0.25})


def test_hundredths_of_a_gallon_stay_small() -> None:
    found = independent_demand([0.2, 0.4, 0.6], [25, 50, 100])
    assert found.unit_steps == 25
    assert len(found.chances) == 8
    assert found.chance_of(75) == pytest.approx(0.2 * 0.4 * 0.4)
    assert found.chance_of(60) == 0.0
    assert found.chance_within(99) == pytest.approx(found.chance_within(75))


@given(st.lists(st.tuples(st.floats(0.05, 0.95), st.integers(1, 900)), min_size=2, max_size=9))
def test_a_part_finer_than_the_grid_is_rounded_to_the_safe_side(
    pairs: list[tuple[float, int]],
) -> None:
    chances, quantities = [p for p, _ in pairs], [q for _, q in pairs]
    exact = independent_demand(chances, quantities)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(demand, "MOST_POINTS", 50)
        coarse = independent_demand(chances, quantities)
    assert len(coarse.chances) <= 50 + len(pairs) + 1
    for steps in range(0, sum(quantities) + 1, 7):
        assert coarse.chance_within(steps) <= exact.chance_within(steps) + CLOSE


def test_huge_quantities_are_answered() -> None:
    found = independent_demand([0.5] * 200, [10**9 + number for number in range(200)])
    assert found.mean_steps == pytest.approx(100 * 10**9, rel=0.01)


def test_served_by_hand() -> None:
    found = independent_demand([0.5, 0.5])
    assert [found.served_steps(stock) for stock in (0, 1, 2, 9)] == [0.0, 0.75, 1.0, 1.0]
    assert found.chance_within(-1) == 0.0
    with pytest.raises(ValueError, match="not below zero"):
        found.served_steps(-1)


@pytest.mark.parametrize(
    ("scenarios", "words"),
    [
        ([], "at least one lead time"),
        ([Scenario(0.5)], "add up to 1"),
        ([Scenario(0.0), Scenario(1.0)], "weight above zero"),
        ([Scenario(1.0, certain_steps=-1)], "certain is not below zero"),
        ([Scenario(1.0, breakage=Breakage(-0.1))], "expected 0 to"),
        ([Scenario(1.0, breakage=Breakage(float("nan")))], "expected 0 to"),
        ([Scenario(1.0, breakage=Breakage(20_000.0))], "expected 0 to"),
        ([Scenario(1.0, breakage=Breakage(1.0, shape=0.04))], "shape"),
        ([Scenario(1.0, breakage=Breakage(1.0, quantity_steps=0))], "at least one step"),
        ([Scenario(1.0, rigs=((ServiceOdds((0.5,), 0),),))], "at least one step"),
        ([Scenario(1.0, rigs=((ServiceOdds((1.01,)),),))], "between 0 and 1"),
        ([Scenario(1.0, rigs=((ServiceOdds((float("nan"),)),),))], "between 0 and 1"),
        ([Scenario(1.0, rigs=((ServiceOdds((0.2, 0.5)),),))], "no likelier than the one before"),
    ],
)
def test_what_cannot_be_is_refused(scenarios: list[Scenario], words: str) -> None:
    with pytest.raises(ValueError, match=words):
        part_demand(scenarios)


def test_unequal_lengths_and_unlearnt_rates_are_refused() -> None:
    with pytest.raises(ValueError, match="one chance and one quantity"):
        independent_demand([0.5], [1, 2])
    with pytest.raises(ValueError, match="shape and an exposure"):
        learnt_breakage(shape=0.0, exposure_days=10.0, days=5.0)


def columns(case: list[int], part: list[int]) -> tuple[Thresholds, Cases]:
    count = len(part)
    ones = np.ones(count)
    return (
        Thresholds(np.array(case), np.zeros(len(case), dtype=np.int64),
                   np.full(len(case), 0.5), np.ones(len(case), dtype=np.int64)),
        Cases(np.array(part), ones, 0 * ones, np.inf * ones, np.ones(count, dtype=np.int64)),
    )  # fmt: skip


@pytest.mark.parametrize(
    ("case", "part", "words"),
    [
        ([2], [0, 1], "belongs to no case"),
        ([-1], [0, 1], "belongs to no case"),
        ([0], [1], "numbered from 0"),
        ([0], [0, 2], "numbered from 0"),
        ([0], [0, 1, 0], "numbered from 0"),
    ],
)
def test_columns_that_do_not_fit_are_refused(case: list[int], part: list[int], words: str) -> None:
    with pytest.raises(ValueError, match=words):
        list(demand_blocks(*columns(case, part)))


def test_no_parts_have_no_demand() -> None:
    assert list(demand_blocks(*columns_of([]))) == []
