"""Reading a log for good: the file, its days and its readings, in one short transaction."""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import asdict, replace
from datetime import date, datetime
from typing import BinaryIO
from zoneinfo import ZoneInfo

from django.contrib.auth.base_user import AbstractBaseUser
from django.db import IntegrityError, transaction

from equipment.models import Rig, ShiftDay, ShiftLog
from equipment.services import locks
from equipment.services.shiftlogs.facts import RigOfTheTime, rig_of_the_time
from equipment.services.shiftlogs.files import Source, as_source
from equipment.services.shiftlogs.keeping import columns, day_of
from equipment.services.shiftlogs.looking import NO_ANSWERS, join, outcome_of, touching
from equipment.services.shiftlogs.outcome import READ, Outcome, Progress, no_progress
from equipment.services.shiftlogs.packing import Packing
from equipment.services.shiftlogs.posting import post
from equipment.services.shiftlogs.reckoning import Together
from equipment.services.shiftlogs.storing import stored
from equipment.services.shiftlogs.studying import (
    Stopped,
    Study,
    open_contradictions,
    refuse_twice,
    study_source,
)
from equipment.shiftlogs.blocks import Rules
from equipment.shiftlogs.layout import Layout


def read_log(
    *,
    rig: Rig,
    source: Source | BinaryIO,
    author: AbstractBaseUser,
    at: datetime,
    zone: ZoneInfo,
    rules: Rules,
    name: str = "",
    answers: Mapping[str, str] = NO_ANSWERS,
    layout: Layout | None = None,
    progress: Progress = no_progress,
) -> Outcome:
    """Read a log, keep it, and bring days, readings, wear and due rows in line with it.

    at: now. source, name, answers, layout, errors: as for `look_at`.
    All is reckoned first and written after, in one transaction; where a question is open, or it is
    refused, nothing is written. The same file again is known and changes nothing. Readings that
    cannot be true beside those of people are not taken, and kept as contradictions; the figures of
    the day stand nevertheless.
    """
    facts = rig_of_the_time(rig, zone)
    source = as_source(source, name)
    try:
        with Packing(keeps=True) as packing:
            study = study_source(
                rig=facts, source=source, at=at, rules=rules, answers=answers, layout=layout,
                packing=packing, progress=progress,
            )  # fmt: skip
            progress("Keeping the file", 1.0)
            with stored(packing.copy(), study.digest) as file:
                log = _keep(study, file, facts, rules, author, at, progress)
    except Stopped as stopped:
        return stopped.outcome
    outcome = replace(outcome_of(study, READ, facts), log=log)
    return as_it_stands(outcome, rig, study.days, zone)


def as_it_stands(outcome: Outcome, rig: Rig, dates: Collection[date], zone: ZoneInfo) -> Outcome:
    """An outcome with its days and contradictions as they stand now."""
    rows = rig.shift_days.filter(date__in=list(dates)).order_by("date")
    return replace(
        outcome,
        days=tuple(day_of(row, zone) for row in rows),
        contradictions=open_contradictions(rig, dates),
    )


def _keep(
    study: Study,
    file: str,
    rig: RigOfTheTime,
    rules: Rules,
    author: AbstractBaseUser,
    at: datetime,
    progress: Progress,
) -> ShiftLog:
    """Write it, unless another log of these days came in between: then reckon with that one."""
    while True:
        dates, logs = touching(rig.rig, study.days)
        together = join(study, logs, dates, rig=rig, rules=rules, progress=progress)
        with transaction.atomic():
            locks.lock_rigs([rig.rig.pk])
            refuse_twice(rig.rig, study.digest, study.source.name, rig.zone)
            if (dates, logs) != touching(rig.rig, study.days):
                continue
            log = _log(study, file, rig, author, at)
            keep_days(rig.rig, dates, together, logs=[log], own=study.days)
            post(rig=rig.rig, dates=dates, author=author, at=at, zone=rig.zone)
        return log


def _log(
    study: Study, file: str, rig: RigOfTheTime, author: AbstractBaseUser, at: datetime
) -> ShiftLog:
    try:
        with transaction.atomic():
            return ShiftLog.objects.create(
                rig=rig.rig,
                digest=study.digest,
                name=study.source.name[-200:],
                file=file,
                size=study.size,
                rows=study.rows,
                bad_rows=study.bad_rows,
                bad_rows_shown=[asdict(each) for each in study.bad_rows_shown],
                layout=study.layout.to_json(),
                answers=dict(study.answers),
                notes=list(study.notes),
                first_at=study.first_at,
                last_at=study.last_at,
                author_id=author.pk,
                at=at,
            )
    except IntegrityError:
        # Somebody read it for another rig just now: rigs are locked, files are not.
        refuse_twice(rig.rig, study.digest, study.source.name, rig.zone)
        raise


def keep_days(
    rig: Rig,
    dates: Collection[date],
    together: Together,
    *,
    logs: Sequence[ShiftLog] = (),
    own: Collection[date] = (),
) -> None:
    """Write these days as they were reckoned; a day that no log tells of any more goes.

    logs, own: what tells of them beside what is linked already, and on which days.
    The caller has locked the rig.
    """
    there = {row.date: row for row in rig.shift_days.filter(date__in=list(dates))}
    for each in dates:
        day, row = together.days.get(each), there.get(each)
        if day is None:
            if row is not None:
                row.delete()
            continue
        row = row or ShiftDay(rig=rig, date=each)
        for name, value in columns(day).items():
            setattr(row, name, value)
        row.save()
        if each in own:
            row.logs.add(*logs)
