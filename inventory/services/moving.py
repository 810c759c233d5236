"""Stock that comes, goes, and changes place."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from uuid import UUID

from django.contrib.auth.base_user import AbstractBaseUser
from django.utils.text import format_lazy
from django.utils.translation import gettext_lazy

from inventory.costing import issue_value_cents
from inventory.models import Location, Lot, Movement, Part
from inventory.services.posting import (
    NothingToMove,
    PlaceRetired,
    Posting,
    StockRefused,
    in_words,
)


class NotIssued(StockRefused):
    """More is put back than was issued for the same thing."""

    def __init__(self, *, part: Part, asked_steps: int, issued_steps: int) -> None:
        self.part = part
        self.asked_steps = asked_steps
        self.issued_steps = issued_steps
        issued = in_words(part, issued_steps) if issued_steps else "none"
        super().__init__(
            f"{in_words(part, asked_steps)} of {part} cannot be put back: {issued} issued here."
        )


@dataclass(frozen=True, slots=True)
class IssueLine:
    """So much of a part, > 0 [steps], out of a place; of one lot, or first expiry, first in."""

    part: Part
    location: Location
    quantity_steps: int
    lot: Lot | None = None


@dataclass(frozen=True, slots=True)
class TransferLine:
    """So much of a part, > 0 [steps], from one place to another."""

    part: Part
    from_location: Location
    to_location: Location
    quantity_steps: int
    lot: Lot | None = None


def receive(
    *,
    part: Part,
    location: Location,
    quantity_steps: int,
    value_cents: int,
    lot_code: str,
    author: AbstractBaseUser,
    at: datetime,
    request_id: UUID,
    cured_on: date | None = None,
    expires_on: date | None = None,
    reason: str = "",
    source_kind: str = "receipt",
    source_number: int = 0,
    source_text: str = "",
) -> Movement:
    """Take in what came: a new lot with its cost. Sent twice with one request_id, it counts once.

    quantity_steps > 0; value_cents >= 0, of the whole quantity. Without expires_on, what ages
    keeps from cured_on as its part says.
    Raises NothingToMove, PlaceRetired, StockRefused for a value below zero.
    """
    if quantity_steps <= 0:
        raise NothingToMove(part)
    if value_cents < 0:
        raise StockRefused(f"What {part} cost cannot be below zero.")
    if cured_on is not None and expires_on is not None and expires_on < cured_on:
        raise StockRefused(f"{part} cannot expire before its cure date.")
    if cured_on is not None and expires_on is None:
        expires_on = part.use_by(cured_on)
    posting = Posting(author, at, request_id, reason, source_kind, source_number, source_text)

    def work() -> None:
        if location.retired:
            raise PlaceRetired(location)
        lot = posting.new_lot(
            part=part,
            code=lot_code,
            quantity_steps=quantity_steps,
            value_cents=value_cents,
            cured_on=cured_on,
            expires_on=expires_on,
        )
        posting.line(
            kind=Movement.Kind.RECEIPT,
            part=part,
            location=location,
            lot=lot,
            quantity_steps=quantity_steps,
            value_cents=value_cents,
        )

    # A new lot touches no row that stands, so nothing needs a lock.
    return posting.post(work, parts=(), places=())[0]


def with_expired_reason(reason: str, expired_reason: str) -> str:
    """A movement's reason, with why what has expired was used."""
    expired_reason = expired_reason.strip()
    if not expired_reason:
        return reason
    return f"{reason}. Expired: {expired_reason}" if reason else f"Expired: {expired_reason}"


def issue(
    *,
    lines: Sequence[IssueLine],
    author: AbstractBaseUser,
    at: datetime,
    request_id: UUID,
    reason: str = "",
    expired_reason: str = "",
    source_kind: str = "hand",
    source_number: int = 0,
    source_text: str = "",
) -> list[Movement]:
    """Use parts up, all lines or none. Sent twice with one request_id, it counts once.

    expired_reason: why what has expired may be used after all; a manager's word, kept with the
    movement's reason. Without it expired lots are passed over, and a named one is refused.
    Raises NotEnoughOnHand, NothingToMove, LotExpired, LotOfAnotherPart.
    """
    reason = with_expired_reason(reason, expired_reason)
    posting = Posting(author, at, request_id, reason, source_kind, source_number, source_text)

    def work() -> None:
        for line in lines:
            draws = posting.draw(
                part=line.part,
                location=line.location,
                quantity_steps=line.quantity_steps,
                lot=line.lot,
                expired_too=bool(expired_reason.strip()),
            )
            posting.take_out(
                kind=Movement.Kind.ISSUE, part=line.part, location=line.location, draws=draws
            )

    return posting.post(
        work,
        parts=[line.part for line in lines],
        places=[line.location for line in lines],
        lots=[line.lot for line in lines],
    )


def put_back(
    *,
    part: Part,
    location: Location,
    quantity_steps: int,
    source_kind: str,
    source_number: int,
    author: AbstractBaseUser,
    at: datetime,
    request_id: UUID,
    lot: Lot | None = None,
    reason: str = "",
    source_text: str = "",
) -> list[Movement]:
    """Put back what was issued for a source and not used, into its lot, at the cost it went for.

    Without a lot, the lot issued last comes back first.
    Raises NotIssued, NothingToMove, PlaceRetired.
    """
    if quantity_steps <= 0:
        raise NothingToMove(part)
    posting = Posting(author, at, request_id, reason, source_kind, source_number, source_text)
    spent = Movement.objects.spent().of_source(source_kind, source_number).filter(part=part)
    if lot is not None:
        spent = spent.filter(lot=lot)

    def work() -> None:
        if location.retired:
            raise PlaceRetired(location)
        issued: dict[int, tuple[int, int]] = {}  # by lot, the one touched last at the end
        for lot_id, steps, cents in spent.order_by("pk").values_list(
            "lot_id", "quantity_steps", "value_cents"
        ):
            quantity, value = issued.pop(lot_id, (0, 0))
            issued[lot_id] = (quantity - steps, value - cents)
        wanted = quantity_steps
        for lot_id, (quantity, value) in reversed(issued.items()):
            if not (back := min(wanted, quantity)):
                continue
            worth = issue_value_cents(
                value_left_cents=value, quantity_left_steps=quantity, quantity_steps=back
            )
            posting.line(
                kind=Movement.Kind.RETURN,
                part=part,
                location=location,
                lot=posting.lots[lot_id],
                quantity_steps=back,
                value_cents=worth,
            )
            wanted -= back
        if wanted:
            raise NotIssued(
                part=part,
                asked_steps=quantity_steps,
                issued_steps=sum(quantity for quantity, _ in issued.values()),
            )

    issued_lots = set(spent.order_by().values_list("lot_id", flat=True))
    return posting.post(work, parts=(), places=[location], lots=issued_lots)


def transfer(
    *,
    lines: Sequence[TransferLine],
    author: AbstractBaseUser,
    at: datetime,
    request_id: UUID,
    reason: str = "",
    expired_reason: str = "",
    source_kind: str = "hand",
    source_number: int = 0,
    source_text: str = "",
) -> list[Movement]:
    """Carry parts from place to place, all lines or none: two ledger lines for each lot moved.

    The line out comes first, the line in right after it; their numbers are 2k−1 and 2k.
    expired_reason: as for `issue`; a named lot that has expired goes without it to a bin or to
    quarantine, not to a drawer or a tray.
    Raises NotEnoughOnHand, NothingToMove, LotExpired, LotOfAnotherPart, PlaceRetired; StockRefused
    when both places are one.
    """
    reason = with_expired_reason(reason, expired_reason)
    posting = Posting(author, at, request_id, reason, source_kind, source_number, source_text)

    def work() -> None:
        for line in lines:
            if line.to_location.retired:
                raise PlaceRetired(line.to_location)
            if line.from_location.pk == line.to_location.pk:
                raise StockRefused(
                    format_lazy(
                        gettext_lazy("{part} lies in {place} already."),
                        part=line.part,
                        place=line.to_location,
                    )
                )
            for each in posting.draw(
                part=line.part,
                location=line.from_location,
                quantity_steps=line.quantity_steps,
                lot=line.lot,
                expired_too=bool(expired_reason.strip())
                or (line.lot is not None and not line.to_location.is_taken_along),
            ):
                for place, sign in ((line.from_location, -1), (line.to_location, 1)):
                    posting.line(
                        kind=Movement.Kind.TRANSFER,
                        part=line.part,
                        location=place,
                        lot=posting.lots[each.lot_id],
                        quantity_steps=sign * each.quantity_steps,
                        value_cents=0,
                    )

    return posting.post(
        work,
        parts=[line.part for line in lines],
        places=[place for line in lines for place in (line.from_location, line.to_location)],
        lots=[line.lot for line in lines],
    )
