"""Due rows as tapes with their state and sentence, for pages that do not know the drawings.

Load it with `{% load dues %}`; then `{% due_cards rows next_stay as cards %}`, and for each card
`{% include "_partials/tape_card.html" with heading=card.heading tape=card.tape ... %}`.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

from django import template

from equipment.due import FAR_DATE
from equipment.models import Due
from shop import rigview, words
from shop.drawing.tape import Tape

register = template.Library()


@dataclass(frozen=True, slots=True)
class DueCard:
    """One due row drawn and said."""

    due: Due
    heading: str
    tape: Tape
    state: str
    state_word: str
    life: str
    falls: str
    note: str


@register.simple_tag(takes_context=True)
def due_cards(
    context: dict[str, Any], dues: Iterable[Due], next_stay: date | None = None
) -> list[DueCard]:
    """Return a card for each due row, in the order given; beside each other they are notches."""
    request = context["request"]
    today, shop = request.today, request.shop
    rows = rigview.with_included(dues)
    cards = []
    for row in rows:
        state, word = rigview.shown_state(
            row, today=today, warning_days=shop.warning_days, unread_days=shop.unread_days
        )
        # The kept day is the one that its odds are told for.
        stay = next_stay if row.stay_on == FAR_DATE else row.stay_on
        tape = rigview.tape_of(
            row, today=today, warning_days=shop.warning_days, next_stay=stay, beside=rows
        )
        cards.append(
            DueCard(
                due=row,
                heading=row.version.service.name,
                tape=tape,
                state=state,
                state_word=word,
                life=words.life_text(row, today=today),
                falls=words.date_text(row, today=today),
                note=words.date_note(row, today=today),
            )
        )
    return cards


@register.simple_tag
def reason_of(reasons: Mapping[int, Any] | None, due: Due) -> Any:
    """What stands behind a due row: `{% reason_of reasons card.due as why %}`; None: not known."""
    return (reasons or {}).get(due.pk)
