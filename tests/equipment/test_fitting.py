"""Exchanges keep lives, and a component is in one place at a time."""

from collections.abc import Callable
from datetime import timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction

from equipment.models import Component, Due, Installation, WearSource
from equipment.services import (
    AlreadyFitted,
    ComponentRetired,
    NothingFitted,
    OverlapsAnother,
    PositionTaken,
    RemovedBeforeFitted,
    WearPlan,
    WrongKind,
    WrongSide,
    create_counter,
    create_type,
    exchange_component,
    install_component,
    lay_up_rig,
    rebuild_all,
    remove_component,
    retire_component,
    return_rig,
)
from tests.equipment.factories import (
    START,
    ZONE,
    InstallationFactory,
    PositionFactory,
    PumpFactory,
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
def spare(rig: SprayRig) -> Component:
    return shelf_component(rig.positions["pump A"].kind, tag="PU-11")


def exchange(rig: SprayRig, place: str, component: Component | None, at: Any) -> Any:
    return exchange_component(
        position=rig.positions[place],
        component_in=component,
        at=at,
        author=rig.author,
        zone=ZONE,
        reason="worn",
    )


def install(rig: SprayRig, place: str, component: Component, at: Any = START) -> Installation:
    return install_component(
        component=component,
        position=rig.positions[place],
        at=at,
        author=rig.author,
        zone=ZONE,
    )


# --- lives --------------------------------------------------------------------------------------


def test_an_exchange_keeps_the_life_of_both(rig: SprayRig, spare: Component) -> None:
    old = rig.pump("A")
    rig.read(day(10), a=1000)
    exchange(rig, "pump A", spare, day(10))
    rig.read(day(20), a=1700)
    assert old.wear.get(measure="strokes").life == 1000
    assert spare.wear.get(measure="strokes").life == 700
    assert not spare.wear.get(measure="strokes").is_estimated
    # And back again, with the life it had.
    exchange(rig, "pump A", old, day(20))
    rig.read(day(30), a=2000)
    assert old.wear.get(measure="strokes").life == 1300
    assert rebuild_all(zone=ZONE)[1] == 0


def test_an_exchange_between_readings_is_interpolated_and_marked_as_estimated(
    rig: SprayRig, spare: Component
) -> None:
    rig.read(day(10), a=1000)
    exchange(rig, "pump A", spare, day(14))
    rig.read(day(20), a=2000)
    # 1,000 + 4/10 of the 1,000 strokes between the two readings.
    old = rig.pump("A").wear.get(measure="strokes")
    assert (old.life, old.is_estimated) == (1400, True)
    new = spare.wear.get(measure="strokes")
    assert (new.life, new.is_estimated) == (600, True)


def test_the_next_reading_settles_what_was_fitted_or_taken_out_after_the_last(
    rig: SprayRig, spare: Component
) -> None:
    rig.read(day(10), a=1000)
    exchange(rig, "pump A", None, day(10))
    install(rig, "pump A", spare, day(14))
    rig.read(day(20), a=2000)
    assert spare.wear.get(measure="strokes").life == 600
    exchange(rig, "pump A", None, day(22))
    rig.read(day(30), a=3000)
    # And 2/10 of the thousand that followed.
    assert spare.wear.get(measure="strokes").life == 800
    assert rebuild_all(zone=ZONE)[1] == 0


def test_an_exchange_may_be_dated_back_behind_readings(rig: SprayRig, spare: Component) -> None:
    rig.read(day(10), a=1000)
    rig.read(day(20), a=2000)
    exchange(rig, "pump A", spare, day(10))
    assert spare.wear.get(measure="strokes").life == 1000
    assert rig.life("pump A", "strokes") == 1000
    assert rebuild_all(zone=ZONE)[1] == 0


def test_a_bigger_pump_moves_more_through_the_gun_from_its_day_on(rig: SprayRig) -> None:
    bigger = shelf_component(rig.positions["pump A"].kind, tag="PU-12")
    bigger.type = create_type(
        kind=bigger.type.kind, name="Pump, 46.2 in³", displacement_in3=Decimal("46.2")
    )
    bigger.save()
    rig.read(day(10), a=1000, b=1000)
    exchange(rig, "pump A", bigger, day(10))
    rig.read(day(20), a=2000, b=2000)
    # Before: 2 × 1,000 × 0.1. After: 1,000 × 0.2 + 1,000 × 0.1.
    assert rig.life("gun", "gallons") == 200 + 300
    assert bigger.wear.get(measure="gallons").life == 200


def test_a_counter_that_comes_later_drives_from_then_on(rig: SprayRig) -> None:
    rig.read(day(10), hours=50)
    pump = rig.components["generator"]
    rig.counters["own"] = create_counter(
        component=pump,
        name="Hours on the plate",
        counts="hours",
        first_value=Decimal(700),
        started_at=day(10),
        zone=ZONE,
    )
    rig.read(day(20), hours=100, own=710)
    # Its own counter counts: 50 + 10, not 50 + 50.
    assert pump.wear.get(measure="hours").life == 60


def test_strokes_of_a_counter_of_cycles_count_double(rig: SprayRig, spare: Component) -> None:
    cycles = create_counter(
        rig=rig.rig, name="A cycles", counts="cycles", started_at=START, order=0, zone=ZONE
    )
    exchange(rig, "pump A", spare, day(1))
    sources = WearSource.objects.filter(installation__component=spare, measure="strokes")
    assert [(row.counter, row.per_count) for row in sources] == [(cycles, 2)]


def test_a_person_may_say_what_drives_a_wear(rig: SprayRig, spare: Component) -> None:
    exchange_component(
        position=rig.positions["pump A"],
        component_in=spare,
        at=START,
        author=rig.author,
        zone=ZONE,
        wear=[WearPlan("strokes", rig.counters["b"])],
    )
    rig.read(day(1), a=100, b=70)
    assert [(row.measure, row.life) for row in spare.wear.all()] == [("strokes", 70)]


# --- due rows -----------------------------------------------------------------------------------


def test_the_one_fitted_is_listed_and_the_one_removed_is_kept_unlisted(
    rig: SprayRig, spare: Component
) -> None:
    service_for(rig.pump("A"), ("strokes", 10_000))
    exchange(rig, "pump A", spare, day(1))
    fitted = Due.objects.get(component=spare)
    assert (fitted.is_listed, fitted.rig_number, fitted.position) == (
        True,
        1,
        rig.positions["pump A"],
    )
    removed = Due.objects.get(component=rig.pump("A"))
    assert (removed.is_listed, removed.rig, removed.rig_number) == (False, None, 0)


def test_a_rig_laid_up_leaves_the_due_list_and_comes_back(rig: SprayRig) -> None:
    service_for(rig.pump("A"), ("strokes", 10_000))
    lay_up_rig(rig=rig.rig, today=day(1).date(), zone=ZONE)
    assert not Due.objects.listed().exists()
    assert rebuild_all(zone=ZONE)[1] == 0
    return_rig(rig=rig.rig, today=day(2).date(), zone=ZONE)
    assert Due.objects.listed().count() == Due.objects.count() == 2


def test_a_retired_component_has_no_due_rows(rig: SprayRig, spare: Component) -> None:
    service_for(spare, ("strokes", 10_000))
    retire_component(component=spare, zone=ZONE)
    assert not Due.objects.filter(component=spare).exists()
    with pytest.raises(ComponentRetired):
        exchange(rig, "pump A", spare, day(1))
    with pytest.raises(AlreadyFitted):
        retire_component(component=rig.pump("A"), zone=ZONE)


# --- one place at a time ------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("act", "error", "says"),
    [
        (
            lambda rig, spare: install(rig, "pump B", rig.pump("A"), day(1)),
            WrongSide,
            "that carried isocyanate does not go to the B side",
        ),
        (
            lambda rig, spare: install(rig, "pump A", spare, day(1)),
            PositionTaken,
            "1-pump A is fitted there",
        ),
        (
            lambda rig, spare: exchange(rig, "gun", spare, day(1)),
            WrongKind,
            "this position is for a Spray gun",
        ),
        (
            lambda rig, spare: exchange(rig, "pump A", rig.pump("A"), day(1)),
            AlreadyFitted,
            "is fitted in rig 01 Trailer 1, Proportioning pump A",
        ),
        (
            lambda rig, spare: exchange(rig, "pump A", spare, day(-1)),
            RemovedBeforeFitted,
            "it cannot come out before that",
        ),
    ],
)
def test_what_cannot_be_fitted_is_refused_in_plain_words(
    rig: SprayRig,
    spare: Component,
    act: Callable[[SprayRig, Component], Any],
    error: type[Exception],
    says: str,
) -> None:
    before = list(Installation.objects.order_by("pk").values())
    if error is WrongSide:
        remove_component(component=rig.pump("A"), at=day(1), author=rig.author, zone=ZONE)
        remove_component(component=rig.pump("B"), at=day(1), author=rig.author, zone=ZONE)
        before = list(Installation.objects.order_by("pk").values())
    with pytest.raises(error, match=says):
        act(rig, spare)
    assert list(Installation.objects.order_by("pk").values()) == before


def test_a_component_in_another_rig_is_refused(rig: SprayRig) -> None:
    other = spray_rig(author=rig.author, number=2)
    remove_component(component=other.pump("A"), at=day(1), author=rig.author, zone=ZONE)
    with pytest.raises(AlreadyFitted, match="rig 01 Trailer 1"):
        install(other, "pump A", rig.pump("A"), day(1))


def test_a_stay_that_would_overlap_an_older_one_is_refused(rig: SprayRig, spare: Component) -> None:
    exchange(rig, "pump A", spare, day(5))
    exchange(rig, "pump A", rig.pump("A"), day(9))
    other = spray_rig(author=rig.author, number=2)
    remove_component(component=other.pump("A"), at=day(1), author=rig.author, zone=ZONE)
    with pytest.raises(OverlapsAnother, match="until 14 Jan 2026, 06:00"):
        install(other, "pump A", spare, day(7))
    assert install(other, "pump A", spare, day(9))


def test_an_empty_position_has_nothing_to_take_out(rig: SprayRig) -> None:
    exchange(rig, "pump A", None, day(1))
    with pytest.raises(NothingFitted):
        exchange(rig, "pump A", None, day(2))
    with pytest.raises(NothingFitted):
        remove_component(component=rig.pump("A"), at=day(2), author=rig.author, zone=ZONE)


@pytest.mark.parametrize("shared", ["component", "position"])
def test_the_database_refuses_two_places_for_one_component_and_two_in_one_place(
    shared: str,
) -> None:
    first = InstallationFactory()
    fields = {"component": PumpFactory(), "position": PositionFactory()}
    second = Installation(
        installed_at=START + timedelta(days=1),
        author=first.author,
        **{**fields, shared: getattr(first, shared)},
    )
    with pytest.raises(ValidationError):
        second.full_clean()
    with pytest.raises(IntegrityError), transaction.atomic():
        second.save()
    # Twin: with the first one closed both are content.
    first.removed_at, first.removed_by = START, first.author
    first.save()
    second.full_clean()
    second.save()


def test_a_removal_says_who(rig: SprayRig) -> None:
    row = Installation.objects.first()
    assert row is not None
    row.removed_at = day(1)
    with pytest.raises(IntegrityError), transaction.atomic():
        row.save()
