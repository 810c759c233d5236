"""What phones sent and no sheet could take: a manager posts it after all or sets it aside."""

from typing import Any, Final
from uuid import UUID, uuid4

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from equipment.models import Rig
from shop import arrivedwords, words
from shop.forms.unsettled import PostForm, SetAsideForm
from shop.http import PageRequest
from shop.models import ServiceSheet, Settlement, SheetStep, StepEntry, Unsettled
from shop.services import working
from shop.services.arriving import (
    AlreadySettled,
    answer_in_words,
    post,
    post_all,
    set_aside,
)
from shop.services.arriving.entry import REFUSALS, field_of, words_of
from shop.services.refusals import SheetRefused
from shop.services.rivals import rivals_of

#: More than a page is read of; the oldest come first, and the next when those are settled.
MOST_ROWS: Final = 200
MOST_SETTLED: Final = 20


@require_safe
def unsettled(request: PageRequest) -> HttpResponse:
    """All that waits, by sheet or rig, the oldest first; and what was settled lately."""
    waiting = Unsettled.objects.open().for_list()
    count = waiting.count()
    rows = arrivedwords.rows_of(
        list(waiting[:MOST_ROWS]), zone=request.shop.zone, today=request.today
    )
    groups: dict[ServiceSheet | Rig, list[arrivedwords.Row]] = {}
    for row in rows:
        groups.setdefault(row.unsettled.of, []).append(row)
    settled = Settlement.objects.select_related(
        "author", "unsettled__author", "unsettled__sheet", "unsettled__rig"
    ).order_by("-at", "-pk")[:MOST_SETTLED]
    lately = arrivedwords.rows_of(
        [each.unsettled for each in settled], zone=request.shop.zone, today=request.today
    )
    return render(
        request,
        "shop/unsettled.html",
        {
            "groups": [_group(of, of_one) for of, of_one in groups.items()],
            "cells": _cells(count, groups),
            "more": count - len(rows),
            "rivals": _rivals(request),
            "settled": list(zip(settled, lately, strict=True)),
        },
    )


@require_http_methods(["GET", "HEAD", "POST"])
def settle(request: PageRequest, pk: int) -> HttpResponse:
    """One entry: what it says, why it waits, and the two things that may be done."""
    row = get_object_or_404(Unsettled.objects.for_list(), pk=pk)
    settled = Settlement.objects.filter(unsettled=row).select_related("author").first()
    post_form, aside_form = PostForm(unsettled=row), SetAsideForm()
    if request.method == "POST" and settled is not None:
        messages.warning(request, str(AlreadySettled(settled)))
        return redirect("shop:unsettled")
    if request.method == "POST":
        if request.POST.get("act") == "set_aside":
            aside_form = SetAsideForm(request.POST)
            done = aside_form.is_valid() and _set_aside(request, row, aside_form)
        else:
            post_form = PostForm(request.POST, unsettled=row)
            done = post_form.is_valid() and _post(request, row, post_form)
        if done:
            return redirect("shop:unsettled")
    [shown] = arrivedwords.rows_of([row], zone=request.shop.zone, today=request.today)
    return render(
        request,
        "shop/settle.html",
        {
            "row": shown,
            "stands": arrivedwords.stands(row, request.user.units_in(request.shop)),
            "settled": settled,
            "post_form": post_form,
            "aside_form": aside_form,
        },
        status=422 if request.method == "POST" else 200,
    )


@require_POST
def settle_sheet(request: PageRequest, number: int) -> HttpResponse:
    """Post all that waits on a sheet as it is, in the order made."""
    sheet = get_object_or_404(ServiceSheet, number=number)
    posted, refused = post_all(
        of=sheet, author=request.user, at=timezone.now(), zone=request.shop.zone
    )
    if posted:
        entries = "1 entry" if posted == 1 else f"{posted} entries"
        messages.success(request, f"{entries} of sheet {sheet} posted.")
    if refused:
        said = list(dict.fromkeys(why for _, why in refused))
        still = "1 entry waits" if len(refused) == 1 else f"{len(refused)} entries wait"
        messages.warning(request, f"{still} still: {' '.join(said[:3])}")
    if not posted and not refused:
        messages.success(request, f"Nothing of sheet {sheet} waits any more.")
    return redirect("shop:unsettled")


@require_POST
def pick_answer(request: PageRequest, pk: int) -> HttpResponse:
    """Say which of several answers to a step counts."""
    picked = get_object_or_404(StepEntry.objects.select_related("step__sheet"), pk=pk)
    now = timezone.now()
    try:
        event_id = UUID(request.POST.get("event_id", ""))
    except ValueError:
        messages.error(request, "The page came incomplete. Send it again.")
        return redirect("shop:unsettled")
    try:
        working.pick_answer(
            picked=picked, event_id=event_id, author=request.user, at=now, recorded_at=now
        )
    except SheetRefused as refused:
        messages.error(request, str(refused))
    else:
        said = answer_in_words(picked, picked.step, request.user.units_in(request.shop))
        messages.success(request, f"“{picked.step.title}” on sheet {picked.step.sheet}: {said}.")
    return redirect("shop:unsettled")


def _post(request: PageRequest, row: Unsettled, form: PostForm) -> bool:
    """Post it; False: it says beside which field that was refused."""
    try:
        post(
            unsettled=row,
            changes=form.changes(),
            author=request.user,
            at=timezone.now(),
            zone=request.shop.zone,
        )
    except AlreadySettled as settled:
        messages.warning(request, str(settled))
        return True
    except REFUSALS as refusal:
        form.refuse(words_of(refusal), field_of(refusal))
        return False
    on = f"on sheet {row.sheet}" if row.sheet else f"on rig {row.rig}"
    messages.success(request, f"Posted {on}.")
    return True


def _set_aside(request: PageRequest, row: Unsettled, form: SetAsideForm) -> bool:
    try:
        set_aside(
            unsettled=row, note=form.cleaned_data["note"], author=request.user, at=timezone.now()
        )
    except AlreadySettled as settled:
        messages.warning(request, str(settled))
        return True
    except SheetRefused as refusal:
        form.add_error("note", str(refusal))
        return False
    messages.success(request, "Set aside. It stays on record.")
    return True


def _group(of: ServiceSheet | Rig, rows: list[arrivedwords.Row]) -> dict[str, Any]:
    """What waits on one sheet, or of the rounds of one rig."""
    is_sheet = isinstance(of, ServiceSheet)
    return {
        "sheet": of if is_sheet else None,
        "rig": None if is_sheet else of,
        "rows": rows,
        "postable": sum(row.may_post for row in rows),
    }


def _cells(count: int, groups: dict[ServiceSheet | Rig, Any]) -> list[tuple[str, str]]:
    if not count:
        return []
    sheets = sum(isinstance(of, ServiceSheet) for of in groups)
    rigs = len(groups) - sheets
    on = [f"{sheets} sheet{'s' if sheets != 1 else ''}"] if sheets else []
    on += [f"{rigs} rig{'s' if rigs != 1 else ''}"] if rigs else []
    return [
        ("Waits", f"{count} {'entry' if count == 1 else 'entries'}"),
        ("On", ", ".join(on)),
    ]


def _rivals(request: PageRequest) -> list[dict[str, Any]]:
    """Steps of open sheets that have several answers, each with the one that counts first."""
    unseen = list(
        StepEntry.objects.filter(
            rival_of__isnull=False, step__sheet__state__in=ServiceSheet.OPEN_STATES
        )
        .select_related("author", "rival_of__author")
        .order_by("at", "pk")
    )
    steps = list(
        SheetStep.objects.filter(pk__in={each.step_id for each in unseen}, entry__isnull=False)
        .select_related("sheet__rig", "sheet__component", "entry__author")
        .order_by("sheet__number", "section", "order")
    )
    others = rivals_of(steps, unseen)
    return [
        {
            "step": step,
            "answers": [
                {
                    "entry": entry,
                    "said": answer_in_words(entry, step, request.user.units_in(request.shop)),
                    "when": words.moment(entry.at, zone=request.shop.zone, today=request.today),
                    "counts": entry == step.entry,
                    "event_id": uuid4(),
                }
                for entry in (step.entry, *others[step.pk])
                if entry is not None
            ],
        }
        for step in steps
        if step.pk in others
    ]
