"""How many of a part to keep aboard: against a plain walk, and against what must hold."""

import json
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.drawer_target import (
    Carried,
    Need,
    drawer_target,
    figures_of,
    from_figures,
    piece_of,
    reason,
)

needs = st.lists(st.builds(Need, st.floats(0, 1), st.integers(1, 4)), max_size=5).map(tuple)
carried = st.builds(
    Carried,
    needs=needs,
    days=st.integers(1, 200),
    piece_steps=st.just(1),
    piece_cents=st.integers(0, 500_000),
    unplanned_a_year=st.floats(0, 5),
    lost_day_cents=st.integers(0, 400_000),
)


def plain_odds(asked: Carried, most: int) -> list[float]:
    """P(need > n) for n = 0 … most, by walking the rig's use and adding Poisson term by term.

    The services of one rig move together: one number u between 0 and 1 decides them all.
    """
    from math import exp

    edges = sorted({0.0, 1.0, *(need.chance for need in asked.needs)})
    mean = asked.unplanned_a_year * asked.days / 365
    odds = [0.0] * (most + 1)
    for low, high in pairwise(edges):
        taken = sum(need.quantity_steps for need in asked.needs if need.chance >= high)
        term, events, below = exp(-mean), 0, 0.0
        while events <= most + 1:
            below += term
            # `events` or fewer break: more than n is needed unless taken + events <= n.
            if taken + events <= most:
                odds[taken + events] -= term * (high - low)
            events += 1
            term *= mean / events
    total, found = 1.0, []
    for each in odds:
        total += each
        found.append(total)
    return found


@given(carried)
def test_it_is_the_smallest_number_whose_next_piece_is_not_worth_it(asked: Carried) -> None:
    target = drawer_target(asked)
    odds = plain_odds(asked, target.pieces)
    assert target.odds_more == pytest.approx(odds, abs=1e-9)
    cost = asked.piece_cents * asked.carrying_a_year * asked.days / 365
    worth = [each * asked.lost_day_cents * asked.spray_days_saved for each in odds]
    assert all(each > cost - 1e-3 for each in worth[:-1])
    assert worth[-1] <= cost + 1e-3


@given(carried)
def test_the_kept_figures_give_the_number_again(asked: Carried) -> None:
    target = drawer_target(asked)
    kept = json.loads(json.dumps(figures_of(asked, target)))
    assert drawer_target(from_figures(kept)) == target
    assert kept["target_steps"] == target.steps


@given(carried, st.integers(1, 500_000))
def test_a_dearer_piece_is_never_kept_more_often(asked: Carried, more_cents: int) -> None:
    figures = figures_of(asked, drawer_target(asked))
    dearer = from_figures({**figures, "piece_cents": asked.piece_cents + more_cents})
    assert drawer_target(dearer).steps <= drawer_target(asked).steps


@given(carried, st.integers(1, 500_000))
def test_a_dearer_day_is_never_guarded_less(asked: Carried, more_cents: int) -> None:
    figures = figures_of(asked, drawer_target(asked))
    dearer = from_figures({**figures, "lost_day_cents": asked.lost_day_cents + more_cents})
    assert drawer_target(dearer).steps >= drawer_target(asked).steps


def test_a_worked_example() -> None:
    """A $365 kit for 30 days at 25 % a year costs $7.50; a day lost costs $1,500.

    One is needed with 63 %, worth $945; a second only unplanned, 0.1 × 30/365 = 0.82 %: after one
    that is needed, 0.63 × (1 − exp(−0.0082)) + 0.37 × P(two or more) = 0.52 %, worth $7.75, just
    more than $7.50; a third is not. By hand.
    """
    known = {"needs": (Need(0.63, 1, "gun, full rebuild"),), "days": 30, "piece_steps": 1}
    asked = Carried(**known, piece_cents=36_500, unplanned_a_year=0.1)
    target = drawer_target(asked)
    assert target.carrying_cents == pytest.approx(750)
    assert target.worth_cents[1] == pytest.approx(775.4, abs=0.1)
    assert target.steps == 2
    dearer = Carried(**known, piece_cents=38_000, unplanned_a_year=0.1)
    assert drawer_target(dearer).steps == 1
    said = reason(figures_of(dearer, drawer_target(dearer)), symbol="$")
    assert said == (
        "The last of them is needed with 63 %, worth $949.54 in spray days within 30 days; "
        "carrying it costs $7.81. One more would be needed with 0.5 %, worth $7.75."
    )


def test_none_says_why_none() -> None:
    asked = Carried(needs=(), days=1, piece_steps=1, piece_cents=10**7, unplanned_a_year=0.1)
    said = reason(figures_of(asked, drawer_target(asked)), symbol="$")
    assert said == (
        "None: within 1 day it is needed with under 0.1 %, worth $0.41 in spray days; "
        "carrying one costs $68.49."
    )


def test_what_no_rig_needs_is_not_kept_though_it_is_free() -> None:
    asked = Carried(needs=(), days=30, piece_steps=1, piece_cents=0, unplanned_a_year=0)
    assert drawer_target(asked).steps == 0


def test_gallons_go_aboard_by_what_one_service_takes() -> None:
    asked_for = (Need(1.0, 150), Need(0.4, 50))
    assert piece_of(asked_for, steps_per_unit=100) == 50
    assert piece_of(asked_for, steps_per_unit=1) == 1


@pytest.mark.parametrize(
    "wrong",
    [{"days": 0}, {"piece_steps": 0}, {"piece_cents": -1}, {"needs": (Need(1.1, 1),)}],
)
def test_figures_out_of_range_are_refused(wrong: dict[str, object]) -> None:
    sound = {"needs": (), "days": 7, "piece_steps": 1, "piece_cents": 100}
    with pytest.raises(ValueError, match=r"\."):
        Carried(**{**sound, **wrong})  # type: ignore[arg-type]


def test_of_services_that_fall_due_only_a_share_stops_the_spraying() -> None:
    """Due with 60 %, one in ten stops: worth 0.6 × 0.1 × $1,500 = $90. By hand."""
    asked = Carried(
        needs=(Need(0.6, 1),),
        days=30,
        piece_steps=1,
        piece_cents=0,
        unplanned_a_year=0,
        stops_share=0.1,
        handling_cents=500,
    )
    target = drawer_target(asked)
    assert (target.steps, target.carrying_cents) == (1, 500)
    assert target.worth_cents == pytest.approx((9_000, 0))


def test_what_breaks_stops_it_whatever_the_share() -> None:
    """Poisson, 1 a year for 365 days: more than none with 63.2 %, worth $948. By hand."""
    asked = Carried(
        needs=(Need(1.0, 1),),
        days=365,
        piece_steps=1,
        piece_cents=0,
        unplanned_a_year=1,
        stops_share=0.0,
    )
    assert drawer_target(asked).worth_cents[0] == pytest.approx(94_818, abs=1)


@given(carried, st.floats(0, 1))
def test_the_fewer_services_stop_it_the_less_is_kept(asked: Carried, share: float) -> None:
    figures = figures_of(asked, drawer_target(asked))
    milder = from_figures({**figures, "stops_share": share})
    assert drawer_target(milder).steps <= drawer_target(asked).steps


@given(carried, st.integers(1, 5_000))
def test_what_takes_longer_to_keep_in_order_is_never_kept_more_often(
    asked: Carried, cents: int
) -> None:
    figures = figures_of(asked, drawer_target(asked))
    harder = from_figures({**figures, "handling_cents": cents})
    assert drawer_target(harder).steps <= drawer_target(asked).steps
