"""A sheet's way from due services to the technician: draft, hand out, void."""

from collections.abc import Collection, Sequence
from datetime import date, datetime
from decimal import Decimal
from uuid import UUID

from django.db import IntegrityError, transaction
from django.db.models import Max

from equipment.models import (
    Caution,
    Check,
    Component,
    Due,
    Finding,
    Installation,
    Position,
    Rig,
)
from equipment.services import including, locks
from equipment.services.including import Covers
from shop import isolation, words
from shop.models import Correction, Person, ServiceSheet, SheetLine, SheetStep, Shop, StepEntry
from shop.services import sheet_parts
from shop.services.locking import lock_open_sheet
from shop.services.refusals import (
    FoundWorkClosed,
    NotFitted,
    NothingPicked,
    OnAnotherSheet,
    OneRigAtATime,
    SheetRefused,
    refuse_long,
)

PUT_RIGHT = "put right"
CARRY_FORWARD = "carried forward"


def draft_sheet(
    *,
    rig: Rig | None = None,
    component: Component | None = None,
    dues: Sequence[Due],
    findings: Sequence[Finding] = (),
    planned_on: date,
    note: str = "",
    charged_rig: Rig | None = None,
    author: Person,
    at: datetime,
    today: date,
    request_id: UUID,
) -> ServiceSheet:
    """Open a sheet for a rig, or for a component on the bench, and reserve its parts.

    A picked service that another picked one includes on the same component gets no line and no
    kit of its own: the bigger one stands for it, and its signature renews both.
    dues: services of that rig's fitted components, or of the component.
    charged_rig: who pays for the parts of a bench sheet (None: shop stock); a rig's sheet is
        charged to the rig.
    Sent twice with one request_id, it makes one sheet. Raises NothingPicked, OneRigAtATime,
    NotFitted, FoundWorkClosed, OnAnotherSheet.
    """
    if not dues and not findings:
        raise NothingPicked
    refuse_long(ServiceSheet, note=note)
    try:
        with transaction.atomic():
            # The shop's row is the lock of sheet numbers: two managers never draw the same one.
            shop = Shop.objects.select_for_update().get()
            if earlier := ServiceSheet.objects.filter(request_id=request_id).first():
                return earlier
            dues, findings = _as_they_are_now(rig, dues, findings)
            _refuse_strangers(rig, component, dues, findings)
            dues, covers = including.folded(dues)
            _refuse_doubles(dues, findings)
            last = ServiceSheet.objects.aggregate(last=Max("number"))["last"] or 0
            sheet = ServiceSheet.objects.create(
                number=last + 1,
                rig=rig,
                component=component,
                charged_rig=rig or charged_rig,
                planned_on=planned_on,
                note=note,
                drafted_by=author,
                drafted_at=at,
                request_id=request_id,
            )
            lines = _write_lines(sheet, dues, findings, covers, today, shop.warning_days)
            _write_steps(sheet, lines, covers)
            sheet_parts.plan(sheet=sheet, author=author, at=at)
            return sheet
    except IntegrityError as error:
        # Somebody drafted one of these services between our look and our write.
        _refuse_doubles(dues, findings)
        raise SheetRefused("Somebody drafted a sheet at the same moment. Try again.") from error


def hand_out(*, sheet: ServiceSheet, technician: Person, author: Person, at: datetime) -> None:
    """Give the sheet to a technician. Again, to another: the sheet changes hands.

    Raises SheetClosed; SheetRefused when the person may not sign in or only looks at figures.
    """
    with transaction.atomic():
        sheet = lock_open_sheet(sheet)
        if technician.role == "owner" or not technician.is_active:
            raise SheetRefused(f"{technician} cannot work on a sheet.")
        sheet.technician = technician
        sheet.handed_out_at = at
        if sheet.state == ServiceSheet.State.DRAFTED:
            sheet.state = ServiceSheet.State.HANDED_OUT
        sheet.save(update_fields=["technician", "handed_out_at", "state"])


def void_sheet(
    *, sheet: ServiceSheet, author: Person, at: datetime, reason: str, request_id: UUID
) -> None:
    """Strike the sheet: promises released, tray put back, its services due as before.

    Raises SheetClosed; SheetRefused without a reason.
    """
    if not reason.strip():
        raise SheetRefused("Say why the sheet is void.")
    refuse_long(ServiceSheet, void_reason=reason.strip())
    with transaction.atomic():
        sheet = lock_open_sheet(sheet)
        sheet_parts.put_back(sheet=sheet, author=author, at=at, request_id=request_id)
        sheet_parts.release(sheet=sheet)
        sheet.lines.update(is_open=False)
        sheet.state = ServiceSheet.State.VOID
        sheet.voided_by, sheet.voided_at, sheet.void_reason = author, at, reason.strip()
        sheet.is_waiting_for_parts = False
        sheet.save(
            update_fields=["state", "voided_by", "voided_at", "void_reason", "is_waiting_for_parts"]
        )


def _as_they_are_now(
    rig: Rig | None, dues: Sequence[Due], findings: Sequence[Finding]
) -> tuple[list[Due], list[Finding]]:
    """What was picked, read again under the rig's lock: an exchange takes that lock too."""
    locks.lock_rigs([rig.pk if rig else None])
    picked = Due.objects.select_related("component__type", "position__kind", "version__service")
    fresh = {due.pk: due for due in picked.filter(pk__in=[due.pk for due in dues])}
    for due in dues:
        if due.pk not in fresh:
            raise SheetRefused("A picked service is no longer asked for. Look at the list again.")
    found = Finding.objects.select_for_update(of=("self",)).order_by("pk")
    now = {each.pk: each for each in found.filter(pk__in=[each.pk for each in findings])}
    return [fresh[due.pk] for due in dues], [now[finding.pk] for finding in findings]


def _refuse_strangers(
    rig: Rig | None,
    component: Component | None,
    dues: Sequence[Due],
    findings: Sequence[Finding],
) -> None:
    for due in dues:
        if rig is not None and due.rig_id is None:
            raise NotFitted(due.component.tag)
        if rig is not None and due.rig_id != rig.pk:
            raise OneRigAtATime
        if component is not None and due.component_id != component.pk:
            raise OneRigAtATime
    for finding in findings:
        if finding.closed_at is not None:
            raise FoundWorkClosed(finding.text)
        if rig is not None and finding.rig_id not in (rig.pk, None):
            raise OneRigAtATime
        if component is not None and finding.component_id != component.pk:
            raise OneRigAtATime


def stood_for(components: Collection[int]) -> dict[tuple[int, int], SheetLine]:
    """Return the open line whose signature renews each smaller service: (component, service)."""
    lines = list(
        SheetLine.objects.filter(is_open=True, component__in=components, version__isnull=False)
        .select_related("sheet", "version__service", "component__type")
        .order_by("pk")
    )
    covers = including.covered(
        (line.version, line.component) for line in lines if line.version and line.component
    )
    return {
        (line.component_id, smaller.service_id): line
        for line in lines
        if line.component_id and line.version_id
        for smaller in covers.get((line.component_id, line.version_id), ())
    }


def _refuse_doubles(dues: Sequence[Due], findings: Sequence[Finding]) -> None:
    taken = SheetLine.objects.filter(is_open=True).select_related(
        "sheet", "version__service", "finding"
    )
    bigger = stood_for({due.component_id for due in dues})
    for due in dues:
        title = f"{due.component.tag}, {due.version.service.name},"
        if line := taken.filter(component=due.component_id, version=due.version_id).first():
            raise OnAnotherSheet(title, line.sheet)
        if line := bigger.get((due.component_id, due.version.service_id)):
            raise OnAnotherSheet(f"{title} as part of “{line.title}”", line.sheet)
    for finding in findings:
        if line := taken.filter(finding=finding).first():
            raise OnAnotherSheet(f"“{finding.text}”", line.sheet)


def _along_the_rig(due: Due) -> tuple[int, str, int]:
    return (due.position.order if due.position else 0, due.version.service.name, due.pk)


def _write_lines(
    sheet: ServiceSheet,
    dues: Sequence[Due],
    findings: Sequence[Finding],
    covers: Covers,
    today: date,
    warning_days: int,
) -> list[SheetLine]:
    """One line a service, in the order the hands move along the rig, then the found work."""
    lines: list[SheetLine] = []
    for order, due in enumerate(sorted(dues, key=_along_the_rig), 1):
        state = due.state(today=today, warning_days=warning_days)
        lines.append(
            SheetLine(
                sheet=sheet,
                order=order,
                version=due.version,
                component=due.component,
                position=due.position,
                due_on=due.due_date,
                state_text=f"{words.STATE_WORDS[state]}, {words.life_text(due, today=today)}",
                covers=[
                    version.service.name
                    for version in covers.get((due.component_id, due.version_id), ())
                ],
            )
        )
    for order, finding in enumerate(findings, len(lines) + 1):
        lines.append(
            SheetLine(
                sheet=sheet,
                order=order,
                finding=finding,
                component=finding.component,
                position=_where(finding.component),
                state_text=f"found {words.day(finding.opened_at.date(), today=today)}",
            )
        )
    return SheetLine.objects.bulk_create(lines)


def _where(component: Component | None) -> Position | None:
    if component is None:
        return None
    fitted = component.installations.filter(removed_at__isnull=True).select_related("position")
    return next((each.position for each in fitted), None)


def _write_steps(sheet: ServiceSheet, lines: Sequence[SheetLine], covers: Covers) -> None:
    versions = [line.version_id for line in lines if line.version_id]
    # What is covered is done too, so its hazards are there.
    versions += [
        version.pk
        for line in lines
        for version in covers.get((line.component_id or 0, line.version_id or 0), ())
    ]
    cautions = list(
        Caution.objects.filter(service_versions__in=versions).distinct().order_by("code")
    )
    steps = [
        SheetStep(
            sheet=sheet,
            section=SheetStep.Section.CAUTION,
            order=order,
            title=caution.hazard,
            text=caution.text,
            source=caution.source,
            icon=caution.icon,
        )
        for order, caution in enumerate(cautions, 1)
    ]
    steps += _isolation_steps(sheet, {caution.code for caution in cautions})
    steps += _check_steps(sheet, lines)
    SheetStep.objects.bulk_create(steps)


def _isolation_steps(sheet: ServiceSheet, codes: set[str]) -> list[SheetStep]:
    if sheet.rig_id is None:
        return []  # on the bench there is nothing to isolate: the component is out of its rig
    kinds = set(
        Installation.objects.filter(
            position__rig=sheet.rig_id, removed_at__isnull=True
        ).values_list("position__kind__name", flat=True)
    )
    points = isolation.lockout_points(caution_codes=codes, kinds_fitted=kinds)
    gauges = isolation.zero_gauges(caution_codes=codes, kinds_fitted=kinds)
    return [
        SheetStep(
            sheet=sheet,
            section=SheetStep.Section.LOCKOUT,
            order=order,
            title=point.source,
            text=point.action,
            source=isolation.PROVED_BY,
        )
        for order, point in enumerate(points, 1)
    ] + [
        SheetStep(
            sheet=sheet,
            section=SheetStep.Section.ZERO,
            order=order,
            title=gauge.name,
            side=gauge.side,
            kind=SheetStep.Kind.VALUE,
            unit=gauge.unit,
            low=0,
            high=0,
            source=isolation.PROVED_BY,
        )
        for order, gauge in enumerate(gauges, 1)
    ]


def _check_steps(sheet: ServiceSheet, lines: Sequence[SheetLine]) -> list[SheetStep]:
    checks: dict[int, list[Check]] = {}
    versions = {line.version_id for line in lines if line.version_id}
    for check in Check.objects.filter(version__in=versions).order_by("version_id", "order"):
        checks.setdefault(check.version_id, []).append(check)
    last = _last_values(lines)
    steps: list[SheetStep] = []
    for line in lines:
        if line.finding is not None:
            steps.append(
                SheetStep(
                    line=line,
                    title=line.finding.text,
                    kind=SheetStep.Kind.CHOICE,
                    choices=[PUT_RIGHT, CARRY_FORWARD],
                )
            )
            continue
        for check in checks.get(line.version_id or 0, []):
            steps.append(
                SheetStep(
                    line=line,
                    title=check.text,
                    text=check.hint,
                    kind=check.kind,
                    choices=check.choices,
                    unit=check.unit,
                    low=check.low,
                    high=check.high,
                    needs_electrician=check.needs_electrician,
                    check_definition=check,
                    last_value=last.get((line.component_id, check.text, check.unit)),
                )
            )
    for order, step in enumerate(steps, 1):
        step.sheet, step.section, step.order = sheet, SheetStep.Section.CHECK, order
    return steps


def _last_values(lines: Sequence[SheetLine]) -> dict[tuple[int | None, str, str], Decimal | None]:
    """What the same check of the same component showed, in its unit, on the last signed sheet."""
    components = {line.component_id for line in lines}
    entries = (
        SheetStep.objects.filter(
            line__component__in=components,
            section=SheetStep.Section.CHECK,
            entry__answer=StepEntry.Answer.VALUE,
            sheet__state=ServiceSheet.State.SIGNED,
        )
        .order_by("sheet__signed_at", "pk")
        .values_list("line__component", "title", "unit", "entry__value", "pk")
    )
    corrected = dict(
        Correction.objects.filter(
            about=Correction.About.CHECK,
            step__line__component__in=components,
            value__isnull=False,
        )
        .order_by("pk")
        .values_list("step", "value")
    )
    return {
        (component, title, unit): corrected.get(step, value)
        for component, title, unit, value, step in entries
    }
