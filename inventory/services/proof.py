"""Proof that the kept figures are what the ledger adds up to."""

from dataclasses import dataclass

from django.db import connection, transaction
from django.db.models import F, Sum

from inventory.models import Balance, Lot, Movement


@dataclass(frozen=True, slots=True)
class Discrepancy:
    """Of a part, something kept that the ledger does not bear out. [steps or cents]"""

    part_number: str
    what: str
    ledger: int
    kept: int


@dataclass(frozen=True, slots=True)
class Summary:
    """How much was proved."""

    movements: int
    parts: int
    value_cents: int


def prove() -> list[Discrepancy]:
    """Re-add the ledger and compare it with balances and lots; nothing found means it adds up.

    Sums are of integers. Reads one state of the database: other people may go on working.
    """
    one_state = connection.vendor == "postgresql" and not connection.in_atomic_block
    with transaction.atomic():
        if one_state:
            with connection.cursor() as cursor:
                cursor.execute("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ")
        return [*_balances(), *_lots(), *_rows()]


def summary() -> Summary:
    """What the ledger holds."""
    worth = Lot.objects.aggregate(total=Sum("value_left_cents"))["total"] or 0
    return Summary(
        movements=Movement.objects.count(),
        parts=Movement.objects.values("part").distinct().count(),
        value_cents=worth,
    )


def _balances() -> list[Discrepancy]:
    key = ("part__number", "location__code", "lot__code", "lot_id")
    added = {
        row[:-1]: row[-1]
        for row in Movement.objects.order_by()
        .values(*key)
        .annotate(total=Sum("quantity_steps"))
        .values_list(*key, "total")
    }
    kept = {row[:-1]: row[-1] for row in Balance.objects.values_list(*key, "quantity_steps")}
    return [
        Discrepancy(
            part_number=each[0],
            what=f"quantity of lot {each[2]} in {each[1]}",
            ledger=added.get(each, 0),
            kept=kept.get(each, 0),
        )
        for each in sorted(added.keys() | kept.keys())
        if added.get(each, 0) != kept.get(each, 0)
    ]


def _lots() -> list[Discrepancy]:
    added = {
        lot: (quantity, value)
        for lot, quantity, value in Movement.objects.order_by()
        .values("lot")
        .annotate(quantity=Sum("quantity_steps"), value=Sum("value_cents"))
        .values_list("lot", "quantity", "value")
    }
    found = []
    for pk, number, code, quantity, value in Lot.objects.order_by("part__number", "pk").values_list(
        "pk", "part__number", "code", "quantity_left_steps", "value_left_cents"
    ):
        in_ledger = added.get(pk, (0, 0))
        for what, ledger, kept in (
            ("quantity", in_ledger[0], quantity),
            ("value", in_ledger[1], value),
        ):
            if ledger != kept:
                found.append(Discrepancy(number, f"{what} left of lot {code}", ledger, kept))
    return found


def _rows() -> list[Discrepancy]:
    """Lines that contradict each other, which no sum would show."""
    found = []
    for number, pk, mine, lots in (
        Movement.objects.exclude(part=F("lot__part"))
        .order_by("pk")
        .values_list("part__number", "pk", "part_id", "lot__part_id")
    ):
        found.append(Discrepancy(number, f"part of movement {pk} and of its lot", mine, lots))
    wrong = Movement.objects.filter(reverses__isnull=False).exclude(
        quantity_steps=-F("reverses__quantity_steps"), value_cents=-F("reverses__value_cents")
    )
    for number, pk, was, now in wrong.order_by("pk").values_list(
        "part__number", "pk", "reverses__quantity_steps", "quantity_steps"
    ):
        found.append(Discrepancy(number, f"reversal {pk} and what it reverses", was, now))
    return found
