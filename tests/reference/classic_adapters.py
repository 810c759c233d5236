"""Adapters for the classic formulas of stock: see `adapters`."""

from collections.abc import Callable
from decimal import Decimal
from functools import partial
from typing import Any

from inventory import (
    classes,
    classic,
    costing,
    intermittent,
    lead_time_demand,
    lots_to_order,
    periodic,
    quantities,
)
from tests.reference.layers import STEPS_PER_UNIT, in_steps, receipt_layer
from tests.reference.reading import (
    Answer,
    MalformedCase,
    floats,
    need,
    need_list,
    number,
    whole,
)


def real(inputs: Any, key: str) -> float:
    return float(number(inputs, key))


def economic_order_quantity(inputs: Any) -> Answer:
    found = lots_to_order.economic_order_quantity(
        demand=real(inputs, "demand_per_year"),
        fixed_cost=real(inputs, "fixed_cost"),
        holding_cost=real(inputs, "holding_cost_per_unit_year"),
    )
    return {"order_quantity": found.quantity, "cost_per_year": found.cost}


def price_breaks(inputs: Any) -> Answer:
    found = lots_to_order.price_breaks(
        demand=real(inputs, "demand_per_year"),
        fixed_cost=real(inputs, "fixed_cost"),
        holding_rate=real(inputs, "holding_rate_per_year"),
        breakpoints=floats(inputs, "breakpoints"),
        unit_costs=floats(inputs, "unit_costs"),
    )
    return {
        "order_quantity": found.quantity,
        "price_level": found.price_level,
        "cost_per_year": found.cost,
    }


def time_phased_lots(inputs: Any) -> Answer:
    found = lots_to_order.time_phased_lots(
        floats(inputs, "demand"),
        fixed_cost=real(inputs, "fixed_cost"),
        holding_cost=real(inputs, "holding_cost_per_period"),
    )
    return {"order_quantity": list(found.quantities), "cost": found.cost}


def newsvendor_normal(inputs: Any) -> Answer:
    demand = lead_time_demand.NormalDemand(real(inputs, "demand_mean"), real(inputs, "demand_sd"))
    found = classic.base_stock(
        demand, left_cost=real(inputs, "overage_cost"), short_cost=real(inputs, "underage_cost")
    )
    return {"base_stock": found.level, "cost": found.cost}


def newsvendor_poisson(inputs: Any) -> Answer:
    return _newsvendor_whole(
        inputs, lead_time_demand.WholeDemand.poisson(real(inputs, "demand_mean"))
    )


def newsvendor_explicit(inputs: Any) -> Answer:
    given = need(inputs, "demand_pmf")
    if not isinstance(given, dict):
        raise MalformedCase("“demand_pmf” is not an object")
    try:
        chance_of = {int(units): real(given, units) for units in given}
        demand = lead_time_demand.WholeDemand.explicit(chance_of)
    except ValueError as error:
        raise MalformedCase(f"“demand_pmf”: {error}") from error
    return _newsvendor_whole(inputs, demand)


def _newsvendor_whole(inputs: Any, demand: lead_time_demand.WholeDemand) -> Answer:
    costs = {
        "left_cost": real(inputs, "overage_cost"),
        "short_cost": real(inputs, "underage_cost"),
    }
    found = classic.base_stock(demand, **costs)
    answer = {"base_stock": found.level, "cost": found.cost}
    if "other_level" in inputs:
        answer["cost_at_other_level"] = classic.stock_cost(
            whole(inputs, "other_level"), demand=demand, **costs
        )
    return answer


def base_stock_periodic(inputs: Any) -> Answer:
    demand = lead_time_demand.NormalDemand.over(
        mean=real(inputs, "demand_mean"),
        sd=real(inputs, "demand_sd"),
        lead_time=real(inputs, "lead_time"),
        review_period=real(inputs, "review_period"),
    )
    found = classic.base_stock(
        demand, left_cost=real(inputs, "holding_cost"), short_cost=real(inputs, "backorder_cost")
    )
    return {"base_stock": found.level, "cost": found.cost}


def base_stock_poisson_fill_rate(inputs: Any) -> Answer:
    demand = lead_time_demand.WholeDemand.poisson(
        real(inputs, "demand_per_week"), real(inputs, "lead_time_weeks")
    )
    found = classic.one_for_one(demand, level=whole(inputs, "base_stock"))
    return {
        "fill_rate": found.fill_rate,
        # Demands that come one at a time meet stock as often as there is stock.
        "ready_rate": found.fill_rate,
        "expected_backorders": found.backorders,
    }


def rq_poisson_fill_rate(inputs: Any) -> Answer:
    found = classic.service(
        lead_time_demand.WholeDemand.poisson(real(inputs, "lead_time_demand_mean")),
        point=whole(inputs, "r"),
        lot=whole(inputs, "Q"),
    )
    return {"fill_rate": found.fill_rate, "expected_backorders": found.backorders}


def rq_cost_normal(inputs: Any) -> Answer:
    cost = classic.point_and_lot_cost(
        real(inputs, "r"),
        real(inputs, "Q"),
        demand=_lead_time_demand(inputs),
        rate=real(inputs, "demand_mean_per_year"),
        fixed_cost=real(inputs, "fixed_cost"),
        holding_cost=real(inputs, "holding_cost_per_year"),
        backorder_cost=real(inputs, "backorder_cost_per_year"),
    )
    return {"cost_per_year": cost}


def rq_eil(inputs: Any) -> Answer:
    found = classic.point_and_lot_by_units_short(
        _lead_time_demand(inputs),
        rate=real(inputs, "demand_mean_per_year"),
        fixed_cost=real(inputs, "fixed_cost"),
        holding_cost=real(inputs, "holding_cost_per_year"),
        short_cost=real(inputs, "penalty_per_unit_short"),
    )
    return {"r": found.point, "Q": found.lot, "cost_per_year": found.cost}


def _lead_time_demand(inputs: Any) -> lead_time_demand.NormalDemand:
    return lead_time_demand.NormalDemand.over(
        mean=real(inputs, "demand_mean_per_year"),
        sd=real(inputs, "demand_sd_per_sqrt_year"),
        lead_time=real(inputs, "lead_time_years"),
    )


def rq_iteration(inputs: Any) -> Answer:
    found = classic.point_and_lot_by_units_short(
        lead_time_demand.NormalDemand(
            real(inputs, "lead_time_demand_mean"), real(inputs, "lead_time_demand_sd")
        ),
        rate=real(inputs, "demand_per_year"),
        fixed_cost=real(inputs, "fixed_cost"),
        holding_cost=real(inputs, "holding_cost_per_year"),
        short_cost=real(inputs, "penalty_per_unit_short"),
    )
    return {"R": found.point, "Q": found.lot}


def rq_poisson(inputs: Any) -> Answer:
    rate = real(inputs, "demand_rate")
    demand = lead_time_demand.WholeDemand.poisson(rate, real(inputs, "lead_time"))
    costs = {"rate": rate, **_costs(inputs)}
    found = classic.best_point_and_lot(demand, **costs)
    also = _also(inputs, partial(classic.point_and_lot_cost, demand=demand, **costs))
    return {"r": found.point, "Q": found.lot, "cost": found.cost, **also}


def ss_poisson(inputs: Any) -> Answer:
    demand = lead_time_demand.WholeDemand.poisson(real(inputs, "demand_mean"))
    costs = _costs(inputs)
    found = periodic.best_point_and_level(demand, **costs)
    also = _also(inputs, partial(periodic.point_and_level_cost, demand=demand, **costs))
    return {"s": found.point, "S": found.level, "cost": found.cost, **also}


def ss_poisson_table(inputs: Any) -> Answer:
    costs = _costs(inputs)
    found = [
        periodic.best_point_and_level(lead_time_demand.WholeDemand.poisson(mean), **costs)
        for mean in floats(inputs, "demand_mean")
    ]
    return {
        "s": [each.point for each in found],
        "S": [each.level for each in found],
        "cost": [each.cost for each in found],
    }


def _also(inputs: Any, cost: Callable[[int, int], float]) -> Answer:
    """What other pairs of figures cost, where a case asks for them."""
    if "also_cost_of" not in inputs:
        return {}
    return {"also_cost": [cost(one, other) for one, other in _pairs(inputs, "also_cost_of")]}


def _costs(inputs: Any) -> dict[str, float]:
    return {key: real(inputs, key) for key in ("fixed_cost", "holding_cost", "backorder_cost")}


def _pairs(inputs: Any, key: str) -> list[tuple[int, int]]:
    pairs = need_list(inputs, key)
    if not all(isinstance(pair, list) and len(pair) == 2 for pair in pairs):
        raise MalformedCase(f"“{key}” holds something other than two numbers")
    return [(whole({key: first}, key), whole({key: second}, key)) for first, second in pairs]


def loss_functions(inputs: Any) -> Answer:
    answer: Answer = {}
    if "standard_normal_z" in inputs:
        z = real(inputs, "standard_normal_z")
        answer["standard_normal"] = _losses(lead_time_demand.NormalDemand(0.0, 1.0), z)
    if "normal" in inputs:
        level, mean, sd = _few(inputs, "normal", 3)
        answer["normal"] = _losses(lead_time_demand.NormalDemand(mean, sd), level)
    if "poisson" in inputs:
        level, mean = _few(inputs, "poisson", 2)
        answer["poisson"] = _losses(lead_time_demand.WholeDemand.poisson(mean), level)
    return answer


def _few(inputs: Any, key: str, count: int) -> list[float]:
    found = floats(inputs, key)
    if len(found) != count:
        raise MalformedCase(f"“{key}” does not hold {count} numbers")
    return found


def _losses(demand: lead_time_demand.Demand, level: float) -> list[float]:
    return [demand.short(level), demand.left(level)]


def reorder_point_classic(inputs: Any) -> Answer:
    return _reorder_point(
        inputs,
        lead_time_demand.NormalDemand.over(
            mean=real(inputs, "demand_mean_per_day"),
            sd=real(inputs, "demand_sd_per_day"),
            lead_time=real(inputs, "lead_time_days"),
        ),
    )


def reorder_point_classic_random_lead_time(inputs: Any) -> Answer:
    return _reorder_point(
        inputs,
        lead_time_demand.NormalDemand.over(
            mean=real(inputs, "demand_mean_per_day"),
            sd=real(inputs, "demand_sd_per_day"),
            lead_time=real(inputs, "lead_time_mean_days"),
            lead_time_sd=real(inputs, "lead_time_sd_days"),
        ),
    )


def _reorder_point(inputs: Any, demand: lead_time_demand.NormalDemand) -> Answer:
    found = classic.reorder_point(demand, deviations=real(inputs, "z"))
    return {
        "reorder_point": found.point,
        "safety_stock": found.safety_stock,
        "sd_of_lead_time_demand": demand.sd,
    }


def intermittent_demand(inputs: Any) -> Answer:
    demand = floats(inputs, "demand")
    smoothed = intermittent.croston(demand, weight=real(inputs, "alpha"))
    pattern = intermittent.pattern(demand)
    return {
        "croston": smoothed.per_period,
        "sba": smoothed.per_period_corrected,
        "tsb": intermittent.fading(
            demand,
            size_weight=real(inputs, "tsb_alpha_size"),
            chance_weight=real(inputs, "tsb_alpha_probability"),
        ),
        "months_per_demand": pattern.periods_per_demand,
        "squared_cv_of_size": pattern.squared_variation,
    }


def abc(inputs: Any) -> Answer:
    ranked = _ranked(inputs)
    return {
        "total": classes.together(ranked).value,
        "ranking": [each.part for each in ranked],
        "share_percent": [each.share_percent for each in ranked],
    }


def abc_shares(inputs: Any) -> Answer:
    ranked = _ranked(inputs)
    top, following = ranked[:2], ranked[2:5]
    return {
        "total": classes.together(ranked).value,
        "top_two": [each.part for each in top],
        "top_two_percent": classes.together(top).share_percent,
        "next_three": [each.part for each in following],
        "next_three_percent": classes.together(following).share_percent,
    }


def _ranked(inputs: Any) -> list[classes.Ranked]:
    return classes.rank(
        classes.YearlyUse(
            part=str(need(item, "item")),
            units=real(item, "annual_units"),
            unit_cost=real(item, "unit_cost"),
        )
        for item in need_list(inputs, "items")
    )


class _Books:
    """Movements of a case played through cost layers, in the order given."""

    def __init__(self, inputs: Any, *, average: bool) -> None:
        self.layers: list[costing.LotLayer] = []
        self.issues: list[int] = []
        self.draws: list[costing.Draw] = []
        self.unit_costs: list[Decimal] = []
        for place, movement in enumerate(need_list(inputs, "movements")):
            if isinstance(movement, dict) and "receipt" in movement:
                self.layers.append(receipt_layer(place, movement, quantity="receipt"))
                if average:
                    self.layers = [costing.pooled(self.layers)]
                    self.unit_costs.append(_unit_cost(self.layers[0]))
            else:
                self._issue(_steps(movement, "issue"))

    def _issue(self, steps: int) -> None:
        draws = costing.draw(self.layers, steps)
        taken = {each.lot_id: each.quantity_steps for each in draws}
        after = [
            costing.take(layer, taken[layer.lot_id])[1] if layer.lot_id in taken else layer
            for layer in self.layers
        ]
        self.layers = [layer for layer in after if layer.quantity_steps]
        self.issues.append(costing.cost_of(draws))
        self.draws.extend(draws)

    def answer(self) -> Answer:
        return {
            "cost_of_issues": [quantities.to_money(cost) for cost in self.issues],
            "total_cost_of_issues": quantities.to_money(costing.cost_of(self.draws)),
            "closing_value": quantities.to_money(costing.value_left(self.layers)),
            "closing_layers": [
                [
                    quantities.to_units(layer.quantity_steps, STEPS_PER_UNIT),
                    _unit_cost(layer),
                ]
                for layer in self.layers
            ],
        }

    def closing_units(self) -> Any:
        if not self.layers:
            return 0
        return quantities.to_units(costing.pooled(self.layers).quantity_steps, STEPS_PER_UNIT)


def _steps(mapping: Any, key: str) -> int:
    return in_steps(number(mapping, key))


def _unit_cost(layer: costing.LotLayer) -> Decimal:
    return costing.unit_cost(layer, steps_per_unit=STEPS_PER_UNIT)


def fifo(inputs: Any) -> Answer:
    return _Books(inputs, average=False).answer()


def moving_average(inputs: Any) -> Answer:
    books = _Books(inputs, average=True)
    return {**books.answer(), "average_after_receipt": books.unit_costs}


def fifo_and_average(inputs: Any) -> Answer:
    first_in, averaged = _Books(inputs, average=False), _Books(inputs, average=True)
    fifo_answer, average_answer = first_in.answer(), averaged.answer()
    return {
        "fifo_cost_of_issues": fifo_answer["total_cost_of_issues"],
        "fifo_closing_value": fifo_answer["closing_value"],
        "moving_average": averaged.unit_costs[-1] if averaged.unit_costs else None,
        "moving_average_cost_of_issues": average_answer["total_cost_of_issues"],
        "moving_average_closing_value": average_answer["closing_value"],
        "closing_units": first_in.closing_units(),
    }


def period_usage(inputs: Any) -> Answer:
    found = costing.period_use(
        opening_steps=_steps(inputs, "opening_units"),
        received_steps=_steps(inputs, "purchased_units"),
        counted_steps=_steps(inputs, "closing_units"),
        steps_per_unit=STEPS_PER_UNIT,
        unit_cost_cents=quantities.to_cents(number(inputs, "unit_cost")),
    )
    return {
        "available_value": quantities.to_money(found.available_cents),
        "closing_value": quantities.to_money(found.closing_cents),
        "used_units": quantities.to_units(found.used_steps, STEPS_PER_UNIT),
        "cost_of_used": quantities.to_money(found.used_cents),
    }


CLASSIC_ADAPTERS: dict[str, Callable[[Any], Answer]] = {
    each.__name__: each
    for each in (
        economic_order_quantity,
        price_breaks,
        time_phased_lots,
        newsvendor_normal,
        newsvendor_poisson,
        newsvendor_explicit,
        base_stock_periodic,
        base_stock_poisson_fill_rate,
        rq_poisson_fill_rate,
        rq_cost_normal,
        rq_eil,
        rq_iteration,
        rq_poisson,
        ss_poisson,
        ss_poisson_table,
        loss_functions,
        reorder_point_classic,
        reorder_point_classic_random_lead_time,
        intermittent_demand,
        abc,
        abc_shares,
        fifo,
        moving_average,
        fifo_and_average,
        period_usage,
    )
}
