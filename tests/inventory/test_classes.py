"""ABC classes: by hand, and for any list. Published figures: forms `abc`, `abc_shares`."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.classes import YearlyUse, rank, together

uses = st.lists(st.tuples(st.integers(0, 500), st.integers(0, 500)), max_size=20).map(
    lambda rows: [YearlyUse(f"part {n:02}", *row) for n, row in enumerate(rows)]
)


def test_classes_by_hand() -> None:
    # 70, 20 and 10 of 100: shares begin at 0, 70 and 90 %.
    found = rank([YearlyUse("seal", 10, 1), YearlyUse("pump", 1, 70), YearlyUse("hose", 2, 10)])
    assert [(each.part, each.letter) for each in found] == [
        ("pump", "A"),
        ("hose", "A"),
        ("seal", "B"),
    ]
    assert [each.share_percent for each in found] == [70, 20, 10]
    narrower = {"a_up_to_percent": 70, "b_up_to_percent": 90}
    uses = [YearlyUse("seal", 10, 1), YearlyUse("pump", 1, 70), YearlyUse("hose", 2, 10)]
    assert [each.letter for each in rank(uses, **narrower)] == ["A", "B", "C"]


@given(uses)
def test_whatever_the_list(given: list[YearlyUse]) -> None:
    found = rank(given)
    assert sorted(each.part for each in found) == [use.part for use in given]
    assert [each.value for each in found] == sorted((use.value for use in given), reverse=True)
    letters = [each.letter for each in found]
    assert letters == sorted(letters)
    assert all(each.letter == "C" for each in found if each.value == 0)
    total = together(found)
    assert total.parts == len(given)
    assert total.value == sum(use.value for use in given)
    if total.value:
        assert letters[0] == "A"
        assert total.share_percent == pytest.approx(100)
    assert rank(list(reversed(given))) == found


def test_what_cannot_be_is_refused() -> None:
    with pytest.raises(ValueError, match="below zero"):
        rank([YearlyUse("seal", -1, 1)])
    with pytest.raises(ValueError, match="limits"):
        rank([], a_up_to_percent=96)
