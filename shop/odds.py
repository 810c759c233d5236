"""The odds that services fall due before a day: kept for a rig's next stay, live for any other.

Odds of falling due, and of passing a tolerance; never of breaking. "By 14 Dec" is before that day
begins, as a rig that is back on the 14th asks.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Protocol
from zoneinfo import ZoneInfo

import numpy as np
from django.utils.translation import gettext

from equipment import forecast
from equipment.due import BY_THE_CALENDAR, FAR_DATE
from equipment.models import Due
from equipment.services.odds import odds_by
from shop import words

#: Triggers that may not move together are told where that matters so much. [tenths of 1 %]
PARTS_BY = 50
#: Odds of passing a tolerance are told from here on. [tenths of 1 %]
LEAST_LATE = 10


class RowWithOdds(words.DueFigures, Protocol):
    """A due row with the odds kept on it."""

    @property
    def pk(self) -> int: ...
    @property
    def stay_on(self) -> date: ...
    @property
    def odds_due_permille(self) -> int: ...
    @property
    def odds_due_most_permille(self) -> int: ...
    @property
    def odds_late_permille(self) -> int: ...


@dataclass(frozen=True, slots=True)
class Chance:
    """The odds of one service before a day. [tenths of 1 %]

    due: to have fallen due; most: were its triggers not to move together, no lower; late: to have
    passed its tolerance.
    """

    before: date
    due: int
    most: int
    late: int


@dataclass(frozen=True, slots=True)
class Said:
    """Odds in words: "63 %", "by 14 Dec", "past its tolerance: 12 % by 14 Dec"."""

    text: str
    by_text: str = ""
    late_text: str = ""


def kept(row: RowWithOdds) -> Chance | None:
    """Return the odds before the next stay of its rig; None where no stay is known."""
    if row.stay_on == FAR_DATE:
        return None
    return Chance(
        row.stay_on, row.odds_due_permille, row.odds_due_most_permille, row.odds_late_permille
    )


def before(rows: Iterable[RowWithOdds], day: date, *, zone: ZoneInfo) -> dict[int, Chance]:
    """Return the odds of due rows before a day, by their keys; for a page, not for a fleet.

    day: after the first there is. The kept odds where that is the next stay of the rig, so that
    two pages say the same; the others are reckoned now. What was done meanwhile is missing.
    """
    found = {}
    asked = []
    for row in rows:
        if row.stay_on == day and (chance := kept(row)):
            found[row.pk] = chance
        else:
            asked.append(row.pk)
    if asked:
        live = odds_by(Due.objects.filter(pk__in=asked), day=day - timedelta(days=1), zone=zone)
        for pk, odds in live.items():
            tenths = forecast.permille(np.array([odds.due, odds.most, odds.late]))
            found[pk] = Chance(day, *tenths.tolist())
    return found


def is_known_due(row: words.DueFigures, *, today: date) -> bool:
    """Whether it has fallen due by what was read or by the calendar, not only by its usual use."""
    return row.is_past_due or (words.is_certain(row) and row.due_date <= today)


def is_known_late(row: words.DueFigures, *, today: date) -> bool:
    """Whether it has passed its tolerance, likewise."""
    return row.is_past_tolerance or (not words.is_by_use(row) and row.late_date < today)


def text_of(row: words.DueFigures, chance: Chance | None, *, today: date) -> str:
    """ "63 %", "over 99 %", "certain", "already due"; "no date yet" where no use is known."""
    if is_known_due(row, today=today):
        return gettext("already due")
    if not words.has_date(row):
        return gettext("no date yet")
    if chance is None:
        return gettext("no next stay known")
    text = words.odds_text(chance.due, certain=_is_of_days(row))
    if chance.most - chance.due > PARTS_BY:
        text = gettext("{odds}, at most {most}").format(
            odds=text, most=words.odds_text(chance.most)
        )
    return text


def late_text_of(row: words.DueFigures, chance: Chance | None, *, today: date) -> str:
    """The odds of passing its tolerance, as bare; empty where nothing tells them."""
    if is_known_late(row, today=today):
        return "past it already"
    if chance is None or not words.has_date(row):
        return ""
    return words.odds_text(chance.late, certain=_is_of_days(row))


def said(row: words.DueFigures, chance: Chance | None, *, today: date) -> Said:
    """The odds of a row with their day, as the due list says them on page and paper."""
    text = text_of(row, chance, today=today)
    if is_known_late(row, today=today):
        return Said(text, late_text="past its tolerance")
    if chance is None or not words.has_date(row):
        return Said(text)
    by = f"by {words.day(chance.before, today=today)}"
    late = ""
    if chance.late >= LEAST_LATE:
        late = f"past its tolerance: {late_text_of(row, chance, today=today)} {by}"
    return Said(text, "" if is_known_due(row, today=today) else by, late)


def _is_of_days(row: words.DueFigures) -> bool:
    """Whether its day is set: by the calendar or by a person."""
    return row.measure in BY_THE_CALENDAR or words.is_brought_forward(row) or words.is_put_off(row)
