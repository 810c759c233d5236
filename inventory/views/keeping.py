"""What ages on the shelf: what has expired, and what will before it is used."""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Final

from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_safe

from inventory.costing import issue_value_cents
from inventory.models import Balance, Location, Lot, Movement, Part
from inventory.shelf_life import Keeping, left_over
from inventory.tables import units

ROWS_A_PAGE: Final = 50
#: What is used by its last day anyway is shown this long before it.
AHEAD: Final = timedelta(days=183)
#: What is not, this long before: time to buy less of it. Later, nobody knows the pace.
AHEAD_IF_LEFT: Final = timedelta(days=730)
YEAR: Final = timedelta(days=365)


@dataclass(frozen=True, slots=True)
class AgingLot:
    """A lot that ages: where it lies, how much, and what of it will be left on its last day."""

    part: Part
    lot: Lot
    places: tuple[Location, ...]
    here_steps: int
    left_steps: int
    expired: bool

    @property
    def quantity(self) -> str:
        return units(self.part, self.here_steps)

    @property
    def left(self) -> str:
        return units(self.part, self.left_steps)

    @property
    def lost_cents(self) -> int:
        """What that which will be left over is worth. [cents]"""
        if not self.left_steps:
            return 0
        return issue_value_cents(
            value_left_cents=self.lot.value_left_cents,
            quantity_left_steps=self.lot.quantity_left_steps,
            quantity_steps=self.left_steps,
        )


@require_safe
def keeping(request: HttpRequest) -> HttpResponse:
    """Lots that have expired, will before they are used, or will within half a year."""
    today: date = request.today  # type: ignore[attr-defined]
    since = timezone.now() - YEAR
    aging = aging_lots(
        Balance.objects.that_age(), used=Movement.objects.used_since(since), today=today
    )
    shown = [
        each
        for each in aging
        if each.lot.expires_on - today <= (AHEAD_IF_LEFT if each.left_steps else AHEAD)
    ]
    wasted = [each for each in shown if each.left_steps and not each.expired]
    context = {
        "page": Paginator(shown, ROWS_A_PAGE).get_page(request.GET.get("page")),
        "expired": sum(each.expired for each in shown),
        "expired_cents": sum(each.lost_cents for each in shown if each.expired),
        "wasted": len(wasted),
        "wasted_cents": sum(each.lost_cents for each in wasted),
    }
    return render(request, "inventory/use_by.html", context)


def aging_lots(balances: Iterable[Balance], *, used: dict[int, int], today: date) -> list[AgingLot]:
    """The lots of these balances, soonest to expire first.

    used: by part, what was used in a year. [steps]
    """
    of_part: dict[Part, dict[Lot, list[Balance]]] = defaultdict(lambda: defaultdict(list))
    for balance in balances:
        of_part[balance.part][balance.lot].append(balance)
    found = []
    for part, lots in of_part.items():
        here = [sum(each.quantity_steps for each in lying) for lying in lots.values()]
        left = left_over(
            [
                Keeping(quantity_steps=steps, use_by=lot.expires_on)
                for lot, steps in zip(lots, here, strict=True)
            ],
            used_a_year_steps=max(0, used.get(part.pk, 0)),
            today=today,
        )
        found += [
            AgingLot(
                part=part,
                lot=lot,
                places=tuple(each.location for each in lying),
                here_steps=here_steps,
                left_steps=left_steps,
                expired=lot.expires_on < today,
            )
            for (lot, lying), here_steps, left_steps in zip(lots.items(), here, left, strict=True)
        ]
    return sorted(found, key=lambda each: (each.lot.expires_on, each.part.number, each.lot.pk))
