"""Who we buy from and what is ordered: suppliers, their parts, orders drafted, sent and closed.

Locks: the supplier, then the order, then its lines; a delivery goes on to lots and balances.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from uuid import UUID

from django.contrib.auth.base_user import AbstractBaseUser
from django.db import IntegrityError, transaction
from django.db.models import Max

from inventory.models import (
    Part,
    PriceBreak,
    PurchaseOrder,
    PurchaseOrderLine,
    Supplier,
    SupplierPart,
)
from inventory.pack_prices import MOST_PACKS, PackPrice, pack_price_cents, packs_for
from inventory.services.posting import NothingToMove, StockRefused, day_of, refuse_long

#: How often a number is tried for that somebody else takes at the same moment.
_TRIES = 8


class SupplierRetired(StockRefused):
    def __init__(self, supplier: Supplier) -> None:
        self.supplier = supplier
        super().__init__(f"{supplier} is retired: nothing is ordered there any more.")


class SupplierNameTaken(StockRefused):
    def __init__(self, name: str) -> None:
        super().__init__(f"There is a supplier {name} already.")


class NotSoldThere(StockRefused):
    """A part that the supplier is not known to sell."""

    def __init__(self, *, supplier: Supplier, part: Part) -> None:
        self.part = part
        super().__init__(
            f"{supplier} is not known to sell {part}. Add it to the supplier’s parts first."
        )


class PartNotBought(StockRefused):
    def __init__(self, part: Part) -> None:
        self.part = part
        super().__init__(f"{part} is retired: it is not bought any more.")


class OrderNotOpen(StockRefused):
    """The order is in a state in which this cannot be done."""


class DraftChanged(StockRefused):
    """A draft is not what the person looked at."""

    def __init__(self, order: PurchaseOrder) -> None:
        super().__init__(f"Order {order.number} was changed meanwhile. Look at it again.")


@dataclass(frozen=True, slots=True)
class Terms:
    """How a supplier sells a part. See the columns of SupplierPart; prices are of one pack."""

    pack_steps: int
    least_packs: int = 1
    lead_time_days: int = 7
    core_cents: int = 0
    their_number: str = ""
    preferred: bool = False
    prices: tuple[PackPrice, ...] = ()


@dataclass(frozen=True, slots=True)
class Wish:
    """So much of a part is wanted, > 0. [steps]"""

    part: Part
    quantity_steps: int


def create_supplier(
    *,
    name: str,
    author: AbstractBaseUser,
    at: datetime,
    contact: str = "",
    our_account: str = "",
    review_days: int = 0,
    least_order_cents: int = 0,
) -> Supplier:
    """Add somebody we buy from. Raises SupplierNameTaken, StockRefused for an empty name."""
    supplier = Supplier()
    return change_supplier(
        supplier=supplier,
        name=name,
        contact=contact,
        our_account=our_account,
        review_days=review_days,
        least_order_cents=least_order_cents,
        author=author,
        at=at,
    )


def change_supplier(
    *,
    supplier: Supplier,
    name: str,
    author: AbstractBaseUser,
    at: datetime,
    contact: str = "",
    our_account: str = "",
    review_days: int = 0,
    least_order_cents: int = 0,
    retired: bool = False,
) -> Supplier:
    """Change what is known of a supplier, or retire it. Names differ by more than case.

    review_days >= 0; least_order_cents >= 0. Raises as `create_supplier`.
    """
    name = name.strip()
    if not name:
        raise StockRefused("A supplier needs a name.")
    if min(review_days, least_order_cents) < 0:
        raise StockRefused("Days and least order are not below zero.")
    refuse_long(Supplier, name=name, our_account=our_account)
    try:
        with transaction.atomic():
            if Supplier.objects.filter(name__iexact=name).exclude(pk=supplier.pk).exists():
                raise SupplierNameTaken(name)
            supplier.name = name
            supplier.contact = contact
            supplier.our_account = our_account
            supplier.review_days = review_days
            supplier.least_order_cents = least_order_cents
            supplier.retired = retired
            supplier.changed_by_id = author.pk
            supplier.changed_at = at
            supplier.save()
    except IntegrityError as taken:
        raise SupplierNameTaken(name) from taken
    return supplier


def set_supplier_part(*, supplier: Supplier, part: Part, terms: Terms) -> SupplierPart:
    """Say how a supplier sells a part, with all its prices; what was said before is replaced.

    At most one supplier of a part is preferred: naming another takes it from the first.
    Raises StockRefused for a pack of nothing, figures below zero, a price twice.
    """
    if terms.pack_steps < 1:
        raise StockRefused("A pack holds more than nothing.")
    if terms.least_packs < 1:
        raise StockRefused("The least is one pack.")
    if terms.lead_time_days < 0 or terms.core_cents < 0:
        raise StockRefused("Days and credit are not below zero.")
    starts = [price.from_packs for price in terms.prices]
    if len(set(starts)) < len(starts):
        raise StockRefused("There is a price from this number on already.")
    if any(price.from_packs < 1 or price.pack_price_cents < 0 for price in terms.prices):
        raise StockRefused("A price starts at one pack or more, and is not below zero.")
    refuse_long(SupplierPart, their_number=terms.their_number)
    with transaction.atomic():
        # The part's rows of all suppliers, so that two cannot both become the preferred one.
        Part.objects.select_for_update().get(pk=part.pk)
        if terms.preferred:
            SupplierPart.objects.filter(part=part).exclude(supplier=supplier).update(
                preferred=False
            )
        sold, _ = SupplierPart.objects.update_or_create(
            supplier=supplier,
            part=part,
            defaults={
                "their_number": terms.their_number,
                "pack_steps": terms.pack_steps,
                "least_packs": terms.least_packs,
                "lead_time_days": terms.lead_time_days,
                "core_cents": terms.core_cents,
                "preferred": terms.preferred,
            },
        )
        sold.price_breaks.all().delete()
        PriceBreak.objects.bulk_create(
            PriceBreak(
                supplier_part=sold,
                from_packs=price.from_packs,
                pack_price_cents=price.pack_price_cents,
            )
            for price in terms.prices
        )
    return sold


def draft_order(
    *,
    supplier: Supplier,
    wishes: Sequence[Wish],
    author: AbstractBaseUser,
    at: datetime,
    request_id: UUID,
    note: str = "",
) -> PurchaseOrder:
    """Write a draft: each wish in whole packs, no fewer than the supplier's least.

    A part wished for twice is one line. Sent twice with one request_id, it is drafted once.
    Raises SupplierRetired, NotSoldThere, PartNotBought, NothingToMove; StockRefused for no wishes
    and for more packs than anybody orders.
    """
    for attempt in range(_TRIES):
        try:
            with transaction.atomic():
                if earlier := PurchaseOrder.objects.filter(request_id=request_id).first():
                    return earlier
                return _draft(supplier, wishes, author, at, request_id, note)
        except IntegrityError:
            # Somebody took the number, or sent the same request, since we looked.
            if attempt == _TRIES - 1:
                raise
    raise AssertionError("The last try returns or raises.")


def _draft(
    supplier: Supplier,
    wishes: Sequence[Wish],
    author: AbstractBaseUser,
    at: datetime,
    request_id: UUID,
    note: str,
) -> PurchaseOrder:
    supplier = Supplier.objects.select_for_update().get(pk=supplier.pk)
    if supplier.retired:
        raise SupplierRetired(supplier)
    wanted: dict[Part, int] = {}
    for wish in wishes:
        if wish.quantity_steps <= 0:
            raise NothingToMove(wish.part)
        wanted[wish.part] = wanted.get(wish.part, 0) + wish.quantity_steps
    if not wanted:
        raise StockRefused("Say what to order.")
    last = PurchaseOrder.objects.aggregate(last=Max("number"))["last"] or 0
    order = PurchaseOrder.objects.create(
        number=last + 1,
        supplier=supplier,
        note=note,
        request_id=request_id,
        drafted_by_id=author.pk,
        drafted_at=at,
    )
    sold = _sold(supplier, list(wanted))
    PurchaseOrderLine.objects.bulk_create(
        _line(
            order,
            sold[part.pk],
            packs_for(
                steps,
                pack_steps=sold[part.pk].pack_steps,
                least_packs=sold[part.pk].least_packs,
            ),
        )
        for part, steps in wanted.items()
    )
    return order


def set_draft_line(*, order: PurchaseOrder, part: Part, packs: int) -> PurchaseOrder:
    """Make a draft ask for so many packs of a part, >= 0; 0 takes the part off.

    Raises OrderNotOpen once the order was sent, else as `draft_order`; StockRefused below the
    supplier's least.
    """
    with transaction.atomic():
        order = _locked(order)
        _refuse_unless_draft(order)
        if packs < 0:
            raise NothingToMove(part)
        if packs == 0:
            order.lines.filter(part=part).delete()
            return order
        sold = _sold(order.supplier, [part])[part.pk]
        if packs < sold.least_packs:
            raise StockRefused(
                f"{order.supplier} sells {sold.least_packs} packs or more of {part}."
            )
        line = _line(order, sold, packs)
        order.lines.update_or_create(
            part=part,
            defaults={
                "their_number": line.their_number,
                "packs": line.packs,
                "pack_steps": line.pack_steps,
                "pack_price_cents": line.pack_price_cents,
            },
        )
    return order


def looked_at(lines: Iterable[PurchaseOrderLine]) -> str:
    """What a person sees of a draft's lines, in one word: equal lines, equal word."""
    return "-".join(
        f"{line.part_id}.{line.packs}.{line.pack_steps}.{line.pack_price_cents}"
        for line in sorted(lines, key=lambda line: line.part_id)
    )


def refuse_unless_seen(*, order: PurchaseOrder, seen: str) -> None:
    """Raise DraftChanged where `looked_at` says something else of the lines than seen.

    Within a transaction: the order stays locked, so that what follows meets the same lines.
    """
    order = _locked(order)
    if order.state == PurchaseOrder.State.DRAFT and looked_at(order.lines.all()) != seen:
        raise DraftChanged(order)


def set_note(*, order: PurchaseOrder, note: str) -> PurchaseOrder:
    """Say what else is written on a draft. Raises OrderNotOpen once it was sent."""
    with transaction.atomic():
        order = _locked(order)
        _refuse_unless_draft(order)
        order.note = note.strip()
        order.save(update_fields=["note"])
    return order


def send_order(
    *,
    order: PurchaseOrder,
    author: AbstractBaseUser,
    at: datetime,
    expected: Mapping[int, date] | None = None,
) -> PurchaseOrder:
    """Send a draft: from now on it counts as on order, and its prices stay as they are.

    expected: by part id, the day that was promised; else the supplier's lead time after sending.
    Raises OrderNotOpen for what is no draft, SupplierRetired, StockRefused for an empty draft or
    a promised day before the sending.
    """
    expected = expected or {}
    today = day_of(at)
    with transaction.atomic():
        order = _locked(order)
        _refuse_unless_draft(order)
        if order.supplier.retired:
            raise SupplierRetired(order.supplier)
        lines = list(order.lines.select_related("part").order_by("pk"))
        if not lines:
            raise StockRefused(f"Order {order.number} asks for nothing yet.")
        sold = _sold(order.supplier, [line.part for line in lines])
        for line in lines:
            lead_time = timedelta(days=sold[line.part_id].lead_time_days)
            line.expected_on = expected.get(line.part_id, today + lead_time)
            if line.expected_on < today:
                raise StockRefused(f"{line.part} cannot come before the order is sent.")
        PurchaseOrderLine.objects.bulk_update(lines, ["expected_on"])
        order.state = PurchaseOrder.State.SENT
        order.sent_by_id, order.sent_at = author.pk, at
        order.save(update_fields=["state", "sent_by", "sent_at"])
    return order


def cancel_rest(
    *, line: PurchaseOrderLine, because: str, author: AbstractBaseUser, at: datetime
) -> PurchaseOrder:
    """Say that the rest of one line will not come. The order closes when nothing is to come.

    Raises OrderNotOpen unless the order is under way, StockRefused without a reason or a rest.
    """
    because = _reason(because)
    with transaction.atomic():
        order = _locked(line.order)
        refuse_unless_under_way(order)
        lines = list(
            order.lines.select_for_update(of=("self",)).select_related("part").order_by("pk")
        )
        mine = next(each for each in lines if each.pk == line.pk)
        rest = to_come_steps(mine)
        if not rest:
            raise StockRefused(f"Nothing more of {mine.part} is to come.")
        mine.cancelled_steps += rest
        mine.save(update_fields=["cancelled_steps"])
        settle_state(order, lines, author=author, at=at, because=because)
    return order


def close_order(
    *, order: PurchaseOrder, because: str, author: AbstractBaseUser, at: datetime
) -> PurchaseOrder:
    """Close an order, or drop a draft: what has not come will not come.

    Raises OrderNotOpen when it is closed, StockRefused without a reason.
    """
    because = _reason(because)
    with transaction.atomic():
        order = _locked(order)
        if order.state == PurchaseOrder.State.CLOSED:
            raise OrderNotOpen(f"Order {order.number} is closed already.")
        lines = list(order.lines.select_for_update().order_by("pk"))
        for line in lines:
            line.cancelled_steps += to_come_steps(line)
        PurchaseOrderLine.objects.bulk_update(lines, ["cancelled_steps"])
        settle_state(order, lines, author=author, at=at, because=because)
    return order


def to_come_steps(line: PurchaseOrderLine) -> int:
    """What of a line is still to come; more than was ordered is no debt. [steps]"""
    return max(line.quantity_steps - line.received_steps - line.cancelled_steps, 0)


def settle_state(
    order: PurchaseOrder,
    lines: Sequence[PurchaseOrderLine],
    *,
    author: AbstractBaseUser,
    at: datetime,
    because: str = "",
) -> None:
    """Make the state of a locked order say what its lines say: sent, partly received, closed."""
    if any(to_come_steps(line) for line in lines):
        came = any(line.received_steps for line in lines)
        order.state = PurchaseOrder.State.PARTLY if came else PurchaseOrder.State.SENT
        order.closed_by_id, order.closed_at, order.closed_because = None, None, ""
    else:
        order.state = PurchaseOrder.State.CLOSED
        order.closed_by_id, order.closed_at = author.pk, at
        order.closed_because = because
    order.save(update_fields=["state", "closed_by", "closed_at", "closed_because"])


def refuse_unless_under_way(order: PurchaseOrder) -> None:
    """Raise OrderNotOpen for a draft and for what is closed."""
    if order.state == PurchaseOrder.State.DRAFT:
        raise OrderNotOpen(f"Order {order.number} is a draft: send it before anything comes.")
    if order.state == PurchaseOrder.State.CLOSED:
        raise OrderNotOpen(f"Order {order.number} is closed: nothing more comes by it.")


def _refuse_unless_draft(order: PurchaseOrder) -> None:
    if order.state == PurchaseOrder.State.CLOSED:
        raise OrderNotOpen(f"Order {order.number} is closed.")
    if order.state != PurchaseOrder.State.DRAFT:
        raise OrderNotOpen(f"Order {order.number} was sent already and stays as it is.")


def _locked(order: PurchaseOrder) -> PurchaseOrder:
    """The order under its supplier's lock and its own."""
    supplier = Supplier.objects.select_for_update().get(pk=order.supplier_id)
    locked = PurchaseOrder.objects.select_for_update().get(pk=order.pk)
    locked.supplier = supplier
    return locked


def _reason(because: str) -> str:
    because = because.strip()
    if not because:
        raise StockRefused("Say why.")
    return because


def _sold(supplier: Supplier, parts: Sequence[Part]) -> dict[int, SupplierPart]:
    """How a supplier sells these parts, by part id. Raises NotSoldThere, PartNotBought."""
    rows = SupplierPart.objects.filter(supplier=supplier, part__in=parts)
    sold = {
        row.part_id: row for row in rows.select_related("part").prefetch_related("price_breaks")
    }
    for part in parts:
        if part.retired:
            raise PartNotBought(part)
        if part.pk not in sold:
            raise NotSoldThere(supplier=supplier, part=part)
    return sold


def _line(order: PurchaseOrder, sold: SupplierPart, packs: int) -> PurchaseOrderLine:
    if packs > MOST_PACKS:
        raise StockRefused(f"{packs:,} packs of {sold.part} are more than anybody orders.")
    prices = [PackPrice(each.from_packs, each.pack_price_cents) for each in sold.price_breaks.all()]
    return PurchaseOrderLine(
        order=order,
        part_id=sold.part_id,
        their_number=sold.their_number,
        packs=packs,
        pack_steps=sold.pack_steps,
        pack_price_cents=pack_price_cents(prices, packs),
    )
