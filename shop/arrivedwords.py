"""What waits from phones, as a manager reads it: what was entered, when, by which clock."""

from collections.abc import Collection
from dataclasses import dataclass
from datetime import date
from typing import Any, Final
from zoneinfo import ZoneInfo

from equipment.models import Counter
from inventory.models import Part
from inventory.quantities import QuantityRefused
from inventory.services import in_words
from inventory.services.naming import quantity_of
from shop import words
from shop.models import SheetPart, SheetStep, StepEntry, Unsettled
from shop.services.arriving import answer_in_words, may_post

#: A clock that is no further off than this is right. [s]
RIGHT: Final = 90

#: What a kind of entry is called where no more can be said of it.
KIND_WORDS: Final = {
    "answer": "An answer",
    "pick": "Which of two answers counts",
    "used": "Parts used",
    "add": "A part added",
    "take": "The reserved parts are in the tray",
    "reading": "A reading",
    "found": "Found work",
    "sign": "A signature",
    "clock": "A time",
    "wait": "Waiting for parts",
}


@dataclass(frozen=True, slots=True)
class Row:
    """One entry that waits. what, said: of what it is, and what was entered."""

    unsettled: Unsettled
    what: str
    said: str
    when: str
    clock: str
    may_post: bool


def rows_of(unsettled: Collection[Unsettled], *, zone: ZoneInfo, today: date) -> list[Row]:
    """Entries as the page shows them; three queries, however many."""
    steps = _by_key(SheetStep.objects.all(), unsettled, "answer", "step")
    parts = _by_key(SheetPart.objects.select_related("part"), unsettled, "used", "row")
    counters = _by_key(Counter.objects.all(), unsettled, "reading", "counter")
    found = []
    for each in unsettled:
        what, said = _in_words(each, steps, parts, counters)
        found.append(
            Row(
                each,
                what,
                said,
                words.moment(each.at, zone=zone, today=today),
                clock_text(each.clock_error_seconds),
                may_post(each),
            )
        )
    return found


def clock_text(error_seconds: int) -> str:
    """How wrong a phone's clock was: "its clock 3 min slow"; empty where it was right."""
    if abs(error_seconds) <= RIGHT:
        return ""
    minutes = round(abs(error_seconds) / 60)
    much = words.span(minutes) if minutes < 3 * 24 * 60 else f"{round(minutes / 1440):,} days"
    return f"its clock was {much} {'slow' if error_seconds > 0 else 'fast'}"


def _by_key(rows: Any, unsettled: Collection[Unsettled], kind: str, name: str) -> dict[int, Any]:
    """What the entries of a kind are about, by key."""
    keys = {each.payload.get(name, 0) for each in unsettled if each.kind == kind} - {0}
    return rows.in_bulk(keys) if keys else {}


def _in_words(
    row: Unsettled,
    steps: dict[int, SheetStep],
    parts: dict[int, SheetPart],
    counters: dict[int, Counter],
) -> tuple[str, str]:
    said = row.payload
    what = KIND_WORDS.get(row.kind, row.kind)
    match row.kind:
        case "answer":
            step = steps.get(said.get("step", 0))
            return (step.title if step else what), _answer(said, step)
        case "used":
            row_of = parts.get(said.get("row", 0))
            name = row_of.part.name if row_of else said.get("part", "")
            used = said.get("used", "")
            return f"{what}: {name}", _much(used, row_of.part if row_of else None)
        case "add":
            return f"{what}: {said.get('part', '')}", said.get("quantity", "")
        case "reading":
            counter = counters.get(said.get("counter", 0))
            if counter is None:
                return what, said.get("value", "")
            return f"{what}: {counter.name}", f"{said.get('value', '')} {counter.unit}"
        case "found":
            grave = ", the rig must not leave" if said.get("is_grave") else ""
            return f"{what}{grave}", said.get("text", "")
        case "sign":
            return what, said.get("signature", "")
        case "wait":
            return what, said.get("missing", "") or "goes on"
        case "clock":
            return what, said.get("does", "")
        case _:
            return what, ""


def stands(row: Unsettled) -> str:
    """What stands on the sheet, or on the counter, in place of what waits; or nothing."""
    said = row.payload
    if row.kind == "answer":
        step = (
            SheetStep.objects.filter(pk=said.get("step", 0)).select_related("entry__author").first()
        )
        if step is None:
            return ""
        if step.entry is None:
            return "It is not answered on the sheet."
        return f"The sheet says: {answer_in_words(step.entry, step)} ({step.entry.author})."
    if row.kind == "reading":
        counter = Counter.objects.filter(pk=said.get("counter", 0)).first()
        if counter is None:
            return ""
        return f"The counter was last read at {words.exactly(counter.last_value)} {counter.unit}."
    return ""


def _much(typed: str, part: Part | None) -> str:
    """A quantity as typed, with its unit where it can be read."""
    if not typed:
        return "nothing said"
    try:
        return in_words(part, quantity_of(part, typed)) if part else typed
    except QuantityRefused:
        return typed


def _answer(said: dict[str, Any], step: SheetStep | None) -> str:
    labels = dict(StepEntry.Answer.choices)
    answer = said.get("answer", "")
    if answer == StepEntry.Answer.VALUE:
        text = f"{said.get('value', '')} {step.unit if step else ''}".strip()
    elif answer == StepEntry.Answer.CHOICE:
        text = said.get("choice", "")
    else:
        text = str(labels.get(answer, answer))
    notes = [said[name] for name in ("note", "finding_text") if said.get(name)]
    return f"{text}: {'; '.join(notes)}" if notes else text
