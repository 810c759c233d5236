"""Parts, places and policies as the shop sets them."""

from typing import Any

import pytest

from inventory.models import Location, Part
from inventory.services import (
    NumberTaken,
    PartHasMoved,
    StockRefused,
    change_part,
    create_location,
    create_part,
    set_policy,
)
from tests.inventory.factories import AT, BinFactory, PartFactory, PersonFactory, kit_of, received

pytestmark = pytest.mark.django_db


@pytest.fixture
def by() -> dict[str, Any]:
    return {"author": PersonFactory(), "at": AT}


def test_a_part_is_made_with_its_author_and_time(by: dict[str, Any]) -> None:
    part = create_part(number=" PK-2 ", name="Packing set", category="seals", **by)
    part.refresh_from_db()
    assert (part.number, part.changed_by, part.changed_at) == ("PK-2", by["author"], AT)
    assert part in Part.objects.search("packing")


def test_a_number_is_taken_once(by: dict[str, Any]) -> None:
    create_part(number="PK-2", name="Packing set", **by)
    with pytest.raises(NumberTaken, match="Part PK-2 is there already"):
        create_part(number="PK-2", name="Another", **by)
    other = create_part(number="PK-3", name="Another", **by)
    with pytest.raises(NumberTaken):
        change_part(part=other, number="PK-2", **by)
    create_location(code="K-03", **by)
    with pytest.raises(NumberTaken, match="Place K-03"):
        create_location(code="K-03", **by)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"number": "  "}, "needs a number"),
        ({"number": "x" * 41}, "part number is longer than 40"),
        ({"name": "x" * 121}, "name is longer than 120"),
        ({"usual_cost_cents": -1}, "below zero"),
        ({"steps_per_unit": 0}, "divided into 0 steps"),
        ({"steps_per_unit": 3}, "divided into 3 steps"),
        ({"steps_per_unit": 10, "is_kit": True}, "Kits come whole"),
    ],
)
def test_a_nonsense_part_is_refused(change: dict[str, Any], words: str, by: dict[str, Any]) -> None:
    with pytest.raises(StockRefused, match=words):
        create_part(**{"number": "PK-2", "name": "Packing set", **by, **change})
    assert not Part.objects.exists()


@pytest.mark.parametrize("change", [{"unit_name": "ft"}, {"steps_per_unit": 10}, {"is_kit": True}])
def test_the_unit_is_fixed_once_the_part_has_moved(
    change: dict[str, Any], by: dict[str, Any]
) -> None:
    part = PartFactory()
    change_part(part=part, **change, **by)
    part = PartFactory()
    received(part, BinFactory(), 1)
    with pytest.raises(PartHasMoved, match="has moved: its unit"):
        change_part(part=part, **change, **by)
    renamed = change_part(part=part, name="Renamed", unit_name="piece", **by)
    assert renamed.name == "Renamed"


def test_a_kit_with_lines_stays_a_kit(by: dict[str, Any]) -> None:
    kit, _ = kit_of(seal=1)
    with pytest.raises(StockRefused, match="take them out first"):
        change_part(part=kit, is_kit=False, **by)


def test_a_field_of_no_part_is_a_mistake_of_ours(by: dict[str, Any]) -> None:
    with pytest.raises(TypeError, match="search_key"):
        change_part(part=PartFactory(), search_key="x", **by)


def test_a_place_needs_a_code(by: dict[str, Any]) -> None:
    with pytest.raises(StockRefused, match="needs a code"):
        create_location(code=" ", **by)
    assert create_location(code="04-D2", kind=Location.Kind.DRAWER, **by).kind == "drawer"


def test_a_policy_is_set_over_the_one_before(by: dict[str, Any]) -> None:
    part, drawer = PartFactory(), BinFactory(drawer=True)
    set_policy(part=part, reorder_point_steps=2, order_up_to_steps=6, **by)
    set_policy(part=part, location=drawer, reorder_point_steps=0, order_up_to_steps=1, **by)
    set_policy(part=part, reorder_point_steps=3, order_up_to_steps=6, reason="Autumn", **by)
    assert part.policies.count() == 2
    shop_wide = part.policies.get(location=None)
    assert (shop_wide.reorder_point_steps, shop_wide.reason) == (3, "Autumn")


def test_a_nonsense_policy_is_refused(by: dict[str, Any]) -> None:
    part = PartFactory()
    with pytest.raises(StockRefused, match="at least the reorder point"):
        set_policy(part=part, reorder_point_steps=3, order_up_to_steps=2, **by)
    with pytest.raises(StockRefused, match="below zero"):
        set_policy(part=part, reorder_point_steps=-1, order_up_to_steps=2, **by)
