"""Which parts carry the value: ABC classes by what their use costs in a year.

Source: the ABC analysis of J. Heizer, B. Render and C. Munson, Operations Management, ch. 12.
Where a class ends is a judgement; the limits here are common practice, no source.
"""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Final

#: Shares of the value of a year's use up to which a part is still A, or still B. [%]
A_UP_TO_PERCENT: Final = 80.0
B_UP_TO_PERCENT: Final = 95.0


@dataclass(frozen=True, slots=True)
class YearlyUse:
    """What is used of a part in a year, >= 0 [units], at a unit cost >= 0 [money / unit]."""

    part: str
    units: float
    unit_cost: float

    @property
    def value(self) -> float:
        """[money / year]"""
        return self.units * self.unit_cost


@dataclass(frozen=True, slots=True)
class Ranked:
    """A part in its place by value.

    value: of a year's use. [money] share_percent: of the value of all parts, 0 to 100.
    before_percent: what the parts ranked before it share, 0 to 100.
    letter: "A", "B" or "C".
    """

    part: str
    value: float
    share_percent: float
    before_percent: float
    letter: str


@dataclass(frozen=True, slots=True)
class Together:
    """Several parts as one line: how many, their value [money], its share of all [%]."""

    parts: int
    value: float
    share_percent: float


def rank(
    uses: Iterable[YearlyUse],
    *,
    a_up_to_percent: float = A_UP_TO_PERCENT,
    b_up_to_percent: float = B_UP_TO_PERCENT,
) -> list[Ranked]:
    """Return parts by the value of a year's use, the highest first; equal ones by name.

    A part belongs to the class in which its share begins, so that the first part is always A,
    however much of the value is its own; a part of no value is always C.
    uses: each part once. 0 < a_up_to_percent <= b_up_to_percent <= 100.
    Raises ValueError outside those ranges.
    """
    if not 0 < a_up_to_percent <= b_up_to_percent <= 100:
        raise ValueError("The limits of the classes rise, between 0 and 100 %.")
    ordered = sorted(uses, key=lambda use: (-use.value, use.part))
    if any(use.units < 0 or use.unit_cost < 0 for use in ordered):
        raise ValueError("Use and cost are not below zero.")
    total = math.fsum(use.value for use in ordered)
    ranked: list[Ranked] = []
    so_far = 0.0
    for use in ordered:
        before = _percent(so_far, total)
        letter = "A" if before < a_up_to_percent else "B" if before < b_up_to_percent else "C"
        ranked.append(
            Ranked(
                part=use.part,
                value=use.value,
                share_percent=_percent(use.value, total),
                before_percent=before,
                letter=letter if use.value > 0 else "C",
            )
        )
        so_far += use.value
    return ranked


def together(ranked: Sequence[Ranked]) -> Together:
    """Return ranked parts as one line: a class, the first few, or all."""
    return Together(
        parts=len(ranked),
        value=math.fsum(each.value for each in ranked),
        share_percent=math.fsum(each.share_percent for each in ranked),
    )


def _percent(value: float, total: float) -> float:
    return min(100.0, 100.0 * value / total) if total > 0 else 0.0
