"""What a phone needs on a page to keep what is entered there: `{% load phone %}`."""

from datetime import date
from typing import Any

from django import template

from equipment.models import Rig
from shop import arrivedwords
from shop.models import Unsettled
from shop.services.arriving import pen_of
from shop.views.work.words import round_words

register = template.Library()


@register.inclusion_tag("shop/work/round_phone.html", takes_context=True)
def round_phone(
    context: dict[str, Any], rig: Rig, day: date, *, is_recorded: bool = False
) -> dict[str, Any]:
    """Whose pen, which rig and day, what waits of its rounds: `{% round_phone rig day %}`.

    is_recorded: whether the round of that day is, so that the page shows it.
    """
    request = context["request"]
    waiting = list(Unsettled.objects.open().filter(rig=rig).for_list())
    return {
        "rig": rig,
        "day": day,
        "is_recorded": is_recorded,
        "person": request.user,
        "pen": pen_of(request.user),
        "waiting": arrivedwords.rows_of(waiting, zone=request.shop.zone, today=request.today),
        "words": round_words(),
    }
