"""Signing: one transaction in which the work becomes readings, spend, renewals and found work."""

import hashlib
import json
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from typing import Any, Final
from uuid import UUID, uuid5
from zoneinfo import ZoneInfo

from django.db import transaction
from django.db.models import Q
from django.utils.translation import gettext, gettext_lazy, override

from equipment.counters import ReadingRefused, WentDown, plain
from equipment.models import Finding, Installation, Renewal, Rig, Skill
from equipment.services import (
    Done,
    NewMeasurement,
    NewReading,
    ReadingsRefused,
    carry_finding,
    close_finding,
    record_measurements,
    record_readings,
    record_renewals,
)
from inventory.quantities import to_units
from shop import words
from shop.models import (
    Person,
    ReadingEntry,
    ServiceSheet,
    SheetLine,
    Shop,
    SignedCopy,
    StepEntry,
    Unsettled,
)
from shop.services import sheet_parts
from shop.services.drafting import PUT_RIGHT
from shop.services.in_order import locking_signature, open_returns
from shop.services.paper import paper_of
from shop.services.paper.counters import counters_of
from shop.services.paper.keeping import paper_to_plain
from shop.services.refusals import (
    AlreadySigned,
    ChecksLocked,
    ChecksOpen,
    ElectricianNeeded,
    ElectricianSigns,
    SheetClosed,
    SheetRefused,
    as_kept,
    refuse_long,
)
from shop.services.working import electricians, open_checks

#: What the column of a reason holds.
LONGEST_REASON: Final = 500


@dataclass(frozen=True, slots=True)
class Fact:
    """That a sheet was signed on a phone, perhaps hours ago: it is told, not asked.

    phone: the browser. recorded_at: when that came. clock_error_seconds: how far its clock was
    behind ours.
    """

    phone: UUID
    recorded_at: datetime
    clock_error_seconds: int


@dataclass(frozen=True, slots=True)
class _Waits:
    """What of a signed sheet could not be posted with the rest, in the shape of its entry."""

    name: str
    kind: str
    payload: dict[str, Any]
    author: Person
    at: datetime
    why: str


@transaction.atomic
def sign_sheet(
    *,
    sheet: ServiceSheet,
    author: Person,
    at: datetime,
    signature: str,
    labour_minutes: int,
    leave_undone: bool,
    signing_id: UUID,
    drawn: str = "",
    fact: Fact | None = None,
    recorded_at: datetime | None = None,
    written_by: Person | None = None,
) -> ServiceSheet:
    """Sign the sheet: post readings, issue what was used and put the rest back, renew the
    services done, close or carry forward found work, and keep the whole as it was signed.

    A service is done when each of its checks has an answer. leave_undone: services with open
    checks come back; without it they are refused.
    at: when it was signed. drawn: the signature as drawn on a phone.
    fact: signed where nobody could be asked. A reading that contradicts another, and parts that
        the tray does not cover, then wait as unsettled for a manager, and all else is posted.
    recorded_at: when the author keyed it in from paper, signed there `at`; written_by: by whom.
    Sent twice with one signing_id, it is signed once. Raises AlreadySigned, SheetClosed,
    ChecksLocked, ChecksOpen, ElectricianNeeded, ElectricianSigns, UsedNotEntered,
    UsedMoreThanTaken, equipment's ReadingsRefused.
    """
    sheet = (
        ServiceSheet.objects.select_for_update(of=("self",))
        .select_related("rig", "component", "tray", "charged_rig", "signed_by", "technician")
        .get(pk=sheet.pk)
    )
    if sheet.state == ServiceSheet.State.SIGNED:
        if sheet.signing_id == signing_id:
            return sheet
        raise AlreadySigned(sheet)
    if not sheet.is_open:
        raise SheetClosed(sheet)
    _refuse_unready(sheet, written_by or author, signature, leave_undone)
    if fact is None:
        sheet_parts.check_used(sheet)
    recorded_at = fact.recorded_at if fact else recorded_at or at
    # Locks in their order: sheet, rigs, components and counters (readings), lots, balances.
    if sheet.rig_id:
        Rig.objects.select_for_update().get(pk=sheet.rig_id)
    last_values = {counter.pk: counter.last_value for counter in counters_of(sheet)}
    waits = _post_readings(sheet, author, recorded_at, signing_id, is_fact=fact is not None)
    _post_measured(sheet, author, at, recorded_at, signing_id)
    renewals = _renew(sheet, author, at, recorded_at, signing_id)
    _settle_found_work(sheet, author, at)
    if fact:
        with as_kept():
            waits += _uncovered(sheet, author, at)
        _keep_waiting(sheet, waits, fact, signing_id)
    sheet_parts.issue_used(sheet=sheet, author=author, at=at, request_id=signing_id)
    sheet_parts.put_back(sheet=sheet, author=author, at=at, request_id=signing_id)
    sheet_parts.release(sheet=sheet)
    sheet.lines.update(is_open=False)
    sheet.state = ServiceSheet.State.SIGNED
    sheet.signed_by, sheet.signed_at, sheet.signature = author, at, signature.strip()
    sheet.drawn, sheet.written_by = drawn, written_by
    sheet.labour_minutes = labour_minutes
    if written_by is None:  # else as the paper says, which may say nothing of it
        sheet.started_at = sheet.started_at or at
    sheet.signing_id = signing_id
    sheet.is_waiting_for_parts = False
    sheet.is_second_look_wanted = any(row.version.second_look for row in renewals)
    sheet.save()
    _keep_copy(sheet, at, last_values)
    return sheet


def _refuse_unready(
    sheet: ServiceSheet, author: Person, signature: str, leave_undone: bool
) -> None:
    if not signature.strip():
        raise SheetRefused(gettext_lazy("Write your name to sign."))
    refuse_long(ServiceSheet, signature=signature.strip())
    missing = [*open_checks(sheet), *open_returns(sheet)]
    answered = sheet.steps.filter(section="check", entry__isnull=False)
    if locked := locking_signature(sheet):
        raise ChecksLocked(locked)
    if missing and not leave_undone:
        raise ChecksOpen(missing)
    electric = answered.filter(needs_electrician=True).filter(
        Q(entry__written_by__isnull=True, entry__author__is_electrician=False)
        | Q(entry__written_by__is_electrician=False)
    )
    if step := electric.first():
        raise ElectricianNeeded(step, electricians())
    _refuse_other_than_electrician(sheet, author)


def _refuse_other_than_electrician(sheet: ServiceSheet, author: Person) -> None:
    """A service for a licensed electrician that would be renewed is signed for by one."""
    if author.is_electrician:
        return
    theirs = sheet.lines.filter(version__skill=Skill.ELECTRICIAN).order_by("order")
    undone = sheet.steps.filter(section="check", entry__isnull=True).values("line")
    if line := theirs.exclude(pk__in=undone).select_related("version__service").first():
        assert line.version is not None  # asked for by its skill
        raise ElectricianSigns(line.version.service.name, electricians())


def _post_readings(
    sheet: ServiceSheet, author: Person, recorded_at: datetime, signing_id: UUID, *, is_fact: bool
) -> list[_Waits]:
    """Post what the faces showed; of a fact, what contradicts other readings is handed back."""
    entries = list(
        sheet.readings.filter(is_in_force=True)
        .select_related("counter", "author")
        .order_by("counter_id")
    )
    zone = Shop.objects.get().zone
    waits: list[_Waits] = []
    while entries:
        try:
            record_readings(
                rig=sheet.rig,
                readings=[
                    NewReading(
                        counter=entry.counter,
                        value=entry.value,
                        step=entry.step,
                        before_reset=entry.before_reset,
                        face_start=entry.face_start,
                    )
                    for entry in entries
                ],
                at=max(entry.at for entry in entries),
                recorded_at=recorded_at,
                author=author,
                request_id=uuid5(signing_id, "readings"),
                source="sheet",
                source_number=sheet.number,
                zone=zone,
            )
        except ReadingsRefused as refused:
            wrong = [entry for entry in entries if entry.counter_id in refused.errors]
            if not (is_fact and wrong):
                raise
            with as_kept():
                waits += [
                    _reading_waits(entry, refused.errors[entry.counter_id], zone) for entry in wrong
                ]
            entries = [entry for entry in entries if entry not in wrong]
        else:
            break
    return waits


def _reading_waits(entry: ReadingEntry, refusal: ReadingRefused, zone: ZoneInfo) -> _Waits:
    def typed(value: Decimal | None) -> str:
        return "" if value is None else f"{value.normalize():f}"

    return _Waits(
        name=f"reading {entry.counter_id}",
        kind="reading",
        payload={
            "counter": entry.counter_id,
            "value": typed(entry.value),
            "step": entry.step,
            "before_reset": typed(entry.before_reset),
            "face_start": typed(entry.face_start),
            "sure": typed(entry.value),
        },
        author=entry.author,
        at=entry.at,
        why=_why_not(refusal, zone),
    )


def _why_not(refusal: ReadingRefused, zone: ZoneInfo) -> str:
    """Why a reading waits. Nobody stands there to be asked whether the counter was reset."""
    if not isinstance(refusal, WentDown):
        return refusal.said(gettext)
    return gettext(words.LOWER_THAN).format(
        previous=plain(refusal.previous),
        day=words.dated_day(refusal.at.astimezone(zone).date()),
    )


def _uncovered(sheet: ServiceSheet, author: Person, at: datetime) -> list[_Waits]:
    """Parts that were used and did not lie in the tray, and those of which nothing was said."""
    waits = []
    for each in sheet_parts.uncovered(sheet):
        row = each.row
        said = row.entries.select_related("author").order_by("-at", "-pk").first()
        used = (
            ""
            if row.used_steps is None
            else f"{to_units(row.used_steps, row.part.steps_per_unit):f}"
        )
        waits.append(
            _Waits(
                name=f"used {row.pk}",
                kind="used",
                payload={"row": row.pk, "part": "", "used": used},
                author=said.author if said else author,
                at=said.at if said else at,
                why=each.why,
            )
        )
    return waits


def _keep_waiting(
    sheet: ServiceSheet, waits: Sequence[_Waits], fact: Fact, signing_id: UUID
) -> None:
    Unsettled.objects.bulk_create(
        Unsettled(
            event_id=uuid5(signing_id, each.name),
            sheet=sheet,
            phone=fact.phone,
            kind=each.kind,
            payload=each.payload,
            author=each.author,
            at=each.at,
            recorded_at=fact.recorded_at,
            clock_error_seconds=fact.clock_error_seconds,
            reason=each.why[:LONGEST_REASON],
        )
        for each in waits
    )


def _post_measured(
    sheet: ServiceSheet, author: Person, at: datetime, recorded_at: datetime, signing_id: UUID
) -> None:
    """Keep what was measured on components, whether its service is done or comes back."""
    steps = sheet.steps.filter(
        section="check", entry__answer=StepEntry.Answer.VALUE, line__component__isnull=False
    ).select_related("line__component", "entry")
    measured = [
        NewMeasurement(
            component=step.line.component,
            name=step.title,
            unit=step.unit,
            # As left, where it was read again: that is how it stands from now on.
            value=measured_now,
            # Before the work is signed for, whatever the clock of the phone said.
            at=min(step.entry.at, at),
            request_id=uuid5(signing_id, f"measured {step.pk}"),
        )
        for step in steps.order_by("order")
        if step.line and step.line.component and step.entry
        if (measured_now := step.entry.measured) is not None
    ]
    if measured:
        record_measurements(
            measured=measured,
            author=author,
            recorded_at=recorded_at,
            zone=Shop.objects.get().zone,
            source_kind="sheet",
            source_number=sheet.number,
        )


def _renew(
    sheet: ServiceSheet, author: Person, at: datetime, recorded_at: datetime, signing_id: UUID
) -> list[Renewal]:
    """Renew each service whose checks are all answered; the others come back."""
    zone = Shop.objects.get().zone
    unanswered = set(
        sheet.steps.filter(section="check", entry__isnull=True).values_list("line_id", flat=True)
    )
    lines = list(
        sheet.lines.filter(version__isnull=False)
        .select_related("version__service", "component")
        .order_by("component_id", "pk")
    )
    done: list[Done] = []
    renewals: list[Renewal] = []
    for line in lines:
        line.outcome = SheetLine.Outcome.LEFT if line.pk in unanswered else SheetLine.Outcome.DONE
        if line.outcome == SheetLine.Outcome.LEFT or not line.version or not line.component:
            continue
        done.append(Done(line.version, line.component))
    if done:
        renewals = record_renewals(
            done=done,
            done_at=at,
            source_kind="sheet",
            source_number=sheet.number,
            author=author,
            recorded_at=recorded_at,
            zone=zone,
            request_id=uuid5(signing_id, "renewals"),
        )
        _say_what_was_covered(lines, renewals)
    SheetLine.objects.bulk_update(lines, ["outcome", "covers"])
    return renewals


def _say_what_was_covered(lines: Sequence[SheetLine], renewals: Sequence[Renewal]) -> None:
    """A signed line names what was renewed with it: the library may differ from the draft."""
    names: dict[int, list[str]] = {}
    for row in renewals:
        outer = row
        while outer.within is not None:
            outer = outer.within
        if outer is row:
            names[row.pk] = []
        else:
            names[outer.pk].append(row.version.service.name)
    by_line = {
        (row.component_id, row.version_id): names[row.pk] for row in renewals if row.pk in names
    }
    for line in lines:
        if line.outcome == SheetLine.Outcome.DONE:
            line.covers = by_line.get((line.component_id or 0, line.version_id or 0), [])


def _settle_found_work(sheet: ServiceSheet, author: Person, at: datetime) -> None:
    # Locked, and so read as it is now: its own page may close it while the sheet is open.
    found = Finding.objects.select_for_update(of=("self",)).order_by("pk")
    list(found.filter(pk__in=sheet.lines.values("finding")))
    steps = (
        sheet.steps.filter(line__finding__isnull=False)
        .select_related("line__finding", "entry")
        .order_by("order")
    )
    for step in steps:
        line, entry = step.line, step.entry
        if line is None or line.finding is None:
            continue
        if line.finding.closed_at is not None:
            line.outcome = SheetLine.Outcome.DONE  # somebody said on its own page how it was done
        elif entry is not None and entry.choice == PUT_RIGHT:
            line.outcome = SheetLine.Outcome.DONE
            close_finding(
                finding=line.finding,
                author=author,
                at=at,
                closing=entry.note or PUT_RIGHT,
                source_kind="sheet",
                source_number=sheet.number,
            )
        else:
            line.outcome = SheetLine.Outcome.LEFT
            carry_finding(finding=line.finding)
        line.save(update_fields=["outcome"])


def _keep_copy(sheet: ServiceSheet, at: datetime, last_values: dict[int, Decimal]) -> None:
    """Keep what was signed, in the language and the units of who signed it, on paper or here."""
    shop = Shop.objects.get()
    today = at.astimezone(shop.zone).date()
    signer = sheet.written_by or sheet.signed_by
    assert signer is not None
    with override(signer.language):
        paper = paper_of(sheet, today=today, system=signer.units_in(shop), last_values=last_values)
        document = paper_to_plain(paper)
    text = json.dumps(document, sort_keys=True, ensure_ascii=False)
    SignedCopy.objects.create(
        sheet=sheet,
        document=document,
        sha256=hashlib.sha256(text.encode()).hexdigest(),
        signed_at=at,
    )


def rig_of(sheet: ServiceSheet) -> Rig | None:
    """The rig on whose pages the sheet belongs: its own, or where its component came from."""
    if sheet.rig_id:
        return sheet.rig
    last = (
        Installation.objects.filter(component=sheet.component_id)
        .select_related("position__rig")
        .order_by("-installed_at")
        .first()
    )
    return last.position.rig if last else None
