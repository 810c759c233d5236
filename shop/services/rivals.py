"""Answers to one step by people who did not see each other's: both stand until a person picks."""

from shop.models import SheetStep, StepEntry


def rivals_of(steps: list[SheetStep], unseen: list[StepEntry]) -> dict[int, list[StepEntry]]:
    """The other answers of each step that has several, oldest first, until a person picks one.

    steps: with their answers in force. unseen: all answers of these steps that name another
    which their author had not seen.
    """
    found: dict[int, list[StepEntry]] = {}
    for step in steps:
        entry = step.entry
        of_step = [each for each in unseen if each.step_id == step.pk]
        if entry is None or not of_step:
            continue
        inside: dict[int, StepEntry] = {entry.pk: entry}
        while more := {
            other.pk: other
            for each in of_step
            if each.rival_of is not None
            for one, other in ((each, each.rival_of), (each.rival_of, each))
            if one.pk in inside and other.pk not in inside
        }:
            inside |= more
        others = [each for pk, each in inside.items() if pk != entry.pk]
        if others:
            found[step.pk] = sorted(others, key=lambda each: (each.at, each.pk))
    return found
