"""How a sheet stands, as a phone is told it: after each batch, and when its page is opened."""

from collections import Counter
from collections.abc import Callable
from datetime import datetime
from decimal import Decimal
from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

from django.db.models import Q

from equipment.models import Finding, FindingPhoto
from equipment.own_units import SYSTEMS
from inventory.quantities import to_units
from shop import unitwords, words
from shop.models import (
    Person,
    ServiceSheet,
    SheetStep,
    StepEntry,
    Unsettled,
    WaitEntry,
)
from shop.services.clocking import entries_of, tapped_on
from shop.services.rivals import rivals_of
from shop.services.sheet_parts import SOURCE, in_tray, promised_to
from shop.services.waiting import waits_of
from shop.worktime import worked


def snapshot(sheet: ServiceSheet, *, zone: ZoneInfo) -> dict[str, Any]:
    """Return all that was entered on a sheet, as plain values for JSON.

    Measured values are told in the units of each system: a phone keeps what it was told last, and
    may be in other hands when it shows it.

    Times are texts in the shop's zone, with the day where it is not the day of the newest entry;
    what stands on the page for longer has its instant too, for the page knows what day it is then.
    as_of: when the newest of it was recorded, ISO 8601: an older snapshot never overwrites.
    """
    steps = list(
        sheet.steps.filter(entry__isnull=False)
        .select_related("entry__author")
        .order_by("section", "order")
    )
    unseen = list(
        StepEntry.objects.filter(step__sheet=sheet, rival_of__isnull=False)
        .select_related("author", "rival_of__author")
        .order_by("at", "pk")
    )
    readings = list(
        sheet.readings.filter(is_in_force=True).select_related("author").order_by("counter_id")
    )
    found = list(
        Finding.objects.filter(source_kind=SOURCE, source_number=sheet.number)
        .select_related("opened_by", "component")
        .order_by("opened_at", "pk")
    )
    as_of = _as_of(sheet)
    today = as_of.astimezone(zone).date()

    def said(at: datetime) -> str:
        return words.clock(at, zone=zone, today=today)

    rivals = rivals_of(steps, unseen)
    return {
        "number": sheet.number,
        "state": sheet.state,
        "as_of": as_of.isoformat(),
        "steps": {
            str(step.pk): {
                **_answer(step.entry, step),
                "by": step.entry.author.name,
                "who": step.entry.hand_id,
                "at": said(step.entry.at),
                "instant": step.entry.at.isoformat(),
                "event": str(step.entry.event_id),
                "out": step.entry.is_out_of_limit,
                "rivals": [
                    {
                        "event": str(each.event_id),
                        "by": each.author.name,
                        "at": said(each.at),
                        "instant": each.at.isoformat(),
                        "texts": {
                            system: answer_in_words(each, step, system) for system in SYSTEMS
                        },
                        **_answer(each, step),
                    }
                    for each in rivals.get(step.pk, ())
                ],
            }
            for step in steps
            if step.entry is not None
        },
        "own": _own(sheet, said),
        "parts": _parts(sheet),
        "readings": {
            str(each.counter_id): {
                "value": f"{each.value.normalize():f}",
                "step": each.step,
                "by": each.author.name,
                "at": said(each.at),
                "text": words.exactly(each.value),
            }
            for each in readings
        },
        "found": [
            {
                "text": each.text,
                "of": str(each.component or ""),
                "event": str(each.request_id),
                "grave": each.is_grave,
                "by": str(each.opened_by),
                "at": said(each.opened_at),
            }
            for each in found
        ],
        "photos": _photos(sheet, [each.request_id for each in found]),
        **_around(sheet, as_of, zone=zone),
        "unsettled": [
            {"event": str(event), "words": reason}
            for event, reason in sheet.unsettled.open()
            .order_by("at", "pk")
            .values_list("event_id", "reason")
        ],
    }


def _own(sheet: ServiceSheet, said: Callable[[datetime], str]) -> dict[str, dict[str, Any]]:
    """Of each step that each person does himself, whose it is now, by person: a caution that they
    have read, a lock that they have put on."""
    personal = {str(step.pk): step for step in sheet.steps.all() if step.is_each_persons}
    entries = StepEntry.objects.filter(step__in=personal.values()).select_related("author")
    own: dict[str, dict[str, Any]] = {key: {} for key in personal}
    for entry in entries.order_by("pk"):
        of_step = own[str(entry.step_id)]
        if entry.answer == StepEntry.Answer.CLEARED:
            of_step.pop(str(entry.hand_id), None)
            continue
        of_step[str(entry.hand_id)] = {
            "answer": entry.answer,
            "by": entry.author.name,
            "who": entry.hand_id,
            "at": said(entry.at),
            "instant": entry.at.isoformat(),
        }
    return own


def answer_in_words(entry: StepEntry, step: SheetStep, system: str) -> str:
    """What was answered: "done", "240 V", "not applicable: no oil in it".

    system: of the units in which a value is said, "us" or "metric".
    """
    what = {
        StepEntry.Answer.VALUE: unitwords.found_and_left(
            step.in_units(system), entry.value, entry.left_value
        ),
        StepEntry.Answer.CHOICE: entry.choice,
    }.get(StepEntry.Answer(entry.answer), entry.get_answer_display())
    return f"{what}: {entry.note}" if entry.note else what


def _answer(entry: StepEntry, step: SheetStep) -> dict[str, Any]:

    def typed(value: Decimal | None) -> dict[str, str]:
        return {
            system: "" if value is None else step.in_units(system).retyped(value)
            for system in SYSTEMS
        }

    return {
        "answer": entry.answer,
        "values": typed(entry.value),
        "left_values": typed(entry.left_value),
        "choice": entry.choice,
        "note": entry.note,
        "remedy": entry.remedy,
    }


def _photos(sheet: ServiceSheet, found: list[UUID]) -> dict[str, int]:
    """How many photos came behind each entry that has any, by its id."""
    answers = StepEntry.objects.filter(step__sheet=sheet).values("event_id")
    named = FindingPhoto.objects.filter(Q(found_id__in=answers) | Q(found_id__in=found))
    return dict(Counter(str(each) for each in named.values_list("found_id", flat=True)))


def _parts(sheet: ServiceSheet) -> dict[str, dict[str, str]]:
    tray = in_tray(sheet)
    promised = promised_to(sheet)

    def units(steps: int | None, steps_per_unit: int) -> str:
        return "" if steps is None else f"{to_units(steps, steps_per_unit):f}"

    return {
        str(row.pk): {
            "used": units(row.used_steps, row.part.steps_per_unit),
            "promised": units(promised.get(row.part_id, 0), row.part.steps_per_unit),
            "taken": units(tray.get(row.part_id, 0), row.part.steps_per_unit),
            "number": row.part.number,
            "name": row.part.name,
        }
        for row in sheet.parts.select_related("part").order_by("pk")
    }


def _around(sheet: ServiceSheet, as_of: datetime, *, zone: ZoneInfo) -> dict[str, Any]:
    """Whose time runs, what the last one left word of, what the sheet waits for.

    minutes: until `as_of` where time runs; `since_at` says from when it does. taps, closed: from
    which a phone reckons them anew, by the numbers of the sheets.
    """
    today = as_of.astimezone(zone).date()
    tapped = tapped_on([sheet])
    time = worked(tapped.stretches(zone=zone), sheet=sheet.pk, now=as_of, zone=zone)
    names = dict(Person.objects.filter(pk__in=time).values_list("pk", "name"))
    word = sheet.hand_overs.select_related("author", "to").order_by("at", "pk").last()
    wait = waits_of([sheet], today=today).get(sheet.pk)
    return {
        "time": [
            {
                "person": pk,
                "by": names[pk],
                "minutes": each.minutes,
                "since": words.clock(each.since, zone=zone, today=today) if each.since else "",
                "since_at": each.since.isoformat() if each.since else "",
                "is_asked": bool(each.asked),
            }
            for pk, each in time.items()
        ],
        "taps": [
            {
                "person": tap.person,
                "sheet": tapped.numbers[tap.sheet],
                "starts": tap.starts,
                "at": tap.at.isoformat(),
                "isSure": tap.is_sure,
            }
            for tap in tapped.taps
        ],
        "closed": {tapped.numbers[key]: at.isoformat() for key, at in tapped.closed.items()},
        "word": {
            "text": word.words,
            "by": word.author.name,
            "to": word.to.name if word.to else "",
            "at": words.clock(word.at, zone=zone, today=today),
        }
        if word
        else None,
        "wait": {
            "text": wait.text,
            "by": wait.entry.author.name,
            "since": words.clock(wait.since, zone=zone, today=today),
            "has_come": wait.has_come,
        }
        if wait
        else None,
    }


def _as_of(sheet: ServiceSheet) -> datetime:
    """When the newest of it was recorded."""
    moments = [
        sheet.drafted_at,
        sheet.handed_out_at,
        sheet.signed_at,
        sheet.voided_at,
        *(
            rows.order_by("-recorded_at").values_list("recorded_at", flat=True).first()
            for rows in (
                *entries_of(sheet),
                WaitEntry.objects.filter(sheet=sheet),
                Unsettled.objects.filter(sheet=sheet),
            )
        ),
    ]
    return max(moment for moment in moments if moment is not None)
