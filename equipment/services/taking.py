"""How long services take: learnt figures are told by the shop, a figure by hand by a manager."""

from collections.abc import Mapping
from datetime import datetime

from django.contrib.auth.base_user import AbstractBaseUser
from django.db import transaction

from equipment.models import Service


def set_learnt_minutes(*, minutes: Mapping[int, int | None]) -> int:
    """Keep what was learnt of how long services take, by the service's key; None: nothing. [min]

    Returns how many services were changed: 0 where all of them said so already.
    """
    with transaction.atomic():
        rows = Service.objects.select_for_update(of=("self",)).filter(pk__in=minutes).order_by("pk")
        changed = [row for row in rows if row.learnt_minutes != minutes[row.pk]]
        for row in changed:
            row.learnt_minutes = minutes[row.pk]
        Service.objects.bulk_update(changed, ["learnt_minutes"])
        return len(changed)


def set_minutes(
    *, service: Service, minutes: int | None, author: AbstractBaseUser, at: datetime
) -> Service:
    """Say by hand how long a service takes, > 0; None takes it back, and what is learnt counts.

    It stands above what is learnt and above what the version asks for. Said again as it is, it
    keeps its author. Raises ValueError for less than a minute. [min]
    """
    if minutes is not None and minutes <= 0:
        raise ValueError("a service takes more than no time")
    with transaction.atomic():
        fresh = Service.objects.select_for_update(of=("self",)).get(pk=service.pk)
        if fresh.set_minutes == minutes:
            return fresh
        fresh.set_minutes = minutes
        fresh.set_minutes_by_id = None if minutes is None else author.pk
        fresh.set_minutes_at = None if minutes is None else at
        fresh.save(update_fields=["set_minutes", "set_minutes_by", "set_minutes_at"])
        return fresh
