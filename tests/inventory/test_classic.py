"""Reorder points, base stock, point and lot: published figures, enumeration, and simulation.

More published figures: forms `reorder_point_classic…`, `newsvendor…`, `base_stock…`, `rq_…` of the
worked examples.
"""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from inventory.classic import (
    base_stock,
    best_point_and_lot,
    one_for_one,
    point_and_lot_by_units_short,
    point_and_lot_cost,
    reorder_point,
    service,
    stock_cost,
)
from inventory.lead_time_demand import Demand, NormalDemand, WholeDemand, deviations_for
from tests.inventory.test_lead_time_demand import normals, wholes

money = st.floats(0.1, 100)
z = 1.65


def test_safety_for_demand_that_varies() -> None:
    # inventory_worked_examples.csv, IW03 and IW04: daily use 30, sd 5; lead time 10 days; z 1.65.
    found = reorder_point(NormalDemand.over(mean=30, sd=5, lead_time=10), deviations=z)
    assert found.safety_stock == pytest.approx(26.09, abs=0.005)
    assert found.point == pytest.approx(326.09, abs=0.005)


def test_safety_from_the_spread_over_the_lead_time() -> None:
    # IW01 and IW02: mean 50, sd 5, z 1.88 (97 percent).
    found = reorder_point(NormalDemand(50, 5), deviations=1.88)
    assert found.safety_stock == pytest.approx(9.4)
    assert found.point == pytest.approx(59.4)
    exact = reorder_point(NormalDemand(50, 5), deviations=deviations_for(0.97))
    assert exact.point == pytest.approx(59.4, abs=0.005)
    assert exact.point == NormalDemand(50, 5).level_for(0.97)


def test_safety_for_a_lead_time_that_varies() -> None:
    # IW06 and IW07: daily use 100, sd 20; lead time 7 days, sd 2; z 1.65. 700 + 341.35.
    demand = NormalDemand.over(mean=100, sd=20, lead_time=7, lead_time_sd=2)
    found = reorder_point(demand, deviations=z)
    assert found.safety_stock == pytest.approx(341.35, abs=0.005)
    assert found.point == pytest.approx(1041.35, abs=0.005)


def test_no_variation_no_safety() -> None:
    # IW30: use 2 a day, lead time 5 days, nothing varies.
    found = reorder_point(NormalDemand.over(mean=2, sd=0, lead_time=5), deviations=z)
    assert (found.point, found.safety_stock) == (10, 0)


def test_a_review_waits_for_the_next_look_as_well() -> None:
    # Snyder and Shen, Example 4.4 (worked_examples.json, B10): lead time 4 and review period 1.
    demand = NormalDemand.over(mean=50, sd=8, lead_time=4, review_period=1)
    found = base_stock(demand, left_cost=0.18, short_cost=0.7)
    assert found.level == pytest.approx(264.7668943741548, rel=1e-7)
    assert found.cost == pytest.approx(4.466781004149578, rel=1e-7)


@given(st.one_of(normals, wholes), money, money, st.integers(-20, 20))
def test_no_other_level_costs_less_than_the_base_stock(
    demand: Demand, left_cost: float, short_cost: float, away: int
) -> None:
    costs = {"left_cost": left_cost, "short_cost": short_cost}
    found = base_stock(demand, **costs)
    assert found.cost == stock_cost(found.level, demand=demand, **costs)
    other = stock_cost(found.level + away, demand=demand, **costs)
    assert found.cost <= other * (1 + 1e-9) + 1e-9


@given(wholes, st.integers(0, 20))
def test_one_for_one_is_a_lot_of_one(demand: WholeDemand, level: int) -> None:
    found = one_for_one(demand, level=level)
    assert found == service(demand, point=level - 1, lot=1)
    assert found.fill_rate == demand.at_most(level - 1)
    assert found.backorders == demand.short(level)


def test_the_service_of_a_point_and_a_lot_against_simulated_demands() -> None:
    """Single Poisson demands, 1.5 a week, two weeks' lead time: 400,000 played through."""
    random = np.random.default_rng(7)
    point, lot, lead_time = 3, 5, 2.0
    times = np.cumsum(random.exponential(1 / 1.5, size=400_000))
    placed = times[lot - 1 :: lot]  # from point + lot, every lot-th demand reaches the point
    arrived = np.searchsorted(placed + lead_time, times, side="right")
    on_hand = point + lot + lot * arrived - np.arange(times.size)
    found = service(WholeDemand.poisson(1.5, lead_time), point=point, lot=lot)
    assert (on_hand > 0).mean() == pytest.approx(found.fill_rate, abs=0.004)
    # Poisson demands see the mean over time.
    assert np.maximum(-on_hand, 0).mean() == pytest.approx(found.backorders, abs=0.006)


@settings(max_examples=60)
@given(st.floats(0.2, 6), st.floats(0.2, 3), st.floats(0, 200), money, money)
def test_no_other_point_and_lot_costs_less(
    rate: float, lead_time: float, fixed_cost: float, holding_cost: float, backorder_cost: float
) -> None:
    demand = WholeDemand.poisson(rate, lead_time)
    costs = {
        "rate": rate,
        "fixed_cost": fixed_cost,
        "holding_cost": holding_cost,
        "backorder_cost": backorder_cost,
    }
    found = best_point_and_lot(demand, **costs)
    assert found.cost == pytest.approx(
        point_and_lot_cost(found.point, found.lot, demand=demand, **costs), rel=1e-9
    )
    for point in range(int(found.point) - 3, int(found.point) + 4):
        for lot in range(max(1, int(found.lot) - 3), int(found.lot) + 4):
            other = point_and_lot_cost(point, lot, demand=demand, **costs)
            assert found.cost <= other * (1 + 1e-9)


def test_the_best_point_and_lot_of_all() -> None:
    """Enumerated widely for the data of Snyder and Shen, Example 5.8: r = 3, Q = 5."""
    costs = {"rate": 1.5, "fixed_cost": 100, "holding_cost": 20, "backorder_cost": 150}
    demand = WholeDemand.poisson(1.5, 2)
    every = {
        (point, lot): point_and_lot_cost(point, lot, demand=demand, **costs)
        for point in range(-4, 12)
        for lot in range(1, 25)
    }
    found = best_point_and_lot(demand, **costs)
    assert (found.point, found.lot) == min(every, key=every.__getitem__) == (3, 5)


def test_a_normal_lot_of_nearly_nothing_costs_as_its_base_stock() -> None:
    costs = {"rate": 0, "fixed_cost": 8, "holding_cost": 2, "backorder_cost": 7}
    demand = NormalDemand(20, 5)
    found = point_and_lot_cost(24, 1e-3, demand=demand, **costs)
    assert found == pytest.approx(
        stock_cost(24, demand=demand, left_cost=2, short_cost=7), rel=1e-3
    )


@given(
    st.floats(50, 2000), st.floats(20, 200), st.floats(0.5, 5), st.floats(20, 60), st.floats(5, 30)
)
def test_point_and_lot_by_units_short_agree_with_each_other(
    rate: float, fixed_cost: float, holding_cost: float, short_cost: float, sd: float
) -> None:
    demand = NormalDemand(100, sd)
    found = point_and_lot_by_units_short(
        demand,
        rate=rate,
        fixed_cost=fixed_cost,
        holding_cost=holding_cost,
        short_cost=short_cost,
    )
    lot = np.sqrt(2 * rate * (fixed_cost + short_cost * demand.short(found.point)) / holding_cost)
    assert found.lot == pytest.approx(lot, rel=1e-9)
    chance_short = found.lot * holding_cost / (short_cost * rate)
    assert demand.level_for(1 - chance_short) == pytest.approx(found.point, rel=1e-6, abs=1e-6)
    cost = (
        holding_cost * (found.point - demand.mean + found.lot / 2)
        + fixed_cost * rate / found.lot
        + short_cost * rate * demand.short(found.point) / found.lot
    )
    assert found.cost == pytest.approx(cost)


def test_what_cannot_be_is_refused() -> None:
    demand = WholeDemand.poisson(3)
    with pytest.raises(ValueError, match="cost something"):
        base_stock(demand, left_cost=0, short_cost=1)
    with pytest.raises(ValueError, match="one unit or more"):
        service(demand, point=3, lot=0)
    costs = {"rate": 3, "fixed_cost": 1, "holding_cost": 1, "backorder_cost": 1}
    with pytest.raises(ValueError, match="above zero"):
        point_and_lot_cost(3, 0, demand=demand, **costs)
    with pytest.raises(ValueError, match="nothing"):
        best_point_and_lot(demand, **{**costs, "fixed_cost": -1})
    of_units = {"rate": 3, "fixed_cost": 10, "holding_cost": 5, "short_cost": 1}
    with pytest.raises(ValueError, match="no stock pays"):
        point_and_lot_by_units_short(NormalDemand(3, 1), **of_units)
    with pytest.raises(ValueError, match="above zero"):
        point_and_lot_by_units_short(NormalDemand(3, 0), **of_units)
