"""How long a supplier's deliveries took, as a shop says it. Days in, words out.

Said of what came, one delivery as good as another: what is learnt for advice, with open orders and
what the supplier says weighed in, is in `inventory.lead_times`.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil
from typing import Final

#: Older deliveries than these say little about the supplier of today.
LAST: Final = 20
#: Fewer deliveries than these are said by their range: nine of ten of three means nothing.
FEW: Final = 5


@dataclass(frozen=True, slots=True)
class Observed:
    """What the last deliveries took. [days]

    deliveries: how many, > 0. middle: half of them came within it; nine_of_ten: nine of ten did.
    least, most: the quickest and the slowest.
    """

    deliveries: int
    middle: int
    nine_of_ten: int
    least: int
    most: int


def observed(days: Sequence[int]) -> Observed | None:
    """Return what the last deliveries took, of `LAST` at most; None before the first.

    days: of each delivery, in the order they were asked for, each >= 0. A share of them came
    within the day by which at least that share had come (inverse of the empirical distribution,
    definition 1 of Hyndman and Fan, The American Statistician 50, 1996, from memory).
    """
    last = sorted(days[-LAST:])
    if not last:
        return None
    number = len(last)
    return Observed(
        deliveries=number,
        middle=last[ceil(number * 0.5) - 1],
        # In whole numbers, so that nine of ten of ten is the ninth whatever a float makes of it.
        nine_of_ten=last[-(-number * 9 // 10) - 1],
        least=last[0],
        most=last[-1],
    )


def took_in_words(found: Observed | None) -> str:
    """Return what they took: "the last 7 deliveries took 12 days, nine of ten within 19"."""
    if found is None:
        return "nothing came yet"
    if found.deliveries == 1:
        return f"the one delivery took {_days(found.most)}"
    subject = f"the last {found.deliveries} deliveries took"
    if found.least == found.most:
        return f"{subject} {_days(found.most)} each"
    if found.deliveries < FEW:
        return f"{subject} {found.least} to {_days(found.most)}"
    return f"{subject} {_days(found.middle)}, nine of ten within {found.nine_of_ten}"


def lead_time_in_words(said_days: int, found: Observed | None) -> str:
    """Return what they say and what it took. said_days: >= 0."""
    return f"They say {_days(said_days)}; {took_in_words(found)}."


def _days(number: int) -> str:
    return f"{number} day{'' if number == 1 else 's'}"
