"""Sheets of a week, or those picked, as one file says them: a list, then sheet by sheet."""

from collections.abc import Callable, Iterable, Iterator, Sequence
from datetime import date, timedelta

from shop import words
from shop.models import ServiceSheet, SheetLine, Shop
from shop.models.sheets import SheetQuerySet
from shop.paper.content import SheetPaper
from shop.paper.stack import StackPaper, StackRow
from shop.services.paper import paper_to_print


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
    sheets: Sequence[ServiceSheet], *, title: str, printed: str, today: date
) -> StackPaper:
    """The list that lies on top. Two queries, whatever the number of sheets."""
    lines = SheetLine.objects.filter(sheet__in=sheets).select_related("version__service", "finding")
    work: dict[int, list[str]] = {}
    minutes: dict[int, int] = {}
    for line in lines.order_by("sheet", "order"):
        work.setdefault(line.sheet_id, []).append(line.title)
        if line.version:
            planned = minutes.get(line.sheet_id, 0)
            minutes[line.sheet_id] = planned + line.version.labour_minutes
    rows = tuple(
        StackRow(
            number_text=str(sheet),
            subject=sheet.subject,
            work_text="; ".join(work.get(sheet.pk, ())),
            day_text=words.weekday(sheet.planned_on, today=today),
            technician=sheet.technician.name if sheet.technician else "not handed out",
            planned_text=words.span(minutes.get(sheet.pk, 0)),
            state_word=sheet.get_state_display(),
        )
        for sheet in sheets
    )
    return StackPaper(
        title=title,
        shop_name=Shop.objects.get().name,
        printed_text=printed,
        rows=rows,
        cells=(
            ("Sheets", str(len(rows))),
            ("Planned work", words.span(sum(minutes.values()))),
        ),
    )


def papers_of(
    sheets: Iterable[ServiceSheet], *, today: date, url_of: Callable[[int], str], printed: str
) -> Iterator[SheetPaper]:
    """Each sheet as it is printed alone, read when it is its turn.

    url_of: where the code on a sheet leads, by its number.
    """
    whole = ServiceSheet.objects.select_related(
        "rig", "component__type__kind", "charged_rig", "technician", "signed_by", "corrects"
    )
    for sheet in sheets:
        # Read anew, so that what a sheet has kept is gone from memory before the next one.
        yield paper_to_print(
            whole.get(pk=sheet.pk), today=today, url=url_of(sheet.number), printed=printed
        )
