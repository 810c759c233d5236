"""One adapter for each form of worked example that the product serves.

An adapter translates the keys of a case into the arguments of product functions, and their
answers back. It does no arithmetic: a test reads this file and fails when it does.
"""

from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from itertools import count, islice
from typing import Any

from equipment import (
    air_purity,
    caldates,
    charts,
    counters,
    due,
    forecast,
    oil_cleanliness,
    trends,
    units,
)
from equipment.usage import wiener
from inventory import costing, quantities
from tests.reference.classic_adapters import CLASSIC_ADAPTERS
from tests.reference.layers import in_steps, receipt_layer
from tests.reference.reading import (
    Answer,
    MalformedCase,
    NotServed,
    day,
    floats,
    need,
    need_list,
    number,
    whole,
)
from tests.reference.stock_adapters import STOCK_ADAPTERS


def us_gallon(inputs: Any) -> Answer:
    gallons = number(inputs, "gallons")
    return {
        "cubic_inches": units.cubic_inches(gallons),
        "litres": units.litres(gallons),
        "cubic_metres": units.cubic_metres(gallons),
    }


def stroke_volume(inputs: Any) -> Answer:
    gallons = units.volume_gal(
        strokes=number(inputs, "strokes"),
        displacement_in3=number(inputs, "cubic_inch_per_stroke"),
    )
    return {"gallons": gallons, "litres": units.litres(gallons)}


def impossible_rates(inputs: Any) -> Answer:
    answer: Answer = {}
    if "hours" in inputs:
        answer["hours_ok"] = [_hours_ok(each) for each in need_list(inputs, "hours")]
    if "strokes" in inputs:
        cases = need_list(inputs, "strokes")
        answer["strokes_ok"] = [_strokes_ok(each) for each in cases]
        most = [_most_strokes(each) for each in cases]
        # The form gives one figure where all its cases share it.
        answer["max_strokes"] = most[0] if len(set(most)) == 1 else most
    return answer


def _hours_ok(case: Any) -> bool:
    counted, _ = counters.gain(
        previous=number(case, "from_h"),
        current=counters.FaceReading(
            at=datetime(2000, 1, 1, tzinfo=UTC), value=number(case, "to_h")
        ),
        rollover=None,
    )
    return counters.possible_rate(
        counted=counted,
        elapsed=timedelta(days=float(number(case, "elapsed_days"))),
        kind=counters.HOURS,
        step=Decimal(0),
        max_per_minute=None,
    )


def _strokes_ok(case: Any) -> bool:
    return counters.possible_rate(
        counted=number(case, "strokes"),
        elapsed=timedelta(hours=float(number(case, "elapsed_hours"))),
        kind=counters.STROKES,
        step=Decimal(0),
        max_per_minute=number(case, "max_per_minute"),
    )


def _most_strokes(case: Any) -> Decimal | None:
    return counters.most_possible(
        elapsed=timedelta(hours=float(number(case, "elapsed_hours"))),
        kind=counters.STROKES,
        max_per_minute=number(case, "max_per_minute"),
    )


def first_due(inputs: Any) -> Answer:
    today = day(need(inputs, "today"))
    cases = need_list(inputs, "triggers")
    found = due.first_due([_trigger(each, today) for each in cases], tolerance=Decimal(0))
    lead = found.all.index(found.lead)
    return {
        "days_to_due": [
            # A calendar trigger counts from its renewal, the form counts from today.
            caldates.days_between(today, each.due_date) if "due_on" in case else each.days_to_due
            for case, each in zip(cases, found.all, strict=True)
        ],
        "first": need(cases[lead], "name"),
        "first_due_day_number": caldates.days_between(today, found.due_date),
        "first_due_date": found.due_date.isoformat(),
    }


def _trigger(case: Any, today: date) -> due.Trigger:
    if not isinstance(case, dict):
        raise MalformedCase(f"a trigger is not an object: {case!r}")
    if "due_on" in case:
        # The form names the day, the product the renewal before it: any day before it will do.
        due_on = day(case["due_on"])
        return due.DayTrigger(
            interval_days=caldates.days_between(date.min, due_on), renewed_on=date.min
        )
    measure = need(case, "name")
    if measure not in due.MEASURES:
        raise NotServed(f"services are not triggered by {measure!r}")
    remaining = number(case, "remaining")
    if remaining <= 0:
        raise NotServed("the form does not say the interval of a trigger already reached")
    return due.UseTrigger(
        measure=measure,
        interval=remaining,
        since=Decimal(0),
        rate_per_day=number(case, "rate_per_day"),
        read_on=today,
    )


def days_between(inputs: Any) -> Answer:
    pairs = need_list(inputs, "pairs")
    if not all(isinstance(pair, list) and len(pair) == 2 for pair in pairs):
        raise MalformedCase("“pairs” holds something other than two dates")
    return {"days": [caldates.days_between(day(a), day(b)) for a, b in pairs]}


def add_months(inputs: Any) -> Answer:
    pairs = need_list(inputs, "start_and_months")
    if not all(isinstance(pair, list) and len(pair) == 2 for pair in pairs):
        raise MalformedCase("“start_and_months” holds something other than a date and a number")
    return {
        "due": [
            caldates.add_months(day(start), whole({"months": months}, "months")).isoformat()
            for start, months in pairs
        ]
    }


def add_years(inputs: Any) -> Answer:
    plus = caldates.add_years(day(need(inputs, "start")), whole(inputs, "years"))
    answer: Answer = {"plus_years": plus.isoformat()}
    if "chain_start" in inputs:
        start = day(inputs["chain_start"])
        from_anchor, chained = [], []
        here = start
        for months in islice(count(1), whole(inputs, "chain_steps")):
            from_anchor.append(caldates.add_months(start, months).isoformat())
            here = caldates.add_months(here, 1)
            chained.append(here.isoformat())
        answer |= {"from_anchor": from_anchor, "chained": chained}
    return answer


def renewal_fixed_floating(inputs: Any) -> Answer:
    try:
        every = caldates.Every(days=whole(inputs, "interval_days"))
    except ValueError as error:
        raise MalformedCase(str(error)) from error
    planned_for = day(need(inputs, "anchor"))
    floating, fixed = [], []
    for done_on in map(day, need_list(inputs, "done")):
        after = caldates.planned_day(counts_from=done_on, every=every, steps=1)
        floating.append(after.isoformat())
        planned = caldates.renew_fixed(counts_from=planned_for, every=every, done_on=done_on)
        fixed.append(planned.next_on.isoformat())
        planned_for = planned.satisfied
    return {"floating_next": floating, "fixed_next": fixed}


def specific_identification(inputs: Any) -> Answer:
    received = [
        receipt_layer(_lot(lot), lot, quantity="received") for lot in need_list(inputs, "lots")
    ]
    lots = {layer.lot_id: layer for layer in received}
    costs: list[int] = []
    all_draws: list[costing.Draw] = []
    for issue in need_list(inputs, "issues"):
        if not isinstance(issue, list):
            raise MalformedCase(f"an issue is not a list of lots: {issue!r}")
        draws: list[costing.Draw] = []
        for line in issue:
            name = _lot(line)
            if name not in lots:
                raise MalformedCase(f"an issue names lot {name!r}, which was not received")
            drawn, lots[name] = costing.take(lots[name], in_steps(number(line, "quantity")))
            draws.append(drawn)
        costs.append(costing.cost_of(draws))
        all_draws.extend(draws)
    return {
        "cost_of_issues": [quantities.to_money(cost) for cost in costs],
        "total_cost_of_issues": quantities.to_money(costing.cost_of(all_draws)),
        "closing_value": quantities.to_money(costing.value_left(lots.values())),
    }


def _lot(mapping: Any) -> int:
    lot = need(mapping, "lot")
    if type(lot) is not int:
        raise MalformedCase(f"“lot” is not a whole number: {lot!r}")
    return lot


def ewma(inputs: Any) -> Answer:
    if need(inputs, "limits") != "steady state":
        raise NotServed("limits are drawn for the steady state only")
    weight, target = float(number(inputs, "weight")), float(number(inputs, "target"))
    averages = charts.ewma(_figures(inputs), weight=weight, target=target)
    limits = charts.ewma_limits(
        target=target,
        sigma=float(number(inputs, "sigma")),
        width=float(number(inputs, "width")),
        weight=weight,
    )
    return {
        "ewma": list(averages),
        "upper": limits.upper,
        "lower": limits.lower,
        "signals": charts.count_signals(averages, limits=limits),
    }


def cusum(inputs: Any) -> Answer:
    found = charts.cusum(
        _figures(inputs),
        target=float(number(inputs, "target")),
        k=float(number(inputs, "k")),
        h=float(number(inputs, "h")),
    )
    return {
        "s_high": list(found.high),
        "s_low": list(found.low),
        "cumulative_sum": list(found.total),
        "first_signal_group": found.first_signal,
        "side": found.side,
    }


def _figures(inputs: Any) -> list[float]:
    figures = []
    for figure in need_list(inputs, "values"):
        if isinstance(figure, bool) or not isinstance(figure, int | Decimal):
            raise MalformedCase(f"“values” holds something other than numbers: {figure!r}")
        figures.append(float(figure))
    return figures


def life_to_date(inputs: Any) -> Answer:
    readings = [_face_reading(each) for each in need_list(inputs, "readings")]
    if not readings:
        raise MalformedCase("“readings” is empty")
    counted = counters.totals(readings, start=readings[0].value, rollover=number(inputs, "modulus"))
    return {"life": [each.total for each in counted]}


def _face_reading(case: Any) -> counters.FaceReading:
    details = {"last_shown": "before_reset", "starts_at": "face_start"}
    kind = case.get("kind", counters.CONTINUED) if isinstance(case, dict) else None
    if kind not in counters.STEPS:
        raise MalformedCase(f"not a kind of reading: {kind!r}")
    return counters.FaceReading(
        # The case gives no times: readings of one instant stay in the order given.
        at=datetime(2000, 1, 1, tzinfo=UTC),
        value=number(case, "shown"),
        step=kind,
        **{name: number(case, key) for key, name in details.items() if key in case},
    )


def usage_rate(inputs: Any) -> Answer:
    days, totals = floats(inputs, "day"), floats(inputs, "meter")
    try:
        found = wiener.wiener_drift(days=days, totals=totals)
    except ValueError as error:
        raise MalformedCase(str(error)) from error
    return {
        "drift_per_day": found.drift_per_day,
        "variance_per_day": found.variance_per_day,
    }


def gamma_due(inputs: Any) -> Answer:
    given = {
        "remaining": float(number(inputs, "remaining")),
        "mean": float(number(inputs, "mean_per_day")),
        "variance": float(number(inputs, "variance_per_day")),
    }
    if isinstance(need(inputs, "t_days"), list):
        probability: Any = [
            forecast.chance_known(days=each, **given) for each in floats(inputs, "t_days")
        ]
    else:
        probability = forecast.chance_known(days=float(number(inputs, "t_days")), **given)
    return {
        "probability": probability,
        "days_10_50_90": [
            forecast.days_known(chance=each, **given)
            for each in (forecast.EARLY, forecast.MIDDLE, forecast.LATE)
        ],
        "days_50": forecast.days_known(chance=forecast.MIDDLE, **given),
    }


def wiener_first_passage(inputs: Any) -> Answer:
    found = wiener.first_passage(
        drift_per_day=float(number(inputs, "drift_per_day")),
        deviation=float(number(inputs, "sigma_per_sqrt_day")),
        remaining=float(number(inputs, "remaining")),
    )
    return {
        "mean_days": found.mean,
        "variance_days2": found.variance,
        "cdf": [found.chance(each) for each in floats(inputs, "t_days")],
        "quantile_10_50_90": [found.quantile(each) for each in (0.1, 0.5, 0.9)],
    }


def wiener_first_passage_parametrisation(inputs: Any) -> Answer:
    found = wiener.InverseGaussian(
        mean=float(number(inputs, "mean")), shape=float(number(inputs, "shape"))
    )
    return {
        "cdf": [found.chance(each) for each in floats(inputs, "t")],
        "mean": found.mean,
        "variance": found.variance,
    }


def theil_sen(inputs: Any) -> Answer:
    times, values = floats(inputs, "t"), floats(inputs, "y")
    line = trends.theil_sen(
        times=times, values=values, confidence=float(number(inputs, "confidence"))
    )
    return {
        "slope": line.slope,
        "kendall_c": trends.mann_kendall(values).score,
        "lower": line.lower,
        "upper": line.upper,
        "all_slopes": list(trends.pairwise_slopes(times=times, values=values)),
    }


def trend_to_limit(inputs: Any) -> Answer:
    line = trends.theil_sen(
        times=floats(inputs, "t_days"),
        values=floats(inputs, "dew_point_c"),
        confidence=float(number(inputs, "confidence")),
    )
    return {
        "slope_per_day": line.slope,
        "intercept": line.intercept,
        "lower": line.lower,
        "upper": line.upper,
        "day_at_limit": trends.trend_to_limit(line=line, limit=float(number(inputs, "limit"))).at,
    }


def mann_kendall(inputs: Any) -> Answer:
    found = trends.mann_kendall(floats(inputs, "y"))
    return {
        "S": found.score,
        "variance": found.variance,
        "z": found.z,
        "p_normal": found.p_normal,
        "p_exact": found.p_exact,
    }


def iso4406_scale(inputs: Any) -> Answer:
    return {
        "scale": [
            oil_cleanliness.scale_number(number({"count": each}, "count"))
            for each in need_list(inputs, "counts_per_ml")
        ]
    }


def iso4406_code(inputs: Any) -> Answer:
    samples = need_list(inputs, "counts_per_ml")
    if not all(isinstance(each, list) for each in samples):
        raise MalformedCase("“counts_per_ml” holds something other than lists of counts")
    return {
        "code": [
            str(
                oil_cleanliness.code_of_counts(
                    [number({"count": count}, "count") for count in sample]
                )
            )
            for sample in samples
        ]
    }


def iso8573_water_oil(inputs: Any) -> Answer:
    answer: Answer = {}
    if "dew_point_c" in inputs:
        answer["water_class"] = [
            air_purity.water_class(number({"dew_point": each}, "dew_point"))
            for each in need_list(inputs, "dew_point_c")
        ]
    if "oil_mg_per_m3" in inputs:
        answer["oil_class"] = [
            air_purity.oil_class(number({"oil": each}, "oil"))
            for each in need_list(inputs, "oil_mg_per_m3")
        ]
    return answer


def hose_volume(inputs: Any) -> Answer:
    hose = {name: number(inputs, name) for name in ("inner_diameter_in", "length_ft")}
    return {
        "cubic_inches": units.hose_volume_in3(**hose),
        "gallons": units.hose_volume_gal(**hose),
    }


ADAPTERS: dict[str, Callable[[Any], Answer]] = {
    "us_gallon": us_gallon,
    "stroke_volume": stroke_volume,
    "impossible_rates": impossible_rates,
    "first_due": first_due,
    "days_between": days_between,
    "add_months": add_months,
    "add_years": add_years,
    "renewal_fixed_floating": renewal_fixed_floating,
    "specific_identification": specific_identification,
    "ewma": ewma,
    "cusum": cusum,
    "life_to_date": life_to_date,
    "usage_rate": usage_rate,
    "gamma_due": gamma_due,
    "wiener_first_passage": wiener_first_passage,
    "wiener_first_passage_parametrisation": wiener_first_passage_parametrisation,
    "theil_sen": theil_sen,
    "trend_to_limit": trend_to_limit,
    "mann_kendall": mann_kendall,
    "iso4406_scale": iso4406_scale,
    "iso4406_code": iso4406_code,
    "iso8573_water_oil": iso8573_water_oil,
    "hose_volume": hose_volume,
    **CLASSIC_ADAPTERS,
    **STOCK_ADAPTERS,
}
