"""What is said when a reading cannot be taken, beside what `equipment.counters` says."""

from datetime import datetime
from decimal import Decimal
from zoneinfo import ZoneInfo

from django.utils import timezone

from equipment.counters import ReadingRefused, WentDown, plain
from equipment.models import Reading


class SameMoment(ReadingRefused):
    """The counter has a reading of that moment, and it says something else."""

    def __init__(self, *, there: Decimal) -> None:
        self.there = there
        super().__init__(f"A reading of this counter at that time exists: {plain(there)}.")


class BeforeTheCount(ReadingRefused):
    """The reading is older than the count."""

    def __init__(self, *, started_at: datetime, zone: ZoneInfo) -> None:
        self.started_at = started_at
        super().__init__(f"Counting began on {_day(started_at, zone)}; nothing is kept before it.")


class AfterTheCount(ReadingRefused):
    """The reading is younger than the count."""

    def __init__(self, *, retired_at: datetime, zone: ZoneInfo) -> None:
        self.retired_at = retired_at
        super().__init__(f"This counter is no longer in use: it ended on {_day(retired_at, zone)}.")


class NothingCorrected(ReadingRefused):
    """The reading that would replace another says the same."""

    def __init__(self) -> None:
        super().__init__("That is what stands there already.")


class LaterContradicts(ReadingRefused):
    """A late reading that makes one after it impossible, which is named."""

    def __init__(self, *, later: Reading, cause: ReadingRefused, zone: ZoneInfo) -> None:
        self.later = later
        self.cause = cause
        fault = "lower than this one" if isinstance(cause, WentDown) else "impossible"
        super().__init__(
            f"The next reading, {plain(later.value)} on {_day(later.at, zone)}, would then be "
            f"{fault}. Check both."
        )


class AlreadyReversed(ReadingRefused):
    """The reading was taken back before."""

    def __init__(self) -> None:
        super().__init__("This reading was taken back already.")


class ReadingsRefused(ReadingRefused):
    """Some readings of one sending cannot be taken, so none was.

    errors: what is wrong, by the primary key of the counter.
    """

    def __init__(self, errors: dict[int, ReadingRefused]) -> None:
        self.errors = errors
        super().__init__(" ".join(str(error) for error in errors.values()))


def _day(at: datetime, zone: ZoneInfo) -> str:
    day = timezone.localdate(at, zone)
    return f"{day.day} {day:%b %Y}"
