"""What a view of ours is handed: a request with its shop, its day and a person signed in."""

from datetime import date

from django.http import HttpRequest
from django_htmx.middleware import HtmxDetails

from shop.models import Person, Shop


class PageRequest(HttpRequest):
    """The request behind AccessMiddleware, on an address that asks for somebody signed in."""

    shop: Shop
    today: date
    htmx: HtmxDetails
    user: Person
