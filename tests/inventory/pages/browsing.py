"""A page's own form sent back, and what a person reads on it."""

import re
from html import unescape
from typing import Any

from django.http import HttpResponse
from django.test import Client
from django.urls import reverse

from inventory.models import Part, StockPolicy
from tests.inventory.factories import AT, PersonFactory


class Page:
    """One page with a form: look at it once, then send it, as often as a finger slips."""

    def __init__(self, client: Client, name: str, *args: Any) -> None:
        self.client = client
        self.url = reverse(name, args=args)
        shown = client.get(self.url)
        assert shown.status_code == 200, shown.status_code
        self.request_id = request_id_of(shown)
        #: The units in which the page asks for measured values, where it does.
        self.units = dict(re.findall(r'name="(units)" value="(\w+)"', shown.content.decode()))

    def send(self, **typed: Any) -> HttpResponse:
        return self.client.post(self.url, {"request_id": self.request_id, **self.units, **typed})


def request_id_of(shown: HttpResponse) -> str:
    """The number of the sending that a page carries."""
    found = re.search(r'name="request_id" value="([0-9a-f-]{36})"', shown.content.decode())
    assert found, "The page carries no request_id."
    return found[1]


def text_of(shown: HttpResponse) -> str:
    """What a person reads on a page, in one line."""
    without_tags = re.sub(r"<[^>]+>", " ", shown.content.decode())
    return re.sub(r"\s+", " ", unescape(without_tags)).replace(" .", ".").replace(" ,", ",")


def buy_at(part: Part, point: int, up_to: int, reason: str = "by hand") -> StockPolicy:
    return StockPolicy.objects.create(
        part=part,
        reorder_point_steps=point,
        order_up_to_steps=up_to,
        set_by=PersonFactory(),
        set_at=AT,
        reason=reason,
    )
