"""Due after another service: what is fitted, taken out or put right brings its renewals along."""

from datetime import date
from typing import Any
from uuid import uuid4

import pytest

from equipment.models import Component, Due, Exchange, ServiceVersion
from equipment.services import (
    add_stay,
    exchange_component,
    install_component,
    rebuild_all,
    record_renewal,
    remove_component,
    undo_exchange,
    undo_renewal,
)
from tests.equipment.factories import ZONE, SprayRig, day, service_for, shelf_component, spray_rig

pytestmark = pytest.mark.django_db

NO_DATE = 9999


@pytest.fixture
def rig(db: None) -> SprayRig:
    return spray_rig()


@pytest.fixture
def rebuild(rig: SprayRig) -> ServiceVersion:
    return service_for(rig.pump("A"), ("days", 300), name="pump rebuild", author=rig.author)


@pytest.fixture(autouse=True)
def follows(rig: SprayRig, rebuild: ServiceVersion) -> ServiceVersion:
    """The gun is looked at five days after a pump of its rig was rebuilt."""
    after = ("after", 5, {"after": rebuild.service})
    return service_for(rig.components["gun"], after, name="look at the gun", author=rig.author)


@pytest.fixture
def spare(rig: SprayRig, rebuild: ServiceVersion) -> Component:
    """A pump on the shelf, rebuilt there on day 20."""
    made = shelf_component(rig.positions["pump A"].kind, tag="spare")
    renew(rig, rebuild, made, 20)
    return made


def renew(rig: SprayRig, version: ServiceVersion, component: Component, number: int) -> Any:
    return record_renewal(
        version=version,
        component=component,
        done_at=day(number),
        author=rig.author,
        recorded_at=day(60),
        zone=ZONE,
    )


def fit(rig: SprayRig, place: str, component: Component | None, number: int) -> None:
    exchange_component(
        position=rig.positions[place],
        component_in=component,
        at=day(number),
        author=rig.author,
        zone=ZONE,
    )


def gun_due(gun: Component) -> date:
    """The gun's date as it is kept, which is what a rebuild from nothing gives."""
    kept = Due.objects.get(component=gun).due_date
    assert rebuild_all(zone=ZONE)[1] == 0
    return kept


def test_a_pump_that_comes_in_brings_its_rebuild_and_takes_it_along(
    rig: SprayRig, spare: Component
) -> None:
    gun = rig.components["gun"]
    assert gun_due(gun).year == NO_DATE
    fit(rig, "pump A", spare, 30)
    assert gun_due(gun) == day(25).date()
    fit(rig, "pump A", rig.pump("A"), 40)
    assert gun_due(gun).year == NO_DATE


def test_so_does_one_that_is_taken_out_and_fitted_in_another_rig(
    rig: SprayRig, spare: Component
) -> None:
    other = spray_rig(author=rig.author, number=2)
    gun, its_gun = rig.components["gun"], other.components["gun"]
    fit(rig, "pump A", spare, 30)
    remove_component(component=spare, at=day(35), author=rig.author, zone=ZONE)
    assert gun_due(gun).year == NO_DATE
    remove_component(component=other.pump("A"), at=day(36), author=rig.author, zone=ZONE)
    install_component(
        component=spare,
        position=other.positions["pump A"],
        at=day(37),
        author=rig.author,
        zone=ZONE,
    )
    assert (gun_due(gun).year, gun_due(its_gun)) == (NO_DATE, day(25).date())


def test_a_gun_that_comes_in_follows_the_pumps_that_it_finds(
    rig: SprayRig, rebuild: ServiceVersion
) -> None:
    renew(rig, rebuild, rig.pump("B"), 20)
    other = shelf_component(rig.positions["gun"].kind, tag="other gun")
    fit(rig, "gun", other, 30)
    assert gun_due(other) == day(25).date()
    assert gun_due(rig.components["gun"]).year == NO_DATE


def test_an_exchange_undone_takes_it_back(rig: SprayRig, spare: Component) -> None:
    fit(rig, "pump A", spare, 30)
    undo_exchange(
        exchange=Exchange.objects.latest("pk"),
        author=rig.author,
        at=day(31),
        reason="other pump",
        request_id=uuid4(),
        zone=ZONE,
    )
    assert gun_due(rig.components["gun"]).year == NO_DATE


def test_a_stay_entered_late_changes_nothing_of_now(rig: SprayRig, spare: Component) -> None:
    add_stay(
        position=rig.positions["pump A"],
        component=spare,
        at=day(30),
        until=day(40),
        author=rig.author,
        recorded_at=day(50),
        reason="was forgotten",
        request_id=uuid4(),
        zone=ZONE,
        was_out=True,
    )
    assert gun_due(rig.components["gun"]).year == NO_DATE


def test_a_rebuild_undone_takes_it_back_in_the_rig_where_the_pump_is_now(
    rig: SprayRig, rebuild: ServiceVersion
) -> None:
    spare = shelf_component(rig.positions["pump A"].kind, tag="spare")
    renewal = renew(rig, rebuild, spare, 20)
    fit(rig, "pump A", spare, 30)
    assert gun_due(rig.components["gun"]) == day(25).date()
    undo_renewal(renewal=renewal, author=rig.author, at=day(31), reason="not done", zone=ZONE)
    assert gun_due(rig.components["gun"]).year == NO_DATE
