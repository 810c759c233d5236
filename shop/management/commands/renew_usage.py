"""Work out anew what each counter gains in a day of use, for a turn of the day without a page."""

from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from equipment.services.usage import renew_usage
from shop.models import Shop


class Command(BaseCommand):
    help = "Works out anew what each counter gains in a day of use. Let it run after midnight."

    def handle(self, *args: Any, **options: Any) -> None:
        shop = Shop.objects.first()
        if shop is None:
            raise CommandError("There is no shop yet. Open it on its first page, then run this.")
        today = timezone.localdate(timezone=shop.zone)
        count = renew_usage(today=today, zone=shop.zone)
        self.stdout.write(f"Rates of {count} counters worked out.")
