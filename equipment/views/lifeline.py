"""The life of a component as one line of time."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from itertools import chain
from operator import attrgetter
from typing import Final

from django.db.models import F, Q

from equipment.counters import plain
from equipment.models import Component, Exchange, Finding, Installation, Reading, Renewal

#: A page shows this many; the address asks for all of them.
AT_ONCE: Final = 60
STEPS_UNSEEN: Final = (Reading.Step.RESET, Reading.Step.REPLACED)


@dataclass(frozen=True, slots=True)
class Event:
    """One thing that happened. what: printed; said: what a person wrote; by: who."""

    at: datetime
    what: str
    said: str = ""
    by: str = ""
    note: str = ""
    #: The rig's number, where a rig page tells more.
    rig: int = 0
    #: The sheet's number, where a sheet did it.
    sheet: int = 0
    #: A renewal that can be undone here.
    undo: int = 0
    #: An exchange that can be undone here.
    undo_exchange: int = 0
    #: A reading that can be corrected here.
    correct: int = 0
    is_undone: bool = False
    #: A filled ring: it came, it went, it was renewed.
    is_mark: bool = False


def lifeline(component: Component, *, whole: bool = False) -> tuple[list[Event], bool]:
    """Return what happened to a component, newest first, and whether there is more. Five queries.

    whole: everything instead of the newest.
    """
    limit = None if whole else AT_ONCE + 1
    events = sorted(
        chain(
            _fitted(component, limit),
            _undone(component, limit),
            _renewed(component, limit),
            _found(component, limit),
            _unseen(component, limit),
        ),
        key=attrgetter("at"),
        reverse=True,
    )
    if whole or len(events) <= AT_ONCE:
        return events, False
    return events[:AT_ONCE], True


def _fitted(component: Component, limit: int | None) -> Iterator[Event]:
    rows = (
        Installation.objects.filter(component=component)
        .select_related(
            "position__rig", "position__kind", "author", "removed_by", "began_with", "ended_with"
        )
        .prefetch_related("wear_sources")
        .order_by("-installed_at")[:limit]
    )
    for row in rows:
        place = f"rig {row.position.rig}, {row.position.label}"
        is_estimated = any(source.is_estimated for source in row.wear_sources.all())
        note = "some of this life is estimated: no reading was taken at the change"
        yield Event(
            row.installed_at,
            f"Fitted in {place}",
            row.reason,
            row.author.name,
            note=note if is_estimated else "",
            rig=row.position.rig.number,
            undo_exchange=_undoable(row, row.began_with),
            is_mark=True,
        )
        if row.removed_at:
            by = row.removed_by.name if row.removed_by else ""
            yield Event(
                row.removed_at,
                f"Taken out of {place}",
                row.removed_because,
                by,
                rig=row.position.rig.number,
                undo_exchange=_undoable(row, row.ended_with),
                is_mark=True,
            )


def _undoable(row: Installation, act: Exchange | None) -> int:
    """The act to undo at an event: where this component came in, or where it alone went out."""
    if act is None:
        return 0
    is_its_own = act.component_in_id in (None, row.component_id) and act.until is None
    came_late = act.until is not None and act.component_in_id == row.component_id
    return act.pk if is_its_own or (came_late and row.began_with_id == act.pk) else 0


def _undone(component: Component, limit: int | None) -> Iterator[Event]:
    """Exchanges of this component that never were, with who said so and why."""
    rows = (
        Exchange.objects.filter(
            Q(component_in=component) | Q(component_out=component), undone_by__isnull=False
        )
        .select_related("position__rig", "position__kind", "author", "undone_by__author")
        .order_by("-at")[:limit]
    )
    for row in rows:
        came = row.component_in_id == component.pk
        by = row.undone_by
        yield Event(
            row.at,
            f"{'Fitted in' if came else 'Taken out of'} rig {row.position.rig}, "
            f"{row.position.label}",
            row.reason,
            row.author.name,
            note=f"undone by {by.author}: {by.reason}",
            rig=row.position.rig.number,
            is_undone=True,
        )


def _renewed(component: Component, limit: int | None) -> Iterator[Event]:
    rows = (
        Renewal.objects.filter(component=component, undoes__isnull=True)
        .select_related("version__service", "author", "undone_by__author")
        .order_by("-done_at", "-pk")[:limit]
    )
    for row in rows:
        undone = getattr(row, "undone_by", None)
        yield Event(
            row.done_at,
            f"{row.version.service.name} done",
            row.reason,
            row.author.name,
            note=f"undone by {undone.author}: {undone.reason}" if undone else "",
            sheet=row.source_number if row.source_kind == "sheet" else 0,
            undo=0 if undone else row.pk,
            is_undone=undone is not None,
            is_mark=undone is None,
        )


def _found(component: Component, limit: int | None) -> Iterator[Event]:
    rows = (
        Finding.objects.filter(component=component)
        .select_related("opened_by", "closed_by")
        .order_by("-opened_at")[:limit]
    )
    for row in rows:
        yield Event(
            row.opened_at,
            "Found work, rig must not leave" if row.is_grave else "Found work",
            row.text,
            row.opened_by.name,
            sheet=row.source_number if row.source_kind == "sheet" else 0,
        )
        if row.closed_at:
            yield Event(
                row.closed_at,
                "Found work closed",
                row.closing,
                row.closed_by.name if row.closed_by else "",
                sheet=row.closed_source_number if row.closed_source_kind == "sheet" else 0,
            )


def _unseen(component: Component, limit: int | None) -> Iterator[Event]:
    """Where a counter behind this life was reset or replaced; not seen: the life is "at least"."""
    source = "counter__wear_sources__"
    rows = (
        Reading.objects.in_force()
        .filter(
            Q(**{f"{source}ended_at__isnull": True}) | Q(at__lte=F(f"{source}ended_at")),
            **{f"{source}installation__component": component},
            at__gte=F(f"{source}began_at"),
            step__in=STEPS_UNSEEN,
        )
        .select_related("counter", "author")
        .distinct()
        .order_by("-at")[:limit]
    )
    for row in rows:
        before = row.before_reset
        yield Event(
            row.at,
            f"{row.counter}: {row.get_step_display()}",
            f"{plain(before)} {row.counter.unit} before that" if before is not None else "",
            row.author.name,
            note="" if before is not None else "the last value was not seen: this life is at least",
            correct=row.pk,
        )
