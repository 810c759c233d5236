"""The parts that a sheet can meet, as its phone takes them along."""

from typing import Any

import pytest

from inventory.models import PartCode
from shop.services.known_parts import known_parts
from shop.services.needs import set_need
from tests.equipment.factories import service_for
from tests.inventory.factories import BinFactory, PartFactory, received
from tests.shop.worlds import SheetWorld

pytestmark = pytest.mark.django_db


def numbers(world: SheetWorld, **more: Any) -> list[str]:
    return [part.number for part in known_parts(world.draft(world.rebuild), **more).parts]


def test_what_is_needed_comes_first_then_what_lies_at_hand(world: SheetWorld) -> None:
    """Planned; needed by the other services of its kinds; in their kits; in the drawer of its
    rig; in the bins where those lie. What lies or is needed elsewhere it cannot meet."""
    tip = PartFactory(number="TIP-1", name="tip")
    other = service_for(
        world.fleet.components["gun"], ("gallons", 500), name="tip change", author=world.manager
    )
    set_need(service=other.service, part=tip, quantity_steps=1)
    clamp = PartFactory(number="A-CLAMP", name="clamp")
    received(clamp, world.drawer, 1, 100)
    received(PartFactory(number="A-FAR", name="far away"), BinFactory(code="Z-99"), 1, 100)
    assert numbers(world) == [
        world.kit.number,
        "TIP-1",
        world.seal.number,
        "A-CLAMP",
        world.filter_part.number,  # in the bin of the kit
    ]


def test_the_likeliest_are_taken_and_it_is_said_that_there_are_more(world: SheetWorld) -> None:
    sheet = world.draft(world.rebuild)
    assert known_parts(sheet).is_all
    few = known_parts(sheet, most=1)
    assert [part.number for part in few.parts] == [world.kit.number]
    assert not few.is_all


def test_it_asks_the_database_as_often_for_many_parts_as_for_few(
    world: SheetWorld, django_assert_num_queries: Any
) -> None:
    sheet = world.draft()
    for place in range(30):
        part = PartFactory(number=f"N-{place}", name=f"nut {place}")
        PartCode.objects.create(part=part, code=f"400{place}")
        received(part, world.drawer, 1, 100)
    with django_assert_num_queries(7):
        found = known_parts(sheet)
    assert {f"N-{place}" for place in range(30)} <= {part.number for part in found.parts}
