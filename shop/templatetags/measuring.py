"""The chart of a measured value, for pages that do not know the drawings.

Load it with `{% load measuring %}`; then `{% value_chart watched as drawn %}` and
`{{ drawn.wide }}` or `{{ drawn.phone }}`, with `{{ drawn.rows }}` for the table beside it.
"""

from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

from django import template
from django.utils import timezone
from django.utils.safestring import SafeString, mark_safe

from equipment import trends
from equipment.caldates import add_days
from equipment.models import Trigger
from equipment.services.measured import Value, figure
from equipment.values import is_outside
from equipment.views.watched import Watched
from shop import words
from shop.drawing.values import ChartValue, Line, ValueChart, value_chart

register = template.Library()

#: One value is no line of time.
FEWEST_DRAWN = 2
#: A trend is drawn ahead no further than so many times as long as there are values.
AHEAD_AT_MOST = 3
#: Further than this nobody looks. [d]
FURTHEST_DAYS = 3650


@dataclass(frozen=True, slots=True)
class Row:
    """One value as the table says it. sheet: 0 without."""

    value: Value
    said: str
    is_past: bool
    sheet: int


@dataclass(frozen=True, slots=True)
class Drawn:
    """The same values for a desk and for a phone, and as rows, newest first."""

    wide: SafeString
    phone: SafeString
    sentence: str
    between: str
    rows: list[Row]


@register.simple_tag(takes_context=True, name="value_chart")
def drawn(context: dict[str, Any], watched: Watched) -> Drawn:
    """Draw the values of one thing that a service watches; nothing drawn for a single one."""
    today = context["request"].today
    due, trigger = watched.due, watched.trigger
    rows = [
        Row(each, figure(each.value, each.unit), _is_past(each, trigger), each.sheet)
        for each in reversed(due.values)
    ]
    wide = phone = ""
    if len(due.values) >= FEWEST_DRAWN:
        chart = _chart(watched, today=today)
        wide, phone = value_chart(chart), value_chart(chart, phone=True)
    return Drawn(
        wide=mark_safe(wide),
        phone=mark_safe(phone),
        sentence=f"{due.because}.",
        between=_between(watched, today=today),
        rows=rows,
    )


def _chart(watched: Watched, *, today: date) -> ValueChart:
    due, trigger = watched.due, watched.trigger
    first = due.values[0].at
    days = [(each.at - first) / timedelta(days=1) for each in due.values]
    trend, meets = None, None
    heading = due.heading
    if heading is not None and heading.line is not None and heading.state == trends.HEADING:
        trend = Line(heading.line.at(days[0]), heading.line.at(days[-1]))
        most = days[-1] * (1 + AHEAD_AT_MOST)
        if heading.meets is not None and due.meets_on is not None and heading.meets.at <= most:
            meets = heading.meets.at, words.day(due.meets_on, today=today)
    return ValueChart(
        values=tuple(
            ChartValue(
                day,
                number,
                words.day(timezone.localdate(each.at), today=today),
                is_past=_is_past(each, trigger),
            )
            for day, each, number in zip(days, due.values, due.numbers, strict=True)
        ),
        unit=f"at {due.size_um} µm" if due.size_um else due.values[-1].unit,
        low=due.low,
        high=due.high,
        trend=trend,
        meets=meets,
        label=f"{due.because}.",
    )


def _is_past(each: Value, trigger: Trigger) -> bool:
    return is_outside(each.value, low=trigger.low, high=trigger.high, unit=each.unit)


def _between(watched: Watched, *, today: date) -> str:
    """Between which days the trend meets the limit, by the bounds of its slope."""
    due = watched.due
    if due.heading is None or due.heading.meets is None or due.meets_on is None:
        return ""
    meets = due.heading.meets
    earliest = add_days(due.meets_on, round(meets.earliest - meets.at))
    latest = add_days(due.meets_on, round(min(meets.latest - meets.at, FURTHEST_DAYS)))
    return words.between(earliest, latest, today=today)
