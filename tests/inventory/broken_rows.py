"""Rows of buying and checking that each break one rule of the database, by the rule's name."""

from collections.abc import Callable
from datetime import date
from decimal import Decimal
from typing import Any
from uuid import uuid4

from django.db import models

from inventory.models import (
    Core,
    Count,
    CountLine,
    KitAlternate,
    KitLine,
    Lot,
    LotExtension,
    Pack,
    PartCode,
    PriceBreak,
    PurchaseOrder,
    PurchaseOrderLine,
    Receipt,
    RobbedKit,
    StockAdvice,
    StockClass,
    Supplier,
    SupplierPart,
)
from tests.inventory.factories import AT, BinFactory, PartFactory, PersonFactory, received

DAY = AT.date()


def changed() -> dict[str, Any]:
    return {"changed_by": PersonFactory(), "changed_at": AT}


def a_supplier(**change: Any) -> Supplier:
    return Supplier(**{"name": f"Supplier {uuid4().hex[:8]}", **changed(), **change})


def saved(row: models.Model) -> Any:
    row.save()
    return row


def sold(**change: Any) -> SupplierPart:
    given = {} if "supplier" in change else {"supplier": saved(a_supplier())}
    return SupplierPart(**{"part": PartFactory(), **given, **change})


def an_order(**change: Any) -> PurchaseOrder:
    return PurchaseOrder(
        **{
            "number": PurchaseOrder.objects.count() + 1,
            "supplier": saved(a_supplier()),
            "request_id": uuid4(),
            "drafted_by": PersonFactory(),
            "drafted_at": AT,
            **change,
        }
    )


def an_order_line(**change: Any) -> PurchaseOrderLine:
    given = {} if "order" in change else {"order": saved(an_order())}
    return PurchaseOrderLine(
        **{"part": PartFactory(), "packs": 1, "pack_steps": 1, **given, **change}
    )


def a_receipt(**change: Any) -> Receipt:
    given = {} if "supplier" in change else {"supplier": saved(a_supplier())}
    return Receipt(
        **{
            "packing_slip": "S-1",
            "received_at": AT,
            "author": PersonFactory(),
            "request_id": uuid4(),
            **given,
            **change,
        }
    )


def a_core(**change: Any) -> Core:
    return Core(
        **{
            "supplier": saved(a_supplier()),
            "part": PartFactory(),
            "quantity_steps": 1,
            "credit_cents": 500,
            "owed_since": DAY,
            **changed(),
            **change,
        }
    )


def a_count(**change: Any) -> Count:
    given = {} if "location" in change else {"location": BinFactory()}
    return Count(
        **{
            "number": Count.objects.count() + 1,
            "kind": "cycle",
            "request_id": uuid4(),
            "started_by": PersonFactory(),
            "started_at": AT,
            **given,
            **change,
        }
    )


def a_count_line(**change: Any) -> CountLine:
    return CountLine(
        **{
            "part": PartFactory(),
            "counted_steps": 1,
            "books_steps": 1,
            "counted_by": PersonFactory(),
            "counted_at": AT,
            "event_id": uuid4(),
            **change,
        }
    )


def a_robbed_kit(**change: Any) -> RobbedKit:
    return RobbedKit(
        **{
            "kit": PartFactory(kit=True),
            "request_id": uuid4(),
            "found_by": PersonFactory(),
            "found_at": AT,
            **change,
        }
    )


def an_extension(**change: Any) -> LotExtension:
    lot: Lot = received(PartFactory(), BinFactory(), 1)
    return LotExtension(
        **{
            "lot": lot,
            "was": date(2026, 3, 31),
            "until": date(2027, 3, 31),
            "reason": "looked at",
            "author": PersonFactory(),
            "at": AT,
            "request_id": uuid4(),
            **change,
        }
    )


def a_kit_line() -> KitLine:
    return saved(  # type: ignore[no-any-return]
        KitLine(kit=PartFactory(kit=True), part=PartFactory(), quantity_steps=1)
    )


def an_alternate(**change: Any) -> KitAlternate:
    return KitAlternate(
        **{"line": a_kit_line(), "part": PartFactory(), "quantity_steps": 1, **change}
    )


def a_pack(**change: Any) -> Pack:
    return Pack(**{"part": PartFactory(), "name": "pail", "quantity_steps": 5, **change})


def an_advice(**change: Any) -> StockAdvice:
    return StockAdvice(
        **{
            "part": PartFactory(),
            "reorder_point_steps": 2,
            "order_up_to_steps": 3,
            "figures": {"chance": 0.97},
            "reckoned_on": DAY,
            **change,
        }
    )


def a_class(**change: Any) -> StockClass:
    return StockClass(
        **{
            "letter": "A",
            "target_percent": Decimal(98),
            "count_every_days": 30,
            **changed(),
            **change,
        }
    )


def twice(make: Callable[..., models.Model], *same: str) -> models.Model:
    """A second row with the same values in the named columns."""
    first = saved(make())
    return make(**{name: getattr(first, name) for name in same})


def two_preferred() -> SupplierPart:
    first = saved(sold(preferred=True))
    return sold(part=first.part, preferred=True)


def one_price_twice() -> PriceBreak:
    first = saved(PriceBreak(supplier_part=saved(sold()), pack_price_cents=900))
    return PriceBreak(supplier_part=first.supplier_part, pack_price_cents=800)


def one_part_counted_twice() -> CountLine:
    first = saved(a_count_line(count=saved(a_count())))
    return a_count_line(count=first.count, part=first.part)


def a_tray_of_its_own() -> RobbedKit:
    tray = BinFactory(tray=True)
    return a_robbed_kit(lies_in=tray, tray=tray)


BROKEN: dict[str, Callable[[], models.Model]] = {
    "supplier_has_a_name": lambda: a_supplier(name=""),
    "a_supplier_sells_a_part_once": lambda: twice(sold, "supplier", "part"),
    "one_preferred_supplier_of_a_part": two_preferred,
    "pack_of_a_supplier_holds_something": lambda: sold(pack_steps=0),
    "least_packs_is_at_least_one": lambda: sold(least_packs=0),
    "one_price_from_a_number_of_packs": one_price_twice,
    "price_from_at_least_one_pack": lambda: PriceBreak(
        supplier_part=saved(sold()), from_packs=0, pack_price_cents=1
    ),
    "order_is_in_a_known_state": lambda: an_order(state="lost", sent_at=AT),
    "order_under_way_was_sent": lambda: an_order(state="sent"),
    "order_closed_says_when": lambda: an_order(state="closed"),
    "an_order_names_a_part_once": lambda: twice(an_order_line, "order", "part"),
    "order_line_asks_for_something": lambda: an_order_line(packs=0),
    "a_packing_slip_is_received_once": lambda: twice(a_receipt, "supplier", "packing_slip"),
    "receipt_names_its_packing_slip": lambda: a_receipt(packing_slip=""),
    "core_is_of_something": lambda: a_core(quantity_steps=0),
    "core_credit_has_its_day": lambda: a_core(credited_on=DAY),
    "count_is_of_a_known_kind": lambda: a_count(kind="guess"),
    "count_is_in_a_known_state": lambda: a_count(state="lost", settled_at=AT),
    "count_settled_says_when": lambda: a_count(state="posted"),
    "one_count_of_a_place_at_a_time": lambda: twice(a_count, "location"),
    "a_part_stands_once_in_a_count": one_part_counted_twice,
    "robbed_kit_has_a_tray_of_its_own": a_tray_of_its_own,
    "extension_is_later_than_it_was": lambda: an_extension(until=date(2026, 3, 31)),
    "extension_says_why": lambda: an_extension(reason=""),
    "part_does_not_supersede_itself": lambda: PartFactory.build(
        pk=987_654, superseded_by_id=987_654, search_key="given", changed_by=PersonFactory()
    ),
    "one_alternate_of_a_line_per_part": lambda: twice(an_alternate, "line", "part"),
    "alternate_holds_something": lambda: an_alternate(quantity_steps=0),
    "one_pack_of_a_name_per_part": lambda: twice(a_pack, "part", "name"),
    "pack_has_a_name": lambda: a_pack(name=""),
    "pack_holds_something": lambda: a_pack(quantity_steps=0),
    "part_code_says_something": lambda: PartCode(part=PartFactory(), code=""),
    "one_advice_for_the_shop_per_part": lambda: twice(an_advice, "part"),
    "one_advice_per_part_and_place": lambda: twice(
        lambda **same: an_advice(**{"location": BinFactory(), **same}), "part", "location"
    ),
    "advice_orders_up_to_its_point_at_least": lambda: an_advice(order_up_to_steps=1),
    "advice_is_of_a_known_class": lambda: an_advice(value_class="D"),
    "stock_class_is_known": lambda: a_class(letter="D"),
    "stock_class_target_in_range": lambda: a_class(target_percent=Decimal(100)),
    "stock_class_is_counted_sometime": lambda: a_class(count_every_days=0),
}
