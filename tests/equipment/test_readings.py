"""Readings through the service: what they move, what is refused, what counts once."""

from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from typing import Any
from uuid import uuid4

import pytest
from django.db import IntegrityError, connection, transaction
from django.test.utils import CaptureQueriesContext

from equipment.counters import InFuture, ReadingRefused, ResetValueTooLow, TooFast, WentDown
from equipment.models import Counter, Due, Reading
from equipment.services import (
    AlreadyReversed,
    BeforeTheCount,
    LaterContradicts,
    NewReading,
    ReadingsRefused,
    SameMoment,
    readings,
    rebuild_all,
    record_reading,
    record_readings,
    reverse_reading,
)
from tests.equipment.factories import ZONE, SprayRig, day, service_for, spray_rig, steady

pytestmark = pytest.mark.django_db


@pytest.fixture
def rig(db: None) -> SprayRig:
    return spray_rig()


def refused(act: Callable[[], Any], name: str, rig: SprayRig) -> ReadingRefused:
    """What was said of one counter, with nothing written."""
    before = Reading.objects.count()
    with pytest.raises(ReadingsRefused) as caught:
        act()
    assert Reading.objects.count() == before
    return caught.value.errors[rig.counters[name].pk]


# --- what a reading moves ---------------------------------------------------------------------


def test_a_reading_moves_lives_and_due_rows(rig: SprayRig) -> None:
    steady(rig.counters["a"], 100)
    service_for(rig.pump("A"), ("strokes", 10_000))
    rig.read(day(10), hours=40, a=1000, b=1200)
    rig.read(day(20), hours=80, a=2000, b=2200)
    assert rig.life("generator", "hours") == 80
    assert rig.life("pump A", "strokes") == 2000
    assert rig.life("pump A", "gallons") == 200  # 2,000 strokes of 23.1 in³ / 231 in³
    assert rig.life("gun", "gallons") == 420  # both sides: (2,000 + 2,200) × 0.1
    row = Due.objects.get(component=rig.pump("A"))
    assert row.since == 2000
    # 8,000 strokes left at 100 a day.
    assert (row.due_date - row.read_on).days == 80


def test_a_life_goes_on_through_a_reset_whose_last_value_was_seen(rig: SprayRig) -> None:
    rig.read(day(5), a=3000)
    rig.read(day(6), a=NewReading(rig.counters["a"], Decimal(200), "reset", Decimal(3400)))
    # 3,000 + (3,400 − 3,000) + 200
    assert rig.life("pump A", "strokes") == 3600
    assert not rig.pump("A").wear.get(measure="strokes").is_at_least


def test_an_unseen_reset_makes_the_life_at_least_down_to_the_due_row(rig: SprayRig) -> None:
    service_for(rig.pump("A"), ("strokes", 10_000))
    service_for(rig.pump("B"), ("days", 30), name="Look over", side="B")
    rig.read(day(5), a=3000, b=3000)
    rig.read(day(6), a=NewReading(rig.counters["a"], Decimal(200), "reset"), b=3100)
    wear = rig.pump("A").wear.get(measure="strokes")
    assert (wear.life, wear.is_at_least) == (3200, True)
    assert Due.objects.get(component=rig.pump("A")).is_at_least
    assert rig.components["gun"].wear.get(measure="gallons").is_at_least
    assert not rig.pump("B").wear.get(measure="strokes").is_at_least
    assert rebuild_all(zone=ZONE)[1] == 0


def test_a_day_only_reading_stands_at_the_end_of_that_day_in_the_shop(rig: SprayRig) -> None:
    # 8 January, 20:00 in Chicago: already the 9th in UTC.
    evening = datetime(2026, 1, 9, 2, 0, tzinfo=UTC)
    row = record_reading(
        counter=rig.counters["a"],
        value=Decimal(500),
        at=evening,
        is_day_only=True,
        recorded_at=day(30),
        author=rig.author,
        request_id=uuid4(),
        zone=ZONE,
    )
    assert row.at == datetime(2026, 1, 8, 23, 59, tzinfo=ZONE)


def test_a_day_only_reading_of_today_stands_at_now(rig: SprayRig) -> None:
    row = record_reading(
        counter=rig.counters["a"],
        value=Decimal(500),
        at=day(3),
        is_day_only=True,
        recorded_at=day(3, hour=1),
        author=rig.author,
        request_id=uuid4(),
        zone=ZONE,
    )
    assert row.at == day(3, hour=1)


def test_a_day_only_reading_is_allowed_the_hours_of_a_day_more(rig: SprayRig) -> None:
    first = day(1)
    rig.read(first, hours=10)

    def again(is_day_only: bool) -> Reading:
        return record_reading(
            counter=rig.counters["hours"],
            value=Decimal(40),
            at=first + timedelta(hours=10),
            is_day_only=is_day_only,
            recorded_at=first + timedelta(hours=10),
            author=rig.author,
            request_id=uuid4(),
            zone=ZONE,
        )

    with pytest.raises(TooFast):
        again(False)  # 30 h in 10 h
    assert again(True).total == 40  # 30 h in 34 h at most


# --- late readings ----------------------------------------------------------------------------


def test_a_late_reading_works_out_anew_what_followed(rig: SprayRig) -> None:
    rig.read(day(10), a=1000)
    rig.read(day(20), a=NewReading(rig.counters["a"], Decimal(50), "reset"))
    assert rig.life("pump A", "strokes") == 1050
    # It showed 1,600 two days before the reset, which nobody had entered yet.
    rig.read(day(18), fresh=False, a=1600)
    assert rig.life("pump A", "strokes") == 1650
    assert [row.total for row in Reading.objects.of(rig.counters["a"])] == [1000, 1600, 1650]
    assert rebuild_all(zone=ZONE)[1] == 0


def test_a_late_reading_that_makes_a_later_one_impossible_is_refused_naming_it(
    rig: SprayRig,
) -> None:
    rig.read(day(10), a=1000)
    rig.read(day(20), a=2000)
    error = refused(lambda: rig.read(day(15), fresh=False, a=2500), "a", rig)
    assert isinstance(error, LaterContradicts)
    assert str(error) == (
        "The next reading, 2,000 on 25 Jan 2026, would then be lower than this one. Check both."
    )


def test_a_late_reading_that_leaves_the_next_one_too_little_time_is_refused(rig: SprayRig) -> None:
    rig.read(day(10), hours=100)
    rig.read(day(11), hours=120)
    error = refused(lambda: rig.read(day(10, hour=20), fresh=False, hours=100), "hours", rig)
    assert isinstance(error, LaterContradicts)
    assert isinstance(error.cause, TooFast)


def test_a_late_reading_lower_than_the_one_before_it_asks(rig: SprayRig) -> None:
    rig.read(day(10), a=1000)
    rig.read(day(20), a=2000)
    error = refused(lambda: rig.read(day(15), fresh=False, a=900), "a", rig)
    assert isinstance(error, WentDown)


# --- what is refused --------------------------------------------------------------------------


def test_a_reading_lower_than_the_last_asks_whether_the_counter_was_reset(rig: SprayRig) -> None:
    rig.read(day(10), a=1000)
    error = refused(lambda: rig.read(day(11), a=400), "a", rig)
    assert isinstance(error, WentDown)
    assert "reset" in str(error)


def test_a_last_value_before_a_reset_below_the_last_reading_is_refused(rig: SprayRig) -> None:
    rig.read(day(10), a=1000)
    new = NewReading(rig.counters["a"], Decimal(5), "reset", Decimal(900))
    assert isinstance(refused(lambda: rig.read(day(11), a=new), "a", rig), ResetValueTooLow)


def test_a_reading_in_the_future_is_refused_but_for_a_clock_that_runs_ahead(rig: SprayRig) -> None:
    def ahead(minutes: int) -> list[Reading]:
        return record_readings(
            rig=rig.rig,
            readings=[NewReading(rig.counters["a"], Decimal(100))],
            at=day(3) + timedelta(minutes=minutes),
            recorded_at=day(3),
            author=rig.author,
            request_id=uuid4(),
            zone=ZONE,
        )

    assert isinstance(refused(lambda: ahead(6), "a", rig), InFuture)
    assert ahead(5)


def test_more_hours_than_the_clock_and_more_strokes_than_the_pump_are_refused(
    rig: SprayRig,
) -> None:
    rig.read(day(1), hours=10, a=100)
    with pytest.raises(ReadingsRefused) as caught:
        # 25 h in a day; 60 strokes a minute are 86,400 a day.
        rig.read(day(2), hours=35, a=100 + 86_402)
    assert {type(error) for error in caught.value.errors.values()} == {TooFast}
    assert len(caught.value.errors) == 2


def test_one_refusal_leaves_the_other_counters_unread_too(rig: SprayRig) -> None:
    rig.read(day(1), hours=10, a=100)
    error = refused(lambda: rig.read(day(2), hours=20, a=50), "a", rig)
    assert isinstance(error, WentDown)
    assert Counter.objects.get(pk=rig.counters["hours"].pk).last_value == 10


def test_a_reading_of_the_same_moment_with_another_value_is_refused(rig: SprayRig) -> None:
    (first,) = rig.read(day(1), a=100)
    assert rig.read(day(1), a=100) == [first]
    error = refused(lambda: rig.read(day(1), a=110), "a", rig)
    assert isinstance(error, SameMoment)
    assert str(error) == "A reading of this counter at that time exists: 100."


@pytest.mark.parametrize(
    ("new", "says"),
    [
        ({"value": Decimal("1.2345")}, "three decimals"),
        ({"value": Decimal("NaN")}, "number like that"),
        ({"value": Decimal(10) ** 12}, "number like that"),
        ({"value": Decimal(-1)}, "below zero"),
        ({"value": Decimal(1), "step": "rollover"}, "never starts again"),
        ({"value": Decimal(1), "step": "replaced"}, "new counter face"),
    ],
)
def test_what_no_counter_shows_is_refused_in_plain_words(
    rig: SprayRig, new: dict[str, Any], says: str
) -> None:
    error = refused(lambda: rig.read(day(2), a=NewReading(rig.counters["a"], **new)), "a", rig)
    assert says in str(error)


def test_a_reading_older_than_the_count_is_refused(rig: SprayRig) -> None:
    error = refused(lambda: rig.read(day(-1), fresh=False, a=0), "a", rig)
    assert isinstance(error, BeforeTheCount)


# --- sent twice -------------------------------------------------------------------------------


def send(rig: SprayRig, request_id: Any, *, on: int = 2) -> Reading:
    return record_readings(
        rig=rig.rig,
        readings=[NewReading(rig.counters["a"], Decimal(300))],
        at=day(on),
        recorded_at=day(9),
        author=rig.author,
        request_id=request_id,
        zone=ZONE,
    )[0]


def test_a_reading_sent_twice_counts_once(rig: SprayRig) -> None:
    request_id = uuid4()
    first = send(rig, request_id)
    # The phone sends again, with its own idea of the time.
    assert send(rig, request_id, on=3) == first
    assert Reading.objects.count() == 1


def test_twin_without_the_look_up_the_database_refuses_it_and_without_the_key_it_counts_twice(
    rig: SprayRig, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(readings, "_sent_before", lambda asked, request_id: {})
    request_id = uuid4()
    send(rig, request_id)
    with pytest.raises(IntegrityError), transaction.atomic():
        send(rig, request_id, on=3)
    send(rig, uuid4(), on=3)
    assert Reading.objects.count() == 2


# --- taken back -------------------------------------------------------------------------------


def take_back(rig: SprayRig, reading: Reading, request_id: Any = None) -> Reading:
    return reverse_reading(
        reading=reading,
        author=rig.author,
        at=day(30),
        reason="wrong rig",
        request_id=request_id or uuid4(),
        zone=ZONE,
    )


def test_a_reading_taken_back_leaves_no_trace_in_lives(rig: SprayRig) -> None:
    service_for(rig.pump("A"), ("strokes", 10_000))
    rig.read(day(10), a=1000)
    before = list(Due.objects.values("since", "due_date", "read_on"))
    (wrong,) = rig.read(day(11), a=9000)
    reversal = take_back(rig, wrong)
    assert (reversal.reverses, reversal.is_in_force) == (wrong, False)
    assert rig.life("pump A", "strokes") == 1000
    assert list(Due.objects.values("since", "due_date", "read_on")) == before
    assert rebuild_all(zone=ZONE)[1] == 0


def test_taking_back_twice_is_refused_and_sent_twice_counts_once(rig: SprayRig) -> None:
    (wrong,) = rig.read(day(10), a=1000)
    request_id = uuid4()
    assert take_back(rig, wrong, request_id) == take_back(rig, wrong, request_id)
    with pytest.raises(AlreadyReversed):
        take_back(rig, wrong)


def test_a_reset_is_not_taken_back_under_what_followed_it(rig: SprayRig) -> None:
    rig.read(day(10), a=1000)
    (reset,) = rig.read(day(11), a=NewReading(rig.counters["a"], Decimal(5), "reset"))
    rig.read(day(12), a=50)
    with pytest.raises(LaterContradicts):
        take_back(rig, reset)
    reset.refresh_from_db()
    assert reset.is_in_force


# --- how much work ----------------------------------------------------------------------------


def queries_of_a_reading(rig: SprayRig, at: datetime, **values: int) -> int:
    with CaptureQueriesContext(
        connection,
    ) as queries:
        rig.read(at, **values)
    return len([q for q in queries if "SAVEPOINT" not in q["sql"]])


def test_a_reading_costs_as_many_queries_after_a_hundred_as_after_two(rig: SprayRig) -> None:
    service_for(rig.pump("A"), ("strokes", 10_000), ("days", 90))
    service_for(rig.components["gun"], ("gallons", 5_000))
    service_for(rig.components["generator"], ("hours", 250))
    rig.read(day(1), hours=5, a=100, b=100)
    rig.read(day(2), hours=10, a=200, b=200)
    few = queries_of_a_reading(rig, day(3), hours=15, a=300, b=300)
    for each in range(4, 104):
        rig.read(day(each), hours=5 * each, a=100 * each, b=100 * each)
    many = queries_of_a_reading(rig, day(104), hours=520, a=10_400, b=10_400)
    assert few == many
    # Earlier sendings, locks of rig, components and counters; rows in; counters, wear, clocks
    # and due rows read and written; the watch of both sides read and written; what lies ahead of
    # the rig (itself, jobs, rates) and what its services include.
    assert many <= 17
