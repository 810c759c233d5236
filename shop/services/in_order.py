"""What has to be done before a step of a sheet is entered: of whom, and when again.

The rules are those of `shop.isolation`; here stands how the steps of a sheet stand for a person.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal

from django.db.models import Q

from shop.isolation import Before, Moment, Phase, Wanted, first_before, still_before
from shop.models import Person, ServiceSheet, SheetStep, StepEntry
from shop.services.drafting import CARRY_FORWARD
from shop.services.refusals import ChecksLocked, LocksOffFirst, LookAgain, OutOfOrder
from shop.services.stages import Back, Waits, stages_of, waits_of

Answer, Section = StepEntry.Answer, SheetStep.Section
BEFORE_THE_CHECKS = (Section.CAUTION, Section.LOCKOUT, Section.ZERO)
AROUND_THE_CHECKS = (*BEFORE_THE_CHECKS, Section.RETURN)
#: All that is read here of an answer, and of a step: a sheet has dozens, looked at with each entry.
OF_AN_ENTRY = ("step", "answer", "value", "at", "author", "written_by")
OF_A_STEP = (
    "sheet", "line", "section", "order", "title", "side", "needs_electrician", "phase", "opens",
    "proves", "is_run", "entry", *(f"entry__{name}" for name in OF_AN_ENTRY),
)  # fmt: skip
#: Answers by which the work was done.
ENTERED = (Answer.DONE, Answer.VALUE, Answer.CHOICE)


def still_locked(sheet: ServiceSheet, *, who: Person | None = None) -> list[SheetStep]:
    """What must be done before the checks open: cautions unread, sources not locked out, gauges
    not read or not at zero.

    who: for this person, who reads each caution and puts on a lock of his own; None: what nobody
        has done yet. Which checks that keeps locked, and for how long, says `locking`.
    """
    standing = _now(_steps(sheet, *BEFORE_THE_CHECKS))
    steps = standing.for_person(who)
    return _named_by(steps, still_before(steps.values(), Wanted(), started=None, at=None))


def locking(
    step: SheetStep, *, who: Person | None, at: datetime, opens_it: bool = True
) -> list[SheetStep]:
    """What this person must do, or do again, before this check is entered at this instant.

    opens_it: False for an answer by which nothing is opened, such as not applicable.
    """
    every = _steps(step.sheet)
    standing = _now(every)
    steps = standing.for_person(who)
    waits = waits_of(every, stages_of(every))[step.pk]
    is_open = next(each.entry_id is None for each in every if each.pk == step.pk)
    wanted = Wanted(
        opens=frozenset(step.opens) if opens_it else frozenset(),
        is_run=step.is_run,
        is_after_return=opens_it and _waits_for_return(waits, steps),
        for_electrician=step.needs_electrician,
        # An answer that is put right is no work done anew.
        is_still=waits.is_still and opens_it and is_open,
    )
    missing = still_before(
        steps.values(),
        wanted,
        started=_last_start(step.sheet, steps.values(), at) if opens_it else None,
        locked=standing.last_lock(at),
        at=at if opens_it else None,
    )
    return _named_by(steps, missing)


def refuse_locked(step: SheetStep, *, who: Person, at: datetime, answer: str, choice: str) -> None:
    """Raise ChecksLocked, LookAgain or LocksOffFirst where something comes before this check."""
    opens_it = answer in ENTERED and choice != CARRY_FORWARD
    missing = locking(step, who=who, at=at, opens_it=opens_it)
    if not missing:
        return
    never = {each.pk for each in still_locked(step.sheet, who=who)}
    before = [each for each in missing if each.section != Section.RETURN]
    if not before:
        raise LocksOffFirst(missing)
    if never.isdisjoint(each.pk for each in before):
        raise LookAgain(before)
    raise ChecksLocked(before)


def refuse_out_of_order(
    step: SheetStep, *, who: Person, at: datetime, answer: str, value: Decimal | None
) -> None:
    """Raise OutOfOrder where something comes before this step of lockout, or of the way back.

    It is looked at as it stood at that instant, whatever came in meanwhile. What says that
    nothing was done is never held back, nor a gauge that does not read zero: it keeps the checks
    locked.
    """
    if answer not in ENTERED or (step.section == Section.ZERO and value != 0):
        return
    if step.section == Section.CAUTION:
        return
    standing = _then(_steps(step.sheet, *AROUND_THE_CHECKS), at)
    steps = standing.for_person(who)
    keys = first_before(
        steps.values(),
        step.pk,
        started=_last_start(step.sheet, steps.values(), at),
        locked=standing.last_lock(at),
        at=at,
    )
    if missing := _named_by(steps, keys):
        raise OutOfOrder(missing, is_again=steps[missing[0]].is_done)


def locking_signature(sheet: ServiceSheet) -> list[SheetStep]:
    """What nobody has done of all that the answered checks asked for before them."""
    steps = _now(_steps(sheet, *BEFORE_THE_CHECKS)).for_person(None)
    answered = sheet.steps.filter(section=Section.CHECK, entry__isnull=False)
    kinds = answered.order_by().values_list("is_run", "needs_electrician").distinct()
    missing: set[int] = set()
    for is_run, for_electrician in kinds:
        wanted = Wanted(is_run=is_run, for_electrician=for_electrician)
        missing |= set(still_before(steps.values(), wanted, started=None, at=None))
    return _named_by(steps, missing)


def open_returns(sheet: ServiceSheet) -> list[SheetStep]:
    """The steps back to service that are to be answered, where something was locked out: without
    an answer, or done before a lock was put on again."""
    every = _steps(sheet, *AROUND_THE_CHECKS)
    if not _is_locked_out(every):
        return []
    locked = _now(every).last_lock(None)
    return [
        step
        for step in every
        if step.section == Section.RETURN and (step.entry is None or _is_before(step.entry, locked))
    ]


@dataclass(frozen=True, slots=True)
class _Standing:
    """The steps around the checks in their order, with what is in force for all and for each.

    own: of each step that each person does himself, by step and person, the newest entry.
    locks: of every person, when a lock was put on.
    """

    entries: Mapping[SheetStep, StepEntry | None]
    own: Mapping[tuple[int, int], StepEntry]
    locks: Mapping[int, list[Moment]]

    def for_person(self, who: Person | None) -> dict[SheetStep, Before]:
        """How each stands for this person; None: for anybody."""
        return {
            step: self._stands(
                step,
                self.own.get((step.pk, who.pk)) if who and step.is_each_persons else entry,
            )
            for step, entry in self.entries.items()
        }

    def last_lock(self, at: datetime | None) -> Moment | None:
        """When anybody put his own lock on last before an instant; None: at all."""
        every = [lock for locks in self.locks.values() for lock in locks]
        return max(
            (lock for lock in every if at is None or lock.at <= at),
            key=lambda lock: (lock.at, lock.turn),
            default=None,
        )

    def _stands(self, step: SheetStep, entry: StepEntry | None) -> Before:
        if entry is not None and entry.answer == Answer.CLEARED:
            entry = None
        is_return = step.section == Section.RETURN
        return Before(
            key=step.pk,
            is_caution=step.section == Section.CAUTION,
            phase=Phase.RETURN if is_return else step.phase,
            proves=frozenset(step.proves),
            for_electrician=step.needs_electrician,
            is_done=entry is not None and _says_done(step, entry),
            at=entry.at if entry else None,
            turn=entry.pk if entry else 0,
            locked=self.locks.get(entry.hand_id, [None])[-1] if entry else None,
        )


def _says_done(step: SheetStep, entry: StepEntry) -> bool:
    """Whether an answer says that a step is done, or need not be. That the locks stay on (not
    applicable) ends a sheet, and starts no rig."""
    if step.section == Section.ZERO:
        return entry.value == 0
    if step.section == Section.RETURN:
        return entry.answer == Answer.DONE
    return entry.answer != Answer.NOT_APPLICABLE or step.may_be_absent


def _steps(sheet: ServiceSheet, *sections: SheetStep.Section) -> list[SheetStep]:
    """The steps of these sections with what is in force, as the sheet is worked; of all without."""
    steps = sheet.steps.select_related("entry").only(*OF_A_STEP).order_by("order")
    order = {section: place for place, section in enumerate(AROUND_THE_CHECKS)}
    found = steps.filter(section__in=sections) if sections else steps
    return sorted(found, key=lambda step: order.get(Section(step.section), len(order)))


def _now(steps: Iterable[SheetStep]) -> _Standing:
    """As it stands by the answers in force."""
    entries = {step: step.entry for step in steps if step.section in AROUND_THE_CHECKS}
    personal = [step.pk for step in entries if step.is_each_persons]
    own = StepEntry.objects.filter(step__in=personal).only(*OF_AN_ENTRY).order_by("pk")
    return _standing(entries, own)


def _then(steps: list[SheetStep], at: datetime) -> _Standing:
    """As it stood at an instant, by all that is known of it now.

    Nobody takes back what they have not seen, so such an entry is passed over here too.
    """
    unseen = Q(answer=Answer.CLEARED, rival_of__isnull=False)
    known = StepEntry.objects.filter(step__in=steps, at__lte=at).exclude(unseen)
    entries = list(known.only(*OF_AN_ENTRY).order_by("at", "pk"))
    newest = {entry.step_id: entry for entry in entries}
    return _standing({step: newest.get(step.pk) for step in steps}, entries)


def _standing(
    entries: Mapping[SheetStep, StepEntry | None], known: Iterable[StepEntry]
) -> _Standing:
    """known: in their order, of what each person does himself, or of all."""
    personal = {step.pk: step for step in entries if step.is_each_persons}
    own: dict[tuple[int, int], StepEntry] = {}
    locks: dict[int, list[Moment]] = {}
    for entry in known:
        step = personal.get(entry.step_id)
        if step is None:
            continue
        own[step.pk, entry.hand_id] = entry
        if step.phase == Phase.LOCK and entry.answer == Answer.DONE:
            locks.setdefault(entry.hand_id, []).append(Moment(entry.at, entry.pk))
    for moments in locks.values():
        moments.sort(key=lambda lock: (lock.at, lock.turn))
    return _Standing(entries, own, locks)


def _is_before(entry: StepEntry, lock: Moment | None) -> bool:
    """Whether a step back to service was done before a lock was put on."""
    if lock is None or entry.answer != Answer.DONE:
        return False
    return (entry.at, entry.pk) < (lock.at, lock.turn)


def _waits_for_return(waits: Waits, steps: Iterable[SheetStep]) -> bool:
    return waits.back == Back.WORK or (waits.back == Back.LOCKS and _is_locked_out(steps))


def _is_locked_out(steps: Iterable[SheetStep]) -> bool:
    """Whether anybody locked out anything."""
    return any(
        step.section == Section.LOCKOUT and step.entry and step.entry.answer == Answer.DONE
        for step in steps
    )


def _named_by(steps: Mapping[SheetStep, Before], keys: Iterable[int]) -> list[SheetStep]:
    named = set(keys)
    return [step for step in steps if step.pk in named]


def _last_start(sheet: ServiceSheet, steps: Iterable[Before], at: datetime) -> Moment | None:
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
    return Moment(*last) if last else None
