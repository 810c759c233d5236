"""Lots against published figures, against every other lot, and against every order pattern."""

import itertools
import math

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from inventory.lots_to_order import (
    economic_order_quantity,
    lot_cost,
    price_breaks,
    time_phased_lots,
)

amounts = st.floats(min_value=0.01, max_value=10_000)


def test_an_economic_lot_of_a_textbook() -> None:
    # inventory_worked_examples.csv, IW08: D 36500; S 50; H 2.5; given there as 1208.
    found = economic_order_quantity(demand=36_500, fixed_cost=50, holding_cost=2.5)
    assert found.quantity == pytest.approx(1208.30, abs=0.005)


def test_by_hand_ordering_costs_what_holding_costs() -> None:
    # √(2 × 8 × 100 / 4) = 20: five orders at 8 and ten units held at 4.
    found = economic_order_quantity(demand=100, fixed_cost=8, holding_cost=4)
    assert (found.quantity, found.cost) == (20, 80)


@given(amounts, amounts, amounts, st.floats(min_value=0.05, max_value=20))
def test_no_other_lot_costs_less_than_the_economic_one(
    demand: float, fixed_cost: float, holding_cost: float, times: float
) -> None:
    given = {"demand": demand, "fixed_cost": fixed_cost, "holding_cost": holding_cost}
    found = economic_order_quantity(**given)
    assert lot_cost(found.quantity * times, **given) >= found.cost * (1 - 1e-12)


@pytest.mark.parametrize("name", ["demand", "fixed_cost", "holding_cost"])
@pytest.mark.parametrize("value", [0, -1, math.nan])
def test_an_economic_lot_needs_figures_above_zero(name: str, value: float) -> None:
    given = {"demand": 1.0, "fixed_cost": 1.0, "holding_cost": 1.0, name: value}
    with pytest.raises(ValueError, match="above zero"):
        economic_order_quantity(**given)


@st.composite
def prices(draw: st.DrawFn) -> dict[str, list[float]]:
    steps = draw(st.lists(st.integers(1, 40), max_size=3))
    falls = draw(st.lists(st.integers(0, 20), min_size=len(steps), max_size=len(steps)))
    cheapest = draw(st.integers(1, 50))
    unit_costs = [float(cheapest)]
    for fall in falls:
        unit_costs.insert(0, unit_costs[0] + fall)
    breakpoints = [0.0, *map(float, itertools.accumulate(steps))]
    return {"breakpoints": breakpoints, "unit_costs": unit_costs}


@given(
    prices(),
    st.integers(1, 300),
    st.integers(1, 100),
    st.sampled_from([0.1, 0.25, 1.0]),
    st.integers(1, 12),
    st.integers(0, 60),
    st.integers(1, 200),
)
def test_no_lot_that_may_be_ordered_beats_the_answer(
    price: dict[str, list[float]],
    demand: int,
    fixed_cost: int,
    holding_rate: float,
    pack: int,
    minimum: int,
    most: int,
) -> None:
    """Enumerated: every multiple of the pack from the minimum to the most, at its own price."""
    costs = {}
    for lot in range(pack, most + 1, pack):
        if lot >= minimum:
            level = max(i for i, start in enumerate(price["breakpoints"]) if start <= lot)
            unit_cost = price["unit_costs"][level]
            costs[lot] = (
                unit_cost * demand + fixed_cost * demand / lot + holding_rate * unit_cost * lot / 2,
                level,
            )
    assume(costs)
    found = price_breaks(
        demand=demand,
        fixed_cost=fixed_cost,
        holding_rate=holding_rate,
        **price,
        minimum=minimum,
        pack=pack,
        most=most,
    )
    assert found.quantity in costs
    cost, level = costs[int(found.quantity)]
    assert found.cost == pytest.approx(cost, rel=1e-12)
    assert found.price_level == level
    assert found.cost <= min(cost for cost, _ in costs.values()) * (1 + 1e-12)


@given(prices(), st.integers(1, 300), st.integers(1, 100), st.floats(0.1, 500))
def test_no_lot_in_any_quantity_beats_the_answer(
    price: dict[str, list[float]], demand: int, fixed_cost: int, lot: float
) -> None:
    found = price_breaks(demand=demand, fixed_cost=fixed_cost, holding_rate=0.2, **price)
    level = max(i for i, start in enumerate(price["breakpoints"]) if start <= lot)
    unit_cost = price["unit_costs"][level]
    cost = lot_cost(
        lot,
        demand=demand,
        fixed_cost=fixed_cost,
        holding_cost=0.2 * unit_cost,
        unit_cost=unit_cost,
    )
    assert found.cost <= cost * (1 + 1e-12)


def test_of_two_lots_that_cost_the_same_the_smaller_is_ordered() -> None:
    # By hand: K D / Q + h Q / 2 with K D = h = 2 is 2 + 1 at one and 1 + 2 at two.
    costs = {"demand": 2, "fixed_cost": 1}
    assert lot_cost(1, **costs, holding_cost=2) == lot_cost(2, **costs, holding_cost=2) == 3
    found = price_breaks(**costs, holding_rate=2, breakpoints=[0], unit_costs=[1], pack=1)
    assert found.quantity == 1


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"breakpoints": [1, 10]}, "smallest lot"),
        ({"breakpoints": [0]}, "smallest lot"),
        ({"breakpoints": [0, 0]}, "rise"),
        ({"unit_costs": [4, 5]}, "never dearer"),
        ({"unit_costs": [4, 0]}, "above zero"),
        ({"minimum": 30, "most": 20}, "No lot"),
        ({"pack": 7, "most": 6}, "No lot"),
        ({"pack": 0}, "pack"),
    ],
)
def test_prices_that_cannot_be_are_refused(change: dict[str, object], words: str) -> None:
    given = {
        "demand": 100,
        "fixed_cost": 5,
        "holding_rate": 0.2,
        "breakpoints": [0, 10],
        "unit_costs": [5, 4],
    }
    with pytest.raises(ValueError, match=words):
        price_breaks(**{**given, **change})  # type: ignore[arg-type]


def cost_of_pattern(
    demand: list[int], pattern: tuple[bool, ...], fixed_cost: int, holding_cost: int
) -> float:
    """What ordering in just these periods costs; infinite when demand comes before an order."""
    cost, since = 0.0, None
    for period, (needed, orders) in enumerate(zip(demand, pattern, strict=True)):
        if orders:
            cost, since = cost + fixed_cost, period
        if needed and since is None:
            return math.inf
        if needed and since is not None:
            cost += holding_cost * needed * (period - since)
    return cost


@given(st.lists(st.integers(0, 30), max_size=8), st.integers(0, 60), st.integers(0, 5))
def test_no_pattern_of_orders_beats_the_plan(
    demand: list[int], fixed_cost: int, holding_cost: int
) -> None:
    plan = time_phased_lots(demand, fixed_cost=fixed_cost, holding_cost=holding_cost)
    best = min(
        cost_of_pattern(demand, pattern, fixed_cost, holding_cost)
        for pattern in itertools.product((False, True), repeat=len(demand))
    )
    assert plan.cost == best
    orders = tuple(quantity > 0 for quantity in plan.quantities)
    assert cost_of_pattern(demand, orders, fixed_cost, holding_cost) == plan.cost
    stock = 0.0
    for needed, ordered in zip(demand, plan.quantities, strict=True):
        stock += ordered - needed
        assert stock >= 0
    assert stock == 0


def test_of_two_plans_that_cost_the_same_the_first_order_is_smaller() -> None:
    # By hand: a second order costs 10, and so does holding five for a period at 2.
    plan = time_phased_lots([0, 3, 5], fixed_cost=10, holding_cost=2)
    assert plan.quantities == (0, 3, 5)
    assert plan.cost == 20


def test_a_schedule_below_zero_is_refused() -> None:
    with pytest.raises(ValueError, match="below zero"):
        time_phased_lots([3, -1], fixed_cost=1, holding_cost=1)
