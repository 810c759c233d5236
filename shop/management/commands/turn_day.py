"""Turn the kept rows to the day: for a fleet too large for the day's first page, every night."""

from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from shop.models import Shop
from shop.services.turning import turn_shop


class Command(BaseCommand):
    help = (
        "Learns the rates of use anew, moves stays that have begun, and works out dates and odds "
        "with them. Let it run after midnight; a small shop's first page of the day does the same."
    )

    def handle(self, *args: Any, **options: Any) -> None:
        shop = Shop.objects.first()
        if shop is None:
            raise CommandError("There is no shop yet. Open it on its first page, then run this.")
        today = timezone.localdate(timezone=shop.zone)
        turned = turn_shop(shop=shop, today=today)
        self.stdout.write(
            f"Rates of {turned.rates} counters worked out. Next stays moved on: {turned.stays}. "
            f"Kept rows changed: {turned.rows}."
        )
