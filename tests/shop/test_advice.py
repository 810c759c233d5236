"""The number follows from the figures shown, by another road than ours."""

import itertools
import json
import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given as over
from hypothesis import strategies as st
from scipy import stats

from inventory.demand import part_demand
from inventory.replenishment import Bound
from shop.advice import (
    AHEAD_DAYS,
    Drawer,
    Found,
    Given,
    LateOrder,
    LeadTime,
    Need,
    Terms,
    Unplanned,
    chance_with,
    figures_of,
    found_of,
    given_of,
    reckon,
    recompute,
    unobserved_lead_times,
)

LEADS = (LeadTime(10, 0.75), LeadTime(20, 0.25))
SPANS = (11, 21)
DAYS = sorted({*SPANS, *AHEAD_DAYS})
NOTHING_BREAKS = Unplanned(events=0, steps=0, watched_days=700, prior_events=0.5, prior_days=1e12)


def need(rig: int, *chances: float, steps: int = 1, sheet: int = 0, late: float = 0.0) -> Need:
    """A service due once, twice, … with these chances after the short lead time; `late` more of
    them after the long one.
    """
    return Need(
        rig=rig,
        rig_number=rig,
        what=f"service of rig {rig}",
        quantity_steps=steps,
        chances={
            day: tuple(min(1.0, each + (late if day > SPANS[0] else 0.0)) for each in chances)
            for day in DAYS
        },
        sheet=sheet,
    )


def figures(*needs: Need, **more: Any) -> Given:
    return Given(
        **{
            "unit_name": "piece",
            "steps_per_unit": 1,
            "value_class": "B",
            "target": 0.95,
            "lead_times": LEADS,
            "lead_from": "as they say",
            "review_days": 1,
            "needs": needs,
            "drawers": (),
            "unplanned": NOTHING_BREAKS,
            "past_steps": (),
            "year_use_steps": 12.0,
            "unit_cents": 10_000,
            "terms": Terms(pack_steps=1, least_packs=1, prices=()),
            "keeps_days": None,
            "usable_steps": 3,
            "on_order_steps": 0,
            **more,
        }
    )


def from_what_is_shown(kept: dict[str, Any]) -> np.ndarray:
    """The distribution of what is asked for, by counting: only plain figures, nothing of ours.

    Each rig: a uniform number says how hard it works, and every service whose chance lies above it
    falls due; its drawer serves what it holds, or will hold. What breaks: Poisson with a gamma
    rate. One distribution for each lead time, mixed at the end.
    """
    shown = kept["given"]
    mixed = np.zeros(200)
    for lead in shown["lead_times"]:
        days = lead["days"] + shown["review_days"]
        total = np.zeros(200)
        total[0] = 1.0
        rigs: dict[Any, list[tuple[float, int]]] = {}
        for place, each in enumerate(shown["needs"]):
            for chance in each["chances"].get(str(days), []):
                rigs.setdefault(each["rig"] or f"bench {place}", []).append(
                    (chance, each["quantity_steps"])
                )
        aboard = {each["rig"]: each for each in shown["drawers"]}
        for rig in aboard:
            rigs.setdefault(rig, [])
        for rig, services in rigs.items():
            edges = sorted({0.0, 1.0, *(chance for chance, _ in services)})
            one = np.zeros(200)
            for low, high in itertools.pairwise(edges):
                worked = (low + high) / 2
                asked = sum(steps for chance, steps in services if chance > worked)
                one[out_of_the_bins(asked, aboard.get(rig))] += high - low
            total = np.convolve(total, one)[:200]
        for order in shown["late_orders"]:
            one = np.zeros(200)
            one[0] = 1 - order["missing"][str(days)]
            one[order["steps"]] += order["missing"][str(days)]
            total = np.convolve(total, one)[:200]
        breaks = shown["unplanned"]
        shape = breaks["prior_events"] + breaks["events"]
        exposure = breaks["prior_days"] + breaks["watched_days"]
        each_time = max(1, math.ceil(breaks["steps"] / breaks["events"])) if breaks["events"] else 1
        broken = np.zeros(200)
        counts = np.arange(math.ceil(200 / each_time))
        broken[counts * each_time] = stats.nbinom.pmf(counts, shape, exposure / (exposure + days))
        mixed += lead["weight"] * np.convolve(total, broken)[:200]
    return mixed


def out_of_the_bins(asked: int, drawer: dict[str, int] | None) -> int:
    """Piece by piece: fill the drawer, let the services take, fill it again as far as it is."""
    if drawer is None:
        return asked
    aboard, taken = drawer["here_steps"], 0
    while aboard < drawer["target_steps"]:
        aboard, taken = aboard + 1, taken + 1
    for _ in range(asked):
        if aboard:
            aboard -= 1
        else:
            taken += 1
    while aboard < drawer["refill_steps"]:
        aboard, taken = aboard + 1, taken + 1
    return taken


def enough(kept: dict[str, Any], steps: int) -> float:
    return float(from_what_is_shown(kept)[: steps + 1].sum()) if steps >= 0 else 0.0


def through_json(given: Given) -> dict[str, Any]:
    kept: dict[str, Any] = json.loads(json.dumps(figures_of(given, reckon(given))))
    return kept


odds = st.floats(0, 1).map(lambda each: round(each, 3))
two_odds = st.tuples(odds, odds).map(lambda both: tuple(sorted(both, reverse=True)))


@st.composite
def givens(draw: st.DrawFn) -> Given:
    needs = []
    for rig in range(draw(st.integers(0, 4))):
        for _ in range(draw(st.integers(1, 3))):
            falling = sorted(draw(st.lists(odds, min_size=1, max_size=3)), reverse=True)
            steps, late = draw(st.integers(1, 4)), draw(odds)
            # Rig 0: components on the bench.
            needs.append(need(rig, *falling, steps=steps, late=late))
    drawers = []
    for rig in range(1, 3):
        target = draw(st.integers(0, 3))
        again = draw(st.integers(0, target))
        drawers.append(Drawer(rig, rig, draw(st.integers(0, 3)), target, again))
    late = tuple(
        LateOrder(order, draw(st.integers(1, 8)), 3, dict(zip(SPANS, draw(two_odds), strict=True)))
        for order in range(draw(st.integers(0, 2)))
    )
    events = draw(st.integers(0, 5))
    unplanned = Unplanned(
        events=events,
        steps=events * draw(st.integers(1, 3)),
        watched_days=draw(st.integers(0, 728)),
        prior_events=0.5,
        prior_days=730.0,
    )
    return figures(
        *needs,
        drawers=tuple(drawers),
        late_orders=late,
        unplanned=unplanned,
        target=draw(st.sampled_from((0.8, 0.9, 0.95, 0.98))),
        terms=Terms(
            pack_steps=draw(st.integers(1, 6)),
            least_packs=draw(st.integers(1, 3)),
            prices=draw(st.sampled_from(((), ((1, 5000),), ((1, 5000), (10, 4000))))),
        ),
        past_steps=tuple(draw(st.lists(st.integers(0, 5), max_size=26))),
        keeps_days=draw(st.sampled_from((None, 90, 1800))),
    )


@over(givens())
def test_the_number_is_found_again_from_what_is_kept(given: Given) -> None:
    kept = through_json(given)
    assert given_of(kept) == given
    assert found_of(kept) == recompute(kept) == reckon(given)


@over(givens())
def test_another_road_from_the_figures_shown_leads_to_the_same_point(given: Given) -> None:
    kept = through_json(given)
    found = found_of(kept)
    assert found.at_point.reached == pytest.approx(enough(kept, found.point_steps), abs=1e-6)
    assert enough(kept, found.point_steps) >= given.target - 1e-6
    assert enough(kept, found.point_steps - 1) < given.target + 1e-6
    more = found.one_more
    assert more.reached == pytest.approx(enough(kept, more.steps), abs=1e-6)


def test_services_of_one_rig_move_together() -> None:
    """Four services at 20 %: of one rig all or none; of four rigs, rarely more than two.

    The 95 % point of one rig is 4 (P(0) = 0.8); of four it is 2 (binomial: 0.9728 within 2, 0.8192
    within 1).
    """
    assert reckon(figures(*(need(1, 0.2) for _ in range(4)))).point_steps == 4
    assert reckon(figures(*(need(rig, 0.2) for rig in (1, 2, 3, 4)))).point_steps == 2


def test_a_drawer_serves_its_own_rig_first_and_no_other() -> None:
    due = [need(1, 1.0), need(2, 1.0)]
    assert reckon(figures(*due)).point_steps == 2
    aboard = (Drawer(1, 1, here_steps=1, target_steps=0),)
    assert reckon(figures(*due, drawers=aboard)).point_steps == 1
    plenty = (Drawer(1, 1, here_steps=5, target_steps=0),)
    assert reckon(figures(*due, drawers=plenty)).point_steps == 1


def test_what_a_drawer_lacks_is_asked_of_the_bins_and_then_serves_its_rig() -> None:
    due = [need(1, 1.0), need(2, 1.0)]
    lacking = (Drawer(1, 1, here_steps=0, target_steps=1),)
    assert reckon(figures(*due, drawers=lacking)).point_steps == 2
    assert reckon(figures(drawers=lacking)).point_steps == 1
    assert reckon(figures(drawers=(Drawer(1, 1, 1, 1),))).point_steps == 0


def test_a_drawer_that_is_filled_again_asks_the_bins_for_it() -> None:
    """A rig is served from its drawer, and the drawer from the bins, once each."""
    for target, again, point in ((1, 0, 0), (1, 1, 1), (2, 1, 1), (2, 2, 2)):
        aboard = (Drawer(1, 1, here_steps=1, target_steps=target, refill_steps=again),)
        found = reckon(figures(need(1, 1.0), drawers=aboard))
        assert found.point_steps == point, (target, again)


def test_an_order_that_is_late_counts_for_as_much_as_it_can_be_relied_on() -> None:
    """One is needed for certain, eight are late; they count on order, and as asked for where the
    chance that they are missing is above what the target leaves (here 5 %).
    """
    for missing, point in ((0.0, 1), (0.04, 1), (0.06, 9), (1.0, 9)):
        late = (LateOrder(12, 8, 6, dict.fromkeys(DAYS, missing)),)
        given = figures(need(1, 1.0), late_orders=late, on_order_steps=8)
        assert reckon(given).point_steps == point
        assert given.position_steps == 11
        # The drawing ahead is of what is asked for, not of what does not come.
        assert reckon(given).ahead[0].high == 1


def test_what_a_drawer_serves_are_the_likeliest_services() -> None:
    given = figures(
        need(1, 0.9), need(1, 0.3), drawers=(Drawer(1, 1, here_steps=1, target_steps=0),)
    )
    demand = part_demand([given.scenario(SPANS[0])])
    assert demand.chance_of(1) == pytest.approx(0.3, abs=1e-9)


def test_a_longer_wait_is_counted_by_its_weight() -> None:
    """90 % in time without the late quarter: 0.75 × 1 + 0.25 × 0.2 = 0.80, so one more is kept."""
    given = figures(need(1, 0.0, late=0.8), target=0.9)
    found = reckon(given)
    assert (found.point_steps, found.one_fewer is not None) == (1, True)
    assert chance_with(given, 0) == pytest.approx(0.80, abs=1e-6)


def test_a_part_for_services_only_is_not_bought_before_one_comes_near() -> None:
    far = figures(need(1, 0.01))
    assert (reckon(far).point_steps, reckon(far).order_up_to_steps) == (0, 0)
    breaks = replace(NOTHING_BREAKS, events=1, steps=1, prior_days=730.0)
    assert reckon(figures(need(1, 0.01), unplanned=breaks)).order_up_to_steps == 1


def test_an_order_keeps_to_pack_and_minimum_and_to_what_is_used_in_time() -> None:
    due = [need(rig, 1.0) for rig in (1, 2, 3)]
    packed = figures(*due, terms=Terms(pack_steps=5, least_packs=2, prices=()))
    assert reckon(packed).order_up_to_steps == 3 + 10
    # √(2 × 12 × 2,500 ÷ (0.25 × 100)) = 49 at a dollar a piece.
    cheap = figures(*due, terms=Terms(pack_steps=1, least_packs=1, prices=((1, 100),)))
    assert reckon(cheap).lot_steps == 49
    assert reckon(cheap).order_up_to_steps == 3 + 49
    short = replace(cheap, keeps_days=365)
    found = reckon(short)
    # Poisson with 12 a year: at least 7 with 95.4 % (1 − P(≤ 6) = 1 − 0.0458).
    assert found.usable_steps == 7
    assert found.order_up_to_steps == 7
    assert str(Bound.EXPIRY) in found.bounds


def test_the_classic_point_stands_beside() -> None:
    """Weekly use 4 to 8 in four weeks, 10 or 20 days: by hand, from the formula's own figures.

    mean 6 and deviation 2 a period of 28 days; lead time 12.5 days (deviation 4.33) and a day of
    review. Mean 13.5 / 28 × 6 = 2.893; sd = √(0.4821 × 4 + 36 × (4.330 / 28)²) = 1.671;
    z(0.95) = 1.645: 2.893 + 2.749 = 5.64, rounded up 6.
    """
    found = reckon(figures(past_steps=(4, 8, 4, 8)))
    assert found.classic is not None
    assert (found.classic.mean_steps, found.classic.sd_steps) == (6, 2)
    assert found.classic.point_steps == 6


def test_slow_use_is_estimated_apart() -> None:
    """Sizes 2 every fifth period: Croston 0.4, less Syntetos and Boylan's 5 %: 0.38."""
    found = reckon(figures(past_steps=(0, 0, 0, 0, 2) * 4))
    assert found.intermittent is not None
    assert found.intermittent.kind == "intermittent"
    assert found.intermittent.corrected == pytest.approx(0.38)


def test_the_band_ahead_holds_what_will_have_been_asked_for() -> None:
    found: Found = reckon(figures(need(1, 0.95), need(2, 0.5), need(3, 0.05)))
    assert [each.days for each in found.ahead] == list(AHEAD_DAYS)
    # 1 for certain nearly; the middle 1 or 2: P(≤ 1) = 0.95·0.5·0.95 + 0.05·… = 0.499.
    assert all(each.low <= each.middle <= each.high for each in found.ahead)
    assert (found.ahead[0].low, found.ahead[0].high) == (1, 2)


def test_lead_times_that_nobody_observed_are_spread() -> None:
    assert unobserved_lead_times(8) == (LeadTime(8, 0.6), LeadTime(10, 0.3), LeadTime(12, 0.1))
    (at_once,) = unobserved_lead_times(0)
    assert (at_once.days, at_once.weight) == (0, pytest.approx(1.0))
