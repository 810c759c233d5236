"""How long services took on the sheets on which they were done, and what that teaches.

Read whole from the sheets at the turn of the day (`shop.planned_minutes` says how): a signature
takes no lock on a service for it.
"""

from collections import defaultdict
from collections.abc import Collection, Iterable
from dataclasses import dataclass
from datetime import datetime

from django.db.models import F, Window
from django.db.models.functions import RowNumber

from equipment.models import Finding, ServiceVersion
from equipment.services.taking import set_learnt_minutes
from shop.models import Correction, ServiceSheet, SheetLine
from shop.planned_minutes import LAST, Told, learnt, shares
from shop.services.sheet_parts import SOURCE


@dataclass(frozen=True, slots=True)
class Doing:
    """A service done on a component, on a signed sheet.

    minutes: its share of the sheet's work, 0 where that says nothing: no time was written down, or
    found work was put right on the same sheet, whose share nobody knows. of_minutes: the whole.
    found: whether work was found on its component then.
    """

    sheet_number: int
    component: str
    signed_at: datetime | None
    minutes: float
    of_minutes: int
    found: bool


def doings(services: Collection[int] | None = None) -> dict[int, list[Doing]]:
    """The last dozen doings of services (None: of all), by the service's key, the newest first.

    A service that was left undone, or that a correction says was not done, is none. Four queries,
    however many services.
    """
    done = SheetLine.objects.filter(
        outcome=SheetLine.Outcome.DONE,
        version__isnull=False,
        sheet__state=ServiceSheet.State.SIGNED,
        corrections__isnull=True,
    )
    if services is not None:
        done = done.filter(version__service__in=services)
    newest = Window(
        RowNumber(),
        partition_by=F("version__service"),
        order_by=[F("sheet__signed_at").desc(), F("pk").desc()],
    )
    rows = list(
        done.annotate(place=newest)
        .filter(place__lte=LAST)
        .order_by("-sheet__signed_at", "-pk")
        .values_list(
            "pk",
            "sheet",
            "sheet__number",
            "sheet__signed_at",
            "sheet__labour_minutes",
            "version__service",
            "component",
            "component__tag",
        )
    )
    sheets = {row[1] for row in rows}
    took = _corrected(sheets)
    share = _shares(sheets, {row[1]: took.get(row[1], row[4]) for row in rows})
    found = _found({row[2] for row in rows})
    by_service: dict[int, list[Doing]] = defaultdict(list)
    for pk, sheet, number, signed_at, labour, service, component, tag in rows:
        by_service[service].append(
            Doing(
                sheet_number=number,
                component=tag or "",
                signed_at=signed_at,
                minutes=share.get(pk, 0.0),
                of_minutes=took.get(sheet, labour),
                found=(number, component) in found,
            )
        )
    return by_service


def told(rows: Iterable[Doing]) -> Told:
    """The figures of some doings of one service."""
    rows = list(rows)
    return Told(
        took=tuple(row.minutes for row in rows if row.minutes),
        found=sum(row.found for row in rows),
        times=len(rows),
    )


def learn_minutes() -> int:
    """Keep with each service what its last doings teach; returns how many services changed."""
    by_service = doings()
    asked = dict(
        ServiceVersion.objects.filter(is_current=True).values_list("service", "labour_minutes")
    )
    return set_learnt_minutes(
        minutes={
            service: learnt(told(by_service.get(service, ())).took, asked=minutes)
            for service, minutes in asked.items()
        }
    )


def _shares(sheets: Collection[int], took: dict[int, int]) -> dict[int, float]:
    """By line: its share of the work of its sheet, by what the versions asked for then.

    By that, and not by what was learnt since, so that a figure does not lean on itself.
    """
    lines: dict[int, list[tuple[int, int]]] = defaultdict(list)
    unclear: set[int] = set()
    for pk, sheet, asked, finding in (
        SheetLine.objects.filter(
            sheet__in=sheets, outcome=SheetLine.Outcome.DONE, corrections__isnull=True
        )
        .order_by("sheet", "order")
        .values_list("pk", "sheet", "version__labour_minutes", "finding")
    ):
        if finding is not None:
            unclear.add(sheet)
        else:
            lines[sheet].append((pk, asked))
    return {
        pk: minutes
        for sheet, rows in lines.items()
        if sheet not in unclear
        for (pk, _), minutes in zip(
            rows, shares(took[sheet], [asked for _, asked in rows]), strict=True
        )
    }


def _corrected(sheets: Collection[int]) -> dict[int, int]:
    """By sheet: how long the work took by its last correction, where that was corrected. [min]"""
    rows = (
        Correction.objects.filter(about=Correction.About.LABOUR, sheet__corrects__in=sheets)
        .order_by("pk")
        .values_list("sheet__corrects", "value")
    )
    return {sheet: int(value) for sheet, value in rows if sheet and value is not None}


def _found(numbers: Collection[int]) -> set[tuple[int, int | None]]:
    """Sheet number and component of the work that was found on these sheets."""
    rows = Finding.objects.filter(
        source_kind=SOURCE, source_number__in=numbers, component__isnull=False
    )
    return set(rows.values_list("source_number", "component"))
