"""What issues cost: published examples, and lots that close at zero."""

from datetime import UTC, date, datetime, timedelta
from decimal import Decimal

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from inventory.costing import (
    Draw,
    LotLayer,
    NotEnough,
    cost_of,
    draw,
    issue_value_cents,
    period_use,
    pooled,
    receipt_value_cents,
    share_change,
    split_cents,
    take,
    unit_cost,
    value_left,
)

JULY_1 = datetime(2025, 7, 1, tzinfo=UTC)


def lot(
    lot_id: int,
    quantity: int,
    value: int,
    *,
    day: int = 1,
    expires_on: date | None = None,
    whole: int | None = None,
) -> LotLayer:
    return LotLayer(
        lot_id=lot_id,
        expires_on=expires_on,
        received_at=JULY_1 + timedelta(days=day - 1),
        quantity_steps=quantity,
        value_cents=value,
        lot_quantity_steps=whole,
    )


def test_first_in_first_out_of_a_textbook() -> None:
    # OpenStax, Principles of Accounting, Volume 1, sec. 10.3, perpetual, FIFO
    # (worked_examples.json, H01): 150 at $21; issue 120; 225 at $27; issue 180; 210 at $33.
    first, second, third = lot(1, 150, 315_000), lot(2, 225, 607_500, day=10), 693_000
    drawn = draw([first], 120)
    assert cost_of(drawn) == 252_000  # 120 × $21
    _, first = take(first, 120)
    drawn = draw([second, first], 180)
    # 30 × $21 + 150 × $27 = $4,680
    assert drawn == [Draw(1, 30, 63_000), Draw(2, 150, 405_000)]
    assert cost_of(drawn) == 468_000
    _, first = take(first, 30)
    _, second = take(second, 150)
    assert (first.quantity_steps, first.value_cents) == (0, 0)
    # 75 × $27 + 210 × $33 = $8,955
    assert value_left([first, second, lot(3, 210, third, day=25)]) == 895_500


def test_first_expiry_before_first_in_and_no_expiry_last() -> None:
    lots = [
        lot(1, 1, 10, day=1),
        lot(2, 1, 20, day=2, expires_on=date(2027, 1, 1)),
        lot(3, 1, 30, day=3, expires_on=date(2026, 1, 1)),
        lot(4, 1, 40, day=1, expires_on=date(2027, 1, 1)),
    ]
    assert [each.lot_id for each in draw(lots, 4)] == [3, 4, 2, 1]
    assert [each.lot_id for each in draw(lots, 1)] == [3]


def test_empty_lots_are_passed_over() -> None:
    assert draw([lot(1, 0, 0), lot(2, 5, 50, day=2)], 1) == [Draw(2, 1, 10)]


def test_more_than_there_is() -> None:
    with pytest.raises(NotEnough) as refused:
        draw([lot(1, 2, 10), lot(2, 3, 10)], 6)
    assert (refused.value.wanted_steps, refused.value.available_steps) == (6, 5)
    with pytest.raises(NotEnough):
        take(lot(1, 2, 10, whole=9), 3)
    with pytest.raises(NotEnough):
        issue_value_cents(value_left_cents=10, quantity_left_steps=2, quantity_steps=3)


@pytest.mark.parametrize("quantity", [0, -1])
def test_an_issue_of_nothing_is_refused(quantity: int) -> None:
    with pytest.raises(ValueError, match="above zero"):
        draw([lot(1, 2, 10)], quantity)
    with pytest.raises(ValueError, match="above zero"):
        issue_value_cents(value_left_cents=10, quantity_left_steps=2, quantity_steps=quantity)


def test_a_lot_that_lies_in_two_places_has_one_price() -> None:
    # 100 cents over 10 pieces, of which 4 lie here: 4 × 100 / 10 = 40, and 60 stay.
    drawn, after = take(lot(1, 4, 100, whole=10), 4)
    assert drawn.value_cents == 40
    assert (after.quantity_steps, after.lot_quantity_steps, after.value_cents) == (0, 6, 60)


@pytest.mark.parametrize(
    ("value", "left", "quantity", "cents"),
    [
        (100, 3, 1, 33),  # 33.33
        (200, 3, 1, 67),  # 66.67
        (1, 2, 1, 1),  # 0.5, half up
        (100, 3, 3, 100),  # the last takes the rest
        (0, 3, 1, 0),
    ],
)
def test_an_issue_is_rounded_half_up(value: int, left: int, quantity: int, cents: int) -> None:
    assert (
        issue_value_cents(value_left_cents=value, quantity_left_steps=left, quantity_steps=quantity)
        == cents
    )


def test_the_value_of_a_receipt() -> None:
    # 2.50 gal at $18.99 a gallon: $47.475, half up $47.48.
    assert receipt_value_cents(quantity_steps=250, steps_per_unit=100, unit_cost_cents=1899) == 4748
    with pytest.raises(ValueError, match="below zero"):
        receipt_value_cents(quantity_steps=-1, steps_per_unit=1, unit_cost_cents=1)


@given(st.integers(0, 10**9), st.lists(st.integers(1, 1000), min_size=1, max_size=30))
def test_a_lot_closes_at_zero_after_any_sequence_of_issues(value: int, issues: list[int]) -> None:
    layer, drawn = lot(1, sum(issues), value), []
    for quantity in issues:
        each, layer = take(layer, quantity)
        drawn.append(each)
        assert each.value_cents >= 0
        assert layer.value_cents >= 0
    assert (layer.quantity_steps, layer.value_cents) == (0, 0)
    assert cost_of(drawn) == value


@given(
    st.lists(
        st.tuples(st.integers(0, 50), st.integers(0, 10_000), st.none() | st.dates()),
        min_size=1,
        max_size=8,
    ),
    st.data(),
)
def test_a_draw_takes_exactly_what_is_asked_and_empties_lots_in_order(
    layers: list[tuple[int, int, date | None]], data: st.DataObject
) -> None:
    lots = [
        lot(place, quantity, value, expires_on=expires_on)
        for place, (quantity, value, expires_on) in enumerate(layers)
    ]
    held = sum(each.quantity_steps for each in lots)
    assume(held > 0)
    wanted = data.draw(st.integers(1, held))
    drawn = draw(lots, wanted)
    assert sum(each.quantity_steps for each in drawn) == wanted
    by_id = {each.lot_id: each for each in lots}
    for each in drawn[:-1]:
        assert each.quantity_steps == by_id[each.lot_id].quantity_steps
        assert each.value_cents == by_id[each.lot_id].value_cents


@pytest.mark.parametrize(
    ("total", "weights", "shares"),
    [
        (100, [1, 1, 1], [34, 33, 33]),  # 33.33 each; the earliest gets the cent
        (100, [1, 2], [33, 67]),  # 33.33 and 66.67: the larger remainder gets it
        (10, [0, 1], [0, 10]),
        (5, [0, 0], [3, 2]),  # no weights known: equal shares
        (-100, [1, 2], [-33, -67]),
        (0, [3, 4], [0, 0]),
    ],
)
def test_shares(total: int, weights: list[int], shares: list[int]) -> None:
    assert split_cents(total, weights) == shares


@given(st.integers(-(10**12), 10**12), st.lists(st.integers(0, 10**6), min_size=1, max_size=20))
def test_shares_add_up_and_lie_within_a_cent(total: int, weights: list[int]) -> None:
    shares = split_cents(total, weights)
    assert sum(shares) == total
    if any(weights):
        for share, weight in zip(shares, weights, strict=True):
            assert abs(share * sum(weights) - total * weight) < sum(weights)


@pytest.mark.parametrize("weights", [[], [1, -1]])
def test_shares_of_nothing_are_refused(weights: list[int]) -> None:
    with pytest.raises(ValueError, match="one weight or more"):
        split_cents(100, weights)


def test_the_moving_average_of_a_textbook() -> None:
    # OpenStax, Principles of Accounting, Volume 1, sec. 10.3, perpetual, weighted average
    # (worked_examples.json, H02). To the cent: 180 × $26.294118 = $4,732.94.
    pool = pooled([lot(1, 150, 315_000)])
    first, pool = take(pool, 120)
    assert unit_cost(pool, steps_per_unit=1) == 21
    pool = pooled([pool, lot(2, 225, 607_500, day=10)])
    assert round(unit_cost(pool, steps_per_unit=1), 2) == Decimal("26.29")
    second, pool = take(pool, 180)
    pool = pooled([pool, lot(3, 210, 693_000, day=25)])
    assert round(unit_cost(pool, steps_per_unit=1), 2) == Decimal("31.24")
    assert (first.value_cents, second.value_cents) == (252_000, 473_294)
    assert pool.value_cents == 1_615_500 - 252_000 - 473_294


@given(
    st.lists(
        st.tuples(st.integers(1, 50), st.integers(0, 10_000), st.integers(1, 60)),
        min_size=1,
        max_size=12,
    )
)
def test_averaged_issues_and_what_is_left_make_up_the_receipts(
    rounds: list[tuple[int, int, int]],
) -> None:
    pool, issued, received = lot(0, 0, 0), 0, 0
    for quantity, value, wanted in rounds:
        pool = pooled([pool, lot(1, quantity, value)])
        received += value
        drawn, pool = take(pool, min(wanted, pool.quantity_steps))
        issued += drawn.value_cents
        assert issued + pool.value_cents == received
    if pool.quantity_steps:
        drawn, pool = take(pool, pool.quantity_steps)
        issued += drawn.value_cents
    assert (issued, pool.value_cents) == (received, 0)


def test_a_pool_expires_with_the_first_of_its_lots() -> None:
    soon, later = date(2026, 1, 1), date(2027, 1, 1)
    pool = pooled([lot(4, 1, 10, expires_on=later), lot(5, 1, 20, day=3, expires_on=soon)])
    assert (pool.lot_id, pool.expires_on, pool.received_at.day) == (4, soon, 3)
    assert pooled([lot(4, 1, 10)]).expires_on is None


def test_a_part_of_a_lot_has_the_cost_of_the_whole() -> None:
    # 300 cents over 6 steps of 0.5: $1.00 a unit.
    assert unit_cost(lot(1, 2, 300, whole=6), steps_per_unit=2) == 1
    with pytest.raises(ValueError, match="empty"):
        unit_cost(lot(1, 0, 0), steps_per_unit=1)
    with pytest.raises(ValueError, match="whole lots"):
        pooled([lot(1, 2, 300, whole=6)])
    with pytest.raises(ValueError, match="one or more"):
        pooled([])


def test_what_a_count_at_the_end_of_a_month_says_was_used() -> None:
    # OpenStax, sec. 10.1 (H05): 50 + 20 − 18 oil filters at $7.
    found = period_use(
        opening_steps=50,
        received_steps=20,
        counted_steps=18,
        steps_per_unit=1,
        unit_cost_cents=700,
    )
    assert (found.used_steps, found.used_cents, found.closing_cents) == (52, 36_400, 12_600)


@given(st.integers(0, 500), st.integers(0, 500), st.integers(0, 1000), st.integers(0, 999))
def test_what_was_used_and_what_is_left_make_up_what_there_was(
    opening: int, came: int, counted: int, cost: int
) -> None:
    given = {
        "opening_steps": opening,
        "received_steps": came,
        "counted_steps": counted,
        "steps_per_unit": 3,
        "unit_cost_cents": cost,
    }
    if counted > opening + came:
        with pytest.raises(NotEnough):
            period_use(**given)
        return
    found = period_use(**given)
    assert found.used_steps + counted == opening + came
    # Each value is rounded by itself, so the difference is within a cent of its own rounding.
    own = receipt_value_cents(
        quantity_steps=found.used_steps, steps_per_unit=3, unit_cost_cents=cost
    )
    assert abs(found.used_cents - own) <= 1
    assert found.used_cents + found.closing_cents == found.available_cents


def test_a_period_cannot_begin_below_zero() -> None:
    for name in ("opening_steps", "received_steps", "counted_steps"):
        given = {"opening_steps": 5, "received_steps": 5, "counted_steps": 5, name: -1}
        with pytest.raises(ValueError, match="below zero"):
            period_use(**given, steps_per_unit=1, unit_cost_cents=1)


PORTIONS = st.lists(st.tuples(st.integers(0, 50), st.integers(0, 10_000)), min_size=1, max_size=8)


@given(portions=PORTIONS, total=st.integers(-20_000, 20_000))
def test_a_change_of_cost_adds_up_and_takes_nothing_below_zero(
    portions: list[tuple[int, int]], total: int
) -> None:
    weights, held = [weight for weight, _ in portions], [cents for _, cents in portions]
    there = sum(cents for weight, cents in portions if weight)
    if not any(weights) or -total > there:
        with pytest.raises(ValueError, match=r"More|shared"):
            share_change(total, weights, held)
        return
    shares = share_change(total, weights, held)
    assert sum(shares) == total
    assert all(cents + share >= 0 for cents, share in zip(held, shares, strict=True))
    assert all(share == 0 for weight, share in zip(weights, shares, strict=True) if not weight)
    if total >= 0:
        exact = [total * weight / sum(weights) for weight in weights]
        assert all(abs(share - each) < 1 for share, each in zip(shares, exact, strict=True))


def test_what_cannot_bear_its_share_of_a_fall_leaves_the_rest_to_the_others() -> None:
    """90 off over three alike, one of them worth 10: it gives 10, the others 40 each."""
    assert share_change(-90, [1, 1, 1], [100, 10, 100]) == [-40, -10, -40]
