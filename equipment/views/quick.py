"""A gun changed in mid-job: one tap, now; what it sprayed is shared out later."""

from datetime import date
from typing import Any

from django.contrib import messages
from django.db.models import Max, Q
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from equipment import due as dates
from equipment.forms.exchanges import QuickForm
from equipment.models import Component, Due, Finding, Position, Rig
from equipment.services import FittingRefused, exchange_component
from equipment.views.common import (
    PageRequest,
    draw,
    fitted_in,
    get_rig,
    is_sound,
    of_rig,
    rig_url,
    typed,
    zone,
)
from equipment.views.exchange import fits, sent_before

STATE_WORDS = {dates.OVERDUE: "overdue", dates.DUE: "due"}


@require_http_methods(["GET", "HEAD", "POST"])
def quick_change(request: PageRequest, number: int, pk: int) -> HttpResponse:
    """Put another component from the shelf into a position, now, with one tap."""
    now = timezone.now()
    rig = get_rig(number)
    position = get_object_or_404(Position.objects.select_related("kind", "rig"), pk=pk, rig=rig)
    out = next((row for row in fitted_in(rig) if row.position_id == position.pk), None)
    choices = fits(position)
    form = QuickForm(typed(request), now=now, choices=choices)
    if request.method == "POST" and (act := sent_before(request)):
        messages.success(request, f"{act.component_in or 'Nothing'} is in its place already.")
        return redirect(rig_url(rig))
    if is_sound(request, form):
        try:
            made = exchange_component(
                position=position,
                component_in=form.cleaned_data["component"],
                at=now,
                recorded_at=now,
                author=request.user,
                zone=zone(),
                reason="changed in mid-job",
                request_id=form.cleaned_data["request_id"],
            )
        except FittingRefused as refused:
            form.add_error(None, str(refused))
        else:
            assert made is not None
            gone = f"{out.component} is out, " if out else ""
            messages.success(
                request,
                f"{gone}{made.component} is in: {position.label}. What was sprayed since the last "
                "reading is shared out between them at the next one, and marked as estimated.",
            )
            return redirect(rig_url(rig))
    context = {
        "form": form,
        "position": position,
        "out": out,
        "choices": _described(choices, rig, today=request.today),
    }
    return draw(request, "equipment/quick_change.html", of_rig(rig, **context))


def _described(choices: Any, rig: Rig, *, today: date) -> list[dict[str, Any]]:
    """What lies on the shelf, what last sat in this rig first, and what speaks against it."""
    here = Q(installations__position__rig=rig)
    rows: list[Component] = list(
        choices.annotate(was_here=Max("installations__removed_at", filter=here))
    )
    rows.sort(key=_came_out_last)
    held = {
        finding.component_id: finding
        for finding in Finding.objects.open().filter(component__in=rows).order_by("is_grave", "pk")
    }
    dues: dict[int, Due] = {}
    for due in Due.objects.filter(component__in=rows).select_related("version__service"):
        first = dues.setdefault(due.component_id, due)
        if due.urgency(today=today) < first.urgency(today=today):
            dues[due.component_id] = due
    return [
        {
            "component": row,
            "was_here": row.was_here,  # type: ignore[attr-defined]
            "finding": held.get(row.pk),
            "due": _due_words(dues.get(row.pk), today=today),
        }
        for row in rows
    ]


def _came_out_last(row: Any) -> tuple[bool, float, str]:
    was_here = row.was_here
    return was_here is None, -was_here.timestamp() if was_here else 0.0, row.tag


def _due_words(due: Due | None, *, today: date) -> str:
    word = STATE_WORDS.get(due.state(today=today, warning_days=0), "") if due else ""
    return f"{due.version.service} {word}" if due and word else ""
