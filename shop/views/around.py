"""What goes on around the work on a sheet: time, handing over, waiting for parts."""

from typing import Any

from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render, resolve_url
from django.urls import reverse
from django.utils.functional import lazy
from django.utils.text import format_lazy
from django.utils.translation import gettext_lazy, ngettext_lazy
from django.views.decorators.http import require_http_methods, require_POST

from equipment.models import Finding
from shop.around import around, moment_text, short_of
from shop.forms.around import HandOverForm, UntilForm, WaitForm
from shop.http import PageRequest
from shop.models import ServiceSheet
from shop.services import clocking, handing_over, waiting
from shop.services.refusals import SheetClosed, SheetRefused
from shop.views.work.frame import find_sheet, lead, typed_uuid

#: A moment as a figure of what is said on the next page.
_moment = lazy(moment_text, str)


@require_POST
def clock(request: PageRequest, number: int) -> HttpResponse:
    """Start or stop one's time on a sheet."""
    sheet, now, zone = find_sheet(number), request.now, request.shop.zone
    does = {"start": clocking.start_time, "stop": clocking.stop_time}.get(
        request.POST.get("does", "")
    )
    if does is None:
        raise Http404
    before = clocking.clock_of(request.user, now=now, zone=zone).running
    try:
        does(
            sheet=sheet,
            event_id=typed_uuid(request.POST.get("event_id")),
            author=request.user,
            at=now,
            recorded_at=now,
        )
    except SheetRefused as refusal:
        return lead(request, resolve_url("shop:sheet", number), messages.ERROR, refusal)
    back = back_of(request, sheet)
    runs_here = before is not None and before[0].pk == sheet.pk
    if does is clocking.start_time:
        if before and not runs_here:
            text = gettext_lazy("Time runs on sheet {sheet}. It stopped on sheet {other}.")
            words = format_lazy(text, sheet=sheet, other=before[0])
            return lead(request, back, messages.SUCCESS, words)
        if before:
            since = _moment(before[1].start, today=request.today, zone=zone)
            text = gettext_lazy("Time runs on sheet {sheet} since {since} already.")
            words = format_lazy(text, sheet=sheet, since=since)
            return lead(request, back, messages.SUCCESS, words)
    elif not runs_here:
        text = gettext_lazy("No time of yours was running on sheet {sheet}.")
        return lead(request, back, messages.WARNING, format_lazy(text, sheet=sheet))
    return redirect(back)


@require_http_methods(["GET", "HEAD", "POST"])
def until(request: PageRequest, number: int) -> HttpResponse:
    """Say until when one worked on a sheet, where the time was left running."""
    sheet, now, zone = find_sheet(number), request.now, request.shop.zone
    asked = [
        each
        for each in around(sheet, reader=request.user, now=now, zone=zone).asked
        if each.sheet.pk == sheet.pk
    ]
    if not asked:
        return redirect("shop:sheet", number)
    first = asked[0]
    form = UntilForm(
        request.POST if request.method == "POST" else None, now=now, stretch=first.stretch
    )
    if form.is_bound and form.is_valid():
        try:
            clocking.stop_time(
                sheet=sheet,
                event_id=form.cleaned_data["request_id"],
                author=request.user,
                at=form.at,
                recorded_at=now,
                is_sure=True,
            )
        except SheetRefused as refusal:
            form.add_error(None, str(refusal))
        else:
            ended = _moment(form.at, today=request.today, zone=zone)
            text = gettext_lazy("Your time on sheet {sheet} ended {ended}.")
            words = format_lazy(text, sheet=sheet, ended=ended)
            return lead(request, back_of(request, sheet), messages.SUCCESS, words)
    return _page(request, sheet, form, "shop/around/until.html", asked=first)


@require_http_methods(["GET", "HEAD", "POST"])
def hand_over(request: PageRequest, number: int) -> HttpResponse:
    """Leave a sheet to the next one, with a word."""
    sheet, now = find_sheet(number), request.now
    form = HandOverForm(
        request.POST if request.method == "POST" else None, now=now, author=request.user
    )
    if form.is_bound and form.is_valid():
        to = form.cleaned_data["to"]
        try:
            handing_over.hand_over(
                sheet=sheet,
                words=form.cleaned_data["words"],
                to=to,
                event_id=form.cleaned_data["request_id"],
                author=request.user,
                at=now,
                recorded_at=now,
            )
        except SheetRefused as refusal:
            form.add_error(None, str(refusal))
        else:
            text = (
                gettext_lazy("Sheet {sheet} is left to {person}.")
                if to
                else gettext_lazy("Sheet {sheet} is left to whoever comes next.")
            )
            words = format_lazy(text, sheet=sheet, person=to.name if to else "")
            return lead(request, resolve_url("shop:today"), messages.SUCCESS, words)
    return _page(request, sheet, form, "shop/around/hand_over.html")


@require_http_methods(["GET", "HEAD", "POST"])
def wait(request: PageRequest, number: int) -> HttpResponse:
    """Let a sheet stand still for want of parts, saying which; or let it go on."""
    sheet, now = find_sheet(number), request.now
    given: dict[str, Any] = {"author": request.user, "at": now, "recorded_at": now}
    if request.method == "POST" and request.POST.get("does") == "go":
        try:
            waiting.go_on(sheet=sheet, event_id=typed_uuid(request.POST.get("event_id")), **given)
        except SheetClosed as refusal:
            return lead(request, resolve_url("shop:sheet", number), messages.ERROR, refusal)
        left = sheet.parts.filter(short_steps__gt=0).count()
        short = ngettext_lazy("{n} of its parts is short.", "{n} of its parts are short.", left)
        return lead(
            request,
            back_of(request, sheet),
            messages.SUCCESS,
            format_lazy(gettext_lazy("Sheet {sheet} goes on."), sheet=sheet),
            format_lazy(short, n=left) if left else "",
        )
    form = WaitForm(
        request.POST if request.method == "POST" else None, now=now, short=short_of(sheet)
    )
    if form.is_bound and form.is_valid():
        try:
            waiting.wait_for_parts(
                sheet=sheet,
                parts=list(form.cleaned_data.get("parts", ())),
                missing=form.cleaned_data["missing"],
                event_id=form.cleaned_data["request_id"],
                **given,
            )
        except SheetRefused as refusal:
            form.add_error(None, str(refusal))
        else:
            words = format_lazy(gettext_lazy("Sheet {sheet} waits for parts."), sheet=sheet)
            return lead(request, resolve_url("shop:sheet", number), messages.SUCCESS, words)
    return _page(request, sheet, form, "shop/around/wait.html")


def back_of(request: PageRequest, sheet: ServiceSheet) -> str:
    """The page that the button stood on: Today, or the sheet's own."""
    back = request.POST.get("back", "")
    here = f"/sheets/{sheet.number}/"
    return (
        back if back == "/" or back.startswith(here) else reverse("shop:sheet", args=[sheet.number])
    )


def _page(
    request: PageRequest, sheet: ServiceSheet, form: Any, template: str, **more: Any
) -> HttpResponse:
    if not sheet.is_open:
        to = resolve_url("shop:sheet", sheet.number)
        return lead(request, to, messages.ERROR, SheetClosed(sheet))
    rig = sheet.rig
    return render(
        request,
        template,
        {
            "sheet": sheet,
            "rig": rig,
            "form": form,
            "findings": Finding.objects.holding().of_rig(rig) if rig else [],
            **more,
        },
        status=422 if form.is_bound else 200,
    )
