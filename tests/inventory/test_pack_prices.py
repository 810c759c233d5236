"""Price breaks and whole packs."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.pack_prices import PackPrice, pack_price_cents, packs_for

BREAKS = st.lists(
    st.builds(PackPrice, st.integers(1, 500), st.integers(0, 10**6)),
    min_size=1,
    max_size=6,
    unique_by=lambda price: price.from_packs,
)


def test_the_highest_break_that_is_reached_counts_for_every_pack() -> None:
    """Discount on all units: Snyder and Shen, sec. 3.4 (from memory); figures by hand."""
    prices = [PackPrice(1, 1_000), PackPrice(10, 900), PackPrice(50, 750)]
    found = [pack_price_cents(prices, packs) for packs in (1, 9, 10, 49, 50, 500)]
    assert found == [1_000, 1_000, 900, 900, 750, 750]
    assert pack_price_cents([], 3) == 0
    assert pack_price_cents([PackPrice(5, 800)], 2) == 800


@given(prices=BREAKS, packs=st.integers(1, 600))
def test_a_price_is_that_of_the_last_break_passed_on_the_way_up(
    prices: list[PackPrice], packs: int
) -> None:
    in_order = sorted(prices, key=lambda price: price.from_packs)
    price = in_order[0].pack_price_cents
    for each in in_order:
        if each.from_packs <= packs:
            price = each.pack_price_cents
    assert pack_price_cents(prices, packs) == price


@given(steps=st.integers(1, 10**6), pack=st.integers(1, 5_000), least=st.integers(1, 50))
def test_packs_hold_the_quantity_and_one_fewer_would_not(steps: int, pack: int, least: int) -> None:
    packs = packs_for(steps, pack_steps=pack, least_packs=least)
    assert packs * pack >= steps
    assert packs >= least
    assert packs == least or (packs - 1) * pack < steps


@pytest.mark.parametrize(("steps", "pack", "least"), [(0, 1, 1), (1, 0, 1), (1, 1, 0), (-5, 1, 1)])
def test_nothing_has_no_packs(steps: int, pack: int, least: int) -> None:
    with pytest.raises(ValueError, match="above zero"):
        packs_for(steps, pack_steps=pack, least_packs=least)
    with pytest.raises(ValueError, match="one pack"):
        pack_price_cents([PackPrice(1, 5)], 0)
