"""A sheet as the paper says it: rows in, `shop.paper` dataclasses out, ready to print or keep."""

from collections import defaultdict
from collections.abc import Mapping
from datetime import date, datetime
from decimal import Decimal

from django.conf import settings
from django.utils import timezone
from django.utils.translation import get_language, gettext, override

from equipment.models import Finding
from shop import words
from shop.isolation import Stage
from shop.models import ServiceSheet, SheetStep, Shop
from shop.paper.content import EDITION, PaperFound, SheetPaper
from shop.services.knowledge import known_for, pictures_for_paper
from shop.services.paper.about import cells, held_text, note, signed_text, strip, subtitle, waits
from shop.services.paper.counters import readings_of
from shop.services.paper.entries import (
    by_at,
    by_text,
    doers_by_step,
    keyer_of,
    left_text,
    notes_of,
    rivals_by_step,
    stood_before,
    what_text,
)
from shop.services.paper.keeping import paper_from_plain
from shop.services.paper.parts import parts_of
from shop.services.paper.steps import caution, groups, lockout_step, note_over, zero_gauge
from shop.services.safety_texts import read_texts
from shop.services.sheet_parts import SOURCE
from shop.services.stages import by_stage, stages_of

Section = SheetStep.Section


def paper_of(
    sheet: ServiceSheet,
    *,
    today: date,
    system: str,
    url: str = "",
    printed: str = "",
    last_values: Mapping[int, Decimal] | None = None,
) -> SheetPaper:
    """The sheet as it stands now, ready for the printer, in the language that is spoken.

    system: of the units in which measured values are said, "us" or "metric".
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

    keyer = keyer_of(sheet)
    rivals = rivals_by_step(sheet, steps, shop.zone, system)

    def entered(step: SheetStep) -> str:
        if step.entry is None:
            return ""
        return "\n".join((what_text(step.entry, step, system), *rivals.get(step.pk, ())))

    lacks = read_texts().lacks
    before = stood_before(steps, shop.zone, system)
    each_persons = doers_by_step(steps, shop.zone, keyer=keyer)

    def by(step: SheetStep) -> str:
        if step.entry is None:
            return ""
        return each_persons.get(step.pk) or by_text(step.entry, zone=shop.zone, keyer=keyer)

    lines = list(
        sheet.lines.select_related(
            "version__service", "component__type__kind", "position__kind", "finding"
        ).order_by("order")
    )
    known = known_for(lines)
    notes = notes_of(known, shop.zone)
    left = {key: left_text(each.left, zone=shop.zone) for key, each in known.items() if each.left}
    checks = by_section[Section.CHECK]
    staged = by_stage(lines, checks, stages_of(checks))
    waiting, settled = waits(sheet, shop.zone)
    grouped = groups(sheet, staged, system, entered, by, notes, left, lacks)
    return SheetPaper(
        number=sheet.number,
        rig_number=sheet.rig.number if sheet.rig else None,
        title=sheet.rig.name if sheet.rig else str(sheet.component),
        subtitle=subtitle(sheet),
        icon=sheet.component.type.kind.icon if sheet.component else "",
        shop_name=shop.name,
        step=sheet.step or 1,
        step_word=sheet.get_state_display(),
        cells=cells(sheet, lines, shop.zone),
        strip=strip(sheet, lines, today, shop),
        cautions=tuple(caution(s, entered(s), by(s), lacks) for s in by_section[Section.CAUTION]),
        lockout=tuple(
            lockout_step(s, entered(s), by(s), before.get(s.pk, ""), lacks)
            for s in by_section[Section.LOCKOUT]
        ),
        way_back=tuple(
            lockout_step(s, entered(s), by(s), "", lacks) for s in by_section[Section.RETURN]
        ),
        zero_gauges=tuple(
            zero_gauge(s, entered(s), by(s), before.get(s.pk, ""), lacks, system=system)
            for s in by_section[Section.ZERO]
        ),
        found_groups=grouped[Stage.FOUND],
        groups=grouped[Stage.STILL],
        run_groups=grouped[Stage.RUN],
        found_note=note_over(sheet, staged, Stage.FOUND, lacks),
        groups_note=note_over(sheet, staged, Stage.STILL, lacks),
        run_note=note_over(sheet, staged, Stage.RUN, lacks),
        parts=parts_of(sheet, shop.zone),
        readings=readings_of(sheet, last_values or {}, shop.zone),
        found_work=tuple(
            PaperFound(
                text=finding.text,
                is_grave=finding.is_grave,
                by_text=by_at(finding.opened_by, finding.opened_at, zone=shop.zone),
            )
            for finding in Finding.objects.filter(source_kind=SOURCE, source_number=sheet.number)
            .select_related("opened_by")
            .order_by("pk")
        ),
        note=note(sheet),
        started=words.dated(sheet.started_at, zone=shop.zone) if sheet.started_at else "",
        finished=words.dated(sheet.signed_at, zone=shop.zone) if sheet.signed_at else "",
        labour_text=words.span(sheet.labour_minutes) if sheet.labour_minutes else "",
        signed=signed_text(sheet),
        void=sheet.state == ServiceSheet.State.VOID,
        held_text=held_text(sheet),
        drawn=sheet.drawn,
        waits=waiting,
        settled=settled,
        pictures=pictures_for_paper(sheet),
        url=url,
        printed_text=printed,
        edition=EDITION,
        language=get_language() or settings.LANGUAGE_CODE,
    )


def paper_to_print(
    sheet: ServiceSheet,
    *,
    today: date,
    system: str,
    url: str = "",
    printed_at: datetime | None = None,
) -> SheetPaper:
    """What the printer gets: a signed sheet as it was signed, in the language and the units of who
    signed it, under the numbers of the sheets that correct it; any other as it stands, in the
    language that is spoken.

    system: of the units in which measured values are said then, "us" or "metric".
    """
    if sheet.state != ServiceSheet.State.SIGNED:
        printed = printed_text(printed_at)
        return paper_of(sheet, today=today, system=system, url=url, printed=printed)
    document = sheet.signed_copy.document
    corrections = tuple(map(str, sheet.corrections.order_by("number")))
    with override(document.get("language", settings.LANGUAGE_CODE)):
        printed = printed_text(printed_at)
        return paper_from_plain(document, url=url, printed=printed, corrected_by=corrections)


def printed_text(at: datetime | None) -> str:
    """When it was printed, for its foot: "Printed 25 Nov 2026 14:10"; nothing where it is not."""
    if at is None:
        return ""
    moment = words.dated(at, zone=timezone.get_current_timezone())
    return gettext("Printed {moment}").format(moment=moment)
