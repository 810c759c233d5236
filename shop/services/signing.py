"""Signing: one transaction in which the work becomes readings, spend, renewals and found work."""

import hashlib
import json
from collections.abc import Sequence
from datetime import datetime
from decimal import Decimal
from uuid import UUID, uuid5

from django.db import transaction

from equipment.models import Finding, Installation, Renewal, Rig
from equipment.services import (
    Done,
    NewMeasurement,
    NewReading,
    carry_finding,
    close_finding,
    record_measurements,
    record_readings,
    record_renewals,
)
from shop.models import Person, ServiceSheet, SheetLine, Shop, SignedCopy, StepEntry
from shop.services import sheet_parts
from shop.services.drafting import PUT_RIGHT
from shop.services.paper import counters_of, paper_of, paper_to_plain
from shop.services.refusals import (
    AlreadySigned,
    ChecksLocked,
    ChecksOpen,
    ElectricianNeeded,
    SheetClosed,
    SheetRefused,
    refuse_long,
)
from shop.services.working import open_checks, still_locked


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
) -> ServiceSheet:
    """Sign the sheet: post readings, issue what was used and put the rest back, renew the
    services done, close or carry forward found work, and keep the whole as it was signed.

    A service is done when each of its checks has an answer. leave_undone: services with open
    checks come back; without it they are refused.
    Sent twice with one signing_id, it is signed once. Raises AlreadySigned, SheetClosed,
    ChecksLocked, ChecksOpen, UsedNotEntered, UsedMoreThanTaken, equipment's ReadingsRefused.
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
    _refuse_unready(sheet, author, signature, leave_undone)
    # Locks in their order: sheet, rigs, components and counters (readings), lots, balances.
    if sheet.rig_id:
        Rig.objects.select_for_update().get(pk=sheet.rig_id)
    last_values = {counter.pk: counter.last_value for counter in counters_of(sheet)}
    _post_readings(sheet, author, at, signing_id)
    _post_measured(sheet, author, at, signing_id)
    _renew(sheet, author, at, signing_id)
    _settle_found_work(sheet, author, at)
    sheet_parts.issue_used(sheet=sheet, author=author, at=at, request_id=signing_id)
    sheet_parts.put_back(sheet=sheet, author=author, at=at, request_id=signing_id)
    sheet_parts.release(sheet=sheet)
    sheet.lines.update(is_open=False)
    sheet.state = ServiceSheet.State.SIGNED
    sheet.signed_by, sheet.signed_at, sheet.signature = author, at, signature.strip()
    sheet.labour_minutes = labour_minutes
    sheet.started_at = sheet.started_at or at
    sheet.signing_id = signing_id
    sheet.is_waiting_for_parts = False
    sheet.save()
    _keep_copy(sheet, at, last_values)
    return sheet


def _refuse_unready(
    sheet: ServiceSheet, author: Person, signature: str, leave_undone: bool
) -> None:
    if not signature.strip():
        raise SheetRefused("Write your name to sign.")
    refuse_long(ServiceSheet, signature=signature.strip())
    missing = open_checks(sheet)
    answered = sheet.steps.filter(section="check", entry__isnull=False)
    if answered.exists() and (locked := still_locked(sheet)):
        raise ChecksLocked(locked)
    if missing and not leave_undone:
        raise ChecksOpen(missing)
    electric = answered.filter(needs_electrician=True, entry__author__is_electrician=False)
    if step := electric.first():
        raise ElectricianNeeded(step)
    sheet_parts.check_used(sheet)


def _post_readings(sheet: ServiceSheet, author: Person, at: datetime, signing_id: UUID) -> None:
    entries = list(
        sheet.readings.filter(is_in_force=True).select_related("counter").order_by("counter_id")
    )
    if not entries:
        return
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
        recorded_at=at,
        author=author,
        request_id=uuid5(signing_id, "readings"),
        source="sheet",
        source_number=sheet.number,
        zone=Shop.objects.get().zone,
    )


def _post_measured(sheet: ServiceSheet, author: Person, at: datetime, signing_id: UUID) -> None:
    """Keep what was measured on components, whether its service is done or comes back."""
    steps = sheet.steps.filter(
        section="check", entry__answer=StepEntry.Answer.VALUE, line__component__isnull=False
    ).select_related("line__component", "entry")
    measured = [
        NewMeasurement(
            component=step.line.component,
            name=step.title,
            unit=step.unit,
            value=step.entry.value,
            # Before the work is signed for, whatever the clock of the phone said.
            at=min(step.entry.at, at),
            request_id=uuid5(signing_id, f"measured {step.pk}"),
        )
        for step in steps.order_by("order")
        if step.line and step.line.component and step.entry and step.entry.value is not None
    ]
    if measured:
        record_measurements(
            measured=measured,
            author=author,
            recorded_at=at,
            zone=Shop.objects.get().zone,
            source_kind="sheet",
            source_number=sheet.number,
        )


def _renew(sheet: ServiceSheet, author: Person, at: datetime, signing_id: UUID) -> None:
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
            recorded_at=at,
            zone=zone,
            request_id=uuid5(signing_id, "renewals"),
        )
        _say_what_was_covered(lines, renewals)
    SheetLine.objects.bulk_update(lines, ["outcome", "covers"])


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
    today = at.astimezone(Shop.objects.get().zone).date()
    document = paper_to_plain(paper_of(sheet, today=today, last_values=last_values))
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
