"""A renewal never makes a date earlier than without it: on the rows that the services keep.

The pure functions have their own properties (test_combining.py, test_triggers.py); here are a
whole rig, services that include each other, planned and floating, put off and wanted sooner.
"""

from datetime import date
from decimal import Decimal
from typing import Any
from uuid import uuid4

import pytest
from django.db import transaction
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from equipment.due import FAR_DATE
from equipment.models import Due, DueClock, Renewal, Service, ServiceVersion
from equipment.services import bring_forward, postpone, rebuild_all, record_renewal
from tests.equipment.factories import ZONE, SprayRig, day, service_for, spray_rig, steady

pytestmark = pytest.mark.django_db

#: Read last on this day.
READ = 40
#: Each includes the one before it.
NAMES = ("seals", "packing", "rebuild")

by_time = st.tuples(st.just("days"), st.integers(1, 200)) | st.tuples(
    st.just("months"), st.integers(1, 9)
)
by_use = st.tuples(st.just("strokes"), st.integers(500, 40_000))
asked = st.tuples(
    by_time,
    st.none() | by_use,
    st.sampled_from(["first", "all"]),
    st.sampled_from(Service.Renews.values),
    st.sampled_from([Decimal(0), Decimal(10), Decimal(50)]),
)
#: What, of which service, how many days after the one before it or to the day said; and how many
#: days late a renewal is entered.
happenings = st.lists(
    st.tuples(
        st.sampled_from(["renew", "renew", "put off", "wanted"]),
        st.sampled_from(NAMES),
        st.integers(1, 120),
        st.integers(0, 90),
    ),
    min_size=1,
    max_size=6,
)


@pytest.fixture
def rig(db: None) -> SprayRig:
    rig = spray_rig()
    steady(rig.counters["a"], 300)
    rig.read(day(READ), a=300 * READ)
    return rig


def published(rig: SprayRig, services: list[tuple[Any, ...]]) -> dict[str, ServiceVersion]:
    made: dict[str, ServiceVersion] = {}
    for name, (time, use, rule, renews, early) in zip(NAMES, services, strict=True):
        made[name] = service_for(
            rig.pump("A"),
            *(each for each in (time, use) if each),
            name=name,
            author=rig.author,
            includes=[list(made.values())[-1].service] if made else [],
            rule=rule,
            renews=renews,
            early_percent=early,
        )
    return made


def rows(rig: SprayRig) -> dict[str, Due]:
    found = Due.objects.filter(component=rig.pump("A")).select_related("version__service")
    return {row.version.service.name: row for row in found}


def clocks(rig: SprayRig) -> dict[tuple[str, str], date]:
    found = DueClock.objects.filter(due__component=rig.pump("A"))
    names = found.values_list("due__version__service__name", "measure", "due_date")
    return {(name, measure): due_date for name, measure, due_date in names}


@settings(
    max_examples=25,
    deadline=None,
    phases=(Phase.explicit, Phase.reuse, Phase.generate),
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
@given(services=st.lists(asked, min_size=3, max_size=3), happened=happenings)
def test_with_a_renewal_nothing_is_due_sooner_than_without(
    rig: SprayRig, services: list[tuple[Any, ...]], happened: list[tuple[str, str, int, int]]
) -> None:
    """What a person put off or wanted sooner ends with the renewal; then it is compared with what
    its own clocks said, since neither is an interval."""
    with transaction.atomic():
        versions = published(rig, services)
        today = READ
        for verb, name, number, late in happened:
            before, before_by_clock = rows(rig), clocks(rig)
            word: dict[str, Any] = {
                "component": rig.pump("A"),
                "service": versions[name].service,
                "reason": "waiting for the seal",
                "author": rig.author,
                "at": day(today),
                "request_id": uuid4(),
                "zone": ZONE,
            }
            if verb == "put off":
                until = day(today + number).date()
                postpone(today=day(today).date(), until=until, **word)
                assert rows(rig)[name].due_date >= min(until, before[name].brought_on)
                continue
            if verb == "wanted":
                # The newest word counts: it may be later than the one that stood.
                wanted = day(today + number).date()
                bring_forward(due_on=wanted, **word)
                assert rows(rig)[name].due_date <= wanted
                continue
            today += number
            renewal = record_renewal(
                version=versions[name],
                component=rig.pump("A"),
                done_at=day(max(today - late, 1)),
                author=rig.author,
                recorded_at=day(today),
                zone=ZONE,
            )
            after, after_by_clock = rows(rig), clocks(rig)
            for key, due_date in before_by_clock.items():
                assert after_by_clock[key] >= due_date, (name, key)
            for other, row in before.items():
                if row.postponed_to is None and row.brought_on == FAR_DATE:
                    assert after[other].due_date >= row.due_date, (name, other)
            done = {name, *NAMES[: NAMES.index(name)]}
            renewed = Renewal.objects.filter(pk__gte=renewal.pk)
            assert set(renewed.values_list("version__service__name", flat=True)) == done
        assert rebuild_all(zone=ZONE)[1] == 0
        transaction.set_rollback(True)
