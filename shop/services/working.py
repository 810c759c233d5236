"""What the technician enters while the work goes on: answers, values, readings."""

from datetime import datetime
from decimal import Decimal
from uuid import UUID

from django.db import transaction

from equipment.models import Finding
from equipment.services import NewReading, check_reading, open_finding
from shop.as_left import SEEN_TO
from shop.models import Person, ReadingEntry, Role, ServiceSheet, SheetStep, Shop, StepEntry
from shop.services.answers import refuse_unfit
from shop.services.in_order import refuse_locked, refuse_out_of_order
from shop.services.locking import lock_open_sheet, start_work
from shop.services.refusals import (
    ElectricianNeeded,
    refuse_long,
)

Answer, Remedy, Section = StepEntry.Answer, StepEntry.Remedy, SheetStep.Section


def electricians() -> list[str]:
    """Who may enter and sign what is for a licensed electrician, by name."""
    people = Person.objects.filter(is_electrician=True, is_active=True)
    return list(people.exclude(role=Role.OWNER).order_by("name").values_list("name", flat=True))


def open_checks(sheet: ServiceSheet) -> list[SheetStep]:
    """The checks without an answer in force, in the order along the rig."""
    return list(
        sheet.steps.filter(section=Section.CHECK, entry__isnull=True)
        .select_related("line")
        .order_by("order")
    )


@transaction.atomic
def answer_step(
    *,
    step: SheetStep,
    event_id: UUID,
    author: Person,
    at: datetime,
    recorded_at: datetime,
    answer: str,
    value: Decimal | None = None,
    left_value: Decimal | None = None,
    choice: str = "",
    note: str = "",
    remedy: str = "",
    finding_text: str = "",
    is_grave: bool = False,
    seen: str | None = None,
    written_by: Person | None = None,
) -> StepEntry:
    """Enter the answer to one step; the newest answer counts, the older ones are kept.

    answer: done, na (with a note), value (with a value), choice (one of the step's), cleared
        (the answer is taken back).
    left_value: of a check, what it measured when it was read again after the work, in the unit of
        `value`.
    remedy: what was done about a value out of limit, what it asks for says `shop.as_left`;
        "found_work" opens found work with `finding_text`, and holds the rig when `is_grave`; so
        does "stop", always. Without either, `finding_text` is kept as a note, behind `note`.
    seen: from a phone, the event_id of the answer that the person saw, "" where there was none.
        Where another is in force and says something else, each is a rival of the other until a
        person who saw them answers again. None: the person sees what is in force.
    written_by: who wrote it on paper, where the author keys it in, or on a phone, where the author
        puts it right: whose work it is, so the one who has to be an electrician and to have read
        and locked out.
    A gauge that does not read zero is kept as it was read, and keeps the checks locked.
    Sent twice with one event_id, it counts once. Raises SheetClosed, ChecksLocked (or LookAgain,
    LocksOffFirst, OutOfOrder), ElectricianNeeded, BadAnswer.
    """
    sheet = lock_open_sheet(step.sheet)
    if earlier := StepEntry.objects.filter(event_id=event_id).first():
        return earlier
    before = StepEntry.objects.filter(in_force_for=step.pk).first()
    note, finding_text = note.strip(), finding_text.strip()
    hand = written_by or author
    if step.needs_electrician and not hand.is_electrician:
        raise ElectricianNeeded(step, electricians())
    if step.section == Section.CHECK:
        refuse_locked(step, who=hand, at=at, answer=answer, choice=choice)
    else:
        refuse_out_of_order(step, who=hand, at=at, answer=answer, value=value)
    refuse_long(Finding, text=finding_text)
    if remedy not in SEEN_TO and answer != Answer.CLEARED:
        # What was typed beside a value is kept, whatever was chosen there.
        note = "; ".join(dict.fromkeys(filter(None, (note, finding_text))))
    refuse_long(StepEntry, note=note)
    is_outside = refuse_unfit(
        step,
        answer,
        value=value,
        left_value=left_value,
        choice=choice,
        note=note,
        remedy=remedy,
        finding_text=finding_text,
    )
    start_work(sheet, author=written_by or author, at=at)
    finding = None
    if finding_text and remedy in SEEN_TO:
        is_grave = is_grave or remedy == Remedy.STOP
        # Found by whose hand wrote the paper, whoever keys it in.
        finder = written_by or author
        finding = _open_finding(step, sheet, finding_text, is_grave, finder, at, event_id)
    kept_value, kept_left = (value, left_value) if answer == Answer.VALUE else (None, None)
    kept_choice = choice if answer == Answer.CHOICE else ""
    is_unseen = before is not None and seen is not None and seen != str(before.event_id)
    differs = before is not None and (answer, kept_value, kept_left, kept_choice, note) != (
        before.answer,
        before.value,
        before.left_value,
        before.choice,
        before.note,
    )
    entry = StepEntry.objects.create(
        step=step,
        event_id=event_id,
        author=author,
        written_by=written_by,
        at=at,
        recorded_at=recorded_at,
        answer=answer,
        value=kept_value,
        left_value=kept_left,
        choice=kept_choice,
        note=note,
        remedy=remedy,
        is_out_of_limit=is_outside,
        finding=finding,
        rival_of=before if is_unseen and differs else None,
    )
    if is_unseen and before is not None and (before.at > at or answer == Answer.CLEARED):
        # What came late is older than what stands; and nobody takes back what they have not seen.
        step.entry = before
        return entry
    step.entry = None if answer == Answer.CLEARED else entry
    step.save(update_fields=["entry"])
    return entry


@transaction.atomic
def pick_answer(
    *, picked: StepEntry, event_id: UUID, author: Person, at: datetime, recorded_at: datetime
) -> StepEntry:
    """Say which of several answers to a step counts: it is entered anew by who picks it, as
    the work of whose it was, with the found work that it opened; no other answer is its rival then.

    Sent twice with one event_id, it counts once. Raises SheetClosed, ElectricianNeeded.
    """
    step = picked.step
    lock_open_sheet(step.sheet)
    if earlier := StepEntry.objects.filter(event_id=event_id).first():
        return earlier
    if step.needs_electrician and not author.is_electrician:
        raise ElectricianNeeded(step, electricians())
    entry = StepEntry.objects.create(
        step=step,
        event_id=event_id,
        author=author,
        written_by=picked.hand if picked.hand != author else None,
        at=at,
        recorded_at=recorded_at,
        answer=picked.answer,
        value=picked.value,
        left_value=picked.left_value,
        choice=picked.choice,
        note=picked.note,
        remedy=picked.remedy,
        is_out_of_limit=picked.is_out_of_limit,
        finding=picked.finding,
    )
    step.entry = None if picked.answer == Answer.CLEARED else entry
    step.save(update_fields=["entry"])
    return entry


@transaction.atomic
def enter_reading(
    *,
    sheet: ServiceSheet,
    new: NewReading,
    event_id: UUID,
    author: Person,
    at: datetime,
    recorded_at: datetime,
    written_by: Person | None = None,
) -> ReadingEntry:
    """Note what a counter shows now that the work is done; the newest counts, whichever came last.

    It becomes a reading of the counter when the sheet is signed. What could not be taken then is
    refused now, with the face in sight. Raises SheetClosed, and equipment's ReadingRefused.
    """
    sheet = lock_open_sheet(sheet)
    if earlier := ReadingEntry.objects.filter(event_id=event_id).first():
        return earlier
    check_reading(new, at=at, recorded_at=recorded_at, zone=Shop.objects.get().zone)
    start_work(sheet, author=written_by or author, at=at)
    before = sheet.readings.filter(counter=new.counter, is_in_force=True)
    is_newest = not before.filter(at__gt=at).exists()
    if is_newest:
        before.update(is_in_force=False)
    return ReadingEntry.objects.create(
        sheet=sheet,
        counter=new.counter,
        event_id=event_id,
        author=author,
        written_by=written_by,
        at=at,
        recorded_at=recorded_at,
        value=new.value,
        step=new.step,
        before_reset=new.before_reset,
        face_start=new.face_start,
        is_in_force=is_newest,
    )


def _open_finding(
    step: SheetStep,
    sheet: ServiceSheet,
    text: str,
    is_grave: bool,
    author: Person,
    at: datetime,
    event_id: UUID,
) -> Finding:
    return open_finding(
        rig=sheet.rig or sheet.charged_rig,
        component=step.line.component if step.line else sheet.component,
        text=text,
        is_grave=is_grave,
        source_kind="sheet",
        source_number=sheet.number,
        author=author,
        at=at,
        # By the id of the answer: photos name it so before it is here.
        request_id=event_id,
    )
