"""Checks that say that a part was replaced, where no part is noted as used: asked about once."""

import re
from collections.abc import Iterable, Sequence
from typing import Final

from django.utils.text import format_lazy
from django.utils.translation import gettext_lazy

from shop import words
from shop.models import PartsNeed, ServiceSheet, SheetLine, SheetPart, SheetStep, StepEntry
from shop.services.refusals import SheetRefused, first_named_lazy

#: As the starting library says it ("replaced"), and as a shop may write its own choices.
_REPLACED: Final = re.compile(
    r"replaced|renewed|changed|exchanged|swapped|reemplazad[oa]s?|cambiad[oa]s?|sustituid[oa]s?"
)
_NOT: Final = frozenset({"not", "no", "never", "none"})


class NoPartUsed(SheetRefused):
    """Something is marked as replaced and no part is noted for it: a question, not a refusal."""

    def __init__(self, steps: Sequence[SheetStep]) -> None:
        self.steps = steps
        text = gettext_lazy(words.NO_PART_USED)
        super().__init__(format_lazy(text, named=first_named_lazy(steps)))


def means_replaced(choice: str) -> bool:
    """Whether a choice says that a part was replaced: "replaced", "both renewed", "cambiado"."""
    said = re.findall(r"\w+", choice.casefold())
    return not _NOT.intersection(said) and any(map(_REPLACED.fullmatch, said))


def rows_of_lines(
    lines: Iterable[SheetLine], rows: Iterable[SheetPart]
) -> dict[int, list[SheetPart]]:
    """By line, the parts of the sheet that its work may have used; one query.

    Those that its service needs, as a kit or by the kit's lines, for whichever line they were
    planned; and those that no line asked for.
    """
    lines = list(lines)
    services = {line.pk: line.version.service_id for line in lines if line.version}
    needed = set(
        PartsNeed.objects.filter(service__in=services.values()).values_list("service", "part")
    )
    found: dict[int, list[SheetPart]] = {line.pk: [] for line in lines}
    for row in rows:
        wanted = row.for_kit_id or row.part_id
        theirs = [
            line.pk
            for line in lines
            if row.line_id == line.pk or (services.get(line.pk), wanted) in needed
        ]
        for key in theirs or found:
            found[key].append(row)
    return found


def refuse_without_parts(sheet: ServiceSheet) -> None:
    """Ask about checks that say that a part was replaced, while none is noted as used for their
    line. Raises NoPartUsed."""
    said = sheet.steps.filter(section=SheetStep.Section.CHECK, entry__isnull=False)
    replaced = [
        step
        for step in said.select_related("entry", "sheet").order_by("line__order", "order")
        if step.entry
        and (
            step.entry.remedy == StepEntry.Remedy.REPLACED
            or (step.entry.answer == StepEntry.Answer.CHOICE and means_replaced(step.entry.choice))
        )
    ]
    if not replaced:
        return
    rows = rows_of_lines(sheet.lines.select_related("version"), sheet.parts.all())
    used = {key for key, of in rows.items() if any(row.used_steps for row in of)}
    if bare := [step for step in replaced if step.line_id not in used]:
        raise NoPartUsed(bare)
