"""What the drums say was used, against what the counters say.

Formulas: used = left at first + Σ full size of each drum put on − left at last, taking each drum
for empty when the next is put on. A dip is right to about ± a, every value between as likely as
any other, so its standard uncertainty is a/√3 (JCGM 100:2008, 4.3.7; from memory). So is each
change of drum, for what stayed in the old one and how full the new one came. The difference is
given with twice its standard uncertainty, about 95 %.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from typing import Final

#: How well a dip stick tells what is in a drum: common practice, no source. [US gal]
USUAL_ERROR: Final = Decimal(1)
#: Full sizes that are common: a drum, a tote. Common practice, no source. [US gal]
DRUM, TOTE = Decimal(55), Decimal(275)
COVERAGE: Final = 2


@dataclass(frozen=True, slots=True)
class Dip:
    """What was left in the drum of one side, >= 0. [US gal]

    new_drum: full size of the drum put on since the dip before, > 0; None: the same drum still.
    """

    at: datetime
    left: Decimal
    new_drum: Decimal | None = None


@dataclass(frozen=True, slots=True)
class Comparison:
    """Drums against counters over one time.

    drums, counters: what each says was used. [US gal] percent: drums − counters, of the counters;
    None where these counted nothing. uncertainty: of that difference, about 95 %. [US gal]
    at_least: some of what the counters counted was hidden by a reset, so it may be more.
    """

    since: datetime
    until: datetime
    drums: Decimal
    counters: Decimal
    uncertainty: Decimal
    at_least: bool = False

    @property
    def difference(self) -> Decimal:
        return self.drums - self.counters

    @property
    def percent(self) -> Decimal | None:
        return 100 * self.difference / self.counters if self.counters else None

    @property
    def uncertainty_percent(self) -> Decimal | None:
        return 100 * self.uncertainty / self.counters if self.counters else None

    @property
    def is_within(self) -> bool:
        """Whether the two may well be the same: a dip stick tells no better."""
        if self.at_least and self.difference > 0:
            return True
        return abs(self.difference) <= self.uncertainty


def used(dips: Sequence[Dip]) -> Decimal:
    """Return what was used between the first dip and the last. [US gal]

    dips: of one side, two at least, in order of time.
    Below zero when more came back than a new drum explains. Raises ValueError for fewer dips.
    """
    if len(dips) < 2:
        raise ValueError("Two dips at least tell what was used between them.")
    put_on = sum((dip.new_drum or Decimal(0) for dip in dips[1:]), Decimal(0))
    return dips[0].left + put_on - dips[-1].left


def uncertainty(dips: Sequence[Dip], *, error: Decimal, count: Decimal = Decimal(0)) -> Decimal:
    """Return twice the standard uncertainty of drums − counters, about 95 %. [US gal]

    error: half-width a of a dip and of a change of drum, >= 0. [US gal]
    count: what the smallest step of the counters is worth, >= 0: their faces may have been about
        to turn at either end. [US gal]
    """
    if error < 0 or count < 0:
        raise ValueError("An error cannot be below zero.")
    changes = sum(1 for dip in dips[1:] if dip.new_drum is not None)
    # Rectangular: a²/3; a step that is only known to have been reached, (step/2)²/3.
    variance = (2 + changes) * error**2 / 3 + 2 * (count / 2) ** 2 / 3
    return COVERAGE * variance.sqrt()


def compare(
    dips: Sequence[Dip],
    *,
    counters: Decimal,
    error: Decimal = USUAL_ERROR,
    count: Decimal = Decimal(0),
    at_least: bool = False,
) -> Comparison:
    """Return the drums against the counters, from the first dip to the last.

    counters: gallons of that side that were counted in the same time, >= 0. [US gal]
    at_least: whether a reset hid some of it.
    Other parameters, and errors, as for `used` and `uncertainty`.
    """
    if counters < 0:
        raise ValueError("Counters count nothing below zero.")
    return Comparison(
        since=dips[0].at,
        until=dips[-1].at,
        drums=used(dips),
        counters=counters,
        uncertainty=uncertainty(dips, error=error, count=count),
        at_least=at_least,
    )


def sentence(side: str, found: Comparison) -> str:
    """Say it in one plain line: "Drums say 212 gal of A, counters 204: 4 % apart, …"."""
    counted = f"{'at least ' if found.at_least else ''}{gallons_text(found.counters)}"
    head = f"Drums say {gallons_text(found.drums)} gal of {side}, counters {counted}"
    if found.at_least and found.difference > 0:
        tail = "and a reset hid some of what they counted"
    elif found.is_within:
        tail = "within what a dip stick can tell"
    else:
        tail = f"more than a dip stick can be wrong (± {gallons_text(found.uncertainty)} gal)"
    if found.percent is None:
        return f"{head}: {tail}."
    return f"{head}: {_percent(abs(found.percent))} % apart, {tail}."


def rises(before: Dip, after: Dip, *, error: Decimal = USUAL_ERROR) -> bool:
    """Return whether there is more in the drum than before, and no new drum explains it."""
    return used((before, after)) < -2 * error


def gallons_text(amount: Decimal) -> str:
    """Gallons as people say them: 204, 9.5; minus is "−"."""
    text = f"{round(amount, 1 if abs(amount) < 10 else 0):,f}"
    return (text.rstrip("0").rstrip(".") if "." in text else text).replace("-", "−")


def _percent(amount: Decimal) -> str:
    return f"{round(amount, 1 if amount < 1 else 0):f}"
