"""Two people at one count, kit, robbed kit, invoice or lot; and the same with the locks away.

With the locks one is refused in plain words, or both are done in turn, and the books prove. In a
twin both have read before either writes; a meeting that does not come about fails the test.
"""

from collections.abc import Callable
from datetime import date, timedelta
from typing import Any
from uuid import uuid4

import pytest

from inventory.models import Balance, Count, Lot, LotExtension, Movement, RobbedKit
from inventory.services import (
    IssueLine,
    NotEnoughOnHand,
    NotRobbedAnyMore,
    correct_cost,
    counting,
    extend_lot,
    invoices,
    issue,
    lots,
    make_whole,
    prove,
    rob_kit,
    robbed,
    take_apart,
)
from inventory.services.counting import (
    CountClosed,
    EnteredMeanwhile,
    NoLongerThere,
    approve_count,
    drop_count,
    enter_counted,
    finish_count,
    start_count,
)
from inventory.services.lots import NotExtended
from inventory.services.posting import Posting
from tests.inventory.factories import (
    AT,
    BinFactory,
    PartFactory,
    PersonFactory,
    Shelf,
    received,
    who_and_when,
)
from tests.races import all_meet_in, at_once, refused, without_row_locks

pytestmark = pytest.mark.django_db(transaction=True)

Act = Callable[[], Any]


def who() -> dict[str, Any]:
    return {"author": PersonFactory(), "at": AT}


def unlocked(monkeypatch: pytest.MonkeyPatch, where: object, name: str) -> None:
    """Without row locks, and nobody goes on from there before both have come."""
    without_row_locks(monkeypatch)
    all_meet_in(monkeypatch, where, name)


# --- counts -------------------------------------------------------------------------------------


def counted(books: int, seen: int) -> tuple[Count, Lot]:
    """A finished count of a place with one lot, in which the books had another number."""
    lot = received(PartFactory(), BinFactory(), books, 100 * books)
    place = Balance.objects.get(lot=lot).location
    count = start_count(location=place, kind="cycle", **who_and_when())
    enter_counted(count=count, part=lot.part, counted_steps=seen, event_id=uuid4(), **who())
    return finish_count(count=count, none_of=(), **who()), lot


def approving_and_issuing() -> list[Act]:
    """Two of five were missing when it was counted; somebody takes four."""
    count, lot = counted(5, 3)
    line, told, manager = IssueLine(lot.part, count.location, 4), who_and_when(), who()
    return [
        lambda: approve_count(count=count, **manager),
        lambda: issue(lines=[line], **told),
    ]


def test_a_shortage_is_posted_or_the_pieces_are_issued() -> None:
    approved, issued = results = at_once(*approving_and_issuing())
    assert sum(isinstance(each, NoLongerThere | NotEnoughOnHand) for each in results) == 1
    left = Balance.objects.get().quantity_steps
    assert left == (1 if isinstance(approved, NoLongerThere) else 3)
    assert isinstance(issued, NotEnoughOnHand) == (left == 3)
    assert prove() == []


@pytest.mark.postgresql
def test_twin_without_the_locks_more_is_taken_than_there_was(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    acts = approving_and_issuing()
    unlocked(monkeypatch, Posting, "earlier")
    assert refused(at_once(*acts), NoLongerThere) == 0
    assert sum(Movement.objects.values_list("quantity_steps", flat=True)) == -1
    assert prove() != []


def test_two_people_approve_one_count_and_it_is_posted_once() -> None:
    count, _ = counted(5, 7)
    manager, owner = who(), who()
    one, two = at_once(
        lambda: approve_count(count=count, **manager), lambda: approve_count(count=count, **owner)
    )
    assert one == two
    assert [row.quantity_steps for row in Movement.objects.filter(kind="count")] == [2]
    assert prove() == []


def approving_and_dropping() -> list[Act]:
    count, _ = counted(5, 3)
    manager, owner = who(), who()
    return [
        lambda: approve_count(count=count, **manager),
        lambda: drop_count(count=count, **owner),
    ]


def test_one_count_is_approved_or_dropped() -> None:
    results = at_once(*approving_and_dropping())
    assert refused(results, CountClosed) == 1
    state = Count.objects.get().state
    assert Movement.objects.filter(kind="count").count() == (state == Count.State.POSTED)
    assert prove() == []


@pytest.mark.postgresql
def test_twin_without_the_lock_of_the_count_it_is_approved_and_dropped(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    acts = approving_and_dropping()
    unlocked(monkeypatch, counting, "_refuse_unless")
    assert refused(at_once(*acts), CountClosed) == 0
    assert Movement.objects.filter(kind="count").count() == 1


def two_pages_of_one_moment() -> list[Act]:
    """Two people entered other figures of one part, on pages that show none yet."""
    lot = received(PartFactory(), BinFactory(), 9, 900)
    place = Balance.objects.get(lot=lot).location
    count = start_count(location=place, kind="cycle", **who_and_when())
    later = {"author": PersonFactory(), "at": AT + timedelta(minutes=1), "drawn_at": AT}
    return [
        lambda steps=steps: enter_counted(
            count=count, part=lot.part, counted_steps=steps, event_id=uuid4(), **later
        )
        for steps in (7, 8)
    ]


def test_of_two_figures_at_once_the_first_stands_and_the_second_is_asked() -> None:
    results = at_once(*two_pages_of_one_moment())
    assert refused(results, EnteredMeanwhile) == 1
    [stands] = [each for each in results if not isinstance(each, Exception)]
    assert Count.objects.get().lines.get() == stands


@pytest.mark.postgresql
def test_twin_without_the_lock_of_the_count_the_second_figure_wins_unasked(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    acts = two_pages_of_one_moment()
    unlocked(monkeypatch, counting, "_write_line")
    assert refused(at_once(*acts), EnteredMeanwhile) == 0


# --- robbed kits --------------------------------------------------------------------------------


def robbing(shelf: Shelf, times: int) -> list[Act]:
    given = {"kit": shelf.kit, "location": shelf.drawer, "missing": {shelf.seal: 1}}
    told = [who_and_when() for _ in range(times)]
    return [lambda each=each: rob_kit(**given, **each) for each in told]


def wanting_the_last(shelf: Shelf, other: str) -> list[Act]:
    """It is robbed, and at the same moment robbed too or issued."""
    if other == "robbed too":
        return robbing(shelf, 2)
    told = who_and_when()
    line = IssueLine(shelf.kit, shelf.drawer, 1)
    return [*robbing(shelf, 1), lambda: issue(lines=[line], **told)]


@pytest.mark.parametrize("other", ["robbed too", "issued"])
def test_the_last_kit_is_robbed_once_or_issued(other: str) -> None:
    shelf = Shelf(kits=1)
    acts = wanting_the_last(shelf, other)
    assert refused(at_once(*acts), NotEnoughOnHand) == 1
    assert shelf.here(shelf.kit, shelf.drawer) == 0
    assert RobbedKit.objects.count() <= 1
    assert prove() == []


@pytest.mark.postgresql
@pytest.mark.parametrize("other", ["robbed too", "issued"])
def test_twin_without_the_lock_the_last_kit_is_there_twice(
    other: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    shelf = Shelf(kits=1)
    acts = wanting_the_last(shelf, other)
    unlocked(monkeypatch, Posting, "earlier")
    assert refused(at_once(*acts), NotEnoughOnHand) == 0
    assert prove() != []


def test_one_robbery_told_twice_at_once_counts_once() -> None:
    shelf = Shelf()
    [act] = robbing(shelf, 1)
    one, two = at_once(act, act)
    assert one == two == RobbedKit.objects.get()
    assert shelf.here(shelf.kit, shelf.drawer) == 1
    assert prove() == []


def whole_and_apart(shelf: Shelf) -> list[Act]:
    received(shelf.seal, shelf.bin, 3, 300)
    [act] = robbing(shelf, 1)
    found = act()
    one, two = who_and_when(), who_and_when()
    return [
        lambda: make_whole(robbed=found, fill_from=shelf.bin, **one),
        lambda: take_apart(robbed=found, to_location=shelf.bin, **two),
    ]


def test_a_robbed_kit_is_made_whole_or_taken_apart() -> None:
    shelf = Shelf()
    results = at_once(*whole_and_apart(shelf))
    assert refused(results, NotRobbedAnyMore) == 1
    is_whole = not isinstance(results[0], Exception)
    assert shelf.here(shelf.kit, shelf.drawer) == (2 if is_whole else 1)
    assert shelf.here(shelf.seal, shelf.bin) == (2 if is_whole else 4)
    assert prove() == []


@pytest.mark.postgresql
def test_twin_without_the_locks_it_is_made_whole_and_taken_apart(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    acts = whole_and_apart(Shelf())
    unlocked(monkeypatch, robbed, "_end")
    assert refused(at_once(*acts), NotRobbedAnyMore) == 0
    assert prove() != []


# --- late invoices ------------------------------------------------------------------------------


def invoicing(lot: Lot, *cents: int) -> list[Act]:
    receipt = Movement.objects.get(lot=lot, kind="receipt")
    told = [who_and_when(reason="invoice") for _ in cents]
    return [
        lambda says=says, each=each: correct_cost(movement=receipt, value_cents=says, **each)
        for says, each in zip(cents, told, strict=True)
    ]


def invoicing_and_issuing() -> tuple[Lot, list[Act]]:
    lot = received(PartFactory(), BinFactory(), 3, 100)
    line, told = IssueLine(lot.part, Balance.objects.get().location, 2), who_and_when()
    return lot, [*invoicing(lot, 160), lambda: issue(lines=[line], **told)]


def test_an_invoice_and_an_issue_at_once_share_every_cent() -> None:
    lot, acts = invoicing_and_issuing()
    assert refused(at_once(*acts), NotEnoughOnHand) == 0
    lot.refresh_from_db()
    spent = -sum(Movement.objects.spent().values_list("value_cents", flat=True))
    # 53⅓ cents a piece: which cent goes where depends on who came first.
    assert lot.value_left_cents in (53, 54)
    assert spent + lot.value_left_cents == 160
    assert prove() == []


@pytest.mark.postgresql
def test_twin_without_the_lock_cents_are_lost(monkeypatch: pytest.MonkeyPatch) -> None:
    _, acts = invoicing_and_issuing()
    unlocked(monkeypatch, Posting, "earlier")
    assert refused(at_once(*acts), NotEnoughOnHand) == 0
    assert prove() != []


def test_of_two_invoices_at_once_the_later_one_stands() -> None:
    lot = received(PartFactory(), BinFactory(), 3, 100)
    one, two = at_once(*invoicing(lot, 160, 220))
    later = max((one, two), key=lambda rows: rows[0].pk)
    lot.refresh_from_db()
    assert lot.value_left_cents == (220 if later is two else 160)
    assert invoices.invoiced_cents(Movement.objects.get(kind="receipt")) == lot.value_left_cents
    assert prove() == []


@pytest.mark.postgresql
def test_twin_without_the_lock_both_differences_count(monkeypatch: pytest.MonkeyPatch) -> None:
    lot = received(PartFactory(), BinFactory(), 3, 100)
    acts = invoicing(lot, 160, 220)
    unlocked(monkeypatch, invoices, "_spread")
    at_once(*acts)
    assert invoices.invoiced_cents(Movement.objects.get(kind="receipt")) == 100 + 60 + 120
    assert prove() != []


# --- lots used longer ---------------------------------------------------------------------------


def extending(*until: date) -> list[Act]:
    lot = received(PartFactory(), BinFactory(), 3, 100, expires_on=date(2026, 3, 31))
    told = [who_and_when(reason="looked at") for _ in until]
    return [
        lambda day=day, each=each: extend_lot(lot=lot, until=day, **each)
        for day, each in zip(until, told, strict=True)
    ]


def test_a_lot_is_extended_to_one_day_by_one_of_two() -> None:
    day = date(2027, 3, 31)
    assert refused(at_once(*extending(day, day)), NotExtended) == 1
    assert LotExtension.objects.get().until == Lot.objects.get().expires_on == day


def test_one_extension_sent_twice_at_once_counts_once() -> None:
    [act] = extending(date(2027, 3, 31))
    one, two = at_once(act, act)
    assert one == two == LotExtension.objects.get()


@pytest.mark.postgresql
def test_twin_without_the_lock_a_lot_is_extended_by_both(monkeypatch: pytest.MonkeyPatch) -> None:
    acts = extending(date(2027, 3, 31), date(2027, 3, 31))
    unlocked(monkeypatch, lots, "_refuse")
    assert refused(at_once(*acts), NotExtended) == 0
    was = list(LotExtension.objects.values_list("was", flat=True))
    assert was == [date(2026, 3, 31)] * 2  # both from the same day
