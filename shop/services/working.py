"""What the technician enters while the work goes on: answers, values, readings."""

from collections.abc import Sequence
from datetime import datetime
from decimal import Decimal
from uuid import UUID, uuid5

from django.db import transaction
from django.db.models import Q

from equipment import values
from equipment.models import Finding
from equipment.services import NewReading, check_reading, open_finding
from shop.models import Person, ReadingEntry, ServiceSheet, SheetStep, Shop, StepEntry
from shop.services.locking import lock_open_sheet, start_work
from shop.services.refusals import BadAnswer, ChecksLocked, ElectricianNeeded, refuse_long

Answer, Remedy, Section = StepEntry.Answer, StepEntry.Remedy, SheetStep.Section
BEFORE_THE_CHECKS = (Section.CAUTION, Section.LOCKOUT, Section.ZERO)


def still_locked(sheet: ServiceSheet) -> list[SheetStep]:
    """What must be done before the checks open: cautions unread, sources not locked out, gauges
    not read or not at zero."""
    steps = sheet.steps.filter(section__in=BEFORE_THE_CHECKS).select_related("entry")
    order = {section: place for place, section in enumerate(BEFORE_THE_CHECKS)}
    return sorted(
        (step for step in steps if not _opens(step)),
        key=lambda step: (order[Section(step.section)], step.order),
    )


def open_checks(sheet: ServiceSheet) -> list[SheetStep]:
    """The checks without an answer in force, in the order along the rig."""
    return list(
        sheet.steps.filter(section=Section.CHECK, entry__isnull=True)
        .select_related("line")
        .order_by("order")
    )


def typed_value(step: SheetStep, text: str) -> Decimal | None:
    """What was typed into a measured value, as it is kept; None where nothing was.

    In ISO 4406 three scale numbers or three counts. Raises BadAnswer in words.
    """
    try:
        return values.typed(text, step.unit)
    except values.NotAValue as refused:
        raise BadAnswer(str(refused)) from refused


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
    choice: str = "",
    note: str = "",
    remedy: str = "",
    finding_text: str = "",
    is_grave: bool = False,
    seen: str | None = None,
) -> StepEntry:
    """Enter the answer to one step; the newest answer counts, the older ones are kept.

    answer: done, na (with a note), value (with a value), choice (one of the step's), cleared
        (the answer is taken back).
    remedy: what was done about a value out of limit; "found_work" opens found work with
        `finding_text`, and holds the rig when `is_grave`; so does "stop", always.
    seen: from a phone, the event_id of the answer that the person saw, "" where there was none.
        Where another is in force and says something else, each is a rival of the other until a
        person who saw them answers again. None: the person sees what is in force.
    Sent twice with one event_id, it counts once. Raises SheetClosed, ChecksLocked,
    ElectricianNeeded, BadAnswer.
    """
    sheet = lock_open_sheet(step.sheet)
    if earlier := StepEntry.objects.filter(event_id=event_id).first():
        return earlier
    before = StepEntry.objects.filter(in_force_for=step.pk).first()
    note, finding_text = note.strip(), finding_text.strip()
    if step.section == Section.CHECK and _is_locked(sheet):
        raise ChecksLocked(still_locked(sheet))
    if step.needs_electrician and not author.is_electrician:
        raise ElectricianNeeded(step)
    refuse_long(StepEntry, note=note)
    refuse_long(Finding, text=finding_text)
    is_outside = _checked(step, answer, value, choice, note, remedy, finding_text)
    start_work(sheet, author=author, at=at)
    finding = None
    if finding_text and (remedy in (Remedy.FOUND_WORK, Remedy.STOP)):
        finding = _open_finding(
            step, sheet, finding_text, is_grave or remedy == Remedy.STOP, author, at, event_id
        )
    kept_value = value if answer == Answer.VALUE else None
    kept_choice = choice if answer == Answer.CHOICE else ""
    is_unseen = before is not None and seen is not None and seen != str(before.event_id)
    differs = before is not None and (answer, kept_value, kept_choice, note) != (
        before.answer,
        before.value,
        before.choice,
        before.note,
    )
    entry = StepEntry.objects.create(
        step=step,
        event_id=event_id,
        author=author,
        at=at,
        recorded_at=recorded_at,
        answer=answer,
        value=kept_value,
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
    """Say which of several answers to a step counts: it is entered anew by who picks it, with
    the found work that it opened, and no other answer is its rival any more.

    Sent twice with one event_id, it counts once. Raises SheetClosed, ElectricianNeeded.
    """
    step = picked.step
    lock_open_sheet(step.sheet)
    if earlier := StepEntry.objects.filter(event_id=event_id).first():
        return earlier
    if step.needs_electrician and not author.is_electrician:
        raise ElectricianNeeded(step)
    entry = StepEntry.objects.create(
        step=step,
        event_id=event_id,
        author=author,
        at=at,
        recorded_at=recorded_at,
        answer=picked.answer,
        value=picked.value,
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
) -> ReadingEntry:
    """Note what a counter shows now that the work is done; the newest counts, whichever came last.

    It becomes a reading of the counter when the sheet is signed. What could not be taken then is
    refused now, with the face in sight. Raises SheetClosed, and equipment's ReadingRefused.
    """
    sheet = lock_open_sheet(sheet)
    if earlier := ReadingEntry.objects.filter(event_id=event_id).first():
        return earlier
    check_reading(new, at=at, recorded_at=recorded_at, zone=Shop.objects.get().zone)
    start_work(sheet, author=author, at=at)
    before = sheet.readings.filter(counter=new.counter, is_in_force=True)
    is_newest = not before.filter(at__gt=at).exists()
    if is_newest:
        before.update(is_in_force=False)
    return ReadingEntry.objects.create(
        sheet=sheet,
        counter=new.counter,
        event_id=event_id,
        author=author,
        at=at,
        recorded_at=recorded_at,
        value=new.value,
        step=new.step,
        before_reset=new.before_reset,
        face_start=new.face_start,
        is_in_force=is_newest,
    )


def _is_locked(sheet: ServiceSheet) -> bool:
    """Whether `still_locked` would name anything, without reading it all."""
    shows = Q(section=Section.ZERO) & (Q(entry__value__gt=0) | Q(entry__value__lt=0))
    steps = sheet.steps.filter(section__in=BEFORE_THE_CHECKS)
    return steps.filter(Q(entry__isnull=True) | shows).exists()


def _opens(step: SheetStep) -> bool:
    entry = step.entry
    if entry is None:
        return False
    if step.section == Section.ZERO:
        return entry.value == 0
    return True


def _checked(
    step: SheetStep,
    answer: str,
    value: Decimal | None,
    choice: str,
    note: str,
    remedy: str,
    finding_text: str,
) -> bool:
    """Refuse an answer that does not fit its step; return whether its value is out of limit."""
    if answer == Answer.CLEARED:
        return False
    allowed = _allowed_answers(step)
    if answer not in allowed:
        raise BadAnswer(f"“{step.title}” cannot be answered so.")
    if answer == Answer.NOT_APPLICABLE and not note:
        raise BadAnswer("Say why it does not apply.", "note")
    if answer == Answer.CHOICE and choice not in step.choices:
        raise BadAnswer("Choose one of the answers.", "choice")
    if answer != Answer.VALUE:
        return False
    if value is None:
        raise BadAnswer("Enter the value that was read.", "value")
    if not step.is_outside(value):
        return False
    if step.section == Section.ZERO:
        raise BadAnswer(
            f"It reads {step.said(value)}. It must read zero before anything is"
            " opened: relieve the pressure and read again.",
            "value",
        )
    if remedy not in Remedy.values or remedy == Remedy.NONE:
        raise BadAnswer("The value is out of limit. Say what you did about it.", "remedy")
    if remedy in (Remedy.FOUND_WORK, Remedy.STOP) and not finding_text:
        raise BadAnswer("Say what you found.", "finding_text")
    return True


def _allowed_answers(step: SheetStep) -> Sequence[str]:
    if step.section in (Section.CAUTION, Section.LOCKOUT):
        # A source of energy that this rig lacks is said not to be there; a caution is read.
        return (
            (Answer.DONE,)
            if step.section == Section.CAUTION
            else (Answer.DONE, Answer.NOT_APPLICABLE)
        )
    if step.section == Section.ZERO:
        return (Answer.VALUE,)
    own = {
        SheetStep.Kind.TICK: Answer.DONE,
        SheetStep.Kind.CHOICE: Answer.CHOICE,
        SheetStep.Kind.VALUE: Answer.VALUE,
    }[SheetStep.Kind(step.kind)]
    return (own, Answer.NOT_APPLICABLE)


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
        request_id=uuid5(event_id, "found work"),
    )
