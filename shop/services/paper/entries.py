"""What was entered on a sheet, said with who and when, and what others wrote about its work."""

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import replace
from datetime import datetime
from typing import Final
from zoneinfo import ZoneInfo

from django.utils.translation import gettext

from equipment.models import Known
from shop import unitwords, words
from shop.models import (
    LineNote,
    PartEntry,
    Person,
    ReadingEntry,
    ServiceSheet,
    SheetStep,
    StepEntry,
)
from shop.services.knowledge import KnownFor, Written
from shop.services.rivals import rivals_of
from shop.spoken import own

#: After these no comma follows.
SENTENCE_ENDS: Final = (".", "!", "?", "…", ":", ";", ",")


def answer_text(
    entry: StepEntry, step: SheetStep, *, zone: ZoneInfo, system: str, keyer: Person | None
) -> str:
    """What was entered, by whom and when, in one line that reads the same in ten years.

    keyer: as of `by_text`.
    """
    return f"{what_text(entry, step, system)} ({by_text(entry, zone=zone, keyer=keyer)})"


def what_text(entry: StepEntry, step: SheetStep, system: str) -> str:
    """What was entered: "12.8 V", "as found 282 V, as left 240 V: Replaced a part",
    "not applicable: no such filter".

    system: of the units in which a value is said, "us" or "metric".
    """
    if entry.answer == StepEntry.Answer.VALUE:
        what = unitwords.found_and_left(step.in_units(system), entry.value, entry.left_value)
    elif entry.answer == StepEntry.Answer.CHOICE:
        what = own(entry.choice)
    elif entry.answer == StepEntry.Answer.NOT_APPLICABLE:
        what = gettext("not applicable")
    else:
        what = gettext("done")
    more = [entry.get_remedy_display()] if entry.remedy else []
    more += [entry.note] if entry.note else []
    return f"{what}: {'; '.join(more)}" if more else what


def keyer_of(sheet: ServiceSheet) -> Person | None:
    """Who keyed in the whole sheet from paper, which it says once, beside its signature."""
    return sheet.signed_by if sheet.written_by_id else None


def by_text(
    entry: StepEntry | PartEntry | ReadingEntry, *, zone: ZoneInfo, keyer: Person | None
) -> str:
    """Who entered it, and when: "Ben Sorrel, 25 Nov 2026 07:46"; from paper, who keyed it in.

    keyer: who keyed in the whole sheet, of whom the sheet tells, not each of its lines.
    """
    if entry.written_by is None:
        return by_at(entry.author, entry.at, zone=zone)
    if entry.author == keyer:
        moment = words.dated(entry.at, zone=zone)
        return gettext("{name}, {moment} on paper").format(
            name=entry.written_by.name, moment=moment
        )
    return gettext("{name}, {moment} on paper, keyed in by {keyed_by}").format(
        name=entry.written_by.name,
        moment=words.dated(entry.at, zone=zone),
        keyed_by=entry.author.name,
    )


def by_at(person: Person, at: datetime, *, zone: ZoneInfo) -> str:
    return f"{person.name}, {words.dated(at, zone=zone)}"


def rivals_by_step(
    sheet: ServiceSheet, steps: list[SheetStep], zone: ZoneInfo, system: str
) -> dict[int, list[str]]:
    """By step, the other answers that stand beside the one in force, each with who gave it."""
    unseen = StepEntry.objects.filter(step__sheet=sheet, rival_of__isnull=False).select_related(
        "author", "written_by", "rival_of__author", "rival_of__written_by"
    )
    by_key, keyer = {step.pk: step for step in steps}, keyer_of(sheet)
    said = gettext("also answered: {answer} ({who})")
    return {
        key: [
            said.format(
                answer=what_text(each, by_key[key], system),
                who=by_text(each, zone=zone, keyer=keyer),
            )
            for each in others
        ]
        for key, others in rivals_of(steps, list(unseen)).items()
    }


def doers_by_step(
    steps: list[SheetStep], zone: ZoneInfo, *, keyer: Person | None
) -> dict[int, str]:
    """By step, everybody who did what each person does himself, with the times; one query.

    keyer: as of `by_text`.
    """
    mine = [step.pk for step in steps if step.is_each_persons]
    entries = StepEntry.objects.filter(step__in=mine).select_related("author", "written_by")
    newest: dict[int, dict[int, StepEntry]] = defaultdict(dict)
    for entry in entries.order_by("at", "pk"):
        newest[entry.step_id][entry.hand.pk] = entry
    return {
        step: "; ".join(
            by_text(entry, zone=zone, keyer=keyer)
            for entry in hands.values()
            if entry.answer != StepEntry.Answer.CLEARED
        )
        for step, hands in newest.items()
    }


def stood_before(steps: list[SheetStep], zone: ZoneInfo, system: str) -> dict[int, str]:
    """By step of lockout and by gauge, what stood before the answer in force, where a gauge was not
    at zero or it was taken back: "Before that: 40 psi at 09:12, 12 psi at 09:15 (B. Sorrel)",
    "Before that: done at 09:12, taken back at 09:15"; one query.

    Who entered it is said where it was somebody else. system: as of `what_text`.
    """
    before_checks = (SheetStep.Section.LOCKOUT, SheetStep.Section.ZERO)
    answered = {
        step.pk: (step, step.entry)
        for step in steps
        if step.section in before_checks and step.entry is not None
    }
    earlier = (
        StepEntry.objects.filter(step__in=answered)
        .exclude(pk__in=[entry.pk for _, entry in answered.values()])
        .exclude(rival_of__isnull=False)  # said as what was answered also
        .select_related("author", "written_by")
        .order_by("at", "pk")
    )
    found: dict[int, list[str]] = defaultdict(list)
    for each in _no_longer_so(earlier, answered):
        step, now = answered[each.step_id]
        is_back = each.answer == StepEntry.Answer.CLEARED
        said = gettext("{value} at {time}").format(
            value=each.get_answer_display() if is_back else what_text(each, step, system),
            time=words.clock(each.at, zone=zone, today=now.at.astimezone(zone).date()),
        )
        found[step.pk].append(said if each.hand == now.hand else f"{said} ({each.hand.name})")
    before = gettext("Before that: {readings}")
    return {step: before.format(readings=", ".join(each)) for step, each in found.items()}


def _no_longer_so(
    earlier: Iterable[StepEntry], answered: Mapping[int, tuple[SheetStep, StepEntry]]
) -> list[StepEntry]:
    """Of earlier entries, in their order: gauges not at zero, what was taken back, and that it was.

    What each person does himself is taken back by him, and stands beside that of others.
    """
    told: dict[int, StepEntry] = {}
    last: dict[tuple[int, int], StepEntry] = {}
    for each in earlier:
        step, _ = answered[each.step_id]
        whose = (step.pk, each.hand.pk if step.is_each_persons else 0)
        if each.answer == StepEntry.Answer.CLEARED:
            told |= {entry.pk: entry for entry in (last.get(whose), each) if entry is not None}
        elif step.section == SheetStep.Section.ZERO and each.value:
            told[each.pk] = each
        last[whose] = each
    return sorted(told.values(), key=lambda entry: (entry.at, entry.pk))


def left_text(note: LineNote, *, zone: ZoneInfo) -> str:
    """ "Note for the next one: grease the shaft first (B. Sorrel, 25 Nov 2026 07:46)"."""
    said = gettext("Note for the next one: {text} ({who})")
    return said.format(text=note.text, who=by_at(note.author, note.at, zone=zone))


def notes_of(of_lines: Mapping[int, KnownFor], zone: ZoneInfo) -> dict[int, tuple[str, ...]]:
    """By line what is known of its work and what was written there last, each said once: where it
    was written of the same thing, if that is on the sheet."""
    found: dict[int, tuple[str, ...]] = {}
    told: set[str] = set()
    at_home = {
        replace(past, is_same=False)
        for known in of_lines.values()
        for past in known.written
        if past.is_same
    }
    for key, known in of_lines.items():
        notes = [
            f"{_with_where(note)} ({by_at(note.author, note.recorded_at, zone=zone)})"
            for note in known.notes
        ]
        notes += [_past_text(past, zone) for past in known.written if past not in at_home]
        found[key] = tuple(note for note in notes if note not in told)
        told.update(notes)
    return found


def _with_where(note: Known) -> str:
    """A note and where that is written: "Grease it, page 6"; after a full stop no comma."""
    if not note.where:
        return note.text
    return f"{note.text}{'' if note.text.endswith(SENTENCE_ENDS) else ','} {note.where}"


def _past_text(past: Written, zone: ZoneInfo) -> str:
    """What was written on an earlier sheet: "On sheet 0412, Side seal: worn (B. Sorrel, …)"; of
    something else, with what it was written of: "On sheet 0412, on OUT-01, Side seal: …"."""
    where = gettext("On sheet {number}").format(number=f"{past.sheet:04d}")
    if not past.is_same:
        where += ", " + gettext("on {component}").format(component=past.component)
    about = f", {own(past.about)}" if past.about else ""
    return f"{where}{about}: {past.text} ({past.author}, {words.dated(past.at, zone=zone)})"
