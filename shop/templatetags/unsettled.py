"""What phones sent that no sheet could take, on other pages: `{% load unsettled %}`."""

from typing import Any

from django import template
from django.db.models import Count

from equipment.models import Rig
from shop import arrivedwords
from shop.access import may
from shop.models import ServiceSheet, Unsettled

register = template.Library()


@register.inclusion_tag("shop/_partials/unsettled_of_sheet.html", takes_context=True)
def unsettled_of_sheet(context: dict[str, Any], sheet: ServiceSheet) -> dict[str, Any]:
    """The panel of what a sheet could not take, settled or not; nothing where it took all."""
    request = context["request"]
    found = list(
        sheet.unsettled.select_related("author", "settlement__author").order_by("at", "pk")
    )
    for each in found:
        each.sheet = sheet
    rows = arrivedwords.rows_of(found, zone=request.shop.zone, today=request.today)
    settled = [getattr(each, "settlement", None) for each in found]
    return {
        "rows": list(zip(rows, settled, strict=True)),
        "open": settled.count(None),
        "may_settle": may(request.user, "shop:settle"),
        "today": request.today,
    }


@register.simple_tag
def unsettled_of_all() -> list[tuple[ServiceSheet | None, Rig | None, int]]:
    """The sheets and the rigs of which something waits, with how much:
    `{% unsettled_of_all as waiting %}`."""
    counts = {
        (sheet, rig): count
        for sheet, rig, count in Unsettled.objects.open()
        .order_by()
        .values_list("sheet", "rig")
        .annotate(count=Count("pk"))
    }
    if not counts:
        return []
    sheets = ServiceSheet.objects.filter(pk__in=[sheet for sheet, _ in counts if sheet])
    rigs = Rig.objects.filter(pk__in=[rig for _, rig in counts if rig])
    return [
        *(
            (sheet, None, counts[sheet.pk, None])
            for sheet in sheets.select_related("rig", "component").order_by("number")
        ),
        *((None, rig, counts[None, rig.pk]) for rig in rigs.order_by("number")),
    ]


@register.simple_tag
def unsettled_of_rig(rig: Rig) -> list[Unsettled]:
    """What waits of the rounds of a rig: `{% unsettled_of_rig rig as waiting %}`."""
    return list(Unsettled.objects.open().filter(rig=rig).for_list())


@register.inclusion_tag("shop/_partials/parts_to_settle.html", takes_context=True)
def parts_to_settle(
    context: dict[str, Any], rig: Rig | None = None, *, everywhere: bool = False
) -> dict[str, Any]:
    """Which closed sheets have parts that wait, so that their spend is not whole; or nothing.

    Of a rig, or of shop stock where rig is None; of all with `everywhere=True`.
    """
    waiting = Unsettled.objects.open().filter(kind__in=("used", "add"))
    sheets = ServiceSheet.objects.filter(pk__in=waiting.values("sheet"))
    sheets = sheets.exclude(state__in=ServiceSheet.OPEN_STATES)
    if not everywhere:
        sheets = sheets.filter(charged_rig=rig)
    return {
        "sheets": list(sheets.order_by("number")),
        "may_settle": may(context["request"].user, "shop:settle"),
    }
