"""How long a supplier takes, from the order lines that came and those that are still out."""

from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence
from datetime import date

from django.db.models import Min, Q

from inventory.lead_times import LeadTime, Wait, learnt
from inventory.models import PurchaseOrder, PurchaseOrderLine, SupplierPart
from inventory.services.buying_receipts import standing_lines
from inventory.services.posting import day_of


def waits_of(supplier_ids: Sequence[int], *, today: date) -> dict[tuple[int, int], list[Wait]]:
    """By supplier and part, how long each order line took, or has waited so far. One query.

    A line came on the day of its first delivery: what followed was a back order. A line that was
    cancelled before anything came says that it had not come by the day its order closed.
    """
    rows = (
        PurchaseOrderLine.objects.filter(
            order__supplier__in=supplier_ids, order__sent_at__isnull=False
        )
        .annotate(
            came_at=Min(
                "receipt_lines__receipt__received_at",
                filter=Q(receipt_lines__in=standing_lines()),
            )
        )
        .values_list("order__supplier", "part", "order__sent_at", "came_at", "order__closed_at")
        .order_by("pk")
    )
    waits: dict[tuple[int, int], list[Wait]] = defaultdict(list)
    for supplier, part, sent_at, came_at, closed_at in rows:
        ended = came_at or closed_at
        until = day_of(ended) if ended is not None else today
        assert sent_at is not None, "The rows are of orders that were sent."
        days = max((until - day_of(sent_at)).days, 0)
        waits[supplier, part].append(Wait(days, came=came_at is not None))
    return waits


def learnt_by_part(
    sold: Iterable[tuple[int, int, int]], *, waits: Mapping[tuple[int, int], Sequence[Wait]]
) -> dict[tuple[int, int], LeadTime]:
    """By supplier and part, how long it takes to come. sold: supplier, part, what they say. [d]

    waits: as `waits_of` gives them. Lines of a supplier are added up once, so that many parts cost
    little each.
    """
    whole: dict[int, Counter[Wait]] = defaultdict(Counter)
    for (supplier, _), of_part in waits.items():
        whole[supplier].update(of_part)
    alone: dict[tuple[int, int], LeadTime] = {}
    found: dict[tuple[int, int], LeadTime] = {}
    for supplier, part, said_days in sold:
        own = Counter(waits.get((supplier, part), ()))
        if not own and (supplier, said_days) in alone:
            found[supplier, part] = alone[supplier, said_days]
            continue
        found[supplier, part] = learnt(
            part_waits=own, supplier_waits=whole[supplier] - own, said_days=said_days
        )
        if not own:
            alone[supplier, said_days] = found[supplier, part]
    return found


def lead_times(sold: Sequence[SupplierPart], *, today: date) -> dict[int, LeadTime]:
    """By id of the supplier's part, how long it takes to come. One query for all of them."""
    waits = waits_of(list({each.supplier_id for each in sold}), today=today)
    found = learnt_by_part(
        [(each.supplier_id, each.part_id, each.lead_time_days) for each in sold], waits=waits
    )
    return {each.pk: found[each.supplier_id, each.part_id] for each in sold}


def late_orders(*, today: date) -> list[PurchaseOrder]:
    """Orders under way with a line past the day it was expected, the longest late first."""
    return list(
        PurchaseOrder.objects.filter(
            lines__in=PurchaseOrderLine.objects.to_come().filter(expected_on__lt=today)
        )
        .annotate(since=Min("lines__expected_on"))
        .select_related("supplier")
        .order_by("since", "number")
    )
