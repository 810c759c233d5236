"""What stands round the steps: title, cells, strip, note, holds, signature."""

from collections.abc import Iterable
from datetime import date
from typing import cast
from zoneinfo import ZoneInfo

from django.utils.text import capfirst
from django.utils.translation import gettext

from equipment import due as due_math
from equipment.models import Finding
from shop import rigview, words
from shop.enteredwords import entered
from shop.models import ServiceSheet, Settlement, SheetLine, Shop
from shop.paper.content import Side, StripCell
from shop.services import clocking
from shop.services.paper.entries import by_at
from shop.spoken import own


def subtitle(sheet: ServiceSheet) -> str:
    if sheet.rig:
        return sheet.rig.description
    kind = own(sheet.component.type.kind.name) if sheet.component else ""
    if sheet.charged_rig is None:
        return gettext("{kind} on the bench, shop stock").format(kind=kind)
    said = gettext("{kind} on the bench, charged to {rig}")
    return said.format(kind=kind, rig=sheet.charged_rig)


def cells(
    sheet: ServiceSheet, lines: list[SheetLine], zone: ZoneInfo
) -> tuple[tuple[str, str], ...]:
    """What the work is planned to be; once it is signed, what it was."""
    who = whose([sheet])[sheet.pk]
    if sheet.signed_at is not None:
        return (
            (gettext("Signed on"), words.whole_day(sheet.signed_at.astimezone(zone).date())),
            (gettext("Technician"), who),
            (gettext("Time worked"), words.span(sheet.labour_minutes)),
        )
    return (
        (gettext("Planned for"), words.whole_day(sheet.planned_on)),
        (gettext("Technician"), who),
        (gettext("Planned work"), words.span(clocking.planned_minutes(lines))),
    )


def whose(sheets: Iterable[ServiceSheet]) -> dict[int, str]:
    """Whose each sheet is, and who worked on it too: "B. Sorrel, with I. Marten"; by its key. Reads
    the technician of each, and two queries more."""
    sheets = list(sheets)
    hands = clocking.names_of_hands([each for each in sheets if each.started_at or each.signed_at])
    return {each.pk: _who(each, hands.get(each.pk, [])) for each in sheets}


def _who(sheet: ServiceSheet, hands: list[str]) -> str:
    who = sheet.technician.name if sheet.technician else ""
    others = ", ".join(name for name in hands if name != who)
    if who and others:
        return gettext("{name}, with {others}").format(name=who, others=others)
    return who or others or gettext("not handed out")


def strip(
    sheet: ServiceSheet, lines: list[SheetLine], today: date, shop: Shop
) -> tuple[StripCell, ...]:
    if sheet.rig is None:
        return ()
    worked = {line.position_id for line in lines if line.position_id}
    cells = []
    for facts in rigview.positions_of(sheet.rig, today=today):
        position, first = facts.position, facts.first
        used = due_line = None
        state = gettext("nothing fitted") if facts.component is None else ""
        if first is not None:
            used, due_line = rigview.tape_fractions(first, today=today)
            reached = first.state(today=today, warning_days=shop.warning_days)
            state = "" if reached == due_math.CLEAR else own(words.STATE_WORDS[reached])
        cells.append(
            StripCell(
                label=f"{position.order} {capfirst(own(position.kind.name))}",
                icon=position.kind.icon,
                side=cast(Side, position.side),
                fraction_used=used,
                due_fraction=due_line,
                state_word=state,
                worked=position.pk in worked,
            )
        )
    return tuple(cells)


def note(sheet: ServiceSheet) -> str:
    """What whoever does the work should know first, and why a void sheet is void."""
    texts = []
    if sheet.corrects:
        texts.append(gettext("Corrects sheet {number}.").format(number=sheet.corrects))
    texts += [sheet.note] if sheet.note else []
    if sheet.state == ServiceSheet.State.VOID and sheet.void_reason:
        texts.append(gettext("Void because: {reason}").format(reason=sheet.void_reason))
    return "\n".join(texts)


def held_text(sheet: ServiceSheet) -> str:
    if sheet.rig is None:
        return ""
    grave = Finding.objects.holding().of_rig(sheet.rig).order_by("pk")
    texts = "; ".join(finding.text for finding in grave)
    if not texts:
        return ""
    return gettext("Held, the rig must not leave: {found_work}").format(found_work=texts)


def signed_text(sheet: ServiceSheet) -> str:
    if sheet.signed_by is None:
        return ""
    if sheet.written_by is not None:
        said = gettext("{signature} (on paper; keyed in by {name})")
    elif sheet.signature == sheet.signed_by.name:
        return sheet.signature
    else:
        said = gettext("{signature} (signed in as {name})")
    return said.format(signature=sheet.signature, name=sheet.signed_by.name)


def waits(sheet: ServiceSheet, zone: ZoneInfo) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """What could not be posted until the signature, and what had waited and was settled before it,
    each with how; on an open sheet nothing is final yet."""
    waiting: list[str] = []
    settled: list[str] = []
    if sheet.state == ServiceSheet.State.SIGNED:
        rows = list(sheet.unsettled.for_list())
        for row, said in zip(rows, entered(rows), strict=True):
            about = gettext("{what}: {said} ({who})").format(
                what=said.what, said=said.said, who=by_at(row.author, row.at, zone=zone)
            )
            settlement = getattr(row, "settlement", None)
            if settlement is None:
                waiting.append(f"{about}. {own(row.reason)}")
            else:
                settled.append(f"{about}. {_settled_text(settlement, said.put_right, zone)}")
    return tuple(waiting), tuple(settled)


def _settled_text(settlement: Settlement, put_right: str, zone: ZoneInfo) -> str:
    """ "Set aside by A. Manager, 25 Nov 2026 14:02: read twice"."""
    who = by_at(settlement.author, settlement.at, zone=zone)
    more = settlement.note or put_right
    text = gettext("{how} by {who}").format(how=settlement.get_how_display(), who=who)
    return capfirst(f"{text}: {more}" if more else text)
