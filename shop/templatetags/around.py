"""What goes on around the work, for the pages of a sheet: `{% load around %}`."""

from datetime import date, datetime
from typing import Any
from uuid import uuid4

from django import template
from django.utils import timezone

from inventory.models import Part
from shop import words
from shop.around import around, moment_text, short_of
from shop.forms.around import HandOverForm, WaitForm
from shop.models import ServiceSheet, WaitEntry
from shop.services.waiting import Wait, waits_of

register = template.Library()


@register.inclusion_tag("shop/_partials/around_work.html", takes_context=True)
def around_work(
    context: dict[str, Any], sheet: ServiceSheet, *, on_phone: bool = False
) -> dict[str, Any]:
    """The last one's word, what the sheet waits for, one's own time and who works on it.

    on_phone: waiting and handing over are forms in place, which need no other page.
    """
    request = context["request"]
    forms: dict[str, Any] = {}
    if on_phone and sheet.is_open:
        given = {"now": request.now, "label_suffix": ""}
        forms = {
            "wait_form": WaitForm(None, auto_id="wait-%s", short=short_of(sheet), **given),
            "over_form": HandOverForm(None, auto_id="over-%s", author=request.user, **given),
        }
    return {
        **forms,
        "request": request,
        "sheet": sheet,
        "around": around(sheet, reader=request.user, now=request.now, zone=request.shop.zone),
        "event_id": uuid4(),
        "csrf_token": context.get("csrf_token"),
        "today": context.get("today"),
    }


@register.simple_tag
def waits_for_part(part: Part) -> list[Wait]:
    """The open sheets that wait for a part: `{% waits_for_part part as waits %}`."""
    today = timezone.localdate()
    asking = WaitEntry.objects.filter(parts__part=part).values("sheet")
    sheets = (
        ServiceSheet.objects.open()
        .filter(pk__in=asking, is_waiting_for_parts=True)
        .select_related("rig", "component__type")
        .order_by("number")
    )
    waits = waits_of(sheets, today=today).values()
    return [wait for wait in waits if any(each.part == part for each in wait.parts)]


@register.filter
def moment(at: datetime | None, today: date) -> str:
    """{{ at|moment:today }}: 07:41, yesterday 16:40, Mon 2 Mar 16:40."""
    return moment_text(at, today=today, zone=timezone.get_current_timezone()) if at else ""


@register.filter
def span(minutes: int) -> str:
    """{{ minutes|span }}: 1 h 20 min."""
    return words.span(minutes)


@register.simple_tag
def fresh_id() -> str:
    """An id for one sending: `{% fresh_id %}`."""
    return str(uuid4())
