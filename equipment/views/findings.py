"""Found work: written down by the crew, shown, closed by a manager or a signed sheet."""

from datetime import datetime
from typing import Any

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.utils import timezone
from django.utils.http import url_has_allowed_host_and_scheme
from django.utils.text import format_lazy
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_http_methods

from equipment.forms.rigs import CloseFindingForm, FindingForm, FindingPhotosForm, ReportForm
from equipment.models import Finding, Rig
from equipment.services import FindingRefused, close_finding, open_finding
from equipment.services.photos import TooManyPhotos, attach_all_to_found, photos_of_found
from equipment.views.common import (
    PageRequest,
    component_url,
    draw,
    fitted_in,
    fitted_now,
    get_rig,
    is_sound,
    of_rig,
    rig_url,
    say_at,
    typed,
)
from equipment.views.photos import stored_all


@require_http_methods(["GET", "HEAD", "POST"])
def new_finding(request: PageRequest, number: int) -> HttpResponse:
    """Write down something wrong on a rig."""
    now = timezone.now()
    rig = get_rig(number)
    form = FindingForm(typed(request), request.FILES or None, now=now, fitted=fitted_in(rig))
    if made := _written_down(request, form, rig=rig, now=now):
        to = rig_url(rig)
        _say(to, request, made, gettext_lazy("Found work is written down."))
        return redirect(to)
    return draw(request, "equipment/new_finding.html", of_rig(rig, form=form))


@require_http_methods(["GET", "HEAD", "POST"])
def report(request: PageRequest) -> HttpResponse:
    """Report something wrong on any rig, from any page: the rig, a few words, done."""
    now = timezone.now()
    asked = request.GET.get("rig", "")
    form = ReportForm(
        typed(request),
        request.FILES or None,
        now=now,
        initial={"rig": asked if asked.isdecimal() else ""},
    )
    back = _back(request)
    if made := _written_down(request, form, rig=None, now=now):
        said = gettext_lazy("Found work on rig {rig} is written down.")
        _say(back, request, made, format_lazy(said, rig=made.rig))
        return redirect(back)
    return draw(request, "equipment/report.html", {"form": form, "back": back})


def _written_down(
    request: PageRequest, form: FindingForm | ReportForm, *, rig: Rig | None, now: datetime
) -> Finding | None:
    """What was found, written down as typed; None where the form is to be drawn (again).

    rig: None where the form asks for it. Photos are held either way, so that none is sent twice.
    """
    is_good = is_sound(request, form)
    if form.is_bound:
        form.hold(stored_all(request, form.pictures))
    if not is_good:
        return None
    data = form.cleaned_data
    try:
        return open_finding(
            rig=rig or data["rig"],
            component=data.get("component"),
            text=data["text"],
            is_grave=data["is_grave"],
            author=request.user,
            at=now,
            request_id=data["request_id"],
            digests=form.held,
        )
    except TooManyPhotos as refused:
        form.add_error("photos", str(refused))
        return None


def _say(to: str, request: PageRequest, made: Finding, said: object) -> None:
    """Say of found work what was done, on the page that comes next; of what is grave, that the rig
    is held too."""
    held = gettext_lazy("The rig must not leave until it is put right.") if made.is_grave else ""
    say_at(to, request, messages.SUCCESS, said, held)


def _back(request: PageRequest) -> str:
    """The page that somebody came from, where it is one of ours; else Today."""
    asked = request.POST.get("back") or request.GET.get("back") or "/"
    ours = url_has_allowed_host_and_scheme(asked, allowed_hosts=None) and "\x00" not in asked
    return asked if ours and asked.startswith("/") else "/"


@require_http_methods(["GET", "HEAD", "POST"])
def close(request: PageRequest, pk: int) -> HttpResponse:
    """Close found work, saying how; what is closed says who closed it."""
    now = timezone.now()
    finding = _get_finding(pk)
    rig = finding.rig or _rig_of(finding)
    form = CloseFindingForm(typed(request), now=now)
    if is_sound(request, form):
        try:
            close_finding(
                finding=finding, author=request.user, at=now, closing=form.cleaned_data["closing"]
            )
        except FindingRefused as refused:
            form.add_error(None, str(refused))
            finding.refresh_from_db()
        else:
            messages.success(request, "Found work is closed.")
            return redirect(_home(finding, rig))
    return draw(request, "equipment/close_finding.html", _about(finding, rig, form=form))


@require_http_methods(["GET", "HEAD", "POST"])
def finding(request: PageRequest, pk: int) -> HttpResponse:
    """One piece of found work with its photos; the crew adds more."""
    now = timezone.now()
    shown = _get_finding(pk)
    form = FindingPhotosForm(typed(request), request.FILES or None, now=now)
    if is_sound(request, form):
        form.hold(stored_all(request, form.pictures))
        try:
            attach_all_to_found(
                found_id=shown.request_id, digests=form.held, author=request.user, at=now
            )
        except TooManyPhotos as refused:
            form.add_error("photos", str(refused))
        else:
            if form.held:
                messages.success(request, "The photos are kept.")
            return redirect("equipment:finding", shown.pk)
    rig = shown.rig or _rig_of(shown)
    return draw(request, "equipment/finding.html", _about(shown, rig, form=form))


def _get_finding(pk: int) -> Finding:
    return get_object_or_404(
        Finding.objects.select_related("rig", "component__type__kind", "opened_by", "closed_by"),
        pk=pk,
    )


def _about(finding: Finding, rig: Rig | None, **more: Any) -> dict[str, Any]:
    """What a page of found work shows."""
    context = {
        "finding": finding,
        "photos": photos_of_found([finding]).get(finding.request_id, []),
        "back_url": _home(finding, rig),
        **more,
    }
    return of_rig(rig, **context) if rig is not None else context


def _rig_of(finding: Finding) -> Rig | None:
    """The rig in which the component of some found work sits now."""
    row = fitted_now(finding.component) if finding.component else None
    return row.position.rig if row else None


def _home(finding: Finding, rig: Rig | None) -> str:
    if rig is not None:
        return rig_url(rig)
    assert finding.component is not None  # it names a rig or a component, the database says
    return component_url(finding.component)
