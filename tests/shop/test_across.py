"""Which checks of the two sides are compared."""

from dataclasses import replace

from shop.across import Measured, pairs


def check(key: int, title: str, side: str = "", *, line: int = 1, work: int = 1, unit: str = "°F"):
    return Measured(key=key, line=line, work=work, side=side, title=title, unit=unit)


def test_two_titles_of_one_line_that_differ_by_the_letter_alone_are_a_pair() -> None:
    checks = [
        check(1, "Outlet temperature A"),
        check(2, "Outlet temperature B"),
        check(3, "B side caught", unit="fl oz"),
        check(4, "A side caught", unit="fl oz"),
    ]
    assert pairs(checks) == {2: 1, 3: 4}


def test_the_same_check_of_the_same_work_on_both_sides_is_a_pair() -> None:
    a, b = check(1, "Static pressure", "A", line=1), check(2, "static pressure", "B", line=2)
    assert pairs([a, b]) == {2: 1}


def test_what_may_be_something_else_is_no_pair() -> None:
    assert not pairs([check(1, "Pressure A", unit="psi"), check(2, "Pressure B", unit="bar")])
    assert not pairs([check(1, "Pressure A minus B"), check(2, "Pressure B minus A")])
    assert not pairs([check(1, "Outlet A"), check(2, "Outlet B", line=2)])
    assert not pairs([check(1, "Outlet A"), check(2, "Inlet B")])
    assert not pairs([check(1, "Static", "A", work=1), check(2, "Static", "B", work=2)])
    assert not pairs([check(1, "Static", "", line=1), check(2, "Static", "", line=2)])
    # Which of the two on side A is meant, nobody can say.
    twice = [check(1, "Static", "A"), check(2, "Static", "A", line=2)]
    assert not pairs([*twice, check(3, "Static", "B", line=3)])


def test_what_compares_two_things_already_is_no_pair() -> None:
    title = "Difference, percent of the mean"
    assert not pairs([check(1, title, "A", unit="%"), check(2, title, "B", line=2, unit="%")])
    title = "Sensor minus test probe"
    both = [check(1, title, "A"), check(2, title, "B", line=2)]
    assert pairs(both) == {2: 1}
    assert not pairs([replace(each, unit="°F difference") for each in both])
