"""Places, and what lies in each."""

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_safe
from django_tables2 import RequestConfig

from inventory.filters import PlaceFilter
from inventory.forms.fields import SentForm
from inventory.forms.places import PlaceForm
from inventory.models import Balance, Location, Reservation
from inventory.sentences import source_name
from inventory.services import StockRefused, create_location, retire_location
from inventory.tables import PlaceTable, units
from inventory.views.common import draw, is_sound, put_beside, signed_in, typed

PLACES_A_PAGE = 50


@require_safe
def locations(request: HttpRequest) -> HttpResponse:
    """All places, with how many parts lie there."""
    found = PlaceFilter(request.GET, queryset=Location.objects.for_places_list())
    table = PlaceTable(found.qs, empty_text="There is no such place yet.")
    RequestConfig(request, paginate={"per_page": PLACES_A_PAGE, "silent": True}).configure(table)
    context = {"filter": found, "table": table}
    status = 200 if found.form.is_valid() else 422
    return render(request, "inventory/locations.html", context, status=status)


def get_location(code: str) -> Location:
    """The place of an address, else a page that says so."""
    place = Location.objects.filter(code=code).first()
    if place is None:
        raise Http404(f"There is no place {code}.")
    return place


@require_http_methods(["GET", "HEAD", "POST"])
def location(request: HttpRequest, code: str) -> HttpResponse:
    """What lies in a place, and what of it is promised. Sent: the empty place is retired."""
    now = timezone.now()
    place = get_location(code)
    form = SentForm(typed(request), now=now)
    if is_sound(request, form):
        try:
            retire_location(location=place, author=signed_in(request), at=now)
        except StockRefused as refused:
            put_beside(form, refused)
        else:
            messages.success(request, f"{place} is retired: nothing is put there any more.")
            return redirect("inventory:locations")
    promises = Reservation.objects.for_list().filter(location=place)
    context = {
        "place": place,
        "rows": [
            {"balance": balance, "quantity": units(balance.part, balance.quantity_steps)}
            for balance in Balance.objects.for_place(place)
        ],
        "promises": [
            {
                "part": row.part,
                "quantity": units(row.part, row.quantity_steps),
                "source": source_name(row.source_kind, row.source_number),
                "row": row,
            }
            for row in promises
        ],
        "form": form,
    }
    return draw(request, "inventory/location.html", context)


@require_http_methods(["GET", "HEAD", "POST"])
def new_location(request: HttpRequest) -> HttpResponse:
    """Add a place."""
    now = timezone.now()
    form = PlaceForm(typed(request), now=now)
    if is_sound(request, form):
        data = {name: form.cleaned_data[name] for name in ("code", "name", "kind")}
        try:
            made = create_location(**data, author=signed_in(request), at=now)
        except StockRefused as refused:
            put_beside(form, refused, number="code")
        else:
            messages.success(request, f"{made} is there to be filled.")
            return redirect("inventory:locations")
    context = {
        "form": form,
        "title": "New place",
        "submit": "Add the place",
        "back_url": reverse("inventory:locations"),
        "back_label": "All places",
    }
    return draw(request, "inventory/form.html", context)
