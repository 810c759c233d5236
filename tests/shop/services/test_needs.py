"""What the parts of a service cost is kept where the due list sorts by it."""

import pytest

from equipment.models import Due, Service
from equipment.services import rebuild_all
from inventory.services import change_part
from shop import kits
from shop.models import Shop
from shop.services.needs import drop_need, refresh_kit_cents, set_need
from tests.shop.pages import world

pytestmark = pytest.mark.django_db


@pytest.fixture
def row(shop: Shop) -> Due:
    return world.make_due(world.fit(world.make_rig(4), "Gun"))


def kept(row: Due) -> int:
    """What list and service say, which is the same."""
    row.refresh_from_db()
    assert Service.objects.get(pk=row.version.service_id).kit_cents == row.kit_cents
    return row.kit_cents


def test_the_price_follows_needs_and_usual_costs(row: Due) -> None:
    part = world.make_part("GK-1", usual_cost_cents=21_200)
    other = world.make_part("OR-1", usual_cost_cents=150)
    service = row.version.service

    need = set_need(service=service, part=part, quantity_steps=1)
    set_need(service=service, part=other, quantity_steps=4)
    assert kept(row) == 21_800

    set_need(service=service, part=other, quantity_steps=2)
    assert kept(row) == 21_500

    change_part(part=part, author=world.author(), at=world.AT, usual_cost_cents=20_000)
    assert kept(row) == 20_300

    drop_need(need=need)
    assert kept(row) == 300


def test_the_price_of_the_list_is_that_of_the_bar_of_what_is_picked(row: Due) -> None:
    part = world.make_part("R-1", usual_cost_cents=333, steps_per_unit=1000)
    set_need(service=row.version.service, part=part, quantity_steps=1_502)
    asked = (row.version.service_id, row.rig_id)

    [kit] = kits.stock_for([asked], today=world.TODAY).kits([asked])

    assert kept(row) == kit.cost_cents == 500


def test_refreshing_all_finds_nothing_to_change_a_second_time(row: Due) -> None:
    world.need(row.version, world.make_part("GK-1", usual_cost_cents=21_200))

    assert refresh_kit_cents() == 2
    assert refresh_kit_cents() == 0
    assert kept(row) == 21_200


def test_a_row_that_is_new_costs_what_its_service_costs(shop: Shop) -> None:
    version = world.make_service("Gun")
    version.triggers.create(measure="days", interval=30)
    set_need(
        service=version.service,
        part=world.make_part("GK-1", usual_cost_cents=21_200),
        quantity_steps=1,
    )

    component = world.fit(world.make_rig(4), "Gun")
    rebuild_all(zone=shop.zone)

    assert [row.kit_cents for row in Due.objects.filter(component=component)] == [21_200]
