"""What each service of each rig, and each open sheet, may need of a part."""

import math
from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import date, timedelta
from typing import Final

from django.db.models import Q, Sum

from equipment.models import Due, ServiceVersion
from equipment.services.coming import Renewals, renewals_by
from equipment.services.including import covered
from inventory.models import Balance, KitLine, Location
from shop.advice import Need
from shop.models import ServiceSheet, SheetLine, SheetPart, Shop

#: Odds are kept to so many digits, and the number is reckoned from what is kept.
DIGITS: Final = 4


def needs_of(
    wanted: Iterable[tuple[int, int, int]],
    *,
    buyable: set[int],
    days: Sequence[int],
    today: date,
    shop: Shop,
) -> Iterator[tuple[int, Need]]:
    """Yield what each service of each rig, and each open sheet, may need of a part."""
    of_service: dict[int, list[tuple[int, int]]] = defaultdict(list)
    for service, part, steps in wanted:
        of_service[service].append((part, steps))
    including = ServiceVersion.includes.through.objects.values("serviceversion")
    rows = Due.objects.listed().filter(
        Q(version__service__in=list(of_service)) | Q(version__in=including)
    )
    odds = renewals_by(
        rows, today=today, days=[today + timedelta(days=day) for day in days], zone=shop.zone
    )
    dues = list(
        rows.select_related("version__service", "component__type__kind", "position__kind").order_by(
            "rig_number", "pk"
        )
    )
    covers = covered((due.version, due.component) for due in dues)
    on_sheets = _on_open_sheets(covers)
    for due, chances in _alone(dues, odds, covers, on_sheets):
        by_day = {
            day: kept
            for day, of_day in zip(days, chances, strict=True)
            if (kept := tuple(round(chance, DIGITS) for chance in of_day))
        }
        if not by_day:
            continue
        where = due.position.heading if due.position else due.component.type.kind.name
        for part, steps in of_service.get(due.version.service_id, ()):
            yield (
                part,
                Need(
                    rig=due.rig_id or 0,
                    rig_number=due.rig_number,
                    what=f"{where}, {due.version.service.name}",
                    quantity_steps=steps,
                    chances=by_day,
                ),
            )
    yield from _of_sheets(buyable, days, today)


def _alone(
    dues: Sequence[Due],
    odds: Renewals,
    covers: Mapping[tuple[int, int], Sequence[ServiceVersion]],
    on_sheets: set[tuple[int, int]],
) -> Iterator[tuple[Due, list[tuple[float, ...]]]]:
    """Yield due rows with the chances of those renewals that ask for parts of their own.

    A renewal that falls due no sooner than a bigger service of the component that includes it is
    done with that one. The first renewal of what stands on an open sheet is the sheet's.
    """
    bigger: dict[tuple[int, int], list[Due]] = defaultdict(list)
    for due in dues:
        for child in covers.get((due.component_id, due.version_id), ()):
            bigger[due.component_id, child.service_id].append(due)
    for due in dues:
        if due.pk not in odds:
            continue
        key = (due.component_id, due.version.service_id)
        skipped = 1 if key in on_sheets else 0
        over = [each for each in bigger.get(key, ()) if each.pk in odds]
        found = []
        for place, chances in enumerate(odds[due.pk]):
            first = max((each for other in over for each in odds[other.pk][place][:1]), default=0.0)
            found.append(tuple(chance for chance in chances[skipped:] if chance > first))
        yield due, found


def _on_open_sheets(
    covers: Mapping[tuple[int, int], Sequence[ServiceVersion]],
) -> set[tuple[int, int]]:
    """(component, service) of what an open sheet will do, with what it stands for."""
    found = set()
    smaller: dict[tuple[int, int], set[int]] = defaultdict(set)
    services = dict(
        ServiceVersion.objects.filter(pk__in={version for _, version in covers}).values_list(
            "pk", "service"
        )
    )
    for (component, version), children in covers.items():
        smaller[component, services[version]] |= {child.service_id for child in children}
    for key in SheetLine.objects.filter(
        is_open=True, version__isnull=False, sheet__state__in=ServiceSheet.OPEN_STATES
    ).values_list("component", "version__service"):
        found.add(key)
        found |= {(key[0], service) for service in smaller.get(key, ())}
    return found


def _of_sheets(buyable: set[int], days: Sequence[int], today: date) -> Iterator[tuple[int, Need]]:
    """Yield what open sheets still need beyond what lies in their trays, certain on their day.

    Of a kit that was not there whole the lines are planned: what is promised of them is needed
    as it is, and so is what is short where it is bought by itself; else the kit is.
    """
    tray = {
        (place, part): steps
        for place, part, steps in Balance.objects.there()
        .filter(location__kind=Location.Kind.TRAY)
        .order_by()
        .values("location", "part")
        .annotate(steps=Sum("quantity_steps"))
        .values_list("location", "part", "steps")
    }
    rows = (
        SheetPart.objects.filter(sheet__state__in=ServiceSheet.OPEN_STATES, planned_steps__gt=0)
        .select_related("sheet__rig")
        .order_by("sheet__number", "pk")
    )
    kits = _in_kits(row.for_kit_id for row in rows if row.for_kit_id)
    asked: dict[tuple[int, int], int] = {}
    promised: Counter[tuple[int, int]] = Counter()
    sheets: dict[int, ServiceSheet] = {}
    for row in rows:
        sheet = row.sheet
        sheets[sheet.pk] = sheet
        taken = tray.get((sheet.tray_id or 0, row.part_id), 0)
        missing = max(0, row.planned_steps - taken)
        if row.for_kit_id and row.short_steps and row.part_id not in buyable:
            whole = math.ceil(row.short_steps / kits.get((row.for_kit_id, row.part_id), 1))
            key = (sheet.pk, row.for_kit_id)
            asked[key] = max(asked.get(key, 0), whole)
            missing = max(0, missing - row.short_steps)
        if missing:
            key = (sheet.pk, row.part_id)
            asked[key] = asked.get(key, 0) + missing
            promised[key] += max(0, min(missing, row.planned_steps - taken - row.short_steps))
    for (pk, part), steps in asked.items():
        sheet = sheets[pk]
        chances = {day: (1.0,) for day in days if sheet.planned_on <= today + timedelta(days=day)}
        if not chances:
            continue
        yield (
            part,
            Need(
                rig=sheet.rig_id or 0,
                rig_number=sheet.rig.number if sheet.rig else 0,
                what=f"sheet {sheet}",
                quantity_steps=steps,
                chances=chances,
                sheet=sheet.number,
                promised_steps=promised[pk, part],
            ),
        )


def _in_kits(kits: Iterable[int]) -> dict[tuple[int, int], int]:
    return {
        (kit, part): steps
        for kit, part, steps in KitLine.objects.filter(kit__in=set(kits)).values_list(
            "kit", "part", "quantity_steps"
        )
    }
