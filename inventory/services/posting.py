"""The one way into the ledger: lock, look whether it was sent before, change, write.

Every service that moves stock makes a `Posting` and hands it the work to do. The posting locks the
lots and then the balances, each by primary key; collects the lines in memory; and writes lots,
balances and movements in a handful of statements, however many lines there are. Whoever changes a
balance holds the lock of its lot, so none is lost; on SQLite the immediate transaction is that
lock, since `select_for_update` sends nothing there.
"""

from collections import defaultdict
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Final
from uuid import UUID

from django.contrib.auth.base_user import AbstractBaseUser
from django.db import IntegrityError, transaction
from django.db.models import Model
from django.utils import timezone
from django.utils.functional import lazy
from django.utils.text import format_lazy
from django.utils.translation import gettext, gettext_lazy, gettext_noop, ngettext

from inventory.costing import Draw, LotLayer, NotEnough, draw, receipt_value_cents
from inventory.models import FAR_DATE, Balance, Location, Lot, Movement, Part
from inventory.quantities import format_quantity
from inventory.services import ledger_rows
from inventory.services.ledger_rows import Line, Lying, Said

#: More was asked than lies there: of a lot, some there and none there; without one, likewise.
NOT_ENOUGH: Final = (
    gettext_noop("Not enough of {part} in {place} of lot {lot}: {asked} asked, {there} there."),
    gettext_noop("Not enough of {part} in {place} of lot {lot}: {asked} asked, none there."),
    gettext_noop("Not enough of {part} in {place}: {asked} asked, {there} there."),
    gettext_noop("Not enough of {part} in {place}: {asked} asked, none there."),
)
EXPIRED: Final = gettext_noop("{quantity} more there, but expired.")


class StockRefused(ValueError):
    """Something the stock does not allow; its text is meant for the person."""


class NothingToMove(StockRefused):
    """A quantity of zero or below."""

    def __init__(self, part: Part) -> None:
        self.part = part
        super().__init__(
            format_lazy(gettext_lazy("Give a quantity above zero for {part}."), part=part)
        )


class NotEnoughOnHand(StockRefused):
    """More was asked of a part than lies in the place."""

    def __init__(
        self,
        *,
        part: Part,
        location: Location,
        asked_steps: int,
        there_steps: int,
        expired_steps: int = 0,
        lot: Lot | None = None,
    ) -> None:
        self.part = part
        self.location = location
        self.asked_steps = asked_steps
        self.there_steps = there_steps
        self.expired_steps = expired_steps
        self.lot = lot
        text = gettext_lazy(NOT_ENOUGH[2 * (lot is None) + (not there_steps)])
        message = format_lazy(
            text,
            part=part,
            place=location,
            lot=lot.code if lot else "",
            asked=_said(part, asked_steps),
            there=_said(part, there_steps),
        )
        if expired_steps:
            more = format_lazy(
                gettext_lazy(EXPIRED),
                quantity=_said(part, expired_steps),
            )
            message = format_lazy("{} {}", message, more)
        super().__init__(message)


class LotExpired(StockRefused):
    """A lot past its use-by day that was named, and nobody who may said why it is used."""

    def __init__(self, *, part: Part, lot: Lot) -> None:
        self.part = part
        self.lot = lot
        super().__init__(
            format_lazy(
                gettext_lazy(
                    "Lot {lot} of {part} expired on {day}. A manager may use it, and says why."
                ),
                lot=lot.code,
                part=part,
                day=lot.expires_on,
            )
        )


class LotOfAnotherPart(StockRefused):
    def __init__(self, *, part: Part, lot: Lot) -> None:
        self.part = part
        self.lot = lot
        super().__init__(
            format_lazy(gettext_lazy("Lot {lot} is not a lot of {part}."), lot=lot.code, part=part)
        )


class PlaceRetired(StockRefused):
    def __init__(self, location: Location) -> None:
        self.location = location
        super().__init__(
            format_lazy(
                gettext_lazy("{place} is retired: nothing is put there any more."), place=location
            )
        )


def in_words(part: Part, quantity_steps: int) -> str:
    """A quantity as a person says it, in the language that is spoken: "2 pieces", "0.75 gal"."""
    unit = unit_in_words(part.unit_name, is_one=quantity_steps == part.steps_per_unit)
    return format_quantity(quantity_steps, part.steps_per_unit, unit)


def unit_in_words(name: str, *, is_one: bool) -> str:
    """The unit of a part by its name, "piece", in the language that is spoken: "pieces"."""
    count = 1 if is_one else 2
    if name == "piece":
        return ngettext("piece", "pieces", count)
    if name == "set":
        return ngettext("set", "sets", count)
    return gettext(name) if name else ""


#: The same as a figure of a refusal, which is said in the language of whoever is shown it.
_said = lazy(in_words, str)


def refuse_long(model: type[Model], **texts: str) -> None:
    """Raise StockRefused for a text that its column cannot hold: only PostgreSQL would object."""
    for name, text in texts.items():
        column = model._meta.get_field(name)
        most = getattr(column, "max_length", None)
        if most is not None and len(text) > most:
            label = str(getattr(column, "verbose_name", name))
            raise StockRefused(
                format_lazy(
                    gettext_lazy("The {field} is longer than {most} letters."),
                    field=gettext_lazy(label),
                    most=most,
                )
            )


def day_of(at: datetime) -> date:
    """The shop's calendar day of a moment (the zone in force, which the interface sets)."""
    return timezone.localdate(at)


@dataclass(slots=True)
class Posting:
    """One request on its way into the ledger."""

    author: AbstractBaseUser
    at: datetime
    request_id: UUID
    reason: str = ""
    source_kind: str = "hand"
    source_number: int = 0
    source_text: str = ""
    lots: dict[int, Lot] = field(default_factory=dict)
    _lots_of: dict[int, list[Lot]] = field(default_factory=lambda: defaultdict(list))
    #: By key of the place and identity of the lot: a new lot has no key yet.
    _lying: dict[tuple[int, int], Lying] = field(default_factory=dict)
    _new_lots: list[Lot] = field(default_factory=list)
    _touched_lots: dict[int, Lot] = field(default_factory=dict)
    _touched_lying: dict[tuple[int, int], Lying] = field(default_factory=dict)
    _lines: list[Line] = field(default_factory=list)
    today: date = field(init=False)

    def __post_init__(self) -> None:
        self.today = day_of(self.at)

    def post(
        self,
        work: Callable[[], object],
        *,
        parts: Iterable[Part],
        places: Iterable[Location],
        lots: Iterable[Lot | int | None] = (),
    ) -> list[Movement]:
        """Do the work under the locks and write it. Sent before: return what was written then."""
        refuse_long(Movement, source_kind=self.source_kind, source_text=self.source_text)
        try:
            with transaction.atomic():
                self._lock(parts=parts, places=places, lots=lots)
                if earlier := self.earlier():
                    return earlier
                work()
                return self._write()
        except IntegrityError:
            # Two of the same request at once where no row stood yet to lock: the second lands on
            # the unique key, after the first has committed.
            if earlier := self.earlier():
                return earlier
            raise

    def earlier(self) -> list[Movement]:
        """What this request wrote when it was sent before."""
        if not ledger_rows.was_sent(self.request_id):
            return []
        return list(Movement.objects.of_request(self.request_id))

    # --- reading under the lock ---------------------------------------------------------------

    def lot(self, lot: Lot, part: Part) -> Lot:
        """The locked row of a lot that was named."""
        if lot.part_id != part.pk:
            raise LotOfAnotherPart(part=part, lot=lot)
        return self.lots[lot.pk]

    def there(self, location: Location, lot: Lot) -> int:
        """How much of a lot lies in a place now. [steps]"""
        lying = self._lying.get((location.pk, id(lot)))
        return lying.quantity_steps if lying else 0

    def lots_there(self, part: Part, location: Location) -> list[Lot]:
        """The lots of a part that lie in a place."""
        lots = self._lots_of.get(part.pk, ())
        return [lot for lot in lots if self.there(location, lot) > 0]

    def draw(
        self,
        *,
        part: Part,
        location: Location,
        quantity_steps: int,
        lot: Lot | None = None,
        expired_too: bool = False,
    ) -> list[Draw]:
        """Which lots a quantity comes from, and what it is worth; nothing is changed yet.

        Without a lot: first expiry, then first in. What has expired is passed over, and named it
        is refused, unless asked for or lying where a person put it on purpose (a tray,
        quarantine).
        """
        if quantity_steps <= 0:
            raise NothingToMove(part)
        expired_too = expired_too or location.holds_what_was_picked
        if lot is not None:
            every = usable = [self.lot(lot, part)]
            if usable[0].expires_on < self.today and not expired_too:
                raise LotExpired(part=part, lot=usable[0])
        else:
            every = usable = self.lots_there(part, location)
            if not expired_too:
                usable = [each for each in every if each.expires_on >= self.today]
        try:
            return draw([self._layer(location, each) for each in usable], quantity_steps)
        except NotEnough as short:
            expired = sum(self.there(location, each) for each in every if each not in usable)
            raise NotEnoughOnHand(
                part=part,
                location=location,
                asked_steps=quantity_steps,
                there_steps=short.available_steps,
                expired_steps=expired,
                lot=lot,
            ) from short

    # --- changing -----------------------------------------------------------------------------

    def new_lot(
        self,
        *,
        part: Part,
        code: str,
        quantity_steps: int,
        value_cents: int,
        received_at: datetime | None = None,
        cured_on: date | None = None,
        expires_on: date | None = None,
    ) -> Lot:
        """A lot that this posting brings; empty until a line puts its quantity somewhere."""
        refuse_long(Lot, code=code)
        lot = Lot(
            part=part,
            code=code,
            received_at=received_at or self.at,
            quantity_received_steps=quantity_steps,
            value_received_cents=value_cents,
            cured_on=cured_on,
            expires_on=expires_on or FAR_DATE,
            quantity_left_steps=0,
            value_left_cents=0,
        )
        self._new_lots.append(lot)
        return lot

    def line(
        self,
        *,
        kind: str,
        part: Part,
        location: Location,
        lot: Lot,
        quantity_steps: int,
        value_cents: int,
        reverses: Movement | None = None,
        about: Movement | None = None,
    ) -> None:
        """Add one line, and move the kept figures with it.

        about: of a change of cost, what bears it; the line then has the source of that.
        """
        source = about or self
        lot.quantity_left_steps += quantity_steps
        lot.value_left_cents += value_cents
        if lot.pk is not None:
            self._touched_lots[lot.pk] = lot
        if quantity_steps:
            key = (location.pk, id(lot))
            lying = self._lying.setdefault(key, Lying(None, lot, location.pk, 0))
            lying.quantity_steps += quantity_steps
            self._touched_lying[key] = lying
        self._lines.append(
            Line(
                kind=kind,
                part=part,
                lot=lot,
                location=location,
                quantity_steps=quantity_steps,
                value_cents=value_cents,
                source_kind=source.source_kind,
                source_number=source.source_number,
                source_text=source.source_text,
                reverses=reverses,
                about=about,
            )
        )

    def take_out(self, *, kind: str, part: Part, location: Location, draws: list[Draw]) -> None:
        """Add the lines of what was drawn."""
        for each in draws:
            self.line(
                kind=kind,
                part=part,
                location=location,
                lot=self.lots[each.lot_id],
                quantity_steps=-each.quantity_steps,
                value_cents=-each.value_cents,
            )

    def found_value(self, part: Part, lot: Lot, quantity_steps: int) -> int:
        """What stock that was found is worth: as the rest of its lot, or what it usually costs."""
        if lot.quantity_left_steps > 0:
            # The rest of the lot is the unit, and its value the price of that unit.
            return receipt_value_cents(
                quantity_steps=quantity_steps,
                steps_per_unit=lot.quantity_left_steps,
                unit_cost_cents=lot.value_left_cents,
            )
        return part.cost_of(quantity_steps)

    # --- the database -------------------------------------------------------------------------

    def _lock(
        self,
        *,
        parts: Iterable[Part],
        places: Iterable[Location],
        lots: Iterable[Lot | int | None],
    ) -> None:
        named = {lot.pk if isinstance(lot, Lot) else lot for lot in lots if lot is not None}
        locked = ledger_rows.locked_lots(parts={part.pk for part in parts}, named=named)
        self.lots = {lot.pk: lot for lot in locked}
        for lot in locked:
            self._lots_of[lot.part_id].append(lot)
        balances = ledger_rows.locked_lying(lots=self.lots, places={place.pk for place in places})
        self._lying = {(lying.location_id, id(lying.lot)): lying for lying in balances}

    def _layer(self, location: Location, lot: Lot) -> LotLayer:
        return LotLayer(
            lot_id=lot.pk,
            expires_on=lot.expires_on,
            received_at=lot.received_at,
            quantity_steps=self.there(location, lot),
            value_cents=lot.value_left_cents,
            lot_quantity_steps=lot.quantity_left_steps,
        )

    def _write(self) -> list[Movement]:
        Lot.objects.bulk_create(self._new_lots)
        ledger_rows.write(
            Lot, self._touched_lots.values(), "quantity_left_steps", "value_left_cents"
        )
        lying = self._touched_lying.values()
        ledger_rows.write(Balance, [each for each in lying if each.pk], "quantity_steps")
        Balance.objects.bulk_create(
            Balance(
                part_id=each.lot.part_id,
                location_id=each.location_id,
                lot=each.lot,
                quantity_steps=each.quantity_steps,
            )
            for each in lying
            if each.pk is None
        )
        said = Said(self.request_id, self.author.pk, self.at, self.reason)
        return ledger_rows.add(self._lines, said)
