"""Sheets of a week, or those picked, as one file says them: a list, then sheet by sheet."""

from collections.abc import Callable, Iterable, Iterator, Sequence
from datetime import date, datetime, timedelta

from django.conf import settings
from django.utils.translation import get_language, gettext

from shop import words
from shop.models import ServiceSheet, SheetLine, Shop
from shop.models.sheets import SheetQuerySet
from shop.paper.content import SheetPaper
from shop.paper.stack import StackPaper, StackRow
from shop.services.clocking import planned_minutes
from shop.services.paper import paper_to_print, printed_text
from shop.services.paper.about import whose


def sheets_of_week(first_day: date) -> list[ServiceSheet]:
    """Sheets planned for the seven days from one on, day by day, rig by rig; void ones are not
    handed out.
    """
    days = (first_day, first_day + timedelta(days=6))
    return _in_order(ServiceSheet.objects.filter(planned_on__range=days))


def sheets_picked(numbers: Iterable[int]) -> list[ServiceSheet]:
    """Sheets by their numbers, in the same order; those that are void or not there are left out."""
    return _in_order(ServiceSheet.objects.filter(number__in=set(numbers)))


def _in_order(sheets: SheetQuerySet) -> list[ServiceSheet]:
    kept = sheets.exclude(state=ServiceSheet.State.VOID)
    kept = kept.select_related("rig", "component", "technician")
    return list(kept.order_by("planned_on", "rig__number", "number"))


def stack_of(
    sheets: Sequence[ServiceSheet], *, title: str, printed_at: datetime, today: date
) -> StackPaper:
    """The list that lies on top, in the language that is spoken; whose a sheet is and how long it
    is planned to take as the sheet itself says it. Four queries, whatever the number of sheets.
    """
    lines = SheetLine.objects.filter(sheet__in=sheets).select_related("version__service", "finding")
    work: dict[int, list[SheetLine]] = {sheet.pk: [] for sheet in sheets}
    for line in lines.order_by("sheet", "order"):
        work[line.sheet_id].append(line)
    minutes = {pk: planned_minutes(of_sheet) for pk, of_sheet in work.items()}
    who = whose(sheets)
    rows = tuple(
        StackRow(
            number_text=str(sheet),
            subject=sheet.subject,
            work_text="; ".join(line.title for line in work[sheet.pk]),
            day_text=words.weekday(sheet.planned_on, today=today),
            technician=who[sheet.pk],
            planned_text=words.span(minutes[sheet.pk]),
            state_word=sheet.get_state_display(),
        )
        for sheet in sheets
    )
    return StackPaper(
        title=title,
        shop_name=Shop.objects.get().name,
        printed_text=printed_text(printed_at),
        language=get_language() or settings.LANGUAGE_CODE,
        rows=rows,
        cells=(
            (gettext("Sheets"), str(len(rows))),
            (gettext("Planned work"), words.span(sum(minutes.values()))),
        ),
    )


def papers_of(
    sheets: Iterable[ServiceSheet],
    *,
    today: date,
    system: str,
    url_of: Callable[[int], str],
    printed_at: datetime,
) -> Iterator[SheetPaper]:
    """Each sheet as it is printed alone, read when it is its turn; a signed one in its language.

    system: of the units in which measured values are said.

    url_of: where the code on a sheet leads, by its number.
    """
    whole = ServiceSheet.objects.select_related(
        "rig", "component__type__kind", "charged_rig", "technician", "signed_by", "corrects"
    )
    for sheet in sheets:
        # Read anew, so that what a sheet has kept is gone from memory before the next one.
        yield paper_to_print(
            whole.get(pk=sheet.pk),
            today=today,
            system=system,
            url=url_of(sheet.number),
            printed_at=printed_at,
        )
