"""Spend in a sentence. It says what the ledger and the counters say, and no cause beyond that."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Final

from shop import periods
from shop.periods import Period
from shop.services.spend import RigSpend, per_gallon
from shop.words import MONTHS, day

#: A rig this many times as dear as the others together is named.
STANDS_OUT: Final = Decimal("1.5")
#: What took at least this share of a rig's parts is named too. [%]
MOST: Final = 40


#: What the sentence begins with, by the name of the period.
_WHEN: Final = {
    periods.TWELVE_MONTHS: "In the last 12 months",
    periods.THIS_YEAR: "This year",
    periods.LAST_YEAR: "Last year",
}


@dataclass(frozen=True, slots=True)
class Sentence:
    """The parts of the sentence, so that a page can link the rigs.

    fleet: how it stands in all. rig: the one whose gallon stands out, or None, with what follows
    its name. most: the one that cost most in all, where that is another.
    """

    fleet: str
    rig: RigSpend | None = None
    about: str = ""
    most: RigSpend | None = None


def cents_words(cents: Decimal) -> str:
    """ "16.9 cents"."""
    return f"{round(cents, 1):,f} cents"


def days_words(period: Period, *, today: date) -> str:
    """ "28 Nov 2025 to 27 Nov 2026"; without the year where both days are of this one."""
    if period.first.year == period.last.year == today.year:
        return " to ".join(day(each, today=today) for each in (period.first, period.last))
    return " to ".join(
        f"{each.day} {MONTHS[each.month - 1]} {each.year}" for each in (period.first, period.last)
    )


def when_words(name: str, period: Period, *, today: date) -> str:
    """ "In the last 12 months", "From 1 Mar to 9 Apr"."""
    return _WHEN.get(name) or f"From {days_words(period, today=today)}"


def sentence(
    when: str, now: Sequence[RigSpend], before: Sequence[RigSpend], *, is_all_before: bool = True
) -> Sentence:
    """Say what a gallon costs in parts, against a year earlier, which rig's gallon stands out, and
    which rig cost most in all where that is another.

    when: "In the last 12 months". is_all_before: whether the books reach back to the first of the
    days a year earlier.
    """
    cents, gallons = _all(now)
    rate = per_gallon(cents, gallons)
    if not cents:
        return Sentence("No parts were used in this time.")
    if rate is None:
        return Sentence("Parts were used; too few gallons were counted to say what a gallon costs.")
    earlier = per_gallon(*_all(before))
    fleet = f"{when} parts cost {cents_words(rate)} a gallon"
    if earlier is not None:
        fleet += _against(round(rate, 1), round(earlier, 1))
        if not is_all_before:
            fleet += ", as far back as the book goes"
    fleet += "."
    outlier = _outlier(now)
    if outlier is None:
        return Sentence(fleet)
    rig, times = outlier
    how = "more than twice" if times > 2 else "more than half as much again as"
    about = f", {how} the rest of the fleet"
    if rig.most_share >= MOST:
        about += f"; most went into its {rig.most_went_into}"
    most = max((each for each in now if each.rig), key=lambda each: each.cents)
    return Sentence(fleet, rig, about, most if most.cents > rig.cents else None)


def _against(rate: Decimal, earlier: Decimal) -> str:
    if rate == earlier:
        return ", as a year earlier"
    return f", {'down' if rate < earlier else 'up'} from {earlier:,f} a year earlier"


def _all(spends: Sequence[RigSpend]) -> tuple[int, Decimal]:
    """Of rigs only: what was charged to shop stock was not sprayed."""
    rigs = [each for each in spends if each.rig is not None]
    return sum(each.cents for each in rigs), sum((each.gallons for each in rigs), Decimal(0))


def fleet_rate(spends: Sequence[RigSpend]) -> Decimal | None:
    """Spend per gallon of all rigs together. [cents / gal]"""
    return per_gallon(*_all(spends))


def _outlier(spends: Sequence[RigSpend]) -> tuple[RigSpend, Decimal] | None:
    """The dearest rig and how many times the others' rate it costs, if that is a lot."""
    rated = [each for each in spends if each.rig and each.cents_per_gallon is not None]
    dearest = max(rated, key=lambda each: each.cents_per_gallon or Decimal(0), default=None)
    if dearest is None:
        return None
    others = fleet_rate([each for each in spends if each is not dearest])
    if not others or dearest.cents_per_gallon is None:
        return None
    times = dearest.cents_per_gallon / others
    return (dearest, times) if times > STANDS_OUT else None
