"""Days of the year that work has to be done before: each shop sets its own."""

from datetime import date
from zoneinfo import ZoneInfo

from django.core.exceptions import ValidationError
from django.db import transaction

from equipment.asked import LEAP_YEAR
from equipment.models import Component, Season
from equipment.services import dues, locks


def create_season(*, name: str, month: int, day: int) -> Season:
    """Add a day of the year. Raises ValidationError for a name in use and for no day."""
    season = Season(name=name, month=month, day=day)
    with transaction.atomic():
        _check(season)
        season.save()
    return season


def change_season(*, season: Season, name: str, month: int, day: int, zone: ZoneInfo) -> Season:
    """Set a season's name and day; what falls due before it follows at once.

    Raises ValidationError as `create_season` does.
    """
    with transaction.atomic():
        fresh = Season.objects.select_for_update(of=("self",)).get(pk=season.pk)
        is_moved = (fresh.month, fresh.day) != (month, day)
        fresh.name, fresh.month, fresh.day = name, month, day
        _check(fresh)
        fresh.save()
        if is_moved:
            kinds = fresh.triggers.filter(version__is_current=True).values("version__service__kind")
            pks = Component.objects.in_use().filter(type__kind__in=kinds)
            behind = locks.lock_all_behind(pks.values_list("pk", flat=True))
            dues.recompute(behind.values(), zone=zone)
    return fresh


def _check(season: Season) -> None:
    season.full_clean()
    try:
        date(LEAP_YEAR, season.month, season.day)
    except ValueError:
        raise ValidationError({"day": "That month has no such day."}) from None
