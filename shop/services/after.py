"""What stands on the page of a signed sheet beside what was signed."""

from dataclasses import dataclass

from django.conf import settings
from django.utils.translation import get_language, gettext

from shop import words
from shop.models import Correction, SecondLook, ServiceSheet
from shop.services.paper.steps import line_place
from shop.spoken import own

About = Correction.About


@dataclass(frozen=True, slots=True)
class Corrected:
    """One thing that a correction says, in the language that is spoken."""

    title: str
    was: str
    now: str


@dataclass(frozen=True, slots=True)
class AfterSigning:
    """What came after the signature.

    look: the second look, where there was one. by: the sheets that correct it, in order.
    said: what this sheet says of the one it corrects.
    """

    look: SecondLook | None
    by: tuple[ServiceSheet, ...]
    said: tuple[Corrected, ...]


def after_signing(sheet: ServiceSheet) -> AfterSigning | None:
    """None for a sheet that is not signed."""
    if sheet.state != ServiceSheet.State.SIGNED:
        return None
    look = SecondLook.objects.select_related("author", "finding").filter(sheet=sheet).first()
    by = sheet.corrections.select_related("signed_by").order_by("number")
    return AfterSigning(look=look, by=tuple(by), said=_said(sheet) if sheet.corrects_id else ())


@dataclass(frozen=True, slots=True)
class Marks:
    """What the rows of a signed sheet are marked with, where later sheets correct them: by the key
    of the check, of the part, of the entry of a reading."""

    checks: dict[int, str]
    parts: dict[int, str]
    readings: dict[int, str]


def marks_of(sheet: ServiceSheet) -> Marks:
    """ "corrected: 25 psi (sheet 0078)" for each row that is corrected, by its last correction. One
    query."""
    marks = Marks({}, {}, {})
    rows = Correction.objects.filter(sheet__corrects=sheet).select_related("sheet")
    for row in rows.order_by("pk"):
        said = gettext("corrected: {now} (sheet {sheet})").format(now=own(row.now), sheet=row.sheet)
        if row.step_id:
            marks.checks[row.step_id] = said
        elif row.part_id:
            marks.parts[row.part_id] = said
        elif row.reading_id:
            marks.readings[row.reading_id] = said
    return marks


def _said(sheet: ServiceSheet) -> tuple[Corrected, ...]:
    rows = sheet.corrected.select_related(
        "reading__counter",
        *(
            f"{line}__{what}"
            for line in ("line", "step__line")
            for what in (
                "component__type__kind",
                "finding",
                "position__kind",
                "version__service",
            )
        ),
    )
    return tuple(Corrected(_title(row), own(row.was), own(row.now)) for row in rows.order_by("pk"))


def _title(row: Correction) -> str:
    """As it was kept, in English; in another language from what it is about."""
    if get_language() == settings.LANGUAGE_CODE:
        return row.title
    if row.reading:
        return words.counter_name(row.reading.counter)
    if row.line:
        return f"{line_place(row.line)}: {row.line.title}"
    if row.step:
        place = f"{line_place(row.step.line)}: " if row.step.line else ""
        return f"{place}{own(row.step.title)}"
    return gettext(row.title) if row.about == About.LABOUR else row.title
