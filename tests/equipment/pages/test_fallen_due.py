"""What was not listed but ran on is named when it goes out again."""

from datetime import timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pytest
import time_machine
from django.urls import reverse

from equipment.services import dues
from shop.models import Role
from tests.equipment.pages.browsing import Page
from tests.shop.pages import world
from tests.shop.pages.test_due import text_of

pytestmark = pytest.mark.django_db
ZONE = ZoneInfo("America/Chicago")


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

    heading = (
        f"Before it goes out: {spare.tag}: 1 service has fallen due. rebuild: due since 27 Feb"
    )
    assert heading in said
    assert f"{fresh.tag}: 1" not in said


def test_a_pump_that_lay_on_the_shelf_for_months_is_asked_about_and_listed_once_fitted(
    client: Any,
) -> None:
    rig = world.make_rig(4)
    spare = world.fit(rig, "Pump", "A")
    spare.installations.update(
        installed_at=world.AT - timedelta(days=200),
        removed_at=world.AT - timedelta(days=150),
        removed_by=world.author(),
    )
    version = world.make_service("Pump", "lubricant change")
    version.triggers.create(measure="days", interval=60)
    dues.recompute([spare], zone=ZONE)
    row = spare.due_rows.get()
    assert (row.is_listed, row.due_date) == (False, spare.in_service_on + timedelta(days=60))
    assert "lubricant change" not in text_of(client.get("/due/?before=all"))

    address = reverse("equipment:exchange", args=[4, rig.positions.get().pk])
    page = client.get(address)
    said = text_of(page)
    link = f"/sheets/new/?component={spare.tag}&amp;due={row.pk}"
    assert f"Before it goes out: {spare.tag}: 1 service has fallen due." in said
    assert f'href="{link}"' in page.content.decode()
    assert "lubricant change" in text_of(client.get(link.replace("&amp;", "&")))
    assert f"{spare.tag}: 1 service has fallen due" in text_of(
        client.get(reverse("equipment:component", args=[spare.tag]))
    )

    # It says so and stops nobody.
    Page(client, "equipment:exchange", 4, rig.positions.get().pk).send(
        component_in=spare.pk, reason="fitted again"
    )

    row.refresh_from_db()
    assert (row.is_listed, row.rig) == (True, rig)
    assert "lubricant change" in text_of(client.get("/due/?before=all"))


@pytest.mark.parametrize("address", ["equipment:change_rig", "equipment:bookings", "shop:rig"])
def test_before_a_laid_up_rig_goes_out_its_pages_say_what_fell_due(
    client: Any, address: str
) -> None:
    rig = world.make_rig(4, is_laid_up=True)
    gun = world.fit(rig, "Gun")
    late = world.make_overdue(gun, world.make_service("Gun", "rebuild"))
    due = world.make_due(gun, world.make_service("Gun", "screens"), due_date=world.days(0))
    world.make_due(gun, world.make_service("Gun", "hose"), due_date=world.days(1))

    page = client.get(reverse(address, args=[4]))

    said = text_of(page)
    assert "Before it goes out: 2 services have fallen due." in said
    assert "1 Gun, rebuild: due since 14 Feb, past its tolerance" in said
    assert "1 Gun, screens: due since 2 Mar" in said
    link = f"/sheets/new/?rig=4&amp;due={late.pk}&amp;due={due.pk}"
    assert f'href="{link}"' in page.content.decode()
    rig.is_laid_up = False
    rig.save()
    # In work it is listed; only who books a job for it is still told.
    told = "Before it goes out" in text_of(client.get(reverse(address, args=[4])))
    assert told is (address == "equipment:bookings")


def test_nothing_is_said_where_nothing_fell_due(client: Any) -> None:
    world.make_due(world.fit(world.make_rig(4, is_laid_up=True), "Gun"), due_date=world.days(1))

    for address in ("equipment:change_rig", "equipment:bookings", "shop:rig"):
        assert "Before it goes out" not in text_of(client.get(reverse(address, args=[4])))


@pytest.mark.parametrize(("interval", "is_named"), [(30, True), (4000, False)])
def test_back_at_work_a_rig_says_what_fell_due(client: Any, interval: int, is_named: bool) -> None:
    rig = world.make_rig(4, is_laid_up=True)
    component = world.fit(rig, "Gun")
    version = world.make_service("Gun", "rebuild")
    version.triggers.create(measure="days", interval=interval)
    dues.recompute([component], zone=ZONE)

    page = client.post(
        reverse("equipment:change_rig", args=[4]),
        {"name": rig.name, "description": "", "pump_drive": rig.pump_drive},
        follow=True,
    )

    rig.refresh_from_db()
    assert not rig.is_laid_up
    named = f"Fallen due while it was laid up: {component.tag}, rebuild."
    assert (named in text_of(page)) is is_named
