"""What every page knows: the shop, the person, the day, and where one may go."""

from typing import Any, NamedTuple

from django.http import HttpRequest
from django.urls import reverse
from django.utils import translation
from django.utils.functional import Promise
from django.utils.translation import gettext, gettext_lazy

from shop.access import may
from shop.models import Person, Role


class SignedIn(NamedTuple):
    """Who is signed in, in words."""

    name: str
    role: str


class NavLink(NamedTuple):
    """One word of the bar on top."""

    label: str
    url: str
    current: bool


#: Anybody reports found work from any page; those who find most have it at the thumb.
REPORT = (gettext_lazy("Found work"), "equipment:report")
#: The bar by role: word, address.
NAV: dict[str, tuple[tuple[str | Promise, str], ...]] = {
    Role.MANAGER: (
        (gettext_lazy("Today"), "shop:today"),
        (gettext_lazy("Rigs"), "shop:rigs"),
        (gettext_lazy("Due"), "shop:due"),
        (gettext_lazy("Sheets"), "shop:sheets"),
        (gettext_lazy("Parts"), "inventory:parts"),
        (gettext_lazy("Buying"), "inventory:buying"),
        (gettext_lazy("Spend"), "shop:spend"),
        (gettext_lazy("Shop"), "shop:settings"),
    ),
    Role.TECHNICIAN: (
        (gettext_lazy("Today"), "shop:today"),
        (gettext_lazy("Rigs"), "shop:rigs"),
        REPORT,
        (gettext_lazy("Sheets"), "shop:sheets"),
        (gettext_lazy("Parts"), "inventory:parts"),
    ),
    Role.OWNER: (
        (gettext_lazy("Today"), "shop:today"),
        (gettext_lazy("Rigs"), "shop:rigs"),
        (gettext_lazy("Spend"), "shop:spend"),
        (gettext_lazy("Parts"), "inventory:parts"),
        (gettext_lazy("Buying"), "inventory:buying"),
        (gettext_lazy("Sheets"), "shop:sheets"),
    ),
}

#: Rarer pages, reached by a word whose address they do not begin with.
BELOW: dict[str, tuple[str, ...]] = {
    "inventory:buying": ("inventory:orders", "inventory:suppliers", "inventory:cores"),
    "inventory:parts": ("inventory:keeping", "inventory:counts", "shop:find", "shop:labels"),
    "shop:rigs": ("shop:jobs", "shop:drawers"),
    "shop:sheets": ("shop:unsettled",),
    "shop:settings": (
        "shop:people",
        "shop:import",
        "shop:cautions",
        "equipment:components",
        "equipment:services",
        "inventory:locations",
    ),
}


def page(request: HttpRequest) -> dict[str, Any]:
    """Give the frame of a page its content; a request that broke early has less of it."""
    shop = getattr(request, "shop", None)
    person = getattr(request, "user", None)
    known = person if isinstance(person, Person) else None
    return {
        "shop": shop,
        "shop_name": shop.name if shop else "",
        "person": SignedIn(known.name, known.get_role_display()) if known else None,
        "calendar_url": reverse("shop:calendar") if may(known, "shop:calendar") else "",
        "report_url": reverse("equipment:report") if may(known, "equipment:report") else "",
        "own_url": reverse("shop:own") if may(known, "shop:own") else "",
        "own_label": _own_label(known),
        "report_in_nav": known is not None and REPORT in NAV[known.role],
        "sign_out_url": reverse("shop:sign_out"),
        "today": getattr(request, "today", None),
        "nav": nav(request, known) if known else [],
    }


def _own_label(person: Person | None) -> str:
    """The way to one's own language is said in it on every page."""
    with translation.override(person.language if person else None):
        return gettext("Language and units")


def nav(request: HttpRequest, person: Person) -> list[NavLink]:
    """Return the bar for a person; the page below a word also lights that word."""
    links = [
        (str(label), reverse(name), [reverse(below) for below in BELOW.get(name, ())])
        for label, name in NAV[person.role]
        if may(person, name)
    ]
    holds = {
        url: label
        for label, own, below in links
        for url in (own, *below)
        if _is_under(request.path, url)
    }
    here = holds[max(holds, key=len)] if holds else ""
    return [NavLink(label, url, label == here) for label, url, _ in links]


def _is_under(path: str, url: str) -> bool:
    return path == url if url == "/" else path.startswith(url)
