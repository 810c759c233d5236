"""Kits: what is in them, breaking them, making them whole."""

from datetime import date, timedelta
from typing import Any

import pytest

from inventory.models import Balance, Location, Movement, Part
from inventory.services import (
    KitContainsItself,
    KitLineSpec,
    NotAKit,
    NotEnoughOnHand,
    NothingToMove,
    StockRefused,
    break_kit,
    make_kit,
    prove,
    reverse,
    set_kit_lines,
)
from tests.inventory.factories import (
    AT,
    BinFactory,
    PartFactory,
    PersonFactory,
    kit_of,
    received,
    who_and_when,
)

pytestmark = pytest.mark.django_db


@pytest.fixture
def shelf() -> Location:
    return BinFactory(code="K-03")


def say_inside(kit: Part, **by_steps: Any) -> None:
    lines = [KitLineSpec(part=part, quantity_steps=1) for part in by_steps["parts"]]
    set_kit_lines(kit=kit, lines=lines, author=PersonFactory(), at=AT)


def test_a_kit_cannot_contain_itself_through_others() -> None:
    gun, seals, rings = (PartFactory(kit=True, number=n) for n in ("GK-1", "SK-2", "RK-3"))
    say_inside(seals, parts=[rings, PartFactory()])
    say_inside(rings, parts=[PartFactory()])
    say_inside(gun, parts=[seals])
    with pytest.raises(KitContainsItself) as refused:
        say_inside(rings, parts=[PartFactory(), gun])
    assert str(refused.value) == "A kit cannot contain itself: RK-3 → GK-1 → SK-2 → RK-3."
    assert rings.lines.count() == 1
    with pytest.raises(KitContainsItself, match="GK-1 → GK-1"):
        say_inside(gun, parts=[gun])


def test_two_kits_may_share_a_kit() -> None:
    shared = PartFactory(kit=True)
    say_inside(shared, parts=[PartFactory()])
    one, two = PartFactory(kit=True), PartFactory(kit=True)
    say_inside(two, parts=[shared])
    say_inside(one, parts=[two, shared])
    assert one.lines.count() == 2


def test_nonsense_lines_are_refused() -> None:
    kit, part = PartFactory(kit=True), PartFactory()
    told = {"author": PersonFactory(), "at": AT}
    with pytest.raises(NothingToMove):
        set_kit_lines(kit=kit, lines=[KitLineSpec(part, 0)], **told)
    with pytest.raises(StockRefused, match="once"):
        set_kit_lines(kit=kit, lines=[KitLineSpec(part, 1)] * 2, **told)
    with pytest.raises(StockRefused, match="is not a kit"):
        set_kit_lines(kit=part, lines=[KitLineSpec(kit, 1)], **told)


def test_a_broken_kit_is_its_lines_and_the_cents_add_up(shelf: Location) -> None:
    kit, (seal, spring, oil) = kit_of(seal=2, spring=1, oil=3)
    Part.objects.filter(pk=seal.pk).update(usual_cost_cents=100)
    Part.objects.filter(pk=spring.pk).update(usual_cost_cents=333)
    Part.objects.filter(pk=oil.pk).update(usual_cost_cents=0)
    expiry = date(2029, 5, 1)
    kit_lot = received(kit, shelf, 2, 2_001, lot_code="K77", expires_on=expiry)
    tray = BinFactory(tray=True)
    rows = break_kit(kit=kit, location=shelf, to_location=tray, quantity=1, **who_and_when())
    # 2,001 ÷ 2 = 1,000.5, so 1,001; shared 200 : 333 : 0 → 375.6 and 625.4 → 376 and 625
    assert [(row.part, row.location, row.quantity_steps, row.value_cents) for row in rows] == [
        (kit, shelf, -1, -1_001),
        (seal, tray, 2, 376),
        (spring, tray, 1, 625),
        (oil, tray, 3, 0),
    ]
    assert sum(row.value_cents for row in rows) == 0
    lots = [row.lot for row in rows[1:]]
    assert {(lot.code, lot.expires_on) for lot in lots} == {("K77", expiry)}
    assert {lot.received_at for lot in lots} == {kit_lot.received_at}
    assert prove() == []


def test_made_whole_again_it_costs_what_its_parts_cost(shelf: Location) -> None:
    kit, (seal, spring) = kit_of(seal=2, spring=1)
    received(seal, shelf, 3, 100, expires_on=date(2030, 1, 1), cured_on=date(2025, 5, 1))
    received(seal, shelf, 3, 200, cured_on=date(2025, 1, 1))
    received(spring, shelf, 9, 900, expires_on=date(2031, 1, 1))
    rows = make_kit(kit=kit, location=shelf, quantity=2, **who_and_when())
    made = rows[-1]
    # seals: 3 for 100 and 1 of 3 for 200 → 67; springs: 2 of 9 for 900 → 200
    assert [row.value_cents for row in rows] == [-100, -67, -200, 367]
    assert (made.part, made.quantity_steps) == (kit, 2)
    assert (made.lot.expires_on, made.lot.cured_on) == (date(2030, 1, 1), date(2025, 1, 1))
    assert prove() == []


def test_breaking_and_making_again_loses_no_cent(shelf: Location) -> None:
    kit, _ = kit_of(seal=2, spring=1, pin=7)
    received(kit, shelf, 3, 10_001)
    break_kit(kit=kit, location=shelf, to_location=shelf, quantity=3, **who_and_when())
    made = make_kit(kit=kit, location=shelf, quantity=3, **who_and_when())[-1]
    assert made.value_cents == 10_001


@pytest.mark.parametrize("row", [0, 1, 2])
def test_a_breaking_is_reversed_whole_by_any_of_its_lines(row: int, shelf: Location) -> None:
    kit, _ = kit_of(seal=2, spring=1)
    lot = received(kit, shelf, 2, 999)
    rows = break_kit(kit=kit, location=shelf, to_location=shelf, quantity=2, **who_and_when())
    undone = reverse(movement=rows[row], reason="Wrong kit", **who_and_when())
    assert [each.reverses for each in undone] == rows
    lot.refresh_from_db()
    assert (lot.quantity_left_steps, lot.value_left_cents) == (2, 999)
    assert Balance.objects.there().get().lot == lot
    assert prove() == []


def test_kits_of_two_lots_keep_their_lots_apart(shelf: Location) -> None:
    kit, (seal,) = kit_of(seal=1)
    received(kit, shelf, 1, 100, lot_code="old", at=AT - timedelta(days=1))
    received(kit, shelf, 1, 300, lot_code="new")
    rows = break_kit(kit=kit, location=shelf, to_location=shelf, quantity=2, **who_and_when())
    seals = [(row.lot.code, row.value_cents) for row in rows if row.part == seal]
    assert seals == [("old", 100), ("new", 300)]


def test_what_is_not_there_is_neither_broken_nor_made(shelf: Location) -> None:
    kit, (seal, _) = kit_of(seal=2, spring=1)
    received(seal, shelf, 2)
    with pytest.raises(NotEnoughOnHand, match="Fluid section kit"):
        break_kit(kit=kit, location=shelf, to_location=shelf, quantity=1, **who_and_when())
    with pytest.raises(NotEnoughOnHand, match="spring"):
        make_kit(kit=kit, location=shelf, quantity=1, **who_and_when())
    for quantity in (0, -1):
        with pytest.raises(NothingToMove):
            make_kit(kit=kit, location=shelf, quantity=quantity, **who_and_when())
    assert Movement.objects.count() == 1


def test_what_is_no_kit_is_neither_broken_nor_made(shelf: Location) -> None:
    part, unsaid = PartFactory(), PartFactory(kit=True)
    received(unsaid, shelf, 1)
    for each in (part, unsaid):
        with pytest.raises(NotAKit):
            break_kit(kit=each, location=shelf, to_location=shelf, quantity=1, **who_and_when())
        with pytest.raises(NotAKit):
            make_kit(kit=each, location=shelf, quantity=1, **who_and_when())


def test_sent_twice_a_kit_is_broken_once(shelf: Location) -> None:
    kit, _ = kit_of(seal=2)
    received(kit, shelf, 2)
    told = who_and_when()
    first, again = (
        break_kit(kit=kit, location=shelf, to_location=shelf, quantity=1, **told) for _ in range(2)
    )
    assert first == again
    assert Balance.objects.get(part=kit).quantity_steps == 1
