"""A batch of entries: each posted by itself, in the order made, exactly once."""

import logging
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from uuid import UUID
from zoneinfo import ZoneInfo

from django.db import InterfaceError, OperationalError, transaction
from django.db.models import Max
from django.utils.translation import gettext, gettext_lazy

from equipment.models import Rig
from shop import words
from shop.models import Arrival, ServiceSheet, Unsettled
from shop.services.arriving.entry import REFUSALS, Entry, Outcome, field_of, words_of
from shop.services.arriving.keeping import (
    REFUSED,
    TAKEN,
    keep,
    lock,
    of_one,
    outcomes_of,
    row_of,
)
from shop.services.arriving.kinds import kind_of
from shop.services.arriving.pens import NotOurs, Pen, read_pen
from shop.services.arriving.reading import (
    Batch,
    Sent,
    Unreadable,
    clock_error,
    moment_of,
    read_fields,
)
from shop.services.refusals import as_kept

logger = logging.getLogger(__name__)

FORGED = gettext_lazy("This phone must be signed in again before it can send.")


@dataclass(slots=True)
class Arrived:
    """What became of a batch.

    outcomes: by the id of each entry, as the phone wrote it. is_known: whether one of its pens
    opens the sheet now, so that the phone may be shown how it stands.
    """

    outcomes: dict[str, Outcome] = field(default_factory=dict)
    is_known: bool = False


def arrive(
    *, of: ServiceSheet | Rig, batch: Batch, recorded_at: datetime, zone: ZoneInfo
) -> Arrived:
    """Post a batch of entries: one transaction each, in the order made.

    of: the sheet on which they were made, or the rig whose round it is. recorded_at: now.
    An entry that came before is told what became of it then. What is refused goes back where
    somebody is looking (`live`), and is kept as unsettled where nobody is. An entry without a
    pen of ours is refused, and nothing of it stored.
    A failure of the database ends the batch: what was posted stays, the phone sends the rest again.
    """
    arrived = Arrived()
    for name, wrong in batch.unreadable.items():
        arrived.outcomes[name] = Outcome(REFUSED, str(wrong), wrong.field)
    error = clock_error(batch, recorded_at=recorded_at)
    known = outcomes_of(sent.event_id for sent in batch.entries)
    last_at = _last_at(of, batch.phone)
    pens: dict[str, Pen | None] = {}
    for sent in batch.entries:
        pen = _pen(sent.pen, pens, recorded_at)
        if pen is None:
            arrived.outcomes[str(sent.fields["event_id"])] = Outcome(REFUSED, str(FORGED), "pen")
            continue
        arrived.is_known = arrived.is_known or not pen.doubt
        outcome = known.get(sent.event_id)
        if outcome is None:
            at = moment_of(sent, error=error, recorded_at=recorded_at, not_before=last_at)
            outcome = _take(of, batch.phone, sent, pen, at, recorded_at, error, zone)
            if outcome.state != REFUSED:
                last_at = at
        arrived.outcomes[str(sent.fields["event_id"])] = outcome
    return arrived


def _pen(text: str, pens: dict[str, Pen | None], at: datetime) -> Pen | None:
    """Whose pen that is, asked once a batch; None for a forged one."""
    if text not in pens:
        try:
            pens[text] = read_pen(text, at=at)
        except NotOurs:
            pens[text] = None
    return pens[text]


def _last_at(of: ServiceSheet | Rig, phone: UUID) -> datetime:
    """When this phone made its last entry there, or since when the sheet or the rig is known."""
    moments = [
        model._default_manager.filter(**of_one(of), phone=phone).aggregate(last=Max("at"))["last"]
        for model in (Arrival, Unsettled)
    ]
    since = of.created_at if isinstance(of, Rig) else of.drafted_at
    return max(moment for moment in (since, *moments) if moment)


def _take(
    of: ServiceSheet | Rig,
    phone: UUID,
    sent: Sent,
    pen: Pen,
    at: datetime,
    recorded_at: datetime,
    error: timedelta,
    zone: ZoneInfo,
) -> Outcome:
    """Post one entry, or keep it, or refuse it."""
    kind = kind_of(of, sent.kind)
    if kind is None:
        return Outcome(
            REFUSED, gettext("This phone sends what the shop does not know yet."), "kind"
        )
    try:
        said = read_fields(kind.fields, sent.fields)
    except Unreadable as wrong:
        return Outcome(REFUSED, str(wrong), wrong.field)
    entry = Entry(
        of=of,
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
        with as_kept():
            reason = words_of(refusal)
        return keep(entry, reason)
    except (OperationalError, InterfaceError):
        raise  # the database is away or busy: the phone sends it again
    except Exception:
        # One entry that breaks us must not hold back all that the phone made after it.
        logger.exception("entry %s of %r broke", entry.event_id, of)
        return keep(entry, words.BROKE)


def _post(entry: Entry) -> Outcome:
    """Do what an entry says, and write down that it came; all of it or none."""
    with transaction.atomic():
        fresh = lock(entry.of)
        if known := outcomes_of([entry.event_id]):
            return known[entry.event_id]
        kind = kind_of(fresh, entry.kind)
        assert kind is not None, "asked for before its fields were read"
        said = kind.post(replace(entry, of=fresh))
        Arrival.objects.create(**of_one(fresh), **row_of(entry))
        return Outcome(TAKEN, said)
