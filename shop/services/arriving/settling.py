"""What waits for a manager: posted after all, as it was or put right; or set aside, with why."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any, Final
from uuid import uuid5
from zoneinfo import ZoneInfo

from django.db import transaction
from django.db.models import Count

from equipment.models import Rig
from inventory.models import Location, Movement, Part
from inventory.services import IssueLine, issue
from inventory.services.naming import quantity_of
from shop.models import Person, ServiceSheet, Settlement, SheetPart, Unsettled
from shop.services import sheet_parts
from shop.services.arriving.entry import REFUSALS, Entry, NotTaken, words_of
from shop.services.arriving.keeping import lock, of_one
from shop.services.arriving.kinds import kind_of
from shop.services.arriving.work import new_reading, part_of, record_face
from shop.services.refusals import SheetClosed, SheetRefused, refuse_long

#: What is true of a rig or a shelf whatever became of the sheet.
AFTER_SIGNING: Final = frozenset({"found", "reading", "used", "add"})
#: A signature stays its author's, whatever a manager puts right beside it.
ALWAYS_THEIRS: Final = frozenset({"sign"})


class AlreadySettled(SheetRefused):
    def __init__(self, settled: Settlement) -> None:
        super().__init__(f"{settled.author.name} settled it already: {settled.get_how_display()}.")


def may_post(row: Unsettled) -> bool:
    """Whether it can still be posted: on an open sheet, or what is true without one."""
    return row.sheet is None or row.sheet.is_open or row.kind in AFTER_SIGNING


def post(
    *,
    unsettled: Unsettled,
    changes: Mapping[str, Any],
    author: Person,
    at: datetime,
    zone: ZoneInfo,
) -> Settlement:
    """Post an entry that waited, all of it or nothing.

    changes: fields of its kind that the manager puts right. As it was, it stays its author's; put
    right, it is the manager's. It counts for the moment at which it was made. On a closed sheet a
    reading goes straight to its counter, and a part is issued from `place`, `issue` of it.
    Raises AlreadySettled, and whatever the domain refuses it with.
    """
    with transaction.atomic():
        row, of = _locked(unsettled)
        said = {**row.payload, **changes}
        is_changed = said != row.payload
        by = author if is_changed and row.kind not in ALWAYS_THEIRS else row.author
        if row.kind == "answer":
            said["seen"] = None  # the manager sees what is in force
        entry = Entry(
            of=of,
            event_id=row.event_id,
            phone=row.phone,
            kind=row.kind,
            said=said,
            author=by,
            at=row.at,
            recorded_at=at,
            clock_error_seconds=row.clock_error_seconds,
            zone=zone,
            is_sure=True,
            hand=row.author if by != row.author else None,
        )
        kind = kind_of(of, row.kind)
        assert kind is not None, "asked for before it was kept"
        if isinstance(of, Rig) or of.is_open or row.kind == "found":
            kind.post(entry)
        elif row.kind == "reading":
            _read_late(entry)
        elif row.kind in ("used", "add"):
            _issue_late(entry)
        else:
            raise SheetClosed(of)
        return Settlement.objects.create(
            unsettled=row,
            how=Settlement.How.POSTED,
            payload=said if is_changed else None,
            author=author,
            at=at,
        )


def set_aside(*, unsettled: Unsettled, note: str, author: Person, at: datetime) -> Settlement:
    """Say that an entry is not posted, and why; it is kept. Raises AlreadySettled, SheetRefused."""
    note = note.strip()
    if not note:
        raise NotTaken("Say why it is set aside.", "note")
    refuse_long(Settlement, note=note)
    with transaction.atomic():
        row, _ = _locked(unsettled)
        return Settlement.objects.create(
            unsettled=row, how=Settlement.How.SET_ASIDE, note=note, author=author, at=at
        )


def post_all(
    *, of: ServiceSheet | Rig, author: Person, at: datetime, zone: ZoneInfo
) -> tuple[int, list[tuple[Unsettled, str]]]:
    """Post all that waits on a sheet, or of a rig, as it is, in the order made; each by itself.

    Returns how many were posted, and those that are still refused, with why.
    """
    posted = 0
    refused: list[tuple[Unsettled, str]] = []
    for row in Unsettled.objects.open().filter(**of_one(of)).for_list():
        if not may_post(row):
            refused.append((row, row.reason))
            continue
        try:
            post(unsettled=row, changes={}, author=author, at=at, zone=zone)
        except REFUSALS as refusal:
            refused.append((row, words_of(refusal)))
        else:
            posted += 1
    return posted, refused


def waiting_of(author: Person) -> list[tuple[ServiceSheet, int]]:
    """The sheets on which entries of somebody wait, each with how many. Two queries."""
    waiting = Unsettled.objects.open().filter(author=author, sheet__isnull=False)
    counted = dict(waiting.order_by().values_list("sheet").annotate(n=Count("pk")))
    sheets = ServiceSheet.objects.filter(pk__in=counted).order_by("number")
    return [(sheet, counted[sheet.pk]) for sheet in sheets]


def part_meant(row: Unsettled) -> Part | None:
    """The part that an entry is about; None where it is about none, or about one that is gone."""
    if number := row.payload.get("part"):
        try:
            return part_of(number)
        except NotTaken:
            return None
    found = SheetPart.objects.filter(pk=row.payload.get("row") or 0).select_related("part").first()
    return found.part if found else None


def not_issued(row: Unsettled, part: Part) -> int:
    """How much of what an entry says was used has not left stock for its sheet. [steps]"""
    assert row.sheet is not None, "parts are used on a sheet"
    typed = row.payload.get("used") or row.payload.get("quantity") or "0"
    try:
        said = quantity_of(part, typed)
    except REFUSALS:
        return 0
    if row.kind == "add":
        return said
    spent = Movement.objects.spent().of_source(sheet_parts.SOURCE, row.sheet.number)
    gone = -sum(spent.filter(part=part).values_list("quantity_steps", flat=True))
    return max(said - gone, 0)


def _locked(unsettled: Unsettled) -> tuple[Unsettled, ServiceSheet | Rig]:
    """The entry and its sheet or rig, both locked; the entry last. Raises AlreadySettled."""
    of = lock(unsettled.of)
    row = (
        Unsettled.objects.select_for_update(of=("self",))
        .select_related("author")
        .get(pk=unsettled.pk)
    )
    settled = Settlement.objects.filter(unsettled=row).select_related("author").first()
    if settled is not None:
        raise AlreadySettled(settled)
    return row, of


def _read_late(entry: Entry) -> None:
    """A reading of a sheet that is closed: its counter is read all the same."""
    record_face(
        entry,
        new_reading(entry),
        request_id=uuid5(entry.event_id, "settled"),
        source="sheet",
        source_number=entry.sheet.number,
    )


def _issue_late(entry: Entry) -> None:
    """A part of a sheet that is closed: issued from where the manager says it lay."""
    row = SheetPart.objects.filter(pk=entry.said.get("row") or 0).select_related("part").first()
    part = row.part if row else part_of(entry.said["part"])
    steps = quantity_of(part, entry.said.get("issue", ""))
    if not steps:
        raise NotTaken("Give a quantity above zero, or set it aside.", "issue")
    place = Location.objects.filter(code=entry.said.get("place", "")).first()
    if place is None:
        raise NotTaken("Say where it lay.", "place")
    issue(
        lines=[IssueLine(part=part, location=place, quantity_steps=steps)],
        author=entry.author,
        at=entry.recorded_at,
        request_id=uuid5(entry.event_id, "settled"),
        reason=f"used on {entry.sheet.subject}, settled later",
        source_kind=sheet_parts.SOURCE,
        source_number=entry.sheet.number,
    )
