"""One sending from the page of quick readings: faces, drums and a photo, all or nothing."""

from collections.abc import Sequence
from datetime import datetime
from decimal import Decimal
from uuid import UUID
from zoneinfo import ZoneInfo

from django.contrib.auth.base_user import AbstractBaseUser
from django.db import transaction

from equipment.models import DrumLevel, Reading, Rig
from equipment.services.drums import NewLevel, record_levels
from equipment.services.photos import attach_photo
from equipment.services.readings import NewReading, record_readings


def record_sending(
    *,
    rig: Rig,
    readings: Sequence[NewReading],
    levels: Sequence[NewLevel],
    digest: str,
    at: datetime,
    is_day_only: bool,
    recorded_at: datetime,
    author: AbstractBaseUser,
    request_id: UUID,
    zone: ZoneInfo,
    drum_error: Decimal,
) -> tuple[list[Reading], list[DrumLevel]]:
    """Record what was read off the faces and drums of a rig at one moment, and its photo.

    digest: hash of the stored photo, or nothing. drum_error: see `record_levels`. [US gal]
    Sent twice with one request_id, it counts once.
    Raises ReadingsRefused and LevelsRefused, with nothing written.
    """

    def faces() -> list[Reading]:
        return record_readings(
            rig=rig,
            readings=readings,
            at=at,
            is_day_only=is_day_only,
            recorded_at=recorded_at,
            author=author,
            request_id=request_id,
            zone=zone,
        )

    if not levels and not digest:
        return faces(), []
    with transaction.atomic():
        kept = faces()
        dipped = record_levels(
            rig=rig,
            levels=levels,
            at=at,
            is_day_only=is_day_only,
            recorded_at=recorded_at,
            author=author,
            request_id=request_id,
            zone=zone,
            error=drum_error,
        )
        if digest:
            attach_photo(
                rig=rig, digest=digest, author=author, at=recorded_at, request_id=request_id
            )
        return kept, dipped
