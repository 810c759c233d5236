"""Which parts a service needs each time it is done."""

from django.db import transaction

from equipment.models import Service
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
    return need


@transaction.atomic
def drop_need(*, need: PartsNeed) -> None:
    """A service no longer needs a part. Sheets drafted before keep it."""
    need.delete()
