"""What stands before every page: the shop with its clock, who may do what, in which language."""

import logging
from collections.abc import Callable
from typing import Any

from django.conf import settings
from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.utils import timezone, translation

from shop import access, signed_out, spoken
from shop.models import Person, Shop
from shop.services.turning import turn_by_page

GetResponse = Callable[[HttpRequest], HttpResponse]

logger = logging.getLogger(__name__)


class ShopMiddleware:
    """Give each request its shop and its day, in the shop's zone; without a shop, found one."""

    def __init__(self, get_response: GetResponse) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        shop = Shop.objects.first()
        request.shop = shop  # type: ignore[attr-defined]
        zone = shop.zone if shop else timezone.get_default_timezone()
        with timezone.override(zone), translation.override(settings.LANGUAGE_CODE):
            request.now = timezone.now()  # type: ignore[attr-defined]
            request.today = timezone.localdate()  # type: ignore[attr-defined]
            if shop is None and request.path != reverse("shop:welcome"):
                return redirect("shop:welcome")
            return self.get_response(request)


class AccessMiddleware:
    """Let through whom the table names; ask the others to sign in, or say whose page it is."""

    def __init__(self, get_response: GetResponse) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        return self.get_response(request)

    def process_view(
        self, request: HttpRequest, view: Callable[..., Any], args: Any, kwargs: Any
    ) -> HttpResponse | None:
        name = request.resolver_match.view_name if request.resolver_match else ""
        request.language_at = (  # type: ignore[attr-defined]
            lambda address: spoken.language_at(address, request.user)  # type: ignore[arg-type]
        )
        who = access.allowed(name, request.method or "GET")
        if who is None:
            logger.error("%s has no row in shop/access.py, and is closed to everybody.", name)
            raise PermissionDenied("Nobody has been given leave to use this page yet.")
        if who == access.PUBLIC:
            if name in spoken.SPOKEN:
                # A phone sends without a session too: it says in which language its page is.
                translation.activate(translation.get_language_from_request(request))
            return None
        person = request.user
        if not isinstance(person, Person):
            return signed_out.answer(request)
        if not access.may(person, name, request.method or "GET"):
            raise PermissionDenied(
                f"This is for {access.spoken(who)}. You are signed in as {person.name}, "
                f"{person.get_role_display().lower()}."
            )
        # Until the answer is made: ShopMiddleware puts the language back.
        translation.activate(spoken.language_of(name, person))
        if signed_out.typed_by_another(request, person):
            return signed_out.belongs_to_another(request)
        # The day's first page turns the day. What is sent finds the day as its page showed it.
        if request.method in ("GET", "HEAD"):
            with translation.override(settings.LANGUAGE_CODE):  # what it writes is for the office
                turn_by_page(shop=request.shop, today=request.today)  # type: ignore[attr-defined]
        return None
