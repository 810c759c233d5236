"""A receipt of a case as a cost layer, for both files of adapters."""

from datetime import UTC, datetime
from decimal import Decimal
from typing import Any, Final

from inventory import costing, quantities
from tests.reference.reading import number

STEPS_PER_UNIT: Final = 100


def in_steps(amount: Decimal) -> int:
    return quantities.to_steps(amount, steps_per_unit=STEPS_PER_UNIT)


def receipt_layer(lot_id: int, receipt: Any, *, quantity: str) -> costing.LotLayer:
    """The layer of a mapping that holds a quantity, under the name given, and a unit cost."""
    received = in_steps(number(receipt, quantity))
    return costing.LotLayer(
        lot_id=lot_id,
        expires_on=None,
        # The lots are numbered in their order; the days of a case are texts.
        received_at=datetime(2000, 1, 1, tzinfo=UTC),
        quantity_steps=received,
        value_cents=costing.receipt_value_cents(
            quantity_steps=received,
            steps_per_unit=STEPS_PER_UNIT,
            unit_cost_cents=quantities.to_cents(number(receipt, "unit_cost")),
        ),
    )
