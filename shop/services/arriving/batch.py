"""A batch of entries: each posted by itself, in the order made, exactly once."""

import logging
from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

from django.db import InterfaceError, OperationalError, transaction
from django.db.models import Max

from shop.models import Arrival, ServiceSheet, Settlement, Unsettled
from shop.services.arriving.entry import REFUSALS, Entry, Outcome, field_of, words_of
from shop.services.arriving.kinds import KINDS
from shop.services.arriving.pens import NotOurs, Pen, read_pen
from shop.services.arriving.reading import (
    Batch,
    Sent,
    Unreadable,
    clock_error,
    moment_of,
    read_fields,
)

logger = logging.getLogger(__name__)

TAKEN, WAITING, REFUSED = "taken", "waiting", "refused"
FORGED = "This phone must be signed in again before it can send."
#: What a person is told where the fault is ours; the log has the rest.
BROKE = "It could not be posted. Tell whoever looks after this installation."


@dataclass(slots=True)
class Arrived:
    """What became of a batch.

    outcomes: by the id of each entry, as the phone wrote it. is_known: whether one of its pens
    opens the sheet now, so that the phone may be shown how it stands.
    """

    outcomes: dict[str, Outcome] = field(default_factory=dict)
    is_known: bool = False


def arrive(*, sheet: ServiceSheet, batch: Batch, recorded_at: datetime, zone: ZoneInfo) -> Arrived:
    """Post a batch of entries: one transaction each, in the order made.

    recorded_at: now. An entry that came before is told what became of it then. What is refused
    goes back where somebody is looking (`live`), and is kept as unsettled where nobody is. An
    entry without a pen of ours is refused, and nothing of it stored.
    A failure of the database ends the batch: what was posted stays, the phone sends the rest again.
    """
    arrived = Arrived()
    for name, wrong in batch.unreadable.items():
        arrived.outcomes[name] = Outcome(REFUSED, str(wrong), wrong.field)
    error = clock_error(batch, recorded_at=recorded_at)
    known = outcomes_of(sent.event_id for sent in batch.entries)
    last_at = _last_at(sheet, batch.phone)
    pens: dict[str, Pen | None] = {}
    for sent in batch.entries:
        pen = _pen(sent.pen, pens, recorded_at)
        if pen is None:
            arrived.outcomes[str(sent.fields["event_id"])] = Outcome(REFUSED, FORGED, "pen")
            continue
        arrived.is_known = arrived.is_known or not pen.doubt
        outcome = known.get(sent.event_id)
        if outcome is None:
            at = moment_of(sent, error=error, recorded_at=recorded_at, not_before=last_at)
            outcome = _take(sheet, batch.phone, sent, pen, at, recorded_at, error, zone)
            if outcome.state != REFUSED:
                last_at = at
        arrived.outcomes[str(sent.fields["event_id"])] = outcome
    return arrived


def outcomes_of(event_ids: Iterable[UUID]) -> dict[UUID, Outcome]:
    """What became of entries that came before, by their ids; the others are left out."""
    asked = list(event_ids)
    taken = Arrival.objects.filter(event_id__in=asked).values_list("event_id", flat=True)
    found = {event_id: Outcome(TAKEN) for event_id in taken}
    waiting = Unsettled.objects.filter(event_id__in=asked).select_related("settlement__author")
    for row in waiting:
        settled = getattr(row, "settlement", None)
        found[row.event_id] = _of_settled(settled) if settled else Outcome(WAITING, row.reason)
    return found


def _of_settled(settled: Settlement) -> Outcome:
    if settled.how == Settlement.How.POSTED:
        return Outcome(TAKEN, f"{settled.author.name} posted it.")
    return Outcome(TAKEN, f"{settled.author.name} set it aside: {settled.note}")


def _pen(text: str, pens: dict[str, Pen | None], at: datetime) -> Pen | None:
    """Whose pen that is, asked once a batch; None for a forged one."""
    if text not in pens:
        try:
            pens[text] = read_pen(text, at=at)
        except NotOurs:
            pens[text] = None
    return pens[text]


def _last_at(sheet: ServiceSheet, phone: UUID) -> datetime:
    """When this phone made its last entry on the sheet, or when the sheet was drafted."""
    moments = [
        model._default_manager.filter(sheet=sheet, phone=phone).aggregate(last=Max("at"))["last"]
        for model in (Arrival, Unsettled)
    ]
    return max(moment for moment in (sheet.drafted_at, *moments) if moment)


def _take(
    sheet: ServiceSheet,
    phone: UUID,
    sent: Sent,
    pen: Pen,
    at: datetime,
    recorded_at: datetime,
    error: timedelta,
    zone: ZoneInfo,
) -> Outcome:
    """Post one entry, or keep it, or refuse it."""
    kind = KINDS.get(sent.kind)
    if kind is None:
        return Outcome(REFUSED, "This phone sends what the shop does not know yet.", "kind")
    try:
        said = read_fields(kind.fields, sent.fields)
    except Unreadable as wrong:
        return Outcome(REFUSED, str(wrong), wrong.field)
    entry = Entry(
        sheet=sheet,
        event_id=sent.event_id,
        phone=phone,
        kind=sent.kind,
        said=said,
        author=pen.person,
        at=at,
        recorded_at=recorded_at,
        clock_error_seconds=round(error.total_seconds()),
        zone=zone,
        is_live=sent.is_live,
    )
    if pen.doubt:
        return keep(entry, pen.doubt)
    try:
        return _post(entry)
    except REFUSALS as refusal:
        if entry.is_live:
            return Outcome(REFUSED, words_of(refusal), field_of(refusal))
        return keep(entry, words_of(refusal))
    except (OperationalError, InterfaceError):
        raise  # the database is away or busy: the phone sends it again
    except Exception:
        # One entry that breaks us must not hold back all that the phone made after it.
        logger.exception("entry %s of sheet %s broke", entry.event_id, sheet)
        return keep(entry, BROKE)


def _post(entry: Entry) -> Outcome:
    """Do what an entry says, and write down that it came; all of it or none."""
    with transaction.atomic():
        fresh = lock_sheet(entry.sheet)
        if known := outcomes_of([entry.event_id]):
            return known[entry.event_id]
        words = KINDS[entry.kind].post(replace(entry, sheet=fresh))
        Arrival.objects.create(sheet=fresh, **row_of(entry))
        return Outcome(TAKEN, words)


def keep(entry: Entry, reason: str) -> Outcome:
    """Keep an entry whole, with why it waits, until a manager settles it."""
    with transaction.atomic():
        fresh = lock_sheet(entry.sheet)
        if known := outcomes_of([entry.event_id]):
            return known[entry.event_id]
        reason = reason[: Unsettled._meta.get_field("reason").max_length]
        Unsettled.objects.create(sheet=fresh, reason=reason, **row_of(entry))
        return Outcome(WAITING, reason)


def lock_sheet(sheet: ServiceSheet) -> ServiceSheet:
    """The sheet, locked and fresh, in whatever state: first in the order of locks."""
    return (
        ServiceSheet.objects.select_for_update(of=("self",))
        .select_related("rig", "component", "charged_rig", "tray")
        .get(pk=sheet.pk)
    )


def row_of(entry: Entry) -> dict[str, Any]:
    """An entry as the columns of what is kept of it."""
    return {
        "event_id": entry.event_id,
        "phone": entry.phone,
        "kind": entry.kind,
        "payload": entry.said,
        "author": entry.author,
        "at": entry.at,
        "recorded_at": entry.recorded_at,
        "clock_error_seconds": entry.clock_error_seconds,
    }
