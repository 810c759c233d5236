"""Where one may go from here: an address, or nothing where the person has no business there."""

from urllib.parse import urlencode

from django.contrib.auth.models import AnonymousUser
from django.urls import reverse

from shop.access import may
from shop.http import PageRequest
from shop.models import Person


def address(person: Person | AnonymousUser | None, view_name: str, *args: object) -> str:
    """Return the address of a page the person may look at; empty when they may not."""
    return reverse(view_name, args=args) if may(person, view_name) else ""


def put_off(request: PageRequest, tag: str, service: int) -> str:
    """Return the page that puts a service of a component off and comes back to this one."""
    url = address(request.user, "equipment:put_off", tag, service)
    return f"{url}?{urlencode({'back': request.get_full_path()})}" if url else ""
