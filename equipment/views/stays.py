"""What sat in a position: its history, a stay entered late, an exchange undone."""

from datetime import datetime
from typing import Any

from django.contrib import messages
from django.db.models import QuerySet
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from equipment.forms.exchanges import StayForm, UndoExchangeForm
from equipment.models import Component, Exchange, Installation, Position
from equipment.services import FittingRefused, SatThere, add_stay, undo_exchange
from equipment.views.common import (
    PageRequest,
    draw,
    get_rig,
    is_sound,
    of_rig,
    typed,
    zone,
)


@require_http_methods(["GET", "HEAD", "POST"])
def stays(request: PageRequest, number: int, pk: int) -> HttpResponse:
    """What sat in a position and for how long, and one more that nobody had said."""
    now = timezone.now()
    rig = get_rig(number)
    position = get_object_or_404(Position.objects.select_related("kind", "rig"), pk=pk, rig=rig)
    form = StayForm(typed(request), now=now, choices=_may_have_sat(position))
    if is_sound(request, form):
        data = form.cleaned_data
        try:
            made = add_stay(
                position=position,
                component=data["component"],
                at=form.at,
                until=form.until,
                was_out=data["was_out"],
                author=request.user,
                recorded_at=now,
                reason=data["reason"],
                request_id=data["request_id"],
                zone=zone(),
            )
        except SatThere as question:
            form.ask(question)
        except FittingRefused as refused:
            form.add_error(None, str(refused))
        else:
            messages.success(
                request,
                f"{made.component} has its share of that time. Lives and due dates follow.",
            )
            return redirect("equipment:stays", rig.number, position.pk)
    context = {"position": position, "rows": _rows(position), "form": form}
    return draw(request, "equipment/stays.html", of_rig(rig, **context))


@require_http_methods(["GET", "HEAD", "POST"])
def undo(request: PageRequest, pk: int) -> HttpResponse:
    """Undo an exchange by a row that names it, after saying what that does."""
    now = timezone.now()
    act = get_object_or_404(
        Exchange.objects.select_related(
            "position__rig", "position__kind", "component_in", "component_out", "author"
        ),
        pk=pk,
        undoes__isnull=True,
    )
    rig = act.position.rig
    back = reverse("equipment:stays", args=[rig.number, act.position_id])
    form = UndoExchangeForm(typed(request), now=now)
    if is_sound(request, form):
        try:
            undo_exchange(
                exchange=act,
                author=request.user,
                at=now,
                reason=form.cleaned_data["reason"],
                request_id=form.cleaned_data["request_id"],
                zone=zone(),
            )
        except FittingRefused as refused:
            form.add_error(None, str(refused))
        else:
            messages.success(request, f"Undone: {_after(act)} Lives and due dates follow.")
            return redirect(back)
    context = {
        "title": "Undo an exchange",
        "line": f"{act.position.heading} of rig {rig}",
        "intro": f"{_what(act)}, entered by {act.author}. Undone, {_after(act)} What each has "
        "lived through is worked out anew. Readings stay. The history keeps both, with your "
        "reason; if another was meant, exchange it afterwards, dated back.",
        "form": form,
        "submit": "Undo it",
        "back_url": back,
        "back_label": "what sat here",
    }
    return draw(request, "equipment/form.html", of_rig(rig, **context))


def _may_have_sat(position: Position) -> QuerySet[Component]:
    """Everything of the kind that never carried the other side's material."""
    found = Component.objects.filter(type__kind=position.kind)
    if position.side:
        found = found.filter(side__in=["", position.side])
    return found.select_related("type").order_by("is_retired", "tag")


def _rows(position: Position) -> list[dict[str, Any]]:
    """What sat here and what was undone, newest first."""
    there = Installation.objects.filter(position=position).select_related(
        "component__type", "author", "removed_by", "began_with", "ended_with"
    )
    undone = Exchange.objects.filter(position=position, undone_by__isnull=False).select_related(
        "component_in", "component_out", "author", "undone_by__author"
    )
    rows = [{"at": row.installed_at, "stay": row, "act": _undoable(row)} for row in there] + [
        {"at": act.at, "undone": act, "what": _what(act)} for act in undone
    ]

    def newest(row: dict[str, Any]) -> datetime:
        at: datetime = row["at"]
        return at

    return sorted(rows, key=newest, reverse=True)


def _undoable(row: Installation) -> Exchange | None:
    """What can be undone at a stay: that it ended with nothing in its place, or that it began."""
    act = row.ended_with
    if act is not None and act.component_in_id is None:
        return act
    began = row.began_with
    return began if began is not None and began.component_in_id == row.component_id else None


def _what(act: Exchange) -> str:
    """ "G-01 out, G-04 in, 4 Nov 2026, 10:20"."""
    parts = [f"{act.component_out} out"] if act.component_out else []
    parts += [f"{act.component_in} in"] if act.component_in else []
    until = f" until {_when(act.until)}" if act.until else ""
    return f"{', '.join(parts)}, {_when(act.at)}{until}"


def _after(act: Exchange) -> str:
    """What is so once it is undone, as sentences."""
    said = [f"{act.component_in} never sat there."] if act.component_in else []
    said += [f"{act.component_out} never came out."] if act.component_out else []
    return " ".join(said)


def _when(at: datetime) -> str:
    local = timezone.localtime(at)
    return f"{local.day} {local:%b %Y, %H:%M}"
