"""Let a page of the stores show which sheets wait for parts: `{% parts_short as short %}`."""

from django import template

from shop.models import ServiceSheet
from shop.shortages import ShortPart, short_parts

register = template.Library()


@register.simple_tag
def parts_short() -> list[ShortPart]:
    """What open sheets wait for, by the day it is wanted. Two queries."""
    return short_parts(ServiceSheet.objects.open())
