"""What a view of ours is handed, and paper as it is handed back."""

from datetime import datetime

from django.http import HttpResponse
from django_htmx.middleware import HtmxDetails

from equipment.views import common
from shop.models import Person, Shop
from shop.paper.content import PageSize


class PageRequest(common.PageRequest):
    """The request behind AccessMiddleware, on an address that asks for somebody signed in."""

    shop: Shop
    #: The moment at which it came in.
    now: datetime
    htmx: HtmxDetails
    user: Person


def page_size_of(request: PageRequest) -> PageSize:
    """The paper asked for with ?paper=, or Letter or A4 as the shop's units go."""
    match request.GET.get("paper"):
        case "letter":
            return "letter"
        case "a4":
            return "a4"
        case _:
            return usual_size(request.shop)


def usual_size(shop: Shop) -> PageSize:
    """The paper in the printers of a shop, as its units go."""
    return "letter" if shop.units == "us" else "a4"


def pdf_response(content: bytes, *, name: str) -> HttpResponse:
    """A PDF that opens in the browser and is saved as `name`.pdf."""
    response = HttpResponse(content, content_type="application/pdf")
    response["Content-Disposition"] = f'inline; filename="{name}.pdf"'
    return response
