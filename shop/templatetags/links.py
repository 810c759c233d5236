"""Links that only show to those who may follow them.

Load it with `{% load links %}`; then `{% address "equipment:readings" rig.number as url %}` and
`{% if url %}`.
"""

from typing import Any

from django import template

from shop import links

register = template.Library()


@register.simple_tag(takes_context=True)
def address(context: dict[str, Any], view_name: str, *args: object) -> str:
    """Return the address of a page the person may look at; empty when they may not."""
    return links.address(getattr(context.get("request"), "user", None), view_name, *args)
