"""reorder-advice: reorder points of many parts, beside the same convolution in bare blocked numpy.

Both begin with the same columns, one row for each renewal that may fall due, in no order. The
floor checks nothing, finds no common unit, mixes no lead times, and knows beforehand how far
breakages reach; it gives the reorder points alone.
"""

from collections.abc import Callable
from dataclasses import dataclass
from itertools import pairwise
from typing import Any, Final

import numpy as np
from scipy.special import gammaln

from inventory import replenishment
from inventory.demand import Cases, Thresholds, demand_blocks
from tests.benchmarks.database import Databases
from tests.benchmarks.measure import Options, Result, must, take_turns

NAME: Final = "reorder-advice"
GOAL: Final = 1.2
CHANGED_GOAL: Final = 0.05
SIZES: Final = (500, 5_000)
QUICK_SIZES: Final = (100, 200)
MOST_SERVICES: Final = 200
MOST_OF_A_RIG: Final = 10
#: Breakages of a part are expected up to so often, and counted so far.
MOST_BREAKAGES: Final = 3.0
COUNTED_BREAKAGES: Final = 28
#: One part in so many has changed.
CHANGED_EVERY: Final = 100
#: Parts that the floor convolves at once: the fastest of 16 to 512 where this was written.
FLOOR_BLOCK: Final = 128
CHECKED_ALONE: Final = 25


@dataclass(frozen=True, slots=True)
class World:
    """Parts with what they may be asked for, and a target for each."""

    thresholds: Thresholds
    cases: Cases
    targets: np.ndarray[Any, np.dtype[np.float64]]


Answer = tuple[np.ndarray[Any, Any], np.ndarray[Any, Any]]


def run(options: Options, databases: Databases) -> list[Result]:
    """All parts, then one in a hundred of them. Needs no database."""
    sizes = QUICK_SIZES if options.quick else SIZES
    return [result for parts in sizes for result in measured(options, parts=parts)]


def measured(options: Options, *, parts: int) -> list[Result]:
    """So many parts at once, and those of them that changed beside the floor of all."""
    world = made(parts)
    changed = np.arange(0, parts, CHANGED_EVERY)
    everything: Callable[..., Answer] = lambda _=0: advised(world)  # noqa: E731
    some: Callable[..., Answer] = lambda _=0: advised(only(world, changed))  # noqa: E731
    floor: Callable[..., Answer] = lambda _=0: bare(world)  # noqa: E731
    check(everything(), floor(), some(), world, changed)
    size = f"{parts:,} parts"
    rounds = max(1, options.rounds // 4)
    results = []
    for ours, goal, of in (
        (everything, GOAL, ""),
        (some, CHANGED_GOAL, "1 % changed"),
    ):
        floor_s, ours_s = take_turns(ours, floor, rounds=rounds)
        results.append(Result(NAME, "none", size, floor_s, ours_s, goal, of))
    return results


def made(parts: int, *, seed: int = 7) -> World:
    """Parts of 1 to `MOST_SERVICES` services, on rigs of 1 to `MOST_OF_A_RIG` each."""
    rng = np.random.default_rng(seed)
    services = rng.integers(1, MOST_SERVICES + 1, parts)
    case = np.repeat(np.arange(parts), services)
    # A new rig begins with the odds of one in the mean number of services of a rig.
    place = rng.integers(0, np.maximum(1, services // ((MOST_OF_A_RIG + 1) // 2))[case])
    shuffled = rng.permutation(len(case))
    ones = np.ones(parts)
    return World(
        Thresholds(
            case=case[shuffled],
            rig=place[shuffled],
            chance=rng.beta(0.4, 0.8, len(case)),
            quantity_steps=rng.choice([1, 1, 1, 2, 3], len(case)),
        ),
        Cases(
            part=np.arange(parts),
            weight=ones,
            breakage_mean=rng.uniform(0.01, MOST_BREAKAGES, parts),
            breakage_shape=np.inf * ones,
            breakage_steps=np.ones(parts, dtype=np.int64),
        ),
        targets=rng.choice([0.9, 0.95, 0.98, 0.99], parts),
    )


def only(world: World, parts: np.ndarray[Any, Any]) -> World:
    """Some of the parts, numbered anew."""
    number = np.full(len(world.targets), -1)
    number[parts] = np.arange(len(parts))
    rows = world.thresholds
    kept = np.flatnonzero(number[rows.case] >= 0)
    cases = world.cases
    return World(
        Thresholds(
            number[rows.case[kept]], rows.rig[kept], rows.chance[kept], rows.quantity_steps[kept]
        ),
        Cases(
            np.arange(len(parts)),
            cases.weight[parts],
            cases.breakage_mean[parts],
            cases.breakage_shape[parts],
            cases.breakage_steps[parts],
        ),
        world.targets[parts],
    )


def advised(world: World) -> Answer:
    """Reorder points and what they reach, by part."""
    steps = np.empty(len(world.targets), dtype=np.int64)
    reached = np.empty(len(world.targets))
    blocks = demand_blocks(world.thresholds, world.cases)
    for levels in replenishment.levels(blocks, targets=world.targets):
        steps[levels.part] = levels.steps
        reached[levels.part] = levels.reached
    return steps, reached


def bare(world: World) -> Answer:
    """The same by the shortest way that numpy has."""
    rows = world.thresholds
    order = np.lexsort((-rows.chance, rows.rig, rows.case))
    case, rig = rows.case[order], rows.rig[order]
    chance, quantity = rows.chance[order], rows.quantity_steps[order]
    begins = np.concatenate(([True], (case[1:] != case[:-1]) | (rig[1:] != rig[:-1])))
    first = np.flatnonzero(begins)
    of_rig = np.cumsum(begins) - 1
    total = np.cumsum(quantity)
    value = total - (total[first] - quantity[first])[of_rig]
    following = np.append(chance[1:], 0.0)
    following[first[1:] - 1] = 0.0
    just = chance - following
    rig_case, none = case[first], 1.0 - chance[first]
    span = value[np.append(first[1:], len(case)) - 1]
    parts = len(world.targets)
    of_part = np.searchsorted(rig_case, np.arange(parts + 1))
    by_span = np.lexsort((-span, rig_case))
    turn = np.empty(len(first), dtype=np.int64)
    turn[by_span] = np.arange(len(first)) - of_part[rig_case]
    first_row = np.searchsorted(case, np.arange(parts + 1))
    by_size = np.argsort(np.bincount(case, quantity, minlength=parts), kind="stable")
    count = np.arange(COUNTED_BREAKAGES)[:, None]
    steps, reached = np.empty(parts, dtype=np.int64), np.empty(parts)
    for at in range(0, parts, FLOOR_BLOCK):
        chosen = by_size[at : at + FLOOR_BLOCK]
        mine = np.concatenate([np.arange(first_row[p], first_row[p + 1]) for p in chosen])
        rigs = np.concatenate([np.arange(of_part[p], of_part[p + 1]) for p in chosen])
        column = np.empty(parts, dtype=np.int64)
        column[chosen] = np.arange(len(chosen))
        high = np.zeros(turn[rigs].max() + 1, dtype=np.int64)
        np.maximum.at(high, turn[rigs], span[rigs])
        top = np.concatenate(([0], np.cumsum(high + 1)))
        table = np.zeros((top[-1], len(chosen)))
        table[top[:-1]] = 1.0
        table[top[turn[rigs]], column[rig_case[rigs]]] = none[rigs]
        table[top[turn[of_rig[mine]]] + value[mine], column[case[mine]]] = just[mine]
        mean = world.cases.breakage_mean[chosen]
        chances = np.exp(count * np.log(mean) - mean - gammaln(count + 1.0))
        for low, end in pairwise(top.tolist()):
            longer = np.zeros((len(chances) + end - low - 1, len(chosen)))
            product = np.empty_like(chances)
            for more in range(end - low):
                np.multiply(chances, table[low + more], out=product)
                longer[more : more + len(chances)] += product
            chances = longer
        within = np.cumsum(chances, axis=0)
        points = (within < world.targets[chosen] - replenishment.TIE).sum(axis=0)
        steps[chosen] = points
        reached[chosen] = within[points, np.arange(len(chosen))]
    return steps, reached


def check(
    ours: Answer, floor: Answer, some: Answer, world: World, changed: np.ndarray[Any, Any]
) -> None:
    """Ours and the floor agree, the changed alike, and a few parts one rig after the other."""
    must((ours[0] == floor[0]).all(), "ours and the floor give other reorder points")
    must(np.allclose(ours[1], floor[1], rtol=0, atol=1e-9), "they promise other chances")
    must((some[0] == ours[0][changed]).all(), "changed parts differ when reckoned by themselves")
    for part in range(min(CHECKED_ALONE, len(world.targets))):
        steps = _alone(world, part)
        must(ours[0][part] == steps, f"part {part} should be ordered at {steps}, {ours[0][part]}")


def _alone(world: World, part: int) -> int:
    """The reorder point of one part, by numpy's own convolution."""
    rows, mean = world.thresholds, world.cases.breakage_mean[part]
    count = np.arange(COUNTED_BREAKAGES)
    chances = np.exp(count * np.log(mean) - mean - gammaln(count + 1.0))
    mine = rows.case == part
    for rig in np.unique(rows.rig[mine]):
        here = mine & (rows.rig == rig)
        limits = np.concatenate(([0.0], np.sort(rows.chance[here]), [1.0]))
        of_rig = np.zeros(int(rows.quantity_steps[here].sum()) + 1)
        for low, high in pairwise(limits.tolist()):
            due = here & (rows.chance > (low + high) / 2)
            of_rig[rows.quantity_steps[due].sum()] += high - low
        chances = np.convolve(chances, of_rig)
    within = np.cumsum(chances)
    return int(np.argmax(within >= world.targets[part] - replenishment.TIE))
