"""What phones send of a sheet or a round: read, posted, answered with how it then stands."""

import json
from typing import Any

from django.contrib import messages
from django.http import Http404, HttpResponse, JsonResponse
from django.utils import timezone
from django.utils.translation import gettext_lazy
from django.views.decorators.csrf import csrf_exempt
from django.views.decorators.http import require_POST

from equipment.models import Rig
from equipment.views.common import rig_url, say_at
from shop.access import may
from shop.http import PageRequest
from shop.models import ServiceSheet
from shop.services.arriving import (
    TAKEN,
    Arrived,
    Batch,
    Unreadable,
    arrive,
    read_batch,
    snapshot,
)

#: As much as a batch of entries may weigh. [bytes]
MOST_BYTES = 2_000_000


@csrf_exempt
@require_POST
def entries(request: PageRequest, number: int) -> HttpResponse:
    """Take a batch of entries. Open to everybody: each entry proves its author by its pen.

    How the sheet stands is told to whom its page is open: who is signed in, or shows a pen that
    still holds; and to nobody else.
    """
    return _take(request, ServiceSheet.objects.filter(number=number).first())


@csrf_exempt
@require_POST
def rig_entries(request: PageRequest, number: int) -> HttpResponse:
    """Take rounds of a rig and what was found on it, as `entries` takes what is of a sheet."""
    return _take(request, Rig.objects.filter(number=number).first())


def _take(request: PageRequest, of: ServiceSheet | Rig | None) -> HttpResponse:
    try:
        batch = read_batch(_json(request))
    except Unreadable as wrong:
        return JsonResponse({"error": str(wrong), "field": wrong.field}, status=400)
    now = timezone.now()
    if of is None:
        raise Http404
    arrived = arrive(of=of, batch=batch, recorded_at=now, zone=request.shop.zone)
    is_known = arrived.is_known or may(request.user, "shop:sheet", "GET")
    said: dict[str, Any] = {
        "now": now.isoformat(),
        "outcomes": {
            name: {"state": each.state, "words": each.words, "field": each.field}
            for name, each in arrived.outcomes.items()
        },
        "sheet": snapshot(sheet_again(of), zone=request.shop.zone)
        if is_known and isinstance(of, ServiceSheet)
        else None,
    }
    if isinstance(of, Rig):
        _say_next(request, of, batch, arrived)
    are_forged = not is_known and all(each.field == "pen" for each in arrived.outcomes.values())
    return JsonResponse(said, status=403 if are_forged else 200)


def _say_next(request: PageRequest, rig: Rig, batch: Batch, arrived: Arrived) -> None:
    """On the page of the rig, which comes next, to who has just walked a round and looks: what it
    showed. Of found work nothing is said there: its reporter stays on the round."""
    live = {str(sent.fields["event_id"]) for sent in batch.entries if sent.is_live}
    for name, outcome in arrived.outcomes.items():
        is_told = name in live and outcome.state == TAKEN and outcome.words
        if is_told and request.user.is_authenticated:
            say_at(rig_url(rig), request, messages.SUCCESS, outcome.words)


def sheet_again(sheet: ServiceSheet) -> ServiceSheet:
    """The sheet as it is now that its entries are posted."""
    return ServiceSheet.objects.select_related("rig", "component").get(pk=sheet.pk)


def _json(request: PageRequest) -> Any:
    if len(request.body) > MOST_BYTES:
        raise Unreadable("batch", gettext_lazy("That is more than one batch may hold."))
    try:
        return json.loads(request.body)
    except (ValueError, RecursionError) as wrong:
        raise Unreadable("batch") from wrong
