"""How many whole kits lie in loose parts: the functions against every way there is."""

from collections import Counter
from collections.abc import Iterator, Mapping
from itertools import product
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from inventory.whole_kits import MOST_KITS, Lines, Taken, Way, how_many, picked, short_of

PARTS = "abcd"


def one(part: str, steps: int = 1) -> tuple[Way, ...]:
    return (Way((part,), steps),)


def uses_of(way: Way, stock: Mapping[Any, int]) -> Iterator[Counter[Any]]:
    """Every mixture of its parts by which a way fills a line once."""
    ranges = [range(min(way.quantity_steps, stock.get(part, 0)) + 1) for part in way.parts]
    for steps in product(*ranges):
        if sum(steps) == way.quantity_steps:
            yield Counter(dict(zip(way.parts, steps, strict=True)))


def enumerated(kit: str, recipes: Mapping[Any, Lines], stock: Mapping[Any, int]) -> int:
    """The most kits that any order of making anything at all comes to."""
    seen: dict[tuple[tuple[Any, int], ...], int] = {}

    def most(left: Counter[Any], within: tuple[str, ...]) -> int:
        key = tuple(sorted((+left).items()))
        if key not in seen:
            seen[key] = max(
                (
                    (each == kit) + most(after, within)
                    for each in within
                    for after in made_once(each, left)
                ),
                default=0,
            )
        return seen[key]

    def made_once(each: str, left: Counter[Any]) -> Iterator[Counter[Any]]:
        for ways in product(*recipes[each]):
            for uses in product(*(list(uses_of(way, left)) for way in ways)):
                total: Counter[Any] = sum(uses, Counter())
                if all(left[part] >= steps for part, steps in total.items()):
                    after = Counter(left)
                    after.subtract(total)
                    # The kit asked for is counted and gone; another one lies there to be used.
                    if each != kit:
                        after[each] += 1
                    yield after

    return most(Counter(dict(stock)), tuple(recipes))


def lines_of(parts: str, *, most: int = 3) -> st.SearchStrategy[Lines]:
    part_chains = st.lists(st.sampled_from(parts), min_size=1, max_size=2, unique=True)
    ways = st.builds(lambda chain, steps: Way(tuple(chain), steps), part_chains, st.integers(1, 3))
    line = st.lists(ways, min_size=1, max_size=2).map(tuple)
    return st.lists(line, min_size=1, max_size=most).map(tuple)


STOCK = st.fixed_dictionaries({part: st.integers(0, 5) for part in PARTS})


@settings(deadline=None, max_examples=150)
@given(lines_of(PARTS), STOCK)
def test_as_many_as_every_way_of_filling_the_lines_comes_to(
    lines: Lines, stock: dict[str, int]
) -> None:
    recipes = {"kit": lines}
    number = how_many("kit", recipes, stock)
    assert number == enumerated("kit", recipes, stock)
    assert picked(lines, stock, number + 1) is None
    if number:
        taken = picked(lines, stock, number)
        assert taken is not None
        used: Counter[Any] = Counter()
        for each in taken:
            used[each.part] += each.quantity_steps
        assert all(used[part] <= stock[part] for part in used)
        for index, line in enumerate(lines):
            assert fills(taken, index, line, number)


def fills(taken: list[Taken], index: int, line: tuple[Way, ...], number: int) -> bool:
    """Whether what was taken for a line can be shared among its ways, so often in all."""
    for_line: Counter[Any] = Counter()
    for each in taken:
        if each.line == index:
            for_line[each.part] += each.quantity_steps
    total = sum(for_line.values())
    for times in product(range(number + 1), repeat=len(line)):
        if sum(times) != number:
            continue
        wanted = sum(n * way.quantity_steps for n, way in zip(times, line, strict=True))
        named = {part for n, way in zip(times, line, strict=True) if n for part in way.parts}
        if wanted == total and named >= set(for_line):
            return True
    return False


@settings(deadline=None, max_examples=60)
@given(lines_of("abk", most=2), lines_of("ab", most=2), st.data())
def test_kits_inside_are_taken_whole_or_made(outer: Lines, inner: Lines, data: Any) -> None:
    stock = data.draw(st.fixed_dictionaries({part: st.integers(0, 4) for part in "abk"}))
    recipes = {"kit": outer, "k": inner}
    assert how_many("kit", recipes, stock) == enumerated("kit", recipes, stock)


@settings(deadline=None, max_examples=80)
@given(lines_of(PARTS), STOCK)
def test_with_what_is_short_one_more_can_be_made_and_with_less_it_cannot(
    lines: Lines, stock: dict[str, int]
) -> None:
    recipes = {"kit": lines}
    number = how_many("kit", recipes, stock)
    assert not number or short_of("kit", recipes, stock, number) == {}
    short = short_of("kit", recipes, stock, number + 1)
    assert short
    assert set(short) <= {line[0].parts[-1] for line in lines}
    bought = Counter(stock) + Counter(short)
    assert how_many("kit", recipes, bought) >= number + 1
    for part in short:
        less = Counter(bought)
        less[part] -= 1
        assert how_many("kit", recipes, less) <= number


def test_what_is_left_of_the_old_goes_first_then_its_successor_then_an_alternate() -> None:
    lines: Lines = ((Way(("old", "new"), 2), Way(("other",), 3)),)
    stock = {"old": 1, "new": 2, "other": 7}
    taken = picked(lines, stock, 2)
    assert taken is not None
    assert [(each.part, each.quantity_steps) for each in taken] == [
        ("old", 1),
        ("new", 1),
        ("other", 3),
    ]
    assert how_many("kit", {"kit": lines}, stock) == 3
    assert short_of("kit", {"kit": lines}, stock, 4) == {"new": 1}


def test_a_shared_alternate_goes_where_it_is_needed() -> None:
    # The first line would take the only x that the second cannot do without.
    lines: Lines = ((Way(("x",), 1), Way(("a",), 1)), one("x"))
    taken = picked(lines, {"x": 1, "a": 1}, 1)
    assert taken is not None
    assert {(each.line, each.part) for each in taken} == {(0, "a"), (1, "x")}


def test_a_kit_inside_is_short_of_its_own_parts() -> None:
    recipes: dict[Any, Lines] = {"kit": (one("k", 2), one("a")), "k": (one("ring", 4),)}
    assert how_many("kit", recipes, {"k": 1, "a": 9, "ring": 15}) == 2
    assert short_of("kit", recipes, {"k": 1, "a": 9, "ring": 15}, 3) == {"ring": 5}


def test_plenty_is_plenty_and_nothing_is_nothing() -> None:
    assert how_many("kit", {"kit": (one("a"),)}, {"a": 10**9}) == MOST_KITS
    assert how_many("kit", {"kit": ()}, {"a": 1}) == 0
    with pytest.raises(ValueError, match="one kit or more"):
        short_of("kit", {"kit": ()}, {}, 1)
    with pytest.raises(ValueError, match="lines"):
        picked((), {}, 1)
    with pytest.raises(ValueError, match="above zero"):
        Way(("a",), 0)
