"""What is asked about before it is believed. Common practice, no source."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.plausible import TIMES, UNITS, is_far_more

many = st.integers(0, 10**9)
steps_in_a_unit = st.sampled_from([1, 4, 10, 100])


@pytest.mark.parametrize(
    ("quantity", "step", "before", "asked"),
    [
        (100, 1, 0, False),  # a first order of a hundred
        (101, 1, 0, True),
        (101, 1, 11, False),  # not ten times what came before
        (110, 1, 11, False),
        (111, 1, 11, True),
        (10_000, 100, 0, False),  # a hundred gallons in hundredths
        (10_001, 100, 0, True),
    ],
)
def test_by_hand(quantity: int, step: int, before: int, asked: bool) -> None:
    assert is_far_more(quantity, steps_per_unit=step, most_before_steps=before) is asked


@given(many, steps_in_a_unit, many)
def test_what_was_usual_before_is_never_asked_about(before: int, step: int, more: int) -> None:
    assert not is_far_more(before, steps_per_unit=step, most_before_steps=before)
    assert not is_far_more(min(more, UNITS * step), steps_per_unit=step, most_before_steps=0)


@given(many, steps_in_a_unit, many, many)
def test_more_is_never_less_strange_and_a_past_never_more(
    quantity: int, step: int, before: int, more: int
) -> None:
    if is_far_more(quantity, steps_per_unit=step, most_before_steps=before):
        assert is_far_more(quantity + more, steps_per_unit=step, most_before_steps=before)
        assert quantity > TIMES * before
    else:
        assert not is_far_more(quantity, steps_per_unit=step, most_before_steps=before + more)


@pytest.mark.parametrize("wrong", [(-1, 1, 0), (1, 0, 0), (1, 1, -1)])
def test_outside_its_ranges_it_refuses(wrong: tuple[int, int, int]) -> None:
    quantity, step, before = wrong
    with pytest.raises(ValueError, match="0 or more"):
        is_far_more(quantity, steps_per_unit=step, most_before_steps=before)
