"""The sheets of a week, or those picked in the list, as one file behind a list of them."""

from datetime import date, timedelta
from typing import Final

from django.conf import settings
from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext, override
from django.views.decorators.http import require_safe

from shop import words
from shop.http import PageRequest, page_size_of, pdf_response
from shop.models import ServiceSheet
from shop.paper.stack import stack_pdf
from shop.services.sheet_stack import papers_of, sheets_of_week, sheets_picked, stack_of

#: More in one file would keep a browser waiting for a minute.
MOST: Final = 200


@require_safe
def sheets_pdf(request: PageRequest) -> HttpResponse:
    """A week's sheets with their list: this week's, or with ?from= those of seven days from then.

    With ?picked= only those named by ?sheet=. Letter, or A4 with ?paper=a4.
    """
    if "picked" in request.GET:
        numbers = [int(n) for n in request.GET.getlist("sheet") if n.isdecimal() and len(n) < 10]
        sheets = sheets_picked(numbers)
        title = gettext("Service sheets")
        name = gettext("sheets-{day}").format(day=request.today)
        nothing = "Pick sheets that are not void to print them."
    else:
        first_day = _first_day(request)
        sheets = sheets_of_week(first_day)
        title = gettext("Service sheets, {days}").format(days=_week(request, first_day))
        name = gettext("sheets-{day}").format(day=first_day)
        with override(settings.LANGUAGE_CODE):
            nothing = f"No sheet is planned for {_week(request, first_day)}."
    if not sheets:
        return _refused(request, nothing)
    if len(sheets) > MOST:
        count = len(sheets)
        too_many = f"{count} sheets are too many for one file: pick {MOST} at most in the list."
        return _refused(request, too_many)
    return _printed(request, sheets, title=title, name=name)


def _refused(request: PageRequest, why: str) -> HttpResponse:
    """Back to the page of sheets, which is in English, whoever reads it."""
    messages.error(request, why)
    return redirect("shop:sheets")


def _week(request: PageRequest, first_day: date) -> str:
    return words.between(first_day, first_day + timedelta(days=6), today=request.today)


def _printed(
    request: PageRequest, sheets: list[ServiceSheet], *, title: str, name: str
) -> HttpResponse:
    printed_at = timezone.now()
    papers = papers_of(
        sheets,
        today=request.today,
        system=request.user.units_in(request.shop),
        url_of=lambda number: request.build_absolute_uri(reverse("shop:work", args=[number])),
        printed_at=printed_at,
    )
    stack = stack_of(sheets, title=title, printed_at=printed_at, today=request.today)
    return pdf_response(stack_pdf(stack, papers, page_size=page_size_of(request)), name=name)


def _first_day(request: PageRequest) -> date:
    """The day asked for, or the Monday of this week; a page that says so for what is no day."""
    text = request.GET.get("from", "")
    if not text:
        return request.today - timedelta(days=request.today.weekday())
    try:
        day = date.fromisoformat(text)
        day + timedelta(days=6)
    except (ValueError, OverflowError):
        raise Http404("There is no such day.") from None
    return day
