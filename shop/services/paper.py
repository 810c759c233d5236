"""A sheet as the paper says it: rows in, `shop.paper` dataclasses out, ready to print or keep."""

import dataclasses
from collections import defaultdict
from collections.abc import Callable, Mapping
from datetime import date, datetime
from decimal import Decimal
from typing import Any, cast
from zoneinfo import ZoneInfo

from django.utils.text import capfirst

from equipment import values
from equipment.models import Counter, Finding, Reading
from inventory.models import Balance, Movement, Reservation
from inventory.services import in_words
from shop import rigview, words
from shop.models import (
    PartEntry,
    Person,
    ReadingEntry,
    ServiceSheet,
    SheetLine,
    SheetPart,
    SheetStep,
    Shop,
    StepEntry,
)
from shop.paper.content import (
    Caution,
    CheckGroup,
    CheckKind,
    LockoutStep,
    PaperCheck,
    PaperFound,
    PaperPart,
    PaperPicture,
    PaperReading,
    SheetPaper,
    Side,
    StripCell,
    ZeroGauge,
)
from shop.services import clocking
from shop.services.knowledge import image_of, known_for, pictures_for_paper
from shop.services.sheet_parts import SOURCE

Section = SheetStep.Section

#: Where a part lies that was taken already, in place of a bin.
IN_TRAY = "in the tray"


def limit_text(step: SheetStep) -> str:
    """ "228 – 252 V", "at most 15 psi", "at least 10 MΩ"; empty without a limit."""
    if step.low is not None and step.high is not None:
        if step.low == -step.high and step.high:
            return f"within {step.said(step.high)}"
        return f"{words.exactly(step.low)} – {step.said(step.high)}"
    if step.high is not None:
        return f"at most {step.said(step.high)}"
    return f"at least {step.said(step.low)}" if step.low is not None else ""


def answer_text(entry: StepEntry, step: SheetStep, *, zone: ZoneInfo) -> str:
    """What was entered, by whom and when, in one line that reads the same in ten years."""
    return f"{what_text(entry, step)} ({by_text(entry, zone=zone)})"


def what_text(entry: StepEntry, step: SheetStep) -> str:
    """What was entered: "12.8 V", "282 V: Open found work", "not applicable: no such filter"."""
    what = {
        StepEntry.Answer.VALUE: step.said(entry.value),
        StepEntry.Answer.CHOICE: entry.choice,
        StepEntry.Answer.NOT_APPLICABLE: "not applicable",
    }.get(StepEntry.Answer(entry.answer), "done")
    more = [entry.get_remedy_display()] if entry.remedy else []
    more += [entry.note] if entry.note else []
    return f"{what}: {'; '.join(more)}" if more else what


def by_text(entry: StepEntry | PartEntry | ReadingEntry, *, zone: ZoneInfo) -> str:
    """Who entered it, and when: "Ben Sorrel, 25 Nov 2026 07:46"; from paper, who keyed it in."""
    if entry.written_by is None:
        return _by(entry.author, entry.at, zone=zone)
    by = _by(entry.written_by, entry.at, zone=zone)
    return f"{by} on paper, keyed in by {entry.author.name}"


def _by(person: Person, at: datetime, *, zone: ZoneInfo) -> str:
    return f"{person.name}, {words.dated(at, zone=zone)}"


def paper_of(
    sheet: ServiceSheet,
    *,
    today: date,
    url: str = "",
    printed: str = "",
    last_values: Mapping[int, Decimal] | None = None,
) -> SheetPaper:
    """The sheet as it stands now, ready for the printer.

    last_values: what counters showed before this sheet's readings, where those are posted already.
    """
    shop = Shop.objects.get()
    steps = list(
        sheet.steps.select_related(
            "entry__author", "entry__written_by", "line__version__service", "line__component"
        ).order_by("section", "order")
    )
    by_section: dict[str, list[SheetStep]] = defaultdict(list)
    for step in steps:
        by_section[step.section].append(step)

    def entered(step: SheetStep) -> str:
        return what_text(step.entry, step) if step.entry else ""

    each_persons = _each_persons(steps, shop.zone)

    def by(step: SheetStep) -> str:
        if step.entry is None:
            return ""
        return each_persons.get(step.pk) or by_text(step.entry, zone=shop.zone)

    lines = list(
        sheet.lines.select_related(
            "version__service", "component__type__kind", "position__kind", "finding"
        ).order_by("order")
    )
    notes = _notes(lines, shop.zone)
    return SheetPaper(
        number=sheet.number,
        rig_number=sheet.rig.number if sheet.rig else None,
        title=sheet.rig.name if sheet.rig else str(sheet.component),
        subtitle=_subtitle(sheet),
        icon=sheet.component.type.kind.icon if sheet.component else "",
        shop_name=shop.name,
        step=sheet.step or 1,
        step_word=sheet.get_state_display(),
        cells=_cells(sheet, lines),
        strip=_strip(sheet, lines, today, shop),
        cautions=tuple(
            Caution(
                hazard=s.title,
                text=s.text,
                source=s.source,
                read_text=entered(s),
                by_text=by(s),
            )
            for s in by_section[Section.CAUTION]
        ),
        lockout=tuple(_lockout_step(s, entered(s), by(s)) for s in by_section[Section.LOCKOUT]),
        way_back=tuple(_lockout_step(s, entered(s), by(s)) for s in by_section[Section.RETURN]),
        zero_gauges=tuple(
            ZeroGauge(
                label=s.title,
                side=cast(Side, s.side),
                found_text=entered(s),
                unit=s.unit,
                by_text=by(s),
            )
            for s in by_section[Section.ZERO]
        ),
        groups=_groups(lines, by_section[Section.CHECK], entered, by, notes),
        parts=_parts(sheet, shop.zone),
        readings=_readings(sheet, last_values or {}, shop.zone),
        found_work=tuple(
            PaperFound(
                text=finding.text,
                is_grave=finding.is_grave,
                by_text=_by(finding.opened_by, finding.opened_at, zone=shop.zone),
            )
            for finding in Finding.objects.filter(source_kind=SOURCE, source_number=sheet.number)
            .select_related("opened_by")
            .order_by("pk")
        ),
        note=_note(sheet),
        started=words.dated(sheet.started_at, zone=shop.zone) if sheet.started_at else "",
        finished=words.dated(sheet.signed_at, zone=shop.zone) if sheet.signed_at else "",
        labour_text=words.span(sheet.labour_minutes) if sheet.labour_minutes else "",
        signed=_signed_text(sheet),
        void=sheet.state == ServiceSheet.State.VOID,
        held_text=_held_text(sheet),
        drawn=sheet.drawn,
        waits=_waits(sheet),
        pictures=pictures_for_paper(sheet),
        url=url,
        printed_text=printed,
    )


def paper_to_plain(paper: SheetPaper) -> dict[str, Any]:
    """The paper as plain values, for keeping as JSON; pictures by their key alone."""
    document = dataclasses.asdict(paper)
    for picture in document["pictures"]:
        del picture["image"]
    return document


def paper_from_plain(document: dict[str, Any], *, url: str, printed: str) -> SheetPaper:
    """The paper that was kept; only the address and the time of printing are new.

    A sheet kept before the paper said more prints what it says: what it lacks stays empty.
    """

    def each(kind: type, name: str) -> tuple[Any, ...]:
        return tuple(kind(**values) for values in document[name])

    kept = {
        **document,
        "cells": tuple((caption, value) for caption, value in document["cells"]),
        "strip": each(StripCell, "strip"),
        "cautions": each(Caution, "cautions"),
        "lockout": each(LockoutStep, "lockout"),
        "zero_gauges": each(ZeroGauge, "zero_gauges"),
        "groups": tuple(map(_group_from_plain, document["groups"])),
        "parts": each(PaperPart, "parts"),
        "readings": each(PaperReading, "readings"),
        # A sheet signed before phones could sign has none.
        "waits": tuple(document.get("waits", ())),
        "found_work": tuple(map(_found_from_plain, document["found_work"])),
        "way_back": tuple(LockoutStep(**step) for step in document.get("way_back", ())),
        "pictures": tuple(
            PaperPicture(**picture, image=image_of(picture["key"]))
            for picture in document.get("pictures", ())
        ),
        "url": url,
        "printed_text": printed,
    }
    return SheetPaper(**kept)


def _group_from_plain(group: dict[str, Any]) -> CheckGroup:
    checks = tuple(
        PaperCheck(**{**check, "choices": tuple(check["choices"])}) for check in group["checks"]
    )
    return CheckGroup(**{**group, "checks": checks, "notes": tuple(group.get("notes", ()))})


def _found_from_plain(found: str | dict[str, Any]) -> PaperFound:
    """Found work was a text alone before it said who found it."""
    return PaperFound(text=found) if isinstance(found, str) else PaperFound(**found)


def paper_to_print(sheet: ServiceSheet, *, today: date, url: str, printed: str) -> SheetPaper:
    """What the printer gets: a signed sheet as it was signed, any other as it stands."""
    if sheet.state == ServiceSheet.State.SIGNED:
        return paper_from_plain(sheet.signed_copy.document, url=url, printed=printed)
    return paper_of(sheet, today=today, url=url, printed=printed)


def _lockout_step(step: SheetStep, done: str, by: str) -> LockoutStep:
    return LockoutStep(
        source=step.title,
        action=step.text,
        done_text=done,
        by_text=by,
        electrician=step.needs_electrician,
    )


def _notes(lines: list[SheetLine], zone: ZoneInfo) -> dict[int, tuple[str, ...]]:
    """By line what is known of its work and what was written there last, each said once."""
    found: dict[int, tuple[str, ...]] = {}
    told: set[str] = set()
    for key, known in known_for(lines).items():
        notes = [
            f"{note.text}{f', {note.where}' if note.where else ''}"
            f" ({_by(note.author, note.recorded_at, zone=zone)})"
            for note in known.notes
        ]
        notes += [
            f"On sheet {past.sheet:04d}{f', {past.about}' if past.about else ''}: {past.text}"
            f" ({past.author}, {words.dated(past.at, zone=zone)})"
            for past in known.written
        ]
        found[key] = tuple(note for note in notes if note not in told)
        told.update(notes)
    return found


def _each_persons(steps: list[SheetStep], zone: ZoneInfo) -> dict[int, str]:
    """By step, everybody who did what each person does himself, with the times; one query."""
    mine = [step.pk for step in steps if step.is_each_persons]
    entries = StepEntry.objects.filter(step__in=mine).select_related("author", "written_by")
    newest: dict[int, dict[int, StepEntry]] = defaultdict(dict)
    for entry in entries.order_by("at", "pk"):
        newest[entry.step_id][entry.hand.pk] = entry
    return {
        step: "; ".join(
            by_text(entry, zone=zone)
            for entry in hands.values()
            if entry.answer != StepEntry.Answer.CLEARED
        )
        for step, hands in newest.items()
    }


def _signed_text(sheet: ServiceSheet) -> str:
    if sheet.signed_by is None:
        return ""
    if sheet.written_by is not None:
        return f"{sheet.signature} (on paper; keyed in by {sheet.signed_by.name})"
    if sheet.signature == sheet.signed_by.name:
        return sheet.signature
    return f"{sheet.signature} (signed in as {sheet.signed_by.name})"


def _subtitle(sheet: ServiceSheet) -> str:
    if sheet.rig:
        return sheet.rig.description
    kind = sheet.component.type.kind.name if sheet.component else ""
    charged = f", charged to {sheet.charged_rig}" if sheet.charged_rig else ", shop stock"
    return f"{kind} on the bench{charged}"


def _cells(sheet: ServiceSheet, lines: list[SheetLine]) -> tuple[tuple[str, str], ...]:
    planned = sum(line.version.planned_minutes for line in lines if line.version)
    return (
        ("Planned for", f"{sheet.planned_on:%a} {sheet.planned_on.day} {sheet.planned_on:%b %Y}"),
        ("Technician", _who(sheet)),
        ("Planned work", words.span(planned)),
    )


def _who(sheet: ServiceSheet) -> str:
    """Whose the sheet is, and who worked on it too: "B. Sorrel, with I. Marten"."""
    who = sheet.technician.name if sheet.technician else ""
    if sheet.started_at is None:
        return who or "not handed out"
    others = [name for name in clocking.names_of_hands(sheet) if name != who]
    if not others:
        return who or "not handed out"
    return f"{who}, with {', '.join(others)}" if who else ", ".join(others)


def _strip(
    sheet: ServiceSheet, lines: list[SheetLine], today: date, shop: Shop
) -> tuple[StripCell, ...]:
    if sheet.rig is None:
        return ()
    worked = {line.position_id for line in lines if line.position_id}
    cells = []
    for facts in rigview.positions_of(sheet.rig, today=today):
        position, first = facts.position, facts.first
        used = due_line = None
        state = "nothing fitted" if facts.component is None else ""
        if first is not None:
            used, due_line = rigview.tape_fractions(first, today=today)
            state = words.STATE_WORDS[first.state(today=today, warning_days=shop.warning_days)]
        cells.append(
            StripCell(
                label=f"{position.order} {capfirst(position.kind.name)}",
                icon=position.kind.icon,
                side=cast(Side, position.side),
                fraction_used=used,
                due_fraction=due_line,
                state_word="" if state == "clear" else state,
                worked=position.pk in worked,
            )
        )
    return tuple(cells)


def _groups(
    lines: list[SheetLine],
    checks: list[SheetStep],
    entered: Callable[[SheetStep], str],
    by: Callable[[SheetStep], str],
    notes: Mapping[int, tuple[str, ...]],
) -> tuple[CheckGroup, ...]:
    by_line: dict[int | None, list[PaperCheck]] = defaultdict(list)
    for number, step in enumerate(checks, 1):
        by_line[step.line_id].append(
            PaperCheck(
                number=number,
                text=step.title,
                kind=cast(CheckKind, step.kind),
                unit=step.unit,
                limit_text=limit_text(step),
                last_text=""
                if step.last_value is None
                else values.figure(step.last_value, step.unit),
                electrician=step.needs_electrician,
                found_text=entered(step),
                hint=step.text,
                choices=tuple(step.choices),
                by_text=by(step),
            )
        )
    return tuple(
        CheckGroup(
            position=line_place(line),
            service=line.version.service.name if line.version else "found work",
            state_text=line.state_text,
            covers_text=line.covers_text,
            outcome_text=line.get_outcome_display() if line.outcome != line.Outcome.OPEN else "",
            checks=tuple(by_line[line.pk]),
            notes=notes.get(line.pk, ()),
        )
        for line in lines
    )


def line_place(line: SheetLine) -> str:
    """Where the work is: "4 hydraulic unit HU-033", or the component on the bench."""
    where = str(line.position) if line.position else ""
    if not where and line.component:
        where = capfirst(line.component.type.kind.name)
    return f"{where} {line.component or ''}".strip() or "whole rig"


def _parts(sheet: ServiceSheet, zone: ZoneInfo) -> tuple[PaperPart, ...]:
    rows = list(sheet.parts.select_related("part", "line__position", "for_kit").order_by("pk"))
    places = part_places(sheet, rows)
    entries = PartEntry.objects.filter(sheet_part__sheet=sheet).select_related(
        "author", "written_by"
    )
    newest = {entry.sheet_part_id: entry for entry in entries.order_by("pk")}
    papers = []
    for row in rows:
        entry = newest.get(row.pk)
        papers.append(
            PaperPart(
                name=row.part.name,
                number=row.part.number,
                bin=", ".join(sorted({place for place, _ in places[row.part_id]})),
                lot=", ".join(sorted({lot for _, lot in places[row.part_id] if lot})),
                planned_text=in_words(row.part, row.planned_steps) if row.planned_steps else "0",
                position=str(row.line.position.order) if row.line and row.line.position else "",
                short_text=_short_text(row),
                used_text="" if row.used_steps is None else in_words(row.part, row.used_steps),
                kit_text=f"of kit {row.for_kit.number}" if row.for_kit else "",
                by_text=by_text(entry, zone=zone) if entry else "",
            )
        )
    return tuple(papers)


def _short_text(row: SheetPart) -> str:
    return f"short {in_words(row.part, row.short_steps)}" if row.short_steps else ""


def part_places(sheet: ServiceSheet, rows: list[SheetPart]) -> dict[int, list[tuple[str, str]]]:
    """Where each part of the sheet is to be found: (place, lot), promised or in the tray.

    For a promise, the lot is the one to use first: first to expire, then first in. Of a signed
    sheet, where what was used had been taken from.
    """
    places: dict[int, list[tuple[str, str]]] = defaultdict(list)
    if sheet.state == ServiceSheet.State.SIGNED:
        taken = Movement.objects.filter(
            kind=Movement.Kind.TRANSFER,
            source_kind=SOURCE,
            source_number=sheet.number,
            quantity_steps__lt=0,
        ).exclude(location=sheet.tray_id)
        for movement in taken.select_related("location", "lot").order_by("pk"):
            places[movement.part_id].append((movement.location.code, movement.lot.code))
        return places
    promised = Reservation.objects.filter(
        source_kind=SOURCE, source_number=sheet.number
    ).select_related("location")
    wanted = {(each.part_id, each.location_id) for each in promised}
    lots: dict[tuple[int, int], str] = {}
    lying = (
        Balance.objects.filter(part__in=[row.part_id for row in rows], quantity_steps__gt=0)
        .select_related("lot", "location")
        .order_by("lot__expires_on", "lot__received_at", "lot_id")
    )
    for balance in lying:
        if (balance.part_id, balance.location_id) in wanted:
            lots.setdefault((balance.part_id, balance.location_id), balance.lot.code)
        if sheet.tray_id and balance.location_id == sheet.tray_id:
            places[balance.part_id].append((IN_TRAY, balance.lot.code))
    for each in promised:
        places[each.part_id].append(
            (each.location.code, lots.get((each.part_id, each.location_id), ""))
        )
    return places


def counters_of(sheet: ServiceSheet) -> list[Counter]:
    """The faces to read when the work is done: the rig's, and those of what is fitted in it."""
    if sheet.rig_id:
        fitted = Counter.objects.filter(
            component__installations__position__rig=sheet.rig_id,
            component__installations__removed_at__isnull=True,
        )
        counters = Counter.objects.filter(rig=sheet.rig_id) | fitted
    else:
        counters = Counter.objects.filter(component=sheet.component_id)
    return list(counters.filter(is_retired=False).distinct().order_by("order", "pk"))


def _readings(
    sheet: ServiceSheet, last_values: Mapping[int, Decimal], zone: ZoneInfo
) -> tuple[PaperReading, ...]:
    entries = {
        entry.counter_id: entry
        for entry in sheet.readings.filter(is_in_force=True).select_related("author", "written_by")
    }
    papers = []
    for counter in counters_of(sheet):
        entry = entries.get(counter.pk)
        now = ""
        if entry:
            now = words.exactly(entry.value)
            if entry.step != Reading.Step.CONTINUED:
                now += f", {entry.get_step_display()}"
        papers.append(
            PaperReading(
                counter=words.counter_name(counter),
                last_text=words.exactly(last_values.get(counter.pk, counter.last_value)),
                now_text=now,
                by_text=by_text(entry, zone=zone) if entry else "",
            )
        )
    return tuple(papers)


def _waits(sheet: ServiceSheet) -> tuple[str, ...]:
    """What could not be posted with a signature; on an open sheet nothing is final yet."""
    if sheet.state != ServiceSheet.State.SIGNED:
        return ()
    waiting = sheet.unsettled.open().order_by("at", "pk")
    return tuple(waiting.values_list("reason", flat=True))


def _note(sheet: ServiceSheet) -> str:
    """What whoever does the work should know first, and why a void sheet is void."""
    texts = [f"Corrects sheet {sheet.corrects}."] if sheet.corrects else []
    texts += [sheet.note] if sheet.note else []
    if sheet.state == ServiceSheet.State.VOID and sheet.void_reason:
        texts.append(f"Void because: {sheet.void_reason}")
    return "\n".join(texts)


def _held_text(sheet: ServiceSheet) -> str:
    if sheet.rig is None:
        return ""
    grave = Finding.objects.holding().of_rig(sheet.rig).order_by("pk")
    texts = "; ".join(finding.text for finding in grave)
    return f"Held, the rig must not leave: {texts}" if texts else ""
