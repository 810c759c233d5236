"""What is said when a reading cannot be taken, beside what `equipment.counters` says."""

from collections.abc import Callable
from datetime import datetime
from decimal import Decimal
from typing import Final
from zoneinfo import ZoneInfo

from django.utils import timezone
from django.utils.functional import lazystr
from django.utils.translation import gettext_noop

from equipment.counters import ReadingRefused, WentDown, plain
from equipment.dates import MONTHS
from equipment.models import Reading

LATER_LOWER: Final = gettext_noop(
    "The next reading, {later} on {day}, would then be lower than this one. Check both."
)
LATER_IMPOSSIBLE: Final = gettext_noop(
    "The next reading, {later} on {day}, would then be impossible. Check both."
)
#: What a refused reading may say, with figures in it.
COMPOSED: Final = (LATER_LOWER, LATER_IMPOSSIBLE)


class SameMoment(ReadingRefused):
    """The counter has a reading of that moment, and it says something else."""

    def __init__(self, *, there: Decimal) -> None:
        self.there = there
        super().__init__(
            gettext_noop("A reading of this counter at that time exists: {there}."),
            there=plain(there),
        )


class BeforeTheCount(ReadingRefused):
    """The reading is older than the count."""

    def __init__(self, *, started_at: datetime, zone: ZoneInfo) -> None:
        self.started_at = started_at
        super().__init__(
            gettext_noop("Counting began on {day}; nothing is kept before it."),
            day=_day(started_at, zone),
        )


class AfterTheCount(ReadingRefused):
    """The reading is younger than the count."""

    def __init__(self, *, retired_at: datetime, zone: ZoneInfo) -> None:
        self.retired_at = retired_at
        super().__init__(
            gettext_noop("This counter is no longer in use: it ended on {day}."),
            day=_day(retired_at, zone),
        )


class NothingCorrected(ReadingRefused):
    """The reading that would replace another says the same."""

    def __init__(self) -> None:
        super().__init__(gettext_noop("That is what stands there already."))


class LaterContradicts(ReadingRefused):
    """A late reading that makes one after it impossible, which is named."""

    def __init__(self, *, later: Reading, cause: ReadingRefused, zone: ZoneInfo) -> None:
        self.later = later
        self.cause = cause
        super().__init__(
            LATER_LOWER if isinstance(cause, WentDown) else LATER_IMPOSSIBLE,
            later=plain(later.value),
            day=_day(later.at, zone),
        )


class AlreadyReversed(ReadingRefused):
    """The reading was taken back before."""

    def __init__(self) -> None:
        super().__init__(gettext_noop("This reading was taken back already."))


class ReadingsRefused(ReadingRefused):
    """Some readings of one sending cannot be taken, so none was.

    errors: what is wrong, by the primary key of the counter.
    """

    def __init__(self, errors: dict[int, ReadingRefused]) -> None:
        self.errors = errors
        super().__init__("")

    def said(self, translate: Callable[[str], str]) -> str:
        return " ".join(error.said(translate) for error in self.errors.values())


class _Day:
    """A day as a figure of a sentence, in the language in which that is said."""

    def __init__(self, at: datetime, zone: ZoneInfo) -> None:
        self.day = timezone.localdate(at, zone)

    def __str__(self) -> str:
        return f"{self.day.day} {MONTHS[self.day.month - 1]} {self.day.year}"


def _day(at: datetime, zone: ZoneInfo) -> object:
    return lazystr(_Day(at, zone))
