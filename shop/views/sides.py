"""Both sides of a rig compared: the chart, what to look at, and what is done about it."""

import math
from datetime import date, timedelta
from typing import Any, Final
from uuid import UUID, uuid4

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from equipment.models import BroughtForward, Compared, Due, PumpDrive, Rig, SideSignal
from equipment.services import (
    SidesRefused,
    bring_forward_for_signal,
    dismiss_signal,
    open_work,
    take_off,
)
from equipment.services.sides import Comparison, compare
from equipment.sides import Chart, Point
from shop import rigview, sidewords, words
from shop.drawing.sides import BASELINE, LEFT_OUT, PAST, WATCHED, ChartPoint, ControlChart
from shop.forms.sides import DismissForm, ForwardForm
from shop.http import PageRequest

#: How far back the page reaches. [shifts], and in time where there are fewer.
MOST_SHIFTS: Final = 60
MOST_ON_A_PHONE: Final = 25
BACK: Final = timedelta(days=400)
MOST_ANSWERS: Final = 10
#: Shifts that stand in the table at once; those before are a tap away.
NEWEST: Final = ":12"


@require_safe
def sides(request: PageRequest, number: int) -> HttpResponse:
    """The imbalance of A to B shift by shift, its limits, and what a signal means."""
    rig, today = get_object_or_404(Rig, number=number), request.today
    found = compare(rig, zone=request.shop.zone, since=timezone.now() - BACK)
    signal = SideSignal.objects.filter(rig=rig).first()
    points = found.chart.points[-MOST_SHIFTS:]
    centres = _centres(found.chart)[-MOST_SHIFTS:]
    label = _sentence(found, signal, today=today)
    drawn = _picture(found, points, centres, label, today=today)
    context = {
        "rig": rig,
        "findings": rigview.holds([rig]).get(rig.pk, []),
        "found": found,
        "is_linked": rig.pump_drive == PumpDrive.LINKED,
        "is_known": rig.pump_drive != PumpDrive.NOT_KNOWN,
        "sentence": label,
        "cells": _cells(rig, found),
        "picture": drawn,
        "picture_phone": ControlChart(
            drawn.label, drawn.points[-MOST_ON_A_PHONE:], drawn.above, drawn.below
        ),
        "newest": NEWEST,
        "rows": [_row(p, c, today=today) for p, c in zip(points, centres, strict=True)][::-1],
        "signal": signal,
        "suspects": sidewords.suspects(compared=signal.compared, more=signal.more)
        if signal
        else [],
        "basis": sidewords.BASIS.label,
        "false_alarms": sidewords.FALSE_ALARMS,
        "request_id": uuid4(),
        "answers": rig.side_answers.select_related(
            "author", "finding", "brought__service"
        ).order_by("-at", "-pk")[:MOST_ANSWERS],
    }
    return render(request, "shop/sides.html", context)


@require_POST
def side_work(request: PageRequest, number: int) -> HttpResponse:
    """Open found work for the signal, in its own words. Sent twice, it is opened once."""
    rig = get_object_or_404(Rig, number=number)
    signal = SideSignal.objects.filter(rig=rig).first()
    try:
        request_id = UUID(request.POST.get("request_id", ""))
    except ValueError:
        messages.error(request, "The page came incomplete. Send it again.")
        return redirect("shop:sides", rig.number)
    if signal is None:
        messages.error(request, "Nothing is signalled on this rig now.")
        return redirect("shop:sides", rig.number)
    try:
        open_work(
            rig=rig,
            side=sidewords.first_suspect(signal),
            text=sidewords.work_text(signal, today=request.today),
            author=request.user,
            at=timezone.now(),
            request_id=request_id,
        )
    except SidesRefused as refused:
        messages.error(request, str(refused))
    else:
        messages.success(request, "Found work is open; a sheet of this rig will carry it.")
    return redirect("shop:sides", rig.number)


@require_http_methods(["GET", "HEAD", "POST"])
def dismiss_side(request: PageRequest, number: int) -> HttpResponse:
    """Say that nothing is wrong: the pair's baseline begins anew."""
    rig, now = get_object_or_404(Rig, number=number), timezone.now()
    form = DismissForm(request.POST if request.method == "POST" else None, now=now)
    if form.is_valid():
        try:
            dismiss_signal(
                rig=rig,
                reason=form.cleaned_data["reason"],
                author=request.user,
                at=now,
                request_id=form.cleaned_data["request_id"],
                zone=request.shop.zone,
            )
        except SidesRefused as refused:
            form.add_error(None, str(refused))
        else:
            messages.success(request, "Noted. The next eight shifts make a fresh baseline.")
            return redirect("shop:sides", rig.number)
    intro = (
        "The pair is right as it runs now. A fresh baseline begins with the next shift; until "
        "eight are in, nothing is watched."
    )
    return _form(request, rig, form, "Nothing is wrong", intro, "Begin a fresh baseline")


@require_http_methods(["GET", "HEAD", "POST"])
def side_forward(request: PageRequest, number: int) -> HttpResponse:
    """Bring a service of a pump forward, for the signal."""
    rig, now, today = get_object_or_404(Rig, number=number), timezone.now(), request.today
    signal = SideSignal.objects.filter(rig=rig).first()
    dues = (
        Due.objects.filter(rig=rig, position__side__in=["A", "B"])
        .filter(component__type__displacement_in3__isnull=False)
        .select_related("position__kind", "component", "version__service")
        .order_by("position__order", "-version__is_rebuild", "version__service__name")
    )
    initial: dict[str, Any] = {"due_on": today + timedelta(days=7)}
    if signal is not None:
        first = dues.filter(
            position__side=sidewords.first_suspect(signal), version__is_rebuild=True
        ).first()
        initial |= {"reason": sidewords.signal_text(signal, today=today)[:200], "due": first}
    form = ForwardForm(
        request.POST if request.method == "POST" else None, now=now, dues=dues, initial=initial
    )
    if form.is_valid():
        due = form.cleaned_data["due"]
        try:
            bring_forward_for_signal(
                rig=rig,
                service=due.version.service,
                component=due.component,
                due_on=form.cleaned_data["due_on"],
                reason=form.cleaned_data["reason"],
                author=request.user,
                at=now,
                request_id=form.cleaned_data["request_id"],
                zone=request.shop.zone,
            )
        except SidesRefused as refused:
            form.add_error(None, str(refused))
        except ValidationError as refused:
            form.add_error("reason", refused.messages)
        else:
            by = words.day(form.cleaned_data["due_on"], today=today)
            messages.success(request, f"“{due.version.service}” is due by {by} at the latest.")
            return redirect("shop:sides", rig.number)
    intro = (
        "It falls due by that day at the latest, until it is done next or somebody takes this off. "
        "It is never put off by it."
    )
    return _form(request, rig, form, "Bring a service forward", intro, "Bring it forward")


@require_POST
def take_off_forward(request: PageRequest, pk: int) -> HttpResponse:
    """A service is wanted no sooner after all. Sent twice, the second finds nothing to do."""
    brought = get_object_or_404(
        BroughtForward.objects.select_related("component", "service"), pk=pk
    )
    try:
        take_off(brought=brought, author=request.user, at=timezone.now(), zone=request.shop.zone)
    except SidesRefused as refused:
        messages.error(request, str(refused))
    else:
        messages.success(request, f"“{brought.service}” falls due by its interval again.")
    return redirect("equipment:component", brought.component.tag)


def _form(
    request: PageRequest, rig: Rig, form: Any, title: str, intro: str, submit: str
) -> HttpResponse:
    context = {
        "rig": rig,
        "findings": rigview.holds([rig]).get(rig.pk, []),
        "form": form,
        "title": title,
        "line": rig.name,
        "intro": intro,
        "submit": submit,
        "back_url": reverse("shop:sides", args=[rig.number]),
        "back_label": "both sides compared",
    }
    status = 422 if request.method == "POST" else 200
    return render(request, "equipment/form.html", context, status=status)


# --- what the page says -------------------------------------------------------------------------


def _cells(rig: Rig, found: Comparison) -> list[tuple[str, ...]]:
    cells: list[tuple[str, ...]] = [("Pumps", rig.get_pump_drive_display().split(",")[0])]
    if found.compared:
        cells.append(("Compared", Compared(found.compared).label))
    if base := found.chart.baseline:
        side, size = ("A", base.centre) if base.centre >= 0 else ("B", -base.centre)
        cells.append(("Baseline", f"{side} {sidewords.percent(math.expm1(size))} over"))
        cells.append(("Own spread", f"± {sidewords.percent(base.spread)}"))
    elif found.compared:
        cells.append(("Baseline", f"{found.chart.missing} more shifts"))
    return cells


def _sentence(found: Comparison, signal: SideSignal | None, *, today: date) -> str:
    """What the chart says, for everybody who does not look at it."""
    if not found.compared:
        return found.why_not
    if signal is not None:
        back = " The newest shifts lie within the limits again." if signal.is_back else ""
        return f"{sidewords.signal_text(signal, today=today)}.{back}"
    missing = found.chart.missing
    if missing:
        return (
            f"A fresh baseline: {missing} more shift{'s' if missing > 1 else ''} until the pair is "
            "watched."
        )
    if not any(point.z is not None for point in found.chart.points):
        return "The baseline stands; the next shift is the first that is watched."
    return "The pair runs as its own baseline says."


def _centres(chart: Chart) -> list[float | None]:
    """The baseline each point is drawn against: that before it, or the first one after it."""
    centres: list[float | None] = []
    following = chart.baseline.centre if chart.baseline else None
    for point in reversed(chart.points):
        if point.baseline is not None:
            following = point.baseline.centre
        centres.append(following)
    return centres[::-1]


def _off(point: Point, centre: float | None) -> float | None:
    if point.y is None or centre is None:
        return None
    return (math.exp(point.y - centre) - 1) * 100


def _picture(
    found: Comparison,
    points: tuple[Point, ...],
    centres: list[float | None],
    label: str,
    *,
    today: date,
) -> ControlChart:
    drawn = []
    changes = list(found.pair.changes)
    before = None
    for point, centre in zip(points, centres, strict=True):
        scale = math.hypot(point.baseline.spread, point.error) * 100 if point.baseline else None
        drawn.append(
            ChartPoint(
                label=words.day(point.shift.day, today=today),
                kind=_kind(point),
                off=_off(point, centre),
                error=point.error * 100,
                average=point.average * scale
                if point.average is not None and scale is not None
                else None,
                limit=found.rules.limit * scale
                if point.z is not None and scale is not None
                else None,
                begins_anew=before is not None
                and any(before < change <= point.shift.begins for change in changes),
            )
        )
        before = point.shift.begins
    return ControlChart(label=f"{label} {len(drawn)} shifts are drawn.", points=tuple(drawn))


def _kind(point: Point) -> str:
    if point.left_out:
        return LEFT_OUT
    if point.z is None:
        return BASELINE
    return PAST if point.is_out else WATCHED


def _row(point: Point, centre: float | None, *, today: date) -> dict[str, Any]:
    """A line of the table beside the picture."""
    off = _off(point, centre)
    stands = {
        LEFT_OUT: point.left_out,
        BASELINE: "makes the baseline",
        PAST: "past the limit",
        WATCHED: "within",
    }[_kind(point)]
    return {
        "day": point.shift.day,
        "a": point.shift.a.amount if point.shift.a else None,
        "b": point.shift.b.amount if point.shift.b else None,
        "off": None if off is None else _signed(off),
        "error": f"{point.error * 100:.2f} %" if point.y is not None and point.error else "",
        "average": ""
        if point.average is None or point.baseline is None
        else _signed(point.average * math.hypot(point.baseline.spread, point.error) * 100),
        "stands": stands,
        "is_past": point.is_out,
    }


def _signed(percent: float) -> str:
    shown = f"{abs(percent):.1f} %"
    return shown if shown.startswith("0.0") else f"{'+' if percent > 0 else '−'}{shown}"
