"""What an answer to a step must look like: how its value is typed, what is refused beside it."""

from collections.abc import Mapping, Sequence
from decimal import Decimal
from typing import Final

from django.utils.text import format_lazy
from django.utils.translation import gettext_lazy

from equipment import values
from shop.as_left import Lack, lacking
from shop.models import SheetStep, StepEntry
from shop.services.refusals import BadAnswer, own, told

Answer, Remedy, Section = StepEntry.Answer, StepEntry.Remedy, SheetStep.Section

#: What is said where a value out of limit lacks something, and the field that it is about.
LACKS: Final[Mapping[Lack, tuple[object, str]]] = {
    Lack.REMEDY: (
        gettext_lazy("The value is out of limit. Say what you did about it."),
        "remedy",
    ),
    Lack.FOUND: (gettext_lazy("Say what you found."), "finding_text"),
    Lack.LEFT: (gettext_lazy("Read it again, and enter the value as left."), "left_value"),
    Lack.STILL_OUT: (
        gettext_lazy(
            "Still out of limit as left. Read it again, open found work, or stop and ask the"
            " manager."
        ),
        "left_value",
    ),
}


def typed_value(
    step: SheetStep, text: str, unit: str = "", *, field: str = "value"
) -> Decimal | None:
    """What was typed into a measured value, as it is kept; None where nothing was.

    In ISO 4406 three scale numbers or three counts. unit: in which it was typed, one of
    `step.every_unit()`; empty: as it is kept. field: "value" as found, "left_value".
    Raises BadAnswer in words, beside that field.
    """
    if not text.strip():
        return None
    ways = step.every_unit()
    way = ways.get(unit or step.unit)
    if way is None:
        raise BadAnswer(_not_in(step, list(ways), unit), field)
    try:
        return way.typed(text)
    except values.NotAValue as refused:
        raise BadAnswer(told(refused), field) from refused


def _not_in(step: SheetStep, units: Sequence[str], typed: str) -> object:
    if len(units) == 1:
        said = gettext_lazy("“{check}” is measured in {unit}, not in {typed}.")
    else:
        said = gettext_lazy("“{check}” is measured in {unit} or {other}, not in {typed}.")
    return format_lazy(
        said, check=own(step.title), unit=own(units[0]), other=own(units[-1]), typed=typed[:20]
    )


def refuse_unfit(
    step: SheetStep,
    answer: str,
    *,
    value: Decimal | None,
    left_value: Decimal | None,
    choice: str,
    note: str,
    remedy: str,
    finding_text: str,
) -> bool:
    """Refuse an answer that does not fit its step; return whether it stays out of limit: as left,
    or as found where it was not read again. Raises BadAnswer."""
    if answer == Answer.CLEARED:
        return False
    if answer == Answer.NOT_APPLICABLE and not step.may_be_absent:
        raise BadAnswer(
            format_lazy(
                gettext_lazy(
                    "“{title}” is asked for on every job: it cannot be marked as not applicable."
                ),
                title=own(step.title),
            )
        )
    if answer not in _allowed_answers(step):
        raise _not_so(step)
    if answer == Answer.NOT_APPLICABLE and not note:
        raise BadAnswer(gettext_lazy("Say why it does not apply."), "note")
    if answer == Answer.CHOICE and choice not in step.choices:
        raise BadAnswer(gettext_lazy("Choose one of the answers."), "choice")
    if answer != Answer.VALUE:
        return False
    if value is None:
        raise BadAnswer(gettext_lazy("Enter the value that was read."), "value")
    is_outside = step.is_outside(value)
    if step.section == Section.ZERO:
        if left_value is not None:
            # What it reads after the work is a reading of its own: each is kept, the last counts.
            raise _not_so(step)
        return is_outside  # kept as it was read, and the checks stay locked
    left_is_out = None if left_value is None else step.is_outside(left_value)
    lack = lacking(
        is_out=is_outside, left_is_out=left_is_out, remedy=remedy, has_text=bool(finding_text)
    )
    if lack is not None:
        raise BadAnswer(*LACKS[lack])
    return is_outside if left_is_out is None else left_is_out


def _not_so(step: SheetStep) -> BadAnswer:
    return BadAnswer(
        format_lazy(gettext_lazy("“{title}” cannot be answered so."), title=own(step.title))
    )


def _allowed_answers(step: SheetStep) -> Sequence[str]:
    its_own = {
        SheetStep.Kind.TICK: Answer.DONE,
        SheetStep.Kind.CHOICE: Answer.CHOICE,
        SheetStep.Kind.VALUE: Answer.VALUE,
    }[SheetStep.Kind(step.kind)]
    return (its_own, Answer.NOT_APPLICABLE) if step.may_be_absent else (its_own,)
