"""When each part is to be bought and up to how much: gathered, reckoned, kept.

Gathering reads everything in a number of queries that does not grow with the parts: what services
and sheets need (`needing`), what was used (`history`), how parts are bought (`buying`), what lies
in drawers (`gathering`, which puts it together). `shop.advice` reckons each part from plain
figures; the rows keep those figures with the number, and what the shop goes by (`StockPolicy`)
follows, unless a person fixed it by hand (`keeping`).
"""

from dataclasses import dataclass
from datetime import date, datetime

from django.db import transaction

from inventory.models import Part, StockAdvice, StockPolicy
from shop.advice import Given, reckon_all
from shop.models import Person, Role, Shop
from shop.services.advising.gathering import Gathered, beginning
from shop.services.advising.keeping import follow, follow_rows, keep

__all__ = ["Advised", "advise", "follow_again", "gather"]


@dataclass(frozen=True, slots=True)
class Advised:
    """What a reckoning did: parts reckoned, and policies that follow and were changed."""

    parts: int
    policies: int


def advise(
    *, shop: Shop, today: date, author: Person | None = None, at: datetime | None = None
) -> Advised:
    """Reckon the advice for every part anew, and let the policies that follow it follow.

    today: in the shop's zone. author, at: who asked for it and when; the turn of the day asks in
    the name of the first manager, as the day begins. Done twice a day it does no harm; of two at
    once the second waits.
    """
    at = at or beginning(today, shop)
    given = gather(shop=shop, today=today)
    found = dict(zip(given, reckon_all(list(given.values())), strict=True))
    with transaction.atomic():
        # One at a time: two would each add the same rows.
        Shop.objects.select_for_update().get(pk=shop.pk)
        keep(given, found, today)
        policies = follow(found, author or _first_manager(), at)
    return Advised(parts=len(found), policies=policies)


def gather(*, shop: Shop, today: date) -> dict[int, Given]:
    """Return by part all that its advice follows from."""
    return Gathered.of(shop=shop, today=today).all_given()


def follow_again(*, part: Part, author: Person, at: datetime) -> None:
    """Let what the shop goes by follow the advice again: a number fixed by hand is given up."""
    with transaction.atomic():
        Shop.objects.select_for_update().first()
        StockPolicy.objects.filter(part=part, location__isnull=True).update(
            by_hand=False, reason="", review_on=None, set_by=author, set_at=at
        )
        row = StockAdvice.objects.filter(part=part, location__isnull=True).first()
        if row is not None:
            follow_rows({part.pk: (row.reorder_point_steps, row.order_up_to_steps)}, author, at)


def _first_manager() -> Person | None:
    return Person.objects.filter(role=Role.MANAGER, is_active=True).order_by("pk").first()
