"""One life from one history: however it is split, in whatever order it comes, however often."""

from datetime import timedelta
from decimal import Decimal
from random import Random
from typing import Any
from uuid import UUID, uuid4

import pytest
from django.db import transaction
from hypothesis import Phase, given, settings
from hypothesis import strategies as st

from equipment.counters import FaceReading, ReadingRefused, gain, totals
from equipment.models import Component, Counter, Due, Reading, Wear
from equipment.services import (
    NewReading,
    PastReading,
    add_stay,
    correct_reading,
    create_counter,
    exchange_component,
    rebuild_all,
    record_history,
    record_readings,
    reverse_reading,
    undo_exchange,
)
from tests.equipment.factories import (
    START,
    ZONE,
    SprayRig,
    day,
    service_for,
    shelf_component,
    spray_rig,
)
from tests.equipment.test_kept_rows import kept
from tests.equipment.test_stays import everything

FACE = 10_000
#: What happens between two readings: how much was counted, what was done to the face, what of it
#: was seen, and what the face began with.
HAPPENINGS = st.lists(
    st.tuples(
        st.integers(0, 4000),
        st.sampled_from(["continued", "reset", "replaced"]),
        st.booleans(),
        st.integers(0, 500),
        st.integers(0, 100),
    ),
    min_size=1,
    max_size=9,
)
database = settings(
    max_examples=15, deadline=None, phases=(Phase.explicit, Phase.reuse, Phase.generate)
)


def readings_of(history: list[tuple[int, str, bool, int, int]]) -> tuple[list[FaceReading], int]:
    """What the face showed after each happening, and what was counted that somebody could know."""
    face, known, readings = 0, 0, []
    for place, (amount, step, is_seen, start, after) in enumerate(history, start=1):
        at = START + timedelta(days=place)
        if step == "continued":
            rolls = face + amount >= FACE
            face = (face + amount) % FACE
            known += amount
            readings.append(FaceReading(at, Decimal(face), "rollover" if rolls else "continued"))
            continue
        # Counted up to the change, then the rest on the face as it is since.
        before = min(face + amount, FACE - 1)
        known += (before - face if is_seen else 0) + after
        begins = start if step == "replaced" else 0
        face = begins + after
        readings.append(
            FaceReading(
                at,
                Decimal(face),
                step,
                Decimal(before) if is_seen else None,
                Decimal(begins) if step == "replaced" else None,
            )
        )
    return readings, known


# --- numbers alone --------------------------------------------------------------------------------


@given(HAPPENINGS, st.randoms(use_true_random=False))
def test_any_mix_in_any_order_adds_up_to_what_could_be_known(history: Any, dice: Random) -> None:
    readings, known = readings_of(history)
    mixed = list(readings)
    dice.shuffle(mixed)
    counted = totals(mixed, start=Decimal(0), rollover=Decimal(FACE))
    assert counted[-1].total == known
    lives = [each.total for each in counted]
    assert lives == sorted(lives)
    hidden = [step != "continued" and not is_seen for _, step, is_seen, _, _ in history]
    assert [each.at_least for each in counted] == [
        any(hidden[: place + 1]) for place in range(len(hidden))
    ]


@given(HAPPENINGS, st.data())
def test_split_by_one_more_reading_it_is_the_same_life(history: Any, data: st.DataObject) -> None:
    readings, known = readings_of(history)
    place = data.draw(st.integers(0, len(readings) - 1))
    last = readings[place]
    before = readings[place - 1].value if place else Decimal(0)
    highest = {"continued": last.value, "rollover": Decimal(FACE - 1)}.get(
        last.step, last.before_reset if last.before_reset is not None else before
    )
    between = data.draw(st.integers(int(before), int(highest)))
    split = FaceReading(last.at - timedelta(hours=1), Decimal(between))
    counted = totals([*readings, split], start=Decimal(0), rollover=Decimal(FACE))
    if last.before_reset is None and last.step in ("reset", "replaced"):
        # Somebody saw more of what a reset hid: the bound is nearer to the truth.
        assert counted[-1].total == known + between - before
    else:
        assert counted[-1].total == known


@given(st.integers(0, FACE - 1), st.integers(0, FACE - 1), st.integers(0, FACE - 1))
def test_a_bound_is_never_above_the_truth_that_comes_to_light(
    before: int, unseen: int, after: int
) -> None:
    at = START + timedelta(days=1)
    bound, _ = gain(
        previous=Decimal(before), current=FaceReading(at, Decimal(after), "reset"), rollover=None
    )
    told = FaceReading(at, Decimal(after), "reset", Decimal(before + unseen))
    truth, is_bound = gain(previous=Decimal(before), current=told, rollover=None)
    assert bound <= truth
    assert not is_bound


# --- and in the database --------------------------------------------------------------------------


def counter_of(rig: SprayRig) -> Counter:
    return create_counter(
        rig=rig.rig,
        name="C side strokes",
        counts="strokes",
        rollover=Decimal(FACE),
        started_at=START,
        side="A",
        order=0,
        zone=ZONE,
    )


def new(counter: Counter, face: FaceReading) -> NewReading:
    return NewReading(counter, face.value, face.step, face.before_reset, face.face_start)


def record(rig: SprayRig, counter: Counter, face: FaceReading, number: UUID) -> list[Reading]:
    return record_readings(
        rig=rig.rig,
        readings=[new(counter, face)],
        at=face.at,
        recorded_at=day(100),
        author=rig.author,
        request_id=number,
        zone=ZONE,
    )


@pytest.mark.django_db
@database
@given(history=HAPPENINGS, dice=st.randoms(use_true_random=False))
def test_in_any_order_and_twice_the_database_keeps_the_same_life(
    history: Any, dice: Random
) -> None:
    readings, known = readings_of(history)
    with transaction.atomic():
        rig = spray_rig()
        counter = counter_of(rig)
        pump = rig.pump("A")
        service_for(pump, ("strokes", 5000), author=rig.author)
        numbers = {face.at: uuid4() for face in readings}
        waiting = list(readings)
        dice.shuffle(waiting)
        while waiting:
            # What asks a question now ("was it reset?") has its answer once the rest is there.
            refused = []
            for face in waiting:
                try:
                    record(rig, counter, face, numbers[face.at])
                    record(rig, counter, face, numbers[face.at])
                    record(rig, counter, face, uuid4())  # typed once more: it is there
                except ReadingRefused:
                    refused.append(face)
            assert len(refused) < len(waiting), refused
            waiting = refused
        counter.refresh_from_db()
        assert counter.total == known
        assert pump.wear.get(measure="strokes").life == known
        assert Reading.objects.in_force().filter(counter=counter).count() == len(readings)
        due = Due.objects.get(component=pump)
        assert (due.since, due.is_past_due) == (known, known >= 5000)
        assert rebuild_all(zone=ZONE)[1] == 0
        there = kept()
        # And all at once, as an import brings it: nothing is new.
        past = [PastReading(new(counter, face), face.at, uuid4()) for face in readings]
        dice.shuffle(past)
        made = record_history(readings=past, recorded_at=day(100), author=rig.author, zone=ZONE)
        assert made == []
        assert kept() == there
        transaction.set_rollback(True)


@pytest.mark.django_db
@database
@given(history=HAPPENINGS, data=st.data())
def test_a_reading_taken_back_and_put_again_changes_nothing(
    history: Any, data: st.DataObject
) -> None:
    readings, _ = readings_of(history)
    with transaction.atomic():
        rig = spray_rig()
        counter = counter_of(rig)
        service_for(rig.pump("A"), ("strokes", 5000), author=rig.author)
        for face in readings:
            record(rig, counter, face, uuid4())
        before = kept()
        place = data.draw(st.integers(0, len(readings) - 1))
        wrong = Reading.objects.of(counter)[place]
        try:
            reverse_reading(
                reading=wrong,
                author=rig.author,
                at=day(100),
                reason="misread",
                request_id=uuid4(),
                zone=ZONE,
            )
        except ReadingRefused:
            assert kept() == before  # the rest could not be true without it, and nothing moved
        else:
            assert rebuild_all(zone=ZONE)[1] == 0
            record(rig, counter, readings[place], uuid4())
            after = kept()
            for name in before.keys() - {"readings"}:
                assert after[name] == before[name], name
            assert len(after["readings"]) == len(before["readings"])
        transaction.set_rollback(True)


PLACES = ("gun", "pump A")
ACTS = st.lists(
    st.tuples(
        st.sampled_from(["exchange", "empty", "stay", "undo"]),
        st.sampled_from(PLACES),
        st.integers(1, 40),
        st.integers(1, 15),
        st.integers(0, 9),
    ),
    min_size=1,
    max_size=8,
)


@pytest.mark.django_db
@database
@given(acts=ACTS)
def test_whatever_is_exchanged_late_or_undone_no_use_is_lost_or_counted_twice(acts: Any) -> None:
    """What wore in a position adds up to what its counter counted while something sat there."""
    with transaction.atomic():
        rig = spray_rig()
        for number in range(1, 9):
            rig.read(day(number * 5), a=number * 1000, b=number * 1000)
        spares = {
            place: [
                shelf_component(rig.positions[place].kind, tag=f"{place}-{n}") for n in range(2)
            ]
            for place in PLACES
        }
        for act in acts:
            try:
                happen(rig, spares, act)
            except ValueError:
                continue  # refused in plain words
        assert rebuild_all(zone=ZONE)[1] == 0
        for place, measure, each in (("gun", "gallons", 200), ("pump A", "strokes", 1000)):
            position = rig.positions[place]
            stays = position.installations.order_by("installed_at")
            fitted = sum(
                (min(row.removed_at or day(40), day(40)) - min(row.installed_at, day(40)))
                / timedelta(days=1)
                for row in stays
            )
            of_kind = Component.objects.filter(type__kind=position.kind, installations__in=stays)
            # What came in and out at one moment has worn by nothing, and keeps no row.
            worn = Wear.objects.filter(component__in=of_kind, measure=measure)
            lives = sum(worn.values_list("life", flat=True))
            assert abs(float(lives) - fitted * each / 5) < 0.01
        transaction.set_rollback(True)


def happen(rig: SprayRig, spares: dict[str, list[Component]], act: Any) -> None:
    verb, place, since, long, which = act
    who = {"author": rig.author, "zone": ZONE}
    position = rig.positions[place]
    spare = Component.objects.get(pk=spares[place][which % 2].pk)
    if verb in ("exchange", "empty"):
        coming = spare if verb == "exchange" else None
        exchange_component(position=position, component_in=coming, at=day(since), **who)
    elif verb == "stay":
        add_stay(
            position=position,
            component=spare,
            at=day(since),
            until=day(since + long),
            recorded_at=day(100),
            reason="told late",
            request_id=uuid4(),
            was_out=True,
            **who,
        )
    else:
        done = list(position.exchanges.in_force().order_by("pk"))[1:]  # never the first fitting
        if not done:
            return
        before = everything()
        try:
            undo_exchange(
                exchange=done[which % len(done)],
                at=day(100),
                reason="wrong",
                request_id=uuid4(),
                **who,
            )
        except ValueError:
            assert everything() == before
            raise


# --- the show case --------------------------------------------------------------------------------


@pytest.mark.django_db
def test_a_pump_moved_twice_with_resets_on_the_way_has_the_right_life() -> None:
    """Worked by hand, beside each step."""
    one = spray_rig()
    two = spray_rig(author=one.author, number=2)
    pump = one.pump("A")

    def move(where: SprayRig, component: Component | None, at: Any, **read: Any) -> None:
        if read:
            where.read(at, **read)
        exchange_component(
            position=where.positions["pump A"],
            component_in=component,
            at=at,
            author=one.author,
            zone=ZONE,
        )

    def life() -> tuple[Decimal, bool]:
        wear = pump.wear.get(measure="strokes")
        return wear.life, wear.is_at_least

    one.read(day(10), a=4000)  # 4,000
    one.read(day(12), a=NewReading(one.counters["a"], Decimal(500), "reset", Decimal(4600)))
    assert life() == (5100, False)  # + 600 before the reset and 500 after it
    move(two, None, day(15))
    move(one, None, day(15), a=900)  # + 400
    two.read(day(20), a=7000)  # of the other rig, while the pump lies on the bench
    assert life() == (5500, False)
    move(two, pump, day(20))
    two.read(day(25), a=8200)  # + 1,200
    (hidden,) = two.read(day(30), a=NewReading(two.counters["a"], Decimal(300), "reset"))
    assert life() == (7000, True)  # + 300, and whatever was counted before that reset
    move(two, None, day(32), a=350)  # + 50
    one.read(day(40), a=2000)
    move(one, pump, day(40))
    one.read(day(50), a=2600)  # + 600
    assert life() == (7650, True)
    correct_reading(
        reading=hidden,
        new=NewReading(two.counters["a"], Decimal(300), "reset", Decimal(8950)),
        at=hidden.at,
        is_day_only=False,
        author=one.author,
        recorded_at=day(60),
        reason="the crew had noted the last value",
        request_id=uuid4(),
        zone=ZONE,
    )
    assert life() == (8400, False)  # + the 750 that nobody had seen
    assert rebuild_all(zone=ZONE)[1] == 0
