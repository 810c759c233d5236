"""What the shop keeps: parts, places, lots, and the ledger that moves them."""

from inventory.models.append_only import RowIsAppendOnly
from inventory.models.buying import (
    Core,
    PriceBreak,
    PurchaseOrder,
    PurchaseOrderLine,
    PurchaseOrderLineQuerySet,
    Receipt,
    ReceiptLine,
    Supplier,
    SupplierPart,
)
from inventory.models.checking import Count, CountLine, LotExtension, RobbedKit
from inventory.models.ledger import (
    Balance,
    BalanceQuerySet,
    Movement,
    MovementQuerySet,
)
from inventory.models.parts import KitAlternate, KitLine, Pack, Part, PartCode, PartQuerySet
from inventory.models.places import FAR_DATE, Location, LocationQuerySet, Lot
from inventory.models.plans import (
    Reservation,
    ReservationQuerySet,
    StockAdvice,
    StockClass,
    StockPolicy,
)

__all__ = [
    "FAR_DATE",
    "Balance",
    "BalanceQuerySet",
    "Core",
    "Count",
    "CountLine",
    "KitAlternate",
    "KitLine",
    "Location",
    "LocationQuerySet",
    "Lot",
    "LotExtension",
    "Movement",
    "MovementQuerySet",
    "Pack",
    "Part",
    "PartCode",
    "PartQuerySet",
    "PriceBreak",
    "PurchaseOrder",
    "PurchaseOrderLine",
    "PurchaseOrderLineQuerySet",
    "Receipt",
    "ReceiptLine",
    "Reservation",
    "ReservationQuerySet",
    "RobbedKit",
    "RowIsAppendOnly",
    "StockAdvice",
    "StockClass",
    "StockPolicy",
    "Supplier",
    "SupplierPart",
]
