"""A reading that was wrong, and what it should have said: both stay to be read."""

from typing import Any

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from equipment.counters import ReadingRefused
from equipment.forms.readings import CorrectForm
from equipment.models import Reading
from equipment.services import correct_reading
from equipment.views.common import PageRequest, draw, is_sound, of_rig, typed, zone
from equipment.views.readings import home_of


@require_http_methods(["GET", "HEAD", "POST"])
def correct(request: PageRequest, pk: int) -> HttpResponse:
    """Take a reading back and put a right one in its place."""
    now = timezone.now()
    reading = get_object_or_404(
        Reading.objects.select_related(
            "counter__rig", "counter__component__type__kind", "author", "reversal__author"
        ),
        pk=pk,
        reverses__isnull=True,
    )
    counter = reading.counter
    back_url, back_label = home_of(counter)
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
                f"{counter.name} is corrected, and what hangs on it follows.{exact} "
                "Both stay in the list.",
            )
            return redirect(back_url)
    context: dict[str, Any] = {
        "reading": reading,
        "taken_back": getattr(reading, "reversal", None),
        "form": form,
        "back_url": back_url,
        "back_label": back_label,
    }
    if counter.rig:
        context = of_rig(counter.rig, **context)
    return draw(request, "equipment/correct_reading.html", context)
