"""What phones send to a sheet: read, posted, answered with how the sheet then stands."""

import json
from typing import Any

from django.http import Http404, HttpResponse, JsonResponse
from django.utils import timezone
from django.views.decorators.csrf import csrf_exempt
from django.views.decorators.http import require_POST

from shop.access import may
from shop.http import PageRequest
from shop.models import ServiceSheet
from shop.services.arriving import Unreadable, arrive, read_batch, snapshot

#: As much as a batch of entries may weigh. [bytes]
MOST_BYTES = 2_000_000


@csrf_exempt
@require_POST
def entries(request: PageRequest, number: int) -> HttpResponse:
    """Take a batch of entries. Open to everybody: each entry proves its author by its pen.

    How the sheet stands is told to whom its page is open: who is signed in, or shows a pen that
    still holds; and to nobody else.
    """
    try:
        batch = read_batch(_json(request))
    except Unreadable as wrong:
        return JsonResponse({"error": str(wrong), "field": wrong.field}, status=400)
    now = timezone.now()
    sheet = ServiceSheet.objects.filter(number=number).first()
    if sheet is None:
        raise Http404
    arrived = arrive(sheet=sheet, batch=batch, recorded_at=now, zone=request.shop.zone)
    is_known = arrived.is_known or may(request.user, "shop:sheet", "GET")
    said: dict[str, Any] = {
        "now": now.isoformat(),
        "outcomes": {
            name: {"state": each.state, "words": each.words, "field": each.field}
            for name, each in arrived.outcomes.items()
        },
        "sheet": snapshot(sheet_again(sheet), zone=request.shop.zone) if is_known else None,
    }
    are_forged = not is_known and all(each.field == "pen" for each in arrived.outcomes.values())
    return JsonResponse(said, status=403 if are_forged else 200)


def sheet_again(sheet: ServiceSheet) -> ServiceSheet:
    """The sheet as it is now that its entries are posted."""
    return ServiceSheet.objects.select_related("rig", "component").get(pk=sheet.pk)


def _json(request: PageRequest) -> Any:
    if len(request.body) > MOST_BYTES:
        raise Unreadable("batch", "That is more than one batch may hold.")
    try:
        return json.loads(request.body)
    except (ValueError, RecursionError) as wrong:
        raise Unreadable("batch") from wrong
