"""The daily round of a rig, from phones: its checks, what the faces showed, what else was found."""

from collections.abc import Mapping
from dataclasses import replace
from datetime import date, datetime, timedelta
from typing import Any, Final
from uuid import uuid5

from django.utils.text import format_lazy
from django.utils.translation import gettext, gettext_lazy, ngettext

from equipment.models import Reading, Round, RoundAnswer, RoundItem
from equipment.services import (
    NewAnswer,
    NewReading,
    ReadingsRefused,
    open_finding,
    record_readings,
    record_round,
)
from equipment.services.expecting import unusual
from equipment.services.rounds import open_found_work, record_walk, what_it_showed
from shop.services.arriving.entry import Asked, Entry, NotTaken, words_of
from shop.services.arriving.keeping import keep
from shop.services.arriving.work import doubt, reading_said, record_face
from shop.services.paper.counters import counters_aboard
from shop.services.refusals import as_kept

ZERO: Final = timedelta(0)
#: One that takes longer was interrupted, and is of the day on which it was ended.
LONGEST: Final = timedelta(hours=6)
LONGEST_NOTE: Final = int(getattr(RoundAnswer._meta.get_field("note"), "max_length", 0))


def walk(entry: Entry) -> str:
    """Record a round with its readings.

    Live, both or neither: what is odd goes back to who is looking. Else it is a fact, as a
    signature is: the answers count, and a reading that contradicts another waits for a manager.
    """
    answers = _answers(entry)
    if not entry.is_live:
        return _told(entry, answers)
    counters = counters_aboard(entry.rig.pk)
    said = _by_counter(entry)
    readings = [reading_said(each, counters) for each in said.values()]
    sure = {pk for pk, each in said.items() if _is_sure(each)}
    for pk, odd in unusual(readings, at=entry.at).items():
        if pk not in sure:
            raise Asked(doubt(odd, at=entry.at, zone=entry.zone))
    made, kept = record_walk(
        rig=entry.rig,
        day=day_of(entry),
        answers=answers,
        readings=readings,
        author=entry.author,
        at=entry.at,
        recorded_at=entry.recorded_at,
        request_id=entry.event_id,
        zone=entry.zone,
    )
    return what_it_showed(made, len(kept))


def reading(entry: Entry) -> str:
    """Record what a counter showed on a round, by itself."""
    new = reading_said(entry.said, counters_aboard(entry.rig.pk))
    odd = unusual([new], at=entry.at).get(new.counter.pk)
    if odd and not (entry.is_sure or _is_sure(entry.said)):
        raise Asked(doubt(odd, at=entry.at, zone=entry.zone))
    record_face(entry, new, request_id=entry.event_id)
    return ""


def found(entry: Entry) -> str:
    """Write down something wrong on the rig, whether or not its round is walked."""
    said = entry.said
    if not said["text"]:
        raise NotTaken(gettext_lazy("Say what you found."), "text")
    open_finding(
        rig=entry.rig,
        text=said["text"],
        is_grave=said["is_grave"],
        author=entry.author,
        at=entry.at,
        request_id=entry.event_id,
    )
    return ""


def day_of(entry: Entry) -> date:
    """The spray day of a round: that on which its page was opened, for midnight may pass.

    By our clock, and as far back as one round lasts: a page may lie open for days.
    """
    walked = entry.at.astimezone(entry.zone).date()
    if not entry.said["began"]:
        return walked
    began = datetime.fromisoformat(entry.said["began"])
    try:
        began += timedelta(seconds=entry.clock_error_seconds)
    except OverflowError:
        return walked
    return began.astimezone(entry.zone).date() if ZERO <= entry.at - began <= LONGEST else walked


def _told(entry: Entry, answers: list[NewAnswer]) -> str:
    day = day_of(entry)
    there = Round.objects.filter(rig=entry.rig, day=day).exclude(request_id=entry.event_id).first()
    if there is not None and entry.is_sure:
        # Two walked it, and the manager has looked: what the second saw is true all the same.
        open_found_work(
            rig=entry.rig,
            answers=answers,
            of=there,
            author=entry.author,
            at=entry.at,
            request_id=entry.event_id,
        )
        _readings(entry)
        return gettext(
            "The round of this day was there already; found work and readings were added."
        )
    made = record_round(
        rig=entry.rig,
        day=day,
        answers=answers,
        author=entry.author,
        at=entry.at,
        request_id=entry.event_id,
        is_fact=True,
    )
    kept, waiting = _readings(entry)
    said = what_it_showed(made, len(kept))
    if not waiting:
        return said
    waits = ngettext(
        "{n} reading waits for a manager.", "{n} readings wait for a manager.", waiting
    )
    return f"{said} {waits.format(n=waiting)}"


def _readings(entry: Entry) -> tuple[list[Reading], int]:
    """Record what can be taken of the readings; how many wait for a manager instead."""
    counters = counters_aboard(entry.rig.pk)
    said = _by_counter(entry)
    why: dict[int, str] = {}
    new: dict[int, NewReading] = {}
    for pk, each in said.items():
        try:
            new[pk] = reading_said(each, counters)
        except NotTaken as refused:
            why[pk] = _as_kept(refused)
    if not entry.is_sure:
        for pk, odd in unusual(list(new.values()), at=entry.at).items():
            if not _is_sure(said[pk]):
                with as_kept():
                    why[pk] = doubt(odd, at=entry.at, zone=entry.zone)
                del new[pk]
    kept: list[Reading] = []
    while new:
        try:
            kept = record_readings(
                rig=entry.rig,
                readings=list(new.values()),
                at=entry.at,
                recorded_at=entry.recorded_at,
                author=entry.author,
                request_id=uuid5(entry.event_id, "readings"),
                zone=entry.zone,
            )
            break
        except ReadingsRefused as refused:
            wrong = {pk: error for pk, error in refused.errors.items() if pk in new}
            if not wrong:
                raise
            for pk, error in wrong.items():
                del new[pk]
                why[pk] = _as_kept(error)
    for pk, reason in why.items():
        own = uuid5(entry.event_id, f"reading {pk}")
        keep(replace(entry, event_id=own, kind="reading", said=said[pk]), reason)
    return kept, len(why)


def _as_kept(refusal: Exception) -> str:
    """Why something waits, for the office."""
    with as_kept():
        return words_of(refusal)


def _answers(entry: Entry) -> list[NewAnswer]:
    """What each check showed. Raises NotTaken."""
    said = {each["item"]: each for each in entry.said["answers"]}
    if not said:
        raise NotTaken(gettext_lazy("Answer the checks of the round."), "answers")
    items = RoundItem.objects.select_related("kind").in_bulk(said)
    found = []
    for pk, each in said.items():
        if pk not in items:
            raise NotTaken(gettext_lazy("That is no check of a round."), "answers")
        if each["answer"] not in RoundAnswer.Answer.values:
            text = gettext_lazy("Answer this check, or say that it does not apply.")
            raise NotTaken(text, "answers")
        if len(each["note"]) > LONGEST_NOTE:
            text = gettext_lazy("Say what is not right in {most} letters.")
            raise NotTaken(format_lazy(text, most=LONGEST_NOTE), "answers")
        is_wrong = each["answer"] == RoundAnswer.Answer.WRONG
        found.append(
            NewAnswer(
                item=items[pk],
                answer=each["answer"],
                note=each["note"] if is_wrong else "",
                is_grave=is_wrong and each["is_grave"],
            )
        )
    return found


def _by_counter(entry: Entry) -> dict[int, dict[str, Any]]:
    """What was said of each face; of one that was named twice, the last."""
    return {each["counter"]: each for each in entry.said["readings"]}


def _is_sure(said: Mapping[str, Any]) -> bool:
    """Whether this very value was asked about before."""
    return bool(said["value"]) and said["sure"] == said["value"]
