"""The days of the year that work is done before, such as the first frost."""

from typing import Any, Final

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from equipment.asked import day_of_year
from equipment.forms.seasons import SeasonForm
from equipment.models import Season, Service
from equipment.services import library
from equipment.services.seasons import change_season, create_season
from equipment.views.common import PageRequest, put_beside, typed, zone

#: What a form on the page is about where it adds a day.
NEW: Final = "new"


@require_http_methods(["GET", "HEAD", "POST"])
def seasons(request: PageRequest) -> HttpResponse:
    """Read the days; set one or add one, each by a form of its own."""
    sent = typed(request)
    about = request.POST.get("season", "") if sent is not None else ""
    listed = [_row(request, season, about) for season in Season.objects.order_by("month", "day")]
    new = _form(request, NEW, about, None)
    if sent is not None:
        acted = _act(request, about, listed, new)
        if acted is not None:
            return acted
    context = {"rows": listed, "new": new}
    status = 422 if sent is not None else 200
    return render(request, "equipment/service_seasons.html", context, status=status)


def _act(
    request: PageRequest, about: str, listed: list[dict[str, Any]], new: SeasonForm
) -> HttpResponse | None:
    """Do what was sent; None where the page has to say what is wrong with it."""
    season = None
    form = new
    if about != NEW:
        found = [row for row in listed if str(row["season"].pk) == about]
        if not found:
            raise Http404("There is no such day any more.")
        season, form = found[0]["season"], found[0]["form"]
    if not form.is_valid():
        return None
    try:
        if season is None:
            done = create_season(**form.cleaned_data)
        else:
            done = change_season(season=season, zone=zone(), **form.cleaned_data)
    except ValidationError as refused:
        put_beside(form, refused)
        return None
    messages.success(
        request, f"{done.name.capitalize()} is {day_of_year(done.month, done.day)} here."
    )
    return redirect("equipment:seasons")


def _row(request: PageRequest, season: Season, about: str) -> dict[str, Any]:
    """One day with its form, who waits for it, and whether it is still as it was loaded."""
    waiting = Service.objects.filter(
        is_retired=False, versions__is_current=True, versions__triggers__season=season
    )
    return {
        "season": season,
        "when": day_of_year(season.month, season.day),
        "form": _form(request, str(season.pk), about, season),
        "waiting": list(waiting.select_related("kind").order_by("kind__flow_order", "name")),
        "is_default": library.seasons().get(season.name) == (season.month, season.day),
    }


def _form(request: PageRequest, name: str, about: str, season: Season | None) -> SeasonForm:
    initial = (
        {} if season is None else {"name": season.name, "month": season.month, "day": season.day}
    )
    return SeasonForm(
        request.POST if name == about else None,
        now=timezone.now(),
        initial=initial,
        auto_id=f"id_{name}_%s",
    )
