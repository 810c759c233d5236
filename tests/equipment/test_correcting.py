"""A reading corrected in one step, and a counter that counted something else."""

from decimal import Decimal
from typing import Any
from uuid import uuid4

import pytest
from django.core.exceptions import ValidationError

from equipment.models import Due, Reading
from equipment.services import (
    AlreadyReversed,
    CounterRefused,
    LaterContradicts,
    NewReading,
    NothingCorrected,
    SameMoment,
    change_counter,
    correct_reading,
    create_counter,
    rebuild_all,
    retire_counter,
    reverse_reading,
)
from equipment.services.refusals import AfterTheCount
from tests.equipment.factories import ZONE, SprayRig, day, service_for, spray_rig

pytestmark = pytest.mark.django_db


@pytest.fixture
def rig(db: None) -> SprayRig:
    return spray_rig()


def correct(rig: SprayRig, reading: Reading, **said: Any) -> Reading:
    new = {"value": reading.value, "step": reading.step, "before_reset": reading.before_reset}
    told = {name: said.pop(name) for name in (*new, "face_start") if name in said}
    return correct_reading(
        **{
            "reading": reading,
            "new": NewReading(reading.counter, **{**new, **told}),
            "at": reading.at,
            "is_day_only": reading.is_day_only,
            "author": rig.author,
            "recorded_at": day(100),
            "reason": "misread",
            "request_id": uuid4(),
            "zone": ZONE,
            **said,
        }
    )


def test_the_value_before_a_reset_settles_the_bound_and_the_dates(rig: SprayRig) -> None:
    pump = rig.pump("A")
    service_for(pump, ("strokes", 5000), author=rig.author)
    rig.read(day(10), a=3000)
    (hidden,) = rig.read(day(20), a=NewReading(rig.counters["a"], Decimal(100), "reset"))
    rig.read(day(30), a=1000)
    due = Due.objects.get(component=pump)
    assert (due.since, due.is_at_least, due.is_past_due) == (4000, True, False)
    correct(rig, hidden, before_reset=Decimal(4100))
    due.refresh_from_db()
    assert (due.since, due.is_at_least, due.is_past_due) == (5100, False, True)
    assert rebuild_all(zone=ZONE)[1] == 0


def test_both_rows_stay_and_sent_twice_it_counts_once(rig: SprayRig) -> None:
    (wrong,) = rig.read(day(10), a=3000)
    number = uuid4()
    rows = [correct(rig, wrong, value=Decimal(2000), request_id=number) for _ in range(2)]
    assert rows[0] == rows[1]
    assert [
        (row.value, row.is_in_force, row.reverses_id is not None)
        for row in Reading.objects.order_by("pk")
    ] == [(3000, False, False), (3000, False, True), (2000, True, False)]
    assert rig.life("pump A", "strokes") == 2000
    # The twin: another number is another correction, of what is taken back already.
    with pytest.raises(AlreadyReversed):
        correct(rig, wrong, value=Decimal(2000))


def test_its_day_may_have_been_wrong(rig: SprayRig) -> None:
    rig.read(day(10), a=3000)
    (wrong,) = rig.read(day(20), a=5000)
    correct(rig, wrong, at=day(15))
    assert [row.at for row in Reading.objects.of(rig.counters["a"])] == [day(10), day(15)]
    assert rebuild_all(zone=ZONE)[1] == 0
    with pytest.raises(SameMoment):
        correct(rig, Reading.objects.of(rig.counters["a"])[1], at=day(10))


def test_what_cannot_be_true_beside_the_others_leaves_all_as_it_was(rig: SprayRig) -> None:
    (wrong,) = rig.read(day(10), a=3000)
    rig.read(day(20), a=5000)
    before = list(Reading.objects.order_by("pk").values())
    with pytest.raises(LaterContradicts):
        correct(rig, wrong, value=Decimal(6000))
    with pytest.raises(NothingCorrected):
        correct(rig, wrong)
    assert list(Reading.objects.order_by("pk").values()) == before


# --- what a counter counts ------------------------------------------------------------------------


def change(rig: SprayRig, which: str, **fields: Any) -> Any:
    counter = rig.counters[which]
    counter.refresh_from_db()
    kept = ("name", "counts", "side", "kind", "display_step", "rollover")
    kept = (*kept, "is_resettable", "max_per_minute")
    values = {field: getattr(counter, field) for field in kept}
    return change_counter(counter=counter, zone=ZONE, **{**values, **fields})


def test_cycles_taken_for_strokes_are_put_right_from_the_start(rig: SprayRig) -> None:
    service_for(rig.pump("A"), ("strokes", 5000), author=rig.author)
    rig.read(day(10), a=3000, b=3000)
    assert not Due.objects.get(component=rig.pump("A")).is_past_due
    change(rig, "a", counts="cycles")
    assert rig.life("pump A", "strokes") == 6000
    assert rig.life("gun", "gallons") == 600  # a displacement is that of what is counted
    assert Due.objects.get(component=rig.pump("A")).is_past_due
    rig.read(day(20), a=3100)
    assert rig.life("pump A", "strokes") == 6200
    change(rig, "a", counts="strokes")
    assert rig.life("pump A", "strokes") == 3100
    assert rebuild_all(zone=ZONE)[1] == 0


@pytest.mark.parametrize(
    ("fields", "field"),
    [({"counts": "hours"}, "counts"), ({"counts": "gallons"}, "counts"), ({"side": "B"}, "side")],
)
def test_what_was_read_cannot_become_something_else(
    rig: SprayRig, fields: dict[str, str], field: str
) -> None:
    change(rig, "a", **fields)  # never read: it may
    change(rig, "a", counts="strokes", side="A")
    rig.read(day(10), a=3000)
    with pytest.raises(CounterRefused, match="Retire it and add another") as refused:
        change(rig, "a", **fields)
    assert refused.value.field == field
    assert rig.life("pump A", "strokes") == 3000


def test_a_counter_never_read_drives_what_it_is_said_to_count(rig: SprayRig) -> None:
    change(rig, "a", side="B", name="B again")
    assert not rig.pump("A").wear.filter(measure="strokes").exists()
    change(rig, "a", side="A", name="A strokes")
    rig.read(day(10), a=3000)
    assert rig.life("pump A", "strokes") == 3000


def test_a_face_starts_again_where_readings_allow_it(rig: SprayRig) -> None:
    rig.read(day(10), a=3000)
    with pytest.raises(CounterRefused, match="it cannot show 3,000"):
        change(rig, "a", rollover=Decimal(3000))
    change(rig, "a", rollover=Decimal(10_000))
    rig.read(day(20), a=NewReading(rig.counters["a"], Decimal(500), "rollover"))
    assert rig.life("pump A", "strokes") == 10_500
    with pytest.raises(CounterRefused, match="starts again somewhere"):
        change(rig, "a", rollover=None)
    change(rig, "a", rollover=Decimal(100_000))
    assert rig.life("pump A", "strokes") == 100_500
    with pytest.raises(ValidationError):
        change(rig, "a", name="B strokes")


def test_the_display_step_says_what_is_too_fast(rig: SprayRig) -> None:
    rig.read(day(0), hours=0)
    rig.read(day(10), hours=100)
    change(rig, "hours", display_step=Decimal(1))
    ten_minutes_later = day(10).replace(minute=10)
    # Worked by hand: a face of whole hours may have been about to turn at the first reading.
    rig.read(ten_minutes_later, hours=101)
    reading = Reading.objects.of(rig.counters["hours"]).last()
    assert reading is not None
    with pytest.raises(ValueError, match=r"2 hours in 10 min is more than the clock allows"):
        correct(rig, reading, value=Decimal(102))


# --- its end --------------------------------------------------------------------------------------


def test_retired_its_lives_stay_and_another_goes_on(rig: SprayRig) -> None:
    pump = rig.pump("A")
    (last,) = rig.read(day(10), a=3000)
    with pytest.raises(CounterRefused, match="was read later than that"):
        retire_counter(counter=rig.counters["a"], at=day(9), zone=ZONE)
    retire_counter(counter=rig.counters["a"], at=day(12), zone=ZONE)
    with pytest.raises(CounterRefused, match="retired already"):
        retire_counter(counter=rig.counters["a"], at=day(13), zone=ZONE)
    assert rig.life("pump A", "strokes") == 3000
    # One of the same name takes over.
    new = create_counter(
        rig=rig.rig, name="A strokes", counts="strokes", started_at=day(12), zone=ZONE
    )
    rig.counters["new"] = new
    rig.read(day(20), new=700)
    assert rig.life("pump A", "strokes") == 3700
    # Nobody read it when it was retired: what it counted since the tenth is not known.
    assert pump.wear.get(measure="strokes").is_estimated
    # What was read of the old one may still be corrected, and nothing newer is read of it.
    correct(rig, last, value=Decimal(2900))
    assert rig.life("pump A", "strokes") == 3600
    with pytest.raises(ValueError, match="no longer in use") as refused:
        rig.read(day(21), a=3100)
    assert isinstance(next(iter(refused.value.errors.values())), AfterTheCount)  # type: ignore[attr-defined]
    assert rebuild_all(zone=ZONE)[1] == 0


def test_a_reset_typed_twice_is_one(rig: SprayRig) -> None:
    rig.read(day(10), a=3000)
    reset = NewReading(rig.counters["a"], Decimal(5), "reset", Decimal(3100))
    rows = [rig.read(day(11), a=reset)[0] for _ in range(2)]
    assert rows[0] == rows[1]
    with pytest.raises(ValueError, match="at that time exists"):
        rig.read(day(11), a=NewReading(rig.counters["a"], Decimal(5), "reset", Decimal(3200)))
    reverse_reading(
        reading=rows[0],
        author=rig.author,
        at=day(12),
        reason="x",
        request_id=uuid4(),
        zone=ZONE,
    )
    assert rig.life("pump A", "strokes") == 3000
