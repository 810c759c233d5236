"""Readings: all counters of a rig on one screen, and taking one back."""

import logging
from collections.abc import Iterable, Mapping, Sequence
from datetime import date, datetime
from decimal import Decimal
from itertools import groupby
from typing import Any, Final

from django.contrib import messages
from django.db.models import QuerySet
from django.forms import BaseForm
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.urls import reverse as address
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from equipment import drums
from equipment import due as dates
from equipment.counters import ReadingRefused
from equipment.forms.drums import ReverseLevelForm
from equipment.forms.readings import NOT_YET, FacesOfARig, ReadingsForm, ReverseReadingForm
from equipment.models import Counter, DrumLevel, Due, Installation, Reading, Rig
from equipment.pictures import Picture
from equipment.services import ReadingsRefused, reverse_reading
from equipment.services.drums import LevelRefused, LevelsRefused, comparisons, reverse_level
from equipment.services.expecting import expected_of, impossible, unusual
from equipment.services.photos import photos_of, store_picture
from equipment.services.quick import record_sending
from equipment.services.wearing import counters_for
from equipment.views.common import (
    PageRequest,
    component_url,
    draw,
    get_rig,
    is_sound,
    of_rig,
    rig_url,
    typed,
    zone,
)

logger = logging.getLogger(__name__)

LAST_ROWS: Final = 20
LAST_LEVELS: Final = 8
STATES: Final = (dates.CLEAR, dates.SOON, dates.DUE, dates.OVERDUE)
STATE_WORDS: Final = {dates.SOON: "due soon", dates.DUE: "due", dates.OVERDUE: "overdue"}
#: More than this many services in one message and nobody reads it.
SAID_AT_MOST: Final = 4

#: Of each due row how grave it is: a place in STATES.
Grades = Mapping[int, int]


@require_http_methods(["GET", "HEAD", "POST"])
def readings(request: PageRequest, number: int) -> HttpResponse:
    """Read all counters of a rig: what is typed is kept, what stays empty is passed over."""
    now = timezone.now()
    rig = get_rig(number)
    counters = counters_of(rig, carrying(rig))
    form = ReadingsForm(typed(request), request.FILES or None, now=now, counters=counters)
    if is_sound(request, form) and not asks(form, at=form.at, is_day_only=form.is_day_only):
        before = _grades(rig, request.today, request.shop.warning_days)
        try:
            kept, dipped = record_sending(
                rig=rig,
                readings=form.readings(),
                levels=form.levels(),
                digest=_stored(request, form),
                at=form.at,
                is_day_only=form.is_day_only,
                recorded_at=now,
                author=request.user,
                request_id=form.cleaned_data["request_id"],
                zone=zone(),
                drum_error=Decimal(request.shop.drum_error_gallons),
            )
        except ReadingsRefused as refused:
            form.refuse(refused.errors)
        except LevelsRefused as refused:
            form.refuse_levels(refused.errors)
            form.add_error(None, NOT_YET)
        else:
            after = _grades(rig, request.today, request.shop.warning_days)
            said = [_what_changed(len(kept), len(dipped), before, after)]
            if dipped:
                said += _drums_say(rig, request.shop).values()
            messages.success(request, " ".join(said))
            return redirect(rig_url(rig))
    if form.picture is not None:
        _hold(form, form.picture)
    form.expect(expected_of((counter for counter, _ in counters), at=now))
    rows = _last_readings([counter for counter, _ in counters])
    context = of_rig(rig, form=form, rows=rows, **_drums(rig, request.shop))
    return draw(request, "equipment/readings.html", context)


@require_http_methods(["GET", "HEAD", "POST"])
def reverse(request: PageRequest, pk: int) -> HttpResponse:
    """Take a reading back, after saying what that does; both rows stay to be read."""
    now = timezone.now()
    reading = reading_of(pk)
    counter = reading.counter
    form = ReverseReadingForm(typed(request), now=now)
    if is_sound(request, form):
        try:
            reverse_reading(
                reading=reading,
                author=request.user,
                at=now,
                reason=form.cleaned_data["reason"],
                request_id=form.cleaned_data["request_id"],
                zone=zone(),
            )
        except ReadingRefused as refused:
            form.add_error(None, str(refused))
        else:
            messages.success(
                request, f"The reading of {counter.name} is taken back. Both stay in the list."
            )
            return redirect(home_of(counter)[0])
    beside = {
        "before": Reading.objects.of(counter).filter(at__lt=reading.at).last(),
        "after": Reading.objects.of(counter).filter(at__gt=reading.at).first(),
    }
    return draw_reading(request, "equipment/reverse_reading.html", reading, form, **beside)


def reading_of(pk: int) -> Reading:
    """The reading of an address, with whatever its page names; else there is no such page."""
    return get_object_or_404(
        Reading.objects.select_related(
            "counter__rig", "counter__component__type__kind", "author", "reversal__author"
        ),
        pk=pk,
        reverses__isnull=True,
    )


def draw_reading(
    request: PageRequest, template: str, reading: Reading, form: BaseForm, **more: Any
) -> HttpResponse:
    """A page about one reading: on a rig's, what holds the rig stands too."""
    back_url, back_label = home_of(reading.counter)
    context = {
        "reading": reading,
        "taken_back": getattr(reading, "reversal", None),
        "form": form,
        "back_url": back_url,
        "back_label": back_label,
        **more,
    }
    if rig := reading.counter.rig:
        context = of_rig(rig, **context)
    return draw(request, template, context)


@require_http_methods(["GET", "HEAD", "POST"])
def reverse_drum(request: PageRequest, pk: int) -> HttpResponse:
    """Take a drum level back; both rows stay to be read."""
    now = timezone.now()
    level = get_object_or_404(
        DrumLevel.objects.select_related("rig", "author"), pk=pk, reverses__isnull=True
    )
    back_url = address("equipment:readings", args=[level.rig.number])
    form = ReverseLevelForm(typed(request), now=now)
    if is_sound(request, form):
        try:
            reverse_level(
                level=level,
                author=request.user,
                at=now,
                reason=form.cleaned_data["reason"],
                request_id=form.cleaned_data["request_id"],
            )
        except LevelRefused as refused:
            form.add_error(None, str(refused))
        else:
            messages.success(request, f"The {level.side} drum level is taken back.")
            return redirect(back_url)
    context = of_rig(
        level.rig,
        form=form,
        title="Take a drum level back",
        intro=f"{level.side} drum: {drums.gallons_text(level.left)} gal left, "
        f"entered by {level.author}. The list keeps it, struck through.",
        submit="Take it back",
        back_url=back_url,
        back_label="the readings",
    )
    return draw(request, "equipment/form.html", context)


def asks(form: FacesOfARig, *, at: datetime, is_day_only: bool = False) -> bool:
    """Ask about what is unusual, once; whether there was something to ask."""
    readings = form.readings()
    doubts = form.doubts(unusual(readings, at=at, is_day_only=is_day_only))
    if doubts:
        form.ask(doubts, impossible(readings, at=at, is_day_only=is_day_only))
    return bool(doubts)


def _stored(request: PageRequest, form: ReadingsForm) -> str:
    """The hash of the photo, or nothing: a full disk takes the photo and not the readings."""
    if form.picture is None:
        return form.held
    try:
        return store_picture(form.picture)
    except OSError:
        logger.exception("The photo of a face could not be stored.")
        messages.warning(request, "The photo could not be stored. Tell whoever runs the server.")
        return ""


def _hold(form: ReadingsForm, picture: Picture) -> None:
    """Keep a photo for the next try: a browser does not give a file back."""
    try:
        form.hold(store_picture(picture))
    except OSError:
        logger.exception("The photo of a face could not be stored.")
        form.add_error("photo", "The photo could not be stored. Tell whoever runs the server.")


def counters_of(rig: Rig, fitted: Iterable[Installation]) -> list[tuple[Counter, str]]:
    """The counters of a rig, then those of what sits in it, each with its place. One query."""
    places = {row.component_id: row for row in fitted}
    found = counters_for(rig, [row.component for row in places.values()])
    of_the_rig = [(counter, "") for counter in found if counter.rig_id]
    travelling = [
        (counter, places[counter.component_id].position)
        for counter in found
        if counter.component_id
    ]
    travelling.sort(key=lambda each: each[1].order)
    return [*of_the_rig, *((counter, place.label) for counter, place in travelling)]


def carrying(rig: Rig) -> QuerySet[Installation]:
    """What sits in a rig with a counter of its own: mostly nothing."""
    return (
        Installation.objects.filter(
            position__rig=rig, removed_at__isnull=True, component__counters__is_retired=False
        )
        .select_related("position__kind", "component")
        .distinct()
    )


def _last_readings(counters: list[Counter]) -> list[Reading]:
    """The last ones, newest first; the first of each sending carries its photo."""
    rows = list(
        Reading.objects.filter(counter__in=counters, reverses__isnull=True)
        .select_related("counter", "author", "reversal__author")
        .order_by("-at", "-pk")[:LAST_ROWS]
    )
    photos = photos_of(row.request_id for row in rows)
    for row in rows:
        row.photo = photos.pop(row.request_id, "")  # type: ignore[attr-defined]
    return rows


def _drums(rig: Rig, shop: Any) -> dict[str, Any]:
    """The last dips of a rig, newest first, and what they say against the counters."""
    levels = list(
        DrumLevel.objects.filter(rig=rig, reverses__isnull=True)
        .select_related("author", "reversal__author")
        .order_by("-at", "-pk")[:LAST_LEVELS]
    )
    return {"levels": levels, "drums_say": _drums_say(rig, shop) if levels else {}}


def _drums_say(rig: Rig, shop: Any) -> dict[str, str]:
    """One plain line a side: drums against counters."""
    found = comparisons(rig=rig, error=Decimal(shop.drum_error_gallons))
    return {side: drums.sentence(side, found[side]) for side in sorted(found)}


def home_of(counter: Counter) -> tuple[str, str]:
    """The page that a counter's readings are taken on."""
    if counter.rig:
        return rig_url(counter.rig), f"rig {counter.rig}"
    assert counter.component
    return component_url(counter.component), counter.component.tag


def _grades(rig: Rig, today: date, warning_days: int) -> Grades:
    """How near each service of a rig is, without what it is called: most stay as they were."""
    rows = Due.objects.filter(rig=rig).values_list(
        "pk", "due_date", "late_date", "is_past_due", "is_past_tolerance"
    )
    return {
        pk: STATES.index(
            dates.state(
                due_date=due_date,
                late_date=late_date,
                is_past_due=is_past_due,
                is_past_tolerance=is_past_tolerance,
                today=today,
                warning_days=warning_days,
            )
        )
        for pk, due_date, late_date, is_past_due, is_past_tolerance in rows
    }


def _what_changed(kept: int, dipped: int, before: Grades, after: Grades) -> str:
    """Say it: "3 readings kept. Now overdue: gun, side seals. Now due: pump A, packing."."""
    nearer = [pk for pk, grade in after.items() if grade > before.get(pk, 0)]
    nearer.sort(key=lambda pk: -after[pk])
    names = _names(nearer[:SAID_AT_MOST])
    said = []
    if kept or not dipped:
        said.append(f"{kept} reading{'s' if kept != 1 else ''} kept.")
    if dipped:
        said.append(f"{dipped} drum level{'s' if dipped != 1 else ''} kept.")
    for grade, group in groupby(names, key=lambda pk: after[pk]):
        said.append(f"Now {STATE_WORDS[STATES[grade]]}: {'; '.join(names[pk] for pk in group)}.")
    if len(nearer) > SAID_AT_MOST:
        said.append(f"So are {len(nearer) - SAID_AT_MOST} more: see the rig.")
    return " ".join(said)


def _names(pks: Sequence[int]) -> dict[int, str]:
    """What these due rows are called, in the order given. No query for none."""
    if not pks:
        return {}
    rows = Due.objects.select_related("kind", "position__kind", "version__service").in_bulk(pks)
    return {pk: f"{_place(rows[pk])}, {rows[pk].version.service}" for pk in pks}


def _place(due: Due) -> str:
    return due.position.label if due.position else str(due.kind)
