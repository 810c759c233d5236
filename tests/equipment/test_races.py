"""Two people at once. Each lock has a twin with it taken away, in which something is lost."""

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from decimal import Decimal
from threading import Barrier
from typing import Any
from uuid import uuid4

import pytest
from django.db import connection
from django.db.models import QuerySet

from equipment.models import Counter, Reading
from equipment.services import FittingRefused, exchange_component, rebuild_all
from equipment.services import readings as posting
from tests.equipment.factories import ZONE, SprayRig, day, shelf_component, spray_rig

pytestmark = pytest.mark.django_db(transaction=True)


def at_once(*acts: Callable[[], Any]) -> list[Any]:
    """Run each in a thread with a connection of its own; return what came of it."""
    barrier = Barrier(len(acts))

    def run(act: Callable[[], Any]) -> Any:
        try:
            barrier.wait(timeout=20)
            return act()
        except Exception as error:
            return error
        finally:
            connection.close()

    with ThreadPoolExecutor(len(acts)) as pool:
        return list(pool.map(run, acts))


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


def unlock(monkeypatch: pytest.MonkeyPatch) -> None:
    """Take every row lock away, and let both see the rows before either writes."""
    met = Barrier(2)
    monkeypatch.setattr(QuerySet, "select_for_update", lambda self, **options: self)
    read_wear = posting.advancing._advance_wear

    def wear_together(*given: Any) -> Any:
        met.wait(timeout=20)
        return read_wear(*given)

    monkeypatch.setattr(posting.advancing, "_advance_wear", wear_together)


@pytest.mark.postgresql
def test_twin_without_the_locks_one_of_two_readings_is_lost(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    rig = spray_rig()
    unlock(monkeypatch)
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
