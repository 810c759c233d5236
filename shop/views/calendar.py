"""A person's calendar: the page about its address, and the calendar itself behind the address."""

from dataclasses import dataclass
from datetime import datetime
from hashlib import sha256

from django.contrib import messages
from django.http import HttpRequest, HttpResponse, HttpResponseNotFound
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.cache import get_conditional_response
from django.views.decorators.cache import never_cache
from django.views.decorators.debug import sensitive_post_parameters, sensitive_variables
from django.views.decorators.http import require_http_methods, require_safe

from shop import feeds, words
from shop.forms.calendar import PAGE_IS_OLD, ChoicesForm, KeyForm, fresh_key
from shop.http import PageRequest
from shop.ical import calendar_text
from shop.models import CalendarFeed, Person, Role, Shop
from shop.services import feeds as service
from shop.services.turning import turn_by_page


@dataclass(slots=True)
class _Sent:
    """What a person sent, as far as it could be done. made: the key of the address just made."""

    form: ChoicesForm
    is_refused: bool = False
    refusal: str = ""
    made: str = ""
    done: str = ""


@sensitive_post_parameters("key")
@sensitive_variables("sent", "address")
@never_cache
@require_http_methods(["GET", "HEAD", "POST"])
def calendar(request: PageRequest) -> HttpResponse:
    """Say what the calendar is, make its address, change, renew or stop it.

    The address is in the answer to the sending that made it, and nowhere afterwards.
    """
    at = timezone.now()
    if request.method == "POST":
        sent = _act(request, at)
        if sent.done:
            messages.success(request, sent.done)
            return redirect("shop:calendar")
    else:
        sent = _Sent(_choices(request))
    feed = service.last_feed(request.user)
    address = _address(request, sent.made) if sent.made else ""
    is_standing = feed is not None and feed.stopped_at is None
    context = {
        "form": sent.form,
        "refusal": sent.refusal,
        "key": fresh_key(request.user),
        "is_standing": is_standing,
        "stopped_text": _moment(request, feed.stopped_at) if feed else "",
        "made_text": _moment(request, feed.made_at) if feed else "",
        "fetched_text": _moment(request, feed.fetched_at) if feed else "",
        "address": address,
        # The scheme by which a device hands an address to its own calendar program.
        "opening": f"webcal:{address.partition(':')[2]}" if address else "",
    }
    return render(request, "shop/calendar.html", context, status=422 if sent.is_refused else 200)


def _act(request: PageRequest, at: datetime) -> _Sent:
    """Do what the button says that was pressed."""
    asked, person = request.POST, request.user
    form = _choices(request)
    try:
        if "stop" in asked:
            service.stop_feed(person=person, at=at)
            return _Sent(form, done="The address is stopped. Nobody gets anything there any more.")
        if "save" in asked:
            if not form.is_valid():
                return _Sent(form, is_refused=True)
            service.change_feed(person=person, choices=form.choices, at=at)
            return _Sent(form, done="Saved. Your calendar shows it when it next fetches.")
        if "renew" in asked:
            last = service.last_feed(person)
            choices = service.choices_of(last) if last else _first_choices(person)
        elif form.is_valid():
            choices = form.choices
        else:
            return _Sent(form, is_refused=True)
        key = KeyForm(asked, person=person)
        if not key.is_valid():
            return _Sent(form, is_refused=True, refusal=PAGE_IS_OLD)
        service.make_feed(person=person, key=key.cleaned_data["key"], choices=choices, at=at)
    except service.FeedRefused as refused:
        return _Sent(form, is_refused=True, refusal=str(refused))
    return _Sent(form, made=key.cleaned_data["key"])


def _choices(request: PageRequest) -> ChoicesForm:
    """The form as it was sent, or with what holds now."""
    feed = service.last_feed(request.user)
    chosen = service.choices_of(feed) if feed else _first_choices(request.user)
    initial = {
        "services": chosen.services,
        "has_jobs": chosen.has_jobs,
        "sheets": chosen.sheets,
        "only_rigs": chosen.only_rigs,
    }
    has_typed = request.method == "POST" and not {"renew", "stop"} & request.POST.keys()
    return ChoicesForm(request.POST if has_typed else None, initial=initial)


def _first_choices(person: Person) -> service.Choices:
    """What stands in the form before anything was ever chosen: sheets reach who works on them."""
    own = person.role == Role.TECHNICIAN
    sheets = CalendarFeed.Sheets.MINE if own else CalendarFeed.Sheets.ALL
    return service.Choices(CalendarFeed.Services.ALL, True, sheets)


def _address(request: HttpRequest, key: str) -> str:
    return request.build_absolute_uri(reverse("shop:calendar_feed", args=[key]))


def _moment(request: PageRequest, at: datetime | None) -> str:
    if at is None:
        return ""
    return words.moment(at, zone=request.shop.zone, today=request.today)


@sensitive_variables("key")
@require_safe
def calendar_feed(request: PageRequest, key: str) -> HttpResponse:
    """The calendar behind an address, for a calendar program; it has no session and gets none.

    An address that never was, was stopped, or whose person may sign in no more: all answer alike.
    The tag is that of the entries, not of their bytes, in which the moment of the fetch stands;
    hence it is a weak one (RFC 9110, 8.8.1).
    """
    at = timezone.now()
    feed = service.find_feed(key)
    if feed is None:
        gone = HttpResponseNotFound("There is no calendar here.\n", content_type="text/plain")
        return _for_its_reader_only(gone)
    shop: Shop = request.shop
    # It may be the day's first visitor: the middleware turns the day only for who is signed in.
    turn_by_page(shop=shop, today=request.today)
    rigs = service.choices_of(feed).only_rigs
    site = request.build_absolute_uri("/").removesuffix("/")
    entries = feeds.entries_of(feed, rigs=rigs, today=request.today, shop=shop, site=site)
    service.note_fetch(feed=feed, at=at)
    name = f"{shop.name}: {feed.person.name}"
    about = f"What falls due, jobs and sheets, as {shop.name} shows them to {feed.person.name}."
    tag = f'W/"{sha256(repr((name, entries)).encode()).hexdigest()}"'
    response = get_conditional_response(request, etag=tag)
    if response is None:
        content = calendar_text(entries, name=name, about=about, at=at)
        response = HttpResponse(content, content_type="text/calendar; charset=utf-8")
        response["Content-Disposition"] = 'inline; filename="calendar.ics"'
    response["ETag"] = tag
    return _for_its_reader_only(response)


def _for_its_reader_only(response: HttpResponse) -> HttpResponse:
    """Kept by no cache on the way, found by no search, named to no other page."""
    response["Cache-Control"] = "private, no-cache"
    response["X-Robots-Tag"] = "noindex"
    response["Referrer-Policy"] = "no-referrer"
    return response
