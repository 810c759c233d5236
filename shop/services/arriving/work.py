"""What each kind of entry does on its sheet: through the services that the pages call as well."""

import re
from decimal import Decimal
from typing import Final
from uuid import UUID

from django.db.models import Sum

from equipment import values
from equipment.counters import plain
from equipment.models import Reading
from equipment.services import NewReading, ReadingsRefused, open_finding
from equipment.services.expecting import Unusual, unusual
from inventory.models import Balance, Location, Part
from inventory.services import in_words, promised_elsewhere
from inventory.services.naming import MOST_LETTERS, on_label, part_named, quantity_of, slips
from shop import words
from shop.models import SheetPart, SheetStep, StepEntry
from shop.services import clocking, sheet_parts, signing, working
from shop.services.arriving.entry import Asked, Entry, NotTaken
from shop.services.arriving.reading import number
from shop.services.locking import start_work
from shop.services.paper import counters_of
from shop.services.refusals import ChecksOpen, UsedMoreThanTaken, UsedNotEntered

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
        raise NotTaken("That is not on this sheet.", "step")
    if said["remedy"] not in StepEntry.Remedy.values:
        raise NotTaken("Say what you did about it.", "remedy")
    working.answer_step(
        step=step,
        event_id=entry.event_id,
        author=entry.author,
        at=entry.at,
        recorded_at=entry.recorded_at,
        answer=said["answer"],
        value=_value(step, said["value"]),
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
        raise NotTaken("That part is not on this sheet.", "row")
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
    match count:
        case 0:
            return "Nothing was promised, so nothing was taken."
        case 1:
            return "1 part is in the tray."
        case _:
            return f"{count} parts are in the tray."


def add(entry: Entry) -> str:
    """Take a part that was not planned: from the place said, or from where enough of it lies."""
    part = part_of(entry.said["part"])
    steps = quantity_of(part, entry.said["quantity"])
    if not steps:
        raise NotTaken("Give a quantity above zero.", "quantity")
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
            questions.append(f"{in_words(part, elsewhere)} of it in {place} is promised to others.")
        if questions:
            raise Asked(" ".join(questions))
    sheet_parts.add_part(
        sheet=entry.sheet,
        part=part,
        location=place,
        quantity_steps=steps,
        author=entry.author,
        at=entry.at,
        request_id=entry.event_id,
    )
    return f"{in_words(part, steps)} of {part} from {place} is in the tray."


def reading(entry: Entry) -> str:
    """Note what a counter shows."""
    new = new_reading(entry)
    if not (entry.is_sure or entry.said["sure"] == entry.said["value"]) and (
        odd := unusual([new], at=entry.at).get(new.counter.pk)
    ):
        raise Asked(_doubt(odd, entry))
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
    counter = next(
        (each for each in counters_of(entry.sheet) if each.pk == entry.said["counter"]), None
    )
    if counter is None:
        raise NotTaken("That counter is not on this rig now.", "counter")
    value = _face(entry, "value")
    if value is None:
        raise NotTaken("Say what it shows now.", "value")
    return NewReading(
        counter=counter,
        value=value,
        step=_step(entry.said["step"]),
        before_reset=_face(entry, "before_reset"),
        face_start=_face(entry, "face_start"),
    )


def pick(entry: Entry) -> str:
    """Say which of several answers to a step counts."""
    picked = (
        StepEntry.objects.filter(step__sheet=entry.sheet, event_id=_uuid(entry.said["event"]))
        .select_related("step__sheet")
        .first()
    )
    if picked is None:
        raise NotTaken("That answer is not on this sheet.", "event")
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
        raise Asked(f"{refused} Sign all the same, and a manager settles it.") from refused
    except UsedNotEntered as refused:
        raise NotTaken(str(refused), "used") from refused
    except ChecksOpen as refused:
        raise NotTaken(str(refused), "leave_undone") from refused
    return f"Sheet {entry.sheet} is signed."


def found(entry: Entry) -> str:
    """Write down something wrong: on a signed or void sheet too, for it is the rig's."""
    said = entry.said
    sheet = entry.sheet
    line = sheet.lines.filter(order=said["line"]).select_related("component").first()
    if said["line"] and line is None:
        raise NotTaken("That service is not on this sheet.", "line")
    if not said["text"]:
        raise NotTaken("Say what you found.", "text")
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


def _uuid(typed: str) -> UUID:
    try:
        return UUID(typed)
    except ValueError as wrong:
        raise NotTaken("That answer is not on this sheet.", "event") from wrong


def _minutes(entry: Entry) -> int:
    typed = entry.said["labour_minutes"]
    if not typed:
        return clocking.labour_minutes(entry.sheet, now=entry.at, zone=entry.zone)
    if not re.fullmatch(r"[0-9]{1,5}", typed) or int(typed) > MOST_MINUTES:
        raise NotTaken("Say how long the work took, in minutes.", "labour_minutes")
    return int(typed)


def _value(step: SheetStep, typed: str) -> Decimal | None:
    try:
        return values.typed(typed, step.unit)
    except values.NotAValue as refused:
        raise NotTaken(str(refused), "value") from refused


def _face(entry: Entry, name: str) -> Decimal | None:
    """What a face showed; how long and how fine it may be says the reading's own service."""
    typed = entry.said[name]
    if not typed:
        return None
    shown = number(typed)
    if shown is None:
        raise NotTaken("Write a number, like 1182 or 60.5.", name)
    if shown < 0:
        raise NotTaken("This cannot be below zero.", name)
    return shown


def _step(said: str) -> str:
    if said and said not in Reading.Step.values:
        raise NotTaken("Say what happened to the counter.", "step")
    return said or Reading.Step.CONTINUED


def part_of(typed: str) -> Part:
    """The part that was typed or scanned. Raises NotTaken."""
    part = part_named(typed[:MOST_LETTERS])
    if part is None:
        raise NotTaken("There is no part of that number.", "part")
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
            raise NotTaken("There is no bin or drawer of that name.", "place")
        return place
    places = sheet_parts.places_of(entry.sheet)
    lying = {place: _there(part, place) for place in places}
    places = [place for place in places if lying[place]]
    if not places:
        raise NotTaken(f"None of {part} lies where this sheet may take from.", "part")
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


def _doubt(odd: Unusual, entry: Entry) -> str:
    counted = f"{plain(odd.counted)} {odd.counter.unit}"
    since = words.moment(
        odd.counter.last_at, zone=entry.zone, today=entry.at.astimezone(entry.zone).date()
    )
    much = "More" if odd.is_more else "Less"
    return f"{much} than usual: {counted} since {since}. Is it right?"
