"""A reading that was wrong, and what it should have said: both stay to be read."""

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from equipment.counters import ReadingRefused
from equipment.forms.readings import CorrectForm
from equipment.services import correct_reading
from equipment.views.common import PageRequest, is_sound, typed, zone
from equipment.views.readings import draw_reading, home_of, reading_of


@require_http_methods(["GET", "HEAD", "POST"])
def correct(request: PageRequest, pk: int) -> HttpResponse:
    """Take a reading back and put a right one in its place."""
    now = timezone.now()
    reading = reading_of(pk)
    form = CorrectForm(typed(request), now=now, reading=reading)
    if is_sound(request, form):
        try:
            kept = correct_reading(
                reading=reading,
                new=form.reading(),
                at=form.at,
                is_day_only=form.is_day_only,
                author=request.user,
                recorded_at=now,
                reason=form.cleaned_data["reason"],
                request_id=form.cleaned_data["request_id"],
                zone=zone(),
            )
        except ReadingRefused as refused:
            form.refuse(refused)
        else:
            exact = (
                "" if not reading.is_at_least or kept.is_at_least else " This life is exact now."
            )
            messages.success(
                request,
                f"{reading.counter.name} is corrected, and what hangs on it follows.{exact} "
                "Both stay in the list.",
            )
            return redirect(home_of(reading.counter)[0])
    return draw_reading(request, "equipment/correct_reading.html", reading, form)
