"""A service put off: what its kept row says until that day, after a reading, and once it ends."""

from datetime import date, datetime
from decimal import Decimal
from uuid import uuid4

import pytest
from django.db.models import QuerySet

from equipment.models import Due, Postponement, ServiceVersion
from equipment.services import postpone, rebuild_all, record_renewal
from equipment.services.postponing import take_off
from tests.equipment.factories import ZONE, SprayRig, day, service_for, spray_rig, steady

pytestmark = pytest.mark.django_db


@pytest.fixture
def rig() -> SprayRig:
    """Read on 25 January, 20 days after the start: 300 strokes a day."""
    made = spray_rig()
    made.read(day(20), a=6000)
    return made


def rebuild(rig: SprayRig) -> ServiceVersion:
    return service_for(rig.pump("A"), ("strokes", 5000), tolerance_percent=Decimal(10))


def rows(rig: SprayRig) -> QuerySet[Due]:
    return Due.objects.filter(component=rig.pump("A"))


def put_off(rig: SprayRig, version: ServiceVersion, *, at: datetime, until: date) -> Postponement:
    return postpone(
        component=rig.pump("A"),
        service=version.service,
        until=until,
        reason="waiting for the seal",
        author=rig.author,
        at=at,
        today=at.date(),
        request_id=uuid4(),
        zone=ZONE,
    )


def test_what_is_past_is_past_no_longer_while_put_off_and_readings_keep_it_so(
    rig: SprayRig,
) -> None:
    version = rebuild(rig)
    assert rows(rig).get().is_past_tolerance
    until = date(2026, 2, 10)
    put_off(rig, version, at=day(21), until=until)
    for strokes in (6000, 6900):
        if strokes > 6000:
            rig.read(day(23), a=strokes)
        row = rows(rig).get()
        assert (row.postponed_to, row.due_date, row.late_date) == (until, until, until)
        assert (row.is_past_due, row.is_past_tolerance) == (False, False)
        assert row.since == strokes
    assert rebuild_all(zone=ZONE)[1] == 0


def test_a_date_later_than_the_day_put_off_to_stands(rig: SprayRig) -> None:
    """12,000 strokes: (12,000 − 6,000) / 300 = 20 days -> 14 February."""
    steady(rig.counters["a"], 300)
    version = service_for(rig.pump("A"), ("strokes", 12_000))
    put_off(rig, version, at=day(21), until=date(2026, 2, 1))
    assert rows(rig).get().due_date == date(2026, 2, 14)


def test_taken_off_its_own_dates_stand_again(rig: SprayRig) -> None:
    version = rebuild(rig)
    before = rows(rig).values("due_date", "late_date", "is_past_due", "is_past_tolerance").get()
    row = put_off(rig, version, at=day(21), until=date(2026, 2, 10))
    take_off(postponement=row, author=rig.author, at=day(22), zone=ZONE)
    assert rows(rig).values(*before).get() == before
    assert rows(rig).get().postponed_to is None


def test_a_renewal_ends_it(rig: SprayRig) -> None:
    version = rebuild(rig)
    put_off(rig, version, at=day(21), until=date(2026, 9, 10))
    record_renewal(
        component=rig.pump("A"),
        version=version,
        done_at=day(22),
        author=rig.author,
        recorded_at=day(22),
        zone=ZONE,
    )
    row = rows(rig).get()
    assert row.postponed_to is None
    assert row.due_date < date(2026, 9, 10)
    assert rebuild_all(zone=ZONE)[1] == 0
