"""How long orders take to come: learnt from those that came and those that are still late.

An order line is a pair of days. What came says how long it took; what is still open says that it
takes longer than it has waited (censored on the right). Chances of 1, 2, 3, … days are estimated
by a discrete Kaplan–Meier product: for each day, the share of the lines still out that came on it.

Where a part has few lines, its supplier's other lines speak too, and before those what the
supplier says: each of the three is the prior of the next, with the weight of so many lines.
What a supplier says is taken as a spread about that day (`stated`), not as a promise.

A line that has waited longer than any so far came: the tail decides. After the last day seen,
each further day has the chance of the prior, or `TAIL_CHANCE` where the prior ends too.

Sources: E. L. Kaplan and P. Meier, J. Amer. Statist. Assoc. 53, 1958; prior as a beta process
(N. L. Hjort, Ann. Statist. 18, 1990): the hazard of a day is (c·h0 + came) / (c + out). Both from
memory; the tests check a worked example by hand. The weights are common practice, no source.
"""

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Final

#: What the supplier says weighs as this many lines of the supplier.
SAID_WEIGHT: Final = 3.0
#: What all lines of the supplier say weighs as this many lines of the part.
SUPPLIER_WEIGHT: Final = 4.0
#: A lead time in few figures: chances up to these, each band by its longest day.
BANDS: Final = (0.5, 0.8, 0.95, 0.99)
#: Longest lead time that is told apart. [days]
MOST_DAYS: Final = 730
#: Beyond all that was seen or said, the chance that it comes on the next day if not before.
TAIL_CHANCE: Final = 0.1
#: Spread of what a supplier says: most within a third about the day, at least two days.
_SAID_SPREAD: Final = 1 / 3
_LEAST_SPREAD_DAYS: Final = 2


@dataclass(frozen=True, slots=True)
class Wait:
    """One order line. days: from sending to coming, or to today where it is open; >= 0.

    came: False where it is still to come: then it takes longer than `days`.
    """

    days: int
    came: bool

    def __post_init__(self) -> None:
        if self.days < 0:
            raise ValueError("Nothing comes before it was ordered.")


@dataclass(frozen=True)
class LeadTime:
    """How many days an order takes. chances: of 0, 1, 2, … days, each >= 0, sum 1."""

    chances: tuple[float, ...]

    @cached_property
    def mean_days(self) -> float:
        """[days]"""
        return sum(day * chance for day, chance in enumerate(self.chances))

    @cached_property
    def sd_days(self) -> float:
        """Standard deviation. [days]"""
        square = sum(day * day * chance for day, chance in enumerate(self.chances))
        return float(max(square - self.mean_days**2, 0.0) ** 0.5)

    def days_for(self, chance: float) -> int:
        """Return the fewest days in which it comes with this chance. 0 < chance < 1.

        0.5 is the middle; 0.1 and 0.9 say the spread. Raises ValueError outside that range.
        """
        if not 0 < chance < 1:
            raise ValueError("A chance lies between 0 and 1.")
        so_far = 0.0
        for day, each in enumerate(self.chances):
            so_far += each
            if so_far >= chance - 1e-12:
                return day
        return len(self.chances) - 1

    def later_than(self, days: int) -> float:
        """Return the chance that it takes more than so many days. [1]"""
        return min(1.0, max(0.0, sum(self.chances[max(0, days + 1) :])))

    def bands(self) -> Iterator[tuple[int, float]]:
        """Yield it in few figures, (days, weight), rising: never shorter than it is, up to 99 %.

        Half of the weight stands for the quicker half, by its longest day, and so on by `BANDS`.
        Days from three weeks up are rounded up to a grid, so that many parts ask for few days.
        Weights add up to 1; equal days come once.
        """
        weights: dict[int, float] = {}
        before = 0.0
        for chance in BANDS:
            share = (1.0 if chance == BANDS[-1] else chance) - before
            day = _on_the_grid(self.days_for(chance))
            weights[day] = weights.get(day, 0.0) + share
            before = chance
        yield from sorted(weights.items())

    def after_waiting(self, days: int) -> "LeadTime":
        """Return how long it takes in all when it has not come within so many days, >= 0.

        A line that is ten days late cannot come on day three: those chances are 0. Where none is
        left, it goes on by the tail.
        """
        if days < 0:
            raise ValueError("Nothing comes before it was ordered.")
        left = sum(self.chances[days + 1 :])
        if left <= 1e-12:
            hazards = [0.0] * (days + 1)
        else:
            hazards = [0.0] * (days + 1) + _hazards(self.chances)[days + 1 :]
        return _from_hazards(hazards)


def _on_the_grid(days: int) -> int:
    every = 1 if days <= 21 else 3 if days <= 60 else 7
    return -(-days // every) * every


def stated(lead_time_days: int) -> LeadTime:
    """Return what a supplier's word is worth: a triangle about the day. lead_time_days: >= 0.

    It reaches a third of the time to either side, two days at least, never below day 0.
    """
    if not 0 <= lead_time_days <= MOST_DAYS:
        raise ValueError(f"A lead time is 0 to {MOST_DAYS} days.")
    spread = max(round(lead_time_days * _SAID_SPREAD), _LEAST_SPREAD_DAYS)
    weights = [
        max(spread + 1 - abs(day - lead_time_days), 0)
        for day in range(min(lead_time_days + spread, MOST_DAYS) + 1)
    ]
    whole = sum(weights)
    return LeadTime(tuple(weight / whole for weight in weights))


def learnt(
    *,
    part_waits: Sequence[Wait] | Mapping[Wait, int],
    supplier_waits: Sequence[Wait] | Mapping[Wait, int],
    said_days: int,
) -> LeadTime:
    """Return how long a part takes: by its own lines, the supplier's others, what they say.

    part_waits: lines of this part from this supplier. supplier_waits: the supplier's other lines,
    without those of the part; either as lines, or as how many there are of each.
    said_days: what the supplier says, 0 to MOST_DAYS. [days]
    """
    of_supplier = _updated(stated(said_days), supplier_waits, weight=SAID_WEIGHT)
    return _updated(of_supplier, part_waits, weight=SUPPLIER_WEIGHT)


def basis_in_words(*, part_lines: int, supplier_lines: int, said_days: int) -> str:
    """Return what a lead time rests on, as a shop says it. Lines that came, each >= 0."""
    said = f"they say {said_days} day{'' if said_days == 1 else 's'}"
    seen = []
    if part_lines:
        seen.append(f"{part_lines} earlier order{'' if part_lines == 1 else 's'} of it")
    if supplier_lines:
        seen.append(f"{supplier_lines} of other parts from them")
    return f"From {' and '.join(seen)}; {said}." if seen else f"Nothing came yet; {said}."


def took_in_words(
    *, supplier: str, said_days: int, own_days: Sequence[int], supplier_days: Sequence[int]
) -> str:
    """Return what a lead time rests on: "Harbor says 10 days; 5 orders of it took 12 to 19".

    own_days, supplier_days: of the lines of the part, and of all lines of the supplier, that came.
    """
    said = f"{supplier} says {_days(said_days)}"
    if own_days:
        return f"{said}; {_took(own_days, 'of it')}"
    if supplier_days:
        return f"{said}; none of it came from them yet, {_took(supplier_days, 'of other parts')}"
    return f"{said}; nothing came from them yet"


def _took(days: Sequence[int], what: str) -> str:
    low, high = min(days), max(days)
    orders = f"{len(days)} order line{'' if len(days) == 1 else 's'} {what} took"
    return f"{orders} {_days(high)}" if low == high else f"{orders} {low} to {_days(high)}"


def _days(days: int) -> str:
    return f"{days} day{'' if days == 1 else 's'}"


def _updated(
    prior: LeadTime, waits: Sequence[Wait] | Mapping[Wait, int], *, weight: float
) -> LeadTime:
    """The prior moved by lines: hazard of a day = (weight·left·h0 + came) / (weight·left + out).

    `left` is what the prior leaves to come by that day, so that it counts as `weight` lines.
    """
    if not waits:
        return prior
    prior_hazards = _hazards(prior.chances)
    last = min(max(*(wait.days for wait in waits), len(prior_hazards) - 1, 0), MOST_DAYS)
    came = [0] * (last + 1)
    gone = [0] * (last + 1)
    out = 0
    for wait, lines in Counter(waits).items():
        day = min(wait.days, last)
        gone[day] += lines
        came[day] += lines if wait.came else 0
        out += lines
    left = 1.0
    hazards = []
    for day in range(last + 1):
        # An open line of today may still come today: it is out until the day is over, and so says
        # that it did not come on any day up to and with this one.
        prior_hazard = prior_hazards[day] if day < len(prior_hazards) else TAIL_CHANCE
        heavy = weight * left
        total = heavy + out
        if day >= len(prior_hazards) - 1 and out > came[day]:
            # The prior was sure that it comes by now, and it did not: the prior does not end here.
            prior_hazard = min(prior_hazard, TAIL_CHANCE)
        hazards.append((heavy * prior_hazard + came[day]) / total if total > 0 else TAIL_CHANCE)
        left *= 1 - prior_hazard
        out -= gone[day]
    return _from_hazards(hazards)


def _hazards(chances: Sequence[float]) -> list[float]:
    """For each day, the chance that it comes on it if it has not come before."""
    hazards = []
    left = 1.0
    for chance in chances:
        hazards.append(min(chance / left, 1.0) if left > 1e-12 else TAIL_CHANCE)
        left -= chance
    return hazards


def _from_hazards(hazards: Sequence[float]) -> LeadTime:
    """Chances from hazards; what is left after the last goes on by the tail, then ends."""
    chances = []
    left = 1.0
    for hazard in hazards:
        chances.append(left * hazard)
        left *= 1 - hazard
    while left > 1e-6 and len(chances) <= len(hazards) + MOST_DAYS:
        chances.append(left * TAIL_CHANCE)
        left *= 1 - TAIL_CHANCE
    whole = sum(chances)
    return LeadTime(tuple(chance / whole for chance in chances))
