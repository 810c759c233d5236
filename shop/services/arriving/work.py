"""What each kind of entry does on its sheet: through the services that the pages call as well."""

import re
from collections.abc import Iterable, Mapping
from datetime import datetime
from decimal import Decimal
from typing import Any, Final
from uuid import UUID
from zoneinfo import ZoneInfo

from django.db.models import Sum
from django.utils.text import format_lazy
from django.utils.translation import gettext, gettext_lazy, ngettext

from equipment.counters import plain
from equipment.models import Counter, Reading
from equipment.services import NewReading, ReadingsRefused, open_finding, record_reading
from equipment.services.expecting import Unusual, unusual
from inventory.models import Balance, Location, Part
from inventory.services import NotEnoughOnHand, in_words, promised_elsewhere
from inventory.services.naming import MOST_LETTERS, on_label, part_named, quantity_of, slips
from shop import words
from shop.models import SheetPart, StepEntry
from shop.services import clocking, sheet_parts, signing, taking_off, working
from shop.services.answers import typed_value
from shop.services.arriving.entry import Asked, Entry, NotTaken
from shop.services.arriving.reading import number
from shop.services.locking import start_work
from shop.services.paper.counters import counters_of
from shop.services.refusals import ChecksOpen, UsedMoreThanTaken, UsedNotEntered, told
from shop.services.replaced import NoPartUsed, refuse_without_parts
from shop.spoken import own

#: As much as is said again of a number that is none.
MOST_SHOWN: Final = 60
#: A week without sleep.
MOST_MINUTES: Final = 60 * 24 * 7


def answer(entry: Entry) -> str:
    """Answer one step."""
    said = entry.said
    step = (
        entry.sheet.steps.select_related("sheet__rig", "sheet__component", "line__component")
        .filter(pk=said["step"])
        .first()
    )
    if step is None:
        raise NotTaken(gettext_lazy("That is not on this sheet."), "step")
    if said["remedy"] not in StepEntry.Remedy.values:
        raise NotTaken(gettext_lazy("Say what you did about it."), "remedy")
    working.answer_step(
        step=step,
        event_id=entry.event_id,
        author=entry.author,
        at=entry.at,
        recorded_at=entry.recorded_at,
        answer=said["answer"],
        value=typed_value(step, said["value"], said.get("unit", "")),
        left_value=typed_value(
            step, said.get("left_value", ""), said.get("unit", ""), field="left_value"
        ),
        choice=said["choice"],
        note=said["note"],
        remedy=said["remedy"],
        finding_text=said["finding_text"],
        is_grave=said["is_grave"],
        seen=said["seen"],
        written_by=entry.hand,
    )
    return ""


def used(entry: Entry) -> str:
    """Say how much of a part was used: by its row, or by its number where it was added just now."""
    rows = entry.sheet.parts.select_related("part")
    row: SheetPart | None
    if entry.said["part"]:
        part = part_of(entry.said["part"])
        row = rows.filter(part=part).first()
    else:
        row = rows.filter(pk=entry.said["row"]).first()
    if row is None:
        raise NotTaken(gettext_lazy("That part is not on this sheet."), "row")
    sheet_parts.enter_used(
        sheet_part=row,
        used_steps=quantity_of(row.part, entry.said["used"]),
        event_id=entry.event_id,
        author=entry.author,
        at=entry.at,
        recorded_at=entry.recorded_at,
    )
    return ""


def take(entry: Entry) -> str:
    """Move what was promised into the tray of the sheet."""
    moved = sheet_parts.take_parts(
        sheet=entry.sheet, author=entry.author, at=entry.at, request_id=entry.event_id
    )
    count = sum(1 for movement in moved if movement.quantity_steps > 0)
    if not count:
        return gettext("Nothing was promised, so nothing was taken.")
    return ngettext("{n} part is in the tray.", "{n} parts are in the tray.", count).format(n=count)


def add(entry: Entry) -> str:
    """Take a part that was not planned: from the place said, or from where enough of it lies."""
    part = part_of(entry.said["part"])
    steps = quantity_of(part, entry.said["quantity"])
    if not steps:
        raise NotTaken(gettext_lazy("Give a quantity above zero."), "quantity")
    place = _place(entry, part, steps)
    if not (entry.is_sure or entry.said["sure"]):
        questions = slips([(part, steps)])
        there = _there(part, place)
        elsewhere = promised_elsewhere(
            part=part,
            location=place,
            source_kind=sheet_parts.SOURCE,
            source_number=entry.sheet.number,
        )
        if steps <= there < steps + elsewhere:
            questions.append(
                gettext(words.PROMISED).format(quantity=in_words(part, elsewhere), place=place)
            )
        if questions:
            raise Asked(" ".join(questions))
    try:
        sheet_parts.add_part(
            sheet=entry.sheet,
            part=part,
            location=place,
            quantity_steps=steps,
            author=entry.author,
            at=entry.at,
            request_id=entry.event_id,
            # An older phone does not say it.
            expired_reason=entry.said.get("expired_reason", ""),
        )
    except NotEnoughOnHand as refused:
        if not refused.expired_steps:
            raise
        only = gettext_lazy("What has expired is used only when a manager says why.")
        raise NotTaken(format_lazy("{} {}", refused, only), "expired_reason") from refused
    return gettext("{quantity} of {part} from {place} is in the tray.").format(
        quantity=in_words(part, steps), part=part, place=place
    )


def take_off(entry: Entry) -> str:
    """Take off again what was added by mistake: by its entry, or by its row once it has one."""
    given: dict[str, Any] = {
        "author": entry.author,
        "at": entry.at,
        "recorded_at": entry.recorded_at,
    }
    not_here = gettext_lazy("That part is not on this sheet.")
    if entry.said["event"]:
        taking_off.take_off_added(
            sheet=entry.sheet, added=_uuid(entry.said["event"], not_here), **given
        )
        return ""
    row = entry.sheet.parts.filter(pk=entry.said["row"]).first()
    if row is None:
        raise NotTaken(not_here, "row")
    taking_off.take_off_part(row=row, request_id=entry.event_id, **given)
    return ""


def reading(entry: Entry) -> str:
    """Note what a counter shows."""
    new = new_reading(entry)
    if not (entry.is_sure or entry.said["sure"] == entry.said["value"]) and (
        odd := unusual([new], at=entry.at).get(new.counter.pk)
    ):
        raise Asked(doubt(odd, at=entry.at, zone=entry.zone))
    working.enter_reading(
        sheet=entry.sheet,
        new=new,
        event_id=entry.event_id,
        author=entry.author,
        at=entry.at,
        recorded_at=entry.recorded_at,
    )
    return ""


def new_reading(entry: Entry) -> NewReading:
    """What an entry says that a counter of its sheet shows. Raises NotTaken."""
    return reading_said(entry.said, counters_of(entry.sheet))


def record_face(entry: Entry, new: NewReading, *, request_id: UUID, **source: Any) -> None:
    """Record what a counter showed, as its entry says by whom and when.

    source: what it was read for, as `record_readings` takes it. Raises ReadingRefused.
    """
    record_reading(
        counter=new.counter,
        value=new.value,
        step=new.step,
        before_reset=new.before_reset,
        face_start=new.face_start,
        at=entry.at,
        recorded_at=entry.recorded_at,
        author=entry.author,
        request_id=request_id,
        zone=entry.zone,
        **source,
    )


def reading_said(said: Mapping[str, Any], counters: Iterable[Counter]) -> NewReading:
    """What somebody says that one of these counters shows. Raises NotTaken."""
    counter = next((each for each in counters if each.pk == said["counter"]), None)
    if counter is None:
        raise NotTaken(gettext_lazy("That counter is not on this rig now."), "counter")
    value = _face(said, "value")
    if value is None:
        raise NotTaken(gettext_lazy("Say what it shows now."), "value")
    return NewReading(
        counter=counter,
        value=value,
        step=_step(said["step"]),
        before_reset=_face(said, "before_reset"),
        face_start=_face(said, "face_start"),
    )


def pick(entry: Entry) -> str:
    """Say which of several answers to a step counts."""
    not_here = gettext_lazy("That answer is not on this sheet.")
    picked = (
        StepEntry.objects.filter(
            step__sheet=entry.sheet, event_id=_uuid(entry.said["event"], not_here)
        )
        .select_related("step__sheet")
        .first()
    )
    if picked is None:
        raise NotTaken(not_here, "event")
    working.pick_answer(
        picked=picked,
        event_id=entry.event_id,
        author=entry.author,
        at=entry.at,
        recorded_at=entry.recorded_at,
    )
    return ""


def sign(entry: Entry) -> str:
    """Sign the sheet: a fact, unless the person can be asked about what would wait."""
    said = entry.said
    minutes = _minutes(entry)
    is_asked = entry.is_live and not (entry.is_sure or said["sure"])
    try:
        signing.sign_sheet(
            sheet=entry.sheet,
            author=entry.author,
            at=entry.at,
            signature=said["signature"],
            drawn=said["drawn"],
            labour_minutes=minutes,
            leave_undone=said["leave_undone"],
            signing_id=entry.event_id,
            fact=None
            if is_asked
            else signing.Fact(entry.phone, entry.recorded_at, entry.clock_error_seconds),
        )
    except (ReadingsRefused, UsedMoreThanTaken) as refused:
        why = told(refused) if isinstance(refused, ReadingsRefused) else refused
        settles = gettext_lazy("Sign all the same, and a manager settles it.")
        raise Asked(format_lazy("{} {}", why, settles)) from refused
    except UsedNotEntered as refused:
        raise NotTaken(refused, "used") from refused
    except ChecksOpen as refused:
        raise NotTaken(refused, "leave_undone") from refused
    # Asked last: nothing stands of what the question takes back. An older phone does not say it.
    if is_asked and not said.get("no_parts"):
        try:
            refuse_without_parts(entry.sheet)
        except NoPartUsed as question:
            raise Asked(question) from question
    return gettext("Sheet {sheet} is signed.").format(sheet=entry.sheet)


def found(entry: Entry) -> str:
    """Write down something wrong: on a signed or void sheet too, for it is the rig's."""
    said = entry.said
    sheet = entry.sheet
    line = sheet.lines.filter(order=said["line"]).select_related("component").first()
    if said["line"] and line is None:
        raise NotTaken(gettext_lazy("That service is not on this sheet."), "line")
    if not said["text"]:
        raise NotTaken(gettext_lazy("Say what you found."), "text")
    if sheet.is_open:
        start_work(sheet, author=entry.author, at=entry.at)
    open_finding(
        rig=sheet.rig or sheet.charged_rig,
        component=line.component if line else sheet.component,
        text=said["text"],
        is_grave=said["is_grave"],
        source_kind=sheet_parts.SOURCE,
        source_number=sheet.number,
        author=entry.author,
        at=entry.at,
        request_id=entry.event_id,
    )
    return ""


def _uuid(typed: str, otherwise: object) -> UUID:
    try:
        return UUID(typed)
    except ValueError as wrong:
        raise NotTaken(otherwise, "event") from wrong


def _minutes(entry: Entry) -> int:
    typed = entry.said["labour_minutes"]
    if not typed:
        return clocking.labour_minutes(entry.sheet, now=entry.at, zone=entry.zone)
    if not re.fullmatch(r"[0-9]{1,5}", typed) or int(typed) > MOST_MINUTES:
        raise NotTaken(gettext_lazy("Say how long the work took, in minutes."), "labour_minutes")
    return int(typed)


def _face(said: Mapping[str, Any], name: str) -> Decimal | None:
    """What a face showed; how long and how fine it may be says the reading's own service."""
    typed = said[name]
    if not typed:
        return None
    shown = number(typed)
    if shown is None:
        raise NotTaken(gettext_lazy("Write a number, like 1182 or 60.5."), name)
    if shown < 0:
        raise NotTaken(gettext_lazy("This cannot be below zero."), name)
    return shown


def _step(said: str) -> str:
    if said and said not in Reading.Step.values:
        raise NotTaken(gettext_lazy("Say what happened to the counter."), "step")
    return said or Reading.Step.CONTINUED


def part_of(typed: str) -> Part:
    """The part that was typed or scanned. Raises NotTaken."""
    part = part_named(typed[:MOST_LETTERS])
    if part is None:
        text = gettext_lazy(words.NO_SUCH_PART)
        raise NotTaken(format_lazy(text, part=typed[:MOST_SHOWN]), "part")
    return part


def _place(entry: Entry, part: Part, steps: int) -> Location:
    """The place said; else where so much lies that nobody else was promised, or lies at all.

    Where no place holds as much, the one with most: the refusal then says what it lacks.
    """
    if typed := entry.said["place"]:
        named = on_label(typed)
        code = named[1] if named and named[0] == "place" else typed
        place = Location.objects.filter(code__iexact=code[:MOST_LETTERS]).first()
        if place is None:
            raise NotTaken(gettext_lazy("There is no bin or drawer of that name."), "place")
        return place
    places = sheet_parts.places_of(entry.sheet)
    lying = {place: _there(part, place) for place in places}
    places = [place for place in places if lying[place]]
    if not places:
        raise NotTaken(
            format_lazy(gettext_lazy(words.LIES_NOWHERE), part=part),
            "part",
        )
    for place in places:
        promised = promised_elsewhere(
            part=part,
            location=place,
            source_kind=sheet_parts.SOURCE,
            source_number=entry.sheet.number,
        )
        if lying[place] - promised >= steps:
            return place
    return max(places, key=lambda place: lying[place])


def _there(part: Part, place: Location) -> int:
    lying = Balance.objects.there().filter(part=part, location=place)
    return lying.aggregate(all=Sum("quantity_steps"))["all"] or 0


def doubt(odd: Unusual, *, at: datetime, zone: ZoneInfo) -> str:
    """What is asked about a reading made at a moment that is possible and not to be expected."""
    moment = words.moment(odd.counter.last_at, zone=zone, today=at.astimezone(zone).date())
    text = words.MORE_THAN_USUAL if odd.is_more else words.LESS_THAN_USUAL
    return gettext(text).format(
        counted=f"{plain(odd.counted)} {own(odd.counter.unit)}",
        since=gettext(words.SINCE).format(day=moment),
    )
