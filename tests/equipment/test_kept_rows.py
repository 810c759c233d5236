"""Kept rows are a memory, not a second truth: whatever happens, in whatever order, they are what
a rebuild from nothing gives."""

import json
from datetime import timedelta
from decimal import Decimal
from itertools import chain
from uuid import uuid4

import pytest
from django.db import transaction
from hypothesis import Phase, given, settings
from hypothesis import strategies as st

from equipment.counters import ReadingRefused
from equipment.models import (
    BroughtForward,
    Component,
    Counter,
    Due,
    DueClock,
    Reading,
    Renewal,
    ServiceVersion,
    SideSignal,
    SideWatch,
    Wear,
    WearSource,
)
from equipment.services import (
    CareRefused,
    FittingRefused,
    NewMeasurement,
    NewReading,
    SidesRefused,
    bring_forward,
    create_type,
    exchange_component,
    postpone,
    rebuild_all,
    record_measurements,
    record_renewal,
    reverse_reading,
    take_off,
    undo_renewal,
)
from equipment.services.kept import KEPT_OF_CLOCK, KEPT_OF_DUE
from equipment.services.lives import KEPT_OF_SOURCE, KEPT_OF_WEAR
from equipment.services.sides import KEPT_OF_SIGNAL
from equipment.services.timelines import KEPT_OF_COUNTER, KEPT_OF_READING
from shop.models import Person
from tests.copies import once
from tests.equipment.factories import (
    DISPLACEMENT_IN3,
    START,
    ZONE,
    PersonFactory,
    SprayRig,
    service_for,
    shelf_component,
    spray_rig,
)

pytestmark = pytest.mark.django_db

NAMES = ("hours", "a", "b")
WATCHED = "Oil temperature"
REFUSALS = (ReadingRefused, FittingRefused, CareRefused, SidesRefused)

around = st.integers(-24 * 20, 24 * 4)  # hours from the newest reading of all
whats = st.sampled_from(NAMES)
appends = st.tuples(st.just("append"), st.integers(1, 24 * 6), st.integers(0, 900), st.booleans())
happenings = st.one_of(
    st.tuples(st.just("reset"), st.integers(1, 48), st.integers(0, 40), whats, st.booleans()),
    st.tuples(st.just("late"), around, st.integers(0, 3000), whats),
    st.tuples(st.just("reverse"), st.integers(0, 50)),
    st.tuples(
        st.just("exchange"), around, st.sampled_from(["pump A", "gun", "generator"]), st.booleans()
    ),
    st.tuples(st.just("renew"), around, st.sampled_from(["pump A", "gun", "generator"])),
    st.tuples(st.just("undo"), st.integers(0, 10)),
    st.tuples(st.just("forward"), st.integers(0, 20), st.sampled_from(["pump A", "gun"])),
    st.tuples(st.just("take off"), st.integers(0, 5)),
    st.tuples(st.just("put off"), st.integers(1, 20), st.sampled_from(["pump A", "gun"])),
    st.tuples(
        st.just("measure"),
        st.lists(st.tuples(around, st.integers(0, 40)), min_size=1, max_size=7),
        st.sampled_from(["pump A", "generator"]),
    ),
)


def kept() -> dict[str, set[tuple[object, ...]]]:
    """Every kept row, by what it is about, without its own key."""
    return {
        "counters": set(Counter.objects.values_list("pk", *KEPT_OF_COUNTER)),
        "readings": set(Reading.objects.in_force().values_list("pk", *KEPT_OF_READING)),
        "sources": set(WearSource.objects.values_list("pk", *KEPT_OF_SOURCE)),
        "wear": set(Wear.objects.values_list("component_id", "measure", *KEPT_OF_WEAR)),
        "due": set(Due.objects.values_list("component_id", *KEPT_OF_DUE)),
        "clocks": set(
            DueClock.objects.values_list(
                "due__component_id", "due__version_id", "measure", *KEPT_OF_CLOCK
            )
        ),
        "watches": {(row.rig_id, json.dumps(row.state)) for row in SideWatch.objects.all()},
        "signals": set(SideSignal.objects.values_list("rig_id", *KEPT_OF_SIGNAL)),
    }


def forget() -> None:
    """Leave only what people entered."""
    SideWatch.objects.all().delete()
    SideSignal.objects.all().delete()
    Due.objects.all().delete()
    Wear.objects.all().delete()
    WearSource.objects.update(start_total=0, end_total=None, is_estimated=False)
    Reading.objects.update(total=0, is_at_least=False)
    Counter.objects.update(
        last_value=0, last_at=START, last_is_day_only=False, total=0, is_at_least=False
    )
    Counter.objects.update(rate_per_day=None, moved_at=None)


def build() -> tuple[SprayRig, list[ServiceVersion]]:
    return once(_build, key="kept rows", author=PersonFactory())


def _build(*, author: Person) -> tuple[SprayRig, list[ServiceVersion]]:
    rig = spray_rig(author=author)
    versions = [
        service_for(
            rig.pump("A"),
            ("strokes", 3000),
            ("days", 25),
            ("value", 7, {"watched": WATCHED, "high": Decimal(30)}),
            tolerance_percent=Decimal(10),
            is_rebuild=True,
        ),
        service_for(rig.components["gun"], ("gallons", 250)),
        service_for(
            rig.components["generator"],
            ("hours", 50),
            ("days", 30),
            ("value", 7, {"watched": WATCHED, "low": Decimal(5), "high": Decimal(30)}),
        ),
    ]
    return rig, versions


def spare(rig: SprayRig, place: str) -> Component:
    """One from the shelf; a new pump is of another make, which moves more with each stroke."""
    kind = rig.positions[place].kind
    free = Component.objects.unfitted().filter(type__kind=kind).exclude(side="B").first()
    made = free or shelf_component(kind, tag=f"spare-{Component.objects.count()}")
    if free is None and place == "pump A":
        made.type = create_type(
            kind=kind, name=f"bigger {made.pk}", displacement_in3=DISPLACEMENT_IN3 + made.pk % 3
        )
        made.save()
    return made


def happen(rig: SprayRig, what: tuple) -> None:
    verb, *rest = what
    last = max(Counter.objects.values_list("last_at", flat=True))
    if verb == "append":
        hours, strokes, is_whole = rest
        at = last + timedelta(hours=hours)
        counters = {name: Counter.objects.get(pk=rig.counters[name].pk) for name in NAMES}
        values = {
            "hours": counters["hours"].last_value + Decimal(hours) / 3,
            "a": counters["a"].last_value + strokes,
            "b": counters["b"].last_value + strokes // 2,
        }
        names = NAMES if is_whole else NAMES[:2]
        rig.read(at, **{name: values[name].quantize(Decimal("0.1")) for name in names})
    elif verb == "reset":
        hours, value, name, is_seen = rest
        counter = Counter.objects.get(pk=rig.counters[name].pk)
        before = counter.last_value + 1 if is_seen else None
        at = last + timedelta(hours=hours)
        rig.read(at, **{name: NewReading(counter, Decimal(min(value, hours)), "reset", before)})
    elif verb == "late":
        hours, value, name = rest
        rig.read(last + timedelta(hours=hours), fresh=False, **{name: value})
    elif verb == "reverse":
        readings = list(Reading.objects.in_force().order_by("pk"))
        if readings:
            reverse_reading(
                reading=readings[rest[0] % len(readings)],
                author=rig.author,
                at=last,
                reason="wrong counter",
                request_id=uuid4(),
                zone=ZONE,
            )
    elif verb == "exchange":
        hours, place, is_left_empty = rest
        exchange_component(
            position=rig.positions[place],
            component_in=None if is_left_empty else spare(rig, place),
            at=last + timedelta(hours=hours),
            author=rig.author,
            zone=ZONE,
        )
    elif verb == "renew":
        hours, place = rest
        at = last + timedelta(hours=hours)
        fitted = rig.positions[place].installations.filter(removed_at=None).first()
        component = fitted.component if fitted else rig.components[place]
        version = ServiceVersion.objects.get(service__kind=rig.positions[place].kind)
        record_renewal(
            version=version,
            component=component,
            done_at=at,
            author=rig.author,
            recorded_at=at,
            zone=ZONE,
        )
    elif verb == "forward":
        days, place = rest
        fitted = rig.positions[place].installations.filter(removed_at=None).first()
        bring_forward(
            service=ServiceVersion.objects.get(service__kind=rig.positions[place].kind).service,
            component=fitted.component if fitted else rig.components[place],
            due_on=(last + timedelta(days=days)).date(),
            reason="slips",
            author=rig.author,
            at=last,
            request_id=uuid4(),
            zone=ZONE,
        )
    elif verb == "put off":
        days, place = rest
        fitted = rig.positions[place].installations.filter(removed_at=None).first()
        postpone(
            service=ServiceVersion.objects.get(service__kind=rig.positions[place].kind).service,
            component=fitted.component if fitted else rig.components[place],
            until=(last + timedelta(days=days)).date(),
            reason="waiting for the seal",
            author=rig.author,
            at=last,
            today=last.date(),
            request_id=uuid4(),
            zone=ZONE,
        )
    elif verb == "measure":
        points, place = rest
        record_measurements(
            measured=[
                NewMeasurement(
                    component=rig.components[place],
                    name=WATCHED,
                    unit="°F",
                    value=Decimal(value),
                    at=last + timedelta(hours=hours),
                    request_id=uuid4(),
                )
                for hours, value in points
            ],
            author=rig.author,
            recorded_at=last + timedelta(days=5),
            zone=ZONE,
            source_kind="hand",
        )
    elif verb == "take off":
        rows = list(BroughtForward.objects.order_by("pk"))
        if rows:
            row = rows[rest[0] % len(rows)]
            take_off(brought=row, author=rig.author, at=last, zone=ZONE)
    elif verb == "undo":
        renewals = list(Renewal.objects.in_force().order_by("pk"))
        if renewals:
            undo_renewal(
                renewal=renewals[rest[0] % len(renewals)],
                author=rig.author,
                at=last,
                reason="not done",
                zone=ZONE,
            )


# Not made smaller when it fails: an example is a database's worth of work.
@settings(max_examples=30, deadline=None, phases=(Phase.explicit, Phase.reuse, Phase.generate))
@given(pairs=st.lists(st.tuples(appends, happenings), min_size=1, max_size=10))
def test_whatever_happens_the_kept_rows_are_those_of_a_rebuild_from_nothing(
    pairs: list[tuple[tuple, tuple]],
) -> None:
    with transaction.atomic():
        rig, _ = build()
        for thing in chain.from_iterable(pairs):
            try:
                happen(rig, thing)
            except REFUSALS:
                continue  # refused in plain words, and nothing half-written: checked below
        before = kept()
        forget()
        rebuild_all(zone=ZONE)
        after = kept()
        for name in before:
            assert before[name] == after[name], name
        assert rebuild_all(zone=ZONE)[1] == 0
        transaction.set_rollback(True)
