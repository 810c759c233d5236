"""Lots and rigs: which sheet put a lot into which component, and which lots went into it."""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

from equipment.models import Component, Rig
from inventory.services.tracing import Use, used_for
from shop.models import ServiceSheet, SheetLine, SheetPart
from shop.services.sheet_parts import SOURCE

#: So many lots are listed on a component's page; each sheet shows all of its own.
MOST_SHOWN: Final = 40


@dataclass(frozen=True, slots=True)
class WentInto:
    """A sheet that used some of a lot: its rig (None: the bench), and the components it was for."""

    sheet: ServiceSheet
    rig: Rig | None
    components: tuple[Component, ...]


def went_into(uses: Iterable[Use]) -> dict[tuple[int, int], WentInto]:
    """Return, by sheet number and part, where what was used on sheets went. Three queries.

    A part that nobody planned went into the sheet's component where the sheet is about one only.
    """
    wanted = {(use.source_number, use.part.pk) for use in uses if use.source_kind == SOURCE}
    numbers = {number for number, _ in wanted}
    if not numbers:
        return {}
    sheets = {
        each.number: each
        for each in ServiceSheet.objects.filter(number__in=numbers).select_related(
            "rig", "component__type__kind"
        )
    }
    lines: dict[tuple[int, int | None], dict[int, Component]] = {}
    for line in (
        SheetLine.objects.filter(sheet__number__in=numbers, component__isnull=False)
        .select_related("sheet", "version", "component__type__kind")
        .order_by("order")
    ):
        assert line.component is not None
        # A service of both pumps stands on two lines, and its part is planned on the first.
        service = line.version.service_id if line.version else None
        for key in ((line.sheet.number, service), (line.sheet.number, None)):
            lines.setdefault(key, {})[line.component.pk] = line.component
    planned = {
        (row.sheet.number, row.part_id): row.line.version.service_id
        for row in SheetPart.objects.filter(
            sheet__number__in=numbers, line__version__isnull=False
        ).select_related("sheet", "line__version")
        if row.line and row.line.version
    }
    found = {}
    for number, part in wanted & {(number, part) for number, part in wanted if number in sheets}:
        service = planned.get((number, part))
        about = tuple(lines.get((number, service), {}).values()) if service else ()
        every = tuple(lines.get((number, None), {}).values())
        bench = sheets[number].component
        if not about and len(every) == 1:
            about = every
        if not about and bench is not None:
            about = (bench,)
        found[number, part] = WentInto(sheets[number], sheets[number].rig, about)
    return found


def lots_in_sheet(sheet: ServiceSheet) -> list[Use]:
    """Return the lots that a sheet used, by part."""
    uses = used_for(SOURCE, [sheet.number])
    return sorted(uses, key=lambda use: (use.part.number, use.lot.pk))


def lots_in_component(component: Component) -> list[tuple[Use, WentInto]]:
    """Return the lots that sheets put into a component, the latest first, MOST_SHOWN at most."""
    numbers = ServiceSheet.objects.filter(lines__component=component).values_list(
        "number", flat=True
    )
    bench = ServiceSheet.objects.filter(component=component).values_list("number", flat=True)
    uses = used_for(SOURCE, {*numbers, *bench})
    where = went_into(uses)
    found = [
        (use, there)
        for use in uses
        if (there := where.get((use.source_number, use.part.pk))) and component in there.components
    ]
    return found[:MOST_SHOWN]
