"""Whatever people do in whatever order, the ledger adds up and undoing restores what was."""

from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import date
from typing import Any
from uuid import UUID, uuid4

import pytest
from django.db import transaction
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st
from hypothesis.extra.django import TestCase
from hypothesis.stateful import (
    RuleBasedStateMachine,
    initialize,
    invariant,
    precondition,
    rule,
    run_state_machine_as_test,
)

from inventory.models import (
    Balance,
    Location,
    Lot,
    Movement,
    Part,
    PurchaseOrder,
    Reservation,
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
    prove,
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
    PartFactory,
    PersonFactory,
    kit_of,
    received,
    who_and_when,
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


class LedgerProperties(TestCase):
    @settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.too_slow])
    @given(acts=st.lists(ACTS, min_size=4, max_size=16))
    def test_whatever_is_done_the_ledger_adds_up(
        self, acts: list[tuple[str, int, int, int, int]]
    ) -> None:
        world = World.new()
        for act in acts:
            world.do(act)
        assert prove() == []
        worthless = Lot.objects.filter(quantity_left_steps=0).exclude(value_left_cents=0)
        assert not worthless.exists()

    @settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.too_slow])
    @given(acts=st.lists(ACTS, max_size=10), last=ACTS.filter(lambda act: act[0] != "reverse"))
    @example(acts=[("receive", 0, 0, 0, 1)], last=("rob", 0, 0, 0, 1))
    def test_undoing_the_last_thing_restores_what_was(
        self,
        acts: list[tuple[str, int, int, int, int]],
        last: tuple[str, int, int, int, int],
    ) -> None:
        world = World.new()
        for act in acts:
            world.do(act)
        before = state()
        undone: set[int] = set()
        for row in reversed(world.do(last)):
            if row.pk not in undone:
                told = {**world.told, "request_id": UUID(int=10_000 + row.pk)}
                back = reverse(movement=row, reason="undo", **told)
                undone |= {each.reverses_id for each in back if each.reverses_id}
        assert state() == before
        assert prove() == []

    @settings(max_examples=15, deadline=None, suppress_health_check=[HealthCheck.too_slow])
    @given(acts=st.lists(ACTS.filter(lambda act: act[0] != "reverse"), min_size=1, max_size=8))
    def test_everything_sent_twice_counts_once(
        self, acts: list[tuple[str, int, int, int, int]]
    ) -> None:
        world = World.new()
        for act in acts:
            written = world.do(act)
            before = state()
            if written:
                world.done -= 1
                assert world.do(act) == written
                assert state() == before


PARTS = st.integers(0, 2)
PLACES = st.integers(0, 2)
SHEETS = st.integers(0, 1)
#: Mostly what is there, sometimes more.
AMOUNTS = st.sampled_from([1, 2, 3, 1, 2, 3, 4, 5, 9])


class Storekeeping(RuleBasedStateMachine):
    """Beside the ledger a plain tally is kept, of what lies of each part in each place.

    After every step the books are proved and compared with the tally; a refusal comes when the
    tally or the dates say so, and at no other time. In the end all lots are used up.
    """

    def __init__(self) -> None:
        super().__init__()
        self.undo = transaction.atomic()
        self.undo.__enter__()
        self.world = World.new()
        self.inside = dict(self.world.kit.lines.values_list("part", "quantity_steps"))
        self.tally: Counter[tuple[int, int]] = Counter()
        self.last: tuple[tuple[str, int, int, int, int], list[Movement]] | None = None

    def teardown(self) -> None:
        try:
            self.use_everything_up()
        finally:
            transaction.set_rollback(True)
            self.undo.__exit__(None, None, None)

    def key(self, part: int, place: int) -> tuple[int, int]:
        return self.world.parts[part].pk, self.world.places[place].pk

    def in_date(self, key: tuple[int, int], *, picked_too: bool = True) -> int:
        """What may be taken of a part in a place; on a tray also what has expired."""
        lying = Balance.objects.filter(part=key[0], location=key[1])
        if not (picked_too and key[1] == self.world.places[TRAY].pk):
            lying = lying.filter(lot__expires_on__gte=AT.date())
        return sum(lying.values_list("quantity_steps", flat=True))

    def do(self, *act: Any, refused: bool) -> list[Movement]:
        before = self.world.refusals
        written = self.world.do(act)  # type: ignore[arg-type]
        assert (self.world.refusals > before) == refused
        if written:
            self.last = (act, written)  # type: ignore[assignment]
        return written

    @initialize(amount=st.integers(4, 7))
    def begin_with_something_everywhere(self, amount: int) -> None:
        for part in range(3):
            for place in range(3):
                self.receive(part, place, place, amount + part)
            self.receive_what_has_expired(part, 0, 0, 2)
            self.receive_what_has_expired(part, TRAY, 0, 2)
            self.issue(part, 0, part % 2, 2)
        self.rob(0, 0, 1)
        self.rob(1, 1, 1)

    @rule(part=PARTS, place=PLACES, sort=st.integers(0, 2), amount=AMOUNTS)
    def receive(self, part: int, place: int, sort: int, amount: int) -> None:
        self.do("receive", part, place, sort, amount, refused=False)
        self.tally[self.key(part, place)] += amount

    @rule(part=PARTS, place=PLACES, sort=st.integers(0, 2), amount=AMOUNTS)
    def receive_what_has_expired(self, part: int, place: int, sort: int, amount: int) -> None:
        self.do("receive expired", part, place, sort, amount, refused=False)
        self.tally[self.key(part, place)] += amount

    @rule(part=PARTS, place=PLACES, sheet=SHEETS, amount=AMOUNTS)
    def issue(self, part: int, place: int, sheet: int, amount: int) -> None:
        key = self.key(part, place)
        refused = self.in_date(key) < amount
        written = self.do("issue", part, place, sheet, amount, refused=refused)
        assert place == TRAY or all(row.lot.expires_on >= AT.date() for row in written)
        self.tally[key] -= 0 if refused else amount

    @rule(part=PARTS, place=PLACES, sheet=SHEETS, amount=AMOUNTS)
    def put_back(self, part: int, place: int, sheet: int, amount: int) -> None:
        key = self.key(part, place)
        spent = Movement.objects.spent().of_source("sheet", sheet).filter(part=key[0])
        refused = -sum(spent.values_list("quantity_steps", flat=True)) < amount
        self.do("put back", part, place, sheet, amount, refused=refused)
        self.tally[key] += 0 if refused else amount

    @rule(part=PARTS, place=PLACES, to=PLACES, amount=AMOUNTS)
    def transfer(self, part: int, place: int, to: int, amount: int) -> None:
        key = self.key(part, place)
        refused = place == to or self.in_date(key) < amount
        self.do("transfer", part, place, to, amount, refused=refused)
        if not refused:
            self.tally[key] -= amount
            self.tally[self.key(part, to)] += amount

    @rule(part=PARTS, place=PLACES, amount=AMOUNTS)
    def find(self, part: int, place: int, amount: int) -> None:
        self.do("found", part, place, 0, amount, refused=False)
        self.tally[self.key(part, place)] += amount

    @rule(name=st.sampled_from(["missing", "scrap"]), part=PARTS, place=PLACES, amount=AMOUNTS)
    def lose(self, name: str, part: int, place: int, amount: int) -> None:
        key = self.key(part, place)
        refused = self.tally[key] < amount
        self.do(name, part, place, 0, amount, refused=refused)
        self.tally[key] -= 0 if refused else amount

    @rule(part=PARTS, place=PLACES, amount=st.integers(0, 7))
    def count(self, part: int, place: int, amount: int) -> None:
        self.do("count", part, place, 0, amount, refused=False)
        self.tally[self.key(part, place)] = amount

    @rule(part=PARTS, place=PLACES, freight=st.integers(0, 2), amount=AMOUNTS)
    def receive_by_order(self, part: int, place: int, freight: int, amount: int) -> None:
        self.do("deliver", part, place, freight, amount, refused=False)
        self.tally[self.key(part, place)] += amount

    @rule(place=PLACES, amount=st.integers(0, 7), other=st.integers(0, 2))
    def count_a_place(self, place: int, amount: int, other: int) -> None:
        self.do("count place", 0, place, other, amount, refused=place == TRAY)
        if place != TRAY:
            for part, steps in enumerate((amount, other, amount + 1)):
                self.tally[self.key(part, place)] = steps

    @rule(place=PLACES, which=st.integers(0, 1), amount=st.integers(1, 2))
    def rob(self, place: int, which: int, amount: int) -> None:
        kit, lacks = self.key(0, place), self.world.parts[1 + which].pk
        refused = not self.tally[kit] or amount > self.inside[lacks]
        self.do("rob", which, place, 0, amount, refused=refused)
        if not refused:
            self.tally[kit] -= 1
            tray = RobbedKit.objects.latest("pk").tray_id
            for part, quantity in self.inside.items():
                self.tally[part, tray] += quantity - (amount if part == lacks else 0)

    @precondition(lambda self: RobbedKit.objects.exists())
    @rule(which=st.integers(0, 5), place=PLACES)
    def make_whole(self, which: int, place: int) -> None:
        every = list(RobbedKit.objects.order_by("pk"))
        robbed, here = every[which % len(every)], self.world.places[place].pk
        refused = robbed.ended_at is not None or any(
            self.tally[part, robbed.tray_id] + self.in_date((part, here)) < quantity
            for part, quantity in self.inside.items()
        )
        self.do("make whole", 0, place, 0, which, refused=refused)
        if not refused:
            self.tally[robbed.kit_id, robbed.lies_in_id] += 1
            for part, quantity in self.inside.items():
                self.tally[part, here] += self.tally.pop((part, robbed.tray_id), 0) - quantity

    @precondition(lambda self: RobbedKit.objects.exists())
    @rule(which=st.integers(0, 5), place=PLACES)
    def take_apart(self, which: int, place: int) -> None:
        every = list(RobbedKit.objects.order_by("pk"))
        robbed, here = every[which % len(every)], self.world.places[place].pk
        refused = robbed.ended_at is not None
        self.do("take apart", 0, place, 0, which, refused=refused)
        if not refused:
            for part in self.inside:
                self.tally[part, here] += self.tally.pop((part, robbed.tray_id), 0)

    @rule(place=PLACES, to=PLACES, amount=st.integers(1, 3))
    def break_kits(self, place: int, to: int, amount: int) -> None:
        kit = self.key(0, place)
        refused = self.in_date(kit) < amount
        self.do("break", 0, place, to, amount, refused=refused)
        if not refused:
            self.tally[kit] -= amount
            for part, quantity in self.inside.items():
                self.tally[part, self.world.places[to].pk] += quantity * amount

    @rule(place=PLACES, amount=st.integers(1, 3))
    def make_kits(self, place: int, amount: int) -> None:
        here = self.world.places[place].pk
        refused = any(
            self.in_date((part, here)) < quantity * amount for part, quantity in self.inside.items()
        )
        self.do("make", 0, place, 0, amount, refused=refused)
        if not refused:
            self.tally[self.key(0, place)] += amount
            for part, quantity in self.inside.items():
                self.tally[part, here] -= quantity * amount

    @rule(which=st.integers(0, 11))
    def reverse(self, which: int) -> None:
        for row in self.world.do(("reverse", 0, 0, 0, which)):
            assert row.reverses is not None
            self.tally[row.part_id, row.location_id] -= row.reverses.quantity_steps

    @rule(which=st.integers(0, 7), says=st.integers(0, 2))
    def invoice(self, which: int, says: int) -> None:
        """Nothing moves; the difference stays in the lots or is charged, to the cent."""
        worth = sum(Lot.objects.values_list("value_left_cents", flat=True))
        rows = self.world.do(("invoice", 0, 0, says, which))
        if rows:
            self.last = (("invoice", 0, 0, says, which), rows)
        assert all(row.quantity_steps == 0 for row in rows)
        now = sum(Lot.objects.values_list("value_left_cents", flat=True))
        assert now - worth == sum(row.value_cents for row in rows)

    @rule(part=PARTS, place=PLACES, to=PLACES, sheet=SHEETS, amount=AMOUNTS)
    def reserve(self, part: int, place: int, to: int, sheet: int, amount: int) -> None:
        wanted, places = self.world.parts[part], self.world.places
        asked = [places[place], places[to]]
        others = {
            (each.pk, there.pk): sum(
                Reservation.objects.of_others("sheet", sheet)
                .at(each, there)
                .values_list("quantity_steps", flat=True)
            )
            for each in self.world.parts
            for there in asked
        }
        self.world.promise(wanted, asked, amount, sheet)
        promised = self.world.promised
        assert promised is not None
        held: Counter[tuple[int, int]] = Counter()
        of_part: Counter[int] = Counter()
        for each in promised.held:
            held[each.part.pk, each.location.pk] += each.quantity_steps
            of_part[each.part.pk] += each.quantity_steps
        for key, quantity in held.items():
            assert quantity <= self.in_date(key, picked_too=False) - others[key]
        rest = amount - of_part[wanted.pk]
        short = {each.part.pk: each.quantity_steps for each in promised.short}
        needed = {each: each_kit * rest for each, each_kit in self.inside.items()}
        needed = needed if wanted.is_kit else {wanted.pk: rest}
        assert short == {
            each: quantity - (of_part[each] if wanted.is_kit else 0)
            for each, quantity in needed.items()
            if quantity > (of_part[each] if wanted.is_kit else 0)
        }
        kept = Reservation.objects.of_source("sheet", sheet)
        assert held == {(each.part_id, each.location_id): each.quantity_steps for each in kept}

    @rule(sheet=SHEETS)
    def release(self, sheet: int) -> None:
        self.world.do(("release", 0, 0, sheet, 0))
        assert not Reservation.objects.of_source("sheet", sheet).exists()

    @precondition(lambda self: self.last is not None)
    @rule()
    def send_the_last_again(self) -> None:
        """Whatever came meanwhile, refused, promised or undone, it is the same answer."""
        assert self.last is not None
        act, written = self.last
        done, self.world.done = self.world.done, written[0].request_id.int - 1
        assert self.world.do(act) == written
        self.world.done = done

    @invariant()
    def the_books_are_proved(self) -> None:
        assert prove() == []
        lying: Counter[tuple[int, int]] = Counter()
        of_lot: Counter[int] = Counter()
        for row in Balance.objects.all():
            lying[row.part_id, row.location_id] += row.quantity_steps
            of_lot[row.lot_id] += row.quantity_steps
        assert +lying == +self.tally
        left = dict(Lot.objects.values_list("pk", "quantity_left_steps"))
        assert +of_lot == +Counter(left)

    def use_everything_up(self) -> None:
        """Lot by lot, place by place, a step first and then the rest: all close at zero."""
        for steps in (1, None):
            rest = [
                IssueLine(row.part, row.location, steps or row.quantity_steps, row.lot)
                for row in Balance.objects.there().select_related("part", "location", "lot")
            ]
            issue(
                lines=rest, expired_reason="used up", **{**self.world.told, "request_id": uuid4()}
            )
        assert not Balance.objects.there().exists()
        left = Lot.objects.values_list("quantity_left_steps", "value_left_cents")
        assert set(left) <= {(0, 0)}
        assert prove() == []


@pytest.mark.long
@pytest.mark.django_db
def test_after_every_step_the_books_are_proved() -> None:
    run_state_machine_as_test(
        Storekeeping,
        settings=settings(
            max_examples=20,
            stateful_step_count=30,
            deadline=None,
            suppress_health_check=list(HealthCheck),
        ),
    )


@pytest.mark.django_db
def test_a_dollar_over_three_pieces_leaves_no_cent_behind() -> None:
    """33⅓ cents a piece: half up of what is left, and the last takes the rest. (No source.)"""
    part, here, there = PartFactory(), BinFactory(), BinFactory(drawer=True)
    lot = received(part, here, 3, 100)
    transfer(lines=[TransferLine(part, here, there, 1)], **who_and_when())
    cents = [
        row.value_cents
        for place in (here, there, here)
        for row in issue(lines=[IssueLine(part, place, 1)], **who_and_when())
    ]
    assert cents == [-33, -34, -33]
    lot.refresh_from_db()
    assert (lot.quantity_left_steps, lot.value_left_cents) == (0, 0)
    assert prove() == []


@pytest.mark.django_db
def test_the_world_of_these_tests_lets_most_things_happen() -> None:
    """Were everything refused, the properties above would hold and mean nothing."""
    world = World.new()
    for name in ("receive", "issue", "put back", "transfer", "found", "missing", "count"):
        for part_no in range(3):
            amount = 6 if name in ("receive", "found") else 1
            world.do((name, part_no, 0, 1, amount))
    for name, part_no in (
        *(("receive", 1), ("make", 0), ("break", 0), ("scrap", 0)),
        *(("reverse", 0), ("invoice", 0), ("deliver", 0), ("count place", 0)),
        *(("receive", 1), ("receive", 1), ("rob", 0), ("make whole", 0), ("rob", 0)),
    ):
        world.do((name, part_no, 0, 1, 1))
    world.do(("take apart", 0, 0, 1, 1))
    assert world.refusals == 0
    made, apart = RobbedKit.objects.order_by("pk")
    assert None not in (made.ended_at, apart.ended_at)
    assert set(Movement.objects.values_list("kind", flat=True)) >= set(Movement.Kind.values)
