"""Shift logs of a rig: its days, the files they rest on, and what contradicts the readings."""

from datetime import date
from typing import Any, Final

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import FileResponse, Http404, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from equipment.models import LogContradiction, LogLayout, Rig, ShiftDay, ShiftLog
from equipment.services import shiftlogs
from equipment.services.shiftlogs import SettlingRefused, day_of, raw
from equipment.shiftlogs import layout as roles
from shop import logview
from shop.forms.logs import SendLogsForm, SettleForm, WithdrawForm
from shop.http import PageRequest
from shop.logwords import MEASURE_WORDS
from shop.services import coming_logs

DAYS_A_PAGE: Final = 31
FILES_SHOWN: Final = 40


@require_http_methods(["GET", "HEAD", "POST"])
def logs(request: PageRequest, number: int) -> HttpResponse:
    """The logged days of a rig; files are sent in here."""
    rig = _rig(number)
    form = SendLogsForm(*_sent(request))
    if request.method == "POST" and form.is_valid():
        sending = form.cleaned_data["sending"]
        coming_logs.take_in(
            rig=rig,
            uploads=form.uploads,
            sending=sending,
            layout=form.cleaned_data.get("layout"),
            author=request.user,
            at=timezone.now(),
        )
        return redirect("shop:sending", sending)
    days = ShiftDay.objects.filter(rig=rig).defer("details").order_by("-date")
    page = Paginator(days, DAYS_A_PAGE).get_page(request.GET.get("page"))
    context = {
        "rig": rig,
        "form": form,
        "page": page,
        "contradictions": _contradictions(rig),
        "files": ShiftLog.objects.filter(rig=rig)
        .select_related("author", "withdrawn_by")
        .order_by("-last_at", "-pk")[:FILES_SHOWN],
    }
    return render(request, "shop/logs/logs.html", context, status=422 if form.errors else 200)


@require_safe
def log_day(request: PageRequest, number: int, day: date) -> HttpResponse:
    """One day of a rig, as all of its files together say."""
    rig = _rig(number)
    row = ShiftDay.objects.filter(rig=rig, date=day).first()
    if row is None:
        raise Http404(f"No log tells of that day of rig {rig}.")
    seen, shop = day_of(row, request.shop.zone), request.shop
    units = request.user.units_in(shop)
    beside = ShiftDay.objects.filter(rig=rig).order_by("date")
    context = {
        "rig": rig,
        "row": row,
        "day": seen,
        "picture": logview.picture_of(seen, zone=shop.zone, units=units, name=f"Rig {rig}"),
        "measures": [
            (MEASURE_WORDS[role], *logview.in_units(role, seen.extremes[role], units))
            for role in roles.MEASURES
            if role in seen.extremes
        ],
        "faces": logview.faces_of(seen),
        "files": row.logs.select_related("author").order_by("first_at"),
        "contradictions": _contradictions(rig).filter(date=day),
        "before": beside.filter(date__lt=day).last(),
        "after": beside.filter(date__gt=day).first(),
    }
    return render(request, "shop/logs/day.html", context)


@require_http_methods(["GET", "HEAD", "POST"])
def contradiction(request: PageRequest, pk: int) -> HttpResponse:
    """A log and the readings cannot both be true: somebody says how it was."""
    row = get_object_or_404(
        LogContradiction.objects.select_related(
            "rig", "counter", "log", "against__author", "settled_by"
        ),
        pk=pk,
    )
    form = SettleForm(*_sent(request)[:1], counter=row.counter)
    if request.method == "POST" and form.is_valid():
        try:
            shiftlogs.settle_contradiction(
                contradiction=row,
                how=form.cleaned_data["how"],
                before_reset=form.cleaned_data.get("before_reset"),
                author=request.user,
                at=timezone.now(),
                zone=request.shop.zone,
            )
        except SettlingRefused as refused:
            form.add_error(None, str(refused))
        else:
            messages.success(request, "Settled.")
            return redirect("shop:logs", row.rig.number)
    context = {"rig": row.rig, "row": row, "form": form}
    status = 422 if form.errors else 200
    return render(request, "shop/logs/contradiction.html", context, status=status)


@require_http_methods(["GET", "HEAD", "POST"])
def withdraw(request: PageRequest, pk: int) -> HttpResponse:
    """Take a log back: a wrong file, or another rig's."""
    log = get_object_or_404(ShiftLog.objects.select_related("rig", "author", "withdrawn_by"), pk=pk)
    form = WithdrawForm(*_sent(request)[:1])
    if request.method == "POST" and form.is_valid():
        try:
            shiftlogs.withdraw_log(
                log=log,
                reason=form.cleaned_data["reason"],
                author=request.user,
                at=timezone.now(),
                zone=request.shop.zone,
                rules=request.shop.log_rules,
            )
        except SettlingRefused as refused:
            form.add_error(None, str(refused))
        else:
            messages.success(request, f"“{log.name}” is withdrawn. The file itself is kept.")
            return redirect("shop:logs", log.rig.number)
    status = 422 if form.errors else 200
    return render(
        request,
        "shop/logs/withdraw.html",
        {"rig": log.rig, "log": log, "form": form},
        status=status,
    )


@require_safe
def log_file(request: PageRequest, pk: int) -> FileResponse:
    """The file as the controller wrote it."""
    log = get_object_or_404(ShiftLog, pk=pk)
    name = log.name.rpartition("/")[2] or "log"
    return FileResponse(
        raw(log), as_attachment=True, filename=name, content_type="application/octet-stream"
    )


@require_safe
def layouts(request: PageRequest) -> HttpResponse:
    """The layouts that the shop keeps."""
    rows = LogLayout.objects.select_related("author").order_by("is_retired", "name")
    context = {
        "rows": [
            (row, logview.how_written(row.kept), logview.used_columns(row.kept)) for row in rows
        ]
    }
    return render(request, "shop/logs/layouts.html", context)


@require_POST
def retire_layout(request: PageRequest, pk: int) -> HttpResponse:
    """Use a layout no more; what was read by it stays."""
    row = get_object_or_404(LogLayout, pk=pk)
    shiftlogs.retire_layout(layout=row)
    messages.success(request, f"The layout “{row.name}” is used no more.")
    return redirect("shop:log_layouts")


@require_safe
def how(request: PageRequest) -> HttpResponse:
    """What each figure of a day means."""
    return render(request, "shop/logs/how.html", {"back_url": reverse("shop:rigs")})


def _sent(request: PageRequest) -> tuple[Any, Any]:
    """What was typed and what files came; nothing where the page is only looked at."""
    return (request.POST, request.FILES) if request.method == "POST" else (None, None)


def _rig(number: int) -> Rig:
    rig = Rig.objects.filter(number=number).first()
    if rig is None:
        raise Http404(f"There is no rig {number:02d}.")
    return rig


def _contradictions(rig: Rig) -> Any:
    return (
        LogContradiction.objects.open()
        .filter(rig=rig)
        .select_related("counter", "log", "against__author")
        .order_by("date", "counter__order", "pk")
    )
