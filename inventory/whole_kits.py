"""How many whole kits lie in loose parts, what one more would need, and which parts to take.

A line of a kit may be filled in several ways: its own part, then its alternates by rank. A way
names parts that do the same, step for step, in the order in which they are used: a part, then what
is bought in its place. One kit's line is filled in one way; two kits may be filled in two. A part
may itself be a kit: whole ones are taken, and more are made from what lies there.

Where lines want the same parts, taking what comes first may leave a later line short though the
parts would do: then a small integer program finds out (scipy's HiGHS), and its answer is checked in
whole steps. Parts are any keys; nothing here knows a database or a clock.
"""

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Final

import numpy as np

#: Whatever names a part: anything that hashes.
Key = Any
#: No count of kits goes beyond this: it is as good as "plenty".
MOST_KITS: Final = 9_999


@dataclass(frozen=True, slots=True)
class Way:
    """So much, > 0 [steps], of these parts together fills a line once; the first is used first."""

    parts: tuple[Key, ...]
    quantity_steps: int

    def __post_init__(self) -> None:
        if not self.parts or self.quantity_steps <= 0:
            raise ValueError("A way names a part and a quantity above zero.")


#: The ways to fill one line, the preferred one first; and the lines of one kit.
Line = tuple[Way, ...]
Lines = tuple[Line, ...]


def how_many(kit: Key, recipes: Mapping[Key, Lines], stock: Mapping[Key, int]) -> int:
    """Return how many kits the stock would make, at most MOST_KITS. Whole ones are not counted.

    recipes: the lines of the kit and of every kit that may be made for it, by key; nothing may
    contain itself. stock: what may be taken, >= 0, missing keys are 0. [steps]
    0 for a kit without lines.
    """
    lines = recipes.get(kit, ())
    if not lines:
        return 0
    if _stand_apart(lines, recipes):
        return min(MOST_KITS, *(sum(_fills(way, stock) for way in line) for line in lines))
    program = _Program(kit, recipes, stock)
    return program.solve(maximize=True).number


def short_of(
    kit: Key, recipes: Mapping[Key, Lines], stock: Mapping[Key, int], number: int
) -> dict[Key, int]:
    """Return what is missing to make so many kits, by what is bought of each line. [steps]

    Of the first way of a line, the last part is the one that is bought; where that is a kit with
    lines of its own, its lines are. Empty when nothing is missing. Arguments as for `how_many`;
    number: 1 to MOST_KITS + 1.
    """
    if not recipes.get(kit) or not 0 < number <= MOST_KITS + 1:
        raise ValueError("Ask for one kit or more, of a kit with lines.")
    lines = recipes[kit]
    if not _stand_apart(lines, recipes):
        return _Program(kit, recipes, stock, number=number, buying=True).solve().bought
    short: dict[Key, int] = {}
    for line in lines:
        first = line[0]
        if (lacking := number - sum(_fills(way, stock) for way in line)) > 0:
            begun = sum(stock.get(part, 0) for part in first.parts) % first.quantity_steps
            short[first.parts[-1]] = lacking * first.quantity_steps - begun
    return short


@dataclass(frozen=True, slots=True)
class Taken:
    """So much of a part, > 0 [steps], for the line of this index."""

    line: int
    part: Key
    quantity_steps: int


def picked(lines: Lines, stock: Mapping[Key, int], number: int) -> list[Taken] | None:
    """Return what to take to make so many kits, >= 1, or None where it is not there.

    Line by line, way by way, part by part in their order; where that leaves a later line short,
    with as few later ways as can be. Kits inside are taken whole. lines: one or more.
    """
    if not lines or number <= 0:
        raise ValueError("A kit to make has lines, and there is one or more of it.")
    if (taken := _in_order(lines, stock, number)) is not None:
        return taken
    kit = object()
    return _Program(kit, {kit: lines}, stock, number=number).solve().taken


def _fills(way: Way, stock: Mapping[Key, int]) -> int:
    return sum(stock.get(part, 0) for part in way.parts) // way.quantity_steps


def _stand_apart(lines: Lines, recipes: Mapping[Key, Lines]) -> bool:
    """Whether each part stands in one way only, and none of them can be made."""
    parts = [part for line in lines for way in line for part in way.parts]
    return len(set(parts)) == len(parts) and not any(recipes.get(part) for part in parts)


def _in_order(lines: Lines, stock: Mapping[Key, int], number: int) -> list[Taken] | None:
    left = Counter(dict(stock))
    taken: list[Taken] = []
    for index, line in enumerate(lines):
        wanted = number
        for way in line:
            fills = min(wanted, _fills(way, left))
            wanted -= fills
            steps = fills * way.quantity_steps
            for part in way.parts:
                if some := min(steps, left[part]):
                    taken.append(Taken(index, part, some))
                    left[part] -= some
                    steps -= some
        if wanted:
            return None
    return taken


@dataclass(frozen=True, slots=True)
class _Answer:
    number: int
    bought: dict[Key, int] = field(default_factory=dict)
    taken: list[Taken] | None = None


class _Program:
    """Whole numbers: kits made, lines filled in each way, steps of each part, what is bought."""

    def __init__(
        self,
        kit: Key,
        recipes: Mapping[Key, Lines],
        stock: Mapping[Key, int],
        *,
        number: int | None = None,
        buying: bool = False,
    ) -> None:
        self.kit = kit
        self.stock = stock
        self.low: list[float] = []
        self.high: list[float] = []
        self.cost: list[float] = []
        self.rows: list[tuple[dict[int, int], float, float]] = []
        self.made: dict[Key, int] = {}
        self.bought: dict[Key, int] = {}
        self.steps: list[tuple[int, Key, int]] = []  # of the kit asked for: line, part, column
        used: dict[Key, list[int]] = {}
        kits = list(_kits_within(kit, recipes))
        for each in kits:
            fixed = number if each == kit else None
            self.made[each] = self._column(fixed or 0, MOST_KITS if fixed is None else fixed)
        for each in kits:
            for index, line in enumerate(recipes[each]):
                self._line(each, index, line, used)
            if buying:
                self._buy(recipes[each], recipes)
        for part, columns in used.items():
            row = dict.fromkeys(columns, 1)
            for source in (self.made, self.bought):
                # The kit asked for is what is wanted: none of it may go into itself.
                if part in source and not (source is self.made and part == kit):
                    row[source[part]] = -1
            self.rows.append((row, -np.inf, stock.get(part, 0)))

    def _column(self, low: float, high: float, cost: float = 0.0) -> int:
        self.low.append(low)
        self.high.append(high)
        self.cost.append(cost)
        return len(self.low) - 1

    def _line(self, kit: Key, index: int, line: Line, used: dict[Key, list[int]]) -> None:
        filled = {self.made[kit]: -1}
        for rank, way in enumerate(line):
            fills = self._column(0, np.inf, cost=float(rank))
            filled[fills] = 1
            row = {fills: -way.quantity_steps}
            for place, part in enumerate(way.parts):
                # What is used first costs nothing; the cost of a later part never outweighs a way.
                steps = self._column(
                    0, np.inf, cost=place / (2 * len(way.parts) * way.quantity_steps)
                )
                row[steps] = 1
                used.setdefault(part, []).append(steps)
                if kit == self.kit:
                    self.steps.append((index, part, steps))
            self.rows.append((row, 0, 0))
        self.rows.append((filled, 0, 0))

    def _buy(self, lines: Lines, recipes: Mapping[Key, Lines]) -> None:
        for line in lines:
            part = line[0].parts[-1]
            if part not in self.bought and not recipes.get(part):
                self.bought[part] = self._column(0, np.inf)

    def solve(self, *, maximize: bool = False) -> _Answer:
        if maximize:
            cost = np.zeros(len(self.cost))
            cost[self.made[self.kit]] = -1
        elif self.bought:
            cost = np.zeros(len(self.cost))
            cost[list(self.bought.values())] = 1
        else:
            cost = np.array(self.cost)
        matrix = np.zeros((len(self.rows), len(self.low)))
        for index, (row, _, _) in enumerate(self.rows):
            for column, factor in row.items():
                matrix[index, column] += factor
        from scipy.optimize import LinearConstraint, milp

        result = milp(
            cost,
            integrality=np.ones(len(self.low)),
            bounds=(np.array(self.low), np.array(self.high)),
            constraints=LinearConstraint(
                matrix, [low for _, low, _ in self.rows], [high for _, _, high in self.rows]
            ),
        )
        if result.x is None:
            return _Answer(number=0)
        values = [round(float(value)) for value in result.x]
        self._check(values)
        return _Answer(
            number=values[self.made[self.kit]],
            bought={part: values[at] for part, at in self.bought.items() if values[at]},
            taken=[Taken(line, part, values[at]) for line, part, at in self.steps if values[at]],
        )

    def _check(self, values: Sequence[int]) -> None:
        """Whole steps, added up without a rounding: an answer that does not hold is no answer."""
        for row, low, high in self.rows:
            total = sum(factor * values[column] for column, factor in row.items())
            if not low <= total <= high:
                raise ArithmeticError("The kits found do not add up.")


def _kits_within(kit: Key, recipes: Mapping[Key, Lines]) -> Iterator[Key]:
    """The kit, then every kit that may be made for it, each once."""
    waiting, seen = [kit], {kit}
    while waiting:
        each = waiting.pop(0)
        yield each
        for line in recipes[each]:
            for way in line:
                for part in way.parts:
                    if recipes.get(part) and part not in seen:
                        seen.add(part)
                        waiting.append(part)
