"""What there is to say of suppliers: what they sell, what is under way, how long they take."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date

from django.db import transaction
from django.db.models import Count, OuterRef, QuerySet, Subquery
from django.db.models.functions import Coalesce

from inventory.delivery_words import Observed, observed
from inventory.models import PurchaseOrder, PurchaseOrderLine, Supplier, SupplierPart
from inventory.services.buying_times import waits_of


@dataclass(frozen=True, slots=True)
class SupplierRow:
    """A supplier in the list.

    parts: how many it sells. under_way: orders of which something is to come; late: of those, how
    many are past the day they were expected. took: by all its deliveries, None before the first.
    """

    supplier: Supplier
    parts: int
    under_way: int
    late: int
    took: Observed | None


def bought_from(parts: Iterable[int]) -> dict[int, SupplierPart]:
    """By part, how it is bought: of the preferred supplier in use, else of the quickest.

    With supplier and price breaks. The advice and the proposals of orders both go by it.
    """
    wanted = set(parts)
    found: dict[int, SupplierPart] = {}
    for sold in (
        SupplierPart.objects.filter(supplier__retired=False)
        .select_related("supplier")
        .prefetch_related("price_breaks")
        .order_by("part", "-preferred", "lead_time_days", "pk")
    ):
        if sold.part_id in wanted:
            found.setdefault(sold.part_id, sold)
    return found


def supplier_rows(*, retired: bool, today: date) -> list[SupplierRow]:
    """Suppliers in use, or the retired ones, by name. Two queries."""
    suppliers = list(
        Supplier.objects.filter(retired=retired)
        .annotate(
            parts_count=Count("parts"),
            under_way_count=_orders(PurchaseOrderLine.objects.to_come()),
            late_count=_orders(PurchaseOrderLine.objects.to_come().filter(expected_on__lt=today)),
        )
        .order_by("name")
    )
    took = _took([each.pk for each in suppliers], today)
    return [
        SupplierRow(
            supplier=each,
            parts=each.parts_count,
            under_way=each.under_way_count,
            late=each.late_count,
            took=observed(took.get(each.pk, [])),
        )
        for each in suppliers
    ]


def _orders(lines: QuerySet[PurchaseOrderLine]) -> Coalesce:
    """How many orders of the outer supplier such lines belong to."""
    counted = (
        lines.filter(order__supplier=OuterRef("pk"))
        .order_by()
        .values("order__supplier")
        .annotate(number=Count("order", distinct=True))
        .values("number")
    )
    return Coalesce(Subquery(counted), 0)


def _took(suppliers: Sequence[int], today: date) -> dict[int, list[int]]:
    """By supplier, how long what came took, whatever it was. [days]"""
    took: dict[int, list[int]] = {}
    for (supplier, _), waits in waits_of(suppliers, today=today).items():
        took.setdefault(supplier, []).extend(wait.days for wait in waits if wait.came)
    return took


def took_by_part(sold: Sequence[SupplierPart], *, today: date) -> dict[int, Observed | None]:
    """By id of the supplier's part, what its deliveries took. One query."""
    waits = waits_of(list({each.supplier_id for each in sold}), today=today)
    return {
        each.pk: observed(
            [wait.days for wait in waits.get((each.supplier_id, each.part_id), []) if wait.came]
        )
        for each in sold
    }


def orders_under_way(supplier: Supplier) -> list[PurchaseOrder]:
    """Drafts and orders of which something is to come, the newest first."""
    return list(
        PurchaseOrder.objects.filter(supplier=supplier)
        .exclude(state=PurchaseOrder.State.CLOSED)
        .order_by("-number")
    )


def drop_supplier_part(*, sold: SupplierPart) -> None:
    """Say that a supplier does not sell a part any more. Orders sent keep what they say."""
    with transaction.atomic():
        sold.delete()
