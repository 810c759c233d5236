"""What waits from phones, as a manager reads it: what was entered, when, by which clock."""

from collections.abc import Collection
from dataclasses import dataclass
from datetime import date
from typing import Final
from zoneinfo import ZoneInfo

from django.utils.translation import gettext, ngettext

from equipment.models import Counter
from shop import words
from shop.enteredwords import entered
from shop.models import SheetStep, Unsettled
from shop.services.arriving import answer_in_words, may_post

#: A clock that is no further off than this is right. [s]
RIGHT: Final = 90


@dataclass(frozen=True, slots=True)
class Row:
    """One entry that waits, or did. what, said, put_right: as of `enteredwords.Entered`."""

    unsettled: Unsettled
    what: str
    said: str
    put_right: str
    when: str
    clock: str
    may_post: bool


def rows_of(unsettled: Collection[Unsettled], *, zone: ZoneInfo, today: date) -> list[Row]:
    """Entries as the page shows them; a few queries, however many."""
    return [
        Row(
            each,
            said.what,
            said.said,
            said.put_right,
            words.moment(each.at, zone=zone, today=today),
            clock_text(each.clock_error_seconds),
            may_post(each),
        )
        for each, said in zip(unsettled, entered(unsettled), strict=True)
    ]


def clock_text(error_seconds: int) -> str:
    """How wrong a phone's clock was: "its clock 3 min slow"; empty where it was right."""
    if abs(error_seconds) <= RIGHT:
        return ""
    minutes = round(abs(error_seconds) / 60)
    days = round(minutes / 1440)
    much = (
        words.span(minutes)
        if minutes < 3 * 24 * 60
        else ngettext("{n} day", "{n} days", days).format(n=f"{days:,}")
    )
    text = (
        gettext("its clock was {much} slow")
        if error_seconds > 0
        else gettext("its clock was {much} fast")
    )
    return text.format(much=much)


def stands(row: Unsettled, system: str) -> str:
    """What stands on the sheet, or on the counter, in place of what waits; or nothing.

    system: of the units in which measured values are said.
    """
    said = row.payload
    if row.kind == "answer":
        step = (
            SheetStep.objects.filter(pk=said.get("step", 0)).select_related("entry__author").first()
        )
        if step is None:
            return ""
        if step.entry is None:
            return "It is not answered on the sheet."
        return f"The sheet says: {answer_in_words(step.entry, step, system)} ({step.entry.author})."
    if row.kind == "reading":
        counter = Counter.objects.filter(pk=said.get("counter", 0)).first()
        if counter is None:
            return ""
        return f"The counter was last read at {words.exactly(counter.last_value)} {counter.unit}."
    return ""
