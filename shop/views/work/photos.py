"""Photos of found work that a phone sends when it can, and notes for the next one."""

import logging
from typing import Final
from uuid import uuid4

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext, gettext_lazy
from django.views.decorators.csrf import csrf_exempt
from django.views.decorators.http import require_POST

from equipment.forms.photos import MOST_MEGABYTES
from equipment.models import Rig
from equipment.services.photos import TooManyPhotos
from equipment.views.photos import NOT_STORED
from shop.forms.photos import SheetPhotoForm
from shop.http import PageRequest
from shop.models import ServiceSheet, SheetLine
from shop.services.arriving import NotOurs, read_pen
from shop.services.knowledge import leave_note
from shop.services.late_photos import NotYet, take_photo
from shop.services.refusals import SheetRefused
from shop.views.work.frame import lead, typed_text, typed_uuid

logger = logging.getLogger(__name__)

#: What stands around the photo in a sending. [bytes]
BESIDES: Final = 64 * 1024


@csrf_exempt
@require_POST
def sheet_photo(request: PageRequest, number: int) -> HttpResponse:
    """Take a photo of found work. Open to everybody: it proves its author by its pen."""
    return _take(request, get_object_or_404(ServiceSheet, number=number))


@csrf_exempt
@require_POST
def rig_photo(request: PageRequest, number: int) -> HttpResponse:
    """Take a photo of what was found on a rig, as `sheet_photo` does of a sheet."""
    return _take(request, get_object_or_404(Rig, number=number))


def _take(request: PageRequest, of: ServiceSheet | Rig) -> HttpResponse:
    """Take a photo of what was found on a sheet or a rig.

    Answers in words, as plain text: with 2xx it is kept; 4xx: sent again it would be refused
    again; 503: to be sent again later, behind the entry that reports the found work.
    """
    if int(request.META.get("CONTENT_LENGTH") or 0) > MOST_MEGABYTES * 1024 * 1024 + BESIDES:
        return _said(
            gettext("The photo is larger than {most} MB.").format(most=MOST_MEGABYTES), 413
        )
    now = timezone.now()
    try:
        pen = read_pen(request.POST.get("pen", "")[:500], at=now)
    except NotOurs:
        return _said(gettext("This phone does not say who took the photo."), 403)
    form = SheetPhotoForm(request.POST, request.FILES)
    if not form.is_valid() or form.picture is None:
        return _said(form.first_error, 422)
    try:
        take_photo(
            of=of,
            pen=pen,
            event_id=form.cleaned_data["event_id"],
            picture=form.picture,
            photo_id=form.cleaned_data["photo_id"],
            at=now,
        )
    except NotYet as early:
        return _said(str(early), 503)
    except (SheetRefused, TooManyPhotos) as refused:
        return _said(str(refused), 422)
    except OSError:
        logger.exception("A photo of found work could not be stored.")
        return _said(str(NOT_STORED), 503)
    return _said(gettext("The photo is kept."), 200)


def _said(words: str, status: int) -> HttpResponse:
    return HttpResponse(words, content_type="text/plain; charset=utf-8", status=status)


@require_POST
def line_note(request: PageRequest, number: int, order: int) -> HttpResponse:
    """Leave a note for whoever does this next."""
    now = timezone.now()
    line = get_object_or_404(SheetLine, sheet__number=number, order=order)
    back = request.POST.get("back", "")
    if not back.startswith("/sheets/"):
        back = f"{reverse('shop:work', args=[number])}#line-{order}"
    try:
        left = leave_note(
            line=line,
            text=typed_text(request, "text"),
            event_id=typed_uuid(request.POST.get("event_id") or str(uuid4())),
            author=request.user,
            at=now,
            recorded_at=now,
        )
    except SheetRefused as refused:
        return lead(request, back, messages.ERROR, refused)
    kept = gettext_lazy("The note for the next one is kept.")
    return lead(
        request,
        back,
        messages.SUCCESS,
        kept if left.text else gettext_lazy("The note is taken back."),
    )
