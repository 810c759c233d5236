"""What phones send, in words: what an entry is about, and what was entered, as it was typed."""

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from typing import Any, Final

from django.utils.translation import gettext, gettext_noop, ngettext

from equipment.models import Counter, Reading, RoundAnswer, RoundItem
from inventory.models import Part
from inventory.quantities import QuantityRefused
from inventory.services import in_words
from inventory.services.naming import parts_named, quantity_of
from shop.models import SheetPart, SheetStep, StepEntry, Unsettled
from shop.spoken import own
from shop.unitwords import FOUND_AND_LEFT

#: What a kind of entry is called where no more can be said of it.
KIND_WORDS: Final = {
    "answer": gettext_noop("An answer"),
    "pick": gettext_noop("Which of two answers counts"),
    "used": gettext_noop("Parts used"),
    "add": gettext_noop("A part added"),
    "take": gettext_noop("The reserved parts are in the tray"),
    "take_off": gettext_noop("A part taken off"),
    "reading": gettext_noop("A reading"),
    "found": gettext_noop("Found work"),
    "sign": gettext_noop("A signature"),
    "clock": gettext_noop("A time"),
    "wait": gettext_noop("Waiting for parts"),
    "next": gettext_noop("A note for the next one"),
    "hand_over": gettext_noop("Handing over"),
    "round": gettext_noop("A daily round"),
}
#: What a tap on somebody's time does.
TIME_WORDS: Final = {"start": gettext_noop("start"), "stop": gettext_noop("stop")}


@dataclass(frozen=True, slots=True)
class Entered:
    """what, said: what an entry is about, and what was entered. put_right: what was posted in its
    place, where a manager put it right."""

    what: str
    said: str
    put_right: str = ""


@dataclass(frozen=True, slots=True)
class _Known:
    """What some entries are about, by key; parts by what was typed."""

    steps: Mapping[int, SheetStep]
    rows: Mapping[int, SheetPart]
    parts: Mapping[str, Part]
    counters: Mapping[int, Counter]
    items: Mapping[int, RoundItem]


def entered(unsettled: Collection[Unsettled]) -> list[Entered]:
    """What was entered, in their order; a few queries, however many.

    What was posted in its place is told of those whose settlement was loaded with them.
    """
    settled = [getattr(each, "settlement", None) for each in unsettled]
    posted = [each.payload if each else None for each in settled]
    known = _known(
        [(each.kind, each.payload) for each in unsettled]
        + [(each.kind, said) for each, said in zip(unsettled, posted, strict=True) if said]
    )
    found = []
    for each, put_right in zip(unsettled, posted, strict=True):
        what, said = _in_words(each.kind, each.payload, known)
        right = _in_words(each.kind, put_right, known)[1] if put_right else ""
        found.append(Entered(what, said, right))
    return found


def _known(entries: Collection[tuple[str, dict[str, Any]]]) -> _Known:
    def of(*kinds: str) -> list[dict[str, Any]]:
        return [said for kind, said in entries if kind in kinds]

    def by_key(rows: Any, name: str, said: Collection[dict[str, Any]]) -> dict[int, Any]:
        keys = {each.get(name, 0) for each in said} - {0}
        return rows.in_bulk(keys) if keys else {}

    answers = [answer for said in of("round") for answer in said.get("answers", ())]
    return _Known(
        steps=by_key(SheetStep.objects.all(), "step", of("answer")),
        rows=by_key(SheetPart.objects.select_related("part"), "row", of("used")),
        parts=parts_named({said.get("part", "") for said in of("used", "add", "take_off")}),
        counters=by_key(Counter.objects.all(), "counter", of("reading")),
        items=by_key(RoundItem.objects.all(), "item", answers),
    )


def _in_words(kind: str, said: dict[str, Any], known: _Known) -> tuple[str, str]:
    what = gettext(KIND_WORDS[kind]) if kind in KIND_WORDS else kind
    match kind:
        case "answer":
            step = known.steps.get(said.get("step", 0))
            return (own(step.title) if step else what), _answer(said, step)
        case "used" | "add":
            row = known.rows.get(said.get("row", 0))
            typed = said.get("part", "")
            part = row.part if row else known.parts.get(typed)
            return what, _part(said, part, str(part) if part else typed)
        case "take_off":
            typed = said.get("part", "")
            return what, str(known.parts.get(typed, typed))
        case "reading":
            counter = known.counters.get(said.get("counter", 0))
            if counter is None:
                return what, said.get("value", "")
            return gettext("Reading of {counter}").format(counter=own(counter.name)), _face(
                said, own(counter.unit)
            )
        case "found":
            if said.get("is_grave"):
                what = gettext("Found work, the rig must not leave")
            return what, said.get("text", "")
        case "sign":
            return what, said.get("signature", "")
        case "wait":
            return what, said.get("missing", "") or gettext("goes on")
        case "clock":
            does = said.get("does", "")
            return what, gettext(TIME_WORDS[does]) if does in TIME_WORDS else does
        case "next":
            return what, said.get("text", "")
        case "hand_over":
            return what, said.get("words", "")
        case "round":
            return what, _round(said, known.items)
        case _:
            return what, ""


def _face(said: dict[str, Any], unit: str) -> str:
    """What a face showed, and what had happened to it."""
    shows = f"{said.get('value', '')} {unit}"
    step = said.get("step") or Reading.Step.CONTINUED
    if step == Reading.Step.CONTINUED or step not in Reading.Step.values:
        return shows
    return f"{shows}, {Reading.Step(step).label}"


def _part(said: dict[str, Any], part: Part | None, name: str) -> str:
    """How much of which part, and from where: "2 pieces of PK-01 packing set from K-03"."""
    typed = said.get("issue") or said.get("used") or said.get("quantity", "")
    if not typed:
        return gettext("{part}, nothing said").format(part=name)
    much = _much(typed, part)
    if place := said.get("place"):
        text = gettext("{quantity} of {part} from {place}")
        return text.format(quantity=much, part=name, place=place)
    return gettext("{quantity} of {part}").format(quantity=much, part=name)


def _round(said: dict[str, Any], items: Mapping[int, RoundItem]) -> str:
    """What a round showed: how much was in order, what was not, how many faces were read."""
    answers = said.get("answers", [])
    right = sum(each.get("answer") == RoundAnswer.Answer.RIGHT for each in answers)
    wrong = [each for each in answers if each.get("answer") == RoundAnswer.Answer.WRONG]
    read = len(said.get("readings", []))
    found = [gettext("{n} in order").format(n=right)]
    for each in wrong:
        item = items.get(each.get("item", 0))
        text = f"{own(item.text)}: {each.get('note', '')}" if item else each.get("note", "")
        found.append(gettext("not right, {what}").format(what=text))
    if read:
        found.append(ngettext("{n} reading", "{n} readings", read).format(n=read))
    return "; ".join(found)


def _much(typed: str, part: Part | None) -> str:
    """A quantity as typed, with its unit where it can be read."""
    try:
        return in_words(part, quantity_of(part, typed)) if part else typed
    except QuantityRefused:
        return typed


def _answer(said: dict[str, Any], step: SheetStep | None) -> str:
    labels = dict(StepEntry.Answer.choices)
    answer = said.get("answer", "")
    if answer == StepEntry.Answer.VALUE:
        # As it was typed, whoever reads it: it waits, so what was typed may be what is wrong.
        unit = own(said.get("unit") or (step.unit if step else ""))
        found, left = (f"{said.get(name) or ''} {unit}".strip() for name in ("value", "left_value"))
        read_again = bool(said.get("left_value"))
        text = gettext(FOUND_AND_LEFT).format(found=found, left=left) if read_again else found
    elif answer == StepEntry.Answer.CHOICE:
        text = own(said.get("choice", ""))
    else:
        text = str(labels.get(answer, answer))
    notes = [said[name] for name in ("note", "finding_text") if said.get(name)]
    return f"{text}: {'; '.join(notes)}" if notes else text
