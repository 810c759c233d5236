"""Today: what the day asks of the manager, of a technician, of the owner."""

from datetime import date, datetime, time, timedelta
from typing import Any, Final
from uuid import uuid4

from django.db.models import Count, OuterRef, Q, Subquery, Sum
from django.http import HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from equipment import due as due_math
from equipment.models import Due, Rig, Round
from equipment.services import missed_rounds
from inventory.models import Movement
from inventory.services import counting
from inventory.services.buying_receipts import cores_due
from inventory.services.buying_times import late_orders
from shop import (
    daybook,
    drawer_checks,
    duelist,
    readiness,
    rigview,
    roundwords,
    sidewords,
    whereabouts,
)
from shop.around import my_day
from shop.drawing.days import DAYS
from shop.http import PageRequest
from shop.models import PartsNeed, Role, ServiceSheet, Shop, StepEntry
from shop.services.arriving import waiting_of
from shop.services.waiting import waits_of
from shop.shortages import short_parts
from shop.tables import next_text, unread
from shop.views.rigs import listed_rigs
from shop.views.work.words import strip_words

#: A drawing of more rigs than this is read by nobody; the others stand on Rigs.
MOST_RIGS: Final = 40
MOST_DUES: Final = 300
MOST_COMING: Final = 25
MOST_SHORT: Final = 12
MOST_SIGNALS: Final = 6
MOST_MISSED: Final = 6
MOST_CHECKS: Final = 6
MOST_LATE: Final = 4
MOST_LOOKS: Final = 6
#: Old parts are named when they must go back within so long.
CORES_AHEAD: Final = timedelta(days=7)
MONTH: Final = timedelta(days=30)


@require_safe
def today(request: PageRequest) -> HttpResponse:
    """The page everybody begins with, by role."""
    pages = {Role.TECHNICIAN: _technician, Role.OWNER: _owner}
    return pages.get(Role(request.user.role), _manager)(request)


def _manager(request: PageRequest) -> HttpResponse:
    day, shop = request.today, request.shop
    start = daybook.first_day(day)
    until = max(day + timedelta(days=shop.warning_days), start + timedelta(days=DAYS - 1))
    everybody = list(Rig.objects.working().order_by("number"))
    bookings = whereabouts.bookings_of(everybody, since=start)
    places = whereabouts.of_rigs(everybody, bookings, today=day)
    holds = rigview.holds(everybody)
    dues = list(
        Due.objects.for_due_list()
        .filter(due_date__lte=until)
        .order_by("due_date", "pk")[:MOST_DUES]
    )
    asked = {due.rig_id for due in dues} | holds.keys()
    # A long fleet shows those with something to do; a short one all of it.
    shown = [rig for rig in everybody if len(everybody) <= MOST_RIGS or rig.pk in asked]
    shown = shown[:MOST_RIGS]
    sheets = list(_open_sheets())
    waiting = {
        sheet.rig_id: sheet for sheet in sheets if sheet.is_waiting_for_parts and sheet.rig_id
    }
    on_rule = [due for due in dues if start <= due.due_date < start + timedelta(days=DAYS)]
    asked_for = [rig for rig in everybody if rig.pk in asked or rig in shown]
    lanes = daybook.lanes(asked_for, bookings, on_rule, waiting, today=day)
    near = [
        due
        for due in dues
        if due.state(today=day, warning_days=shop.warning_days) != due_math.CLEAR
    ]
    coming = daybook.coming(
        {rig.pk: rig for rig in asked_for}, places, lanes, near, holds, sheets, today=day, shop=shop
    )
    here = [each for each in coming if each.place.comes_by(day + daybook.WEEK)]
    away = [each for each in coming if each not in here]
    sign_off = [sheet for sheet in sheets if sheet.state == ServiceSheet.State.UNDER_WAY]
    short = short_parts(sheets)
    late = late_orders(today=day)
    overdue = [due for due in near if due.state(today=day, warning_days=0) == due_math.OVERDUE]
    told = {rig.pk: rig for rig in [*shown, *(each.rig for each in away[:MOST_COMING])]}
    ready = readiness.of_rigs(told.values(), today=day, shop=shop)
    missed = missed_rounds(told.values(), today=day, zone=shop.zone)
    return render(
        request,
        "shop/today.html",
        {
            "cells": [
                *_cells(everybody, places, overdue, len(dues) == MOST_DUES),
                ("Kits short", f"{len(short)} part{'s' if len(short) != 1 else ''}"),
                ("To sign off", f"{len(sign_off)} sheet{'s' if len(sign_off) != 1 else ''}"),
            ],
            "signals": [
                (row, sidewords.signal_text(row, today=day))
                for row in sidewords.by_rig(everybody)[:MOST_SIGNALS]
            ],
            "start": start,
            "lanes": [lanes[rig.pk] for rig in shown],
            "rigs_count": len(everybody),
            "here": here[:MOST_COMING],
            "away": [(each, ready[each.rig.pk]) for each in away[:MOST_COMING]],
            "ready": _ready(shown, places, ready),
            "missed": [
                (told[pk], roundwords.missed_text(days, today=day))
                for pk, days in sorted(missed.items(), key=lambda each: told[each[0]].number)
            ][:MOST_MISSED],
            "filled": next((each.rig.pk for each in here if each.picks), None),
            "is_cut": len(dues) == MOST_DUES or max(len(here), len(away)) > MOST_COMING,
            "sign_off": sign_off,
            "look_again": list(
                ServiceSheet.objects.to_look_at_again()
                .select_related("rig", "component__type__kind", "signed_by")
                .order_by("signed_at", "number")[: MOST_LOOKS + 1]
            ),
            "most_looks": MOST_LOOKS,
            **_checks(everybody, day),
            "to_approve": counting.to_approve(),
            "late_orders": late[:MOST_LATE],
            "late_more": max(len(late) - MOST_LATE, 0),
            "cores_due": cores_due(day + CORES_AHEAD),
            "waits": [(wait, uuid4()) for wait in waits_of(sheets, today=day).values()],
            "short": short[:MOST_SHORT],
            "short_more": max(len(short) - MOST_SHORT, 0),
            "next_due": ""
            if coming
            else next_text(duelist.fetch(Due.objects.listed(), most=1), today=day),
        },
    )


def _ready(
    rigs: list[Rig],
    places: dict[int, whereabouts.Whereabouts],
    ready: dict[int, readiness.Readiness],
) -> dict[str, Any]:
    """The rigs in the shop: those that something speaks of, the held first, and the quiet ones."""
    here = [rig for rig in rigs if places[rig.pk].is_here]
    asked = [rig for rig in here if ready[rig.pk].reasons]
    asked.sort(key=lambda rig: (ready[rig.pk].weight, rig.number))
    return {
        "asked": [(rig, places[rig.pk], ready[rig.pk]) for rig in asked],
        "quiet": [rig for rig in here if not ready[rig.pk].reasons],
    }


def _open_sheets() -> Any:
    """Open sheets with how many steps are open and how many values lie out of limit."""
    note = (
        StepEntry.objects.filter(step__sheet=OuterRef("pk"), in_force_for__isnull=False)
        .exclude(note="")
        .order_by("-at", "-pk")
        .values("note")[:1]
    )
    return (
        ServiceSheet.objects.open()
        .select_related("rig", "component__type__kind", "technician")
        .annotate(
            steps_open=Count("steps", filter=Q(steps__entry__isnull=True)),
            steps_outside=Count("steps", filter=Q(steps__entry__is_out_of_limit=True)),
            last_note=Subquery(note),
        )
        .order_by("planned_on", "number")
    )


def _cells(
    rigs: list[Rig],
    places: dict[int, whereabouts.Whereabouts],
    overdue: list[Due],
    is_cut: bool,
) -> list[tuple[str, str]]:
    here = sum(places[rig.pk].is_here for rig in rigs)
    count = f"{len(overdue)}{'+' if is_cut else ''} service{'s' if len(overdue) != 1 else ''}"
    on = {due.rig_id: due.rig for due in overdue}
    where = f", {next(iter(on.values()))}" if len(on) == 1 else f", {len(on)} rigs" if on else ""
    return [
        ("In the shop", f"{here} of {len(rigs)} rigs"),
        ("Overdue", f"{count}{where}" if overdue else "nothing"),
    ]


def _technician(request: PageRequest) -> HttpResponse:
    day, shop = request.today, request.shop
    mine = my_day(request.user, _open_sheets(), now=request.now, zone=shop.zone)
    # Whoever has a minute reads the rig that was left alone longest.
    longest = listed_rigs().filter(is_laid_up=False).order_by("last_read", "number")
    rigs = list(longest[: MOST_RIGS + 1])
    bookings = whereabouts.bookings_of(rigs, since=day)
    places = whereabouts.of_rigs(rigs, bookings, today=day)
    rounds = dict(Round.objects.filter(rig__in=rigs, day=day).values_list("rig", "author__name"))
    ready = readiness.of_rigs(rigs, today=day, shop=shop)
    missed = missed_rounds(rigs, today=day, zone=shop.zone)
    lines = [
        {
            "rig": rig,
            "where": places[rig.pk].where_text(),
            "is_away": not places[rig.pk].is_here,
            "read": unread(rig.last_read, today=day, shop=shop, rig=rig),
            "round_by": rounds.get(rig.pk, ""),
            "ready": ready[rig.pk],
            "missed": roundwords.missed_text(missed.get(rig.pk, ()), today=day),
        }
        for rig in rigs[:MOST_RIGS]
    ]
    return render(
        request,
        "shop/today_technician.html",
        {
            "mine": mine,
            "waiting": waiting_of(request.user),
            "event_id": uuid4(),
            "lines": lines,
            "has_more": len(rigs) > MOST_RIGS,
            "words": strip_words(),
            **_checks(list(Rig.objects.working().order_by("number")), day),
        },
    )


def _checks(rigs: list[Rig], day: date) -> dict[str, Any]:
    """The drawers to check now, each with an id for the request that begins it."""
    asked = drawer_checks.asked_for(rigs, today=day)
    return {
        "checks": [(each, uuid4()) for each in asked[:MOST_CHECKS]],
        "checks_more": max(len(asked) - MOST_CHECKS, 0),
    }


def _owner(request: PageRequest) -> HttpResponse:
    day, shop = request.today, request.shop
    rigs = list(Rig.objects.working().order_by("number"))
    holds = rigview.holds(rigs)
    counted = list(
        Due.objects.listed()
        .filter(due_date__lte=day + MONTH)
        .values("rig_number", "version__service")
        .annotate(count=Count("pk"), late=Count("pk", filter=Due.objects.overdue_q(day)))
        .order_by("rig_number")
    )
    costs = _usual_costs({row["version__service"] for row in counted})
    names = {rig.number: rig for rig in rigs}
    coming: dict[int, dict[str, Any]] = {}
    for row in counted:
        rig = names.get(row["rig_number"])
        if rig is None:
            continue
        line = coming.setdefault(
            rig.number, {"rig": rig, "count": 0, "late": 0, "cents": 0, "holds": holds.get(rig.pk)}
        )
        line["count"] += row["count"]
        line["late"] += row["late"]
        line["cents"] += row["count"] * costs.get(row["version__service"], 0)
    return render(
        request,
        "shop/today_owner.html",
        {
            "coming": sorted(coming.values(), key=lambda line: -line["cents"]),
            "count": sum(line["count"] for line in coming.values()),
            "late": sum(line["late"] for line in coming.values()),
            "cents": sum(line["cents"] for line in coming.values()),
            "held": [(rig, holds[rig.pk]) for rig in rigs if rig.pk in holds],
            "rigs_count": len(rigs),
            "spend": _spend(day, shop),
        },
    )


def _usual_costs(services: set[int]) -> dict[int, int]:
    """What the parts of each service usually cost, by service. [cents]"""
    costs: dict[int, int] = {}
    for need in PartsNeed.objects.filter(service__in=services).select_related("part"):
        cost = need.part.cost_of(need.quantity_steps)
        costs[need.service_id] = costs.get(need.service_id, 0) + cost
    return costs


def _spend(day: date, shop: Shop) -> tuple[int, int]:
    """Parts used in the thirty days to today, and in the thirty before. [cents]"""

    def between(first: date, last: date) -> int:
        start = datetime.combine(first, time(), tzinfo=shop.zone)
        end = datetime.combine(last, time(), tzinfo=shop.zone)
        rows = Movement.objects.spent().filter(at__gte=start, at__lt=end)
        return -(rows.aggregate(total=Sum("value_cents"))["total"] or 0)

    tomorrow = day + timedelta(days=1)
    return between(tomorrow - MONTH, tomorrow), between(tomorrow - 2 * MONTH, tomorrow - MONTH)
