"""What a supplier's delivery brings, what it cost with its freight, and old parts owed back."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from uuid import UUID

from django.contrib.auth.base_user import AbstractBaseUser
from django.db import transaction
from django.db.models import QuerySet

from inventory.costing import receipt_value_cents, split_cents
from inventory.models import (
    Core,
    Location,
    Lot,
    Movement,
    PurchaseOrder,
    PurchaseOrderLine,
    Receipt,
    ReceiptLine,
    Supplier,
    SupplierPart,
)
from inventory.services.buying import refuse_unless_under_way, settle_state, to_come_steps
from inventory.services.posting import (
    NothingToMove,
    PlaceRetired,
    Posting,
    StockRefused,
    day_of,
    in_words,
    refuse_long,
)

#: A delivery of this many times what is to come is asked about.
STRANGE_QUANTITY = 10


class SlipReceivedBefore(StockRefused):
    def __init__(self, receipt: Receipt) -> None:
        self.receipt = receipt
        said = (
            f"Packing slip {receipt.packing_slip} of {receipt.supplier} was received on "
            f"{day_of(receipt.received_at):%Y-%m-%d} already."
        )
        if not standing_lines().filter(receipt=receipt).exists():
            again = f"{receipt.packing_slip} (2)"
            said += f" All of it was reversed since: to enter it anew, call it {again}."
        super().__init__(said)


@dataclass(frozen=True, slots=True)
class Arrival:
    """So much of an order line, > 0 [steps], put into a place as one lot.

    goods_cents: what the invoice says of it, without freight; None: as ordered. [cents]
    """

    line: PurchaseOrderLine
    location: Location
    quantity_steps: int
    goods_cents: int | None = None
    lot_code: str = ""
    cured_on: date | None = None
    expires_on: date | None = None


def standing_lines() -> QuerySet[ReceiptLine]:
    """What deliveries brought, without what was reversed."""
    taken_back = Movement.objects.filter(kind=Movement.Kind.RECEIPT, reversed_by__isnull=False)
    return ReceiptLine.objects.exclude(lot__in=taken_back.values("lot"))


def delivery_questions(arrivals: Sequence[Arrival]) -> list[str]:
    """What to ask a person before a delivery is believed: far more than is to come."""
    return [
        f"{in_words(each.line.part, each.quantity_steps)} of {each.line.part} is more than "
        f"{STRANGE_QUANTITY} times what is to come."
        for each in arrivals
        if each.quantity_steps > STRANGE_QUANTITY * max(to_come_steps(each.line), 1)
    ]


def receive_delivery(
    *,
    order: PurchaseOrder,
    packing_slip: str,
    arrivals: Sequence[Arrival],
    author: AbstractBaseUser,
    at: datetime,
    request_id: UUID,
    freight_cents: int = 0,
) -> Receipt:
    """Take in what came of an order: lots, ledger, order and old parts owed, all or nothing.

    The freight is shared by worth to the cent and lies in each lot's value. Less than ordered
    leaves the rest to come; more is taken in. Sent twice with one request_id, it counts once.
    freight_cents >= 0. Raises OrderNotOpen for a draft or a closed order, SlipReceivedBefore
    whatever the case and the spaces around, NothingToMove, PlaceRetired, StockRefused.
    """
    slip = packing_slip.strip()
    if not slip:
        raise StockRefused("Give the number of the packing slip.")
    if not arrivals:
        raise StockRefused("Say what came.")
    if freight_cents < 0:
        raise StockRefused("The freight cannot be below zero.")
    refuse_long(Receipt, packing_slip=slip)
    with transaction.atomic():
        # The supplier's lock holds off a second entry of the same slip until this one stands.
        supplier = Supplier.objects.select_for_update().get(pk=order.supplier_id)
        if earlier := Receipt.objects.filter(request_id=request_id).first():
            return earlier
        before = Receipt.objects.filter(supplier=supplier, packing_slip__iexact=slip).first()
        if before is not None:
            raise SlipReceivedBefore(before)
        order = PurchaseOrder.objects.select_for_update().get(pk=order.pk)
        refuse_unless_under_way(order)
        rows = order.lines.select_for_update(of=("self",)).select_related("part").order_by("pk")
        lines = {line.pk: line for line in rows}
        goods = [_goods_cents(each, lines) for each in arrivals]
        freight = split_cents(freight_cents, goods)
        posting = Posting(author, at, request_id, "", "order", order.number, f"packing slip {slip}")
        lots: list[Lot] = []

        def work() -> None:
            for each, worth, share in zip(arrivals, goods, freight, strict=True):
                lots.append(_take_in(posting, each, lines[each.line.pk], worth + share))

        posting.post(work, parts=(), places=())
        receipt = Receipt.objects.create(
            supplier=supplier,
            packing_slip=slip,
            received_at=at,
            freight_cents=freight_cents,
            author_id=author.pk,
            request_id=request_id,
        )
        brought = [
            ReceiptLine(receipt=receipt, lot=lot, order_line=lines[each.line.pk], goods_cents=worth)
            for each, lot, worth in zip(arrivals, lots, goods, strict=True)
        ]
        ReceiptLine.objects.bulk_create(brought)
        for each in arrivals:
            lines[each.line.pk].received_steps += each.quantity_steps
        PurchaseOrderLine.objects.bulk_update(lines.values(), ["received_steps"])
        settle_state(order, list(lines.values()), author=author, at=at)
        _owe_old_parts(supplier, brought, author=author, at=at)
    return receipt


def lock_order_of(movement: Movement) -> ReceiptLine | None:
    """Lock the order by which a receipt came, before any lot; None for what came without one."""
    if movement.kind != Movement.Kind.RECEIPT:
        return None
    brought = (
        ReceiptLine.objects.filter(lot=movement.lot_id, order_line__isnull=False)
        .select_related("receipt", "order_line")
        .first()
    )
    if brought is not None and brought.order_line is not None:
        Supplier.objects.select_for_update().get(pk=brought.receipt.supplier_id)
        PurchaseOrder.objects.select_for_update().get(pk=brought.order_line.order_id)
    return brought


def take_delivery_back(
    brought: ReceiptLine, *, steps: int, author: AbstractBaseUser, at: datetime
) -> None:
    """What a delivery brought is reversed: it is to come again, under the lock of its order.

    An order that somebody closed by hand stays closed: then it will not come. Old parts owed for
    it that are still here are owed no more. steps: > 0.
    """
    assert brought.order_line is not None, "It came by an order."
    order = PurchaseOrder.objects.get(pk=brought.order_line.order_id)
    lines = list(order.lines.select_for_update().order_by("pk"))
    line = next(each for each in lines if each.pk == brought.order_line_id)
    before = to_come_steps(line)
    line.received_steps -= steps
    if order.state == PurchaseOrder.State.CLOSED and order.closed_because:
        line.cancelled_steps += to_come_steps(line) - before
    line.save(update_fields=["received_steps", "cancelled_steps"])
    if to_come_steps(line) > before:
        settle_state(order, lines, author=author, at=at)
    Core.objects.filter(receipt_line=brought, sent_back_on__isnull=True).delete()


def _goods_cents(each: Arrival, lines: dict[int, PurchaseOrderLine]) -> int:
    """What the goods cost: as the invoice says, or as ordered. Refuses what cannot be."""
    if each.line.pk not in lines:
        raise StockRefused(f"{each.line.part} is not in this order.")
    line = lines[each.line.pk]
    if each.quantity_steps <= 0:
        raise NothingToMove(line.part)
    if each.goods_cents is None:
        return receipt_value_cents(
            quantity_steps=each.quantity_steps,
            steps_per_unit=line.pack_steps,
            unit_cost_cents=line.pack_price_cents,
        )
    if each.goods_cents < 0:
        raise StockRefused(f"What {line.part} cost cannot be below zero.")
    return each.goods_cents


def _take_in(posting: Posting, each: Arrival, line: PurchaseOrderLine, value_cents: int) -> Lot:
    """One lot into its place, as a receipt without an order does it."""
    part = line.part
    if each.location.retired:
        raise PlaceRetired(each.location)
    expires_on = each.expires_on
    if each.cured_on is not None:
        if expires_on is not None and expires_on < each.cured_on:
            raise StockRefused(f"{part} cannot expire before its cure date.")
        expires_on = expires_on or part.use_by(each.cured_on)
    elif part.ages and expires_on is None:
        raise StockRefused(
            f"{part} ages: give the day or quarter it was made, or else the use-by day."
        )
    lot = posting.new_lot(
        part=part,
        code=each.lot_code.strip() or day_of(posting.at).isoformat(),
        quantity_steps=each.quantity_steps,
        value_cents=value_cents,
        cured_on=each.cured_on,
        expires_on=expires_on,
    )
    posting.line(
        kind=Movement.Kind.RECEIPT,
        part=part,
        location=each.location,
        lot=lot,
        quantity_steps=each.quantity_steps,
        value_cents=value_cents,
    )
    return lot


def _owe_old_parts(
    supplier: Supplier,
    brought: Sequence[ReceiptLine],
    *,
    author: AbstractBaseUser,
    at: datetime,
) -> None:
    """Note the old parts that the supplier pays for when they come back."""
    parts = [each.lot.part_id for each in brought]
    credit = dict(
        SupplierPart.objects.filter(
            supplier=supplier, part__in=parts, core_cents__gt=0
        ).values_list("part", "core_cents")
    )
    Core.objects.bulk_create(
        Core(
            supplier=supplier,
            part=each.lot.part,
            receipt_line=each,
            quantity_steps=each.lot.quantity_received_steps,
            credit_cents=receipt_value_cents(
                quantity_steps=each.lot.quantity_received_steps,
                steps_per_unit=each.lot.part.steps_per_unit,
                unit_cost_cents=credit[each.lot.part_id],
            ),
            owed_since=day_of(at),
            changed_by_id=author.pk,
            changed_at=at,
        )
        for each in brought
        if each.lot.part_id in credit
    )


def cores_due(by: date) -> list[Core]:
    """Old parts here that a supplier takes until a day at the latest, the first to go on top."""
    return list(
        Core.objects.filter(sent_back_on__isnull=True, credited_on__isnull=True, back_by__lte=by)
        .select_related("part", "supplier")
        .order_by("back_by", "pk")
    )


def set_back_by(
    *, core: Core, back_by: date | None, author: AbstractBaseUser, at: datetime
) -> Core:
    """Say the last day on which the supplier takes old parts; None: any day.

    Raises StockRefused when they went back, and for a day before they were owed.
    """
    with transaction.atomic():
        core = Core.objects.select_for_update().get(pk=core.pk)
        if core.sent_back_on is not None:
            raise StockRefused(f"They went back on {core.sent_back_on:%Y-%m-%d} already.")
        if back_by is not None and back_by < core.owed_since:
            raise StockRefused("That is before the new ones came.")
        core.back_by = back_by
        core.changed_by_id, core.changed_at = author.pk, at
        core.save(update_fields=["back_by", "changed_by", "changed_at"])
    return core


def send_core_back(*, core: Core, on: date, author: AbstractBaseUser, at: datetime) -> Core:
    """Say that old parts went back on a day. Raises StockRefused when they did before."""
    with transaction.atomic():
        core = Core.objects.select_for_update().get(pk=core.pk)
        if core.sent_back_on is not None:
            raise StockRefused(f"They went back on {core.sent_back_on:%Y-%m-%d} already.")
        if on < core.owed_since:
            raise StockRefused("They cannot go back before the new ones came.")
        core.sent_back_on = on
        core.changed_by_id, core.changed_at = author.pk, at
        core.save(update_fields=["sent_back_on", "changed_by", "changed_at"])
    return core


def credit_core(
    *, core: Core, on: date, cents: int, author: AbstractBaseUser, at: datetime
) -> Core:
    """Say that the supplier paid for old parts, >= 0. [cents] What they pay may differ.

    Raises StockRefused when they did before, and for what never went back.
    """
    with transaction.atomic():
        core = Core.objects.select_for_update().get(pk=core.pk)
        if core.credited_on is not None:
            raise StockRefused(f"They were credited on {core.credited_on:%Y-%m-%d} already.")
        if core.sent_back_on is None or on < core.sent_back_on:
            raise StockRefused("They are credited once they went back.")
        if cents < 0:
            raise StockRefused("The credit cannot be below zero.")
        core.credited_on, core.credited_cents = on, cents
        core.changed_by_id, core.changed_at = author.pk, at
        core.save(update_fields=["credited_on", "credited_cents", "changed_by", "changed_at"])
    return core
