"""The line of time of a component, for pages that do not know the drawings.

Load it with `{% load lifetimes %}`; then `{% life_line lifetime lives as drawn %}` and
`{{ drawn.wide }}` or `{{ drawn.phone }}`.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from django import template
from django.utils import timezone
from django.utils.safestring import SafeString, mark_safe

from equipment.views.lifetime import Lifetime, Sat
from shop import words
from shop.drawing.lifetime import FOUND, RENEWED, LifeLine, Mark, Stay, life_line

register = template.Library()
#: The life that is drawn, of those that are counted: what wears a component nearest comes first.
TELLING = ("strokes", "gallons", "hours")
#: A sentence with more stays than this is no sentence.
SAID_AT_MOST = 6


@dataclass(frozen=True, slots=True)
class Drawn:
    """The same line for a desk and for a phone, and its sentence."""

    wide: SafeString
    phone: SafeString
    sentence: str


@register.simple_tag(takes_context=True, name="life_line")
def drawn(context: dict[str, Any], life: Lifetime, lives: Iterable[dict[str, Any]]) -> Drawn:
    """Draw a life. lives: its figure in each measure, as the page shows them."""
    today = context["request"].today
    found = _line(life, list(lives), today=today)
    return Drawn(
        wide=mark_safe(life_line(found)),
        phone=mark_safe(life_line(found, phone=True)),
        sentence=found.label,
    )


def _line(life: Lifetime, lives: list[dict[str, Any]], *, today: date) -> LifeLine:
    first = min(
        [life.component.in_service_on, *(timezone.localdate(row.since) for row in life.sat[:1])]
    )
    days = max(float((today - first).days) + 1, 1.0)

    def place(at: datetime) -> float:
        local = timezone.localtime(at)
        return (local.date() - first).days + (local.hour * 60 + local.minute) / 1440

    by_measure = {each["measure"].casefold(): each for each in lives}
    most = next((by_measure[name] for name in TELLING if name in by_measure), None)
    life_words = _figure(most) if most else "nothing counted yet"
    opening = [
        f"{words.figure(each['opening'])} {each['unit']} before it came"
        for each in [most or {"opening": 0}]
        if each["opening"]
    ]
    stays = tuple(
        Stay(
            start=place(row.since),
            end=days if row.until is None else place(row.until),
            name=f"{row.rig:02d} {row.position}",
            short=f"{row.rig:02d}",
        )
        for row in life.sat
    )
    marks = [Mark(place(at), RENEWED) for at in life.renewed]
    marks += [Mark(place(at), FOUND) for at in life.found]
    return LifeLine(
        first=first,
        days=days,
        stays=stays,
        marks=tuple(marks),
        estimated=tuple((place(since), place(until)) for since, until in life.estimated),
        breaks=tuple(place(at) for at in life.unseen),
        opening=opening[-1] if opening else "",
        life=life_words,
        label=_sentence(life, life_words, opening, first, today=today),
    )


def _figure(each: dict[str, Any]) -> str:
    bound = "at least " if each["wear"].is_at_least else ""
    return f"{bound}{each['text']}"


def _sentence(
    life: Lifetime, life_words: str, opening: list[str], first: date, *, today: date
) -> str:
    said = [f"{life.component}, in service since {words.day(first, today=today)}"]
    said += opening
    said += [_sat(row, today=today) for row in life.sat[-SAID_AT_MOST:]]
    if len(life.sat) > SAID_AT_MOST:
        said.insert(1, f"sat in {len(life.sat)} places, the last {SAID_AT_MOST} of them")
    if not life.sat:
        said.append("never fitted yet")
    elif life.sat[-1].until is not None:
        said.append("not fitted now")
    for count, one, many in (
        (len(life.renewed), "service done", "services done"),
        (len(life.found), "piece of found work", "pieces of found work"),
        (len(life.unseen), "reset not all seen", "resets not all seen"),
    ):
        if count:
            said.append(f"{count} {one if count == 1 else many}")
    if life.estimated:
        said.append("some use estimated")
    return f"{'; '.join(said)}; life {life_words}."


def _sat(row: Sat, *, today: date) -> str:
    since = words.day(timezone.localdate(row.since), today=today)
    if row.until is None:
        return f"rig {row.rig:02d} {row.position} since {since}"
    until = words.day(timezone.localdate(row.until), today=today)
    return f"rig {row.rig:02d} {row.position} {since} to {until}"
