"""The least that a page and a form can do for somebody signed in."""

from decimal import Decimal
from uuid import UUID

from django.db import transaction
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.utils import timezone

from equipment.models import Reading


def hello(request: HttpRequest) -> HttpResponse:
    """Say hello to whoever is signed in."""
    return HttpResponse(f"hello {request.user}")


def empty(request: HttpRequest) -> HttpResponse:
    """A page of nothing but a box to tick."""
    return HttpResponse(
        "<!DOCTYPE html><html lang=en><meta charset=utf-8>"
        '<meta name=viewport content="width=device-width, initial-scale=1"><title>Empty</title>'
        '<link rel=icon href="data:,">'
        f"<main><label><input type=checkbox> {request.user}</label></main></html>"
    )


def row(request: HttpRequest, counter: int) -> HttpResponse:
    """Insert the one row that was sent, and nothing that follows from it.

    It is not in force, so that the life of the counter stays what its readings say.
    """
    now = timezone.now()
    with transaction.atomic():
        Reading.objects.create(
            counter_id=counter,
            at=now,
            value=Decimal(request.POST["value"]),
            author_id=request.user.pk,
            recorded_at=now,
            request_id=UUID(request.POST["request_id"]),
            is_in_force=False,
        )
    return HttpResponseRedirect("/bare/hello/")
