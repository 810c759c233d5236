"""Two people at once. Each lock has a twin with it taken away, in which something is lost."""

from collections.abc import Callable
from decimal import Decimal
from typing import Any
from uuid import uuid4

import pytest

from equipment.models import Counter, Reading
from equipment.services import FittingRefused, exchange_component, rebuild_all
from equipment.services import readings as posting
from tests.equipment.factories import ZONE, SprayRig, day, shelf_component, spray_rig
from tests.races import all_meet_in, at_once, without_row_locks

pytestmark = pytest.mark.django_db(transaction=True)


def read_both_at_once(rig: SprayRig) -> None:
    """A and B read at one moment by two people: both move the gun's gallons on."""
    results = at_once(lambda: rig.read(day(10), a=1000), lambda: rig.read(day(10), b=500))
    assert all(isinstance(result, list) for result in results), results


def test_two_readings_at_once_are_both_counted() -> None:
    rig = spray_rig()
    read_both_at_once(rig)
    assert rig.life("gun", "gallons") == 150
    assert rebuild_all(zone=ZONE)[1] == 0


def test_one_reading_sent_twice_at_once_counts_once() -> None:
    rig = spray_rig()
    request_id = uuid4()

    def send() -> Any:
        return posting.record_readings(
            rig=rig.rig,
            readings=[posting.NewReading(rig.counters["a"], Decimal(700))],
            at=day(10),
            recorded_at=day(10),
            author=rig.author,
            request_id=request_id,
            zone=ZONE,
        )

    first, second = at_once(send, send)
    assert first == second
    assert Reading.objects.count() == 1
    assert Counter.objects.get(pk=rig.counters["a"].pk).total == 700


@pytest.mark.postgresql
def test_twin_without_the_locks_one_of_two_readings_is_lost(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    rig = spray_rig()
    without_row_locks(monkeypatch)
    # Both see the rows before either writes.
    all_meet_in(monkeypatch, posting.advancing, "_advance_wear")
    read_both_at_once(rig)
    # Both began from a gun that had seen nothing: the last to write wins.
    assert rig.life("gun", "gallons") in (100, 50)


def test_one_component_goes_into_one_of_two_rigs() -> None:
    first = spray_rig()
    second = spray_rig(author=first.author, number=2)
    spare = shelf_component(first.positions["pump A"].kind, tag="PU-11")

    def into(rig: SprayRig) -> Callable[[], Any]:
        return lambda: exchange_component(
            position=rig.positions["pump A"],
            component_in=spare,
            at=day(1),
            author=rig.author,
            zone=ZONE,
        )

    results = at_once(into(first), into(second))
    assert sum(isinstance(result, FittingRefused) for result in results) == 1, results
    assert spare.installations.count() == 1
    assert rebuild_all(zone=ZONE)[1] == 0
