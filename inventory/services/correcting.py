"""Making the ledger say what lies on the shelf: counts, adjustments, scrap, reversals."""

from collections import defaultdict
from collections.abc import Sequence
from datetime import datetime
from uuid import UUID

from django.contrib.auth.base_user import AbstractBaseUser
from django.db import transaction
from django.db.models import Q

from inventory.models import Location, Lot, Movement, Part
from inventory.services.buying_receipts import lock_order_of, take_delivery_back
from inventory.services.posting import NothingToMove, Posting, StockRefused, in_words
from inventory.services.robbed import SOURCE as ROBBED
from inventory.services.robbed import put_back_into, undo_robbed

#: Movements whose lines of one request stand and fall together.
KITS = (Movement.Kind.BREAK, Movement.Kind.MAKE)


class CannotReverse(StockRefused):
    """A movement that cannot be reversed as things stand."""

    def __init__(self, movement: Movement, why: str) -> None:
        self.movement = movement
        super().__init__(why)


class AlreadyReversed(CannotReverse):
    """A movement is reversed once."""

    def __init__(self, movement: Movement) -> None:
        super().__init__(movement, f"{movement} was reversed already.")


def adjust(
    *,
    part: Part,
    location: Location,
    quantity_steps: int,
    author: AbstractBaseUser,
    at: datetime,
    request_id: UUID,
    reason: str,
    lot: Lot | None = None,
    source_kind: str = "hand",
    source_number: int = 0,
    source_text: str = "",
) -> list[Movement]:
    """Add what was found (> 0) or take off what is missing (< 0).

    What is found is worth as much as the rest of its lot, or what the part usually costs where
    nothing is left of it; without a lot it becomes a new one. What is missing, without a lot, is
    taken first expiry, first in. Raises NotEnoughOnHand, NothingToMove for 0.
    """
    if quantity_steps == 0:
        raise NothingToMove(part)
    posting = Posting(author, at, request_id, reason, source_kind, source_number, source_text)

    def work() -> None:
        change_stock(posting, Movement.Kind.ADJUSTMENT, part, location, lot, quantity_steps)

    return posting.post(work, parts=[part], places=[location], lots=[lot])


def count(
    *,
    part: Part,
    location: Location,
    counted_steps: int,
    author: AbstractBaseUser,
    at: datetime,
    request_id: UUID,
    lot: Lot | None = None,
    reason: str = "",
    source_kind: str = "count",
    source_number: int = 0,
    source_text: str = "",
) -> list[Movement]:
    """Set the ledger to what was counted in a place; nothing is written where it agrees.

    counted_steps >= 0, of one lot or, without, of all lots there. More than the ledger knew goes to
    the lot that came in last there, or to a new one. Raises StockRefused below zero.
    """
    if counted_steps < 0:
        raise StockRefused("A count cannot be below zero.")
    posting = Posting(author, at, request_id, reason, source_kind, source_number, source_text)

    def work() -> None:
        lying = [posting.lot(lot, part)] if lot else posting.lots_there(part, location)
        difference = counted_steps - sum(posting.there(location, each) for each in lying)
        if difference == 0:
            return
        found_in = lot
        if lot is None and difference > 0:
            found_in = max(lying, key=lambda each: (each.received_at, each.pk), default=None)
        change_stock(posting, Movement.Kind.COUNT, part, location, found_in, difference)

    return posting.post(work, parts=[part], places=[location], lots=[lot])


def scrap(
    *,
    part: Part,
    location: Location,
    quantity_steps: int,
    author: AbstractBaseUser,
    at: datetime,
    request_id: UUID,
    reason: str,
    lot: Lot | None = None,
    source_kind: str = "hand",
    source_number: int = 0,
    source_text: str = "",
) -> list[Movement]:
    """Throw away, > 0 [steps]; without a lot what expires first goes first, expired or not.

    Raises NotEnoughOnHand, NothingToMove.
    """
    if quantity_steps <= 0:
        raise NothingToMove(part)
    posting = Posting(author, at, request_id, reason, source_kind, source_number, source_text)

    def work() -> None:
        change_stock(posting, Movement.Kind.SCRAP, part, location, lot, -quantity_steps)

    return posting.post(work, parts=[part], places=[location], lots=[lot])


def reverse(
    *,
    movement: Movement,
    author: AbstractBaseUser,
    at: datetime,
    request_id: UUID,
    reason: str,
) -> list[Movement]:
    """Undo a movement by its opposite, which names it. Returns the new lines.

    Both lines of a transfer are reversed together, all lines of a kit broken or made, and all of
    a change of cost; and with a movement, what a late invoice changed about it. What came by an
    order is to come again.
    Raises AlreadyReversed; CannotReverse when it is a reversal itself, when what it brought is no
    longer there, or when something later must be undone first.
    """
    if movement.kind == Movement.Kind.REVERSAL:
        raise CannotReverse(movement, "A reversal is not reversed. Enter it again instead.")
    rows = reversed_together(movement)
    posting = Posting(
        author,
        at,
        request_id,
        reason,
        movement.source_kind,
        movement.source_number,
        movement.source_text,
    )

    def work() -> None:
        if Movement.objects.filter(reverses=movement).exists():
            raise AlreadyReversed(movement)
        # Again, under the locks: a late invoice may have changed its cost meanwhile.
        rows = reversed_together(movement)
        if Movement.objects.filter(reverses__in=rows).exists():
            raise AlreadyReversed(movement)
        _refuse_if_put_back(rows)
        if movement.kind == Movement.Kind.COST:
            _refuse_if_moved_since(movement, rows)
        moved: dict[tuple[int, int], int] = defaultdict(int)
        for row in rows:
            lot = posting.lots[row.lot_id]
            posting.line(
                kind=Movement.Kind.REVERSAL,
                part=row.part,
                location=row.location,
                lot=lot,
                quantity_steps=-row.quantity_steps,
                value_cents=-row.value_cents,
                reverses=row,
            )
            moved[row.location_id, row.lot_id] += row.quantity_steps
        for row in rows:
            lot = posting.lots[row.lot_id]
            if posting.there(row.location, lot) < 0:
                quantity = in_words(row.part, moved[row.location_id, row.lot_id])
                verb = "are" if quantity.endswith("s") else "is"
                raise CannotReverse(
                    movement,
                    f"The {quantity} of that {row.get_kind_display().lower()} "
                    f"{verb} no longer in {row.location}.",
                )
            if lot.value_left_cents < 0 or (
                lot.quantity_left_steps == 0 and lot.value_left_cents != 0
            ):
                raise CannotReverse(
                    movement,
                    f"The cost of lot {lot.code} of {row.part} changed since. "
                    "Reverse what came later with this lot first.",
                )
        trays = {
            row.location_id
            for row in rows
            if row.quantity_steps < 0 and row.location.kind == Location.Kind.TRAY
        }
        of_robbed = movement.source_kind == ROBBED and movement.kind in KITS
        if trays and not of_robbed:
            whole = put_back_into(trays, author=author, at=at)
            if whole is not None:
                raise CannotReverse(
                    movement, f"The {whole.kit} was made whole since. Reverse that first."
                )
        if of_robbed:
            undo_robbed(movement.kind, movement.source_number, author=author, at=at)
        if brought is not None:
            take_delivery_back(brought, steps=movement.quantity_steps, author=author, at=at)

    with transaction.atomic():
        brought = lock_order_of(movement)
        return posting.post(
            work,
            parts=(),
            places=[row.location for row in rows],
            lots=[row.lot_id for row in rows],
        )


def change_stock(
    posting: Posting,
    kind: str,
    part: Part,
    location: Location,
    lot: Lot | None,
    quantity_steps: int,
) -> None:
    """Add to a lot, or take from one or more."""
    if quantity_steps < 0:
        draws = posting.draw(
            part=part, location=location, quantity_steps=-quantity_steps, lot=lot, expired_too=True
        )
        posting.take_out(kind=kind, part=part, location=location, draws=draws)
        return
    if lot is not None:
        found_in = posting.lot(lot, part)
        value = posting.found_value(part, found_in, quantity_steps)
    else:
        value = part.cost_of(quantity_steps)
        found_in = posting.new_lot(
            part=part, code="found", quantity_steps=quantity_steps, value_cents=value
        )
    posting.line(
        kind=kind,
        part=part,
        location=location,
        lot=found_in,
        quantity_steps=quantity_steps,
        value_cents=value,
    )


def reversed_together(movement: Movement) -> Sequence[Movement]:
    """The lines that belong together: half a transfer or half a kit would be nonsense."""
    request = Movement.objects.of_request(movement.request_id).select_related("part", "location")
    if movement.kind == Movement.Kind.TRANSFER:
        first = movement.line_no - (movement.line_no + 1) % 2
        return list(request.filter(line_no__in=(first, first + 1)))
    if movement.kind == Movement.Kind.COST:
        return list(request)
    if movement.kind in KITS:
        # What went missing from a kit as it was opened comes back before the kit is closed, unless
        # it was found again and came back by itself.
        still = request.filter(Q(kind__in=KITS) | Q(reversed_by__isnull=True))
        rows = sorted(still, key=lambda row: row.kind in KITS)
    else:
        rows = list(request.filter(line_no=movement.line_no))
    changes = Movement.objects.filter(about__in=rows, reversed_by__isnull=True)
    return [*rows, *changes.select_related("part", "location").order_by("pk")]


def _refuse_if_moved_since(movement: Movement, rows: Sequence[Movement]) -> None:
    """What moved since went at the changed cost: taking the change back would leave it there."""
    last = max(row.pk for row in rows)
    since = Movement.objects.filter(
        lot__in={row.lot_id for row in rows}, pk__gt=last, reversed_by__isnull=True
    ).exclude(kind=Movement.Kind.TRANSFER)
    if since.exclude(reverses__pk__gt=last).exists():
        raise CannotReverse(
            movement,
            "The lot has moved since, at the new cost. Say again what the invoice says instead.",
        )


def _refuse_if_put_back(rows: Sequence[Movement]) -> None:
    """An issue of which something came back would come back twice."""
    for row in rows:
        if row.kind != Movement.Kind.ISSUE:
            continue
        back = Movement.objects.of_source(row.source_kind, row.source_number).filter(
            kind=Movement.Kind.RETURN, lot=row.lot_id, reversed_by__isnull=True
        )
        if back.exists():
            raise CannotReverse(row, f"Some of {row.part} was put back since. Reverse that first.")
