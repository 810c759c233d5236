"""Proof that the kept figures are what the ledger adds up to.

Nothing here trusts a key, a check or a trigger of the database: each may have been gone round, and
a figure that they would have refused is named like any other.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from uuid import UUID

from django.db import connection, transaction
from django.db.models import F, Min, Q, QuerySet, Sum, Window

from inventory.models import (
    Balance,
    CountLine,
    Location,
    Lot,
    Movement,
    Part,
    Receipt,
    ReceiptLine,
)

#: What these bring into one place or lot, they take out of another in the same request.
TRANSFER = Q(kind="transfer") | Q(reverses__kind="transfer")
CARRIES_ITS_COST = (
    TRANSFER | Q(kind__in=("break", "make")) | Q(reverses__kind__in=("break", "make"))
)


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

    Found is: a balance or a lot that is not the sum of its lines, in steps and in cents, so that
    the balances of a lot are what is left of it; a lot used up that is worth something; anything
    below zero, now or when a line was written; a lot that did not come in as it says; a transfer
    that lost a step, a kit opened or made that lost a cent; a reversal that is not the opposite of
    what it names; a line without its part, lot or place. Sums are of integers. Reads one state of
    the database: other people may go on working.
    """
    one_state = connection.vendor == "postgresql" and not connection.in_atomic_block
    with transaction.atomic():
        if one_state:
            with connection.cursor() as cursor:
                cursor.execute("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ")
        books = _Books.read()
        return [*books.balances(), *books.lots(), *books.rows()]


def summary() -> Summary:
    """What the ledger holds."""
    worth = Lot.objects.aggregate(total=Sum("value_left_cents"))["total"] or 0
    return Summary(
        movements=Movement.objects.count(),
        parts=Movement.objects.values("part").distinct().count(),
        value_cents=worth,
    )


@dataclass(frozen=True, slots=True)
class _Books:
    """Names by key. No row is joined to another, so that one whose other half is gone shows."""

    parts: dict[int, str]
    places: dict[int, str]
    kept_lots: dict[int, Lot]

    @classmethod
    def read(cls) -> "_Books":
        return cls(
            parts=dict(Part.objects.values_list("pk", "number")),
            places=dict(Location.objects.values_list("pk", "code")),
            kept_lots=Lot.objects.in_bulk(),
        )

    def part(self, pk: int) -> str:
        return self.parts.get(pk, f"part {pk}, which is gone")

    def place(self, pk: int) -> str:
        return self.places.get(pk, f"place {pk}, which is gone")

    def lot(self, pk: int) -> str:
        return self.kept_lots[pk].code if pk in self.kept_lots else f"{pk}, which is gone"

    def balances(self) -> list[Discrepancy]:
        key = ("part_id", "location_id", "lot_id")
        added = {
            row[:-1]: row[-1]
            for row in Movement.objects.order_by()
            .values(*key)
            .annotate(total=Sum("quantity_steps"))
            .values_list(*key, "total")
        }
        kept = {row[:-1]: row[-1] for row in Balance.objects.values_list(*key, "quantity_steps")}
        found = []
        for each in added.keys() | kept.keys():
            part, place, lot = each
            what = f"quantity of lot {self.lot(lot)} in {self.place(place)}"
            ledger, there = added.get(each, 0), kept.get(each, 0)
            if ledger != there:
                found.append(Discrepancy(self.part(part), what, ledger, there))
            elif there < 0:
                found.append(Discrepancy(self.part(part), f"{what}, below zero", ledger, there))
        return sorted(found, key=lambda each: (each.part_number, each.what))

    def lots(self) -> Iterator[Discrepancy]:
        added = {
            lot: (quantity, value)
            for lot, quantity, value in Movement.objects.order_by()
            .values("lot_id")
            .annotate(quantity=Sum("quantity_steps"), value=Sum("value_cents"))
            .values_list("lot_id", "quantity", "value")
        }
        came = {
            lot: (part, quantity, value)
            for lot, part, quantity, value in Movement.objects.filter(
                pk__in=Movement.objects.order_by()
                .values("lot_id")
                .annotate(first=Min("pk"))
                .values("first")
            ).values_list("lot_id", "part_id", "quantity_steps", "value_cents")
        }
        for pk in sorted(added.keys() - self.kept_lots.keys()):
            number = self.part(came[pk][0])
            yield Discrepancy(number, f"quantity left of lot {self.lot(pk)}", added[pk][0], 0)
        for lot in sorted(
            self.kept_lots.values(), key=lambda each: (self.part(each.part_id), each.pk)
        ):
            number = self.part(lot.part_id)
            quantity, value = added.get(lot.pk, (0, 0))
            _, came_steps, came_cents = came.get(lot.pk, (0, 0, 0))
            compared = (
                ("quantity left of lot", quantity, lot.quantity_left_steps),
                ("value left of lot", value, lot.value_left_cents),
                ("quantity received of lot", came_steps, lot.quantity_received_steps),
                ("value received of lot", came_cents, lot.value_received_cents),
            )
            for what, ledger, kept in compared:
                if ledger != kept:
                    yield Discrepancy(number, f"{what} {lot.code}", ledger, kept)
            if lot.quantity_left_steps < 0:
                yield Discrepancy(
                    number, f"less than nothing of lot {lot.code}", 0, lot.quantity_left_steps
                )
            worthless = lot.quantity_left_steps == 0 and lot.value_left_cents != 0
            if worthless or lot.value_left_cents < 0:
                what = "used up" if worthless else "below zero"
                yield Discrepancy(
                    number, f"value of lot {lot.code}, {what}", 0, lot.value_left_cents
                )

    def rows(self) -> Iterator[Discrepancy]:
        """Lines that contradict each other, which no sum of a lot or balance would show."""
        yield from self._parts_of_lots()
        yield from self._reversals()
        yield from self._costs()
        yield from self._counts()
        yield from self._deliveries()
        yield from self._halves()
        yield from self._history()

    def _parts_of_lots(self) -> Iterator[Discrepancy]:
        for number, pk, mine, lots in (
            Movement.objects.exclude(part=F("lot__part"))
            .order_by("pk")
            .values_list("part__number", "pk", "part_id", "lot__part_id")
        ):
            yield Discrepancy(number, f"part of movement {pk} and of its lot", mine, lots)

    def _reversals(self) -> Iterator[Discrepancy]:
        wrong = Movement.objects.filter(reverses__isnull=False).exclude(
            quantity_steps=-F("reverses__quantity_steps"),
            value_cents=-F("reverses__value_cents"),
            lot=F("reverses__lot"),
            location=F("reverses__location"),
        )
        for part, pk, was, now in wrong.order_by("pk").values_list(
            "part_id", "pk", "reverses__quantity_steps", "quantity_steps"
        ):
            yield Discrepancy(self.part(part), f"reversal {pk} and what it reverses", was, now)

    def _costs(self) -> Iterator[Discrepancy]:
        """What a late invoice changed stays in the lot of the line that bears it."""
        astray = Movement.objects.filter(about__isnull=False).exclude(lot=F("about__lot"))
        for part, pk, lot, mine in astray.order_by("pk").values_list(
            "part_id", "pk", "about__lot_id", "lot_id"
        ):
            what = f"lot of cost change {pk} and of the movement it is about"
            yield Discrepancy(self.part(part), what, mine, lot)

    def _counts(self) -> Iterator[Discrepancy]:
        """What an approved count posted is its differences; what none approved posted nothing."""
        said = {
            (request_id, part): (number, steps)
            for request_id, part, number, steps in CountLine.objects.filter(count__state="posted")
            .annotate(steps=F("counted_steps") - F("books_steps"))
            .exclude(steps=0)
            .values_list("count__request_id", "part_id", "count__number", "steps")
        }
        numbers = {request_id: number for (request_id, _), (number, _) in said.items()}
        posted: dict[tuple[UUID, int], int] = {}
        rows = Movement.objects.filter(kind="count", source_kind="count", source_number__gt=0)
        for request_id, part, number, steps in (
            rows.order_by()
            .values("request_id", "part_id", "source_number")
            .annotate(total=Sum("quantity_steps"))
            .values_list("request_id", "part_id", "source_number", "total")
        ):
            posted[request_id, part] = steps
            numbers.setdefault(request_id, number)
        for each in sorted(said.keys() | posted.keys(), key=lambda each: (numbers[each[0]], each)):
            ledger, (_, differs) = posted.get(each, 0), said.get(each, (0, 0))
            if ledger != differs:
                what = f"difference that count {numbers[each[0]]} posted"
                yield Discrepancy(self.part(each[1]), what, ledger, differs)

    def _deliveries(self) -> Iterator[Discrepancy]:
        """What a delivery brought is worth its goods and its freight, lot by lot its own."""
        said: dict[UUID, tuple[str, int]] = {}
        parts: dict[UUID, int] = {}
        lines: dict[UUID, set[int]] = {}
        for request_id, slip, freight, goods, lot in ReceiptLine.objects.order_by("pk").values_list(
            "receipt__request_id",
            "receipt__packing_slip",
            "receipt__freight_cents",
            "goods_cents",
            "lot_id",
        ):
            _, cents = said.get(request_id, (slip, freight))
            said[request_id] = slip, cents + goods
            lines.setdefault(request_id, set()).add(lot)
            if lot in self.kept_lots:
                parts.setdefault(request_id, self.kept_lots[lot].part_id)
        came: dict[UUID, int] = {}
        brought: dict[UUID, set[int]] = {}
        receipts = Receipt.objects.values("request_id")
        for request_id, lot, cents in Movement.objects.filter(
            kind="receipt", request_id__in=receipts
        ).values_list("request_id", "lot_id", "value_cents"):
            came[request_id] = came.get(request_id, 0) + cents
            brought.setdefault(request_id, set()).add(lot)
        for request_id, (slip, cents) in said.items():
            part = self.part(parts.get(request_id, 0))
            if lines[request_id] != brought.get(request_id, set()):
                yield Discrepancy(
                    part,
                    f"number of lots that packing slip {slip} brought",
                    len(brought.get(request_id, set())),
                    len(lines[request_id]),
                )
            if came.get(request_id, 0) != cents:
                what = f"goods and freight of packing slip {slip}"
                yield Discrepancy(part, what, came.get(request_id, 0), cents)

    def _halves(self) -> Iterator[Discrepancy]:
        """What one request carried from place to place, or from a kit to its parts and back."""
        for rows, by, column, what in (
            (TRANSFER, ("request_id", "lot_id"), "quantity_steps", "quantity"),
            (CARRIES_ITS_COST, ("request_id",), "value_cents", "value"),
        ):
            uneven: QuerySet[Movement, dict[str, int]] = (
                Movement.objects.filter(rows)
                .order_by()
                .values(*by)
                .annotate(total=Sum(column), first=Min("pk"), part=Min("part_id"))
                .exclude(total=0)
                .values("total", "first", "part")
            )
            for each in sorted(uneven, key=lambda each: each["first"]):
                yield Discrepancy(
                    self.part(each["part"]),
                    f"{what} that movement {each['first']} and those with it carried",
                    0,
                    each["total"],
                )

    def _history(self) -> Iterator[Discrepancy]:
        """Lines that took what was not there yet. A lot's lines stand in the order of its lock."""
        after = Window(
            Sum("quantity_steps"),
            partition_by=[F("location_id"), F("lot_id")],
            order_by=F("pk").asc(),
        )
        below = Movement.objects.annotate(after=after).filter(after__lt=0).order_by("pk")
        for part, place, lot, pk, left in below.values_list(
            "part_id", "location_id", "lot_id", "pk", "after"
        ):
            yield Discrepancy(
                self.part(part),
                f"quantity of lot {self.lot(lot)} in {self.place(place)} after movement {pk}",
                left,
                0,
            )
