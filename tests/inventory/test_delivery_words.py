"""How long deliveries took, in words."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.delivery_words import LAST, lead_time_in_words, observed

DAYS = st.lists(st.integers(0, 400), min_size=1, max_size=60)


@pytest.mark.parametrize(
    ("days", "said"),
    [
        ([], "They say 10 days; nothing came yet."),
        ([12], "They say 10 days; the one delivery took 12 days."),
        ([9, 14, 11], "They say 10 days; the last 3 deliveries took 9 to 14 days."),
        ([1, 1], "They say 10 days; the last 2 deliveries took 1 day each."),
        (
            [10, 12, 19, 11, 12, 13, 9],
            "They say 10 days; the last 7 deliveries took 12 days, nine of ten within 19.",
        ),
    ],
)
def test_what_they_say_and_what_it_took(days: list[int], said: str) -> None:
    assert lead_time_in_words(10, observed(days)) == said


def test_of_ten_deliveries_nine_came_within_the_ninth() -> None:
    """Worked by hand: sorted 1 to 10, half within 5, nine of ten within 9."""
    found = observed([3, 1, 2, 10, 9, 8, 7, 6, 5, 4])
    assert found is not None
    assert (found.middle, found.nine_of_ten, found.least, found.most) == (5, 9, 1, 10)


@given(days=DAYS)
def test_so_many_of_them_did_come_within_what_is_said(days: list[int]) -> None:
    found = observed(days)
    assert found is not None
    last = days[-LAST:]
    assert found.deliveries == len(last)
    assert 2 * sum(day <= found.middle for day in last) >= len(last)
    assert 10 * sum(day <= found.nine_of_ten for day in last) >= 9 * len(last)
    # And fewer had come a day before.
    assert 2 * sum(day < found.middle for day in last) < len(last)
    assert 10 * sum(day < found.nine_of_ten for day in last) < 9 * len(last)
