"""Adapters of the worked examples about the demand for parts and the reorder point."""

from collections.abc import Callable
from typing import Any

from inventory import demand, replenishment
from tests.reference.reading import (
    Answer,
    NotServed,
    floats,
    need_list,
    number,
    whole,
)


def poisson_binomial(inputs: Any) -> Answer:
    found = demand.independent_demand(floats(inputs, "p"))
    return {
        "pmf": found.chances.tolist(),
        "mean": found.mean_steps,
        "variance": found.variance_steps2,
    }


def poisson_binomial_quantities(inputs: Any) -> Answer:
    quantities = [whole({"quantity": each}, "quantity") for each in need_list(inputs, "quantity")]
    found = demand.independent_demand(floats(inputs, "p"), quantities)
    if found.unit_steps != 1:
        raise NotServed("the product leaves out amounts that no service adds up to")
    return {"pmf": found.chances.tolist(), "mean": found.mean_steps}


def poisson_binomial_cdf(inputs: Any) -> Answer:
    most = whole(inputs, "k")
    found = demand.independent_demand(floats(inputs, "p"))
    return {f"cdf_at_{most}": found.chance_within(most)}


def schedule_reorder_point(inputs: Any) -> Answer:
    scenarios = [_scenario(inputs, weight=1.0, chances="p_due_within_lead_time")]
    return _advice(scenarios, inputs, shown=8)


def schedule_reorder_point_lead_time_mix(inputs: Any) -> Answer:
    scenarios = [
        _scenario(each, weight=float(number(each, "weight")), chances="p_due")
        for each in need_list(inputs, "scenarios")
    ]
    return _advice(scenarios, inputs, shown=7)


def schedule_reorder_point_edge(inputs: Any) -> Answer:
    target = float(number(inputs, "target"))
    return {
        "reorder_points": [
            _point([_scenario(each, weight=1.0, chances="p")], target)
            for each in need_list(inputs, "cases")
        ]
    }


def _advice(scenarios: list[demand.Scenario], inputs: Any, *, shown: int) -> Answer:
    found = demand.part_demand(scenarios)
    # The form names the last amount that it shows.
    *amounts, last = range(shown)
    return {
        f"pmf_0_to_{last}": [found.chance_of(steps) for steps in (*amounts, last)],
        "reorder_points": [_point(scenarios, each) for each in floats(inputs, "targets")],
    }


def _scenario(case: Any, *, weight: float, chances: str) -> demand.Scenario:
    """The forms know no rigs: each service stands for a rig of its own."""
    return demand.Scenario(
        weight=weight,
        rigs=tuple((demand.ServiceOdds((chance,)),) for chance in floats(case, chances)),
        breakage=demand.Breakage(mean=float(number(case, "breakdown_mean"))),
    )


def _point(scenarios: list[demand.Scenario], target: float) -> int:
    return replenishment.reorder_point(scenarios, target=target).level.steps


STOCK_ADAPTERS: dict[str, Callable[[Any], Answer]] = {
    "poisson_binomial": poisson_binomial,
    "poisson_binomial_quantities": poisson_binomial_quantities,
    "poisson_binomial_cdf": poisson_binomial_cdf,
    "schedule_reorder_point": schedule_reorder_point,
    "schedule_reorder_point_lead_time_mix": schedule_reorder_point_lead_time_mix,
    "schedule_reorder_point_edge": schedule_reorder_point_edge,
}
