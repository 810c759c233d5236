"""Ours and the floor, turn by turn, and what comes of it."""

import gc
import statistics
import sys
import time
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Final

SQLITE: Final = "sqlite"
POSTGRESQL: Final = "postgresql"


class WrongAnswer(AssertionError):
    """Something was fast, and wrong."""


@dataclass(frozen=True, slots=True)
class Options:
    """How a run is asked for.

    rounds: how often ours and the floor take turns. quick: the smallest sizes, for correctness.
    """

    rounds: int
    quick: bool


@dataclass(frozen=True, slots=True)
class Result:
    """One benchmark at one size.

    database: "sqlite", "postgresql", or "none" where nothing is kept.
    floor_s, ours_s: medians over interleaved rounds. [s]
    goal: what ours / floor should not exceed. [1]
    of: what was timed, where it is not the whole; sizes grow within the same.
    """

    name: str
    database: str
    size: str
    floor_s: float
    ours_s: float
    goal: float
    of: str = ""

    @property
    def shown_size(self) -> str:
        return f"{self.size}, {self.of}" if self.of else self.size

    @property
    def ratio(self) -> float:
        return self.ours_s / self.floor_s

    @property
    def is_met(self) -> bool:
        return self.ratio <= self.goal

    def as_json(self) -> dict[str, Any]:
        return {
            "name": self.name,
            "database": self.database,
            "size": self.shown_size,
            "floor_s": round(self.floor_s, 9),
            "ours_s": round(self.ours_s, 9),
            "ratio": round(self.ratio, 4),
            "goal": self.goal,
        }


def take_turns(
    ours: Callable[[int], object],
    floor: Callable[[int], object],
    *,
    rounds: int,
    warm: int = 2,
    before: Callable[[int], object] = lambda number: None,
) -> tuple[float, float]:
    """Return the median times of the floor and of ours. [s]

    Each is called with the number of the round, from 0; the first `warm` rounds do not count. Who
    begins changes from round to round, so that a slow spell of the machine falls on both.
    before: called in each round first, and not counted.
    """
    times: dict[Callable[[int], object], list[float]] = {ours: [], floor: []}
    gc.collect()
    gc.disable()
    try:
        for number in range(warm + rounds):
            before(number)
            pair = (ours, floor) if number % 2 else (floor, ours)
            for each in pair:
                begins = time.perf_counter()
                each(number)
                times[each].append(time.perf_counter() - begins)
    finally:
        gc.enable()
    return statistics.median(times[floor][warm:]), statistics.median(times[ours][warm:])


def must(holds: object, what: str) -> None:
    """Raise WrongAnswer with these words where something does not hold."""
    if not holds:
        raise WrongAnswer(what)


def say(text: str) -> None:
    """Tell whoever waits; the results alone go to the standard output."""
    print(text, file=sys.stderr, flush=True)
