"""What the kits of a service cost, kept where lists sort by it; the figure is told by the shop."""

from collections.abc import Mapping

from django.db import transaction

from equipment.models import Due, Service


def set_kit_cents(*, prices: Mapping[int, int]) -> int:
    """Write what the kits of services cost, by the service's key, >= 0. [cents]

    The due rows of each follow. Returns how many rows of either table were changed: 0 where all
    of them said so already.
    """
    changed = 0
    with transaction.atomic():
        # Grouped by price: most services need nothing, and a statement each would be for nothing.
        services: dict[int, list[int]] = {}
        for service, cents in sorted(prices.items()):
            services.setdefault(cents, []).append(service)
        for cents, group in services.items():
            changed += (
                Service.objects.filter(pk__in=group)
                .exclude(kit_cents=cents)
                .update(kit_cents=cents)
            )
            changed += (
                Due.objects.filter(version__service__in=group)
                .exclude(kit_cents=cents)
                .update(kit_cents=cents)
            )
    return changed
