"""Whatever people do in whatever order, the ledger adds up and undoing restores what was."""

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import date
from typing import Any
from uuid import UUID

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from hypothesis.extra.django import TestCase

from inventory.models import Balance, Location, Lot, Movement, Part
from inventory.services import (
    IssueLine,
    StockRefused,
    TransferLine,
    adjust,
    break_kit,
    count,
    issue,
    make_kit,
    prove,
    put_back,
    receive,
    reverse,
    scrap,
    transfer,
)
from tests.inventory.factories import AT, BinFactory, PersonFactory, kit_of

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
    done: int = 0
    refusals: int = 0
    told: dict[str, Any] = field(default_factory=dict)

    @classmethod
    def new(cls) -> "World":
        kit, parts = kit_of(seal=2, spring=1)
        places = [BinFactory(), BinFactory(drawer=True), BinFactory(tray=True)]
        world = cls(kit, [kit, *parts], places)
        world.told = {"author": PersonFactory(), "at": AT}
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
            "reverse": lambda: self.undo_one(amount, told),
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


NAMES = ["receive", "receive", "receive", "issue", "issue", "put back", "transfer", "found"]
NAMES += ["missing", "count", "scrap", "break", "make", "reverse", "reverse"]
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


@pytest.mark.django_db
def test_the_world_of_these_tests_lets_most_things_happen() -> None:
    """Were everything refused, the properties above would hold and mean nothing."""
    world = World.new()
    for name in ("receive", "issue", "put back", "transfer", "found", "missing", "count"):
        for part_no in range(3):
            amount = 6 if name in ("receive", "found") else 1
            world.do((name, part_no, 0, 1, amount))
    for name, part_no in (("receive", 1), ("make", 0), ("break", 0), ("scrap", 0), ("reverse", 0)):
        world.do((name, part_no, 0, 1, 1))
    assert world.refusals == 0
    assert set(Movement.objects.values_list("kind", flat=True)) >= set(Movement.Kind.values) - {
        "cost"
    }
