"""What the shop keeps: parts, places, lots, and the ledger that moves them."""

from inventory.models.ledger import (
    Balance,
    BalanceQuerySet,
    LedgerIsAppendOnly,
    Movement,
    MovementQuerySet,
)
from inventory.models.parts import KitLine, Part, PartQuerySet
from inventory.models.places import FAR_DATE, Location, LocationQuerySet, Lot
from inventory.models.plans import Reservation, ReservationQuerySet, StockPolicy

__all__ = [
    "FAR_DATE",
    "Balance",
    "BalanceQuerySet",
    "KitLine",
    "LedgerIsAppendOnly",
    "Location",
    "LocationQuerySet",
    "Lot",
    "Movement",
    "MovementQuerySet",
    "Part",
    "PartQuerySet",
    "Reservation",
    "ReservationQuerySet",
    "StockPolicy",
]
