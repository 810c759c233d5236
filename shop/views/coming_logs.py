"""Logs that were sent in: each is shown as it was understood, asked about, and then read."""

from typing import Any
from uuid import UUID

from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from equipment.services import shiftlogs
from equipment.services.shiftlogs import LayoutRefused
from equipment.shiftlogs.blocks import Day
from equipment.shiftlogs.guessing.doubts import SAY_COLUMNS
from equipment.shiftlogs.layout import Column
from shop import logview
from shop.drawing.shift import ShiftPicture
from shop.forms.logs import AnswersForm, LayoutNameForm, said_columns, value_of
from shop.http import PageRequest
from shop.logwords import COLUMN_CHOICES
from shop.models import ComingLog, Person, Shop
from shop.services import coming_logs
from shop.services.coming_logs import Look

#: Days drawn at once on a card; the others are said in words.
DRAWN = 3
PREVIEW_ROWS = 8


@require_safe
def sending(request: PageRequest, sending: UUID) -> HttpResponse:
    """The files of one sending, each a card that fills itself, one after the other."""
    rows = list(
        ComingLog.objects.filter(sending=sending)
        .select_related("rig", "log", "author")
        .order_by("place")
    )
    if not rows:
        raise Http404("That sending is over, or was too long ago. Send the files again.")
    context = {"rig": rows[0].rig, "rows": rows, "sending": sending}
    return render(request, "shop/logs/sending.html", context)


@require_http_methods(["GET", "HEAD", "POST"])
def coming_log(request: PageRequest, sending: UUID, place: int) -> HttpResponse:
    """One file: look at it, answer what it leaves open, keep its days."""
    coming = _coming(sending, place)
    given: dict[str, Any] = {
        "now": timezone.now(),
        "zone": request.shop.zone,
        "rules": request.shop.log_rules,
    }
    if request.method != "POST":
        return _card(request, coming_logs.look(coming=coming, **given))
    if "forget" in request.POST:
        coming_logs.answer(coming=coming, answers=dict.fromkeys(coming.answers, ""))
        return _card(request, coming_logs.look(coming=coming, **given))
    if "answer" not in request.POST:
        return _card(request, coming_logs.read(coming=coming, author=request.user, **given))
    seen = coming_logs.look(coming=coming, **given)
    form = AnswersForm(request.POST, questions=seen.outcome.questions)
    if not form.is_valid():
        return _card(request, seen, form=form, status=422)
    columns = said_columns(request.POST, seen.outcome.layout.columns if seen.outcome.layout else ())
    coming_logs.answer(
        coming=coming, answers=form.answers() | ({"columns": columns} if columns else {})
    )
    seen = coming_logs.look(coming=coming, **given)
    return _card(request, seen, status=422 if seen.refused_answer else 200)


@require_POST
def drop(request: PageRequest, sending: UUID, place: int) -> HttpResponse:
    """Leave a file out."""
    coming = ComingLog.objects.filter(sending=sending, place=place).select_related("rig").first()
    if coming is None:
        raise Http404("That file is left out already.")
    coming_logs.drop(coming=coming)
    if request.htmx:
        return HttpResponse("")
    if ComingLog.objects.filter(sending=sending).exists():
        return redirect("shop:sending", sending)
    return redirect("shop:logs", coming.rig.number)


@require_POST
def keep_layout(request: PageRequest, sending: UUID, place: int) -> HttpResponse:
    """Keep how a file was read under a name."""
    coming = _coming(sending, place)
    form = LayoutNameForm(request.POST)
    if form.is_valid() and coming.log is not None:
        try:
            kept = shiftlogs.keep_layout(
                name=form.cleaned_data["name"],
                log=coming.log,
                author=request.user,
                at=timezone.now(),
            )
        except LayoutRefused as refused:
            form.add_error("name", str(refused))
        else:
            said = f"The layout is kept as “{kept.name}”."
            if request.htmx:
                return render(request, "shop/logs/layout_kept.html", {"said": said})
            messages.success(request, said)
            return redirect("shop:sending", sending)
    context = {"coming": coming, "layout_form": form}
    template = "shop/logs/layout_form.html" if request.htmx else "shop/logs/layout_page.html"
    return render(request, template, context, status=422)


def _coming(sending: UUID, place: int) -> ComingLog:
    coming = (
        ComingLog.objects.filter(sending=sending, place=place)
        .select_related("rig", "log", "layout", "author")
        .first()
    )
    if coming is None:
        raise Http404("That file is not there any more. Send it again.")
    return coming


def _card(
    request: PageRequest, seen: Look, *, form: AnswersForm | None = None, status: int = 200
) -> HttpResponse:
    """The card of a file; a page of its own where htmx did not ask."""
    outcome = seen.outcome
    columns = outcome.layout.columns if outcome.layout else ()
    form = form or AnswersForm(questions=outcome.questions)
    if seen.refused_answer and seen.refused_answer[0] in form.fields:
        form.full_clean()
        form.add_error(*seen.refused_answer)
    shop = request.shop
    # Once they are kept, each day has its page.
    days = [(day, logview.sentence(day)) for day in outcome.days if not seen.coming.log]
    asks_columns = next((each for each in outcome.questions if each.key == "columns"), None)
    context = {
        "coming": seen.coming,
        "rig": seen.coming.rig,
        "outcome": outcome,
        "form": form,
        "layout": outcome.layout,
        "asks_columns": asks_columns and asks_columns.why.removesuffix(SAY_COLUMNS),
        "columns": [_column(each) for each in columns],
        "column_choices": COLUMN_CHOICES,
        "preview": outcome.preview[:PREVIEW_ROWS],
        "pictures": [(day, said, _picture(day, shop, request.user)) for day, said in days[:DRAWN]],
        "sayings": days[DRAWN:],
        "written": logview.how_written(outcome.layout) if outcome.layout else "",
        "layout_form": LayoutNameForm(auto_id=f"layout-{seen.coming.place}-%s"),
        "refused_answer": seen.refused_answer,
    }
    template = "shop/logs/card.html" if request.htmx else "shop/logs/card_page.html"
    return render(request, template, context, status=status)


def _picture(day: Day, shop: Shop, reader: Person) -> ShiftPicture:
    name = f"{day.date.day} {day.date:%b}"
    return logview.picture_of(day, zone=shop.zone, units=reader.units_in(shop), name=name)


def _column(column: Column) -> dict[str, Any]:
    return {"index": column.index, "heading": column.heading, "value": value_of(column)}
