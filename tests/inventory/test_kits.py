"""Kits: what is in them, breaking them, making them whole."""

from datetime import date, timedelta
from typing import Any

import pytest

from inventory.models import Balance, KitAlternate, Location, Movement, Part
from inventory.services import (
    AlternateSpec,
    KitContainsItself,
    KitLineSpec,
    Need,
    NotAKit,
    NotEnoughOnHand,
    NothingToMove,
    StockRefused,
    SupersedesItself,
    break_kit,
    change_part,
    make_kit,
    prove,
    reserve,
    reverse,
    scrap,
    set_kit_lines,
    whole_kits,
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
def place() -> Location:
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


def test_a_broken_kit_is_its_lines_and_the_cents_add_up(place: Location) -> None:
    kit, (seal, spring, oil) = kit_of(seal=2, spring=1, oil=3)
    Part.objects.filter(pk=seal.pk).update(usual_cost_cents=100)
    Part.objects.filter(pk=spring.pk).update(usual_cost_cents=333)
    Part.objects.filter(pk=oil.pk).update(usual_cost_cents=0)
    expiry = date(2029, 5, 1)
    kit_lot = received(kit, place, 2, 2_001, lot_code="K77", expires_on=expiry)
    tray = BinFactory(tray=True)
    rows = break_kit(kit=kit, location=place, to_location=tray, quantity=1, **who_and_when())
    # 2,001 ÷ 2 = 1,000.5, so 1,001; shared 200 : 333 : 0 → 375.6 and 625.4 → 376 and 625
    assert [(row.part, row.location, row.quantity_steps, row.value_cents) for row in rows] == [
        (kit, place, -1, -1_001),
        (seal, tray, 2, 376),
        (spring, tray, 1, 625),
        (oil, tray, 3, 0),
    ]
    assert sum(row.value_cents for row in rows) == 0
    lots = [row.lot for row in rows[1:]]
    assert {(lot.code, lot.expires_on) for lot in lots} == {("K77", expiry)}
    assert {lot.received_at for lot in lots} == {kit_lot.received_at}
    assert prove() == []


def test_made_whole_again_it_costs_what_its_parts_cost(place: Location) -> None:
    kit, (seal, spring) = kit_of(seal=2, spring=1)
    received(seal, place, 3, 100, expires_on=date(2030, 1, 1), cured_on=date(2025, 5, 1))
    received(seal, place, 3, 200, cured_on=date(2025, 1, 1))
    received(spring, place, 9, 900, expires_on=date(2031, 1, 1))
    rows = make_kit(kit=kit, location=place, quantity=2, **who_and_when())
    made = rows[-1]
    # seals: 3 for 100 and 1 of 3 for 200 → 67; springs: 2 of 9 for 900 → 200
    assert [row.value_cents for row in rows] == [-100, -67, -200, 367]
    assert (made.part, made.quantity_steps) == (kit, 2)
    assert (made.lot.expires_on, made.lot.cured_on) == (date(2030, 1, 1), date(2025, 1, 1))
    assert prove() == []


def test_breaking_and_making_again_loses_no_cent(place: Location) -> None:
    kit, _ = kit_of(seal=2, spring=1, pin=7)
    received(kit, place, 3, 10_001)
    break_kit(kit=kit, location=place, to_location=place, quantity=3, **who_and_when())
    made = make_kit(kit=kit, location=place, quantity=3, **who_and_when())[-1]
    assert made.value_cents == 10_001


@pytest.mark.parametrize("row", [0, 1, 2])
def test_a_breaking_is_reversed_whole_by_any_of_its_lines(row: int, place: Location) -> None:
    kit, _ = kit_of(seal=2, spring=1)
    lot = received(kit, place, 2, 999)
    rows = break_kit(kit=kit, location=place, to_location=place, quantity=2, **who_and_when())
    undone = reverse(movement=rows[row], reason="Wrong kit", **who_and_when())
    assert [each.reverses for each in undone] == rows
    lot.refresh_from_db()
    assert (lot.quantity_left_steps, lot.value_left_cents) == (2, 999)
    assert Balance.objects.there().get().lot == lot
    assert prove() == []


def test_kits_of_two_lots_keep_their_lots_apart(place: Location) -> None:
    kit, (seal,) = kit_of(seal=1)
    received(kit, place, 1, 100, lot_code="old", at=AT - timedelta(days=1))
    received(kit, place, 1, 300, lot_code="new")
    rows = break_kit(kit=kit, location=place, to_location=place, quantity=2, **who_and_when())
    seals = [(row.lot.code, row.value_cents) for row in rows if row.part == seal]
    assert seals == [("old", 100), ("new", 300)]


def test_what_is_not_there_is_neither_broken_nor_made(place: Location) -> None:
    kit, (seal, _) = kit_of(seal=2, spring=1)
    received(seal, place, 2)
    with pytest.raises(NotEnoughOnHand, match="Fluid section kit"):
        break_kit(kit=kit, location=place, to_location=place, quantity=1, **who_and_when())
    with pytest.raises(NotEnoughOnHand, match="spring"):
        make_kit(kit=kit, location=place, quantity=1, **who_and_when())
    for quantity in (0, -1):
        with pytest.raises(NothingToMove):
            make_kit(kit=kit, location=place, quantity=quantity, **who_and_when())
    assert Movement.objects.count() == 1


def test_what_is_no_kit_is_neither_broken_nor_made(place: Location) -> None:
    part, unsaid = PartFactory(), PartFactory(kit=True)
    received(unsaid, place, 1)
    for each in (part, unsaid):
        with pytest.raises(NotAKit):
            break_kit(kit=each, location=place, to_location=place, quantity=1, **who_and_when())
        with pytest.raises(NotAKit):
            make_kit(kit=each, location=place, quantity=1, **who_and_when())


def test_sent_twice_a_kit_is_broken_once(place: Location) -> None:
    kit, _ = kit_of(seal=2)
    received(kit, place, 2)
    told = who_and_when()
    first, again = (
        break_kit(kit=kit, location=place, to_location=place, quantity=1, **told) for _ in range(2)
    )
    assert first == again
    assert Balance.objects.get(part=kit).quantity_steps == 1


def test_a_circle_through_an_alternate_or_a_successor_is_refused_in_words() -> None:
    gun, seals = (PartFactory(kit=True, number=n) for n in ("GK-1", "SK-2"))
    ring, other = PartFactory(number="ring"), PartFactory(number="other")
    told = {"author": PersonFactory(), "at": AT}
    set_kit_lines(kit=gun, lines=[KitLineSpec(ring, 1, (AlternateSpec(seals, 1),))], **told)
    change_part(part=other, superseded_by=gun, **told)
    with pytest.raises(KitContainsItself, match="SK-2 → other → GK-1 → SK-2"):
        set_kit_lines(kit=seals, lines=[KitLineSpec(other, 1)], **told)
    assert not seals.lines.exists()
    with pytest.raises(SupersedesItself, match="cannot take its own place: ring → GK-1 → ring"):
        change_part(part=ring, superseded_by=gun, **told)
    change_part(part=other, superseded_by=None, **told)
    change_part(part=ring, superseded_by=other, **told)
    with pytest.raises(SupersedesItself, match="other → ring → other"):
        change_part(part=other, superseded_by=ring, **told)
    with pytest.raises(StockRefused, match="counted in another unit"):
        change_part(part=ring, superseded_by=PartFactory(measured=True), **told)
    with pytest.raises(SupersedesItself):
        change_part(part=ring, superseded_by=ring, **told)


def test_lines_said_anew_keep_their_alternates_unless_others_are_said() -> None:
    kit, (seal, spring) = kit_of(seal=2, spring=1)
    other, third = PartFactory(), PartFactory()
    told = {"author": PersonFactory(), "at": AT}

    def say(alternates: tuple[AlternateSpec, ...] | None) -> list[tuple[Part, int, int]]:
        lines = [KitLineSpec(seal, 2, alternates), KitLineSpec(spring, 1)]
        set_kit_lines(kit=kit, lines=lines, **told)
        rows = KitAlternate.objects.filter(line__kit=kit, line__part=seal)
        return [(row.part, row.quantity_steps, row.rank) for row in rows]

    said = [(third, 1, 1), (other, 3, 2)]
    assert say((AlternateSpec(other, 3, 2), AlternateSpec(third, 1))) == said
    assert say(None) == said
    assert say(()) == []
    with pytest.raises(NothingToMove):
        say((AlternateSpec(other, 0),))
    with pytest.raises(StockRefused, match="another part, named once"):
        say((AlternateSpec(seal, 1),))


def test_a_short_line_takes_what_is_bought_instead_then_alternates_by_rank(
    place: Location,
) -> None:
    kit, (seal, spring) = kit_of(seal=2, spring=1)
    newer, second, third = (PartFactory(number=n) for n in ("newer", "second", "third"))
    told = {"author": PersonFactory(), "at": AT}
    change_part(part=seal, superseded_by=newer, **told)
    alternates = (AlternateSpec(third, 1, 2), AlternateSpec(second, 3, 1))
    lines = [KitLineSpec(seal, 2, alternates), KitLineSpec(spring, 1)]
    set_kit_lines(kit=kit, lines=lines, **told)
    for part, steps in ((seal, 3), (newer, 2), (second, 3), (third, 1), (spring, 9)):
        received(part, place, steps, steps * 100)
    rows = make_kit(kit=kit, location=place, quantity=4, **who_and_when())
    assert [(row.part.number, -row.quantity_steps) for row in rows[:-1]] == [
        ("seal", 3),
        ("newer", 1),
        ("second", 3),
        ("third", 1),
        ("spring", 4),
    ]
    assert rows[-1].value_cents == 1_200
    assert prove() == []
    received(seal, place, 1)
    with pytest.raises(NotEnoughOnHand, match="newer"):
        make_kit(kit=kit, location=place, quantity=2, **who_and_when())
    with pytest.raises(StockRefused, match="at most"):
        make_kit(kit=kit, location=place, quantity=10_000, **who_and_when())


def test_broken_again_a_kit_gives_the_alternate_that_went_into_it(place: Location) -> None:
    kit, (seal, spring) = kit_of(seal=2, spring=1)
    other = PartFactory(number="other")
    lines = [KitLineSpec(seal, 2, (AlternateSpec(other, 1),)), KitLineSpec(spring, 1)]
    set_kit_lines(kit=kit, lines=lines, author=PersonFactory(), at=AT)
    received(other, place, 3, 300)
    received(spring, place, 5, 500)

    def opened() -> list[tuple[str, int]]:
        rows = break_kit(kit=kit, location=place, to_location=place, quantity=1, **who_and_when())
        return [(row.part.number, row.quantity_steps) for row in rows[1:]]

    make_kit(kit=kit, location=place, quantity=2, **who_and_when())
    assert opened() == [("spring", 1), ("other", 1)]
    assert opened() == [("spring", 1), ("other", 1)]
    # Two of one lot that got different things: nobody knows which this is, so its lines are given.
    received(seal, place, 2, 200)
    scrap(part=other, location=place, quantity_steps=2, **who_and_when(reason="Worn"))
    make_kit(kit=kit, location=place, quantity=2, **who_and_when())
    received(other, place, 1)
    assert opened() == [("seal", 2), ("spring", 1)]
    assert prove() == []


def test_so_many_whole_so_many_more_and_what_one_more_needs(place: Location) -> None:
    kit, (ring, cup) = kit_of(ring=4, cup=1)
    inner, (pin,) = kit_of(pin=2)
    told = {"author": PersonFactory(), "at": AT}
    lines = [KitLineSpec(ring, 4), KitLineSpec(cup, 1), KitLineSpec(inner, 1)]
    set_kit_lines(kit=kit, lines=lines, **told)
    received(kit, place, 3)
    received(ring, place, 11)
    received(ring, place, 50, expires_on=AT.date() - timedelta(days=1))
    received(cup, place, 9)
    received(inner, place, 1)
    received(pin, place, 4)
    received(ring, BinFactory(tray=True), 40)
    today = AT.date()
    found = whole_kits(kit=kit, places=[place], today=today)
    assert (found.whole, found.could_make, found.short) == (3, 2, ((ring, 1),))
    # Promised: one kit whole, and a ring too many to make the second.
    needs = [Need(kit, 1), Need(ring, 4)]
    reserve(needs=needs, places=[place], source_kind="sheet", source_number=1, **told)
    found = whole_kits(kit=kit, places=[place], today=today)
    assert (found.whole, found.could_make, found.short) == (2, 1, ((ring, 1),))
    with pytest.raises(NotAKit):
        whole_kits(kit=ring, places=[place], today=today)
