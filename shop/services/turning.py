"""The turn of the day for the whole shop: by the night's command, or by the day's first page."""

from datetime import date
from typing import Final

from django.db import transaction
from django.db.models import Q

from equipment.models import Due
from equipment.services import rebuild_all
from equipment.services.turning import Turned, turn_day
from shop.models import Shop
from shop.services.advising import advise
from shop.services.drawer_targets import reckon_drawer_targets
from shop.services.minutes import learn_minutes
from shop.services.needs import refresh_kit_cents

#: Due rows that a page turns by itself; a larger fleet needs the command every night.
MOST_FOR_A_PAGE: Final = 5_000


def turn_shop(*, shop: Shop, today: date) -> Turned:
    """Turn rates, stays, dates, odds, learnt minutes, prices and advice to a day; twice is no harm.

    today: in the shop's zone. In a shop that was never turned, one kept since before there were
    odds, every row is first worked out anew: a turn goes by what the rows keep, and they did not
    keep all of it.
    """
    if shop.turned_on is None:
        rebuild_all(zone=shop.zone)
    turned = turn_day(today=today, zone=shop.zone)
    learn_minutes()
    refresh_kit_cents()
    reckon_drawer_targets(shop=shop, today=today)
    advise(shop=shop, today=today)
    Shop.objects.filter(pk=shop.pk).update(turned_on=today)
    return turned


def turn_by_page(*, shop: Shop, today: date) -> Turned | None:
    """Turn the day where nobody has yet and the fleet is small; None where there is nothing to do.

    Of two pages at once the second waits for the first, and then finds the day turned.
    """
    if shop.turned_on is not None and shop.turned_on >= today:
        return None
    if Due.objects.order_by()[: MOST_FOR_A_PAGE + 1].count() > MOST_FOR_A_PAGE:
        return None
    with transaction.atomic():
        late = Q(turned_on__isnull=True) | Q(turned_on__lt=today)
        if not Shop.objects.filter(late, pk=shop.pk).update(turned_on=today):
            return None
        return turn_shop(shop=shop, today=today)
