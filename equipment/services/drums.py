"""Drum levels: what is left on each side, kept beside the counters to check them."""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from typing import Final
from uuid import UUID
from zoneinfo import ZoneInfo

from django.contrib.auth.base_user import AbstractBaseUser
from django.db import transaction

from equipment import drums
from equipment.drums import Comparison
from equipment.models import DrumLevel, Measure, Reading, Rig, WearSource
from equipment.services import locks
from equipment.services.gallons import gallons_by_side
from equipment.services.readings import SLACK, last_minute

LARGEST: Final = Decimal(2000)
PLACES: Final = 2
#: How far back a comparison reaches: far enough that two dips weigh little.
WINDOW: Final = timedelta(days=30)


class LevelRefused(ValueError):
    """A drum level that cannot be taken; its text is meant for the person."""


class LevelsRefused(LevelRefused):
    """errors: what is wrong, by side. Nothing was written."""

    def __init__(self, errors: Mapping[str, LevelRefused]) -> None:
        self.errors = dict(errors)
        super().__init__(" ".join(str(error) for error in errors.values()))


class LevelRose(LevelRefused):
    """More in the drum than before, and no new drum: a question, never a guess."""

    def __init__(self, *, before: Decimal) -> None:
        self.before = before
        super().__init__(
            f"More than the {drums.gallons_text(before)} gal of the last dip. "
            "Was a new drum put on? Give its full size."
        )


@dataclass(frozen=True, slots=True)
class NewLevel:
    """Gallons left on one side now; new_drum: full size of the one put on. [US gal]"""

    side: str
    left: Decimal
    new_drum: Decimal | None = None


def record_levels(
    *,
    rig: Rig,
    levels: Sequence[NewLevel],
    at: datetime,
    recorded_at: datetime,
    author: AbstractBaseUser,
    request_id: UUID,
    zone: ZoneInfo,
    is_day_only: bool = False,
    error: Decimal = drums.USUAL_ERROR,
) -> list[DrumLevel]:
    """Record what is left in the drums of a rig. Moments and day as for `record_readings`.

    error: how well the shop reads a drum. [US gal] The same request_id again returns the same
    rows. Raises LevelsRefused.
    """
    if is_day_only:
        at = min(last_minute(at, zone), recorded_at)
    at = at.astimezone(UTC)
    with transaction.atomic():
        locks.lock_rigs([rig.pk])
        sides = {new.side for new in levels}
        earlier = list(
            DrumLevel.objects.filter(rig=rig, side__in=sides, request_id=request_id).order_by("pk")
        )
        if earlier:
            return earlier
        errors: dict[str, LevelRefused] = {}
        for new in levels:
            try:
                _check(rig, new, at=at, recorded_at=recorded_at, error=error)
            except LevelRefused as refused:
                errors[new.side] = refused
        if errors:
            raise LevelsRefused(errors)
        return DrumLevel.objects.bulk_create(
            DrumLevel(
                rig=rig,
                side=new.side,
                left=new.left,
                new_drum=new.new_drum,
                at=at,
                is_day_only=is_day_only,
                author_id=author.pk,
                recorded_at=recorded_at,
                request_id=request_id,
            )
            for new in levels
        )


def reverse_level(
    *, level: DrumLevel, author: AbstractBaseUser, at: datetime, reason: str, request_id: UUID
) -> DrumLevel:
    """Take a drum level back. at: now. The same request_id again returns the same row.

    Raises LevelRefused where it was taken back already.
    """
    with transaction.atomic():
        locks.lock_rigs([level.rig_id])
        wrong = DrumLevel.objects.get(pk=level.pk)
        sent = DrumLevel.objects.filter(reverses=wrong).first()
        if sent is not None and sent.request_id == request_id:
            return sent
        if not wrong.is_in_force:
            raise LevelRefused("This level was taken back already.")
        reversal = DrumLevel.objects.create(
            rig_id=wrong.rig_id,
            side=wrong.side,
            left=wrong.left,
            new_drum=wrong.new_drum,
            at=wrong.at,
            is_day_only=wrong.is_day_only,
            author_id=author.pk,
            recorded_at=at,
            note=reason,
            request_id=request_id,
            reverses=wrong,
            is_in_force=False,
        )
        wrong.is_in_force = False
        wrong.save(update_fields=["is_in_force"])
        return reversal


def comparisons(*, rig: Rig, error: Decimal = drums.USUAL_ERROR) -> dict[str, Comparison]:
    """Return, by side, what the drums say against the counters, over the last 30 days of dips.

    Only up to the last reading of what counts the side, since nothing is known after it; a side
    without two dips by then, or without a counter, is left out.
    """
    dips: dict[str, list[DrumLevel]] = defaultdict(list)
    for level in DrumLevel.objects.in_force().filter(rig=rig).order_by("at", "pk"):
        dips[level.side].append(level)
    if not any(len(rows) > 1 for rows in dips.values()):
        return {}
    sources = list(
        WearSource.objects.filter(
            measure=Measure.GALLONS, installation__position__rig=rig
        ).select_related("counter", "installation__position")
    )
    found = {}
    for side, rows in dips.items():
        own = [
            source
            for source in sources
            if (source.counter.side or source.installation.position.side) == side
        ]
        if not own:
            continue
        read_at = max(source.counter.last_at for source in own)
        known = [row.dip() for row in rows if row.at <= read_at]
        recent = [dip for dip in known if dip.at >= known[-1].at - WINDOW]
        if len(recent) < 2:
            continue
        counted = gallons_by_side(rigs=[rig], since=recent[0].at, until=recent[-1].at)
        found[side] = drums.compare(
            recent,
            counters=counted.get((rig.pk, side), Decimal(0)),
            error=error,
            count=max(source.counter.display_step * source.per_count for source in own),
            at_least=_was_hidden(own, since=recent[0].at, until=recent[-1].at),
        )
    return found


def _was_hidden(sources: Sequence[WearSource], *, since: datetime, until: datetime) -> bool:
    """Whether a reset between the two hid some of what was counted."""
    return (
        Reading.objects.in_force()
        .filter(
            counter__in={source.counter_id for source in sources},
            at__gt=since,
            at__lte=until,
            step__in=[Reading.Step.RESET, Reading.Step.REPLACED],
            before_reset__isnull=True,
        )
        .exists()
    )


def _check(rig: Rig, new: NewLevel, *, at: datetime, recorded_at: datetime, error: Decimal) -> None:
    if at > recorded_at + SLACK:
        raise LevelRefused("That time has not come yet. Check the date and time.")
    for amount in (new.left, new.new_drum):
        if amount is None:
            continue
        if not amount.is_finite() or not 0 <= amount <= LARGEST or round(amount, PLACES) != amount:
            raise LevelRefused(f"Gallons from 0 to {LARGEST:,f}, with two decimals at most.")
    if new.new_drum is not None:
        if not new.new_drum:
            raise LevelRefused("A new drum holds more than nothing.")
        if new.left > new.new_drum:
            raise LevelRefused("There is more left than a full drum holds.")
    there = DrumLevel.objects.of(rig, new.side)
    if there.filter(at=at).exists():
        raise LevelRefused("There is a level of that very moment already. Take it back first.")
    dip = drums.Dip(at=at, left=new.left, new_drum=new.new_drum)
    before, after = there.filter(at__lt=at).last(), there.filter(at__gt=at).first()
    if before is not None and drums.rises(before.dip(), dip, error=error):
        raise LevelRose(before=before.left)
    if after is not None and drums.rises(dip, after.dip(), error=error):
        raise LevelRefused(
            f"The later dip shows {drums.gallons_text(after.left)} gal, which is more than this."
        )
