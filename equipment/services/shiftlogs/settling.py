"""A person says how it was, where a log and the other readings contradict each other."""

from datetime import datetime
from decimal import Decimal
from typing import Final
from zoneinfo import ZoneInfo

from django.contrib.auth.base_user import AbstractBaseUser
from django.db import transaction

from equipment.models import LogContradiction
from equipment.services import locks
from equipment.services.shiftlogs.posting import SettlingRefused, post

How = LogContradiction.How
#: What a person may say.
SAID: Final = (How.RESET, How.LOG_WRONG, How.OTHER_COUNTER, How.SAME_COUNTER, How.FITS)


def settle_contradiction(
    *,
    contradiction: LogContradiction,
    how: str,
    author: AbstractBaseUser,
    at: datetime,
    zone: ZoneInfo,
    before_reset: Decimal | None = None,
    note: str = "",
) -> LogContradiction:
    """Settle a contradiction as a person says, and take the log's readings where that allows it.

    how: RESET: the counter was reset before the log's first row of that day, when it showed
        before_reset (None: nobody saw it). LOG_WRONG: the log is wrong about this counter on this
        day. OTHER_COUNTER: what the log counts is never this counter; all its readings from logs
        are taken back, and none is taken any more. SAME_COUNTER: it is this counter, however much
        it counted since the reading before. FITS: the reading that stood against it was put
        right; the log's are tried again.
    at: now. Said again the same way it changes nothing. Other contradictions of the counter that
    fit then are settled with it. Raises SettlingRefused, with nothing written.
    """
    if how not in SAID:
        raise ValueError(f"Nobody settles a contradiction by {how!r}.")
    if before_reset is not None and how != How.RESET:
        raise ValueError("Only a reset has a value before it.")
    with transaction.atomic():
        rig = locks.lock_rigs([contradiction.rig_id])[contradiction.rig_id]
        fresh = LogContradiction.objects.get(pk=contradiction.pk)
        if fresh.how:
            if fresh.how == how and fresh.before_reset == before_reset:
                return fresh
            raise SettlingRefused("Somebody settled this meanwhile.")
        dates = {fresh.date}
        if how == How.OTHER_COUNTER:
            dates |= set(rig.shift_days.values_list("date", flat=True))
        if how != How.FITS:
            fresh.how, fresh.before_reset, fresh.note = how, before_reset, note[:200]
            fresh.settled_by_id, fresh.settled_at = author.pk, at
            fresh.save()
        still = post(
            rig=rig, dates=dates, author=author, at=at, zone=zone,
            because="the log counts by another counter",
        )  # fmt: skip
        for each in still:
            if (each.counter_id, each.date) == (fresh.counter_id, fresh.date):
                raise SettlingRefused(f"It cannot be so. {each.words}")
        fresh.refresh_from_db()
        return fresh
