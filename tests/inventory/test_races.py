"""Several people at once. Each lock has a twin test with it taken away, which shows what it stops.

On PostgreSQL the lock is `select_for_update`; on SQLite it is the immediate transaction.
"""

from collections.abc import Callable
from threading import Barrier
from typing import Any

import pytest
from django.db import OperationalError, connection

from inventory.models import Balance, Lot, Movement, Reservation
from inventory.services import (
    AlreadyReversed,
    IssueLine,
    KitContainsItself,
    KitLineSpec,
    Need,
    NotEnoughOnHand,
    TransferLine,
    catalog,
    issue,
    promises,
    prove,
    receive,
    reserve,
    reverse,
    set_kit_lines,
    transfer,
)
from inventory.services.posting import Posting
from tests.inventory.factories import (
    AT,
    BinFactory,
    PartFactory,
    PersonFactory,
    received,
    who_and_when,
)
from tests.races import at_once, refused, without_row_locks

pytestmark = pytest.mark.django_db(transaction=True)

PEOPLE = 8
SIXTEEN = 16


def all_have_read(monkeypatch: pytest.MonkeyPatch, people: int = PEOPLE) -> None:
    """Hold everybody between reading and writing until all have read."""
    barrier = Barrier(people)
    earlier = Posting.earlier

    def wait(self: Posting) -> list[Movement]:
        found = earlier(self)
        barrier.wait(timeout=20)
        return found

    monkeypatch.setattr(Posting, "earlier", wait)


def eight_issues_of_one(lot: Lot) -> list[Callable[[], Any]]:
    place = Balance.objects.get(lot=lot).location
    line = IssueLine(lot.part, place, 1)
    told = [who_and_when() for _ in range(PEOPLE)]
    return [lambda told=each: issue(lines=[line], **told) for each in told]


def test_eight_people_cannot_take_more_than_three() -> None:
    lot = received(PartFactory(), BinFactory(), 3, 100)
    results = at_once(*eight_issues_of_one(lot))
    assert refused(results, NotEnoughOnHand) == 5
    lot.refresh_from_db()
    assert (lot.quantity_left_steps, lot.value_left_cents) == (0, 0)
    assert Movement.objects.filter(kind="issue").count() == 3
    assert prove() == []


@pytest.mark.postgresql
def test_twin_without_the_lock_all_eight_take_one_of_three(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    lot = received(PartFactory(), BinFactory(), 3, 100)
    acts = eight_issues_of_one(lot)
    without_row_locks(monkeypatch)
    all_have_read(monkeypatch)
    results = at_once(*acts)
    assert refused(results, NotEnoughOnHand) == 0
    assert Movement.objects.filter(kind="issue").count() == 8
    assert Balance.objects.get(lot=lot).quantity_steps == 2  # legal, and wrong
    assert prove() != []


@pytest.mark.sqlite
def test_twin_without_the_immediate_transaction_writers_fail_half_way(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    lot = received(PartFactory(), BinFactory(), PEOPLE, 100)
    acts = eight_issues_of_one(lot)

    def deferred(act: Callable[[], Any]) -> Any:
        connection.transaction_mode = None
        return act()

    all_have_read(monkeypatch)
    results = at_once(*(lambda act=act: deferred(act) for act in acts))
    locked = [each for each in results if isinstance(each, OperationalError)]
    assert len(locked) == PEOPLE - 1
    assert "locked" in str(locked[0])


def test_one_request_sent_by_eight_connections_counts_once() -> None:
    part, place = PartFactory(), BinFactory()
    lot = received(part, place, 1, 100)
    told = who_and_when()
    results = at_once(*[lambda: issue(lines=[IssueLine(part, place, 1)], **told)] * PEOPLE)
    assert {movement.pk for [movement] in results} == {Movement.objects.get(kind="issue").pk}
    lot.refresh_from_db()
    assert lot.quantity_left_steps == 0


def test_one_receipt_sent_by_eight_connections_counts_once() -> None:
    part, place = PartFactory(), BinFactory()
    given = who_and_when(quantity_steps=2, value_cents=100, lot_code="L-1")
    results = at_once(*[lambda: receive(part=part, location=place, **given)] * PEOPLE)
    assert refused(results, NotEnoughOnHand) == 0
    assert Lot.objects.count() == 1
    assert {each.pk for each in results} == {Movement.objects.get().pk}


def test_a_movement_is_reversed_by_one_of_eight() -> None:
    movement = Movement.objects.get(lot=received(PartFactory(), BinFactory(), 3, 100))
    told = [who_and_when() for _ in range(PEOPLE)]
    results = at_once(
        *(lambda each=each: reverse(movement=movement, reason="Wrong", **each) for each in told)
    )
    assert refused(results, AlreadyReversed) == PEOPLE - 1
    assert prove() == []


def test_lines_in_differing_order_do_not_deadlock() -> None:
    here, there = BinFactory(), BinFactory()
    parts = [PartFactory() for _ in range(6)]
    for part in parts:
        received(part, here, 100, 100)
        received(part, there, 100, 100)

    def carry(order: list[Any], start: Any, end: Any) -> Callable[[], Any]:
        lines = [TransferLine(part, start, end, 1) for part in order]
        told = [who_and_when() for _ in range(5)]
        return lambda: [transfer(lines=lines, **each) for each in told]

    results = at_once(*[carry(parts, here, there), carry(parts[::-1], there, here)] * (PEOPLE // 2))
    assert refused(results, NotEnoughOnHand) == 0
    assert prove() == []


def sixteen_want_the_last_of_six(
    lots: list[Lot], at: list[list[int]]
) -> list[Callable[[], list[Any]]]:
    """Each takes three parts of the six at a time, in an order of its own, over and over."""
    places = {lot.part_id: Balance.objects.get(lot=lot).location for lot in lots}

    def take(wanted: list[int]) -> Callable[[], list[Any]]:
        told = [who_and_when() for _ in wanted]

        def act() -> list[Any]:
            given = []
            for first, each in zip(wanted, told, strict=True):
                three = [lots[(first * step) % 7 - 1] for step in (1, 2, 4)]
                lines = [IssueLine(lot.part, places[lot.part_id], 1) for lot in three]
                try:
                    given.append(issue(lines=lines, **each))
                except NotEnoughOnHand as short:
                    given.append(short)
            return given

        return act

    return [take(wanted) for wanted in at]


def test_sixteen_people_take_the_last_of_six_parts_in_differing_order() -> None:
    """1, 2, 4 and 3, 6, 5 are taken together, begun with either of the three: rings of locks."""
    here = BinFactory()
    lots = [received(PartFactory(), here, 20, 1_001) for _ in range(6)]
    at = [[(person + turn) % 6 + 1 for turn in range(6)] for person in range(SIXTEEN)]
    results = at_once(*sixteen_want_the_last_of_six(lots, at))
    assert refused(results, NotEnoughOnHand) == 0  # each answers for itself, and nothing broke
    given = [each for result in results for each in result]
    # 96 asked for three pieces each; of either three parts there were twenty.
    assert sum(isinstance(each, NotEnoughOnHand) for each in given) == 96 - 40
    rows = [row.pk for each in given if isinstance(each, list) for row in each]
    assert len(rows) == len(set(rows)) == Movement.objects.filter(kind="issue").count() == 120
    assert set(Lot.objects.values_list("quantity_left_steps", "value_left_cents")) == {(0, 0)}
    assert prove() == []


@pytest.mark.postgresql
def test_twin_without_the_order_of_locks_two_rings_deadlock(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Two who lock two lots each, the one as the other's last: only an order keeps them apart."""
    here = BinFactory()
    lots = [received(PartFactory(), here, 5, 100) for _ in range(2)]
    barrier = Barrier(2)
    lock = Posting._lock
    told = [who_and_when() for _ in range(2)]

    def lock_as_asked(self: Posting, *, parts: Any, places: Any, lots: Any) -> None:
        for number, part in enumerate(parts):
            list(Lot.objects.select_for_update().filter(part=part))
            if number == 0:
                barrier.wait(timeout=20)
        lock(self, parts=parts, places=places, lots=lots)

    monkeypatch.setattr(Posting, "_lock", lock_as_asked)
    results = at_once(
        *(
            lambda order=order, each=each: issue(
                lines=[IssueLine(lot.part, here, 1) for lot in order], **each
            )
            for order, each in zip((lots, lots[::-1]), told, strict=True)
        )
    )
    broken = [each for each in results if isinstance(each, OperationalError)]
    assert len(broken) == 1
    assert "deadlock" in str(broken[0])
    assert prove() == []


# --- promises -------------------------------------------------------------------------------------


def eight_sheets_want_the_last() -> list[Callable[[], Any]]:
    part, place = PartFactory(kit=True), BinFactory()
    received(part, place, 1)
    told = {"author": PersonFactory(), "at": AT, "source_kind": "sheet"}
    return [
        lambda sheet=sheet: reserve(
            needs=[Need(part, 1)], places=[place], source_number=sheet, **told
        )
        for sheet in range(PEOPLE)
    ]


def test_the_last_kit_is_promised_to_one_of_eight_sheets() -> None:
    results = at_once(*eight_sheets_want_the_last())
    assert sum(len(each.held) for each in results) == 1
    assert sum(len(each.short) for each in results) == PEOPLE - 1
    assert Reservation.objects.count() == 1


@pytest.mark.postgresql
def test_twin_without_the_lock_all_eight_sheets_are_promised_the_last_kit(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    acts = eight_sheets_want_the_last()
    without_row_locks(monkeypatch)
    barrier = Barrier(PEOPLE)
    free = promises.free_steps

    def wait(*args: Any, **more: Any) -> Any:
        found = free(*args, **more)
        barrier.wait(timeout=20)
        return found

    monkeypatch.setattr(promises, "free_steps", wait)
    results = at_once(*acts)
    assert sum(len(each.held) for each in results) == PEOPLE


# --- kits -----------------------------------------------------------------------------------------


def two_halves_of_a_circle() -> list[Callable[[], Any]]:
    one, two = PartFactory(kit=True), PartFactory(kit=True)
    told = {"author": PersonFactory(), "at": AT}
    return [
        lambda: set_kit_lines(kit=one, lines=[KitLineSpec(two, 1)], **told),
        lambda: set_kit_lines(kit=two, lines=[KitLineSpec(one, 1)], **told),
    ]


def test_two_changes_cannot_make_a_circle_together() -> None:
    assert refused(at_once(*two_halves_of_a_circle()), KitContainsItself) == 1


@pytest.mark.postgresql
def test_twin_without_the_lock_two_changes_make_a_circle(monkeypatch: pytest.MonkeyPatch) -> None:
    acts = two_halves_of_a_circle()
    without_row_locks(monkeypatch)
    barrier = Barrier(2)
    path = catalog._path

    def wait(*args: Any, **more: Any) -> list[int]:
        found = path(*args, **more)
        barrier.wait(timeout=20)
        return found

    monkeypatch.setattr(catalog, "_path", wait)
    assert refused(at_once(*acts), KitContainsItself) == 0
