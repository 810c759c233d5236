"""The round sheet for a shop without phones, of one rig or of all that work."""

from collections.abc import Iterable
from datetime import date, timedelta

from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404
from django.utils import timezone
from django.views.decorators.http import require_safe

from equipment.models import Rig
from shop.http import PageRequest, page_size_of, pdf_response
from shop.paper.round_sheet import round_sheets_pdf
from shop.services.round_paper import round_papers


@require_safe
def round_sheet(request: PageRequest, number: int) -> HttpResponse:
    """One rig's round for a week: Letter, or A4 with ?paper=a4; another week with ?from=."""
    rig = get_object_or_404(Rig, number=number)
    return _printed(request, [rig], name=f"round-rig-{rig.number:02d}")


@require_safe
def round_sheets(request: PageRequest) -> HttpResponse:
    """The rounds of all rigs that are not laid up, in one file."""
    rigs = list(Rig.objects.working().order_by("number"))
    if not rigs:
        raise Http404("No rig is at work.")
    return _printed(request, rigs, name="rounds")


def _printed(request: PageRequest, rigs: Iterable[Rig], *, name: str) -> HttpResponse:
    first_day = _first_day(request)
    local = timezone.localtime()
    papers = round_papers(
        rigs,
        first_day=first_day,
        today=request.today,
        shop=request.shop,
        printed=f"Printed {local.day} {local:%b %Y %H:%M}",
    )
    return pdf_response(
        round_sheets_pdf(papers, page_size=page_size_of(request)),
        name=f"{name}-{first_day}",
    )


def _first_day(request: PageRequest) -> date:
    """The day asked for, or the Monday of this week; a page that says so for what is no day."""
    text = request.GET.get("from", "")
    if not text:
        return request.today - timedelta(days=request.today.weekday())
    try:
        day = date.fromisoformat(text)
    except ValueError:
        raise Http404("There is no such day.") from None
    # Further off, nothing is known of the counters and the calendar ends.
    if abs(day - request.today) > timedelta(days=366):
        raise Http404("Round sheets are printed for a year ahead and back.")
    return day
