"""The jobs of a rig: when it is away, and when it is next in the shop."""

from datetime import timedelta
from typing import Final

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST

from equipment.forms.rigs import BookingForm
from equipment.models import JobBooking
from equipment.services import BookingOverlaps, book_job, cancel_booking, next_stay
from equipment.views.common import PageRequest, draw, get_rig, is_sound, of_rig, typed

PAST: Final = timedelta(days=60)


@require_http_methods(["GET", "HEAD", "POST"])
def bookings(request: PageRequest, number: int) -> HttpResponse:
    """The jobs that come and those just over; a manager adds one."""
    rig = get_rig(number)
    form = BookingForm(typed(request), now=timezone.now())
    if is_sound(request, form):
        try:
            book_job(rig=rig, author=request.user, **form.cleaned_data)
        except BookingOverlaps as refused:
            form.add_error("first_day", str(refused))
        else:
            messages.success(request, f"“{form.cleaned_data['job']}” is booked.")
            return redirect("equipment:bookings", rig.number)
    rows = list(
        JobBooking.objects.filter(rig=rig, last_day__gte=request.today - PAST)
        .select_related("author")
        .order_by("first_day")
    )
    context = {
        "form": form,
        "coming": [row for row in rows if row.last_day >= request.today],
        "past": [row for row in reversed(rows) if row.last_day < request.today],
        "stay": next_stay(rig=rig, today=request.today),
    }
    return draw(request, "equipment/bookings.html", of_rig(rig, **context))


@require_POST
def cancel(request: PageRequest, pk: int) -> HttpResponse:
    """A job is off. Sent twice, the second finds nothing to do."""
    booking = JobBooking.objects.select_related("rig").filter(pk=pk).first()
    if booking is None:
        messages.success(request, "That job was taken off already.")
        return redirect("shop:rigs")
    cancel_booking(booking=booking)
    messages.success(request, f"“{booking.job}” is taken off.")
    return redirect("equipment:bookings", booking.rig.number)
