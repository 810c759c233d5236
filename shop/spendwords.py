"""Spend in a sentence. It says what the ledger and the counters say, and no cause beyond that."""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Final

from shop.services.spend import RigSpend, per_gallon

#: A rig this many times as dear as the others together is named.
STANDS_OUT: Final = Decimal("1.5")
#: What took at least this share of a rig's parts is named too. [%]
MOST: Final = 40


@dataclass(frozen=True, slots=True)
class Sentence:
    """The parts of the sentence, so that a page can link the rig.

    fleet: how it stands in all. rig: the one that stands out, or None, with what follows its name.
    """

    fleet: str
    rig: RigSpend | None = None
    about: str = ""


def cents_words(cents: Decimal) -> str:
    """ "16.9 cents"."""
    return f"{round(cents, 1):,f} cents"


def sentence(now: Sequence[RigSpend], before: Sequence[RigSpend]) -> Sentence:
    """Say what a gallon costs in parts, against a year earlier, and which rig stands out."""
    cents, gallons = _all(now)
    rate = per_gallon(cents, gallons)
    if not cents:
        return Sentence("No parts were used in this time.")
    if rate is None:
        return Sentence("Parts were used; too few gallons were counted to say what a gallon costs.")
    earlier = per_gallon(*_all(before))
    fleet = f"Parts cost {cents_words(rate)} a gallon"
    if earlier is not None:
        fleet += _against(round(rate, 1), round(earlier, 1))
    fleet += "."
    outlier = _outlier(now)
    if outlier is None:
        return Sentence(fleet)
    rig, times = outlier
    how = "more than twice" if times > 2 else "more than half as much again as"
    about = f", {how} the rest of the fleet"
    if rig.most_share >= MOST:
        about += f"; most went into its {rig.most_went_into}"
    return Sentence(fleet, rig, f"{about}.")


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
