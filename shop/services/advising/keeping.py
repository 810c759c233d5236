"""Keep what was reckoned, and let the policies that nobody fixed by hand follow."""

from collections.abc import Mapping
from datetime import date, datetime

from inventory.models import StockAdvice, StockPolicy
from shop.advice import Found, Given, figures_of
from shop.models import Person


def keep(given: Mapping[int, Given], found: Mapping[int, Found], today: date) -> None:
    kept = {row.part_id: row for row in StockAdvice.objects.filter(location__isnull=True)}
    new: list[StockAdvice] = []
    changed: list[StockAdvice] = []
    for pk, each in found.items():
        row = kept.get(pk) or StockAdvice(part_id=pk)
        row.reorder_point_steps = each.point_steps if each.order_up_to_steps else 0
        row.order_up_to_steps = each.order_up_to_steps
        row.value_class = given[pk].value_class
        row.figures = figures_of(given[pk], each)
        row.reckoned_on = today
        (changed if row.pk else new).append(row)
    StockAdvice.objects.bulk_create(new, batch_size=200)
    StockAdvice.objects.bulk_update(
        changed,
        ["reorder_point_steps", "order_up_to_steps", "value_class", "figures", "reckoned_on"],
        batch_size=200,
    )
    gone = [row.pk for pk, row in kept.items() if pk not in found]
    if gone:
        StockAdvice.objects.filter(pk__in=gone).delete()


def follow(found: Mapping[int, Found], author: Person | None, at: datetime) -> int:
    if author is None:
        return 0
    wanted = {
        pk: (each.point_steps if each.order_up_to_steps else 0, each.order_up_to_steps)
        for pk, each in found.items()
    }
    return follow_rows(wanted, author, at)


def follow_rows(wanted: Mapping[int, tuple[int, int]], author: Person, at: datetime) -> int:
    """Set the policies that follow to these (point, level), by part; returns how many changed.

    Where none is to be kept there is no policy: a point of 0 would ask for one when none is left.
    """
    rows = {
        row.part_id: row
        for row in StockPolicy.objects.filter(location__isnull=True, part__in=wanted)
    }
    new: list[StockPolicy] = []
    changed: list[StockPolicy] = []
    gone: list[int] = []
    for pk, (point, level) in wanted.items():
        row = rows.get(pk)
        if row is not None and row.by_hand:
            continue
        if not level:
            if row is not None:
                gone.append(row.pk)
            continue
        if row is None:
            row = StockPolicy(part_id=pk, by_hand=False)
            new.append(row)
        elif (row.reorder_point_steps, row.order_up_to_steps) == (point, level):
            continue
        else:
            changed.append(row)
        row.reorder_point_steps, row.order_up_to_steps = point, level
        row.set_by, row.set_at = author, at
    StockPolicy.objects.bulk_create(new, batch_size=500)
    StockPolicy.objects.bulk_update(
        changed, ["reorder_point_steps", "order_up_to_steps", "set_by", "set_at"], batch_size=500
    )
    if gone:
        StockPolicy.objects.filter(pk__in=gone).delete()
    return len(new) + len(changed) + len(gone)
