"""When each check of a sheet is done, what it waits for then, and what is said of it."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from django.utils.translation import gettext

from shop import isolation
from shop.isolation import Stage
from shop.models import ServiceSheet, SheetLine, SheetStep

#: By stage the lines that have checks then, with those.
Staged = dict[Stage, list[tuple[SheetLine, list[SheetStep]]]]
#: The checks in the order of the work.
IN_ORDER: Final = (Stage.FOUND, Stage.STILL, Stage.RUN)


def stages_of(steps: Iterable[SheetStep]) -> dict[int, Stage]:
    """By key, when each check among the steps of a sheet is done. steps: in their order."""
    by_line: dict[int | None, list[SheetStep]] = {}
    for step in steps:
        if step.section == SheetStep.Section.CHECK:
            by_line.setdefault(step.line_id, []).append(step)
    placed = isolation.stages([step.is_run for step in line] for line in by_line.values())
    return {
        step.pk: stage
        for line, found in zip(by_line.values(), placed, strict=True)
        for step, stage in zip(line, found, strict=True)
    }


class Back(StrEnum):
    """What brings a running check to wait for the way back: that its service has work done locked
    out, or, of a service that only runs, that somebody locked out anything."""

    WORK = "work"
    LOCKS = "locks"


@dataclass(frozen=True, slots=True)
class Waits:
    """back: when a check waits for the way back; None: never. is_still: it is done locked out."""

    back: Back | None = None
    is_still: bool = False


def waits_of(steps: Sequence[SheetStep], stages: Mapping[int, Stage]) -> dict[int, Waits]:
    """By key, what each check among the steps of a sheet waits for, beside what it opens.

    steps: all of the sheet. stages: of its checks (`stages_of`). Where there is no way back, as on
    the bench, nothing waits for it.
    """
    has_return = any(step.section == SheetStep.Section.RETURN for step in steps)
    checks = [step for step in steps if step.pk in stages]
    worked = {step.line_id for step in checks if not step.is_run}
    waits = {}
    for step in checks:
        back = None
        if step.is_run and stages[step.pk] == Stage.RUN and has_return:
            back = Back.WORK if step.line_id in worked else Back.LOCKS
        is_still = stages[step.pk] == Stage.STILL and not step.is_run
        waits[step.pk] = Waits(back, is_still)
    return waits


def by_stage(
    lines: Iterable[SheetLine], steps: Sequence[SheetStep], stages: Mapping[int, Stage]
) -> Staged:
    """The lines of a sheet at each stage that has checks of them, with those, in their order.

    A line without checks stands where the work is done. steps: of the sheet, in their order.
    stages: of its checks (`stages_of`).
    """
    found: dict[tuple[int | None, Stage], list[SheetStep]] = {}
    for step in steps:
        if step.pk in stages:
            found.setdefault((step.line_id, stages[step.pk]), []).append(step)
    checked = {line for line, _ in found}
    groups: Staged = {each: [] for each in IN_ORDER}
    for line in lines:
        for stage in IN_ORDER:
            of_line = found.get((line.pk, stage), [])
            if of_line or (stage == Stage.STILL and line.pk not in checked):
                groups[stage].append((line, of_line))
    return groups


def numbers_of(staged: Staged) -> dict[int, int]:
    """By key, the number of each check on paper, in the order of the work, from 1."""
    every = [step.pk for of_stage in staged.values() for _, steps in of_stage for step in steps]
    return {key: number for number, key in enumerate(every, 1)}


def titles_over(sheet: ServiceSheet) -> Mapping[Stage, str]:
    """The headings over the checks for which something runs, before and after the others."""
    if sheet.rig_id is None:
        return {
            Stage.FOUND: gettext("As found, before it is opened"),
            Stage.RUN: gettext("Running on the bench"),
        }
    return {
        Stage.FOUND: gettext("As found, before lockout"),
        Stage.RUN: gettext("With the rig running"),
    }


def notes_over(sheet: ServiceSheet) -> Mapping[Stage, str]:
    """What is said over the checks of a stage for which something runs."""
    if sheet.rig_id is None:
        return dict.fromkeys(IN_ORDER, isolation.BENCH_RUN_NOTE)
    return dict.fromkeys(IN_ORDER, isolation.RUN_NOTE) | {Stage.FOUND: isolation.FOUND_NOTE}


def note_at(sheet: ServiceSheet, step: SheetStep, stage: Stage) -> str:
    """What is said at a check that stands among those of the running rig, and is none."""
    if stage != Stage.RUN or step.is_run:
        return ""
    return isolation.STOPPED_NOTE if sheet.rig_id else isolation.BENCH_STOPPED_NOTE
