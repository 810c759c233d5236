"""How many packs to ask for."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.order_proposals import Offer, propose
from inventory.pack_prices import PackPrice, pack_price_cents


def offer(*prices: tuple[int, int], pack: int = 1, least: int = 1) -> Offer:
    return Offer(
        pack_steps=pack,
        least_packs=least,
        prices=tuple(PackPrice(*each) for each in prices),
    )


@st.composite
def offers(draw: st.DrawFn) -> Offer:
    starts = draw(st.lists(st.integers(1, 60), unique=True, max_size=5))
    return Offer(
        pack_steps=draw(st.integers(1, 50)),
        least_packs=draw(st.integers(1, 10)),
        prices=tuple(PackPrice(start, draw(st.integers(1, 5_000))) for start in starts),
    )


def test_whole_packs_and_no_fewer_than_they_sell() -> None:
    assert propose(11, offer((1, 900), pack=10), keeps=True).packs == 2
    assert propose(1, offer((1, 900), pack=10, least=3), keeps=True).packs == 3


def test_a_break_that_costs_less_in_all_is_taken_and_says_what_it_saves() -> None:
    """Nine at 100 cost 900, ten at 80 cost 800."""
    found = propose(9, offer((1, 100), (10, 80)), keeps=True)
    assert (found.packs, found.needed_packs, found.saved_cents) == (10, 9, 100)
    assert (found.pack_price_cents, found.price_cents) == (80, 800)


def test_eight_at_the_same_cost_stay_eight() -> None:
    assert propose(8, offer((1, 100), (10, 80)), keeps=True).packs == 8


def test_what_ages_is_not_bought_for_its_price() -> None:
    assert propose(9, offer((1, 100), (10, 80)), keeps=False).packs == 9


def test_without_a_price_the_need_decides() -> None:
    found = propose(9, offer(), keeps=True)
    assert (found.packs, found.price_cents, found.saved_cents) == (9, 0, 0)


def test_nothing_needed_is_refused() -> None:
    with pytest.raises(ValueError, match="above zero"):
        propose(0, offer((1, 100)), keeps=True)


@given(offers(), st.integers(1, 2_000), st.booleans())
def test_it_is_enough_whole_and_nothing_that_is_enough_costs_less(
    sold: Offer, needed: int, keeps: bool
) -> None:
    found = propose(needed, sold, keeps=keeps)
    assert found.quantity_steps >= needed
    assert found.packs >= found.needed_packs >= sold.least_packs
    assert found.pack_price_cents == pack_price_cents(sold.prices, found.packs)
    plain = found.needed_packs * pack_price_cents(sold.prices, found.needed_packs)
    if keeps and plain:
        # Against enumeration, far past the last break.
        assert found.price_cents == min(
            packs * pack_price_cents(sold.prices, packs)
            for packs in range(found.needed_packs, 2_200)
        )
        assert found.saved_cents == plain - found.price_cents
    else:
        assert found.packs == found.needed_packs
