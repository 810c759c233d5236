"""What issues cost: published examples, and lots that close at zero."""

from datetime import UTC, date, datetime, timedelta

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
    receipt_value_cents,
    split_cents,
    take,
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
