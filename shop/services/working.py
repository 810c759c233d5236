"""What the technician enters while the work goes on: answers, values, readings."""

from collections.abc import Iterable, Sequence
from datetime import datetime
from decimal import Decimal
from uuid import UUID

from django.db import transaction
from django.db.models import Q

from equipment import values
from equipment.models import Finding
from equipment.services import NewReading, check_reading, open_finding
from shop.isolation import Before, Start, Wanted, still_before
from shop.models import Person, ReadingEntry, Role, ServiceSheet, SheetStep, Shop, StepEntry
from shop.services.drafting import CARRY_FORWARD
from shop.services.locking import lock_open_sheet, start_work
from shop.services.refusals import (
    BadAnswer,
    ChecksLocked,
    ElectricianNeeded,
    LookAgain,
    refuse_long,
)

Answer, Remedy, Section = StepEntry.Answer, StepEntry.Remedy, SheetStep.Section
BEFORE_THE_CHECKS = (Section.CAUTION, Section.LOCKOUT, Section.ZERO)
#: Answers by which the work was done.
ENTERED = (Answer.DONE, Answer.VALUE, Answer.CHOICE)


def still_locked(sheet: ServiceSheet, *, who: Person | None = None) -> list[SheetStep]:
    """What must be done before the checks open: cautions unread, sources not locked out, gauges
    not read or not at zero.

    who: for this person, who reads each caution and puts on a lock of his own; None: what nobody
        has done yet. Which checks that keeps locked, and for how long, says `locking`.
    """
    steps = _before(sheet, who)
    return _named_by(steps, still_before(steps.values(), Wanted(), started=None, at=None))


def locking(
    step: SheetStep, *, who: Person | None, at: datetime, opens_it: bool = True
) -> list[SheetStep]:
    """What this person must do, or do again, before this check is entered at this instant.

    opens_it: False for an answer by which nothing is opened, such as not applicable.
    """
    wanted = Wanted(
        opens=frozenset(step.opens) if opens_it else frozenset(),
        is_run=step.is_run,
        for_electrician=step.needs_electrician,
    )
    steps = _before(step.sheet, who)
    started = _last_start(step.sheet, steps.values(), at) if opens_it else None
    moment = at if opens_it else None
    return _named_by(steps, still_before(steps.values(), wanted, started=started, at=moment))


def locking_signature(sheet: ServiceSheet) -> list[SheetStep]:
    """What nobody has done of all that the answered checks asked for before them."""
    steps = _before(sheet, None)
    answered = sheet.steps.filter(section=Section.CHECK, entry__isnull=False)
    kinds = answered.order_by().values_list("is_run", "needs_electrician").distinct()
    missing: set[int] = set()
    for is_run, for_electrician in kinds:
        wanted = Wanted(is_run=is_run, for_electrician=for_electrician)
        missing |= set(still_before(steps.values(), wanted, started=None, at=None))
    return _named_by(steps, missing)


def open_returns(sheet: ServiceSheet) -> list[SheetStep]:
    """The steps back to service without an answer, where something was locked out."""
    locked_out = sheet.steps.filter(section=Section.LOCKOUT, entry__answer=Answer.DONE)
    if not locked_out.exists():
        return []
    steps = sheet.steps.filter(section=Section.RETURN, entry__isnull=True)
    return list(steps.order_by("order"))


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
    written_by: Person | None = None,
) -> StepEntry:
    """Enter the answer to one step; the newest answer counts, the older ones are kept.

    answer: done, na (with a note), value (with a value), choice (one of the step's), cleared
        (the answer is taken back).
    remedy: what was done about a value out of limit; "found_work" opens found work with
        `finding_text`, and holds the rig when `is_grave`; so does "stop", always.
    seen: from a phone, the event_id of the answer that the person saw, "" where there was none.
        Where another is in force and says something else, each is a rival of the other until a
        person who saw them answers again. None: the person sees what is in force.
    written_by: who wrote it on paper, where the author keys it in, or on a phone, where the author
        puts it right: whose work it is, so the one who has to be an electrician and to have read
        and locked out.
    A gauge that does not read zero is kept as it was read, and keeps the checks locked.
    Sent twice with one event_id, it counts once. Raises SheetClosed, ChecksLocked (or LookAgain),
    ElectricianNeeded, BadAnswer.
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
        _refuse_locked(step, hand, at, answer, choice)
    refuse_long(StepEntry, note=note)
    refuse_long(Finding, text=finding_text)
    is_outside = _checked(step, answer, value, choice, note, remedy, finding_text)
    start_work(sheet, author=written_by or author, at=at)
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
        written_by=written_by,
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


def _refuse_locked(step: SheetStep, author: Person, at: datetime, answer: str, choice: str) -> None:
    opens_it = answer in ENTERED and choice != CARRY_FORWARD
    missing = locking(step, who=author, at=at, opens_it=opens_it)
    if not missing:
        return
    never = {each.pk for each in still_locked(step.sheet, who=author)}
    if never.isdisjoint(each.pk for each in missing):
        raise LookAgain(missing)
    raise ChecksLocked(missing)


def _before(sheet: ServiceSheet, who: Person | None) -> dict[SheetStep, Before]:
    """The steps before the checks in their order, as they stand for one person."""
    order = {section: place for place, section in enumerate(BEFORE_THE_CHECKS)}
    steps = sorted(
        sheet.steps.filter(section__in=BEFORE_THE_CHECKS).select_related("entry"),
        key=lambda step: (order[Section(step.section)], step.order),
    )
    own: dict[int, StepEntry] = {}
    if who is not None:
        personal = [step.pk for step in steps if step.is_each_persons]
        entries = StepEntry.objects.filter(
            Q(written_by=who) | Q(written_by__isnull=True, author=who), step__in=personal
        ).order_by("pk")
        own = {entry.step_id: entry for entry in entries}
    before = {}
    for step in steps:
        entry = own.get(step.pk) if who is not None and step.is_each_persons else step.entry
        if entry is not None and entry.answer == Answer.CLEARED:
            entry = None
        before[step] = Before(
            key=step.pk,
            is_caution=step.section == Section.CAUTION,
            phase=step.phase,
            proves=frozenset(step.proves),
            for_electrician=step.needs_electrician,
            is_done=entry is not None and (step.section != Section.ZERO or entry.value == 0),
            at=entry.at if entry else None,
            turn=entry.pk if entry else 0,
        )
    return before


def _named_by(steps: dict[SheetStep, Before], keys: Iterable[int]) -> list[SheetStep]:
    named = set(keys)
    return [step for step in steps if step.pk in named]


def _last_start(sheet: ServiceSheet, steps: Iterable[Before], at: datetime) -> Start | None:
    """When the rig ran last before an instant, by an entry of this or of another of its sheets.

    Only since the oldest step before: what ran earlier spends nothing.
    """
    done = [step.at for step in steps if step.at is not None]
    if not done:
        return None
    of_the_rig = Q(step__sheet=sheet)
    if sheet.rig_id is not None:
        is_near = Q(step__sheet__state__in=ServiceSheet.OPEN_STATES) | Q(
            step__sheet__signed_at__gte=min(done)
        )
        of_the_rig |= Q(step__sheet__rig=sheet.rig_id) & is_near
    starts = StepEntry.objects.filter(
        of_the_rig, step__is_run=True, answer__in=ENTERED, at__gte=min(done), at__lte=at
    )
    last = starts.order_by("-at", "-pk").values_list("at", "pk").first()
    return Start(*last) if last else None


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
        return True  # kept as it was read, and the checks stay locked
    if remedy not in Remedy.values or remedy == Remedy.NONE:
        raise BadAnswer("The value is out of limit. Say what you did about it.", "remedy")
    if remedy in (Remedy.FOUND_WORK, Remedy.STOP) and not finding_text:
        raise BadAnswer("Say what you found.", "finding_text")
    return True


def _allowed_answers(step: SheetStep) -> Sequence[str]:
    if step.section in (Section.CAUTION, Section.LOCKOUT, Section.RETURN):
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
        # By the id of the answer: photos name it so before it is here.
        request_id=event_id,
    )
