"""One service sheet on its way: drafted, handed out, worked, signed."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from decimal import Decimal
from typing import Final

from equipment import values
from equipment.models import Component, Due, Finding, Rig
from shop.demo.seasons import Face
from shop.demo.story import Story
from shop.isolation import Stage
from shop.models import Person, ServiceSheet, SheetPart, SheetStep, StepEntry
from shop.services.drafting import PUT_RIGHT, draft_sheet, hand_out
from shop.services.in_order import open_returns
from shop.services.knowledge import leave_note
from shop.services.refusals import ChecksLocked
from shop.services.sheet_parts import enter_used, in_tray, take_parts
from shop.services.signing import sign_sheet
from shop.services.stages import stages_of
from shop.services.working import answer_step, enter_reading

Answer, Remedy, Section, Kind = (
    StepEntry.Answer,
    StepEntry.Remedy,
    SheetStep.Section,
    SheetStep.Kind,
)
#: The check of the catch test that is reckoned from the two before it.
DIFFERENCE: Final = "Difference, percent of the mean"
#: One measured value in so many lies past its limit, is put right and read again.
OUT_OF_LIMIT: Final = 0.02
#: Codes of oil by ISO 4406 within and past the limit of the library.
CLEAN_OIL: Final = ("18/16/13", "19/17/14", "20/17/14")
DIRTY_OIL: Final = "21/19/16"
#: What a gun's rebuild leaves for the next one.
LEFT_FOR_NEXT: Final = (
    "B side seal was worn more than A: look there first.",
    "One screw of the cover is tight. Warm it before you turn it.",
    "All went as the drawing shows.",
)
NOTES: Final = ("wiped down, no trace left", "a little stiff, keep an eye on it", "as last time")


@dataclass(slots=True)
class Work:
    """A sheet and the clock of the person who works on it."""

    story: Story
    sheet: ServiceSheet
    who: Person
    clock: datetime
    readings: list[Face] = field(default_factory=list)

    def tick(self, seconds: int) -> datetime:
        self.clock += timedelta(seconds=seconds)
        return self.clock


def draft(
    story: Story,
    offset: int,
    *,
    dues: Sequence[Due],
    rig: Rig | None = None,
    component: Component | None = None,
    findings: Sequence[Finding] = (),
    charged_rig: Rig | None = None,
    note: str = "",
    drafted_on: int | None = None,
) -> ServiceSheet:
    """The manager drafts a sheet for a day, on that morning if no other day is said."""
    drafted_on = offset if drafted_on is None else drafted_on
    return draft_sheet(
        rig=rig,
        component=component,
        dues=dues,
        findings=findings,
        planned_on=story.day(offset),
        charged_rig=charged_rig,
        note=note,
        author=story.manager,
        at=story.at(drafted_on, 6, 50),
        today=story.day(drafted_on),
        request_id=story.new_id(),
    )


def give(story: Story, sheet: ServiceSheet, offset: int, who: Person) -> Work:
    """The manager hands the sheet out, and its parts are taken to the tray."""
    hand_out(sheet=sheet, technician=who, author=story.manager, at=story.at(offset, 7, 5))
    sheet.refresh_from_db()
    work = Work(story, sheet, who, story.at(offset, 7, 30))
    take_parts(sheet=sheet, author=who, at=work.clock, request_id=story.new_id())
    sheet.refresh_from_db()
    return work


def prepare(work: Work) -> None:
    """Read the cautions and what is read as found, lock out, prove that the gauges read zero.

    What an electrician proves dead comes with his checks, behind a lock of his own.
    """
    for section in (Section.CAUTION, Section.LOCKOUT, Section.ZERO):
        steps = work.sheet.steps.filter(section=section, needs_electrician=False)
        for step in steps.order_by("order"):
            _answer_before(work, step, work.who)
        if section == Section.CAUTION:
            for step in checks_at(work, Stage.FOUND):
                answer_well(work, step)


def checks_at(work: Work, stage: Stage) -> list[SheetStep]:
    """The checks that are done at a stage of the work, in their order."""
    steps = list(
        work.sheet.steps.filter(section=Section.CHECK)
        .select_related("line__finding")
        .order_by("order")
    )
    stages = stages_of(steps)
    return [step for step in steps if stages[step.pk] == stage]


def _answer_before(work: Work, step: SheetStep, who: Person) -> None:
    if step.section == Section.ZERO:
        answer(work, step, Answer.VALUE, value=Decimal(0), who=who)
    else:
        answer(work, step, Answer.DONE, who=who)


def check(work: Work) -> None:
    """Answer the checks in their order along the rig, put it back into service, and let it run."""
    for step in checks_at(work, Stage.STILL):
        answer_well(work, step)
    put_back(work)
    for step in checks_at(work, Stage.RUN):
        answer_well(work, step)
    put_back(work)


def put_back(work: Work) -> None:
    """The way back to service, as far as it is open."""
    for step in _whole(open_returns(work.sheet)):
        answer(work, step, Answer.DONE)


def answer_well(work: Work, step: SheetStep) -> None:
    """Answer one check as it mostly goes."""
    if step.kind == Kind.VALUE:
        measure(work, step)
    elif step.kind == Kind.CHOICE:
        _choose(work, step)
    else:
        note = work.story.dice.choice(NOTES) if work.story.dice.random() < 0.03 else ""
        answer(work, step, Answer.DONE, note=note)


def answer(
    work: Work,
    step: SheetStep,
    what: str,
    *,
    value: Decimal | None = None,
    left_value: Decimal | None = None,
    choice: str = "",
    note: str = "",
    remedy: str = "",
    finding_text: str = "",
    is_grave: bool = False,
    who: Person | None = None,
) -> StepEntry:
    """Enter one answer, by the electrician where only one may, who reads the cautions himself.

    What is to be done first, or again, is done first.
    """
    hand = work.story.electrician if step.needs_electrician else who or work.who
    while True:
        moment = work.tick(40)
        try:
            return answer_step(
                step=step,
                event_id=work.story.new_id(),
                author=hand,
                at=moment,
                recorded_at=moment,
                answer=what,
                value=value,
                left_value=left_value,
                choice=choice,
                note=note,
                remedy=remedy,
                finding_text=finding_text,
                is_grave=is_grave,
            )
        except ChecksLocked as locked:
            for before in _whole(locked.missing):
                _answer_before(work, before, hand)


def _whole(steps: Sequence[SheetStep]) -> list[SheetStep]:
    """The same steps with all that is known of them."""
    known = SheetStep.objects.in_bulk([step.pk for step in steps])
    return [known[step.pk] for step in steps]


def measure(work: Work, step: SheetStep) -> None:
    """Enter a value within its limits; now and then as left, since as found it was not."""
    is_code = values.is_code(step.unit)
    past = past_limit(step)
    is_past = not is_code and step.is_outside(past) and work.story.dice.random() < OUT_OF_LIMIT
    value = _within_limits(work.story, step)
    if is_past:
        answer(
            work,
            step,
            Answer.VALUE,
            value=past,
            left_value=value,
            remedy=Remedy.PUT_RIGHT,
            note="adjusted",
        )
    else:
        answer(work, step, Answer.VALUE, value=value)


def use_parts(work: Work) -> None:
    """Say how much was used of what lies in the tray; now and then a little comes back."""
    tray = in_tray(work.sheet)
    for row in SheetPart.objects.filter(sheet=work.sheet).select_related("part").order_by("pk"):
        taken = tray.get(row.part_id, 0)
        if not taken:
            continue
        spared = row.part.steps_per_unit > 1 and work.story.dice.random() < 0.3
        moment = work.tick(30)
        enter_used(
            sheet_part=row,
            used_steps=taken - row.part.steps_per_unit // 2 if spared else taken,
            event_id=work.story.new_id(),
            author=work.who,
            at=moment,
            recorded_at=moment,
        )


def read_counters(work: Work, faces: Sequence[Face]) -> None:
    """Note what the counters show now; they become readings when the sheet is signed."""
    moment = work.tick(120)
    for face in faces:
        enter_reading(
            sheet=work.sheet,
            new=face.read(),
            event_id=work.story.new_id(),
            author=work.who,
            at=moment,
            recorded_at=moment,
        )


def sign(work: Work, *, leave_undone: bool = False) -> ServiceSheet:
    """Sign for the whole of it."""
    minutes = sum(
        line.version.labour_minutes
        for line in work.sheet.lines.select_related("version")
        if line.version
    )
    work.tick(minutes * 60 // 3)
    _leave_word(work)
    return sign_sheet(
        sheet=work.sheet,
        author=work.who,
        at=work.tick(300),
        signature=work.who.name,
        labour_minutes=int(minutes * work.story.dice.uniform(0.8, 1.15)) + 15,
        leave_undone=leave_undone,
        signing_id=work.story.new_id(),
    )


def _leave_word(work: Work) -> None:
    """A note for whoever rebuilds this gun next."""
    for line in work.sheet.lines.filter(version__service__name="full rebuild"):
        moment = work.tick(60)
        leave_note(
            line=line,
            text=LEFT_FOR_NEXT[work.sheet.number % len(LEFT_FOR_NEXT)],
            event_id=work.story.new_id(),
            author=work.who,
            at=moment,
            recorded_at=moment,
        )


def _choose(work: Work, step: SheetStep) -> None:
    if step.line and step.line.finding_id:
        answer(work, step, Answer.CHOICE, choice=PUT_RIGHT, note="put right and tried")
        return
    last = len(step.choices) - 1
    place = work.story.dice.choices((0, 1, last), weights=(8, 3, 1))[0]
    answer(work, step, Answer.CHOICE, choice=step.choices[min(place, last)])


def _places(step: SheetStep) -> int:
    limits = [abs(limit) for limit in (step.low, step.high) if limit]
    smallest = min(limits, default=Decimal(10))
    return 0 if smallest >= 20 else 1 if smallest >= 2 else 2 if smallest >= 1 else 3


def _within_limits(story: Story, step: SheetStep) -> Decimal:
    if values.is_code(step.unit):
        return _code(CLEAN_OIL[step.sheet.number % len(CLEAN_OIL)])
    low, high, places = step.low, step.high, _places(step)
    if step.title == DIFFERENCE and (caught := _caught(step)):
        return round(Decimal(200) * abs(caught[0] - caught[1]) / (caught[0] + caught[1]), 1)
    if low is not None and high is not None:
        middle, half = float(low + high) / 2, float(high - low) / 2
        return story.between(middle - half * 0.7, middle + half * 0.7, places)
    if high is not None:
        far = float(high) * 0.35 if high > 0 else float(high) - 14
        return story.between(far, float(high) * (0.9 if high > 0 else 1.1), places)
    if low is not None:
        return story.between(float(low) * 1.1, float(low) * 3, places)
    return story.between(15.9, 16.1, 1)


def _caught(step: SheetStep) -> list[Decimal]:
    """What was caught of both sides for the catch test that a step belongs to."""
    sides = step.sheet.steps.filter(line=step.line_id, title__endswith=" side caught")
    caught = sides.filter(entry__value__isnull=False).values_list("entry__value", flat=True)
    return [each for each in caught if each is not None] if len(caught) == 2 else []


def past_limit(step: SheetStep) -> Decimal:
    """A value a little past the upper limit, or the lower where there is no upper."""
    if values.is_code(step.unit):
        return _code(DIRTY_OIL)
    places = _places(step)
    if step.high is not None:
        return round(step.high + abs(step.high) * Decimal("0.12"), places)
    return Decimal(0) if step.low is None else round(step.low * Decimal("0.8"), places)


def _code(text: str) -> Decimal:
    found = values.typed(text, values.ISO_4406)
    assert found is not None, "a code is more than nothing"
    return found
