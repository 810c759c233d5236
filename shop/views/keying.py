"""A paper sheet keyed in at the desk, on one dense page."""

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import render, resolve_url
from django.utils import timezone
from django.utils.text import format_lazy
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_http_methods

from shop.forms.keying import KeyedForm, StepRow
from shop.http import PageRequest
from shop.isolation import Stage
from shop.models import ServiceSheet, SheetStep
from shop.services.keying import KeyedRefused, key_in
from shop.services.paper.steps import line_place
from shop.services.refusals import AlreadySigned, SheetClosed
from shop.services.stages import by_stage, numbers_of, stages_of, titles_over
from shop.views.sheets import find_sheet
from shop.views.work.frame import lead

Section = SheetStep.Section
#: A heading and the rows under it.
Panel = tuple[str, list[StepRow]]
_ORDER = {
    section: place
    for place, section in enumerate(("caution", "lockout", "zero", "check", "return"))
}


@require_http_methods(["GET", "HEAD", "POST"])
def keyed(request: PageRequest, number: int) -> HttpResponse:
    """Type what is written on the paper; all of it is taken, or nothing."""
    sheet = find_sheet(number)
    if not sheet.is_open:
        return _closed(request, sheet)
    now = timezone.now()
    steps = sorted(
        sheet.steps.select_related("entry__author", "entry__written_by", "line"),
        key=lambda step: (_ORDER[step.section], step.order),
    )
    worked = sheet.technician or request.user
    form = KeyedForm(
        request.POST if request.method == "POST" else None,
        now=now,
        sheet=sheet,
        steps=steps,
        system=request.user.units_in(request.shop),
        initial={
            "writer": worked.pk,
            "day": request.today,
            # Of whom it was handed out to; else nobody here knows whose name stands there.
            "signature": sheet.technician.name if sheet.technician else "",
        },
    )
    if request.method == "POST" and form.is_valid():
        try:
            key_in(
                sheet=sheet,
                keyed=form.keyed(),
                author=request.user,
                recorded_at=now,
                request_id=form.cleaned_data["request_id"],
            )
        except (AlreadySigned, SheetClosed) as refusal:
            return lead(request, resolve_url("shop:sheet", number), messages.ERROR, refusal)
        except KeyedRefused as refusal:
            form.refuse(refusal.errors, refusal.readings)
        else:
            to = resolve_url("shop:sheet", number)
            return lead(request, to, messages.SUCCESS, _keyed_words(sheet))
    work, after = _sections(sheet, form, steps)
    return render(
        request,
        "shop/keyed.html",
        {
            "sheet": sheet,
            "rig": sheet.rig,
            "form": form,
            "work": work,
            "after": after,
            "has_electrics": any(step.needs_electrician for step in steps),
        },
        status=422 if request.method == "POST" else 200,
    )


def _sections(
    sheet: ServiceSheet, form: KeyedForm, steps: list[SheetStep]
) -> tuple[list[Panel], list[Panel]]:
    """What stands before the parts and what after them, in the order of the paper."""
    lines = sheet.lines.select_related(
        "version__service", "component__type__kind", "position__kind", "finding"
    ).order_by("order")
    groups, titles = by_stage(lines, steps, stages_of(steps)), titles_over(sheet)

    numbers = numbers_of(groups)

    def of(section: Section, heading: str) -> list[Panel]:
        found = [step for step in steps if step.section == section]
        numbered = section in (Section.LOCKOUT, Section.RETURN)
        along = {step.pk: number for number, step in enumerate(found, 1)} if numbered else {}
        rows = form.step_rows(found, along)
        return [(heading, rows)] if rows else []

    def at(stage: Stage) -> list[Panel]:
        over = f"{titles[stage]}: " if stage in titles else ""
        return [
            (f"{over}{line_place(line)}, {line.title}", form.step_rows(of_line, numbers))
            for line, of_line in groups[stage]
        ]

    work = [
        *of(Section.CAUTION, "Cautions"),
        *at(Stage.FOUND),
        *of(Section.LOCKOUT, "Lockout" if sheet.rig_id else "On the bench"),
        *of(Section.ZERO, "Must read zero"),
        *at(Stage.STILL),
    ]
    return work, [*of(Section.RETURN, "Back to service"), *at(Stage.RUN)]


def _closed(request: PageRequest, sheet: ServiceSheet) -> HttpResponse:
    """Signed meanwhile: by this very form sent twice, or by somebody else."""
    to = resolve_url("shop:sheet", sheet.number)
    if request.method == "POST" and f"{sheet.signing_id}" == request.POST.get("request_id"):
        return lead(request, to, messages.SUCCESS, _keyed_words(sheet))
    if sheet.state == ServiceSheet.State.SIGNED:
        return lead(request, to, messages.ERROR, AlreadySigned(sheet))
    return lead(request, to, messages.ERROR, SheetClosed(sheet))


def _keyed_words(sheet: ServiceSheet) -> object:
    return format_lazy(gettext_lazy("Sheet {sheet} is keyed in and signed."), sheet=sheet)
