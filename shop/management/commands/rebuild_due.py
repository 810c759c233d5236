"""Work out every kept wear and due row anew, and say what differed."""

from typing import Any

from django.core.management.base import BaseCommand, CommandError

from equipment.services import rebuild_all
from shop.models import Shop


class Command(BaseCommand):
    help = "Works out wear and due rows anew from readings, exchanges and renewals."

    def handle(self, *args: Any, **options: Any) -> None:
        shop = Shop.objects.first()
        if shop is None:
            raise CommandError("There is no shop yet. Open it on its first page, then run this.")
        rows, changed = rebuild_all(zone=shop.zone)
        if changed:
            self.stdout.write(f"{changed} of {rows} kept rows differed and were put right.")
        else:
            self.stdout.write(f"All {rows} kept rows agree with what was entered.")
