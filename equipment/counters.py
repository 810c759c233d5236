"""What a counter has counted, from what its face showed.

A face shows a number; the life behind it goes on when the face is reset, rolls over or is
replaced. This module turns readings of a face into the life counted so far, and refuses what
no counter can have done. It knows no clock: every instant is handed in.

Formulas: design, "The mathematics", 1.
"""

from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal
from typing import Final

from equipment.saying import Told, gettext_noop

# What happened to the face between the previous reading and this one.
CONTINUED: Final = "continued"
RESET: Final = "reset"
ROLLOVER: Final = "rollover"
REPLACED: Final = "replaced"
STEPS: Final = (CONTINUED, RESET, ROLLOVER, REPLACED)

# What a counter counts.
HOURS: Final = "hours"
STROKES: Final = "strokes"
GALLONS: Final = "gallons"
KINDS: Final = (HOURS, STROKES, GALLONS)


STARTS_AGAIN: Final = gettext_noop(
    "This counter starts again at {rollover}, so it cannot show {value}."
)
WENT_DOWN: Final = gettext_noop("Lower than the last reading, {previous}. Was the counter reset?")
TOO_LOW_BEFORE: Final = gettext_noop(
    "The counter showed {previous} at the last reading, so the last value before the"
    " change cannot be {before_reset}."
)
TOO_FAST: Final = {
    HOURS: gettext_noop("{counted} hours in {elapsed} is more than the clock allows ({possible})."),
    STROKES: gettext_noop(
        "{counted} strokes in {elapsed} is more than the pump can do ({possible})."
    ),
    GALLONS: gettext_noop(
        "{counted} gallons in {elapsed} is more than the pump can do ({possible})."
    ),
}
#: What a refused reading may say, with figures in it.
COMPOSED: Final = (STARTS_AGAIN, WENT_DOWN, TOO_LOW_BEFORE, *TOO_FAST.values())


class ReadingRefused(Told):
    """A reading that cannot be taken as it stands; its text is meant for the person."""


class OffTheFace(ReadingRefused):
    """The face of this counter cannot show that number."""

    def __init__(self, *, value: Decimal, rollover: Decimal | None) -> None:
        self.value = value
        self.rollover = rollover
        if value < 0 or rollover is None:
            super().__init__(gettext_noop("A counter cannot show a number below zero."))
        else:
            super().__init__(STARTS_AGAIN, rollover=plain(rollover), value=plain(value))


class WentDown(ReadingRefused):
    """The face shows less than before and nobody said why: a question, never a guess.

    at: when the lower value was read. When an older reading is entered late this is the
    reading after it, so compare it with the one just entered before asking.
    """

    def __init__(self, *, previous: Decimal, value: Decimal, at: datetime) -> None:
        self.previous = previous
        self.value = value
        self.at = at
        super().__init__(WENT_DOWN, previous=plain(previous))


class ResetValueTooLow(ReadingRefused):
    """The last value before a reset or a new face is less than what was read before it."""

    def __init__(self, *, previous: Decimal, before_reset: Decimal) -> None:
        self.previous = previous
        self.before_reset = before_reset
        super().__init__(
            TOO_LOW_BEFORE,
            previous=plain(previous),
            before_reset=plain(before_reset),
        )


class TooFast(ReadingRefused):
    """More was counted than the clock or the pump allows in that time."""

    def __init__(
        self, *, counted: Decimal, elapsed: timedelta, kind: str, possible: Decimal
    ) -> None:
        self.counted = counted
        self.elapsed = elapsed
        self.kind = kind
        self.possible = possible
        super().__init__(
            TOO_FAST[kind],
            counted=plain(counted),
            elapsed=_spell(elapsed),
            possible=plain(possible.quantize(Decimal("0.1"))),
        )


class InFuture(ReadingRefused):
    """The reading is dated later than now."""

    def __init__(self, *, at: datetime, now: datetime) -> None:
        self.at = at
        self.now = now
        super().__init__(
            gettext_noop("That time has not come yet. Check the date and time of the reading.")
        )


@dataclass(frozen=True, slots=True)
class FaceReading:
    """What the face showed.

    at: when it was read.
    value: what it showed, >= 0. [counter units]
    step: what happened since the reading before: one of STEPS.
    before_reset: last value shown before a reset, or by the old face before it was replaced;
        None when nobody saw it. [counter units]
    face_start: what a new face showed when it was fitted; needed with REPLACED. [counter units]
    """

    at: datetime
    value: Decimal
    step: str = CONTINUED
    before_reset: Decimal | None = None
    face_start: Decimal | None = None


@dataclass(frozen=True, slots=True)
class Total:
    """Counted since the count began, at one instant.

    total: >= 0. [counter units]
    at_least: True when some of it could not be seen, so that the truth may be larger.
    """

    at: datetime
    total: Decimal
    at_least: bool


def gain(
    *, previous: Decimal, current: FaceReading, rollover: Decimal | None
) -> tuple[Decimal, bool]:
    """Return what was counted since the previous reading, and whether that is a lower bound.

    previous: what the face showed at the reading before, >= 0. [counter units]
    rollover: the number of values the face can show (10,000 for a face that shows 0 to 9,999),
        or None when it never starts again. [counter units]

    With c the face and r its last value before the change:
    continued c₁ − c₀; reset (r − c₀) + c₁; rollover (M − c₀) + c₁; replaced by a face that
    started at s (r − c₀) + (c₁ − s). Where r was not seen its term is left out: a lower bound.

    Raises OffTheFace, WentDown, ResetValueTooLow; ValueError for a step that is none of ours or
    details that do not belong to it.
    """
    value = current.value
    _refuse_off_the_face(value, rollover)
    if current.step == CONTINUED:
        _expect_no(before_reset=current.before_reset, face_start=current.face_start)
        if value < previous:
            raise WentDown(previous=previous, value=value, at=current.at)
        return value - previous, False
    if current.step == ROLLOVER:
        _expect_no(before_reset=current.before_reset, face_start=current.face_start)
        if rollover is None:
            raise ValueError("This counter has no value at which it starts again.")
        return rollover - previous + value, False
    if current.step == RESET:
        _expect_no(face_start=current.face_start)
        unseen, at_least = _before_the_change(previous, current.before_reset, rollover)
        return unseen + value, at_least
    if current.step == REPLACED:
        if current.face_start is None:
            raise ValueError("A new face needs the value it showed when it was fitted.")
        _refuse_off_the_face(current.face_start, rollover)
        unseen, at_least = _before_the_change(previous, current.before_reset, rollover)
        if value < current.face_start:
            raise WentDown(previous=current.face_start, value=value, at=current.at)
        return unseen + value - current.face_start, at_least
    raise ValueError(f"Unknown step {current.step!r}.")


def totals(
    readings: Sequence[FaceReading], *, start: Decimal, rollover: Decimal | None
) -> list[Total]:
    """Return what was counted since the count began, after each reading, in order of time.

    readings: in any order; two of the same instant stay in the order given.
    start: what the face showed when the count began, >= 0. [counter units]
    rollover: as for `gain`.
    Raises as `gain` does.
    """
    counted: list[Total] = []
    face, total, at_least = start, Decimal(0), False
    for reading in sorted(readings, key=lambda each: each.at):
        amount, bound = gain(previous=face, current=reading, rollover=rollover)
        # One amount that could not be seen makes every later total a lower bound too.
        total, at_least, face = total + amount, at_least or bound, reading.value
        counted.append(Total(at=reading.at, total=total, at_least=at_least))
    return counted


def interpolate(totals: Sequence[Total], at: datetime) -> tuple[Decimal, bool]:
    """Return the total at any instant, and whether it is estimated.

    totals: in order of time, as `totals` returns them.
    Linear between neighbours; flat before the first and after the last, since nothing is known
    there; 0 when there are none. Estimated unless `at` is the instant of a reading.
    """
    after = bisect_right(totals, at, key=lambda each: each.at)
    if after == 0:
        return (totals[0].total if totals else Decimal(0)), True
    left = totals[after - 1]
    if left.at == at:
        return left.total, False
    if after == len(totals):
        return left.total, True
    right = totals[after]
    passed = _microseconds(at - left.at)
    between = _microseconds(right.at - left.at)
    return left.total + (right.total - left.total) * passed / between, True


def most_possible(
    *, elapsed: timedelta, kind: str, max_per_minute: Decimal | None
) -> Decimal | None:
    """Return the most that can be counted in a time, or None when no limit is known.

    elapsed: the longest time that may lie between the two readings, >= 0.
    kind: one of KINDS. Hours: 24 a day. Strokes and gallons: max_per_minute × minutes.
    max_per_minute: the most the pump can do, > 0, or None. [counter units / min]
    Raises ValueError outside those ranges.
    """
    if elapsed < timedelta(0):
        raise ValueError("The time between two readings cannot be below zero.")
    if kind not in KINDS:
        raise ValueError(f"Unknown kind of counter {kind!r}.")
    if kind == HOURS:
        return Decimal(_microseconds(elapsed)) / _microseconds(timedelta(hours=1))
    if max_per_minute is None:
        return None
    if max_per_minute <= 0:
        raise ValueError("The most a pump can do in a minute must be above zero.")
    return max_per_minute * _microseconds(elapsed) / _microseconds(timedelta(minutes=1))


def possible_rate(
    *,
    counted: Decimal,
    elapsed: timedelta,
    kind: str,
    step: Decimal,
    max_per_minute: Decimal | None,
) -> bool:
    """Return whether that much can have been counted in that time.

    counted: what was counted, >= 0. [counter units]
    step: the smallest difference the face can show, >= 0: it may have been about to turn at
        the first reading, so 101 h ten minutes after 100 h is possible. [counter units]
    elapsed, kind, max_per_minute, errors: as for `most_possible`.
    """
    possible = most_possible(elapsed=elapsed, kind=kind, max_per_minute=max_per_minute)
    return possible is None or counted - step <= possible


def check_possible(
    *,
    counted: Decimal,
    elapsed: timedelta,
    kind: str,
    step: Decimal,
    max_per_minute: Decimal | None,
) -> None:
    """Refuse what the clock or the pump cannot have done: raises TooFast.

    Parameters, and ValueError, as for `possible_rate`.
    """
    possible = most_possible(elapsed=elapsed, kind=kind, max_per_minute=max_per_minute)
    if possible is not None and counted - step > possible:
        raise TooFast(counted=counted, elapsed=elapsed, kind=kind, possible=possible)


def refuse_future(*, at: datetime, now: datetime, slack: timedelta) -> None:
    """Refuse a reading dated later than now: raises InFuture.

    slack: how far a phone's clock may run ahead before it matters, >= 0.
    """
    if at > now + slack:
        raise InFuture(at=at, now=now)


def plain(value: Decimal) -> str:
    """Return a number as people write it: thousands apart, no trailing zeros."""
    text = f"{value:,f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def roughly(value: float) -> str:
    """Return an estimate as people say one: two digits that count, 0.33, 5.4, 59 or 28,000."""
    if not value:
        return "0"
    number = Decimal(repr(value))
    return plain(round(number, 1 - number.adjusted()))


def _refuse_off_the_face(value: Decimal, rollover: Decimal | None) -> None:
    if value < 0 or (rollover is not None and value >= rollover):
        raise OffTheFace(value=value, rollover=rollover)


def _before_the_change(
    previous: Decimal, before_reset: Decimal | None, rollover: Decimal | None
) -> tuple[Decimal, bool]:
    if before_reset is None:
        return Decimal(0), True
    _refuse_off_the_face(before_reset, rollover)
    if before_reset < previous:
        raise ResetValueTooLow(previous=previous, before_reset=before_reset)
    return before_reset - previous, False


def _expect_no(**details: Decimal | None) -> None:
    for name, detail in details.items():
        if detail is not None:
            raise ValueError(f"{name} does not belong to this step.")


def _microseconds(span: timedelta) -> int:
    # Whole microseconds, so that no float comes between two decimals.
    return span // timedelta(microseconds=1)


def _spell(span: timedelta) -> str:
    """A length of time by the symbols that every language writes: "1.5 d", "8 h", "10 min"."""
    minutes = Decimal(_microseconds(span)) / _microseconds(timedelta(minutes=1))
    symbol, length = ("min", 1) if minutes < 60 else ("h", 60) if minutes < 1440 else ("d", 1440)
    return f"{plain((minutes / length).quantize(Decimal('0.1')))} {symbol}"
