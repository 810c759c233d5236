"""Cautions, lockout, gauges that must read zero, and the checks of each service."""

from collections.abc import Callable, Mapping, Sequence
from typing import Any, cast

from django.utils.text import capfirst
from django.utils.translation import gettext, ngettext

from shop import unitwords
from shop.isolation import Stage
from shop.models import ServiceSheet, SheetLine, SheetStep, StepEntry
from shop.paper.content import (
    Caution,
    CheckGroup,
    CheckKind,
    LockoutStep,
    PaperCheck,
    RunNote,
    Side,
    ZeroGauge,
)
from shop.services.across import compared
from shop.services.stages import Staged, note_at, notes_over, numbers_of
from shop.spoken import cited, own

#: Whether any of some kept texts is said in words that nobody of the trade has read.
Lacks = Callable[..., bool]


def caution(step: SheetStep, read: str, by: str, lacks: Lacks) -> Caution:
    """A caution; with its English where it is said in words that nobody of the trade has read."""
    return Caution(
        hazard=own(step.title),
        text=own(step.text),
        source=cited(step.source),
        read_text=read,
        by_text=by,
        original=_original(step, lacks),
        icon=step.icon,
    )


def _original(step: SheetStep, lacks: Lacks) -> str:
    """The English of a safety step that is said in words that nobody of the trade has read."""
    if not lacks(step.title, step.text):
        return ""
    where = f"{step.title} {step.side}".strip()
    return f"{where}. {step.text}" if step.text else where


def lockout_step(step: SheetStep, done: str, by: str, before: str, lacks: Lacks) -> LockoutStep:
    return LockoutStep(
        source=f"{own(step.title)} {step.side}".strip(),
        action=own(step.text),
        done_text=done,
        by_text=by,
        electrician=step.needs_electrician,
        before_text=before,
        is_absent=step.entry is not None and step.entry.answer == StepEntry.Answer.NOT_APPLICABLE,
        original=_original(step, lacks),
    )


def zero_gauge(
    step: SheetStep, found: str, by: str, before: str, lacks: Lacks, *, system: str
) -> ZeroGauge:
    return ZeroGauge(
        label=own(step.title),
        side=cast(Side, step.side),
        found_text=f"{found}: {gettext('not zero')}" if step.is_not_zero else found,
        unit=own(step.in_units(system).unit),
        by_text=by,
        before_text=before,
        original=_original(step, lacks),
    )


def groups(
    sheet: ServiceSheet,
    staged: Staged,
    system: str,
    entered: Callable[[SheetStep], str],
    by: Callable[[SheetStep], str],
    notes: Mapping[int, tuple[str, ...]],
    left: Mapping[int, str],
    lacks: Lacks,
) -> dict[Stage, tuple[CheckGroup, ...]]:
    """The checks by when they are done, numbered in that order; what its service says to do,
    what is to be known of a line, how it stands and what became of it is said where it comes first.
    """
    lines = {line.pk: line for of_stage in staged.values() for line, _ in of_stage}
    every = [step for of_stage in staged.values() for _, steps in of_stage for step in steps]
    numbers = numbers_of(staged)
    against = compared(every, list(lines.values()), system)

    def check(step: SheetStep, stage: Stage) -> PaperCheck:
        unit, hint = step.in_units(system), unitwords.hint(step.text, system)
        return PaperCheck(
            number=numbers[step.pk],
            text=own(step.title),
            kind=cast(CheckKind, step.kind),
            unit=own(unit.unit),
            limit_text=unitwords.limits(unit),
            last_text="" if step.last_value is None else unit.figure(step.last_value),
            electrician=step.needs_electrician,
            found_text=entered(step),
            hint="\n".join(filter(None, (hint, *_stopped(sheet, step, stage, lacks)))),
            choices=tuple(map(own, step.choices)),
            by_text=by(step),
            apart_text=against[step.pk].said if step.pk in against else "",
            is_out=_is_out(step),
        )

    def about(line: SheetLine) -> dict[str, Any]:
        return {
            "state_text": own(line.state_text),
            "covers_text": line.covers_text,
            "instructions": own(line.version.instructions) if line.version else "",
            "outcome_text": _outcome_text(line, [s for s in every if s.line_id == line.pk]),
            "notes": notes.get(line.pk, ()),
            "left_text": left.get(line.pk, ""),
        }

    found: dict[Stage, tuple[CheckGroup, ...]] = {}
    told: set[int] = set()
    for stage, of_stage in staged.items():
        found[stage] = tuple(
            CheckGroup(
                position=line_place(line),
                service=own(line.version.service.name) if line.version else gettext("found work"),
                checks=tuple(check(step, stage) for step in steps),
                **({"state_text": ""} if line.pk in told else about(line)),
            )
            for line, steps in of_stage
        )
        told.update(line.pk for line, _ in of_stage)
    return found


def note_over(sheet: ServiceSheet, staged: Staged, stage: Stage, lacks: Lacks) -> RunNote | None:
    """What is said over the checks of a stage; None where nothing runs for them."""
    if not any(step.is_run for _, steps in staged[stage] for step in steps):
        return None
    note = notes_over(sheet)[stage]
    return RunNote(own(note), note if lacks(note) else "")


def _stopped(sheet: ServiceSheet, step: SheetStep, stage: Stage, lacks: Lacks) -> tuple[str, ...]:
    """That what runs is stopped first for a check among those of the running rig."""
    note = note_at(sheet, step, stage)
    return (own(note), note) if lacks(note) else (own(note),)


def _is_out(step: SheetStep) -> bool:
    return step.entry is not None and step.entry.is_out_of_limit


def _outcome_text(line: SheetLine, checks: Sequence[SheetStep]) -> str:
    """What became of it, and how many values stayed out of limit: "done, 1 value out of limit"."""
    if line.outcome == line.Outcome.OPEN:
        return ""
    said = line.get_outcome_display()
    count = sum(map(_is_out, checks))
    if not count:
        return said
    out = ngettext("{count} value out of limit", "{count} values out of limit", count)
    return f"{said}, {out.format(count=count)}"


def line_place(line: SheetLine) -> str:
    """Where the work is: "4 hydraulic unit HU-033", or the component on the bench."""
    where = ""
    if line.position:
        where = f"{line.position.order} {capfirst(own(line.position.label))}"
    elif line.component:
        where = capfirst(own(line.component.type.kind.name))
    return f"{where} {line.component or ''}".strip() or gettext("whole rig")
