"""The jobs of all rigs: who is away when, on one rule, and a job booked for any of them."""

from collections.abc import Sequence
from datetime import date, timedelta
from typing import Final

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from equipment.forms.rigs import JobForm
from equipment.models import JobBooking, Rig
from equipment.services import BookingOverlaps, book_job, how_hard
from shop import daybook, readiness, whereabouts
from shop.drawing.days import DAYS
from shop.http import PageRequest

TWO_WEEKS: Final = timedelta(days=DAYS)
#: Rigs drawn at once; the others stand on the pages that follow.
RIGS: Final = 40
#: How far the rule may be turned either way. [d]
FARTHEST: Final = timedelta(days=3 * 366)


@require_http_methods(["GET", "HEAD", "POST"])
def jobs(request: PageRequest) -> HttpResponse:
    """Fourteen days of jobs, those that come in words, and a form that books one."""
    today = request.today
    start = _start(request.GET.get("from", ""), today)
    form = JobForm(request.POST if request.method == "POST" else None, now=timezone.now())
    if request.method == "POST" and form.is_valid():
        data = form.cleaned_data
        try:
            booked = book_job(author=request.user, today=today, zone=request.shop.zone, **data)
        except BookingOverlaps as refused:
            form.add_error("first_day", str(refused))
        else:
            messages.success(request, f"“{booked.job}” is booked for rig {booked.rig}.")
            return redirect(_address(daybook.first_day(booked.first_day)))
    page = _page(request.GET.get("page", ""))
    rigs = list(Rig.objects.working().order_by("number")[page * RIGS : (page + 1) * RIGS + 1])
    has_more, rigs = len(rigs) > RIGS, rigs[:RIGS]
    found = whereabouts.bookings_of(rigs, since=min(start, today))
    lanes = daybook.lanes(rigs, found, (), {}, today=today, start=start)
    places = whereabouts.of_rigs(rigs, found, today=today)
    ready = readiness.of_rigs(rigs, today=today, shop=request.shop)
    until = start + TWO_WEEKS
    context = {
        "form": form,
        "start": start,
        "last": until - whereabouts.ONE_DAY,
        "lanes": [
            (
                rig,
                lanes[rig.pk],
                _rows(found.get(rig.pk, ()), start),
                ready[rig.pk],
                _next_job(places[rig.pk]),
            )
            for rig in rigs
        ],
        "drawn": [lanes[rig.pk] for rig in rigs],
        "earlier_url": _address(start - TWO_WEEKS, page),
        "later_url": _address(until, page),
        "today_url": "" if start <= today < until else _address(daybook.first_day(today), page),
        "more_url": _address(start, page + 1) if has_more else "",
        "before_url": _address(start, page - 1) if page else "",
    }
    status = 422 if request.method == "POST" else 200
    return render(request, "shop/jobs.html", context, status=status)


def _next_job(place: whereabouts.Whereabouts) -> JobBooking | None:
    """The job that a rig is ready for or not: that of today, or the first to come."""
    return place.away or place.leaves_for


def _rows(bookings: Sequence[JobBooking], start: date) -> list[tuple[JobBooking, str]]:
    """The jobs of a rig from the first day drawn on, with how hard they are."""
    return [(each, how_hard(each.intensity)) for each in bookings if each.last_day >= start]


def _start(typed: str, today: date) -> date:
    """The Monday that was asked for; this week's where nothing sensible was."""
    try:
        asked = date.fromisoformat(typed)
    except ValueError:
        return daybook.first_day(today)
    return daybook.first_day(asked if abs(asked - today) <= FARTHEST else today)


def _page(typed: str) -> int:
    return min(int(typed), 1000) if typed.isascii() and typed.isdigit() else 0


def _address(start: date, page: int = 0) -> str:
    more = f"&page={page}" if page else ""
    return f"{reverse('shop:jobs')}?from={start.isoformat()}{more}"
