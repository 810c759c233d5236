"""Two people at one sheet at the same moment: the sheet's lock makes them queue.

Each race has a twin without row locks; what the lock stops shows on PostgreSQL.
"""

from collections.abc import Callable
from typing import Any
from uuid import uuid4

import pytest
from django.db import IntegrityError

from inventory.models import Balance, Location, Movement
from inventory.services import NotEnoughOnHand, NumberTaken, prove
from shop.models import ServiceSheet, SignedCopy, StepEntry
from shop.services import locking, sheet_parts, working
from shop.services.drafting import void_sheet
from shop.services.refusals import SheetClosed
from shop.services.sheet_parts import add_part, enter_used, in_tray, take_parts
from tests.inventory.factories import received
from tests.races import all_meet_in, at_once, refused, without_row_locks
from tests.shop.services.conftest import Hands
from tests.shop.worlds import NOW, SheetWorld

pytestmark = pytest.mark.django_db(transaction=True)


def take(hands: Hands) -> Callable[[], Any]:
    return lambda: take_parts(sheet=hands.sheet, author=hands.who, at=NOW, request_id=uuid4())


def void(hands: Hands, world: SheetWorld) -> Callable[[], Any]:
    return lambda: void_sheet(
        sheet=hands.sheet, author=world.manager, at=NOW, reason="sold", request_id=uuid4()
    )


def add_filter(hands: Hands, world: SheetWorld) -> Callable[[], Any]:
    return lambda: add_part(
        sheet=hands.sheet,
        part=world.filter_part,
        location=world.bin,
        quantity_steps=1,
        author=hands.who,
        at=NOW,
        request_id=uuid4(),
    )


def trays() -> int:
    return Location.objects.filter(kind=Location.Kind.TRAY).count()


def test_signing_while_voiding_does_one_of_them_whole(done: Hands, world: SheetWorld) -> None:
    results = at_once(done.sign, void(done, world))
    assert refused(results, SheetClosed) == 1
    sheet = done.fresh()
    is_signed = sheet.state == ServiceSheet.State.SIGNED
    assert SignedCopy.objects.filter(sheet=sheet).exists() is is_signed
    assert Movement.objects.filter(kind="issue").exists() is is_signed
    assert (sheet.voided_at is None) is is_signed
    assert not Balance.objects.there().filter(location__kind=Location.Kind.TRAY).exists()
    assert prove() == []


def test_parts_taken_by_two_people_at_once_are_taken_once(hands: Hands, world: SheetWorld) -> None:
    results = at_once(take(hands), take(hands))
    assert refused(results, Exception) == 0
    assert in_tray(hands.fresh()) == {world.filter_part.pk: 1, world.kit.pk: 1}
    assert sorted(bool(moved) for moved in results) == [False, True]
    assert trays() == 1
    assert prove() == []


@pytest.mark.postgresql
def test_twin_without_the_lock_the_second_would_take_what_is_taken(
    hands: Hands, monkeypatch: pytest.MonkeyPatch
) -> None:
    without_row_locks(monkeypatch)
    all_meet_in(monkeypatch, sheet_parts, "release")
    results = at_once(take(hands), take(hands))
    assert refused(results, NumberTaken) == 1  # of the tray: only its unique code stops the second


def test_the_last_of_a_part_is_added_by_one_of_two(hands: Hands, world: SheetWorld) -> None:
    results = at_once(add_filter(hands, world), add_filter(hands, world))
    assert refused(results, NotEnoughOnHand) == 1
    assert in_tray(hands.fresh()) == {world.filter_part.pk: 1}
    assert prove() == []


def test_two_parts_added_at_once_lie_in_one_tray(hands: Hands, world: SheetWorld) -> None:
    received(world.filter_part, world.bin, 1, 1900)
    results = at_once(add_filter(hands, world), add_filter(hands, world))
    assert refused(results, Exception) == 0
    assert in_tray(hands.fresh()) == {world.filter_part.pk: 2}
    assert (trays(), hands.sheet.parts.filter(part=world.filter_part).count()) == (1, 1)


def test_two_answers_at_once_are_both_kept_and_one_is_in_force(hands: Hands) -> None:
    step = hands.steps("caution")[0]
    results = at_once(lambda: hands.answer(step), lambda: hands.answer(step))
    assert refused(results, Exception) == 0
    step.refresh_from_db()
    assert StepEntry.objects.filter(step=step).count() == 2
    assert step.entry == max(results, key=lambda entry: entry.pk)


def test_one_answer_sent_twice_at_once_counts_once(hands: Hands) -> None:
    step, event = hands.steps("caution")[0], uuid4()
    send = lambda: hands.answer(step, event_id=event)  # noqa: E731
    first, second = at_once(send, send)
    assert first == second
    assert StepEntry.objects.filter(step=step).count() == 1


@pytest.mark.postgresql
def test_twin_without_the_lock_one_answer_sent_twice_at_once_breaks(
    hands: Hands, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Both look for the id and find none; only the unique column stops the second."""
    without_row_locks(monkeypatch)
    all_meet_in(monkeypatch, working, "refuse_unfit")
    step, event = hands.steps("caution")[0], uuid4()
    send = lambda: hands.answer(step, event_id=event)  # noqa: E731
    assert refused(at_once(send, send), IntegrityError) == 1


def test_what_was_used_is_entered_once_by_two_hands(hands: Hands) -> None:
    hands.take()
    row, event = hands.sheet.parts.get(part__number="F-09"), uuid4()
    given = {"author": hands.who, "at": NOW, "recorded_at": NOW, "event_id": event}
    send = lambda: enter_used(sheet_part=row, used_steps=1, **given)  # noqa: E731
    results = at_once(send, send)
    assert refused(results, Exception) == 0
    assert row.entries.count() == 1


def test_nothing_is_entered_while_the_sheet_is_voided(hands: Hands, world: SheetWorld) -> None:
    step = hands.steps("caution")[0]
    results = at_once(lambda: hands.answer(step), void(hands, world))
    assert refused(results, SheetClosed) <= 1
    assert hands.fresh().state == ServiceSheet.State.VOID


def test_twin_without_the_lock_an_entry_would_revive_a_void_sheet(
    hands: Hands, world: SheetWorld
) -> None:
    """The entry read the sheet before the strike and writes after it: what the lock forbids."""
    read_before = ServiceSheet.objects.get(pk=hands.sheet.pk)
    void(hands, world)()
    locking.start_work(read_before, author=hands.who, at=NOW)
    assert hands.fresh().state == ServiceSheet.State.UNDER_WAY
