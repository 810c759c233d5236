"""Keying in a round sheet: several days of one rig on one dense page."""

from collections.abc import Sequence
from datetime import date, datetime, time, timedelta
from decimal import Decimal

from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from equipment.counters import plain
from equipment.forms.paper import DAYS, PaperForm
from equipment.models import Counter, Reading
from equipment.services import HistoryRefused
from equipment.services.paper import DipsRefused, record_paper
from equipment.views.common import PageRequest, draw, get_rig, is_sound, of_rig, typed, zone
from equipment.views.readings import carrying, counters_of

WEEK = timedelta(days=DAYS)


@require_http_methods(["GET", "HEAD", "POST"])
def paper_week(request: PageRequest, number: int) -> HttpResponse:
    """A grid of faces and drums by the days of a week; another week with ?from=."""
    now = timezone.now()
    rig = get_rig(number)
    first_day = _first_day(request)
    counters = counters_of(rig, carrying(rig))
    form = PaperForm(
        typed(request),
        now=now,
        first_day=first_day,
        counters=counters,
        known=_known([counter for counter, _ in counters], first_day),
    )
    if is_sound(request, form):
        try:
            rows, levels = record_paper(
                rig=rig,
                readings=form.readings(),
                dips=form.dips(),
                recorded_at=now,
                author=request.user,
                zone=zone(),
                drum_error=Decimal(request.shop.drum_error_gallons),
            )
        except HistoryRefused as refused:
            form.refuse(refused.errors)
        except DipsRefused as refused:
            form.refuse_dips(refused.errors)
        else:
            messages.success(request, _said(len(rows), len(levels)))
            return redirect(reverse("equipment:readings", args=[rig.number]))
    here = reverse("equipment:paper_week", args=[rig.number])
    context = of_rig(
        rig,
        form=form,
        grid=form.grid(),
        days=[(day, day > request.today) for day in form.days],
        before_url=f"{here}?from={first_day - WEEK}",
        after_url=f"{here}?from={first_day + WEEK}" if first_day + WEEK <= request.today else "",
        here_url=f"{here}?from={first_day}",
        first_day=first_day,
    )
    return draw(request, "equipment/paper_week.html", context)


def _first_day(request: PageRequest) -> date:
    """The first day asked for, or the Monday of this week."""
    text = request.GET.get("from", "")
    if not text:
        return request.today - timedelta(days=request.today.weekday())
    try:
        day = date.fromisoformat(text)
    except ValueError:
        raise Http404("There is no such day.") from None
    # Before that no rig of ours was read, and the calendar of the computer ends.
    if not date(1990, 1, 1) <= day <= request.today + WEEK:
        raise Http404("No round sheet can be of that week.")
    return day


def _known(counters: Sequence[Counter], first_day: date) -> dict[tuple[int, date], str]:
    """What was read in that week already, in words, by counter and day. One query."""
    since = datetime.combine(first_day, time(), zone())
    rows = (
        Reading.objects.in_force()
        .filter(counter__in=counters, at__gte=since, at__lt=since + WEEK)
        .order_by("at", "pk")
    )
    found: dict[tuple[int, date], list[str]] = {}
    for row in rows:
        local = timezone.localtime(row.at)
        clock = "" if row.is_day_only else f"{local:%H:%M} "
        found.setdefault((row.counter_id, local.date()), []).append(f"{clock}{plain(row.value)}")
    return {key: ", ".join(texts) for key, texts in found.items()}


def _said(readings: int, levels: int) -> str:
    parts = []
    if readings or not levels:
        parts.append(f"{readings} reading{'s' if readings != 1 else ''}")
    if levels:
        parts.append(f"{levels} drum level{'s' if levels != 1 else ''}")
    return f"{' and '.join(parts)} kept from the round sheet."
