"""How long stock keeps, and what will be left of it on its last day.

Pure: days and whole numbers in, days and whole numbers out.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from enum import StrEnum
from typing import Final

from dateutil.relativedelta import relativedelta


class StorageGroup(StrEnum):
    """A group of rubbers that keep alike (ISO 2230:2002, clause 4)."""

    A = "A"
    B = "B"
    C = "C"


#: The first storage period, and how much longer after an inspection passed at its end. [years]
#: Source: ISO 2230:2002, storage period tables, as public copies give them; not read in the
#: standard itself.
FIRST_PERIOD_YEARS: Final = {StorageGroup.A: 5, StorageGroup.B: 7, StorageGroup.C: 10}
EXTENSION_YEARS: Final = {StorageGroup.A: 2, StorageGroup.B: 3, StorageGroup.C: 5}

#: Rubbers of each group by their ASTM D1418 code. Source: as above.
RUBBERS: Final = {
    StorageGroup.A: ("NR", "IR", "BR", "SBR", "AU", "EU"),
    StorageGroup.B: ("NBR", "HNBR", "CR", "IIR", "ACM", "ECO"),
    StorageGroup.C: ("EPDM", "FKM", "FFKM", "VMQ", "FVMQ"),
}

_QUARTER: Final = re.compile(r"([1-4])\s*[/Qq]\s*((?:[0-9]{2})?[0-9]{2})")


def quarter_end(text: str, *, today: date) -> date | None:
    """Return the last day of a cure quarter as packages carry it ("3/94", "3Q2025"), or None.

    A year of two digits is the latest that is not after today's. A quarter that still runs ends
    today: nothing was cured tomorrow.
    Sources: ISO 2230:2002, 5.3 c) writes quarter and year, 3/94 for July to September 1994; the
    clock starts on the last day of the quarter (SAE ARP5316).
    """
    found = _QUARTER.fullmatch(text.strip())
    if found is None:
        return None
    quarter, year = int(found[1]), int(found[2])
    if len(found[2]) == 2:
        year += today.year // 100 * 100
        if year > today.year:
            year -= 100
    if not 1 <= year < 9999:
        return None
    first = date(year, 3 * quarter - 2, 1)
    last = first + relativedelta(months=3) - timedelta(days=1)
    return today if first <= today < last else last


def use_by(
    made_on: date, *, group: StorageGroup | None = None, keeps_months: int = 0
) -> date | None:
    """Return the last day on which stock may be used; None where it keeps.

    made_on: the day it was cured or made. group: of a rubber. keeps_months: of anything else,
    >= 0, 0 for what keeps. With both, the earlier day counts. None too past the last day there is.
    """
    years = FIRST_PERIOD_YEARS[group] if group is not None else 0
    spans = [months for months in (12 * years, keeps_months) if months]
    if not spans:
        return None
    try:
        return made_on + relativedelta(months=min(spans))
    except (ValueError, OverflowError):
        return None


def latest_extension(first_use_by: date, *, group: StorageGroup) -> date:
    """Return the last day on which a rubber may be used after an inspection passed.

    first_use_by: the day it came with. Source: EXTENSION_YEARS; whether the standard allows a
    second extension was not read there, so there is one. The last day there is at most.
    """
    try:
        return first_use_by + relativedelta(years=EXTENSION_YEARS[group])
    except (ValueError, OverflowError):
        return date.max


@dataclass(frozen=True, slots=True)
class Keeping:
    """What lies of one lot, > 0 [steps], and the last day on which it may be used."""

    quantity_steps: int
    use_by: date


def left_over(lots: Sequence[Keeping], *, used_a_year_steps: int, today: date) -> list[int]:
    """Return what will be left of each lot when it expires. [steps]

    lots: all that lies of a part, in any order. used_a_year_steps: the pace of use, >= 0, taken to
    be even. What expires first is used first, each lot until its last day; what has expired is
    left over whole. Uses are whole steps, and a step begun counts as left.
    """
    left = [lot.quantity_steps for lot in lots]
    used = 0
    for i in sorted(range(len(lots)), key=lambda i: lots[i].use_by):
        days = (lots[i].use_by - today).days + 1
        by_then = max(0, days) * used_a_year_steps // 365
        taken = min(left[i], max(0, by_then - used))
        left[i] -= taken
        used += taken
    return left
