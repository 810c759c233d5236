"""Cautions, lockout, gauges and checks: one step after the other, each with its answer."""

from dataclasses import dataclass
from decimal import Decimal
from typing import Any, Final
from uuid import uuid4

from django.db.models import QuerySet

from equipment import values
from equipment.own_units import SYSTEMS, OwnUnit
from shop import unitwords
from shop.isolation import Stage
from shop.models import ServiceSheet, SheetLine, SheetStep, StepEntry
from shop.services.across import compared
from shop.services.answers import typed_value
from shop.services.knowledge import known_for
from shop.services.paper.steps import line_place
from shop.services.refusals import BadAnswer
from shop.services.replaced import means_replaced
from shop.services.safety_texts import Read, read_texts
from shop.services.stages import by_stage, note_at, notes_over, stages_of, titles_over, waits_of
from shop.spoken import own

Section = SheetStep.Section
#: In place of an answer, from a form without the script: the page again, with a box for the value
#: as left.
READ_AGAIN: Final = "read_again"


@dataclass(frozen=True, slots=True)
class RefusedAnswer:
    """An answer that was not taken: of which step, why, and what was typed; or one that is not
    given yet, for which the page asks more. why: empty then.

    first: the step that is to be done before it, where one is.
    """

    step: int
    why: str
    typed: Any
    first: SheetStep | None = None


def checks_context(
    sheet: ServiceSheet, refused: RefusedAnswer | None, system: str
) -> dict[str, Any]:
    """The steps before the checks by their section, and the lines of the sheet with theirs.

    system: of the units in which measured values are shown and typed.
    """
    shown: dict[str, list[dict[str, Any]]] = {section: [] for section in Section.values}
    read = read_texts()
    steps, every = list(_steps(sheet)), list(_lines(sheet))
    against = compared(steps, every, system)
    stages, notes = stages_of(steps), notes_over(sheet)
    groups, waits = by_stage(every, steps, stages), waits_of(steps, stages)
    by_key: dict[int, dict[str, Any]] = {}
    for step in steps:
        mine = refused if refused and refused.step == step.pk else None
        stage = stages.get(step.pk, Stage.STILL)
        of_step = _shown(step, mine, system, read, note_at(sheet, step, stage))
        by_key[step.pk] = of_step | {"against": against.get(step.pk), "waits": waits.get(step.pk)}
        shown[step.section].append(by_key[step.pk])
    known = known_for(every)
    lines = {
        line.pk: {
            "line": line,
            "number": number,
            "place": line_place(line),
            "short_place": _short_place(line, before),
            "steps": [by_key[step.pk] for step in steps if step.line_id == line.pk],
            "known": known[line.pk],
            "note_id": uuid4(),
        }
        for number, (before, line) in enumerate(zip([None, *every], every, strict=False), 1)
    }

    def at(stage: Stage) -> list[dict[str, Any]]:
        """The lines with their checks of a stage; note: over those for which something runs."""
        return [
            lines[line.pk]
            | {
                "shown": [by_key[step.pk] for step in of_line],
                "note": notes[stage] if any(step.is_run for step in of_line) else "",
                "has_own_part": any(line == each for each, _ in groups[Stage.STILL]),
            }
            for line, of_line in groups[stage]
        ]

    return {
        "cautions": shown[Section.CAUTION],
        "lockouts": shown[Section.LOCKOUT],
        "gauges": shown[Section.ZERO],
        "returns": shown[Section.RETURN],
        "lines": list(lines.values()),
        "found_lines": at(Stage.FOUND),
        "work_lines": at(Stage.STILL),
        "run_lines": at(Stage.RUN),
        "stage_titles": titles_over(sheet),
        "stage_notes": notes,
        "unread_notes": {note for note in notes.values() if read.lacks(note)},
        "remedies": [(r.value, r.label) for r in StepEntry.Remedy if r.value],
    }


def _shown(
    step: SheetStep, refused: RefusedAnswer | None, system: str, read: Read, note: str
) -> dict[str, Any]:
    """One step with what is typed into it now, or was before it was refused, in its unit then.

    note: what is said of when it is done. is_unread: a safety text, said in words that nobody of
    the trade has read.
    """
    entry = step.entry
    typed = refused.typed if refused else {}
    unit = step.in_units(system)
    if typed:
        unit = step.every_unit().get(typed.get("unit", ""), unit)
    value = typed.get("value", "")
    if not value and entry is not None and entry.value is not None:
        value = unit.retyped(entry.value)
    left = typed.get("left_value", "")
    if not typed and entry is not None and entry.left_value is not None:
        left = unit.retyped(entry.left_value)
    measured = _measured(step, str(value), unit)
    as_left = _measured(step, str(left), unit)
    is_outside = any(unit.is_outside(each) for each in (measured, as_left) if each is not None)
    now = measured if as_left is None else as_left
    last = step.last_value
    return {
        "step": step,
        # A caution stays word for word as it was read by somebody of the trade.
        "text": unitwords.hint(step.text, system)
        if step.section == Section.CHECK
        else own(step.text),
        "note": note,
        "is_unread": read.lacks(*_safety_texts(step, note)),
        "entry": entry,
        "replaced": [choice for choice in step.choices if means_replaced(choice)],
        "event_id": typed.get("event_id") or uuid4(),
        "error": refused.why if refused else "",
        "first": refused.first if refused else None,
        "unit": unit,
        "system": _system_of(step, unit),
        "value": value,
        "left": left,
        "reads_again": bool(left) or typed.get("answer") == READ_AGAIN,
        "said": ""
        if entry is None
        else unitwords.found_and_left(unit, entry.value, entry.left_value),
        "last": unitwords.said(unit, last),
        "last_shown": None if last is None else unit.shown(last),
        "now": None if now is None else unit.shown(now),
        "limit": unitwords.limits(unit),
        "asks": bool(typed) and is_outside,
        "typed": typed,
        "low": "" if unit.low is None else values.retyped(unit.low, unit.unit),
        "high": "" if unit.high is None else values.retyped(unit.high, unit.unit),
        "is_code": values.is_code(step.unit),
        "increment": f"{unit.increment():f}",
        "least": "" if unit.least() is None else "0",
        "start": _start(unit, last),
    }


def _start(unit: OwnUnit, last: Decimal | None) -> str:
    """From where the buttons go on while nothing is typed: the last value, else a limit."""
    begun = unit.shown(last) if last is not None else (unit.low or unit.high or Decimal(0))
    return values.retyped(begun, unit.unit)


def _safety_texts(step: SheetStep, note: str) -> tuple[str, ...]:
    """What may hurt where its translation is wrong; a check has it only in its note."""
    if step.section == Section.CHECK:
        return (note,) if note else ()
    return (step.title, step.text)


def _system_of(step: SheetStep, unit: OwnUnit) -> str:
    """The system whose unit it is: of those that show the step in it, any."""
    return next(system for system in SYSTEMS if step.in_units(system) == unit)


def _short_place(line: SheetLine, before: SheetLine | None) -> str:
    """Where the hands move to: the position, or the service where they stay at the same one."""
    if line.position is None or (before and before.position_id == line.position_id):
        return line.title
    return line.position.label


def _steps(sheet: ServiceSheet) -> QuerySet[SheetStep]:
    return sheet.steps.select_related("entry__author", "entry__finding").order_by(
        "section", "order"
    )


def _lines(sheet: ServiceSheet) -> QuerySet[SheetLine]:
    return sheet.lines.select_related(
        "version__service", "component__type__kind", "position__kind", "finding"
    ).order_by("order")


def _measured(step: SheetStep, text: str, unit: OwnUnit) -> Decimal | None:
    """What stands in the box as a kept value; None where it is none, which is said beside it."""
    try:
        return typed_value(step, text, unit.unit)
    except BadAnswer:
        return None
