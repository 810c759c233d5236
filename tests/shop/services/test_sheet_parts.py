"""A sheet's parts: promised whole or as lines, taken to the tray, used, put back where they lay."""

from uuid import uuid4

import pytest

from inventory.models import Balance, Location, Movement, Reservation
from inventory.services import adjust, break_kit, prove
from shop.models import SheetPart
from shop.services.refusals import SheetRefused, UsedMoreThanTaken, UsedNotEntered
from shop.services.sheet_parts import (
    add_part,
    check_used,
    enter_used,
    in_tray,
    reserve_again,
    take_parts,
)
from tests.inventory.factories import BinFactory, received
from tests.shop.services.conftest import Hands
from tests.shop.worlds import NOW, SheetWorld

pytestmark = pytest.mark.django_db


def planned(sheet: object) -> dict[str, tuple[int, int]]:
    """By part number: planned and short."""
    rows = SheetPart.objects.filter(sheet=sheet)
    return {
        number: (steps, short)
        for number, steps, short in rows.values_list("part__number", "planned_steps", "short_steps")
    }


def there(part: object, place: Location) -> int:
    return sum(
        Balance.objects.filter(part=part, location=place).values_list("quantity_steps", flat=True)
    )


def test_a_whole_kit_is_promised_whole(world: SheetWorld) -> None:
    sheet = world.draft(world.rebuild)
    assert planned(sheet) == {world.kit.number: (1, 0)}
    promise = Reservation.objects.get()
    assert (promise.part, promise.location, promise.source_number) == (world.kit, world.bin, 1)


def test_without_a_whole_kit_its_lines_are_promised_and_the_rest_is_short(
    world: SheetWorld,
) -> None:
    """The kit is broken into two seals and both are gone; one lies in the rig's own drawer."""
    who = {"author": world.manager, "at": NOW, "location": world.bin}
    break_kit(kit=world.kit, to_location=world.bin, quantity=1, request_id=uuid4(), **who)
    adjust(part=world.seal, quantity_steps=-2, reason="gone", request_id=uuid4(), **who)
    sheet = world.draft(world.rebuild)
    assert planned(sheet) == {"seal": (2, 1)}
    assert Reservation.objects.get().location == world.drawer
    assert SheetPart.objects.get(sheet=sheet).for_kit == world.kit


def test_what_is_not_there_is_short_until_stock_comes(world: SheetWorld) -> None:
    first = world.draft(world.oil)
    take_parts(sheet=first, author=world.manager, at=NOW, request_id=uuid4())
    other = world.draft(world.rebuild)
    extra = add_to_needs(world, other)
    assert extra == (1, 1)
    received(world.filter_part, world.bin, 1, 1900)
    reserve_again(sheet=other, author=world.manager, at=NOW)
    assert planned(other)[world.filter_part.number] == (1, 0)


def add_to_needs(world: SheetWorld, sheet: object) -> tuple[int, int]:
    """The rebuild needs a filter too from now on."""
    from shop.services.needs import set_need

    set_need(service=world.rebuild.version.service, part=world.filter_part, quantity_steps=1)
    reserve_again(sheet=sheet, author=world.manager, at=NOW)  # type: ignore[arg-type]
    return planned(sheet)[world.filter_part.number]


def test_taking_moves_everything_promised_to_the_tray_once(hands: Hands, world: SheetWorld) -> None:
    request = uuid4()
    for _ in range(2):
        take_parts(sheet=hands.sheet, author=hands.who, at=NOW, request_id=request)
    hands.fresh()
    assert in_tray(hands.sheet) == {world.filter_part.pk: 1, world.kit.pk: 1}
    assert not Reservation.objects.exists()
    assert there(world.kit, world.bin) == 0
    assert prove() == []


def test_sent_under_another_id_it_takes_nothing_more(hands: Hands) -> None:
    hands.take()
    moved = Movement.objects.count()
    hands.take()
    assert Movement.objects.count() == moved


def test_another_rigs_drawer_is_not_touched(hands: Hands, world: SheetWorld) -> None:
    strange = BinFactory(code="02-D1", kind=Location.Kind.DRAWER)
    received(world.seal, strange, 3, 900)
    given = {"author": hands.who, "at": NOW, "quantity_steps": 1}
    with pytest.raises(SheetRefused, match="02-D1 is not a place"):
        add_part(
            sheet=hands.sheet,
            part=world.seal,
            location=strange,
            request_id=uuid4(),
            **given,
        )
    request = uuid4()
    for _ in range(2):
        row = add_part(
            sheet=hands.sheet,
            part=world.seal,
            location=world.drawer,
            request_id=request,
            **given,
        )
    assert (row.planned_steps, there(world.seal, world.drawer)) == (0, 0)
    assert there(world.seal, strange) == 3
    assert in_tray(hands.fresh())[world.seal.pk] == 1


def test_the_newest_figure_counts_and_one_sent_twice_counts_once(hands: Hands) -> None:
    hands.take()
    row = hands.sheet.parts.get(part__number="F-09")
    event = uuid4()
    who = {"author": hands.who, "at": NOW, "recorded_at": NOW}
    enter_used(sheet_part=row, used_steps=1, event_id=event, **who)
    enter_used(sheet_part=row, used_steps=0, event_id=uuid4(), **who)
    enter_used(sheet_part=row, used_steps=1, event_id=event, **who)
    row.refresh_from_db()
    assert (row.used_steps, row.entries.count()) == (0, 2)


def test_without_its_id_the_same_figure_sent_again_would_count_again(hands: Hands) -> None:
    """The twin: an old figure that arrives late would win over the newer one."""
    hands.take()
    row = hands.sheet.parts.get(part__number="F-09")
    who = {"author": hands.who, "at": NOW, "recorded_at": NOW}
    for used in (1, 0, 1):
        enter_used(sheet_part=row, used_steps=used, event_id=uuid4(), **who)
    row.refresh_from_db()
    assert (row.used_steps, row.entries.count()) == (1, 3)


def test_what_lies_in_the_tray_must_be_accounted_for(hands: Hands) -> None:
    hands.take()
    with pytest.raises(UsedNotEntered, match="oil filter"):
        check_used(hands.fresh())


def test_no_more_is_used_than_was_taken(hands: Hands) -> None:
    hands.take()
    hands.use(**{"F-09": 3})
    with pytest.raises(UsedMoreThanTaken, match="oil filter: 3 pieces used, but only 1 piece"):
        check_used(hands.fresh())


def test_what_was_not_used_goes_back_where_it_was_taken_from(
    done: Hands, world: SheetWorld
) -> None:
    add_part(
        sheet=done.sheet,
        part=world.seal,
        location=world.drawer,
        quantity_steps=1,
        author=done.who,
        at=NOW,
        request_id=uuid4(),
    )
    done.use(**{"F-09": 0, "seal": 0})
    done.sign()
    assert there(world.filter_part, world.bin) == 1
    assert there(world.seal, world.drawer) == 1
    assert not Balance.objects.there().filter(location__kind=Location.Kind.TRAY).exists()
    assert prove() == []
