"""Template tags of the look: drawings, tags, money, days and figures. Built into every template."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date, datetime
from decimal import Decimal, InvalidOperation
from typing import Any

from django import template
from django.forms import BoundField
from django.utils import timezone
from django.utils.html import escape
from django.utils.safestring import SafeString, mark_safe
from django.utils.translation import gettext

from equipment.dates import MONTHS, WEEKDAYS
from shop import spoken, words
from shop.drawing import bars, days, icons, shift, sides, state, strip
from shop.drawing import stencil as stencils
from shop.drawing import tape as tapes
from shop.http import usual_size
from shop.paper.content import PageSize

register = template.Library()


@register.simple_tag(takes_context=True)
def other_paper(context: template.Context) -> PageSize:
    """{% other_paper as size %}: the size of paper that is not the usual one of the shop, for what
    is offered beside a button that prints."""
    return "a4" if usual_size(context["request"].shop) == "letter" else "letter"


@register.simple_tag
def stencil(number: int | str | None, height: float = 40, label: str = "") -> SafeString:
    """{% stencil rig.number height=40 %}: stencil numerals; plain text for what has no stencil."""
    if number is None or number == "":
        return mark_safe("")
    digits = stencils.digits_of(number)
    if not stencils.can_stencil(digits):
        return mark_safe(f'<span class="value">{escape(digits)}</span>')
    return mark_safe(stencils.stencil(digits, height=float(height), label=label))


@register.simple_tag
def icon(kind: str, size: float = 40) -> SafeString:
    """{% icon "pump" size=40 %}: always beside its word."""
    return mark_safe(icons.icon(kind, size=float(size)))


@register.simple_tag
def hazard_icon(slug: str, size: float = 40) -> SafeString:
    """{% hazard_icon caution.hazard %}: a slug or the words of the hazard."""
    return mark_safe(icons.hazard_icon(slug, size=float(size)))


@register.simple_tag
def tag(kind: str, word: str = "") -> SafeString:
    """{% tag "soon" %} or {% tag "unread" "not read 23 d" %}."""
    return mark_safe(state.tag(kind, word or gettext(state.WORDS.get(kind, ""))))


@register.simple_tag
def punches(step: int, word: str = "", void: bool = False) -> SafeString:
    """{% punches 2 %}: four holes and the word of the step."""
    return mark_safe(state.punches(int(step), word, void=void))


@register.simple_tag
def side(letter: str) -> SafeString:
    """{% side position.side %}: A in a square, B in a circle, nothing for neither."""
    return mark_safe(state.side(letter))


@register.simple_tag
def scale(
    value: Any = None, low: Any = None, high: Any = None, last: Any = None, unit: str = ""
) -> SafeString:
    """{% scale value low high last unit %}: the scale of a measured value."""

    def number(given: Any) -> float | None:
        return None if given in (None, "") else float(given)

    return mark_safe(
        state.scale(
            number(value), number(low), number(high), number(last), spoken.own(unit), gettext
        )
    )


@register.simple_tag
def tape(measure: tapes.Tape | None, kind: str = "lying", ident: str = "") -> SafeString:
    """{% tape t "lying" %}, "upright" or "small"; nothing where there is no tape."""
    if measure is None:
        return mark_safe("")
    draw = {"lying": tapes.lying, "upright": tapes.upright, "small": tapes.small}[kind]
    return mark_safe(draw(measure, ident=ident))


@register.simple_tag
def strip_columns(
    positions: Iterable[strip.StripPosition],
) -> list[tuple[strip.StripPosition, SafeString]]:
    """{% strip_columns positions as columns %}: each position with its piece of the flow."""
    listed = list(positions)
    return [
        (position, mark_safe(piece))
        for position, piece in zip(listed, strip.flow_pieces(listed), strict=True)
    ]


@register.simple_tag
def rule_of_days(
    today: date, start: date, lanes: Iterable[days.DayLane], ident: str = "rule-of-days"
) -> SafeString:
    """{% rule_of_days today start lanes %}: the rule for a desk."""
    return mark_safe(days.rule_of_days(today, start, list(lanes), ident))


@register.simple_tag
def rule_of_days_phone(today: date, start: date, lane: days.DayLane) -> SafeString:
    """{% rule_of_days_phone today start lane %}: one rig's rule for a phone."""
    return mark_safe(days.rule_of_days_phone(today, start, lane))


@register.simple_tag
def shift_day(picture: shift.ShiftPicture) -> SafeString:
    """{% shift_day picture %}: a logged day for a desk."""
    return mark_safe(shift.shift_day(picture))


@register.simple_tag
def shift_day_phone(picture: shift.ShiftPicture) -> SafeString:
    """{% shift_day_phone picture %}: the same for a phone."""
    return mark_safe(shift.shift_day(picture, phone=True))


@register.simple_tag
def control_chart(chart: sides.ControlChart) -> SafeString:
    """{% control_chart picture %}: one side against the other, for a desk."""
    return mark_safe(sides.control_chart(chart))


@register.simple_tag
def control_chart_phone(chart: sides.ControlChart) -> SafeString:
    """{% control_chart_phone picture %}: the same for a phone."""
    return mark_safe(sides.control_chart(chart, phone=True))


@register.simple_tag
def spend_scale(top: float) -> SafeString:
    """{% spend_scale top %}: the rule above the spend bars (top from shop.drawing.bars.top_of)."""
    return mark_safe(bars.spend_scale(top))


@register.simple_tag
def spend_bar(bar: bars.SpendBar, top: float, fleet: float | None = None) -> SafeString:
    """{% spend_bar bar top fleet %}: one rig's spend per gallon.

    On a phone the drawing is half as wide, so its figure stands beside it in the text's own size.
    """
    figure_text = f'<span class="value bar-figure" aria-hidden="true">{bars.figure_of(bar)}</span>'
    return mark_safe(figure_text + bars.spend_bar(bar, top=top, fleet=fleet))


@register.filter
def own(text: str) -> str:
    """{{ step.title|own }}: what was kept in another language, in the one that is spoken now."""
    return spoken.own(text)


@register.filter
def cited(source: str) -> str:
    """{{ step.source|cited }}: where a kept text comes from, said to who does the work."""
    return spoken.cited(source)


@register.filter
def own_lang(text: str) -> str:
    """<p{{ step.text|own_lang }}>: says that a kept text is English where the page is not."""
    return mark_safe(' lang="en"') if spoken.is_left(text) else ""


@register.filter
def money(cents: int | None, symbol: str = "$") -> str:
    """{{ cents|money }} or {{ cents|money:shop.symbol }}: 123450 → $1,234.50; minus is "−"."""
    if cents is None or cents == "":
        return ""
    whole, part = divmod(abs(int(cents)), 100)
    return f"{'−' if int(cents) < 0 else ''}{symbol}{whole:,}.{part:02d}"


@register.filter
def day(when: date | datetime | None, today: date | None = None) -> str:
    """{{ date|day:today }}: 25 Nov, with the year when it is another than today's."""
    if not when:
        return ""
    if isinstance(when, datetime):
        when = timezone.localtime(when).date() if timezone.is_aware(when) else when.date()
    words = f"{when.day} {MONTHS[when.month - 1]}"
    if isinstance(today, datetime):
        today = timezone.localtime(today).date() if timezone.is_aware(today) else today.date()
    return f"{words} {when.year}" if isinstance(today, date) and today.year != when.year else words


@register.filter
def clock(when: datetime, today: date) -> str:
    """{{ entry.at|clock:today }}: 07:54, of another day 26 Nov 07:54."""
    return words.clock(when, zone=timezone.get_current_timezone(), today=today)


@register.filter
def weekday(when: date | datetime | None, today: date | None = None) -> str:
    """{{ date|weekday:today }}: Wed 25 Nov."""
    if not when:
        return ""
    at = (
        timezone.localtime(when) if isinstance(when, datetime) and timezone.is_aware(when) else when
    )
    return f"{WEEKDAYS[at.weekday()]} {day(when, today)}"


@register.filter
def figure(number: Any) -> str:
    """{{ n|figure }}: 12480 → 12,480; 0.50 → 0.5; −3 with a real minus. Exact for Decimal."""
    if number is None or number == "":
        return ""
    try:
        exact = Decimal(str(number))
    except InvalidOperation:
        return str(number)
    words = f"{abs(exact):,f}"
    if "." in words:
        words = words.rstrip("0").rstrip(".")
    return f"−{words}" if exact < 0 and words != "0" else words


@register.simple_tag
def described(field: BoundField) -> BoundField:
    """{% described field as field %}: the widget told which help and errors describe it.

    A form that was refused keeps what was typed, and its fields name their errors to a reader.
    """
    attrs = field.field.widget.attrs
    names = []
    if field.help_text:
        names.append(f"{field.auto_id}_help")
    if field.errors:
        names.append(f"{field.auto_id}_error")
        attrs["aria-invalid"] = "true"
    if names:
        attrs["aria-describedby"] = " ".join(names)
    return field


@register.filter
def widget_kind(field: BoundField) -> str:
    """{{ field|widget_kind }}: "box", "group", "hidden" or "plain", for the field partial."""
    kind = getattr(field.field.widget, "input_type", "")
    if field.is_hidden:
        return "hidden"
    if kind == "checkbox" and not hasattr(field.field, "choices"):
        return "box"
    return "group" if kind in ("radio", "checkbox") else "plain"
