"""The sentence about buying, from its figures."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.sentences import Promise, Unit, buying_advice, source_name, suggested_steps

PIECE = Unit("piece", 1)
GALLON = Unit("gal", 100)


def said(**figures: object) -> str:
    return str(buying_advice(**{"unit": PIECE, **figures}))  # type: ignore[arg-type]


def test_when_to_buy_comes_first_then_what_is_here() -> None:
    assert (
        said(
            usable_steps=4,
            promises=[Promise("sheet 0412", 1)],
            reorder_point_steps=3,
            order_up_to_steps=8,
        )
        == "Buy when 3 are left. 4 here, 1 reserved for sheet 0412."
    )


def test_at_the_point_it_says_how_much_to_buy_now() -> None:
    assert (
        said(usable_steps=3, reorder_point_steps=3, order_up_to_steps=8, in_drawers_steps=2)
        == "Buy 5 now. 3 here, 2 more in rig drawers, the reorder point is 3."
    )


def test_what_has_expired_is_said_beside_what_is_here() -> None:
    assert said(usable_steps=2, expired_steps=5) == (
        "No reorder point is set. 2 here, 5 more that expired."
    )


@pytest.mark.parametrize(
    ("point", "lead"),
    [(0, "Buy when none is left."), (1, "Buy when 1 is left."), (2, "Buy when 2 are left.")],
)
def test_one_is_and_two_are(point: int, lead: str) -> None:
    assert said(usable_steps=5, reorder_point_steps=point, order_up_to_steps=8) == (
        f"{lead} 5 here."
    )


def test_without_a_point_it_says_so() -> None:
    assert said(usable_steps=0) == "No reorder point is set. None here."


def test_measured_parts_carry_their_unit() -> None:
    assert (
        said(unit=GALLON, usable_steps=450, reorder_point_steps=250, order_up_to_steps=1000)
        == "Buy when 2.50 gal are left. 4.50 gal here."
    )


def test_a_point_at_its_level_buys_now_without_a_quantity() -> None:
    assert said(usable_steps=3, reorder_point_steps=3, order_up_to_steps=3).startswith("Buy now.")


@given(st.integers(0, 10**9), st.integers(0, 10**9))
def test_bought_as_suggested_it_reaches_its_level(here: int, up_to: int) -> None:
    suggestion = suggested_steps(usable_steps=here, order_up_to_steps=up_to)
    assert suggestion >= 0
    assert here + suggestion == max(here, up_to)


@given(st.integers(0, 1000), st.integers(0, 1000), st.integers(0, 1000))
def test_buys_now_exactly_at_or_below_the_point(here: int, point: int, more: int) -> None:
    advice = buying_advice(
        unit=PIECE, usable_steps=here, reorder_point_steps=point, order_up_to_steps=point + more
    )
    assert advice.buy_now == (here <= point)


@pytest.mark.parametrize(
    ("kind", "number", "name"),
    [("sheet", 412, "sheet 0412"), ("count", 7, "count 7"), ("opening", 0, "opening")],
)
def test_sources_are_named(kind: str, number: int, name: str) -> None:
    assert source_name(kind, number) == name


def test_what_is_on_order_counts_with_what_is_here() -> None:
    piece = Unit("piece", 1)
    figures = {"usable_steps": 1, "reorder_point_steps": 3, "order_up_to_steps": 8}
    waits = buying_advice(unit=piece, on_order_steps=3, **figures)
    assert str(waits) == "Buy when 3 are left. 1 here, 3 on order."
    more = buying_advice(unit=piece, on_order_steps=2, **figures)
    assert str(more) == "Buy 5 now. 1 here, 2 on order, the reorder point is 3."
