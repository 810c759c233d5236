"""What due rows count from: found by the random shops of `dueoracle`, each held here by itself."""

from datetime import date, timedelta

import pytest

from equipment.models import Component, Due, ServiceVersion
from equipment.services import exchange_component, rebuild_all, record_renewal
from tests.equipment.factories import (
    START,
    ZONE,
    SprayRig,
    day,
    service_for,
    shelf_component,
    spray_rig,
)

pytestmark = pytest.mark.django_db


@pytest.fixture
def rig(db: None) -> SprayRig:
    return spray_rig()


@pytest.fixture
def flush(rig: SprayRig) -> ServiceVersion:
    """A pump is flushed after ten days without use."""
    return service_for(rig.pump("A"), ("idle", 10), name="flush", author=rig.author)


def fit(rig: SprayRig, component: Component | None, number: int, *, place: str = "pump A") -> None:
    exchange_component(
        position=rig.positions[place],
        component_in=component,
        at=day(number),
        author=rig.author,
        zone=ZONE,
    )


def due_on(component: Component, version: ServiceVersion) -> date:
    """Its date as it is kept, which is what a rebuild from nothing gives."""
    kept = Due.objects.get(component=component, version=version).due_date
    assert rebuild_all(zone=ZONE)[1] == 0
    return kept


def on(number: int) -> date:
    return day(number).astimezone(ZONE).date()


def test_what_was_never_used_is_idle_since_it_came(rig: SprayRig, flush: ServiceVersion) -> None:
    assert due_on(rig.pump("A"), flush) == on(10)
    rig.read(day(3), a=0)
    assert due_on(rig.pump("A"), flush) == on(10)
    rig.read(day(4), a=500)
    assert due_on(rig.pump("A"), flush) == on(14)


def test_on_the_shelf_its_days_without_use_run_on(rig: SprayRig, flush: ServiceVersion) -> None:
    pump = rig.pump("A")
    rig.read(day(4), a=500)
    rig.read(day(6), a=500)
    fit(rig, None, 7)
    rig.read(day(9), a=500)
    assert due_on(pump, flush) == on(14)


def test_a_spare_was_not_used_by_what_the_rig_did_before_it_came(
    rig: SprayRig, flush: ServiceVersion
) -> None:
    spare = shelf_component(rig.positions["pump A"].kind, tag="spare")
    rig.read(day(6), a=500)
    fit(rig, spare, 6)
    assert due_on(spare, flush) == on(10)
    rig.read(day(8), a=700)
    assert due_on(spare, flush) == on(18)


def test_a_service_done_on_the_day_that_another_follows_it_is_followed(rig: SprayRig) -> None:
    """Moments count, not days: in the afternoon of the day on which the shop got the service."""
    rebuild = service_for(rig.pump("A"), ("days", 300), name="rebuild", author=rig.author)
    follows = service_for(
        rig.components["gun"], ("after", 5, {"after": rebuild.service}), author=rig.author
    )
    record_renewal(
        version=rebuild,
        component=rig.pump("A"),
        done_at=START + timedelta(hours=5),
        author=rig.author,
        recorded_at=START + timedelta(hours=5),
        zone=ZONE,
    )
    assert due_on(rig.components["gun"], follows) == on(5)


def test_reading_one_side_alone_leaves_nothing_for_a_rebuild(rig: SprayRig) -> None:
    """While both sides were never read together, a side is not worth what its last reading says."""
    fit(rig, None, 2, place="pump B")
    rig.read(day(3), a=300)
    fit(rig, rig.pump("B"), 4, place="pump B")
    rig.read(day(5), a=400)
    assert rebuild_all(zone=ZONE)[1] == 0
