"""A signed sheet that said something wrong is corrected by a sheet of its own, which names it.

The old sheet stays as it was signed and prints so for ever. What follows from the right figures is
posted by the services that post it everywhere else: a reading by `correct_reading`, parts by an
issue or a return at the source of the old sheet, so that its spend adds up, a measured value as a
newer one of the same moment, and a service that was not done by a row that undoes its renewal.
"""

import hashlib
import json
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from uuid import UUID, uuid5

from django.conf import settings
from django.db import transaction
from django.db.models import Max

from equipment.counters import ReadingRefused
from equipment.models import Finding, Rig
from equipment.services import (
    CareRefused,
    NewMeasurement,
    NewReading,
    correct_reading,
    open_finding,
    record_measurements,
    undo_renewal,
)
from inventory.models import Location, Part
from inventory.services import IssueLine, StockRefused, in_words, issue, put_back
from shop import words
from shop.models import (
    Correction,
    Person,
    ReadingEntry,
    ServiceSheet,
    SheetLine,
    SheetStep,
    Shop,
    SignedCopy,
)
from shop.paper.content import CheckGroup, PaperCheck, PaperFound, SheetPaper
from shop.services.paper.keeping import paper_to_plain
from shop.services.paper.steps import line_place
from shop.services.refusals import SheetRefused, refuse_long
from shop.services.sheet_parts import SOURCE
from shop.services.standing import (
    CheckStands,
    check_said,
    check_stands,
    labour_stands,
    reading_key,
    reading_of,
    renewal_of,
    used_stands,
)

About = Correction.About


class CorrectionRefused(SheetRefused):
    """One thing that cannot be corrected so; `where` names it: "reading-12", "part-3"."""

    def __init__(self, where: str, words_of_it: str) -> None:
        super().__init__(words_of_it)
        self.where = where


@dataclass(frozen=True, slots=True)
class RightReading:
    """What a face really showed; what had happened to it stays as it was said."""

    entry: ReadingEntry
    value: Decimal


@dataclass(frozen=True, slots=True)
class RightPart:
    """How much of a part was really used, >= 0 [steps]; what is more or less comes from or goes
    back to `place`."""

    part: Part
    used_steps: int
    place: Location | None


@dataclass(frozen=True, slots=True)
class RightCheck:
    """What a check really showed: a choice, or a value as found and as left, of which None stands
    as it is. work: what to do about one that stays out of limit."""

    step: SheetStep
    value: Decimal | None = None
    choice: str = ""
    work: str = ""
    left_value: Decimal | None = None


@dataclass(frozen=True, slots=True)
class Right:
    """All that a sheet should have said."""

    readings: tuple[RightReading, ...] = ()
    parts: tuple[RightPart, ...] = ()
    checks: tuple[RightCheck, ...] = ()
    not_done: tuple[SheetLine, ...] = ()
    labour_minutes: int | None = None


def correct_sheet(
    *,
    sheet: ServiceSheet,
    right: Right,
    reason: str,
    signature: str,
    author: Person,
    at: datetime,
    request_id: UUID,
) -> ServiceSheet:
    """Write and sign the sheet that corrects a signed one, and post what follows; all or nothing.

    What is said as it stands already is passed over. Sent twice with one request_id, it makes one
    sheet. Raises CorrectionRefused beside what it is about; SheetRefused where the sheet is not
    signed, corrects another itself, or nothing is said that differs.
    """
    reason, signature = reason.strip(), signature.strip()
    if not reason:
        raise SheetRefused("Say how it came to be wrong.")
    if not signature:
        raise SheetRefused("Write your name to sign.")
    refuse_long(ServiceSheet, note=reason, signature=signature)
    with transaction.atomic():
        # The lock of sheet numbers; then, in their order, sheet, rigs, components, lots.
        shop = Shop.objects.select_for_update().get()
        if earlier := ServiceSheet.objects.filter(request_id=request_id).first():
            return earlier
        old = (
            ServiceSheet.objects.select_for_update(of=("self",))
            .select_related("rig", "component", "charged_rig")
            .get(pk=sheet.pk)
        )
        if old.state != ServiceSheet.State.SIGNED:
            raise SheetRefused(f"Sheet {old} is not signed: nothing on it needs a correction yet.")
        if old.corrects_id:
            raise SheetRefused(f"Sheet {old} is a correction itself: correct sheet {old.corrects}.")
        if old.rig_id:
            Rig.objects.select_for_update().get(pk=old.rig_id)
        new = ServiceSheet.objects.create(
            number=_next_number(),
            rig=old.rig,
            component=old.component,
            charged_rig=old.charged_rig,
            state=ServiceSheet.State.SIGNED,
            planned_on=at.astimezone(shop.zone).date(),
            note=reason,
            drafted_by=author,
            drafted_at=at,
            technician=author,
            started_at=at,
            signed_by=author,
            signed_at=at,
            signature=signature,
            corrects=old,
            request_id=request_id,
            signing_id=request_id,
        )
        work = _Work(old, new, author, at, reason, request_id, shop)
        rows = [
            *(row for each in right.readings for row in work.reading(each)),
            *(row for each in right.checks for row in work.check(each)),
            *(row for each in right.not_done for row in work.not_done(each)),
            *(row for each in right.parts for row in work.part(each)),
            *work.labour(right.labour_minutes),
        ]
        if not rows:
            raise SheetRefused("Nothing differs from what stands. Say what was wrong.")
        for row in rows:
            row.save()
        _keep_copy(new, old, rows, shop)
        return new


def _next_number() -> int:
    """The number of the next sheet, under the lock of the shop."""
    return (ServiceSheet.objects.aggregate(last=Max("number"))["last"] or 0) + 1


class _Work:
    """The corrections of one sheet, each posted and handed back as its row; nothing where it is
    said as it stands."""

    def __init__(
        self,
        old: ServiceSheet,
        new: ServiceSheet,
        author: Person,
        at: datetime,
        reason: str,
        request_id: UUID,
        shop: Shop,
    ) -> None:
        self.old, self.new, self.author, self.at = old, new, author, at
        self.why = words.BY_SHEET.format(sheet=new, why=reason)[:200]
        self.request_id, self.zone = request_id, shop.zone
        self.system = author.units_in(shop)

    def reading(self, right: RightReading) -> list[Correction]:
        where = f"reading-{right.entry.pk}"
        stands = reading_of(right.entry)
        if stands is None:
            raise CorrectionRefused(where, "This reading was taken back or corrected elsewhere.")
        if stands.value == right.value:
            return []
        try:
            correct_reading(
                reading=stands,
                new=NewReading(
                    counter=stands.counter,
                    value=right.value,
                    step=stands.step,
                    before_reset=stands.before_reset,
                    face_start=stands.face_start,
                ),
                at=stands.at,
                is_day_only=stands.is_day_only,
                author=self.author,
                recorded_at=self.at,
                reason=self.why,
                request_id=reading_key(self.request_id, right.entry),
                zone=self.zone,
            )
        except ReadingRefused as refused:
            raise CorrectionRefused(where, str(refused)) from refused
        unit = stands.counter.unit
        return [
            Correction(
                sheet=self.new,
                about=About.READING,
                reading=right.entry,
                title=words.counter_name(stands.counter),
                was=f"{words.exactly(stands.value)} {unit}".strip(),
                now=f"{words.exactly(right.value)} {unit}".strip(),
                value=right.value,
            )
        ]

    def check(self, right: RightCheck) -> list[Correction]:
        step, where = right.step, f"check-{right.step.pk}"
        stands = check_stands(step)
        if step.kind == SheetStep.Kind.CHOICE:
            if right.choice not in step.choices:
                raise CorrectionRefused(where, "Choose one of the answers.")
            new = CheckStands(choice=right.choice)
        else:
            new = CheckStands(
                value=stands.value if right.value is None else right.value,
                left_value=stands.left_value if right.left_value is None else right.left_value,
            )
            if new.value is None:
                raise CorrectionRefused(where, "Enter the value that was read.")
        if new == stands:
            return []
        was = check_said(step, stands, self.system)
        now = check_said(step, new, self.system)
        measured = new.measured
        is_outside = measured is not None and step.is_outside(measured)
        if is_outside and not right.work.strip():
            raise CorrectionRefused(
                f"work-{step.pk}", "The value is out of limit. Say what has to be done about it."
            )
        if right.work.strip():
            refuse_long(Finding, text=right.work.strip())
            open_finding(
                rig=self.old.rig or self.old.charged_rig,
                component=step.line.component if step.line else self.old.component,
                text=right.work,
                source_kind=SOURCE,
                source_number=self.new.number,
                author=self.author,
                at=self.at,
                request_id=uuid5(self.request_id, f"work {step.pk}"),
            )
        component = step.line.component if step.line else None
        if (
            measured is not None
            and measured != stands.measured
            and component is not None
            and step.entry is not None
        ):
            record_measurements(
                measured=[
                    NewMeasurement(
                        component=component,
                        name=step.title,
                        unit=step.unit,
                        value=measured,
                        # Of the same moment, and later in the list: it is the one that counts.
                        at=min(step.entry.at, self.old.signed_at or self.at),
                        request_id=uuid5(self.request_id, f"measured {step.pk}"),
                    )
                ],
                author=self.author,
                recorded_at=self.at,
                zone=self.zone,
                source_kind=SOURCE,
                source_number=self.new.number,
            )
        place = f"{line_place(step.line)}: " if step.line else ""
        return [
            Correction(
                sheet=self.new,
                about=About.CHECK,
                step=step,
                title=f"{place}{step.title}"[:300],
                was=(was or "open")[:300],
                now=now[:300],
                value=new.value,
                left_value=new.left_value,
            )
        ]

    def not_done(self, line: SheetLine) -> list[Correction]:
        where = f"line-{line.pk}"
        renewal = renewal_of(line)
        if renewal is None:
            raise CorrectionRefused(where, "Its renewal was undone already.")
        try:
            undo_renewal(
                renewal=renewal, author=self.author, at=self.at, reason=self.why, zone=self.zone
            )
        except CareRefused as refused:
            raise CorrectionRefused(where, str(refused)) from refused
        SheetLine.objects.create(
            sheet=self.new,
            order=self.new.lines.count() + 1,
            version=line.version,
            component=line.component,
            position=line.position,
            due_on=line.due_on,
            state_text=words.NOT_DONE_ON.format(number=self.old),
            outcome=SheetLine.Outcome.LEFT,
            is_open=False,
        )
        return [
            Correction(
                sheet=self.new,
                about=About.SERVICE,
                line=line,
                title=f"{line_place(line)}: {line.title}"[:300],
                was="done",
                now=words.NOT_DONE,
            )
        ]

    def part(self, right: RightPart) -> list[Correction]:
        part, where = right.part, f"part-{right.part.pk}"
        stands = used_stands(self.old).get(part.pk, 0)
        more = right.used_steps - stands
        if right.used_steps < 0:
            raise CorrectionRefused(where, "No less than nothing can be used.")
        if not more:
            return []
        if right.place is None:
            raise CorrectionRefused(where, "Say which bin or drawer it came from or goes back to.")
        said = {
            "author": self.author,
            "at": self.at,
            "request_id": uuid5(self.request_id, f"part {part.pk}"),
            "reason": self.why,
            "source_kind": SOURCE,
            "source_number": self.old.number,
        }
        try:
            if more > 0:
                issue(lines=[IssueLine(part, right.place, more)], **said)  # type: ignore[arg-type]
            else:
                put_back(part=part, location=right.place, quantity_steps=-more, **said)  # type: ignore[arg-type]
        except StockRefused as refused:
            raise CorrectionRefused(where, str(refused)) from refused
        return [
            Correction(
                sheet=self.new,
                about=About.PART,
                part=part,
                title=f"{part.name} ({part.number})"[:300],
                was=_used(part, stands),
                now=_used(part, right.used_steps),
                value=right.used_steps,
            )
        ]

    def labour(self, minutes: int | None) -> list[Correction]:
        stands = labour_stands(self.old)
        if minutes is None or minutes == stands:
            return []
        return [
            Correction(
                sheet=self.new,
                about=About.LABOUR,
                title=words.HOW_LONG,
                was=f"{stands} min",
                now=f"{minutes} min",
                value=minutes,
            )
        ]


def _used(part: Part, steps: int) -> str:
    return words.USED.format(used=in_words(part, steps)) if steps else words.NONE_USED


def _keep_copy(
    new: ServiceSheet, old: ServiceSheet, rows: Sequence[Correction], shop: Shop
) -> None:
    assert new.signed_at is not None
    assert old.signed_at is not None
    signed = words.dated(old.signed_at, zone=shop.zone)
    checks = tuple(
        PaperCheck(number=number, text=row.title, found_text=f"{row.now} (it said: {row.was})")
        for number, row in enumerate(rows, 1)
    )
    paper = SheetPaper(
        number=new.number,
        rig_number=new.rig.number if new.rig else None,
        title=new.rig.name if new.rig else str(new.component),
        subtitle=f"corrects sheet {old}, signed by {old.signature}, {signed}",
        icon=new.component.type.kind.icon if new.component else "",
        shop_name=shop.name,
        step=new.step,
        step_word=new.get_state_display(),
        cells=(
            ("Corrects", f"sheet {old}"),
            ("By", new.signature),
            ("Corrections", f"{len(rows)}"),
        ),
        groups=(
            CheckGroup(
                position=f"Sheet {old}",
                service="what it should have said",
                state_text=new.note,
                checks=checks,
            ),
        ),
        found_work=tuple(
            PaperFound(text=each.text, is_grave=each.is_grave)
            for each in Finding.objects.filter(
                source_kind=SOURCE, source_number=new.number
            ).order_by("pk")
        ),
        finished=words.dated(new.signed_at, zone=shop.zone),
        signed=new.signature,
        url="",
        printed_text="",
        # A correction is written on a page in English, and quotes what it corrects in it.
        language=settings.LANGUAGE_CODE,
    )
    document = paper_to_plain(paper)
    text = json.dumps(document, sort_keys=True, ensure_ascii=False)
    SignedCopy.objects.create(
        sheet=new,
        document=document,
        sha256=hashlib.sha256(text.encode()).hexdigest(),
        signed_at=new.signed_at,
    )
