"""What was not listed but ran on is named when it goes out again."""

from typing import Any
from zoneinfo import ZoneInfo

import pytest
import time_machine
from django.urls import reverse

from equipment.services import dues
from shop.models import Role
from tests.shop.pages import world
from tests.shop.pages.test_due import text_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def client(client_as: Any) -> Any:
    with time_machine.travel(world.AT, tick=False):
        yield client_as(Role.MANAGER)


def shelve(component: Any) -> None:
    component.installations.update(removed_at=world.AT, removed_by=world.author())


def test_an_exchange_names_what_fell_due_on_the_shelf(client: Any) -> None:
    rig = world.make_rig(4)
    world.fit(rig, "Gun")
    spare, fresh = (world.fit(world.make_rig(number), "Gun") for number in (5, 6))
    for component, days in ((spare, -3), (fresh, 3)):
        shelve(component)
        world.make_due(component, world.make_service("Gun", "rebuild"), due_date=world.days(days))

    said = text_of(client.get(f"/rigs/4/exchange/{rig.positions.get().pk}/"))

    assert f"{spare.tag}, rebuild: due since 27 Feb" in said
    assert f"{fresh.tag}, rebuild" not in said


@pytest.mark.parametrize(("interval", "is_named"), [(30, True), (4000, False)])
def test_back_at_work_a_rig_says_what_fell_due(client: Any, interval: int, is_named: bool) -> None:
    rig = world.make_rig(4, is_laid_up=True)
    component = world.fit(rig, "Gun")
    version = world.make_service("Gun", "rebuild")
    version.triggers.create(measure="days", interval=interval)
    dues.recompute([component], zone=ZoneInfo("America/Chicago"))

    page = client.post(
        reverse("equipment:change_rig", args=[4]),
        {"name": rig.name, "description": "", "pump_drive": rig.pump_drive},
        follow=True,
    )

    rig.refresh_from_db()
    assert not rig.is_laid_up
    named = f"Fallen due while it was laid up: {component.tag}, rebuild."
    assert (named in text_of(page)) is is_named
