"""After every step the ledger adds up, and agrees with a plain tally kept beside it."""

from collections import Counter
from typing import Any
from uuid import uuid4

import pytest
from django.db import transaction
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
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
    Lot,
    Movement,
    Reservation,
    RobbedKit,
)
from inventory.services import (
    IssueLine,
    issue,
    prove,
)
from tests.inventory.factories import (
    AT,
)
from tests.inventory.ledger_world import TRAY, World

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
