"""A sheet's way from due services to the technician: draft, hand out, void."""

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from typing import Final
from uuid import UUID

from django.db import IntegrityError, transaction
from django.db.models import Max, Q
from django.db.models.functions import Coalesce
from django.utils.text import format_lazy
from django.utils.translation import gettext_lazy, gettext_noop

from equipment.hoses import PLACEHOLDER, filled
from equipment.models import (
    Caution,
    Check,
    Component,
    Due,
    Finding,
    Position,
    Rig,
    ServiceVersion,
    Skill,
)
from equipment.services import hoses_of, including, locks
from equipment.services.including import Covers
from shop import isolation, words
from shop.models import Correction, Person, ServiceSheet, SheetLine, SheetStep, Shop, StepEntry
from shop.services import isolating, open_lines, sheet_parts
from shop.services.locking import lock_open_sheet
from shop.services.refusals import (
    FoundWorkClosed,
    NotFitted,
    NothingPicked,
    OnAnotherSheet,
    OneRigAtATime,
    OpenElsewhere,
    SheetRefused,
    refuse_long,
)

#: Cautions of any found work: something may start, and something in it may harm.
ANY_WORK: Final = ("SC05", "SC13")
ZERO: Final = Decimal(0)
PUT_RIGHT = gettext_noop("put right")
CARRY_FORWARD = gettext_noop("carried forward")


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
    is_sure: bool = False,
) -> ServiceSheet:
    """Open a sheet for a rig, or for a component on the bench, and reserve its parts.

    A picked service that another picked one includes on the same component gets no line and no
    kit of its own: the bigger one stands for it, and its signature renews both.
    dues: services of that rig's fitted components, or of the component.
    charged_rig: who pays for the parts of a bench sheet (None: shop stock); a rig's sheet is
        charged to the rig.
    is_sure: meant, though an open sheet does some of the same work.
    Sent twice with one request_id, it makes one sheet. Raises NothingPicked, OneRigAtATime,
    NotFitted, FoundWorkClosed, OnAnotherSheet; OpenElsewhere until it is sure.
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
            if not is_sure and (shared := open_lines.overlaps(dues)):
                raise OpenElsewhere(shared)
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
            raise SheetRefused(
                format_lazy(gettext_lazy("{person} cannot work on a sheet."), person=technician)
            )
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
        raise SheetRefused(gettext_lazy("Say why the sheet is void."))
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


def _refuse_doubles(dues: Sequence[Due], findings: Sequence[Finding]) -> None:
    taken = SheetLine.objects.filter(is_open=True).select_related(
        "sheet", "version__service", "finding"
    )
    bigger = open_lines.stood_for({due.component_id for due in dues})
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
                state_text=words.STATE_TEXTS[state].format(use=words.life_text(due, today=today)),
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
                state_text=words.FOUND_ON.format(
                    day=words.day(finding.opened_at.date(), today=today)
                ),
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
    found = {line.order: _of_found_work(line) for line in lines if line.finding_id is not None}
    is_asked = Q(service_versions__in=versions)
    for each in found.values():
        is_asked |= each.cautions
    cautions = list(Caution.objects.filter(is_asked).distinct().order_by("code"))
    checks = _check_steps(sheet, lines, {order: each.opens for order, each in found.items()})
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
    around = _isolation_steps(sheet, {caution.code for caution in cautions}, checks)
    steps += [step for step in around if step.section != SheetStep.Section.RETURN]
    steps += checks
    steps += [step for step in around if step.section == SheetStep.Section.RETURN]
    SheetStep.objects.bulk_create(steps)


@dataclass(frozen=True, slots=True)
class _FoundWork:
    """What found work on a kind of component may ask for: no service says it.

    cautions: which apply. opens: the pressure that its repair may open.
    """

    cautions: Q
    opens: list[str]


def _of_found_work(line: SheetLine) -> _FoundWork:
    """All that the services of its kind and side ask for, since nobody knows yet what is opened.

    Found work on no component brings the cautions of any work behind a guard or a panel.
    """
    if line.component is None:
        return _FoundWork(Q(code__in=ANY_WORK), [])
    kind = line.component.type.kind
    versions = ServiceVersion.objects.filter(
        service__kind=kind, service__is_retired=False, is_current=True
    )
    if line.position is not None and line.position.side:
        versions = versions.filter(service__side__in=["", line.position.side])
    opens = {
        each
        for found in Check.objects.filter(version__in=versions).values_list("opens", flat=True)
        for each in found
    }
    if kind.flow in Check.Opens.values:
        opens.add(kind.flow)  # a kind without services still carries what it carries
    spoken = [isolation.PRESSURE_CAUTIONS[isolation.Energy(each)] for each in opens]
    return _FoundWork(
        Q(service_versions__in=versions) | Q(code__in=[*ANY_WORK, *spoken]), sorted(opens)
    )


def _isolation_steps(
    sheet: ServiceSheet, codes: set[str], checks: Sequence[SheetStep]
) -> list[SheetStep]:
    """What comes before the checks, and the way back to service after them.

    Nothing of it where the rig runs for every check, or there is none.
    """
    done_locked_out = [step for step in checks if not step.is_run]
    if not done_locked_out:
        return []
    opened = {each for step in done_locked_out for each in step.opens}
    if sheet.rig_id is None:
        steps = isolation.bench_steps(caution_codes=codes, opened=opened)
        return _rows(sheet, steps)
    steps = isolation.lockout_steps(
        isolating.points_of(sheet.rig_id),
        caution_codes=codes,
        opened=opened,
        inside_enclosures=any(step.needs_electrician for step in done_locked_out),
    )
    return _rows(sheet, (*steps, *isolation.return_steps()) if steps else ())


def _rows(sheet: ServiceSheet, steps: Iterable[isolation.Step]) -> list[SheetStep]:
    rows: list[SheetStep] = []
    placed: Counter[str] = Counter()
    for step in steps:
        section = SheetStep.Section.ZERO if step.unit else SheetStep.Section.LOCKOUT
        if step.phase == isolation.Phase.RETURN:
            section = SheetStep.Section.RETURN
        placed[section] += 1
        row = SheetStep(
            sheet=sheet,
            section=section,
            order=placed[section],
            title=step.title,
            text=step.text,
            source=step.source,
            side=step.side,
            phase=step.phase,
            proves=list(step.proves),
            needs_electrician=step.for_electrician,
            is_run=step.is_start,
        )
        if step.unit:
            row.kind, row.unit, row.low, row.high = SheetStep.Kind.VALUE, step.unit, ZERO, ZERO
        rows.append(row)
    return rows


def _check_steps(
    sheet: ServiceSheet, lines: Sequence[SheetLine], found_opens: Mapping[int, list[str]]
) -> list[SheetStep]:
    checks: dict[int, list[Check]] = {}
    versions = {line.version_id for line in lines if line.version_id}
    for check in Check.objects.filter(version__in=versions).order_by("version_id", "order"):
        checks.setdefault(check.version_id, []).append(check)
    last = _last_values(lines)
    asks = any(PLACEHOLDER in check.hint for group in checks.values() for check in group)
    hoses = hoses_of(sheet.rig) if asks else []
    steps: list[SheetStep] = []
    for line in lines:
        if line.finding is not None:
            steps.append(
                SheetStep(
                    line=line,
                    title=line.finding.text,
                    kind=SheetStep.Kind.CHOICE,
                    choices=[PUT_RIGHT, CARRY_FORWARD],
                    opens=found_opens.get(line.order, []),
                )
            )
            continue
        for check in checks.get(line.version_id or 0, []):
            steps.append(
                SheetStep(
                    line=line,
                    title=check.text,
                    text=filled(check.hint, hoses),
                    kind=check.kind,
                    choices=check.choices,
                    unit=check.unit,
                    low=check.low,
                    high=check.high,
                    # The whole of an electrician's service is theirs, whatever a check says.
                    needs_electrician=check.needs_electrician
                    or (line.version is not None and line.version.skill == Skill.ELECTRICIAN),
                    opens=check.opens,
                    is_run=check.is_run,
                    check_definition=check,
                    last_value=last.get((line.component_id, check.text, check.unit)),
                )
            )
    for order, step in enumerate(steps, 1):
        step.sheet, step.section, step.order = sheet, SheetStep.Section.CHECK, order
    return steps


def _last_values(lines: Sequence[SheetLine]) -> dict[tuple[int | None, str, str], Decimal | None]:
    """What the same check of the same component measured in the end, in its unit, on the last
    signed sheet: as left where it was read again, else as found."""
    components = {line.component_id for line in lines}
    entries = (
        SheetStep.objects.filter(
            line__component__in=components,
            section=SheetStep.Section.CHECK,
            entry__answer=StepEntry.Answer.VALUE,
            sheet__state=ServiceSheet.State.SIGNED,
        )
        .order_by("sheet__signed_at", "pk")
        .annotate(measured=Coalesce("entry__left_value", "entry__value"))
        .values_list("line__component", "title", "unit", "measured", "pk")
    )
    corrected = dict(
        Correction.objects.filter(
            about=Correction.About.CHECK,
            step__line__component__in=components,
            value__isnull=False,
        )
        .order_by("pk")
        .annotate(measured=Coalesce("left_value", "value"))
        .values_list("step", "measured")
    )
    return {
        (component, title, unit): corrected.get(step, value)
        for component, title, unit, value, step in entries
    }
