"""Links that only show to those who may follow them.

Load it with `{% load links %}`; then `{% address "equipment:readings" rig.number as url %}` and
`{% if url %}`.
"""

from typing import Any

from django import template

from equipment.models import Due
from shop import links

register = template.Library()


@register.simple_tag(takes_context=True)
def address(context: dict[str, Any], view_name: str, *args: object) -> str:
    """Return the address of a page the person may look at; empty when they may not."""
    return links.address(getattr(context.get("request"), "user", None), view_name, *args)


@register.simple_tag(takes_context=True)
def put_off_address(context: dict[str, Any], due: Due) -> str:
    """Return the page that puts this service off; empty for whoever may not."""
    return links.put_off(context["request"], due.component.tag, due.version.service_id)
