"""What drawers should hold: from the due rows of their rigs, and recomputed from what is kept."""

from datetime import timedelta

import pytest
import time_machine

from equipment.models import Due, ServiceVersion, Skill
from inventory.drawer_target import drawer_target, from_figures
from inventory.models import StockAdvice, StockPolicy
from shop.models import Person, Shop
from shop.services.drawer_targets import USUAL_DAYS, kept_in, reckon_drawer_targets, set_target
from shop.services.needs import set_need
from shop.services.turning import turn_shop
from tests.shop.worlds import NOW, TODAY, SheetWorld, sheet_world

pytestmark = pytest.mark.django_db


@pytest.fixture
def world(shop: Shop, manager: Person) -> SheetWorld:
    return sheet_world(shop, manager)


def advice(world: SheetWorld, part: object) -> StockAdvice:
    return StockAdvice.objects.get(part=part, location=world.drawer)  # type: ignore[misc]


def test_what_is_due_for_certain_is_kept_aboard(world: SheetWorld) -> None:
    assert reckon_drawer_targets(shop=world.shop, today=TODAY) == 2
    for part, due in ((world.filter_part, world.oil), (world.kit, world.rebuild)):
        row = advice(world, part)
        assert row.order_up_to_steps >= 1
        assert row.reckoned_on == TODAY
        (need,) = row.figures["needs"]
        assert need[0] == 1.0  # past due: certain
        assert due.version.service.name in need[2]
        assert row.figures["days"] == USUAL_DAYS  # no job is booked


def test_every_number_is_that_of_its_figures(world: SheetWorld) -> None:
    reckon_drawer_targets(shop=world.shop, today=TODAY)
    for row in StockAdvice.objects.all():
        target = drawer_target(from_figures(row.figures))
        assert target.steps == row.order_up_to_steps == row.figures["target_steps"]


def test_what_is_on_a_sheet_has_its_parts_there(world: SheetWorld) -> None:
    world.draft(world.oil)
    reckon_drawer_targets(shop=world.shop, today=TODAY)
    assert not StockAdvice.objects.filter(part=world.filter_part).exists()
    assert StockAdvice.objects.filter(part=world.kit).exists()


def test_what_a_bigger_service_stands_for_is_not_asked_for_twice(world: SheetWorld) -> None:
    Due.objects.filter(pk=world.oil.pk).update(bigger_date=TODAY)
    reckon_drawer_targets(shop=world.shop, today=TODAY)
    assert not StockAdvice.objects.filter(part=world.filter_part).exists()


def test_reckoned_again_there_is_one_row_and_the_hand_is_stronger(world: SheetWorld) -> None:
    set_target(
        part=world.kit, drawer=world.drawer, steps=7, reason="two guns",
        review_on=TODAY + timedelta(days=9), author=world.manager, at=NOW,
    )  # fmt: skip
    for _ in range(2):
        assert reckon_drawer_targets(shop=world.shop, today=TODAY) == 2
    policies = dict(
        StockPolicy.objects.filter(location=world.drawer).values_list("part", "by_hand")
    )
    assert policies == {world.kit.pk: True, world.filter_part.pk: False}
    kept = {each.part: each for each in kept_in([world.drawer], today=TODAY)[world.drawer.pk]}
    assert kept[world.kit].target_steps == 7
    assert kept[world.kit].is_by_hand
    assert kept[world.kit].advice is not None
    assert (
        kept[world.filter_part].target_steps == advice(world, world.filter_part).order_up_to_steps
    )
    assert kept[world.seal].target_steps == 0  # lies there, and no service asks for it
    assert kept[world.seal].here_steps == 1


def test_the_turn_of_the_day_reckons_them(world: SheetWorld) -> None:
    with time_machine.travel(NOW, tick=False):
        turn_shop(shop=world.shop, today=TODAY)
    assert advice(world, world.kit).reckoned_on == TODAY


@pytest.mark.parametrize(
    "change",
    [{"labour_minutes": 121}, {"skill": Skill.OUTSIDE}, {"skill": Skill.ELECTRICIAN}],
)
def test_what_is_a_job_for_the_shop_does_not_ride_along(
    world: SheetWorld, change: dict[str, object]
) -> None:
    ServiceVersion.objects.filter(pk=world.rebuild.version_id).update(**change)
    reckon_drawer_targets(shop=world.shop, today=TODAY)
    assert advice(world, world.kit).order_up_to_steps == 0
    assert advice(world, world.filter_part).order_up_to_steps >= 1
    kept = {each.part: each for each in kept_in([world.drawer], today=TODAY)[world.drawer.pk]}
    assert kept[world.kit].why_text("$").endswith("full rebuild is a job for the shop.")


def test_what_lies_in_a_kit_aboard_is_not_kept_a_second_time(world: SheetWorld) -> None:
    """The kit holds two seals; a service that takes three asks for one more beside it."""
    set_need(service=world.oil.version.service, part=world.seal, quantity_steps=3)
    reckon_drawer_targets(shop=world.shop, today=TODAY)
    assert advice(world, world.kit).order_up_to_steps == 1
    seal = advice(world, world.seal)
    assert (seal.figures["in_kit_steps"], seal.order_up_to_steps) == (2, 1)
    assert drawer_target(from_figures(seal.figures)).steps == 3
