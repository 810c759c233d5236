"""How long a service takes in this shop, learnt from the sheets on which it was done. No Django,
no clock: numbers in, numbers and words out.

A sheet has one figure of work for all that was done on it. It is shared out by what was planned:
each service is taken to have been slower or faster by the same ratio, since nobody wrote down
more. Out of the last dozen such figures the middle one counts, so that a day on which a hose had
to be dug out of a wall moves nothing, and it is drawn towards what the service asks for as long as
there are few: planned = (4 · asked + n · median) / (4 + n), the figure asked for weighing as much
as four doings. Shrinking a mean towards a prior this way is the posterior mean of a normal with a
normal prior (any textbook of statistics); with the median in place of the mean it is a
compromise of ours, robust and easy to check by hand. The weight of four is common practice of
ours, no source.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from statistics import mean, median
from typing import Final

#: So many doings are looked back upon.
LAST: Final = 12
#: What a service asks for weighs as much as so many doings.
PRIOR_WEIGHT: Final = 4
#: Without a figure asked for, fewer doings than this say nothing yet.
FEWEST_ALONE: Final = 3


def shares(minutes: float, planned: Sequence[int]) -> list[float]:
    """Share the work of a sheet over its services, by their planned minutes. [min]

    minutes >= 0: of the whole sheet. planned: of each service, >= 0; one of which nothing is said
    counts as the mean of the others, and where nothing is said of any, all count alike.
    The shares add up to the whole. Raises ValueError for less than no time.
    """
    if minutes < 0 or any(each < 0 for each in planned):
        raise ValueError("work takes no less than no time")
    said = [each for each in planned if each]
    usual = mean(said) if said else 1.0
    weights = [each or usual for each in planned]
    whole = sum(weights)
    return [minutes * weight / whole for weight in weights]


def learnt(took: Sequence[float], *, asked: int) -> int | None:
    """How long to plan for a service; None while nothing says more than what it asks for. [min]

    took: of the last doings, in any order; those of no time at all were not written down and are
    left out. asked: by its version, 0 where it does not say.
    Lies between the median and what is asked; rounded to the whole minute, at least one.
    """
    known = [each for each in took if each > 0]
    if not known or (not asked and len(known) < FEWEST_ALONE):
        return None
    prior = PRIOR_WEIGHT if asked else 0
    planned = (prior * asked + len(known) * median(known)) / (prior + len(known))
    return max(1, int(planned + 0.5))


@dataclass(frozen=True, slots=True)
class Told:
    """What the last doings of a service say, in figures.

    took: minutes of each that was written down. found: in how many doings work was found. times:
    how many doings there are, written down or not.
    """

    took: tuple[float, ...]
    found: int
    times: int


def told_text(told: Told) -> str:
    """ "the last 12 took 70 to 130 min, mostly 95; found work in 3 of 12"; "not done yet"."""
    if not told.times:
        return "not done on a signed sheet yet"
    found = f"found work in {told.found} of {told.times}"
    if told.times == 1:
        found = "found work on it" if told.found else "nothing found"
    if not told.took:
        return f"no time was written down; {found}"
    least, most = round(min(told.took)), round(max(told.took))
    middle = round(median(told.took))
    if len(told.took) == 1:
        return f"the last one took {least} min; {found}"
    if least == most:
        return f"the last {len(told.took)} took {least} min; {found}"
    return f"the last {len(told.took)} took {least} to {most} min, mostly {middle}; {found}"
