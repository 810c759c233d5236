"""Whatever people do in whatever order, the ledger adds up and undoing restores what was."""

from uuid import UUID

import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st
from hypothesis.extra.django import TestCase

from inventory.models import (
    Lot,
    Movement,
    RobbedKit,
)
from inventory.services import (
    IssueLine,
    TransferLine,
    issue,
    prove,
    reverse,
    transfer,
)
from tests.inventory.factories import (
    BinFactory,
    PartFactory,
    received,
    who_and_when,
)
from tests.inventory.ledger_world import ACTS, World, state


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
