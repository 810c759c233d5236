"""The rigs: the list of all, and the page of one with its strip."""

from datetime import UTC, date, datetime, timedelta
from typing import Any, Final
from uuid import uuid4

from django.db.models import F, Max, OuterRef, Q, Subquery
from django.db.models.functions import Coalesce
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, render
from django.utils.cache import patch_vary_headers
from django.views.decorators.http import require_safe
from django_tables2 import RequestConfig

from equipment.due import CLEAR, FAR_DATE
from equipment.models import (
    Component,
    Counter,
    Due,
    Finding,
    JobBooking,
    LogContradiction,
    Rig,
    Round,
    ShiftDay,
    SideSignal,
)
from equipment.services import missed_rounds
from equipment.services.fallen import fallen_on_rig
from inventory.models import Balance
from inventory.services import in_words
from shop import (
    beforejob,
    drawer_checks,
    duelist,
    links,
    readiness,
    rigview,
    roundwords,
    sidewords,
    whereabouts,
    words,
)
from shop.filters import RigFilter
from shop.http import PageRequest
from shop.models import RigDrawer, ServiceSheet, Shop
from shop.services import isolating
from shop.tables import RigTable, last_read

RIGS_A_PAGE: Final = 50
ROUND_DAYS: Final = 7
#: Days of shift logs on the page of a rig.
LOGGED: Final = 5
#: Kinds drawn so are changed by the crew at the job.
CHANGED_AT_WORK: Final = "gun"
NEVER: Final = datetime(1970, 1, 1, tzinfo=UTC)


@require_safe
def rigs(request: PageRequest) -> HttpResponse:
    """All rigs, whether each is ready, found by a word, sorted, paged."""
    today, shop = request.today, request.shop
    found = RigFilter(request.GET, queryset=listed_rigs(), today=today)
    table = RigTable(found.qs, today=today, shop=shop, empty_text="No rig is like that.")
    RequestConfig(request, paginate={"per_page": RIGS_A_PAGE, "silent": True}).configure(table)
    fill(table, [row.record for row in table.paginated_rows])
    context: dict[str, Any] = {"filter": found, "table": table}
    if request.htmx and not request.htmx.history_restore_request:
        response = render(request, "shop/_partials/rigs_results.html", context)
    else:
        context["is_narrowed"] = bool(request.GET)
        context["count"] = Rig.objects.count()
        context["next_week"] = today + timedelta(days=7 - today.weekday())
        is_sound = found.form.is_valid()
        response = render(request, "shop/rigs.html", context, status=200 if is_sound else 422)
    patch_vary_headers(response, ["HX-Request"])
    return response


def listed_rigs() -> Any:
    """Rigs with when they were last read and when their first service falls due.

    A rig never read counts as read at NEVER: lists sort by no null.
    """
    read = (
        Counter.objects.filter(rig=OuterRef("pk"), last_at__gt=F("started_at"), is_retired=False)
        .order_by()
        .values("rig")
        .annotate(last=Max("last_at"))
        .values("last")
    )
    first = (
        Due.objects.listed()
        .filter(rig_number=OuterRef("number"))
        .order_by("due_date", "pk")
        .values("due_date")[:1]
    )
    return Rig.objects.annotate(
        last_read=Coalesce(Subquery(read), NEVER),
        first_due=Coalesce(Subquery(first), FAR_DATE),
    )


def fill(table: RigTable, shown: list[Rig]) -> None:
    """Read what stands beside the rigs of a page: whether they are ready, rounds, where."""
    table.ready = readiness.of_rigs(shown, today=table.today, shop=table.shop)
    table.missed = missed_rounds(shown, today=table.today, zone=table.shop.zone)
    bookings = whereabouts.bookings_of(shown, since=table.today)
    table.places = whereabouts.of_rigs(shown, bookings, today=table.today)


@require_safe
def rig(request: PageRequest, number: int) -> HttpResponse:
    """One rig: where it is, its strip, what falls due, what was found, what rides in its drawer."""
    today, shop = request.today, request.shop
    subject = get_object_or_404(Rig, number=number)
    bookings = list(subject.bookings.filter(last_day__gte=today - timedelta(days=ROUND_DAYS)))
    place = whereabouts.whereabouts(bookings, today=today)
    positions = rigview.positions_of(subject, today=today)
    dues = rigview.first_to_fall([due for facts in positions for due in facts.dues], today=today)
    counters = _counters(subject, positions)
    sheets = duelist.sheets_of(dues)
    asked, asked_error = _asked(request)
    missed = missed_rounds([subject], today=today, zone=shop.zone).get(subject.pk, [])
    lines = [
        _due_line(due, sheets.get((due.component_id, due.version_id)), today=today, shop=shop)
        for due in dues
    ]
    context = {
        "rig": subject,
        "cells": _cells(subject, place, counters, today=today, shop=shop),
        "findings": rigview.holds([subject]).get(subject.pk, []),
        "positions": rigview.strip_of(
            positions,
            today=today,
            warning_days=shop.warning_days,
            unread_days=shop.unread_days,
            next_stay=place.next_stay,
            href=lambda component: _component_url(request, component),
        ),
        "isolation_questions": isolating.questions(subject.pk),
        "before": None
        if subject.is_laid_up or not dues
        else beforejob.before_job(dues, place, asked=asked, sheets=sheets, today=today, shop=shop),
        "fallen": fallen_on_rig(subject, today=today) if subject.is_laid_up else None,
        "asked": request.GET.get("by", ""),
        "asked_error": asked_error,
        "near": [line for line in lines if line["state"] != CLEAR],
        "later": [line for line in lines if line["state"] == CLEAR],
        "picks": _picks(dues, sheets, today=today, shop=shop),
        "counters": [_counter_line(each, today=today, shop=shop) for each in counters],
        "found": (found := _found_work(request, subject, positions)),
        "found_rows": [row["finding"] for row in found],
        "sheets": ServiceSheet.objects.open().filter(rig=subject).order_by("planned_on", "number"),
        "next_week": today + timedelta(days=7 - today.weekday()),
        "signal": _signal(subject, today=today),
        "ready": readiness.of_rig(subject, today=today, shop=shop),
        "missed": roundwords.missed_text(missed, today=today),
        "rounds": _rounds(subject, bookings, missed, today=today),
        "drawer": _drawer(subject, today=today),
        "drawer_check": next(iter(drawer_checks.of_rigs([subject], today=today)), None),
        "sent": uuid4(),
        "bookings": [each for each in bookings if each.last_day >= today],
        "logged": ShiftDay.objects.filter(rig=subject).defer("details").order_by("-date")[:LOGGED],
        "contradictions": LogContradiction.objects.open().filter(rig=subject).count(),
        "quick": _quick_changes(request, subject, positions),
        "example": rigview.EXAMPLE,
    }
    return render(request, "shop/rig.html", context, status=422 if asked_error else 200)


def _asked(request: PageRequest) -> tuple[date | None, str]:
    """The day asked for with ?by=, and what is wrong with it; no day: the next stay."""
    text = request.GET.get("by", "").strip()
    if not text:
        return None, ""
    try:
        day = date.fromisoformat(text)
    except ValueError:
        return None, "That is no day. Write it as 2026-12-24."
    if day <= request.today:
        return None, "Ask about a day after today."
    return day, ""


def _cells(
    subject: Rig,
    place: whereabouts.Whereabouts,
    counters: list[Counter],
    *,
    today: date,
    shop: Shop,
) -> list[tuple[str, ...]]:
    where = "laid up" if subject.is_laid_up else place.where_text()
    cells: list[tuple[str, ...]] = [("Where", where[:1].upper() + where[1:])]
    if not subject.is_laid_up:
        if then := place.then_text():
            cells.append(("Then away", then))
        if stay := place.stay_text():
            cells.append(("Next stay", stay))
    read = [each.last_at for each in counters if each.last_at > each.started_at]
    cells.append(
        ("Last read", last_read(max(read, default=None), today=today, shop=shop, rig=subject))
    )
    return cells


def _component_url(request: PageRequest, component: Component) -> str:
    return links.address(request.user, "equipment:component", component.tag)


def _quick_changes(
    request: PageRequest, subject: Rig, positions: list[rigview.PositionFacts]
) -> list[tuple[str, str]]:
    """What is changed in mid-job with one tap, a button for each: its words and its address."""
    places = [facts.position for facts in positions if facts.position.kind.icon == CHANGED_AT_WORK]
    found = []
    for place in places:
        url = links.address(request.user, "equipment:quick_change", subject.number, place.pk)
        if url:
            what = f"{place.order} {place.label}" if len(places) > 1 else place.label
            found.append((f"Change {what}", url))
    return found


def _counters(subject: Rig, positions: list[rigview.PositionFacts]) -> list[Counter]:
    """The faces of the rig and those that travel with what is fitted in it."""
    fitted = [facts.component.pk for facts in positions if facts.component]
    return list(
        Counter.objects.filter(Q(rig=subject) | Q(component__in=fitted), is_retired=False)
        .select_related("component")
        .order_by("component", "order", "pk")
    )


def _counter_line(counter: Counter, *, today: date, shop: Shop) -> dict[str, Any]:
    is_read = counter.last_at > counter.started_at
    when = ""
    if is_read:
        local = counter.last_at.astimezone(shop.zone)
        when = (
            words.day(local.date(), today=today)
            if counter.last_is_day_only
            else words.moment(counter.last_at, zone=shop.zone, today=today)
        )
    return {
        "name": f"{counter.name}, {counter.component}" if counter.component else counter.name,
        "value": words.exactly(counter.last_value) if is_read else "",
        "unit": counter.unit,
        "when": when,
    }


def _due_line(due: Due, sheet: ServiceSheet | None, *, today: date, shop: Shop) -> dict[str, Any]:
    state, word = rigview.shown_state(
        due, today=today, warning_days=shop.warning_days, unread_days=shop.unread_days
    )
    return {
        "due": due,
        "life": words.life_text(due, today=today),
        "state": state,
        "word": word,
        "date": words.date_text(due, today=today),
        "note": words.date_note(due, today=today),
        "sheet": sheet,
    }


def _picks(
    dues: list[Due], sheets: dict[tuple[int, int], ServiceSheet], *, today: date, shop: Shop
) -> list[int]:
    """What a sheet drafted now would take: everything due or due soon that is on none yet."""
    until = today + timedelta(days=shop.warning_days)
    return [
        due.pk
        for due in dues
        if due.due_date <= until and (due.component_id, due.version_id) not in sheets
    ]


def _found_work(
    request: PageRequest, subject: Rig, positions: list[rigview.PositionFacts]
) -> list[dict[str, Any]]:
    places = {facts.component.pk: facts.position for facts in positions if facts.component}
    rows = (
        Finding.objects.open()
        .filter(Q(rig=subject) | Q(component__in=places))
        .select_related("opened_by")
        .prefetch_related("sheet_lines__sheet")
        .order_by("-is_grave", "opened_at", "pk")
    )
    return [
        {
            "finding": row,
            "place": places.get(row.component_id or 0),
            "sheet": next((line.sheet for line in row.sheet_lines.all() if line.is_open), None),
            "close_url": links.address(request.user, "equipment:close_finding", row.pk),
        }
        for row in rows
    ]


def _signal(subject: Rig, *, today: date) -> dict[str, Any] | None:
    """What the two sides of the rig say, where they say something."""
    row = SideSignal.objects.filter(rig=subject).first()
    if row is None:
        return None
    return {"row": row, "text": sidewords.signal_text(row, today=today)}


def _rounds(
    subject: Rig, bookings: list[JobBooking], missed: list[date], *, today: date
) -> list[dict[str, Any]]:
    """The last days, newest first: the round of each, or that a day away went without one."""
    first = today - timedelta(days=ROUND_DAYS)
    done = {
        each.day: each
        for each in Round.objects.filter(rig=subject, day__gte=first).select_related("author")
    }
    days = [today - timedelta(days=back) for back in range(ROUND_DAYS + 1)]
    return [
        {
            "day": day,
            "round": done.get(day),
            "is_missed": day in missed,
        }
        for day in days
        if day in done
        or day in missed
        or (day == today and any(each.first_day <= day <= each.last_day for each in bookings))
    ]


def _drawer(subject: Rig, *, today: date) -> dict[str, Any] | None:
    drawer = RigDrawer.objects.filter(rig=subject).select_related("location").first()
    if drawer is None:
        return None
    return {
        "place": drawer.location,
        "rows": [
            {
                "part": balance.part,
                "quantity": in_words(balance.part, balance.quantity_steps),
                "use_by": balance.lot.expires_on if balance.lot.expires else None,
                "is_past": balance.lot.expires and balance.lot.expires_on < today,
            }
            for balance in Balance.objects.for_place(drawer.location)
        ],
    }
