"""A small store in which anything may be done in any order, for tests of the ledger."""

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import date
from typing import Any
from uuid import UUID

from hypothesis import strategies as st

from inventory.models import (
    Balance,
    Location,
    Lot,
    Movement,
    Part,
    PurchaseOrder,
    RobbedKit,
    Supplier,
)
from inventory.pack_prices import PackPrice
from inventory.services import (
    IssueLine,
    Need,
    ReserveResult,
    StockRefused,
    TransferLine,
    adjust,
    break_kit,
    correct_cost,
    count,
    issue,
    make_kit,
    make_whole,
    put_back,
    receive,
    release,
    reserve,
    reverse,
    rob_kit,
    scrap,
    take_apart,
    transfer,
)
from inventory.services.buying import (
    Terms,
    Wish,
    create_supplier,
    draft_order,
    send_order,
    set_supplier_part,
)
from inventory.services.buying_receipts import Arrival, receive_delivery
from inventory.services.counting import approve_count, enter_counted, finish_count, start_count
from tests.inventory.factories import (
    AT,
    BinFactory,
    PersonFactory,
    kit_of,
)

#: Among the three places of the world.
TRAY = 2

State = tuple[dict[tuple[int, int], int], dict[int, tuple[int, int]]]


def state() -> State:
    """What lies where, and what each lot has left; places and lots with nothing are left out."""
    balances = {
        (balance.location_id, balance.lot_id): balance.quantity_steps
        for balance in Balance.objects.there()
    }
    lots = {
        lot.pk: (lot.quantity_left_steps, lot.value_left_cents)
        for lot in Lot.objects.filter(quantity_left_steps__gt=0)
    }
    return balances, lots


@dataclass
class World:
    """A kit, its two parts, three places, and somebody who does things to them."""

    kit: Part
    parts: list[Part]
    places: list[Location]
    supplier: Supplier
    done: int = 0
    refusals: int = 0
    told: dict[str, Any] = field(default_factory=dict)
    promised: ReserveResult | None = None

    @classmethod
    def new(cls) -> "World":
        kit, parts = kit_of(seal=2, spring=1)
        places = [BinFactory(), BinFactory(drawer=True), BinFactory(tray=True)]
        told = {"author": PersonFactory(), "at": AT}
        supplier = create_supplier(name="Tern Seals", **told)
        for part in (kit, *parts):
            terms = Terms(pack_steps=2, prices=(PackPrice(1, 333),))
            set_supplier_part(supplier=supplier, part=part, terms=terms)
        world = cls(kit, [kit, *parts], places, supplier)
        world.told = told
        return world

    def do(self, act: tuple[str, int, int, int, int]) -> list[Movement]:
        """Do one thing; a refusal is an answer too, and must leave no trace."""
        name, part_no, from_no, to_no, amount = act
        part, here, there = self.parts[part_no], self.places[from_no], self.places[to_no]
        self.done += 1
        told = {**self.told, "request_id": UUID(int=self.done)}
        acts: dict[str, Callable[[], Any]] = {
            "receive": lambda: [
                receive(
                    part=part,
                    location=here,
                    quantity_steps=amount,
                    value_cents=amount * 37 + to_no,
                    lot_code=f"L{self.done}",
                    expires_on=date(2030 + to_no, 1, 1) if to_no else None,
                    **told,
                )
            ],
            "receive expired": lambda: [
                receive(
                    part=part,
                    location=here,
                    quantity_steps=amount,
                    value_cents=amount * 41 + to_no,
                    lot_code=f"X{self.done}",
                    expires_on=date(2025, 1 + to_no, 1),
                    **told,
                )
            ],
            "issue": lambda: issue(
                lines=[IssueLine(part, here, amount)],
                source_kind="sheet",
                source_number=to_no,
                **told,
            ),
            "put back": lambda: put_back(
                part=part,
                location=here,
                quantity_steps=amount,
                source_kind="sheet",
                source_number=to_no,
                **told,
            ),
            "transfer": lambda: transfer(lines=[TransferLine(part, here, there, amount)], **told),
            "found": lambda: adjust(
                part=part, location=here, quantity_steps=amount, reason="found", **told
            ),
            "missing": lambda: adjust(
                part=part, location=here, quantity_steps=-amount, reason="missing", **told
            ),
            "count": lambda: count(part=part, location=here, counted_steps=amount, **told),
            "scrap": lambda: scrap(
                part=part, location=here, quantity_steps=amount, reason="worn", **told
            ),
            "break": lambda: break_kit(
                kit=self.kit, location=here, to_location=there, quantity=amount, **told
            ),
            "make": lambda: make_kit(kit=self.kit, location=here, quantity=amount, **told),
            "deliver": lambda: self.deliver(part, here, amount, to_no, told),
            "count place": lambda: self.count_place(here, amount, to_no, told),
            "rob": lambda: self.rob(here, self.parts[1 + part_no % 2], amount, told),
            "make whole": lambda: self.robbed_one(
                make_whole, amount, told, fill_from=self.places[from_no]
            ),
            "take apart": lambda: self.robbed_one(
                take_apart, amount, told, to_location=self.places[from_no]
            ),
            "invoice": lambda: self.invoice_one(amount, to_no, told),
            "reverse": lambda: self.undo_one(amount, told),
            "reserve": lambda: self.promise(part, [here, there], amount, to_no),
            "release": lambda: release(source_kind="sheet", source_number=to_no) and [],
        }
        before = state()
        try:
            return acts[name]()
        except StockRefused:
            self.refusals += 1
            assert state() == before
            return []

    def undo_one(self, which: int, told: dict[str, Any]) -> list[Movement]:
        movements = list(Movement.objects.order_by("-pk")[:12])
        if not movements:
            return []
        return reverse(movement=movements[which % len(movements)], reason="undo", **told)

    def invoice_one(self, which: int, times: int, told: dict[str, Any]) -> list[Movement]:
        """The invoice of one of the last receipts says nothing, three times as much, or a sum."""
        receipts = list(Movement.objects.filter(kind="receipt").order_by("-pk")[:8])
        if not receipts:
            return []
        receipt = receipts[which % len(receipts)]
        cents = (0, 3 * receipt.value_cents + 1, 100)[times]
        return correct_cost(movement=receipt, value_cents=cents, reason="invoice", **told)

    def deliver(
        self, part: Part, here: Location, amount: int, freight: int, told: dict[str, Any]
    ) -> list[Movement]:
        """So much comes of an order of two, less, all or more, with freight."""
        sent = PurchaseOrder.objects.filter(request_id=told["request_id"]).first()
        order = sent or send_order(
            order=draft_order(supplier=self.supplier, wishes=[Wish(part, 2)], **told), **self.told
        )
        receive_delivery(
            order=order,
            packing_slip=f"S-{self.done}",
            arrivals=[Arrival(order.lines.get(), here, amount)],
            freight_cents=7 * freight,
            **told,
        )
        return list(Movement.objects.of_request(told["request_id"]))

    def count_place(
        self, here: Location, amount: int, other: int, told: dict[str, Any]
    ) -> list[Movement]:
        """So many are seen of the kit, so many others of its parts; a manager approves."""
        count = start_count(location=here, kind="cycle", **told)
        for number, (part, steps) in enumerate(
            zip(self.parts, (amount, other, amount + 1), strict=True)
        ):
            enter_counted(
                count=count,
                part=part,
                counted_steps=steps,
                event_id=UUID(int=10**9 + 10 * self.done + number),
                **self.told,
            )
        finish_count(count=count, none_of=(), **self.told)
        return approve_count(count=count, **self.told)

    def rob(self, here: Location, part: Part, amount: int, told: dict[str, Any]) -> list[Movement]:
        rob_kit(kit=self.kit, location=here, missing={part: amount}, **told)
        return list(Movement.objects.of_request(told["request_id"]))

    def robbed_one(
        self, act: Callable[..., Any], which: int, told: dict[str, Any], **where: Location
    ) -> list[Movement]:
        """One of those ever robbed, whether it still is or not."""
        every = list(RobbedKit.objects.order_by("pk"))
        if not every:
            return []
        act(robbed=every[which % len(every)], **where, **told)
        return list(Movement.objects.of_request(told["request_id"]))

    def promise(
        self, part: Part, places: list[Location], amount: int, sheet: int
    ) -> list[Movement]:
        self.promised = reserve(
            needs=[Need(part, amount)],
            places=places,
            source_kind="sheet",
            source_number=sheet,
            author=self.told["author"],
            at=AT,
        )
        return []


NAMES = ["receive", "receive", "receive", "issue", "issue", "put back", "transfer", "found"]
NAMES += ["missing", "count", "scrap", "break", "make", "reverse", "reverse", "invoice", "invoice"]
NAMES += ["deliver", "count place", "rob", "rob", "make whole", "take apart"]
ACTS = st.tuples(
    st.sampled_from(NAMES),
    st.integers(0, 2),
    st.integers(0, 2),
    st.integers(0, 2),
    st.integers(1, 6),
)
