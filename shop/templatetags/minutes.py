"""How long a service takes, on pages that know no sheets: `{% load minutes %}`."""

from typing import Any

from django import template

from equipment.models import ServiceVersion
from shop.planned_minutes import told_text
from shop.services.minutes import doings, told

register = template.Library()


@register.inclusion_tag("shop/_partials/planned_minutes.html", takes_context=True)
def minutes_of(context: dict[str, Any], version: ServiceVersion) -> dict[str, Any]:
    """The sentence on a service's page: planned for how long, by what, and what the last took."""
    rows = doings([version.service_id]).get(version.service_id, [])
    return {
        "version": version,
        "service": version.service,
        "told": told_text(told(rows)),
        "today": context["today"],
        "request": context["request"],
    }
