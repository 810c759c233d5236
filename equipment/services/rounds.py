"""The operator's round of a rig: one list for each spray day."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import TYPE_CHECKING, Final
from uuid import UUID, uuid5
from zoneinfo import ZoneInfo

from django.contrib.auth.base_user import AbstractBaseUser
from django.db import transaction
from django.utils.functional import lazy
from django.utils.text import format_lazy
from django.utils.translation import gettext, gettext_lazy, gettext_noop, ngettext

from equipment.models import (
    Component,
    Finding,
    Installation,
    JobBooking,
    Reading,
    Rig,
    Round,
    RoundAnswer,
    RoundItem,
)
from equipment.services import locks
from equipment.services.findings import open_finding
from equipment.services.readings import NewReading, record_readings

if TYPE_CHECKING:
    from django.utils.functional import _StrPromise

WEEK: Final = timedelta(days=7)
DAY: Final = timedelta(days=1)


class RoundRefused(ValueError):
    """A round cannot be recorded as it stands; its text is meant for the person."""


ALREADY_RECORDED: Final = gettext_noop("The round of this day was recorded already, by {who}.")


class RoundAlreadyRecorded(RoundRefused):
    def __init__(self, there: Round) -> None:
        self.round = there
        super().__init__(format_lazy(gettext_lazy(ALREADY_RECORDED), who=there.author))


class AnswersRefused(RoundRefused):
    """errors: what is wrong, by the primary key of the round item."""

    def __init__(self, errors: dict[int, "_StrPromise"]) -> None:
        self.errors = errors
        super().__init__(format_lazy(" ".join(["{}"] * len(errors)), *errors.values()))


@dataclass(frozen=True, slots=True)
class NewAnswer:
    """What one check showed. is_grave: what is wrong keeps the rig in the shop."""

    item: RoundItem
    answer: str
    note: str = ""
    is_grave: bool = False


def items_for_round(*, rig: Rig, day: date) -> list[RoundItem]:
    """The checks of a rig's round on a day, in the order in which they stand along the rig.

    Every daily check of the kinds fitted, and the weekly ones that no round of the six days
    before answered.
    """
    done_this_week = set(
        RoundAnswer.objects.filter(
            round__rig=rig, round__day__gt=day - WEEK, round__day__lt=day
        ).values_list("item_id", flat=True)
    )
    return [
        item
        for item in items_of_week(rig=rig)
        if item.every == RoundItem.Every.DAY or item.pk not in done_this_week
    ]


def items_of_week(*, rig: Rig) -> list[RoundItem]:
    """All checks of a rig, daily and weekly, in the order in which they stand along the rig."""
    fitted = _fitted(rig)
    items = RoundItem.objects.select_related("kind").filter(
        is_retired=False, kind__in={row.position.kind_id for row in fitted}
    )
    places = {item.pk: _place(item, fitted) for item in items}
    asked = [item for item in items if places[item.pk] is not None]
    return sorted(asked, key=lambda item: (places[item.pk] or 0, item.code))


def missed_rounds(rigs: Iterable[Rig], *, today: date, zone: ZoneInfo) -> dict[int, list[date]]:
    """Return the days of the week before today that went without a round, by rig, oldest first.

    Only days at a job ask for one, and only since the rig is known; a rig that missed none is not
    in it. Two queries.
    """
    since = today - WEEK
    known = {rig.pk: max(since, rig.created_at.astimezone(zone).date()) for rig in rigs}
    done = set(
        Round.objects.filter(rig__in=known, day__gte=since, day__lt=today).values_list("rig", "day")
    )
    found: dict[int, list[date]] = {}
    jobs = JobBooking.objects.filter(rig__in=known, first_day__lt=today, last_day__gte=since)
    for rig, first, last in jobs.order_by("first_day").values_list("rig", "first_day", "last_day"):
        day, end = max(first, known[rig]), min(last, today - DAY)
        while day <= end:
            if (rig, day) not in done:
                found.setdefault(rig, []).append(day)
            day += DAY
    return found


def record_round(
    *,
    rig: Rig,
    day: date,
    answers: Sequence[NewAnswer],
    author: AbstractBaseUser,
    at: datetime,
    request_id: UUID,
    is_fact: bool = False,
) -> Round:
    """Record the round of one rig on one day; what is not right opens found work.

    at: now, or when it was walked. is_fact: walked where nobody could be asked, by a page that
    may be days old. What that did not ask has no answer, and the next round asks what is weekly.
    The same request_id again returns the same round.
    Raises RoundAlreadyRecorded; AnswersRefused, with nothing written, when a check of the round
    has no answer or one that is not right does not say what is wrong.
    """
    with transaction.atomic():
        locks.lock_rigs([rig.pk])
        if sent := Round.objects.filter(request_id=request_id).first():
            return sent
        if there := Round.objects.select_related("author").filter(rig=rig, day=day).first():
            raise RoundAlreadyRecorded(there)
        _check([] if is_fact else items_for_round(rig=rig, day=day), answers)
        made = Round.objects.create(
            rig=rig, day=day, author_id=author.pk, recorded_at=at, request_id=request_id
        )
        RoundAnswer.objects.bulk_create(
            RoundAnswer(round=made, item=each.item, answer=each.answer, note=each.note.strip())
            for each in answers
        )
        open_found_work(
            rig=rig, answers=answers, of=made, author=author, at=at, request_id=request_id
        )
        return made


def open_found_work(
    *,
    rig: Rig,
    answers: Iterable[NewAnswer],
    of: Round,
    author: AbstractBaseUser,
    at: datetime,
    request_id: UUID,
) -> list[Finding]:
    """Open found work for each answer that is not right, once for each request_id.

    of: the round of the day; where two walked it, the one that was recorded.
    """
    fitted = _fitted(rig)
    return [
        open_finding(
            rig=rig,
            component=_component(each.item, fitted),
            text=f"{each.item.text}: {each.note.strip()}",
            is_grave=each.is_grave,
            source_kind="round",
            source_number=of.pk,
            author=author,
            at=at,
            request_id=uuid5(request_id, each.item.code),
        )
        for each in answers
        if each.answer == RoundAnswer.Answer.WRONG
    ]


def record_walk(
    *,
    rig: Rig,
    day: date,
    answers: Sequence[NewAnswer],
    readings: Sequence[NewReading],
    author: AbstractBaseUser,
    at: datetime,
    recorded_at: datetime,
    request_id: UUID,
    zone: ZoneInfo,
) -> tuple[Round, list[Reading]]:
    """Record a round and what the faces showed on the way, both or neither.

    at: when it was walked; recorded_at: now. Sent twice with one request_id, it counts once.
    Raises what `record_round` does, and ReadingsRefused.
    """
    with transaction.atomic():
        made = record_round(
            rig=rig, day=day, answers=answers, author=author, at=at, request_id=request_id
        )
        kept = (
            record_readings(
                rig=rig,
                readings=readings,
                at=at,
                recorded_at=recorded_at,
                author=author,
                request_id=uuid5(request_id, "readings"),
                zone=zone,
            )
            if readings
            else []
        )
        return made, kept


def what_it_showed(made: Round, read: int) -> str:
    """What is said of a round that was recorded, with so many readings; put into words when it is
    shown, in the language in force there."""
    answers = [row.answer for row in made.answers.all()]
    wrong = answers.count(RoundAnswer.Answer.WRONG)
    return _showed(answers.count(RoundAnswer.Answer.RIGHT), wrong, read)


def _in_words(right: int, wrong: int, read: int) -> str:
    if wrong:
        said = gettext("The round is kept: {right} in order, {wrong} not right, now found work.")
    else:
        said = gettext("The round is kept: {right} in order.")
    said = said.format(right=right, wrong=wrong)
    if not read:
        return said
    faces = ngettext("{n} reading kept.", "{n} readings kept.", read).format(n=read)
    return f"{said} {faces}"


_showed = lazy(_in_words, str)


def _check(items: Sequence[RoundItem], answers: Sequence[NewAnswer]) -> None:
    answered = {each.item.pk: each for each in answers}
    errors = {
        item.pk: gettext_lazy("Answer this check, or say that it does not apply.")
        for item in items
        if item.pk not in answered
    }
    for each in answers:
        if each.answer == RoundAnswer.Answer.WRONG and not each.note.strip():
            errors[each.item.pk] = gettext_lazy("Say what is not right.")
    if errors:
        raise AnswersRefused(errors)


def _fitted(rig: Rig) -> list[Installation]:
    return list(
        Installation.objects.select_related("position", "component")
        .filter(position__rig=rig, removed_at__isnull=True)
        .order_by("position__order")
    )


def _matching(item: RoundItem, fitted: Sequence[Installation]) -> list[Installation]:
    return [
        row
        for row in fitted
        if row.position.kind_id == item.kind_id and item.side in ("", row.position.side)
    ]


def _place(item: RoundItem, fitted: Sequence[Installation]) -> int | None:
    return next((row.position.order for row in _matching(item, fitted)), None)


def _component(item: RoundItem, fitted: Sequence[Installation]) -> Component | None:
    """The one it must be about; of two alike (both pumps) the note says which."""
    matching = _matching(item, fitted)
    return matching[0].component if len(matching) == 1 else None
