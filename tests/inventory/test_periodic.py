"""Point and level of periodic reviews: by enumeration and by simulation.

Published figures: forms `ss_poisson` and `ss_poisson_table` of the worked examples.
"""

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from inventory.classic import base_stock
from inventory.lead_time_demand import WholeDemand
from inventory.periodic import best_point_and_level, point_and_level_cost
from tests.inventory.test_lead_time_demand import counted, explicit

costs_of = st.fixed_dictionaries(
    {
        "fixed_cost": st.floats(0, 60),
        "holding_cost": st.floats(0.2, 5),
        "backorder_cost": st.floats(0.2, 20),
    }
)
demands = st.one_of(
    st.floats(0.3, 12).map(WholeDemand.poisson),
    counted.filter(lambda weights: any(weights[1:])).map(explicit),
)


@settings(max_examples=40, deadline=None)
@given(demands, costs_of)
def test_no_other_point_and_level_costs_less(demand: WholeDemand, costs: dict[str, float]) -> None:
    found = best_point_and_level(demand, **costs)
    assert found.cost == point_and_level_cost(found.point, found.level, demand=demand, **costs)
    for point in range(found.point - 6, found.point + 7):
        for level in range(max(point + 1, found.level - 6), found.level + 7):
            other = point_and_level_cost(point, level, demand=demand, **costs)
            assert found.cost <= other * (1 + 1e-9)


@example(explicit([1, 0, 0, 1, 0, 2]), 0.2, 0.2)  # three levels cost the same
@given(demands, st.floats(0.2, 5), st.floats(0.2, 20))
def test_orders_that_cost_nothing_fill_up_every_period(
    demand: WholeDemand, holding_cost: float, backorder_cost: float
) -> None:
    found = best_point_and_level(
        demand, fixed_cost=0, holding_cost=holding_cost, backorder_cost=backorder_cost
    )
    level = base_stock(demand, left_cost=holding_cost, short_cost=backorder_cost)
    assert found.cost == pytest.approx(level.cost, rel=1e-9)


def test_a_point_and_a_level_by_hand() -> None:
    """None or one, evenly: two periods each at 2 and at 1, then an order of 4.

    4 + 2 × 1.5 left + 2 × 0.5 left, over four periods.
    """
    demand = WholeDemand.explicit({0: 0.5, 1: 0.5})
    cost = point_and_level_cost(
        0, 2, demand=demand, fixed_cost=4, holding_cost=1, backorder_cost=100
    )
    assert cost == pytest.approx(2)


def test_the_cost_of_a_point_and_a_level_against_simulated_periods() -> None:
    """Poisson demand of 6 a period, 200,000 periods: order up to 10 at or below 4."""
    random = np.random.default_rng(11)
    position, spent = 10, 0.0
    drawn = random.poisson(6, size=200_000)
    for asked in drawn:
        if position <= 4:
            position, spent = 10, spent + 5
        position -= int(asked)
        spent += position if position > 0 else -4 * position
    cost = point_and_level_cost(
        4, 10, demand=WholeDemand.poisson(6), fixed_cost=5, holding_cost=1, backorder_cost=4
    )
    assert spent / drawn.size == pytest.approx(cost, rel=0.01)


def test_what_cannot_be_is_refused() -> None:
    costs = {"fixed_cost": 5, "holding_cost": 1, "backorder_cost": 4}
    with pytest.raises(ValueError, match="below the level"):
        point_and_level_cost(10, 10, demand=WholeDemand.poisson(6), **costs)
    with pytest.raises(ValueError, match="Without any demand"):
        best_point_and_level(WholeDemand.explicit({0: 1}), **costs)
    with pytest.raises(ValueError, match="nothing"):
        best_point_and_level(WholeDemand.poisson(6), **{**costs, "fixed_cost": -1})
