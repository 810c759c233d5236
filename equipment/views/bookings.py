"""The jobs of a rig: when it is away, what they will ask of it, and when it is next in the shop."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Final

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST

from equipment.counters import roughly
from equipment.forms.rigs import BookingForm, ChangeBookingForm
from equipment.models import Counter, JobBooking
from equipment.services import (
    BookingGone,
    BookingOverlaps,
    book_job,
    cancel_booking,
    change_booking,
    how_hard,
    next_stay,
)
from equipment.services.fallen import fallen_on_rig
from equipment.services.usage import Use, asked_ahead, usage_of
from equipment.views.common import PageRequest, draw, get_rig, is_sound, of_rig, typed, zone

PAST: Final = timedelta(days=60)
ONE_DAY: Final = timedelta(days=1)


@dataclass(frozen=True, slots=True)
class Asked:
    """What some days will ask of a counter, as it is said. low, high: 10 and 90 %."""

    counter: Counter
    mean: str
    low: str
    high: str


@dataclass(frozen=True, slots=True)
class ComingJob:
    """A job ahead or under way, and what is left of it will ask."""

    booking: JobBooking
    how_hard: str
    asks: list[Asked]


@dataclass(frozen=True, slots=True)
class UseRow:
    """A counter in the table of use. low, high: 10 and 90 % of one job day."""

    use: Use
    mean: str
    low: str
    high: str
    free_percent: int
    drift: str
    own_days: int


@require_http_methods(["GET", "HEAD", "POST"])
def bookings(request: PageRequest, number: int) -> HttpResponse:
    """The jobs that come and those just over; a manager adds one."""
    rig = get_rig(number)
    today = request.today
    form = BookingForm(typed(request), now=timezone.now())
    if is_sound(request, form):
        try:
            book_job(rig=rig, author=request.user, today=today, zone=zone(), **form.cleaned_data)
        except BookingOverlaps as refused:
            form.add_error("first_day", str(refused))
        else:
            messages.success(request, f"“{form.cleaned_data['job']}” is booked.")
            return redirect("equipment:bookings", rig.number)
    rows = list(
        JobBooking.objects.filter(rig=rig, last_day__gte=today - PAST)
        .select_related("author")
        .order_by("first_day")
    )
    coming = [row for row in rows if row.last_day >= today]
    uses = usage_of(rig=rig)
    stay = next_stay(rig=rig, today=today)
    context = {
        "form": form,
        "coming": _coming(coming, uses, today),
        "past": [row for row in reversed(rows) if row.last_day < today],
        "stay": stay,
        "uses": _use_rows(uses),
        "unknown": [each.counter for each in uses if each.rate is None],
        "asks": _asks(uses, coming, today, stay) if stay else [],
        "fallen": fallen_on_rig(rig, today=today),
    }
    return draw(request, "equipment/bookings.html", of_rig(rig, **context))


@require_http_methods(["GET", "HEAD", "POST"])
def change(request: PageRequest, pk: int) -> HttpResponse:
    """Put a job right: its days, its name, how hard it works the rig."""
    booking = JobBooking.objects.select_related("rig").filter(pk=pk).first()
    if booking is None:
        messages.success(request, "That job was taken off.")
        return redirect("shop:jobs")
    rig = booking.rig
    form = ChangeBookingForm(typed(request), now=timezone.now(), booking=booking)
    if is_sound(request, form):
        try:
            change_booking(
                booking=booking,
                author=request.user,
                today=request.today,
                zone=zone(),
                **form.cleaned_data,
            )
        except BookingOverlaps as refused:
            form.add_error("first_day", str(refused))
        except BookingGone as gone:
            form.add_error(None, str(gone))
        else:
            messages.success(request, f"“{form.cleaned_data['job']}” is changed.")
            return redirect("equipment:bookings", rig.number)
    return draw(
        request,
        "equipment/form.html",
        of_rig(
            rig,
            form=form,
            title="Change a job",
            line=booking.job,
            submit="Change it",
            back_url=_jobs_url(rig.number),
            back_label="its jobs",
        ),
    )


@require_POST
def cancel(request: PageRequest, pk: int) -> HttpResponse:
    """A job is off. Sent twice, the second finds nothing to do."""
    booking = JobBooking.objects.select_related("rig").filter(pk=pk).first()
    if booking is None:
        messages.success(request, "That job was taken off already.")
        return redirect("shop:jobs")
    cancel_booking(booking=booking, today=request.today, zone=zone())
    messages.success(request, f"“{booking.job}” is taken off.")
    return redirect("equipment:bookings", booking.rig.number)


def _jobs_url(number: int) -> str:
    return reverse("equipment:bookings", args=[number])


def _coming(bookings: Sequence[JobBooking], uses: Sequence[Use], today: date) -> list[ComingJob]:
    return [
        ComingJob(
            booking=row,
            how_hard=how_hard(row.intensity),
            asks=_asks(uses, [row], max(row.first_day, today), row.last_day + ONE_DAY),
        )
        for row in bookings
    ]


def _asks(uses: Sequence[Use], jobs: Sequence[JobBooking], start: date, until: date) -> list[Asked]:
    found = (asked_ahead(use=use, jobs=jobs, start=start, until=until) for use in uses)
    return [
        Asked(each.use.counter, roughly(each.mean), roughly(each.low), roughly(each.high))
        for each in found
        if each is not None
    ]


def _use_rows(uses: Sequence[Use]) -> list[UseRow]:
    return [
        UseRow(
            use=each,
            mean=roughly(each.rate.mean),
            low=roughly(each.rate.day_quantile(0.1)),
            high=roughly(each.rate.day_quantile(0.9)),
            free_percent=round(100 * each.share),
            drift=roughly(each.drift.drift_per_day) if each.drift else "",
            own_days=round(each.rate.own_days),
        )
        for each in uses
        if each.rate is not None
    ]
