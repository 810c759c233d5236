"""Why something on a sheet was refused, in the words of the person who tried."""

from collections.abc import Sequence

from django.db.models import Model

from inventory.services import StockRefused, posting
from shop.models import ServiceSheet, SheetPart, SheetStep


class SheetRefused(ValueError):
    """Base of every refusal; the text is meant for the page."""


def refuse_long(model: type[Model], **texts: str) -> None:
    """Raise SheetRefused for a text that its column cannot hold: only PostgreSQL would object."""
    try:
        posting.refuse_long(model, **texts)
    except StockRefused as long:
        raise SheetRefused(str(long)) from long


class NothingPicked(SheetRefused):
    def __init__(self) -> None:
        super().__init__("Pick at least one service or one piece of found work.")


class OnAnotherSheet(SheetRefused):
    """A picked service or found work is on an open sheet already."""

    def __init__(self, title: str, sheet: ServiceSheet) -> None:
        super().__init__(f"{title} is on sheet {sheet} already.")
        self.sheet = sheet


class OneRigAtATime(SheetRefused):
    def __init__(self) -> None:
        super().__init__("A sheet is for one rig. Pick services of one rig only.")


class FoundWorkClosed(SheetRefused):
    def __init__(self, text: str) -> None:
        super().__init__(f"“{text}” was closed meanwhile. Look at the list again.")


class NotFitted(SheetRefused):
    def __init__(self, tag: str) -> None:
        super().__init__(f"{tag} has moved since the list was opened. Look at the list again.")


class SheetClosed(SheetRefused):
    """Nothing more happens to a sheet that is signed or void; it says by whose hand."""

    def __init__(self, sheet: ServiceSheet) -> None:
        who = sheet.signed_by or sheet.voided_by
        state = f"{sheet.get_state_display()}{f' by {who}' if who else ''}"
        super().__init__(f"Sheet {sheet} is {state}; nothing on it changes.")


class AlreadySigned(SheetClosed):
    """Somebody signed first; nothing of the second signature was written."""

    def __init__(self, sheet: ServiceSheet) -> None:
        SheetRefused.__init__(
            self, f"Sheet {sheet} was signed by {sheet.signed_by} as “{sheet.signature}” already."
        )


class ChecksLocked(SheetRefused):
    """Cautions, lockout and zero readings come before the checks."""

    def __init__(self, missing: Sequence[SheetStep]) -> None:
        super().__init__(f"The checks open when these are done: {_names(missing)}.")
        self.missing = missing


class LookAgain(ChecksLocked):
    """It was done once, but a shift ago or before the rig was started."""

    def __init__(self, missing: Sequence[SheetStep]) -> None:
        SheetRefused.__init__(
            self, f"Pressure can come back. Before this, do again: {_names(missing)}."
        )
        self.missing = missing


def _names(steps: Sequence[SheetStep]) -> str:
    return ", ".join(f"{step.title} {step.side}".strip() for step in steps)


class ElectricianNeeded(SheetRefused):
    """names: who may, of this shop."""

    def __init__(self, step: SheetStep, names: Sequence[str] = ()) -> None:
        who = f" Here: {', '.join(names)}." if names else " Nobody here is marked as one."
        super().__init__(
            f"“{step.title}” is for a licensed electrician: only one can enter it.{who}"
        )


class ElectricianSigns(SheetRefused):
    """A service for a licensed electrician was done: its signature is theirs."""

    def __init__(self, title: str, names: Sequence[str]) -> None:
        who = f" Here: {', '.join(names)}." if names else " Nobody here is marked as one."
        super().__init__(f"“{title}” is for a licensed electrician: only one signs for it.{who}")


class ChecksOpen(SheetRefused):
    def __init__(self, missing: Sequence[SheetStep]) -> None:
        if all(step.section == SheetStep.Section.RETURN for step in missing):
            super().__init__(
                f"Before you sign, the way back to service: {_names(missing)}. Or say that work"
                " comes back undone, and the rig stays locked out."
            )
            self.missing = missing
            return
        count = len(missing)
        some = ", ".join(step.title for step in missing[:3])
        more = f" and {count - 3} more" if count > 3 else ""
        super().__init__(
            f"{count} {'check is' if count == 1 else 'checks are'} open: {some}{more}."
            " Enter them, or say that their services come back undone."
        )
        self.missing = missing


class UsedNotEntered(SheetRefused):
    def __init__(self, parts: Sequence[SheetPart]) -> None:
        names = ", ".join(part.part.name for part in parts)
        super().__init__(f"Say how much was used of: {names}.")
        self.parts = parts


class UsedMoreThanTaken(SheetRefused):
    def __init__(self, part: SheetPart, taken: str, used: str) -> None:
        super().__init__(
            f"{part.part.name}: {used} used, but only {taken} in the tray of this sheet."
            " Take the rest to the tray first, or correct the figure."
        )
        self.part = part


class PartGone(SheetRefused):
    def __init__(self) -> None:
        super().__init__("That part is no longer on this sheet. Look at its parts again.")


class BadAnswer(SheetRefused):
    """An answer that does not fit its step.

    field: which of `answer_step`'s the page marks.
    """

    def __init__(self, words: str, field: str = "answer") -> None:
        super().__init__(words)
        self.field = field
