"""A week of a rig keyed in from its round sheet: faces and drums of several days at once."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from uuid import UUID
from zoneinfo import ZoneInfo

from django.contrib.auth.base_user import AbstractBaseUser
from django.db import transaction

from equipment.models import DrumLevel, Reading, Rig
from equipment.services.drums import LevelRefused, LevelsRefused, NewLevel, record_levels
from equipment.services.history import PastReading, record_history


class DipsRefused(LevelRefused):
    """Some dips of the week cannot be taken, so nothing was written.

    errors: what is wrong, by the place of the dip in what was given and its side.
    """

    def __init__(self, errors: Mapping[tuple[int, str], LevelRefused]) -> None:
        self.errors = dict(errors)
        super().__init__(" ".join(str(error) for error in errors.values()))


@dataclass(frozen=True, slots=True)
class PastDip:
    """What was left in the drums of a rig on one day; at: any moment of it."""

    levels: Sequence[NewLevel]
    at: datetime
    request_id: UUID


def record_paper(
    *,
    rig: Rig,
    readings: Sequence[PastReading],
    dips: Sequence[PastDip],
    recorded_at: datetime,
    author: AbstractBaseUser,
    zone: ZoneInfo,
    drum_error: Decimal,
) -> tuple[list[Reading], list[DrumLevel]]:
    """Record what a round sheet says, all of it or nothing; return the rows made.

    dips: in order of time. Sent twice with the same request ids, it counts once.
    Raises HistoryRefused; DipsRefused.
    """
    errors: dict[tuple[int, str], LevelRefused] = {}
    made: list[DrumLevel] = []
    with transaction.atomic():
        rows = record_history(
            readings=readings,
            recorded_at=recorded_at,
            author=author,
            zone=zone,
            source=Reading.Source.PAPER,
        )
        for place, dip in enumerate(dips):
            try:
                made += record_levels(
                    rig=rig,
                    levels=dip.levels,
                    at=dip.at,
                    is_day_only=True,
                    recorded_at=recorded_at,
                    author=author,
                    request_id=dip.request_id,
                    zone=zone,
                    error=drum_error,
                )
            except LevelsRefused as refused:
                errors |= {(place, side): error for side, error in refused.errors.items()}
        if errors:
            raise DipsRefused(errors)
    return rows, made
