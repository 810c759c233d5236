"""A sheet that was worked on paper, keyed in at the desk: all of it in one transaction, or nothing.

It goes through the services that take what a phone enters, so nothing is taken here that would be
refused there: cautions and lockout first, gauges at zero, an electrician's checks by one, no more
used than was taken.
"""

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from datetime import datetime
from decimal import Decimal
from uuid import UUID, uuid5

from django.db import transaction

from equipment.counters import ReadingRefused
from equipment.services import NewReading, ReadingsRefused, open_finding
from inventory.models import Location, Part
from inventory.services import StockRefused
from shop.isolation import Stage
from shop.models import Person, ServiceSheet, SheetPart, SheetStep, StepEntry
from shop.services import sheet_parts
from shop.services.refusals import (
    AlreadySigned,
    ChecksLocked,
    ChecksOpen,
    SheetClosed,
    SheetRefused,
    UsedMoreThanTaken,
    UsedNotEntered,
)
from shop.services.signing import sign_sheet
from shop.services.stages import stages_of
from shop.services.working import answer_step, enter_reading

Section, DONE = SheetStep.Section, StepEntry.Answer.DONE

TICK_IT = "Confirm it from the paper, or the checks stay locked."
AT_ZERO = "It must read zero before anything is opened."
THEIRS_TOO = (
    "Confirm that the electrician read the cautions and locked out, or the checks stay locked."
)
STILL_OPEN = "It is open. Enter it, or say that its service comes back undone."


@dataclass(frozen=True, slots=True)
class KeyedStep:
    """What the paper says of one step, as for `answer_step`. by: whose hand; None: the writer's."""

    step: SheetStep
    answer: str
    value: Decimal | None = None
    left_value: Decimal | None = None
    choice: str = ""
    note: str = ""
    remedy: str = ""
    finding_text: str = ""
    is_grave: bool = False
    by: Person | None = None


@dataclass(frozen=True, slots=True)
class KeyedPart:
    """A part of which so much was used, > 0 [steps], and that nobody had planned. where: which
    line of the page says so."""

    part: Part
    place: Location
    used_steps: int
    where: str


@dataclass(frozen=True, slots=True)
class KeyedFound:
    """Found work that stands on the lines of the paper, in words; as for `open_finding`."""

    text: str
    is_grave: bool = False


@dataclass(frozen=True, slots=True)
class Keyed:
    """A whole sheet as the paper says it. at: when it was finished and signed there. started_at:
    when the work began, None where the paper does not say.

    theirs_too: whoever else is named by a check read the cautions and put on a lock as well.
    """

    writer: Person
    at: datetime
    signature: str
    labour_minutes: int
    leave_undone: bool
    theirs_too: bool = False
    started_at: datetime | None = None
    steps: tuple[KeyedStep, ...] = ()
    used: tuple[tuple[SheetPart, int], ...] = ()
    parts: tuple[KeyedPart, ...] = ()
    found: tuple[KeyedFound, ...] = ()
    readings: tuple[NewReading, ...] = ()


@dataclass(eq=False)
class KeyedRefused(SheetRefused):
    """What cannot be taken, all of it, by where it stands: "step-12", "used-3", "extra-0", "at",
    or "" for the whole; readings by their counter."""

    errors: dict[str, str] = field(default_factory=dict)
    readings: dict[int, ReadingRefused] = field(default_factory=dict)

    def __post_init__(self) -> None:
        super().__init__(" ".join(self.errors.values()))

    def __bool__(self) -> bool:
        return bool(self.errors or self.readings)


def key_in(
    *,
    sheet: ServiceSheet,
    keyed: Keyed,
    author: Person,
    recorded_at: datetime,
    request_id: UUID,
) -> ServiceSheet:
    """Take what a paper sheet says and sign it under the name on the paper.

    author: who keys it in; every entry names them and who wrote the paper. What was promised is
    taken to the tray where the paper says that it was used. Sent twice with one request_id, it
    counts once. Raises KeyedRefused with everything that is wrong, and nothing is written;
    AlreadySigned, SheetClosed.
    """
    with transaction.atomic():
        fresh = ServiceSheet.objects.select_for_update(of=("self",)).get(pk=sheet.pk)
        if fresh.state == ServiceSheet.State.SIGNED:
            if fresh.signing_id == request_id:
                return fresh
            raise AlreadySigned(fresh)
        if not fresh.is_open:
            raise SheetClosed(fresh)
        work = _Keying(fresh, keyed, author, recorded_at, request_id)
        signed = work.all()
        if work.refused or signed is None:
            raise work.refused
        return signed


class _Keying:
    def __init__(
        self,
        sheet: ServiceSheet,
        keyed: Keyed,
        author: Person,
        recorded_at: datetime,
        request_id: UUID,
    ) -> None:
        self.sheet, self.keyed, self.author = sheet, keyed, author
        self.recorded_at, self.request_id = recorded_at, request_id
        self.refused = KeyedRefused()

    def all(self) -> ServiceSheet | None:
        """Everything in the order of the paper; None where something is refused."""
        if self.keyed.at > self.recorded_at:
            self.refused.errors["at"] = "That time has not come yet."
        elif self.keyed.at < self.sheet.drafted_at:
            self.refused.errors["at"] = "The sheet was not drafted then. Check the day and time."
        begun = self.sheet.started_at
        if not self.refused:
            self._steps()
            self._parts()
            for new in self.keyed.readings:
                self._reading(new)
            for nth, found in enumerate(self.keyed.found):
                self._found(nth, found)
        if self.refused:
            return None
        self._say_begun(begun)
        return self._sign()

    def _say_begun(self, begun: datetime | None) -> None:
        """When the work began: as a phone told before, or the paper, whichever is earlier.

        All that is keyed in bears the time at which the paper was finished, which is no beginning.
        """
        known = [each for each in (begun, self.keyed.started_at) if each is not None]
        ServiceSheet.objects.filter(pk=self.sheet.pk).update(started_at=min(known, default=None))

    def _steps(self) -> None:
        """In the order in which the paper stands.

        Its gauges were read once, so what is done with the rig stopped is taken to have come
        before it ran, on what is keyed in from it. What is read as found comes before the locks,
        as it spends what they prove.
        """
        stages = stages_of(self.sheet.steps.order_by("order"))
        theirs = {each.by for each in self.keyed.steps if each.by} - {self.keyed.writer}
        people = theirs if self.keyed.theirs_too else set()

        def place(each: KeyedStep) -> tuple[int, int]:
            step = each.step
            if step.section != Section.CHECK:
                places = {
                    Section.CAUTION: 0,
                    Section.LOCKOUT: 2,
                    Section.ZERO: 3,
                    Section.RETURN: 5,
                }
                return places[Section(step.section)], step.order
            if stages[step.pk] == Stage.FOUND:
                return 1, step.order
            return (6 if step.is_run else 4), step.order

        for each in sorted(self.keyed.steps, key=place):
            self._step(each, f"step-{each.step.pk}")
            if each.step.is_each_persons:
                for person in people:
                    # What each person does alone, a second time.
                    again = replace(each, by=person)
                    self._step(again, f"step-{each.step.pk}", f" {person.pk}")

    def _step(self, each: KeyedStep, where: str, again: str = "") -> None:
        try:
            with transaction.atomic():
                answer_step(
                    step=each.step,
                    event_id=uuid5(self.request_id, f"{where}{again}"),
                    author=self.author,
                    written_by=each.by or self.keyed.writer,
                    at=self.keyed.at,
                    recorded_at=self.recorded_at,
                    answer=each.answer,
                    value=each.value,
                    left_value=each.left_value,
                    choice=each.choice,
                    note=each.note,
                    remedy=each.remedy,
                    finding_text=each.finding_text,
                    is_grave=each.is_grave,
                )
        except ChecksLocked as refusal:
            self._locked(refusal, each)
        except SheetRefused as refusal:
            self.refused.errors.setdefault(where, str(refusal))

    def _locked(self, refusal: ChecksLocked, each: KeyedStep) -> None:
        """Beside what keeps the check locked; a second pair of hands has to say so for itself."""
        said = self.refused.errors
        if each.by is not None and each.by != self.keyed.writer and not self.keyed.theirs_too:
            said.setdefault(f"by-{each.step.pk}", str(refusal))
            said.setdefault("theirs", THEIRS_TOO)
            return
        ticked = {each.step.pk for each in self.keyed.steps if each.answer == DONE}
        for step in refusal.missing:
            if step.pk not in ticked:  # else it is kept back itself, by what is marked already
                said.setdefault(
                    f"step-{step.pk}", AT_ZERO if step.section == Section.ZERO else TICK_IT
                )

    def _parts(self) -> None:
        tray = sheet_parts.in_tray(self.sheet)
        if any(steps > tray.get(row.part_id, 0) for row, steps in self.keyed.used):
            self._try(
                "",
                lambda: sheet_parts.take_parts(
                    sheet=self.sheet,
                    author=self.author,
                    at=self.keyed.at,
                    request_id=uuid5(self.request_id, "take"),
                ),
            )
        for row, steps in self.keyed.used:
            self._used(row, steps, f"used-{row.pk}")
        for each in self.keyed.parts:
            self._extra(each)

    def _extra(self, each: KeyedPart) -> None:
        def take() -> None:
            row = sheet_parts.add_part(
                sheet=self.sheet,
                part=each.part,
                location=each.place,
                quantity_steps=each.used_steps,
                author=self.author,
                at=self.keyed.at,
                request_id=uuid5(self.request_id, each.where),
            )
            self._used(row, (row.used_steps or 0) + each.used_steps, each.where)

        self._try(each.where, take)

    def _used(self, row: SheetPart, steps: int, where: str) -> None:
        self._try(
            where,
            lambda: sheet_parts.enter_used(
                sheet_part=row,
                used_steps=steps,
                event_id=uuid5(self.request_id, f"used {where}"),
                author=self.author,
                written_by=self.keyed.writer,
                at=self.keyed.at,
                recorded_at=self.recorded_at,
            ),
        )

    def _reading(self, new: NewReading) -> None:
        try:
            with transaction.atomic():
                enter_reading(
                    sheet=self.sheet,
                    new=new,
                    event_id=uuid5(self.request_id, f"reading {new.counter.pk}"),
                    author=self.author,
                    written_by=self.keyed.writer,
                    at=self.keyed.at,
                    recorded_at=self.recorded_at,
                )
        except ReadingRefused as refusal:
            self.refused.readings[new.counter.pk] = refusal

    def _found(self, nth: int, found: KeyedFound) -> None:
        open_finding(
            rig=self.sheet.rig or self.sheet.charged_rig,
            component=self.sheet.component,
            text=found.text,
            is_grave=found.is_grave,
            source_kind=sheet_parts.SOURCE,
            source_number=self.sheet.number,
            author=self.keyed.writer,
            at=self.keyed.at,
            request_id=uuid5(self.request_id, f"found-{nth}"),
        )

    def _sign(self) -> ServiceSheet | None:
        errors = self.refused.errors
        try:
            with transaction.atomic():
                return sign_sheet(
                    sheet=self.sheet,
                    author=self.author,
                    written_by=self.keyed.writer,
                    at=self.keyed.at,
                    recorded_at=self.recorded_at,
                    signature=self.keyed.signature,
                    labour_minutes=self.keyed.labour_minutes,
                    leave_undone=self.keyed.leave_undone,
                    signing_id=self.request_id,
                )
        except ChecksOpen as refusal:
            errors |= {f"step-{step.pk}": STILL_OPEN for step in refusal.missing}
        except UsedNotEntered as refusal:
            errors |= {f"used-{row.pk}": "Say how much was used." for row in refusal.parts}
        except UsedMoreThanTaken as refusal:
            errors[f"used-{refusal.part.pk}"] = str(refusal)
        except ReadingsRefused as refusal:
            self.refused.readings |= refusal.errors
        except (SheetRefused, StockRefused) as refusal:
            errors[""] = str(refusal)
        return None

    def _try(self, where: str, act: Callable[[], object]) -> None:
        try:
            with transaction.atomic():
                act()
        except (SheetRefused, StockRefused) as refusal:
            self.refused.errors.setdefault(where, str(refusal))
