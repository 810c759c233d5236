"""Re-add the ledger and compare it with the kept balances and lots."""

from typing import Any

from django.core.management.base import BaseCommand, CommandError

from inventory.quantities import format_money
from inventory.services import prove, summary


class Command(BaseCommand):
    help = (
        "Re-adds the ledger and compares it with the kept balances and lots. "
        "Ends with 1 and names the parts when it does not add up."
    )

    def handle(self, *args: Any, **options: Any) -> None:
        found = prove()
        for each in found:
            self.stderr.write(
                f"{each.part_number}: {each.what}: ledger {each.ledger:,}, kept {each.kept:,}"
            )
        if found:
            parts = sorted({each.part_number for each in found})
            raise CommandError(f"The ledger does not add up for {', '.join(parts)}.")
        proved = summary()
        self.stdout.write(
            f"The ledger adds up: {proved.movements:,} movements, {proved.parts:,} parts, "
            f"{format_money(proved.value_cents, '')} on hand."
        )
