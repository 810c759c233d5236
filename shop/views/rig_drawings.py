"""The drawing of a rig to print and hang up beside it."""

from django.db.models import F, Max
from django.http import HttpResponse
from django.shortcuts import get_object_or_404
from django.utils import timezone
from django.views.decorators.http import require_safe

from equipment.models import Rig
from shop import words
from shop.http import PageRequest, page_size_of, pdf_response
from shop.paper.rig_drawing import rig_drawing_pdf
from shop.services.rig_paper import rig_drawing


@require_safe
def drawing(request: PageRequest, number: int) -> HttpResponse:
    """One rig on one page: Letter or A4 as the shop's units go, or with ?paper=."""
    rig = get_object_or_404(Rig, number=number)
    local = timezone.localtime()
    page = rig_drawing(
        rig,
        today=request.today,
        shop=request.shop,
        printed=f"Printed {local.day} {local:%b %Y %H:%M}",
        read=_read(request, rig),
    )
    return pdf_response(
        rig_drawing_pdf(page, page_size=page_size_of(request)),
        name=f"rig-{number:02d}-{request.today}",
    )


def _read(request: PageRequest, rig: Rig) -> str:
    """When a counter of the rig was last read; what travels with a component does not count."""
    read = rig.counters.filter(is_retired=False, last_at__gt=F("started_at"))
    seen = read.aggregate(last=Max("last_at"))["last"]
    if seen is None:
        return "not read yet"
    return words.moment(seen, zone=request.shop.zone, today=request.today)
