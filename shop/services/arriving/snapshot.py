"""How a sheet stands, as a phone is told it: after each batch, and when its page is opened."""

from datetime import date, datetime
from typing import Any
from zoneinfo import ZoneInfo

from equipment import values
from equipment.models import Finding
from inventory.quantities import to_units
from shop import words
from shop.models import (
    Arrival,
    HandOver,
    PartEntry,
    Person,
    ReadingEntry,
    ServiceSheet,
    SheetStep,
    StepEntry,
    TimeEntry,
    Unsettled,
    WaitEntry,
)
from shop.services.clocking import worked_on
from shop.services.sheet_parts import SOURCE, in_tray
from shop.services.waiting import waits_of


def snapshot(sheet: ServiceSheet, *, zone: ZoneInfo) -> dict[str, Any]:
    """Return all that was entered on a sheet, as plain values for JSON.

    Times are texts in the shop's zone, with the day where it is not the day of the newest entry.
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
        .select_related("opened_by")
        .order_by("opened_at", "pk")
    )
    as_of = _as_of(sheet)
    today = as_of.astimezone(zone).date()

    def said(at: datetime) -> str:
        return clock(at, zone=zone, today=today)

    rivals = rivals_of(steps, unseen)
    return {
        "number": sheet.number,
        "state": sheet.state,
        "as_of": as_of.isoformat(),
        "steps": {
            str(step.pk): {
                **_answer(step.entry, step.unit),
                "by": step.entry.author.name,
                "who": step.entry.author_id,
                "at": said(step.entry.at),
                "instant": step.entry.at.isoformat(),
                "event": str(step.entry.event_id),
                "out": step.entry.is_out_of_limit,
                "rivals": [
                    {
                        "event": str(each.event_id),
                        "by": each.author.name,
                        "at": said(each.at),
                        "text": answer_in_words(each, step),
                        **_answer(each, step.unit),
                    }
                    for each in rivals.get(step.pk, ())
                ],
            }
            for step in steps
            if step.entry is not None
        },
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
                "grave": each.is_grave,
                "by": str(each.opened_by),
                "at": said(each.opened_at),
            }
            for each in found
        ],
        "hands": hands_of(sheet),
        **_around(sheet, as_of, zone=zone),
        "unsettled": [
            {"event": str(event), "words": reason}
            for event, reason in sheet.unsettled.open()
            .order_by("at", "pk")
            .values_list("event_id", "reason")
        ],
    }


def rivals_of(steps: list[SheetStep], unseen: list[StepEntry]) -> dict[int, list[StepEntry]]:
    """The other answers of each step that has several, oldest first, until a person picks one.

    steps: with their answers in force. unseen: all answers of these steps that name another
    which their author had not seen.
    """
    found: dict[int, list[StepEntry]] = {}
    for step in steps:
        entry = step.entry
        of_step = [each for each in unseen if each.step_id == step.pk]
        if entry is None or not of_step:
            continue
        inside: dict[int, StepEntry] = {entry.pk: entry}
        while more := {
            other.pk: other
            for each in of_step
            if each.rival_of is not None
            for one, other in ((each, each.rival_of), (each.rival_of, each))
            if one.pk in inside and other.pk not in inside
        }:
            inside |= more
        others = [each for pk, each in inside.items() if pk != entry.pk]
        if others:
            found[step.pk] = sorted(others, key=lambda each: (each.at, each.pk))
    return found


def answer_in_words(entry: StepEntry, step: SheetStep) -> str:
    """What was answered: "done", "240 V", "not applicable: no oil in it"."""
    what = {
        StepEntry.Answer.VALUE: step.said(entry.value),
        StepEntry.Answer.CHOICE: entry.choice,
    }.get(StepEntry.Answer(entry.answer), entry.get_answer_display())
    return f"{what}: {entry.note}" if entry.note else what


def hands_of(sheet: ServiceSheet) -> list[str]:
    """The names of all who entered something, by name."""
    authors = StepEntry.objects.filter(step__sheet=sheet).values_list("author")
    authors = authors.union(
        PartEntry.objects.filter(sheet_part__sheet=sheet).values_list("author"),
        ReadingEntry.objects.filter(sheet=sheet).values_list("author"),
        TimeEntry.objects.filter(sheet=sheet).values_list("author"),
        HandOver.objects.filter(sheet=sheet).values_list("author"),
        Arrival.objects.filter(sheet=sheet).values_list("author"),
        Unsettled.objects.filter(sheet=sheet).values_list("author"),
    )
    keys = [pk for (pk,) in authors]
    return list(Person.objects.filter(pk__in=keys).order_by("name").values_list("name", flat=True))


def clock(at: datetime, *, zone: ZoneInfo, today: date) -> str:
    """ "07:41", with the day where it is another: "24 Nov 07:41"."""
    local = at.astimezone(zone)
    if local.date() == today:
        return f"{local:%H:%M}"
    return words.moment(at, zone=zone, today=today)


def _answer(entry: StepEntry, unit: str) -> dict[str, str]:
    return {
        "answer": entry.answer,
        "value": "" if entry.value is None else values.retyped(entry.value, unit),
        "choice": entry.choice,
        "note": entry.note,
        "remedy": entry.remedy,
    }


def _parts(sheet: ServiceSheet) -> dict[str, dict[str, str]]:
    tray = in_tray(sheet)

    def units(steps: int | None, steps_per_unit: int) -> str:
        return "" if steps is None else f"{to_units(steps, steps_per_unit):f}"

    return {
        str(row.pk): {
            "used": units(row.used_steps, row.part.steps_per_unit),
            "taken": units(tray.get(row.part_id, 0), row.part.steps_per_unit),
            "number": row.part.number,
            "name": row.part.name,
        }
        for row in sheet.parts.select_related("part").order_by("pk")
    }


def _around(sheet: ServiceSheet, as_of: datetime, *, zone: ZoneInfo) -> dict[str, Any]:
    """Whose time runs, what the last one left word of, what the sheet waits for.

    minutes: until `as_of` where time runs; `since_at` says from when it does.
    """
    today = as_of.astimezone(zone).date()
    time = worked_on(sheet, now=as_of, zone=zone)
    names = dict(Person.objects.filter(pk__in=time).values_list("pk", "name"))
    word = sheet.hand_overs.select_related("author", "to").order_by("at", "pk").last()
    wait = waits_of([sheet], today=today).get(sheet.pk)
    return {
        "time": [
            {
                "person": pk,
                "by": names[pk],
                "minutes": each.minutes,
                "since": clock(each.since, zone=zone, today=today) if each.since else "",
                "since_at": each.since.isoformat() if each.since else "",
                "is_asked": bool(each.asked),
            }
            for pk, each in time.items()
        ],
        "word": {
            "text": word.words,
            "by": word.author.name,
            "to": word.to.name if word.to else "",
            "at": clock(word.at, zone=zone, today=today),
        }
        if word
        else None,
        "wait": {
            "text": wait.text,
            "by": wait.entry.author.name,
            "since": clock(wait.since, zone=zone, today=today),
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
                StepEntry.objects.filter(step__sheet=sheet),
                PartEntry.objects.filter(sheet_part__sheet=sheet),
                ReadingEntry.objects.filter(sheet=sheet),
                TimeEntry.objects.filter(sheet=sheet),
                HandOver.objects.filter(sheet=sheet),
                WaitEntry.objects.filter(sheet=sheet),
                Arrival.objects.filter(sheet=sheet),
                Unsettled.objects.filter(sheet=sheet),
            )
        ),
    ]
    return max(moment for moment in moments if moment is not None)
