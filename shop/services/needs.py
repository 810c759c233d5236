"""Which parts a service needs each time it is done, and what they cost on the due list."""

from collections.abc import Iterable

from django.db import transaction

from equipment.models import Service
from equipment.services.pricing import set_kit_cents
from inventory.models import Part
from shop.models import PartsNeed


class NeedRefused(ValueError):
    """What a service cannot need, in plain words."""


@transaction.atomic
def set_need(*, service: Service, part: Part, quantity_steps: int) -> PartsNeed:
    """A service needs so much of a part, > 0; said again, the new figure counts."""
    if quantity_steps <= 0:
        raise NeedRefused("A service needs more than nothing of a part.")
    if part.retired:
        raise NeedRefused(f"{part} is retired.")
    need, _ = PartsNeed.objects.update_or_create(
        service=service, part=part, defaults={"quantity_steps": quantity_steps}
    )
    refresh_kit_cents(services=[service.pk])
    return need


@transaction.atomic
def drop_need(*, need: PartsNeed) -> None:
    """A service no longer needs a part. Sheets drafted before keep it."""
    service = need.service_id
    need.delete()
    refresh_kit_cents(services=[service])


def refresh_kit_cents(*, services: Iterable[int] | None = None) -> int:
    """Keep with services and their due rows what their parts usually cost, as `kits` prices them.

    services: their keys; None: all. Returns how many rows were changed.
    """
    asked = Service.objects.all() if services is None else Service.objects.filter(pk__in=services)
    with transaction.atomic():
        prices = dict.fromkeys(asked.order_by("pk").values_list("pk", flat=True), 0)
        for need in PartsNeed.objects.filter(service__in=asked).select_related("part"):
            prices[need.service_id] += need.part.cost_of(need.quantity_steps)
        return set_kit_cents(prices=prices)


def part_changed(part: Part) -> None:
    """A part may cost something else now: the services that need it follow."""
    services = list(
        PartsNeed.objects.filter(part=part).order_by("service").values_list("service", flat=True)
    )
    if services:
        refresh_kit_cents(services=services)
