"""What a signed sheet says as it stands: signed, or as the sheets that correct it say it."""

from dataclasses import dataclass
from decimal import Decimal
from uuid import UUID, uuid5

from equipment.models import Reading, Renewal
from inventory.models import Location, Movement, Part
from shop import unitwords
from shop.models import Correction, ReadingEntry, ServiceSheet, SheetLine, SheetStep, StepEntry
from shop.services.sheet_parts import SOURCE, places_of

About = Correction.About
_OF_A_LINE = (
    "line__version__service",
    "line__component__type__kind",
    "line__position__kind",
)


def reading_key(request_id: UUID, entry: ReadingEntry) -> UUID:
    """The id under which a correction by this id posts the right reading of a face."""
    return uuid5(request_id, f"reading {entry.pk}")


def reading_of(entry: ReadingEntry) -> Reading | None:
    """The reading that stands for what a signed sheet said of a face: posted with it, or by the
    last sheet that corrects it; None where it was taken back or corrected elsewhere, or waits."""
    rows = Reading.objects.filter(counter=entry.counter_id, is_in_force=True).select_related(
        "counter"
    )
    last = entry.corrections.select_related("sheet").order_by("-pk").first()
    if last is not None:
        return rows.filter(request_id=reading_key(last.sheet.request_id, entry)).first()
    return rows.filter(source=SOURCE, source_number=entry.sheet.number, reverses=None).first()


@dataclass(frozen=True, slots=True)
class CheckStands:
    """What a check showed: a choice, or a value as found and, where it was read again, as left."""

    value: Decimal | None = None
    left_value: Decimal | None = None
    choice: str = ""

    @property
    def measured(self) -> Decimal | None:
        """What it measured in the end."""
        return self.value if self.left_value is None else self.left_value


def check_stands(step: SheetStep) -> CheckStands:
    """What a check showed as it stands: signed, or as corrected last."""
    last = step.corrections.order_by("-pk").first()
    if last is not None:
        if last.value is None:
            return CheckStands(choice=last.now)
        return CheckStands(value=last.value, left_value=last.left_value)
    entry = step.entry
    if entry is None:
        return CheckStands()
    if entry.answer == StepEntry.Answer.VALUE:
        return CheckStands(value=entry.value, left_value=entry.left_value)
    return CheckStands(choice=entry.choice)


def check_said(step: SheetStep, stands: CheckStands, system: str) -> str:
    """How a value or a choice of a check is said, in the units of a system."""
    if stands.value is None:
        return stands.choice
    return unitwords.found_and_left(step.in_units(system), stands.value, stands.left_value)


def used_stands(sheet: ServiceSheet) -> dict[int, int]:
    """How much of each part a signed sheet used, as it stands: by part. [steps]"""
    used = {part: steps or 0 for part, steps in sheet.parts.values_list("part", "used_steps")}
    corrected = Correction.objects.filter(about=About.PART, sheet__corrects=sheet).order_by("pk")
    return used | {
        part: int(value)
        for part, value in corrected.values_list("part", "value")
        if part and value is not None
    }


def labour_stands(sheet: ServiceSheet) -> int:
    """How long the work of a signed sheet took, as it stands. [min]"""
    last = (
        Correction.objects.filter(about=About.LABOUR, sheet__corrects=sheet).order_by("-pk").first()
    )
    return sheet.labour_minutes if last is None or last.value is None else int(last.value)


def renewal_of(line: SheetLine) -> Renewal | None:
    """The renewal that a signed line made, while it is in force."""
    return (
        Renewal.objects.in_force()
        .filter(
            source_kind=SOURCE,
            source_number=line.sheet.number,
            component=line.component_id,
            version=line.version_id,
            within__isnull=True,
        )
        .first()
    )


@dataclass(frozen=True, slots=True)
class Stands:
    """What a signed sheet says as it stands, and what of it may be corrected.

    readings: with the reading that stands, None where it was taken back or corrected elsewhere, or
    waits for a manager. checks: with what stands of each. lines: services whose
    renewal is in force. parts: with how much was used [steps] and where it had lain.
    """

    readings: tuple[tuple[ReadingEntry, Reading | None], ...]
    checks: tuple[tuple[SheetStep, CheckStands], ...]
    lines: tuple[SheetLine, ...]
    parts: tuple[tuple[Part, int, Location | None], ...]
    labour_minutes: int


def stands_of(sheet: ServiceSheet) -> Stands:
    """What may be corrected on a signed sheet. Ticks, cautions and found work may not: what was
    ticked and not done is a service that was not done."""
    entries = sheet.readings.filter(is_in_force=True).select_related("counter", "sheet")
    steps = (
        sheet.steps.filter(
            section=SheetStep.Section.CHECK,
            kind__in=[SheetStep.Kind.VALUE, SheetStep.Kind.CHOICE],
            entry__answer__in=[StepEntry.Answer.VALUE, StepEntry.Answer.CHOICE],
            line__version__isnull=False,
        )
        .select_related("entry", *_OF_A_LINE)
        .order_by("order")
    )
    lines = (
        sheet.lines.filter(version__isnull=False, outcome=SheetLine.Outcome.DONE)
        .select_related("sheet", "version__service", "component__type__kind", "position__kind")
        .order_by("order")
    )
    used = used_stands(sheet)
    where = places_for(sheet)
    parts = Part.objects.filter(pk__in=used).prefetch_related("packs").order_by("number")
    return Stands(
        readings=tuple((entry, reading_of(entry)) for entry in entries.order_by("pk")),
        checks=tuple((step, check_stands(step)) for step in steps),
        lines=tuple(line for line in lines if renewal_of(line)),
        parts=tuple((part, used[part.pk], where.get(part.pk)) for part in parts),
        labour_minutes=labour_stands(sheet),
    )


def places_for(sheet: ServiceSheet) -> dict[int, Location]:
    """Where each part of a signed sheet was taken from, by part: the first choice of a place."""
    taken = (
        Movement.objects.filter(
            kind=Movement.Kind.TRANSFER,
            source_kind=SOURCE,
            source_number=sheet.number,
            quantity_steps__lt=0,
            location__in=places_of(sheet),
        )
        .select_related("location")
        .order_by("pk")
    )
    return {row.part_id: row.location for row in taken}
