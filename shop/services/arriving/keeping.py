"""What becomes of entries is kept: those that were taken, and those that wait, whole."""

from collections.abc import Iterable
from typing import Any, Final
from uuid import UUID

from django.db import transaction
from django.utils.translation import gettext

from equipment.models import Rig
from equipment.services.locks import lock_rigs
from shop.models import Arrival, ServiceSheet, Settlement, Unsettled
from shop.services.arriving.entry import Entry, Outcome

TAKEN: Final = "taken"
WAITING: Final = "waiting"
REFUSED: Final = "refused"


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
        return Outcome(TAKEN, gettext("{person} posted it.").format(person=settled.author.name))
    text = gettext("{person} set it aside: {why}")
    return Outcome(TAKEN, text.format(person=settled.author.name, why=settled.note))


def keep(entry: Entry, reason: str) -> Outcome:
    """Keep an entry whole, with why it waits, until a manager settles it."""
    with transaction.atomic():
        fresh = lock(entry.of)
        if known := outcomes_of([entry.event_id]):
            return known[entry.event_id]
        reason = reason[: Unsettled._meta.get_field("reason").max_length]
        Unsettled.objects.create(**of_one(fresh), reason=reason, **row_of(entry))
        return Outcome(WAITING, reason)


def lock(of: ServiceSheet | Rig) -> ServiceSheet | Rig:
    """The sheet or the rig, locked and fresh, in whatever state: first in the order of locks."""
    if isinstance(of, Rig):
        return lock_rigs([of.pk])[of.pk]
    return (
        ServiceSheet.objects.select_for_update(of=("self",))
        .select_related("rig", "component", "charged_rig", "tray")
        .get(pk=of.pk)
    )


def of_one(of: ServiceSheet | Rig) -> dict[str, Any]:
    """What entries belong to, as the columns of what is kept of them."""
    return {"rig": of} if isinstance(of, Rig) else {"sheet": of}


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
