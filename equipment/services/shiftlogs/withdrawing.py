"""Withdrawing a log that should never have been read: the wrong rig's, or a wrong one."""

from datetime import datetime
from zoneinfo import ZoneInfo

from django.contrib.auth.base_user import AbstractBaseUser
from django.db import transaction

from equipment.models import ShiftLog
from equipment.services import locks
from equipment.services.shiftlogs.facts import rig_of_the_time
from equipment.services.shiftlogs.looking import touching
from equipment.services.shiftlogs.outcome import Progress, no_progress
from equipment.services.shiftlogs.posting import SettlingRefused, post
from equipment.services.shiftlogs.reading import keep_days
from equipment.services.shiftlogs.reckoning import Together, piece_of, reckon
from equipment.shiftlogs.blocks import Rules


def withdraw_log(
    *,
    log: ShiftLog,
    author: AbstractBaseUser,
    at: datetime,
    reason: str,
    zone: ZoneInfo,
    rules: Rules,
    progress: Progress = no_progress,
) -> ShiftLog:
    """Take a log back: its readings go, and its days stand as the other logs alone tell them.

    The file stays, marked; the same file may be read again, for this rig or another. A log that is
    withdrawn already is returned as it is. Raises SettlingRefused without a reason, and where
    other readings rest on what it said; then nothing is written.
    """
    if not reason.strip():
        raise SettlingRefused("Say why the log is withdrawn.")
    rig = log.rig
    facts = rig_of_the_time(rig, zone)
    own = set(log.days.values_list("date", flat=True))
    while True:
        dates, logs = touching(rig, own) if own else (set(), [])
        others = [each for each in logs if each.pk != log.pk]
        together = Together()
        if others:
            together = reckon(
                [piece_of(each) for each in others],
                rig=facts, around=log.first_at, rules=rules, progress=progress,
            )  # fmt: skip
            together.days = {day: each for day, each in together.days.items() if day in dates}
        with transaction.atomic():
            locks.lock_rigs([rig.pk])
            fresh = ShiftLog.objects.select_for_update(of=("self",)).get(pk=log.pk)
            if fresh.is_withdrawn:
                return fresh
            now_own = set(fresh.days.values_list("date", flat=True))
            if own != now_own or (own and (dates, logs) != touching(rig, own)):
                own = now_own
                continue
            fresh.is_withdrawn = True
            fresh.withdrawn_by_id, fresh.withdrawn_at = author.pk, at
            fresh.withdrawn_because = reason.strip()[:200]
            fresh.save(
                update_fields=[
                    "is_withdrawn", "withdrawn_by", "withdrawn_at", "withdrawn_because",
                ]
            )  # fmt: skip
            for day in fresh.days.all():
                day.logs.remove(fresh)
            keep_days(rig, dates, together)
            post(
                rig=rig, dates=dates, author=author, at=at, zone=zone, withdrawn=fresh,
                because=f"its log was withdrawn: {fresh.withdrawn_because}",
            )  # fmt: skip
        return fresh
