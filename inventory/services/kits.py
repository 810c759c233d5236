"""Breaking and making kits, one level at a time."""

from collections.abc import Sequence
from datetime import datetime
from uuid import UUID

from django.contrib.auth.base_user import AbstractBaseUser

from inventory.costing import Draw, split_cents
from inventory.models import KitLine, Location, Lot, Movement, Part
from inventory.services.posting import NothingToMove, PlaceRetired, Posting, StockRefused, day_of


class NotAKit(StockRefused):
    """A part without lines cannot be broken or made."""

    def __init__(self, part: Part) -> None:
        self.part = part
        super().__init__(f"{part} is not a kit, or nobody has said yet what is in it.")


def break_kit(
    *,
    kit: Part,
    location: Location,
    to_location: Location,
    quantity: int,
    author: AbstractBaseUser,
    at: datetime,
    request_id: UUID,
    lot: Lot | None = None,
    reason: str = "",
    source_kind: str = "hand",
    source_number: int = 0,
    source_text: str = "",
) -> list[Movement]:
    """Open kits and lay their parts into a place. Returns the kit's lines, then the parts'.

    quantity: kits, > 0. Each part becomes a new lot that carries the kit's lot code, cure date,
    expiry and place in the queue. The kit's cost is shared by what the parts usually cost, so that
    the cents add up.
    Raises NotEnoughOnHand, NothingToMove, NotAKit, PlaceRetired.
    """
    posting = Posting(author, at, request_id, reason, source_kind, source_number, source_text)

    def work() -> None:
        if to_location.retired:
            raise PlaceRetired(to_location)
        inside = _lines_of(kit)
        draws = posting.draw(part=kit, location=location, quantity_steps=quantity, lot=lot)
        posting.take_out(kind=Movement.Kind.BREAK, part=kit, location=location, draws=draws)
        for each in draws:
            _lay_out(posting, inside=inside, drawn=each, to_location=to_location)

    return posting.post(work, parts=[kit], places=[location, to_location], lots=[lot])


def make_kit(
    *,
    kit: Part,
    location: Location,
    quantity: int,
    author: AbstractBaseUser,
    at: datetime,
    request_id: UUID,
    lot_code: str = "",
    reason: str = "",
    source_kind: str = "hand",
    source_number: int = 0,
    source_text: str = "",
) -> list[Movement]:
    """Make kits whole from the parts in a place. Returns the parts' lines, then the kit's.

    quantity: kits, > 0. The kit costs what its parts cost, expires when the first of them does and
    carries the oldest cure date.
    Raises NotEnoughOnHand, NothingToMove, NotAKit, PlaceRetired.
    """
    posting = Posting(author, at, request_id, reason, source_kind, source_number, source_text)
    if quantity <= 0:
        raise NothingToMove(kit)
    inside = _lines_of(kit)

    def work() -> None:
        if location.retired:
            raise PlaceRetired(location)
        used: list[Draw] = []
        for line in inside:
            draws = posting.draw(
                part=line.part, location=location, quantity_steps=line.quantity_steps * quantity
            )
            posting.take_out(
                kind=Movement.Kind.MAKE, part=line.part, location=location, draws=draws
            )
            used += draws
        value = sum(each.value_cents for each in used)
        lots = [posting.lots[each.lot_id] for each in used]
        cured = [each.cured_on for each in lots if each.cured_on is not None]
        made = posting.new_lot(
            part=kit,
            code=lot_code or f"made {day_of(at).isoformat()}",
            quantity_steps=quantity,
            value_cents=value,
            cured_on=min(cured, default=None),
            expires_on=min(each.expires_on for each in lots),
        )
        posting.line(
            kind=Movement.Kind.MAKE,
            part=kit,
            location=location,
            lot=made,
            quantity_steps=quantity,
            value_cents=value,
        )

    return posting.post(work, parts=[line.part for line in inside], places=[location])


def _lines_of(kit: Part) -> Sequence[KitLine]:
    lines = list(kit.lines.select_related("part").order_by("pk"))
    if not kit.is_kit or not lines:
        raise NotAKit(kit)
    return lines


def _lay_out(
    posting: Posting, *, inside: Sequence[KitLine], drawn: Draw, to_location: Location
) -> None:
    kit_lot = posting.lots[drawn.lot_id]
    quantities = [line.quantity_steps * drawn.quantity_steps for line in inside]
    shares = split_cents(
        drawn.value_cents,
        [line.part.cost_of(steps) for line, steps in zip(inside, quantities, strict=True)],
    )
    for line, steps, cents in zip(inside, quantities, shares, strict=True):
        part_lot = posting.new_lot(
            part=line.part,
            code=kit_lot.code,
            quantity_steps=steps,
            value_cents=cents,
            received_at=kit_lot.received_at,
            cured_on=kit_lot.cured_on,
            expires_on=kit_lot.expires_on,
        )
        posting.line(
            kind=Movement.Kind.BREAK,
            part=line.part,
            location=to_location,
            lot=part_lot,
            quantity_steps=steps,
            value_cents=cents,
        )
