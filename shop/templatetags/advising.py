"""When to buy a part and why, for pages of the stores, which do not know what falls due.

`{% advice_for part as advised %}` on a part's page; `{% reviews_past as past %}` on the buying
list.
"""

from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from typing import Any

from django import template
from django.utils import timezone
from django.utils.safestring import SafeString, mark_safe

from inventory.models import (
    Location,
    Movement,
    Part,
    PurchaseOrderLine,
    StockAdvice,
    StockPolicy,
)
from inventory.sentences import Unit
from shop import words
from shop.advice import found_of, given_of
from shop.advice_plot import BACK_DAYS, Moved, held_behind, left_ahead, plot_of
from shop.advice_words import Sentence, sentence
from shop.drawing.stock_plot import stock_plot

register = template.Library()


@dataclass(frozen=True, slots=True)
class Week:
    """A row of the table under the drawing, in words."""

    day: str
    low: str
    middle: str
    high: str


@dataclass(frozen=True, slots=True)
class Advised:
    """The sentence of the advice, and stock against time drawn, said and as a table."""

    sentence: Sentence
    wide: SafeString
    phone: SafeString
    said: str
    weeks: list[Week]


@register.simple_tag(takes_context=True)
def advice_for(context: dict[str, Any], part: Part) -> Advised | None:
    """The advice for a part read with its stock; None before the first reckoning. Three queries."""
    today: date = context["request"].today
    zone = context["request"].shop.zone
    row = StockAdvice.objects.filter(part=part, location__isnull=True).first()
    if row is None:
        return None
    given, found = given_of(row.figures), found_of(row.figures)
    since = datetime.combine(today - timedelta(days=BACK_DAYS), time.min, tzinfo=zone)
    moved = [
        Moved(timezone.localdate(at, zone), steps)
        for at, steps in Movement.objects.filter(
            part=part, at__gte=since, location__kind=Location.Kind.BIN
        )
        .exclude(quantity_steps=0)
        .values_list("at", "quantity_steps")
    ]
    coming = [
        Moved(line.expected_on, line.to_come_steps)  # type: ignore[attr-defined]
        for line in PurchaseOrderLine.objects.to_come().filter(part=part, expected_on__gte=today)
        if line.expected_on
    ]
    left = left_ahead(
        given=given,
        found=found,
        reckoned_on=row.reckoned_on,
        today=today,
        usable_steps=part.usable_steps,  # type: ignore[attr-defined]
        coming=coming,
    )
    held = held_behind(moved, on_hand_steps=part.on_hand_steps, today=today)  # type: ignore[attr-defined]
    plot = plot_of(
        given=given,
        # As the shop goes by it: by hand, or by the advice.
        point_steps=part.reorder_point_steps if part.order_up_to_steps else None,  # type: ignore[attr-defined]
        held=held,
        left=left,
        today=today,
    )
    unit = Unit(part.unit_name, part.steps_per_unit)
    return Advised(
        sentence=sentence(given, found),
        wide=mark_safe(stock_plot(plot)),
        phone=mark_safe(stock_plot(plot, phone=True)),
        said=plot.label,
        weeks=[
            Week(
                words.day(each.day, today=today),
                *(unit.words(steps) for steps in (each.low, each.middle, each.high)),
            )
            for each in left
        ],
    )


@register.simple_tag(takes_context=True)
def reviews_past(context: dict[str, Any]) -> list[StockPolicy]:
    """Numbers fixed by hand whose day to look at them again is past, the longest past first."""
    return list(
        StockPolicy.objects.filter(
            location__isnull=True,
            by_hand=True,
            review_on__lt=context["request"].today,
            part__retired=False,
        )
        .select_related("part", "set_by")
        .order_by("review_on", "part__number")
    )
