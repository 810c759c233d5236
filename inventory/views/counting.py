"""Counts of places and checks of drawers: what is due, entering, and what a manager decides."""

from datetime import datetime
from typing import Any
from uuid import uuid4

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST

from inventory.forms.counting import EntryForm, RowForm, StartForm
from inventory.models import Count, Location, Part, StockPolicy
from inventory.quantities import format_money
from inventory.services import StockRefused, counting, in_words
from inventory.views.common import draw, is_sound, signed_in, typed

PLACES_SHOWN = 50
Context = dict[str, Any]


@require_http_methods(["GET", "HEAD", "POST"])
def counts(request: HttpRequest) -> HttpResponse:
    """Counts under way and to approve, and the places that are due. Sent: a count begins."""
    now, today = timezone.now(), timezone.localdate()
    wanted = Location.objects.filter(code=request.GET.get("place", "").replace("\0", "")).first()
    kind = "drawer" if wanted and wanted.kind == Location.Kind.DRAWER else "cycle"
    form = StartForm(typed(request), now=now, initial={"location": wanted, "kind": kind})
    if is_sound(request, form):
        data = form.cleaned_data
        try:
            count = counting.start_count(
                location=data["location"],
                kind=data["kind"],
                author=signed_in(request),
                at=now,
                request_id=data["request_id"],
            )
        except counting.CountedAlready as already:
            if already.count.started_by_id == signed_in(request).pk:
                return redirect("inventory:count", already.count.number)
            form.add_error("location", str(already))
        except StockRefused as refused:
            form.add_error("location", str(refused))
        else:
            return redirect("inventory:count", count.number)
    places = counting.places_to_count(today=today, since=now - counting.YEAR)
    under_way = list(counting.open_counts())
    context = {
        "form": form,
        "places": places[:PLACES_SHOWN],
        "today": today,
        "open": [each for each in under_way if each.state == Count.State.OPEN],
        "to_approve": [
            (each, _sums(each, request)) for each in under_way if each.state == Count.State.COUNTED
        ],
    }
    return draw(request, "inventory/counts.html", context)


@require_http_methods(["GET", "HEAD", "POST"])
def count(request: HttpRequest, number: int) -> HttpResponse:
    """One count: entering while it is open, then its variance."""
    now = timezone.now()
    subject = _get(number)
    form = EntryForm(now=now, initial={"number": request.GET.get("part", "")})
    context: Context = {}
    if request.method == "POST":
        do = request.POST.get("do", "enter")
        if do == "enter":
            form = EntryForm(request.POST, now=now)
        try:
            if do != "enter" or form.is_valid():
                done, beside = _do(do, request, subject, form, now)
                if done:
                    messages.success(request, done)
                    return redirect(reverse("inventory:count", args=[subject.number]) + beside)
        except counting.NotEntered as asked:
            context["asked"] = asked.parts
        except StockRefused as refused:
            subject.refresh_from_db()
            if do == "enter" and subject.state == Count.State.OPEN:
                form.send_anew()
                form.add_error("quantity", str(refused))
            else:
                context["refused"] = _refusal(do, request, subject, refused)
    subject.refresh_from_db()
    return draw(request, "inventory/count.html", context | _page(request, subject, form))


@require_POST
def settle_count(request: HttpRequest, number: int) -> HttpResponse:
    """Post what differs, have lines counted again, or drop the whole."""
    now, author = timezone.now(), signed_in(request)
    subject = _get(number)
    do = request.POST.get("do", "")
    ticked = set(request.POST.getlist("line"))
    try:
        if do == "approve":
            seen = request.POST.get("seen", "")
            if subject.state == Count.State.COUNTED and seen != _seen(subject):
                raise StockRefused("It was counted anew meanwhile. Look at it again.")
            rows = counting.approve_count(
                count=subject, author=author, at=now, seen=subject.counted_at
            )
            done = f"Posted: {len(rows)} line{'s' if len(rows) != 1 else ''} in the ledger."
        elif do == "recount":
            parts = [line.part for line in subject.lines.select_related("part")]
            counting.recount(count=subject, parts=[p for p in parts if str(p.pk) in ticked])
            done = "To be counted again."
        elif do == "drop":
            counting.drop_count(count=subject, author=author, at=now)
            done = f"Count {subject.number} is dropped. Nothing is posted."
        else:
            raise StockRefused("Choose what to do with this count.")
    except StockRefused as refused:
        subject.refresh_from_db()
        row = str(refused.part.pk) if isinstance(refused, counting.NoLongerThere) else ""
        page = _page(request, subject, EntryForm(now=now))
        page |= {"refused": {"at": "settle", "row": row, "text": str(refused)}, "ticked": ticked}
        return draw(request, "inventory/count.html", page)
    messages.success(request, done)
    return redirect("inventory:count", subject.number)


def _seen(subject: Count) -> str:
    return subject.counted_at.isoformat() if subject.counted_at else ""


def _refusal(do: str, request: HttpRequest, subject: Count, refused: StockRefused) -> Context:
    """What was refused, and beside which row or button it stands, while those are there."""
    word, _, rest = do.partition(" ")
    if subject.state != Count.State.OPEN:
        return {"at": "settle", "row": "", "text": str(refused)}
    row = request.POST.get("kit", "") if word == "robbed" else rest.partition(" ")[0]
    return {"at": word, "row": row, "text": str(refused)}


def _get(number: int) -> Count:
    found = Count.objects.select_related("location", "started_by", "settled_by")
    subject = found.filter(number=number).first()
    if subject is None:
        raise Http404(f"There is no count {number}.")
    return subject


def _do(
    do: str, request: HttpRequest, subject: Count, form: EntryForm, now: datetime
) -> tuple[str, str]:
    """Do what the button says. Returns what was done, in words, and where the page goes on.

    The words are empty where it asks back.
    """
    who: Context = {"count": subject, "author": signed_in(request), "at": now}
    if do == "enter":
        part = form.part
        assert part is not None  # the form is valid
        books = counting.books_of(subject).get(part.pk, 0)
        asks = counting.is_strange(part, counted_steps=form.steps, books_steps=books)
        if asks and not form.cleaned_data["sure"]:
            form.add_error("sure", f"{in_words(part, form.steps)} of {part}: is that right?")
            return "", ""
        line = counting.enter_counted(
            part=part,
            counted_steps=form.steps,
            event_id=form.cleaned_data["request_id"],
            drawn_at=form.cleaned_data["drawn_at"],
            **who,
        )
        beside = "#other" if subject.kind == Count.Kind.DRAWER else "#enter"
        return f"{part.number}: {_some(line.part, line.counted_steps)} counted.", beside
    if do == "finish":
        said = {pk for pk in request.POST.getlist("none") if pk.isascii() and pk.isdecimal()}
        none_of = [part for part in counting.not_entered(subject) if str(part.pk) in said]
        done = counting.finish_count(none_of=none_of, **who)
        if done.state == Count.State.POSTED:
            return "Finished. All is as the books say.", ""
        return "Finished. A manager approves what differs.", ""
    if do == "rest":
        counting.enter_as_booked(parts=counting.not_entered(subject), **who)
        return "All the rest is there.", "#finish"
    if do == "drop":
        if subject.state != Count.State.OPEN:
            raise counting.CountClosed(subject)
        counting.drop_count(**who)
        return f"Count {subject.number} is dropped. Nothing is posted.", ""
    sent = RowForm(request.POST, now=now)
    if not sent.is_valid():
        raise StockRefused("The page came incomplete. Send it again.")
    if do == "robbed":
        return _robbed(request, sent, who)
    # A row of a drawer check: "set 17 3" says that 3 steps of part 17 are there, "set 17 all" that
    # all of it is.
    word, _, rest = do.partition(" ")
    pk, _, steps = rest.partition(" ")
    rows = {str(row["part"].pk): row["part"] for row in _drawer_rows(subject)}
    is_number = steps.isascii() and steps.isdecimal() and len(steps) < 16
    if word != "set" or pk not in rows or not (is_number or steps == "all"):
        raise StockRefused("The page came incomplete. Send it again.")
    line = counting.enter_counted(
        part=rows[pk],
        counted_steps=int(steps) if is_number else None,
        event_id=sent.cleaned_data["request_id"],
        drawn_at=sent.cleaned_data["drawn_at"],
        **who,
    )
    return f"{rows[pk].number}: {_some(line.part, line.counted_steps)} there.", f"#row-{pk}"


def _some(part: Part, steps: int) -> str:
    return in_words(part, steps) if steps else "none"


def _robbed(request: HttpRequest, sent: RowForm, who: Context) -> tuple[str, str]:
    """One kit of the drawer lacks what was ticked; the kits left are what the books now have."""
    subject = who["count"]
    pk = request.POST.get("kit", "")
    kits = {str(row["part"].pk): row["part"] for row in _drawer_rows(subject) if row["is_kit"]}
    if pk not in kits:
        raise StockRefused("Choose a kit of this drawer.")
    kit: Part = kits[pk]
    ticked = set(request.POST.getlist("missing"))
    counting.find_robbed(
        kit=kit,
        missing={
            line.part: line.quantity_steps
            for line in kit.lines.select_related("part")
            if str(line.part_id) in ticked
        },
        request_id=sent.cleaned_data["request_id"],
        **who,
    )
    return f"{kit.number}: one is robbed, and no longer counted as whole.", f"#row-{pk}"


def _page(request: HttpRequest, subject: Count, form: EntryForm) -> Context:
    is_open = subject.state == Count.State.OPEN
    is_drawer = is_open and subject.kind == Count.Kind.DRAWER
    left = counting.not_entered(subject) if is_open else []
    if left and not is_drawer and not form.is_bound:
        form.begin_with(left)
    lines = _lines(subject, request)
    rows = _drawer_rows(subject) if is_drawer else []
    return {
        "count": subject,
        "form": form,
        "parts": Part.objects.filter(retired=False).order_by("number") if is_open else (),
        "left": left,
        "rows": [row for row in rows if row["should"] or row["is_entered"]],
        "wanted": [row for row in rows if not row["should"] and not row["is_entered"]],
        "is_drawer": is_drawer,
        "drawn_at": form.now.isoformat(),
        "seen": _seen(subject),
        "lines": lines,
        "same_count": sum(not line["differs"] for line in lines),
        "sums": _sums(subject, request) if subject.state == Count.State.COUNTED else "",
    }


def _drawer_rows(subject: Count) -> list[Context]:
    """What should be in a drawer: what the books say, and what its levels ask for."""
    books = counting.books_of(subject)
    asked = dict(
        StockPolicy.objects.filter(location=subject.location_id).values_list(
            "part", "order_up_to_steps"
        )
    )
    entered = dict(subject.lines.values_list("part", "counted_steps"))
    wanted = books.keys() | asked.keys() | entered.keys()
    rows = []
    for part in (
        Part.objects.filter(pk__in=wanted).prefetch_related("lines__part").order_by("number")
    ):
        should = books.get(part.pk, 0)
        shown = entered.get(part.pk, should)
        step = part.steps_per_unit
        rows.append(
            {
                "part": part,
                "should": should,
                "should_words": _some(part, should),
                "asked_words": in_words(part, asked[part.pk]) if part.pk in asked else "",
                "shown_words": _some(part, shown),
                "is_entered": part.pk in entered,
                "less": max(0, shown - step),
                "more": shown + step,
                "is_kit": part.is_kit,
                "pieces": list(part.lines.all()) if part.is_kit and should else [],
                "sent": uuid4(),
            }
        )
    return rows


def _lines(subject: Count, request: HttpRequest) -> list[Context]:
    symbol = request.shop.currency  # type: ignore[attr-defined]
    rows = []
    # What differs is what a manager decides about.
    found = counting.variances(subject)
    if subject.state != Count.State.OPEN:
        found.sort(key=lambda each: not each.line.difference_steps)
    for each in found:
        line, value = each.line, each.value_cents
        steps = line.difference_steps
        sign = "+" if steps > 0 else "−"
        rows.append(
            {
                "line": line,
                "part": line.part,
                "counted": _some(line.part, line.counted_steps),
                "books": _some(line.part, line.books_steps),
                "difference": f"{sign}{in_words(line.part, abs(steps))}" if steps else "none",
                "value": "no longer there" if value is None else format_money(value, symbol),
                "differs": bool(steps),
            }
        )
    return rows


def _sums(subject: Count, request: HttpRequest) -> str:
    """How much a count differs, in words."""
    symbol = request.shop.currency  # type: ignore[attr-defined]
    found = counting.variances(subject)
    differ = [each for each in found if each.line.difference_steps]
    if not differ:
        return "Everything is as the books say."
    total = sum(each.value_cents or 0 for each in differ)
    parts = f"{len(differ)} of {len(found)} part{'s' if len(found) != 1 else ''}"
    verb = "differs" if len(differ) == 1 else "differ"
    return f"{parts} {verb}, {format_money(total, symbol)} in all."
