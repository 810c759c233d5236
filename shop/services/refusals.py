"""Why something on a sheet was refused, in the words of the person who tried."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Final

from django.conf import settings
from django.db.models import Model
from django.utils import translation
from django.utils.functional import lazy
from django.utils.text import format_lazy
from django.utils.translation import gettext, gettext_lazy, gettext_noop, ngettext_lazy

from equipment.saying import Told
from inventory.quantities import QuantityRefused
from inventory.services import StockRefused, in_words, posting
from shop import spoken, words
from shop.models import ServiceSheet, SheetPart, SheetStep

if TYPE_CHECKING:
    from django.utils.functional import _StrPromise

    from shop.services.open_lines import Overlap


class SheetRefused(ValueError):
    """Base of every refusal; the text is meant for the page.

    It is put into words when it is shown or kept, in the language in force there.
    """


def refuse_long(model: type[Model], **texts: str) -> None:
    """Raise SheetRefused for a text that its column cannot hold: only PostgreSQL would object."""
    try:
        posting.refuse_long(model, **texts)
    except StockRefused as long:
        raise SheetRefused(long) from long


#: What a text that may be too long is called: by the names of the columns.
TEXTS: Final = (
    gettext_noop("missing"),
    gettext_noop("note"),
    gettext_noop("signature"),
    gettext_noop("text"),
    gettext_noop("words"),
)


def as_kept() -> translation.override:
    """Within it, what is said is said as it is kept: for the office, whoever's page it is."""
    return translation.override(settings.LANGUAGE_CODE)


def told(refused: Told | QuantityRefused) -> str:
    """What a module without Django refuses, in words that are found when they are shown."""
    return lazy(lambda: refused.said(gettext), str)()


#: A quantity of a part as a figure of a refusal.
quantity = lazy(in_words, str)
#: A kept title as one.
own = lazy(spoken.own, str)


class NothingPicked(SheetRefused):
    def __init__(self) -> None:
        super().__init__("Pick at least one service or one piece of found work.")


class OnAnotherSheet(SheetRefused):
    """A picked service or found work is on an open sheet already."""

    def __init__(self, title: str, sheet: ServiceSheet) -> None:
        super().__init__(f"{title} is on sheet {sheet} already.")
        self.sheet = sheet


class OpenElsewhere(SheetRefused):
    """An open sheet does some of what was picked: asked about once, since both may be meant."""

    def __init__(self, shared: Sequence[Overlap]) -> None:
        self.questions = [
            f"Sheet {each.sheet} is open for this too: {each.services_text} of "
            f"{each.due.component.tag}."
            for each in shared
        ]
        super().__init__(" ".join(self.questions))


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
        if sheet.state == ServiceSheet.State.SIGNED:
            text = gettext_lazy(words.SIGNED_BY)
        elif who:
            text = gettext_lazy(words.VOID_BY)
        else:
            text = gettext_lazy(words.IS_VOID)
        super().__init__(format_lazy(text, sheet=sheet, who=who))


class AlreadySigned(SheetClosed):
    """Somebody signed first; nothing of the second signature was written."""

    def __init__(self, sheet: ServiceSheet) -> None:
        SheetRefused.__init__(
            self,
            format_lazy(
                gettext_lazy(words.SIGNED_ALREADY),
                sheet=sheet,
                who=sheet.signed_by,
                signature=sheet.signature,
            ),
        )


class ChecksLocked(SheetRefused):
    """Cautions, lockout and zero readings come before the checks."""

    def __init__(self, missing: Sequence[SheetStep]) -> None:
        text = gettext_lazy(words.CHECKS_LOCKED)
        super().__init__(format_lazy(text, named=_names(missing)))
        self.missing = missing


class LookAgain(ChecksLocked):
    """It was done once, but a shift ago, before the rig was started or before the lock was on."""

    def __init__(self, missing: Sequence[SheetStep]) -> None:
        is_proof = any(step.proves for step in missing)
        text = gettext_lazy(words.LOOK_AGAIN if is_proof else words.DO_AGAIN)
        SheetRefused.__init__(self, format_lazy(text, named=_names(missing)))
        self.missing = missing


class LocksOffFirst(ChecksLocked):
    """The rig runs for it, and its locks are still on."""

    def __init__(self, missing: Sequence[SheetStep]) -> None:
        text = gettext_lazy(words.LOCKS_OFF_FIRST)
        SheetRefused.__init__(self, format_lazy(text, named=_names(missing)))
        self.missing = missing


class OutOfOrder(ChecksLocked):
    """Something comes before this step of lockout or of the way back; the first of it is named.

    is_again: that was done once, and does not hold any more.
    """

    def __init__(self, missing: Sequence[SheetStep], *, is_again: bool = False) -> None:
        text = gettext_lazy(words.DO_AGAIN if is_again else words.COMES_FIRST)
        SheetRefused.__init__(self, format_lazy(text, named=_names(missing[:1])))
        self.missing = missing


def _named(steps: Sequence[SheetStep]) -> str:
    return ", ".join(f"{spoken.own(step.title)} {step.side}".strip() for step in steps)


_names = lazy(_named, str)


class ElectricianNeeded(SheetRefused):
    """names: who may, of this shop."""

    def __init__(self, step: SheetStep, names: Sequence[str] = ()) -> None:
        text = gettext_lazy(words.ELECTRICIAN_ENTERS)
        super().__init__(_with_who(text, step.title, names))


class ElectricianSigns(SheetRefused):
    """A service for a licensed electrician was done: its signature is theirs."""

    def __init__(self, title: str, names: Sequence[str]) -> None:
        text = gettext_lazy(words.ELECTRICIAN_SIGNS)
        super().__init__(_with_who(text, title, names))


def _with_who(text: _StrPromise, title: str, names: Sequence[str]) -> _StrPromise:
    """What is for an electrician, and who of the shop is one."""
    who = (
        format_lazy(gettext_lazy(words.HERE), people=", ".join(names))
        if names
        else gettext_lazy("Nobody here is marked as one.")
    )
    return format_lazy("{} {}", format_lazy(text, title=own(title)), who)


class ChecksOpen(SheetRefused):
    def __init__(self, missing: Sequence[SheetStep]) -> None:
        if all(step.section == SheetStep.Section.RETURN for step in missing):
            text = gettext_lazy(
                "Before you sign, the way back to service: {named}. Or say that work comes back"
                " undone, and the rig stays locked out."
            )
            super().__init__(format_lazy(text, named=_names(missing)))
            self.missing = missing
            return
        count = len(missing)
        open_text = ngettext_lazy(
            "{n} check is open: {named}.", "{n} checks are open: {named}.", count
        )
        super().__init__(
            format_lazy(
                "{} {}",
                format_lazy(open_text, n=count, named=first_named_lazy(missing)),
                gettext_lazy("Enter them, or say that their services come back undone."),
            )
        )
        self.missing = missing


def first_named(steps: Sequence[SheetStep]) -> str:
    """The first three steps by name, and how many more."""
    named = _named(steps[:3])
    if len(steps) <= 3:
        return named
    return gettext("{named} and {n} more").format(named=named, n=len(steps) - 3)


first_named_lazy = lazy(first_named, str)


class UsedNotEntered(SheetRefused):
    def __init__(self, parts: Sequence[SheetPart]) -> None:
        names = ", ".join(part.part.name for part in parts)
        super().__init__(format_lazy(gettext_lazy(words.USED_NOT_SAID), parts=names))
        self.parts = parts


class UsedMoreThanTaken(SheetRefused):
    """taken, used: how much lies in the tray, and how much was used. [steps]"""

    def __init__(self, part: SheetPart, taken: int, used: int) -> None:
        text = gettext_lazy(words.USED_MORE)
        super().__init__(
            format_lazy(
                text,
                part=part.part.name,
                used=quantity(part.part, used),
                taken=quantity(part.part, taken),
            )
        )
        self.part = part


class PartGone(SheetRefused):
    def __init__(self) -> None:
        super().__init__(
            gettext_lazy("That part is no longer on this sheet. Look at its parts again.")
        )


class BadAnswer(SheetRefused):
    """An answer that does not fit its step.

    field: which of `answer_step`'s the page marks.
    """

    def __init__(self, said: object, field: str = "answer") -> None:
        super().__init__(said)
        self.field = field
