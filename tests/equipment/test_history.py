"""Many readings at once leave the rows that the same readings leave one by one."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from random import Random
from uuid import UUID, uuid5
from zoneinfo import ZoneInfo

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from equipment.counters import TooFast, WentDown
from equipment.models import Counter, Reading, Rig
from equipment.services import (
    BeforeTheCount,
    HistoryRefused,
    LaterContradicts,
    NewReading,
    PastReading,
    ReadingsRefused,
    SameMoment,
    create_counter,
    create_rig,
    rebuild_all,
    record_history,
    record_readings,
)
from shop.models import Person

pytestmark = pytest.mark.django_db

ZONE = ZoneInfo("America/Chicago")
BEGAN = datetime(2025, 1, 1, 6, 0, tzinfo=UTC)
NOW = datetime(2026, 3, 2, 15, 0, tzinfo=UTC)
NAMES = UUID("5f4f4f55-7a0c-4a5c-8f5b-0c39e1f6a001")


@pytest.fixture
def rig(db: None) -> Rig:
    return create_rig(number=4, name="Kestrel", at=BEGAN)


@pytest.fixture
def counter(rig: Rig) -> Counter:
    return new_counter(rig)


def new_counter(rig: Rig) -> Counter:
    return create_counter(
        rig=rig,
        name=f"Strokes {rig.counters.count()}",
        counts=Counter.Counts.STROKES,
        started_at=BEGAN,
        zone=ZONE,
        max_per_minute=Decimal(70),
    )


def past(counter: Counter, day: int, value: int, step: str = Reading.Step.CONTINUED) -> PastReading:
    new = NewReading(counter, Decimal(value), step)
    return PastReading(
        new=new,
        at=BEGAN + timedelta(days=day),
        request_id=uuid5(NAMES, f"{day} {value} {step}"),
    )


def kept(counter: Counter) -> list[tuple[object, ...]]:
    counter.refresh_from_db()
    state = (counter.total, counter.last_value, counter.last_at, counter.rate_per_day)
    rows = counter.readings.order_by("at").values_list(
        "at", "value", "step", "total", "is_at_least", "is_day_only"
    )
    return [state, (counter.is_at_least,), *rows]


@settings(
    max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(
    steps=st.lists(
        st.tuples(st.integers(0, 5000), st.sampled_from(["continued", "continued", "reset"])),
        min_size=1,
        max_size=8,
    ),
    shuffled=st.randoms(use_true_random=False),
    there=st.integers(0, 8),
)
def test_as_if_they_came_one_by_one(
    rig: Rig, manager: Person, steps: list[tuple[int, str]], shuffled: Random, there: int
) -> None:
    one, other = new_counter(rig), new_counter(rig)
    value, said = 0, []
    for day, (more, step) in enumerate(steps, start=1):
        value = more if step == "reset" else value + more
        said.append((day, value, step))
    for row in (past(one, *each) for each in said):
        record_one(row, manager)

    rows = [past(other, *each) for each in said]
    early, late = rows[there:], rows[:there]
    shuffled.shuffle(late)
    for some in (early, late, rows):  # at last all of them again: each counts once
        record_history(readings=some, recorded_at=NOW, author=manager, zone=ZONE)
    assert kept(other) == kept(one)
    assert rebuild_all(zone=ZONE)[1] == 0


def record_one(row: PastReading, author: Person) -> None:
    record_readings(
        rig=None,
        readings=[row.new],
        at=row.at,
        recorded_at=NOW,
        author=author,
        request_id=row.request_id,
        zone=ZONE,
    )


def refused(manager: Person, *rows: PastReading) -> dict[int, type]:
    with pytest.raises(HistoryRefused) as caught:
        record_history(readings=rows, recorded_at=NOW, author=manager, zone=ZONE)
    return {place: type(error) for place, error in caught.value.errors.items()}


def test_each_is_judged_beside_those_that_can_be(counter: Counter, manager: Person) -> None:
    found = refused(
        manager,
        past(counter, 1, 9_000),
        past(counter, 2, 8_000),
        past(counter, 3, 9_000_000),
        past(counter, 4, 12_000),
        past(counter, -1, 0),
        past(counter, 4, 12_001),
    )
    assert found == {1: WentDown, 2: TooFast, 4: BeforeTheCount, 5: SameMoment}
    assert not counter.readings.exists()


def test_what_is_there_is_right_and_what_comes_late_must_fit(
    counter: Counter, manager: Person
) -> None:
    def record(*rows: PastReading) -> None:
        record_history(readings=rows, recorded_at=NOW, author=manager, zone=ZONE)

    record(past(counter, 10, 20_000))
    found = refused(
        manager, past(counter, 5, 9_000), past(counter, 6, 21_000), past(counter, 7, 22_000)
    )
    assert found == {1: LaterContradicts, 2: LaterContradicts}
    record(past(counter, 5, 9_000))
    assert [row.total for row in counter.readings.order_by("at")] == [9_000, 20_000]


def test_the_same_pace_is_refused_either_way(counter: Counter, manager: Person) -> None:
    fast = past(counter, 1, 70 * 60 * 24 + 2)
    assert refused(manager, fast) == {0: TooFast}
    with pytest.raises(ReadingsRefused) as caught:
        record_one(fast, manager)
    assert [type(error) for error in caught.value.errors.values()] == [TooFast]


def test_a_rate_does_not_hang_on_the_zone_a_moment_is_written_in(rig: Rig, manager: Person) -> None:
    """Ninety days before 1 May in Chicago lies in winter time: an hour would be lost."""
    rates = []
    for zone in (UTC, ZONE):
        counter = new_counter(rig)
        for day, value in ((20, 5_000), (120, 90_000)):
            row = past(counter, day, value)
            record_one(replace(row, at=row.at.astimezone(zone)), manager)
        counter.refresh_from_db()
        rates.append(counter.rate_per_day)
    assert rates[0] is not None
    assert rates[0] == rates[1]
