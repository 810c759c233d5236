"""Lots on pages that know sheets and rigs: `{% load lots %}`."""

from collections.abc import Iterable
from typing import Any

from django import template

from equipment.models import Component
from inventory.services import in_words
from inventory.services.tracing import Use
from shop.models import ServiceSheet
from shop.services.lots import WentInto, lots_in_component, lots_in_sheet, went_into

register = template.Library()


@register.simple_tag
def sheets_of(uses: Iterable[dict[str, Any]]) -> dict[tuple[int, int], WentInto]:
    """Where the uses of a lot page went: `{% sheets_of uses as where %}`."""
    return went_into(row["use"] for row in uses)


@register.filter
def went(where: dict[tuple[int, int], WentInto], use: Use) -> WentInto | None:
    """The sheet of one use: `{% with there=where|went:row.use %}`."""
    if use.source_kind != "sheet":
        return None
    return where.get((use.source_number, use.part.pk))


@register.inclusion_tag("shop/_partials/lots_used.html", takes_context=True)
def lots_of_component(context: dict[str, Any], component: Component) -> dict[str, Any]:
    """The panel "Lots that went into it" of a component's page; nothing where none did."""
    rows = [
        {"use": use, "quantity": in_words(use.part, use.steps), "sheet": there.sheet}
        for use, there in lots_in_component(component)
    ]
    return {"rows": rows, "today": context["today"], "request": context["request"]}


@register.inclusion_tag("shop/_partials/lots_used.html", takes_context=True)
def lots_of_sheet(context: dict[str, Any], sheet: ServiceSheet) -> dict[str, Any]:
    """The panel "Lots that went into it" of a sheet; nothing where none did."""
    rows = [
        {"use": use, "quantity": in_words(use.part, use.steps), "sheet": None}
        for use in lots_in_sheet(sheet)
    ]
    return {"rows": rows, "today": context["today"], "request": context["request"]}
