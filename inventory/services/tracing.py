"""Where a lot went, and what went into a thing: net of what was put back or undone."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from django.db.models import Max, Sum

from inventory.models import Lot, Movement, Part
from inventory.models.ledger import MovementQuerySet
from inventory.services.lineage import ancestors, descendants


@dataclass(frozen=True, slots=True)
class Use:
    """So much of a lot, > 0 [steps], was used for one source; `last_at` when the last of it was.

    through: the lot is not the one that was asked for, but holds some of it, or some of it came
    from it: a kit, or what was laid out of one.
    """

    lot: Lot
    source_kind: str
    source_number: int
    steps: int
    last_at: datetime
    through: bool = False

    @property
    def part(self) -> Part:
        return self.lot.part


def uses_of(lot: Lot) -> list[Use]:
    """Return what a lot was used for, itself or in what it became, the latest first."""
    return _uses(Movement.objects.filter(lot__in=descendants(lot.pk)), itself={lot.pk})


def used_for(source_kind: str, source_numbers: Iterable[int]) -> list[Use]:
    """Return the lots that were used for some sources of a kind, the latest first."""
    rows = Movement.objects.filter(source_kind=source_kind, source_number__in=set(source_numbers))
    return _uses(rows)


def came_from(lot: Lot) -> list[Lot]:
    """Return the other lots that some of a lot came from, the latest received first."""
    others = ancestors(lot.pk) - {lot.pk}
    return list(Lot.objects.filter(pk__in=others).select_related("part").order_by("-pk"))


def became(lot: Lot) -> list[Lot]:
    """Return the other lots that hold or held some of a lot, the oldest first."""
    others = descendants(lot.pk) - {lot.pk}
    return list(Lot.objects.filter(pk__in=others).select_related("part").order_by("pk"))


def _uses(rows: MovementQuerySet, itself: set[int] | None = None) -> list[Use]:
    used = (
        rows.spent()
        .order_by()
        .values_list("lot", "source_kind", "source_number")
        .annotate(steps=-Sum("quantity_steps"), last_at=Max("at"))
        .filter(steps__gt=0)
    )
    found = list(used)
    lots = Lot.objects.select_related("part").in_bulk({row[0] for row in found})
    return sorted(
        (
            Use(lots[lot], kind, number, steps, at, itself is not None and lot not in itself)
            for lot, kind, number, steps, at in found
        ),
        key=lambda use: (use.last_at, use.lot.pk, use.source_number),
        reverse=True,
    )
