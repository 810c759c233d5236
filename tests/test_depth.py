"""Under CI every search goes its whole way; elsewhere it is a shorter one, never none."""

from tests.depth import share_of


def test_under_ci_nothing_is_left_out() -> None:
    assert share_of(range(7), every=3, in_ci=True) == [0, 1, 2, 3, 4, 5, 6]
    assert share_of(range(7), every=3, in_ci=False) == [0, 3, 6]
    assert share_of(range(1), every=9, in_ci=False) == [0]
