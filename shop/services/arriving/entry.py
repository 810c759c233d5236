"""One entry on its way in, and how it can fail."""

from dataclasses import dataclass, field
from datetime import datetime
from typing import Any, Final
from uuid import UUID
from zoneinfo import ZoneInfo

from django.core.exceptions import ValidationError
from django.utils.translation import gettext

from equipment.counters import ReadingRefused, ResetValueTooLow, WentDown
from equipment.models import Rig
from equipment.saying import Told
from equipment.services import CareRefused, FindingRefused, NotYetMeasured, RoundRefused
from inventory.quantities import QuantityRefused
from inventory.services import StockRefused
from shop.models import Person, ServiceSheet
from shop.services.refusals import SheetRefused

#: What the domain says no with; its text is meant for the person.
REFUSALS: Final = (
    SheetRefused,
    StockRefused,
    ReadingRefused,
    RoundRefused,
    QuantityRefused,
    CareRefused,
    FindingRefused,
    NotYetMeasured,
    ValidationError,
)


@dataclass(frozen=True, slots=True)
class Entry:
    """What somebody entered on a phone, with its moment by our clock.

    of: the sheet that it was entered on, or the rig whose round it is. said: the fields of its
    kind. clock_error_seconds: how far the phone's clock was behind ours.
    is_sure: what would be asked back about it is answered: a manager has looked at it. hand: whose
    work it is, where the author has put it right.
    """

    of: ServiceSheet | Rig
    event_id: UUID
    phone: UUID
    kind: str
    said: dict[str, Any] = field(repr=False)
    author: Person
    at: datetime
    recorded_at: datetime
    clock_error_seconds: int
    zone: ZoneInfo
    is_live: bool = False
    is_sure: bool = False
    hand: Person | None = None

    @property
    def sheet(self) -> ServiceSheet:
        """The sheet of an entry whose kind belongs on one."""
        assert isinstance(self.of, ServiceSheet)
        return self.of

    @property
    def rig(self) -> Rig:
        """The rig of an entry whose kind belongs to its round, or to it alone."""
        assert isinstance(self.of, Rig)
        return self.of


@dataclass(frozen=True, slots=True)
class Outcome:
    """What became of an entry: taken, waiting for a manager, or refused with nothing stored.

    field: which field of the entry the words are about, where it is one.
    """

    state: str
    words: str = ""
    field: str = ""


class NotTaken(SheetRefused):
    """An entry cannot be taken; beside which field the page says so."""

    def __init__(self, words: object, field: str = "") -> None:
        super().__init__(words)
        self.field = field


class Asked(NotTaken):
    """Possible and not to be expected: the same entry once more with `sure` is the answer."""

    def __init__(self, words: object) -> None:
        super().__init__(words, "sure")


def words_of(refusal: Exception) -> str:
    """What a refusal says to a person, in the language in force."""
    if isinstance(refusal, ValidationError):
        return " ".join(refusal.messages)
    if isinstance(refusal, Told | QuantityRefused):
        return refusal.said(gettext)
    return str(refusal)


def field_of(refusal: Exception) -> str:
    """Which field of its entry a refusal is about; empty where none or all."""
    if isinstance(refusal, WentDown):
        return "step"
    if isinstance(refusal, ResetValueTooLow):
        return "before_reset"
    if isinstance(refusal, ReadingRefused):
        return "value"
    return str(getattr(refusal, "field", ""))
