"""The operator's round of a rig: today's to be walked, and those that were."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any, Final

from django.contrib import messages
from django.db.models import Count, Q
from django.http import Http404, HttpResponse
from django.shortcuts import redirect
from django.utils import timezone
from django.utils.dateparse import parse_date
from django.views.decorators.http import require_http_methods

from equipment.forms.rounds import RoundForm
from equipment.models import JobBooking, Rig, Round, RoundAnswer
from equipment.services import ReadingsRefused, RoundRefused, items_for_round
from equipment.services.expecting import expected_of
from equipment.services.rounds import record_walk, what_it_showed
from equipment.views.common import (
    PageRequest,
    draw,
    get_rig,
    is_sound,
    of_rig,
    rig_url,
    say_at,
    typed,
    zone,
)
from equipment.views.readings import asks, carrying, counters_of

DAYS_BACK: Final = 7
DAY: Final = timedelta(days=1)


@dataclass(frozen=True, slots=True)
class PastDay:
    """One of the last days: its round, or that there was none."""

    day: date
    round: Round | None
    was_booked: bool


@require_http_methods(["GET", "HEAD", "POST"])
def round_(request: PageRequest, number: int) -> HttpResponse:
    """Walk the round of today; once it is recorded, read it, or that of another day."""
    now = timezone.now()
    rig = get_rig(number)
    day = _day_asked(request)
    context = of_rig(rig, day=day, is_today=day == request.today)
    context["past"] = past_days(rig, request.today)
    recorded = _recorded(rig, day)
    if request.method != "POST" and (recorded or day != request.today):
        if recorded is None:
            raise Http404("No round was recorded on that day.")
        context["round"] = recorded
        if day == request.today:
            # A phone takes the page along, to walk the rounds of the days after without signal.
            context["form"] = _form(rig, None, now=now, day=day + DAY)
        return draw(request, "equipment/round_kept.html", context)
    form = _form(rig, typed(request), now=now, day=day)
    if is_sound(request, form) and not asks(form, at=now):
        try:
            made, kept = record_walk(
                rig=rig,
                day=form.cleaned_data["day"],
                answers=form.said(),
                readings=form.readings(),
                author=request.user,
                at=now,
                recorded_at=now,
                request_id=form.cleaned_data["request_id"],
                zone=zone(),
            )
        except RoundRefused as refused:
            form.add_error(None, str(refused))
        except ReadingsRefused as refused:
            form.refuse(refused.errors)
        else:
            to = rig_url(rig)
            say_at(to, request, messages.SUCCESS, what_it_showed(made, len(kept)))
            return redirect(to)
    form.expect(expected_of((face.counter for face in form.faces), at=now))
    context["yesterday"] = next(iter(context["past"]), None)
    return draw(request, "equipment/round.html", context | {"form": form})


def _form(rig: Rig, data: Any, *, now: datetime, day: date) -> RoundForm:
    return RoundForm(
        data,
        now=now,
        day=day,
        items=items_for_round(rig=rig, day=day),
        counters=counters_of(rig, carrying(rig)),
    )


def past_days(rig: Rig, today: date) -> list[PastDay]:
    """The last days before today, newest first, as far back as the rig is known. Two queries."""
    since = max(today - DAYS_BACK * DAY, timezone.localdate(rig.created_at))
    rounds = {
        row.day: row
        for row in Round.objects.filter(rig=rig, day__gte=since, day__lt=today)
        .select_related("author")
        .annotate(
            right=Count("answers", filter=Q(answers__answer=RoundAnswer.Answer.RIGHT)),
            wrong=Count("answers", filter=Q(answers__answer=RoundAnswer.Answer.WRONG)),
        )
    }
    bookings = list(JobBooking.objects.filter(rig=rig, first_day__lt=today, last_day__gte=since))
    return [
        PastDay(day, rounds.get(day), _booked(day, bookings))
        for day in (today - back * DAY for back in range(1, DAYS_BACK + 1))
        if day >= since
    ]


def _booked(day: date, bookings: Sequence[JobBooking]) -> bool:
    return any(each.first_day <= day <= each.last_day for each in bookings)


def _day_asked(request: PageRequest) -> date:
    """The day in the address or in what was sent; today where there is none."""
    given = request.POST.get("day") or request.GET.get("day")
    if not given:
        return request.today
    try:
        day = parse_date(given)
    except ValueError:
        day = None
    if day is None:
        if request.method == "POST":
            return request.today
        raise Http404("There is no such day.")
    return day


def _recorded(rig: Rig, day: date) -> Round | None:
    return (
        Round.objects.filter(rig=rig, day=day)
        .select_related("author")
        .prefetch_related("answers__item__kind")
        .first()
    )
