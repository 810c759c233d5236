"""Time at work on a sheet: taps kept, minutes of each person told."""

from collections.abc import Collection, Iterable
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any
from uuid import UUID, uuid5
from zoneinfo import ZoneInfo

from django.db import transaction
from django.db.models import F, Min, QuerySet
from django.db.models.functions import Coalesce
from django.utils.translation import gettext_lazy

from shop import worktime
from shop.models import (
    Arrival,
    HandOver,
    PartEntry,
    Person,
    ReadingEntry,
    ServiceSheet,
    SheetLine,
    StepEntry,
    TimeEntry,
)
from shop.services.locking import lock_open_sheet, start_work
from shop.services.refusals import SheetRefused
from shop.worktime import Stretch, Tap, Worked

Does = TimeEntry.Does


@dataclass(frozen=True, slots=True)
class Hand:
    """Somebody who worked on a sheet. work: their time, None where they only entered something."""

    person: Person
    work: Worked | None

    @property
    def minutes(self) -> int:
        return self.work.minutes if self.work else 0


@dataclass(frozen=True, slots=True)
class Clock:
    """A person's time now: the sheet that it runs on, and what was left running.

    running: the stretch and its sheet. asked: stretches of open sheets whose end nobody said.
    """

    running: tuple[ServiceSheet, Stretch] | None = None
    asked: list[tuple[ServiceSheet, Stretch]] = field(default_factory=list)


@dataclass(frozen=True, slots=True)
class Tapped:
    """What was tapped, when sheets were closed, and their numbers; the latter two by their keys."""

    taps: list[Tap] = field(default_factory=list)
    closed: dict[int, datetime] = field(default_factory=dict)
    numbers: dict[int, int] = field(default_factory=dict)

    def stretches(self, *, zone: ZoneInfo) -> list[Stretch]:
        return worktime.stretches(self.taps, closed=self.closed, zone=zone)


@dataclass(frozen=True, slots=True)
class Likely:
    """What a signature proposes as labour. persons: whose clocks say so; empty: none ran."""

    minutes: int
    persons: tuple[int, ...] = ()
    is_planned: bool = False


@transaction.atomic
def start_time(
    *, sheet: ServiceSheet, event_id: UUID, author: Person, at: datetime, recorded_at: datetime
) -> TimeEntry:
    """Somebody begins to work on a sheet, and so joins it; what ran on another sheet ends.

    The sheet is under way from now on; one that is with nobody is theirs. Sent twice with one
    event_id, it counts once. Raises SheetClosed.
    """
    sheet = lock_open_sheet(sheet)
    if earlier := TimeEntry.objects.filter(event_id=event_id).first():
        return earlier
    start_work(sheet, author=author, at=at)
    if sheet.technician_id is None:
        sheet.technician = author
        sheet.save(update_fields=["technician"])
    return TimeEntry.objects.create(
        sheet=sheet,
        does=Does.START,
        event_id=event_id,
        author=author,
        at=at,
        recorded_at=recorded_at,
    )


@transaction.atomic
def stop_time(
    *,
    sheet: ServiceSheet,
    event_id: UUID,
    author: Person,
    at: datetime,
    recorded_at: datetime,
    is_sure: bool = False,
) -> TimeEntry:
    """Somebody ends their work on a sheet, now or at an earlier `at` that they name.

    is_sure: meant, however long the stretch. A stop while nothing runs is kept and says nothing.
    Sent twice with one event_id, it counts once. Raises SheetClosed; SheetRefused for a time that
    has not come.
    """
    if at > recorded_at:
        raise SheetRefused(gettext_lazy("That time has not come yet."))
    sheet = lock_open_sheet(sheet)
    if earlier := TimeEntry.objects.filter(event_id=event_id).first():
        return earlier
    return TimeEntry.objects.create(
        sheet=sheet,
        does=Does.STOP,
        is_sure=is_sure,
        event_id=event_id,
        author=author,
        at=at,
        recorded_at=recorded_at,
    )


def pause(
    *, sheet: ServiceSheet, event_id: UUID, author: Person, at: datetime, recorded_at: datetime
) -> None:
    """End the author's time on the sheet where it runs: they hand over, or wait for parts.

    To be called inside the transaction that holds the sheet's lock; event_id is of what they did.
    """
    runs = sheet.times.filter(author=author, at__lte=at).order_by("at", "pk").last()
    if runs is not None and runs.does == Does.START:
        stop_time(
            sheet=sheet,
            event_id=uuid5(event_id, "pause"),
            author=author,
            at=at,
            recorded_at=recorded_at,
        )


def stretches_of(sheets: Collection[ServiceSheet], *, zone: ZoneInfo) -> list[Stretch]:
    """All stretches of whoever worked on these sheets, as `tapped_on` knows them."""
    return tapped_on(sheets).stretches(zone=zone)


def tapped_on(sheets: Collection[ServiceSheet]) -> Tapped:
    """All taps of whoever worked on these sheets, since the first of them began: those on other
    sheets too, since a start there ends one here. Two queries, three where there is time."""
    begun = list(
        TimeEntry.objects.filter(sheet__in=sheets)
        .values("author")
        .annotate(first=Min("at"))
        .values_list("author", "first")
    )
    if not begun:
        return Tapped()
    rows = (
        TimeEntry.objects.filter(
            author__in=[author for author, _ in begun], at__gte=min(first for _, first in begun)
        )
        .select_related("sheet")
        .order_by("at", "pk")
    )
    closed = [_closed_at(sheet) for sheet in sheets]
    if closed and all(closed):
        rows = rows.filter(at__lte=max(moment for moment in closed if moment))
    return _tapped(rows)


def worked_on(sheet: ServiceSheet, *, now: datetime, zone: ZoneInfo) -> dict[int, Worked]:
    """Each person's time on a sheet, by person, in the order in which they began."""
    found = stretches_of([sheet], zone=zone)
    return worktime.worked(found, sheet=sheet.pk, now=now, zone=zone)


def labour_minutes(sheet: ServiceSheet, *, now: datetime, zone: ZoneInfo) -> int:
    """What all people together worked on a sheet until now; what is asked about is not in it."""
    return sum(each.minutes for each in worked_on(sheet, now=now, zone=zone).values())


def hands_of(sheet: ServiceSheet, *, now: datetime, zone: ZoneInfo) -> list[Hand]:
    """Who worked on a sheet: by their time or by anything that they entered, the first one first.

    At most ten queries, whatever the sheet.
    """
    first: dict[int, datetime] = {}
    for rows in entries_of(sheet):
        for hand, at in rows.values_list("worked_by").annotate(Min("at")).order_by():
            first[hand] = min(first.get(hand, at), at)
    time = worked_on(sheet, now=now, zone=zone)
    people = Person.objects.in_bulk(first)
    return [
        Hand(people[pk], time.get(pk)) for pk in sorted(first, key=lambda each: (first[each], each))
    ]


def likely_minutes(sheet: ServiceSheet, *, now: datetime, zone: ZoneInfo) -> Likely:
    """What a signature proposes as labour: the time of all who started theirs; else since the
    first entry where that was today; else what was planned, since a night is no work. 0: unknown.
    """
    time = {pk: each.minutes for pk, each in worked_on(sheet, now=now, zone=zone).items()}
    if minutes := sum(time.values()):
        return Likely(minutes, tuple(pk for pk, each in time.items() if each))
    begun = sheet.started_at
    if begun and begun.astimezone(zone).date() == now.astimezone(zone).date():
        return Likely(max(1, round((now - begun).total_seconds() / 60)))
    planned = planned_minutes(sheet.lines.select_related("version__service"))
    return Likely(planned, is_planned=True)


def planned_minutes(lines: Iterable[SheetLine]) -> int:
    """How long lines are planned to take, as their services say it now. Reads the version of each
    and its service. [min]"""
    return sum(line.version.planned_minutes for line in lines if line.version)


def names_of_hands(sheets: Collection[ServiceSheet]) -> dict[int, list[str]]:
    """The names of all who worked on each of these sheets, by name; by the sheet's key. Two
    queries, whatever the number of sheets; none where there is none."""
    hands: dict[int, list[str]] = {sheet.pk: [] for sheet in sheets}
    first, *others = (rows.values_list("of_sheet", "worked_by") for rows in entries_of(*sheets))
    pairs = set(first.union(*others))
    people = Person.objects.filter(pk__in={person for _, person in pairs})
    for person, name in people.order_by("name").values_list("pk", "name"):
        for sheet in sheets:
            if (sheet.pk, person) in pairs:
                hands[sheet.pk].append(name)
    return hands


def entries_of(*sheets: ServiceSheet) -> tuple[QuerySet[Any], ...]:
    """All that somebody may have entered on these sheets: each row has its author and moment.

    of_sheet: the key of its sheet. worked_by: whose work it is; who keyed in what another wrote on
    paper did not work on it.
    """
    on_paper = (
        StepEntry.objects.filter(step__sheet__in=sheets).annotate(of_sheet=F("step__sheet")),
        PartEntry.objects.filter(sheet_part__sheet__in=sheets).annotate(
            of_sheet=F("sheet_part__sheet")
        ),
        ReadingEntry.objects.filter(sheet__in=sheets).annotate(of_sheet=F("sheet")),
    )
    by_hand = (
        rows.filter(sheet__in=sheets).annotate(of_sheet=F("sheet"))
        for rows in (TimeEntry.objects, HandOver.objects, Arrival.objects)
    )
    return (
        *(rows.annotate(worked_by=Coalesce("written_by", "author")) for rows in on_paper),
        *(rows.annotate(worked_by=F("author")) for rows in by_hand),
    )


def clock_of(person: Person, *, now: datetime, zone: ZoneInfo) -> Clock:
    """What runs for a person, and what they left running on sheets that are still open."""
    mine = TimeEntry.objects.filter(author=person)
    begun = mine.filter(sheet__in=ServiceSheet.objects.open()).aggregate(first=Min("at"))["first"]
    if begun is None:
        return Clock()
    rows = list(
        mine.filter(at__gte=begun)
        .select_related("sheet__rig", "sheet__component__type")
        .order_by("at", "pk")
    )
    sheets = {row.sheet_id: row.sheet for row in rows}
    found = [each for each in _tapped(rows).stretches(zone=zone) if sheets[each.sheet].is_open]
    asked = [each for each in found if each.is_asked(now=now, zone=zone)]
    runs = next((each for each in found if each.end is None and each not in asked), None)
    return Clock(
        running=(sheets[runs.sheet], runs) if runs else None,
        asked=[(sheets[each.sheet], each) for each in asked],
    )


def _tapped(rows: Iterable[TimeEntry]) -> Tapped:
    tapped = Tapped()
    for row in rows:
        tapped.taps.append(
            Tap(
                person=row.author_id,
                sheet=row.sheet_id,
                starts=row.does == Does.START,
                at=row.at,
                order=row.pk,
                is_sure=row.is_sure,
            )
        )
        tapped.numbers[row.sheet_id] = row.sheet.number
        if moment := _closed_at(row.sheet):
            tapped.closed[row.sheet_id] = moment
    return tapped


def _closed_at(sheet: ServiceSheet) -> datetime | None:
    return sheet.signed_at or sheet.voided_at
