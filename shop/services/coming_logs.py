"""Logs between their upload and the moment somebody says: keep these days."""

import hashlib
import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import BinaryIO, Final, cast
from uuid import UUID
from zoneinfo import ZoneInfo

from django.core.files import File
from django.core.files.uploadedfile import UploadedFile
from django.db import transaction
from django.db.models import QuerySet

from equipment.models import LogLayout, Rig
from equipment.services import shiftlogs
from equipment.services.shiftlogs import ASKS, READ, REFUSED, Outcome, Source, unzipped
from equipment.services.shiftlogs.files import SourceRefused
from equipment.shiftlogs.blocks import Rules
from equipment.shiftlogs.layout import AnswerRefused, Layout
from shop.models import ComingLog, Person

FOLDER: Final = "coming-logs"
#: What nobody came back to is thrown away at somebody's next upload.
KEPT_FOR: Final = timedelta(days=7)
MOST_FILES: Final = 400
#: Answers about one file alone: the others of its form are asked again.
OF_ONE_FILE: Final = ("date", "bad_rows", "overlap", "duplicates", "reset")


@dataclass(frozen=True, slots=True)
class Look:
    """A coming log and what would come of reading it now.

    answers: with which it was looked at, those of its layout and its neighbours included.
    refused_answer: the key of an answer that was none of the choices, and why in words.
    """

    coming: ComingLog
    outcome: Outcome
    answers: Mapping[str, str]
    refused_answer: tuple[str, str] | None = None


def take_in(
    *,
    rig: Rig,
    uploads: Iterable[UploadedFile],
    sending: UUID,
    layout: LogLayout | None,
    author: Person,
    at: datetime,
) -> int:
    """Keep what was sent until it is read; files in a ZIP one by one. Returns how many there are.

    sending: made by the page, so that a form sent twice is one sending.
    """
    _throw_away(ComingLog.objects.filter(at__lt=at - KEPT_FOR))
    if there := ComingLog.objects.filter(sending=sending).count():
        return there
    rows: list[ComingLog] = []
    for upload in uploads:
        for source in unzipped(cast(BinaryIO, upload), upload.name or "unnamed"):
            row = ComingLog(
                sending=sending,
                place=len(rows) + 1,
                rig=rig,
                name=source.name,
                layout=layout,
                author=author,
                at=at,
            )
            if len(rows) >= MOST_FILES:
                row.refusal = f"At most {MOST_FILES} files are taken at once. Send this one again."
                rows.append(row)
                break
            try:
                with source.open() as content:
                    row.file.save(f"{FOLDER}/{sending}-{row.place}", File(content), save=False)
            except SourceRefused as refused:
                row.refusal = str(refused)
            rows.append(row)
    with transaction.atomic():
        ComingLog.objects.bulk_create(rows)
    return len(rows)


def look(*, coming: ComingLog, now: datetime, zone: ZoneInfo, rules: Rules) -> Look:
    """See what would come of reading a coming log, with what was answered about it so far.

    What was answered about a neighbour of the same form, and a named layout with exactly its
    headings, hold for it too, unless it has answers of its own.
    """
    if coming.refusal or not coming.file:
        return Look(coming, Outcome(coming.name, REFUSED, reason=coming.refusal), {})
    seen = _look(coming, dict(coming.answers), now, zone, rules)
    layout = seen.outcome.layout
    form = form_of(layout)
    if form and form != coming.form:
        coming.form = form
        coming.save(update_fields=["form"])
    if seen.outcome.status != ASKS or coming.answers or coming.layout_id or layout is None:
        return seen
    if (kept := shiftlogs.layout_like(layout)) is not None:
        coming.layout = kept
        coming.save(update_fields=["layout"])
        return _look(coming, {}, now, zone, rules)
    answers = _of_neighbours(coming)
    return _look(coming, answers, now, zone, rules) if answers else seen


def answer(*, coming: ComingLog, answers: Mapping[str, str]) -> None:
    """Keep what a person answered; an empty answer takes an earlier one back."""
    with transaction.atomic():
        row = ComingLog.objects.select_for_update().get(pk=coming.pk)
        kept = {**_of_neighbours(row), **row.answers, **answers}
        row.answers = {key: value for key, value in kept.items() if value}
        row.save(update_fields=["answers"])
    coming.answers = row.answers


def read(*, coming: ComingLog, author: Person, now: datetime, zone: ZoneInfo, rules: Rules) -> Look:
    """Read a coming log for good, as the last look showed it. Its file is kept under its hash."""
    seen = look(coming=coming, now=now, zone=zone, rules=rules)
    if seen.outcome.status != READ:
        return seen
    outcome = shiftlogs.read_log(
        rig=coming.rig,
        source=_source(coming),
        answers=seen.answers,
        layout=coming.layout.kept if coming.layout else None,
        author=author,
        at=now,
        zone=zone,
        rules=rules,
    )
    if outcome.is_done:
        ComingLog.objects.filter(pk=coming.pk).update(log=outcome.log)
        coming.log = outcome.log
    return Look(coming, outcome, seen.answers)


def drop(*, coming: ComingLog) -> None:
    """Leave a file out of its sending. Sent twice, the second finds nothing to do."""
    _throw_away(ComingLog.objects.filter(pk=coming.pk))


def form_of(layout: Layout | None) -> str:
    """Return what files of one form have in common; "" where they have no headings."""
    if layout is None or not layout.header_line:
        return ""
    said = [layout.delimiter, *layout.headings()]
    return hashlib.sha256(json.dumps(said).encode()).hexdigest()


def _look(
    coming: ComingLog, answers: Mapping[str, str], now: datetime, zone: ZoneInfo, rules: Rules
) -> Look:
    layout = coming.layout
    said = {**(layout.answers if layout else {}), **answers}
    try:
        outcome = shiftlogs.look_at(
            rig=coming.rig,
            source=_source(coming),
            now=now,
            zone=zone,
            rules=rules,
            answers=said,
            layout=layout.kept if layout else None,
        )
    except AnswerRefused as refused:
        if refused.key not in answers:
            raise
        # What was answered is not among the choices: ask anew, and say why beside the question.
        others = {key: each for key, each in answers.items() if key != refused.key}
        seen = _look(coming, others, now, zone, rules)
        return Look(coming, seen.outcome, seen.answers, (refused.key, str(refused)))
    return Look(coming, outcome, said)


def _source(coming: ComingLog) -> Source:
    stored, name = coming.file.storage, str(coming.file.name)
    return Source(coming.name, lambda: cast(BinaryIO, stored.open(name)))


def _of_neighbours(coming: ComingLog) -> dict[str, str]:
    """What was answered about the other files of this form in the same sending."""
    if not coming.form:
        return {}
    answers: dict[str, str] = {}
    for row in ComingLog.objects.filter(sending=coming.sending, form=coming.form).order_by("place"):
        answers |= {key: said for key, said in row.answers.items() if key not in OF_ONE_FILE}
    return answers


def _throw_away(rows: QuerySet[ComingLog]) -> None:
    for row in rows:
        if row.file:
            row.file.delete(save=False)
    rows.delete()
