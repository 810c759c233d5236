"""Lead times learnt from what came and what is still late."""

from collections import Counter

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.lead_times import (
    MOST_DAYS,
    SAID_WEIGHT,
    SUPPLIER_WEIGHT,
    LeadTime,
    Wait,
    basis_in_words,
    learnt,
    stated,
    took_in_words,
)

WAITS = st.lists(st.builds(Wait, st.integers(0, 120), st.booleans()), max_size=12)
SAID = st.integers(0, 90)


def no_hazard_after(days: int, lead_time: LeadTime) -> float:
    return sum(lead_time.chances[days + 1 :])


def test_what_a_supplier_says_by_hand() -> None:
    """Six days: a third is two days to either side, weights 1, 2, 3, 2, 1 of nine."""
    lead_time = stated(6)
    assert lead_time.chances == pytest.approx([0, 0, 0, 0, 1 / 9, 2 / 9, 3 / 9, 2 / 9, 1 / 9])
    assert (lead_time.mean_days, lead_time.days_for(0.5)) == (pytest.approx(6), 6)


def test_one_late_receipt_by_hand() -> None:
    """Said 6 days, one line of the part came on day 8; its weight against four of the prior.

    Until day 7 one line is out beside 4·left of the prior, and none came, so each hazard h0 falls
    to h0·4·left / (4·left + 1):
    day 4: 1/9·4/5; day 5 (left 8/9, h0 2/8): 1/4·(32/9)/(41/9); day 6 (left 6/9, h0 1/2):
    1/2·(24/9)/(33/9); day 7 (left 3/9, h0 2/3): 2/3·(12/9)/(21/9); day 8: all that is left.
    """
    assert (SAID_WEIGHT, SUPPLIER_WEIGHT) == (3.0, 4.0)
    lead_time = learnt(part_waits=[Wait(8, came=True)], supplier_waits=[], said_days=6)
    hazards = [4 / 45, 8 / 41, 4 / 11, 8 / 21, 1]
    left = 1.0
    by_hand = [0.0] * 4
    for hazard in hazards:
        by_hand.append(left * hazard)
        left *= 1 - hazard
    assert lead_time.chances == pytest.approx(by_hand)
    assert lead_time.mean_days > stated(6).mean_days


@given(part=WAITS, supplier=WAITS, said=SAID)
def test_chances_are_chances_and_days_rise_with_them(
    part: list[Wait], supplier: list[Wait], said: int
) -> None:
    lead_time = learnt(part_waits=part, supplier_waits=supplier, said_days=said)
    assert min(lead_time.chances) >= 0
    assert sum(lead_time.chances) == pytest.approx(1)
    days = [lead_time.days_for(chance) for chance in (0.1, 0.5, 0.9)]
    assert days == sorted(days)
    assert lead_time.sd_days >= 0


@given(part=WAITS, said=SAID)
def test_the_order_of_lines_changes_nothing(part: list[Wait], said: int) -> None:
    forwards = learnt(part_waits=part, supplier_waits=[], said_days=said)
    backwards = learnt(part_waits=part[::-1], supplier_waits=[], said_days=said)
    assert forwards == backwards


@given(waits=WAITS, said=SAID, late=st.integers(0, 200))
def test_what_has_not_come_cannot_come_earlier(waits: list[Wait], said: int, late: int) -> None:
    rest = learnt(part_waits=waits, supplier_waits=[], said_days=said).after_waiting(late)
    assert sum(rest.chances[: late + 1]) == 0
    assert sum(rest.chances) == pytest.approx(1)


@given(waits=WAITS, said=SAID, open_days=st.integers(0, 120))
def test_a_line_still_open_makes_it_longer_and_never_shorter(
    waits: list[Wait], said: int, open_days: int
) -> None:
    without = learnt(part_waits=waits, supplier_waits=[], said_days=said)
    late = learnt(
        part_waits=[*waits, Wait(open_days, came=False)], supplier_waits=[], said_days=said
    )
    for day in range(open_days + 1):
        assert no_hazard_after(day, late) >= no_hazard_after(day, without) - 1e-9


@given(days=st.integers(1, 60), said=SAID)
def test_many_lines_outweigh_the_word(days: int, said: int) -> None:
    lead_time = learnt(part_waits=[Wait(days, came=True)] * 400, supplier_waits=[], said_days=said)
    assert lead_time.days_for(0.5) == days


def test_a_part_without_lines_goes_by_its_supplier() -> None:
    slow = [Wait(30, came=True)] * 8
    lead_time = learnt(part_waits=[], supplier_waits=slow, said_days=10)
    assert lead_time.days_for(0.5) > stated(10).days_for(0.5)
    own = learnt(part_waits=[Wait(10, came=True)] * 8, supplier_waits=slow, said_days=10)
    assert own.mean_days < lead_time.mean_days


def test_late_beyond_all_that_was_ever_seen_goes_on() -> None:
    lead_time = learnt(
        part_waits=[Wait(90, came=False)], supplier_waits=[], said_days=7
    ).after_waiting(90)
    assert lead_time.days_for(0.5) > 90


@pytest.mark.parametrize("days", [-1, MOST_DAYS + 1])
def test_no_such_lead_time(days: int) -> None:
    with pytest.raises(ValueError, match="lead time"):
        stated(days)


def test_nothing_comes_before_it_was_ordered() -> None:
    with pytest.raises(ValueError, match="before it was ordered"):
        Wait(-1, came=True)
    with pytest.raises(ValueError, match="before it was ordered"):
        stated(3).after_waiting(-1)
    with pytest.raises(ValueError, match="between 0 and 1"):
        stated(3).days_for(1)


def test_what_it_rests_on_in_words() -> None:
    assert basis_in_words(part_lines=0, supplier_lines=0, said_days=7) == (
        "Nothing came yet; they say 7 days."
    )
    assert basis_in_words(part_lines=1, supplier_lines=4, said_days=1) == (
        "From 1 earlier order of it and 4 of other parts from them; they say 1 day."
    )


@given(part=WAITS, supplier=WAITS, said=SAID)
def test_few_figures_stand_for_it_and_are_never_shorter(
    part: list[Wait], supplier: list[Wait], said: int
) -> None:
    lead_time = learnt(part_waits=part, supplier_waits=supplier, said_days=said)
    bands = list(lead_time.bands())
    assert sum(weight for _, weight in bands) == pytest.approx(1)
    assert [days for days, _ in bands] == sorted({days for days, _ in bands})
    so_far = 0.0
    for days, weight in bands:
        so_far += weight
        # As likely over by then as the bands say, but for the last one in a hundred.
        assert 1 - lead_time.later_than(days) >= so_far - 0.01 - 1e-9


@given(part=WAITS, supplier=WAITS, said=SAID)
def test_lines_and_how_many_there_are_of_each_say_the_same(
    part: list[Wait], supplier: list[Wait], said: int
) -> None:
    assert learnt(part_waits=part, supplier_waits=supplier, said_days=said) == learnt(
        part_waits=Counter(part), supplier_waits=Counter(supplier), said_days=said
    )


def test_what_it_took_in_words() -> None:
    known = {"supplier": "Harbor", "said_days": 10}
    assert took_in_words(**known, own_days=[19, 12], supplier_days=[3, 12, 19]) == (
        "Harbor says 10 days; 2 order lines of it took 12 to 19 days"
    )
    assert took_in_words(**known, own_days=[], supplier_days=[4]) == (
        "Harbor says 10 days; none of it came from them yet, "
        "1 order line of other parts took 4 days"
    )
    assert took_in_words(supplier="Harbor", said_days=1, own_days=[], supplier_days=[]) == (
        "Harbor says 1 day; nothing came from them yet"
    )
