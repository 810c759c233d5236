"""The dated snapshot of what counters gain in a day of use, and what jobs ahead ask."""

from datetime import date, timedelta
from decimal import Decimal

import pytest
from django.core.management import call_command
from django.db import connection
from django.test.utils import CaptureQueriesContext

from equipment.models import JobBooking, UsageRate
from equipment.services import book_job, retire_counter
from equipment.services.usage import asked_ahead, renew_usage, usage_of
from shop.models import Shop
from tests.equipment.factories import ZONE, SprayRig, day, spray_rig

pytestmark = pytest.mark.django_db

#: Four weeks of Monday to Friday away, 500 strokes a day; idle at weekends.
WEEKS = 4
FIRST = date(2026, 1, 5)
TODAY = FIRST + timedelta(days=7 * WEEKS)


def worked(made: SprayRig, *, a_day: int = 500, weeks: int = WEEKS) -> None:
    for week in range(weeks):
        monday = FIRST + timedelta(days=7 * week)
        book_job(
            rig=made.rig,
            job=f"Job {week}",
            first_day=monday,
            last_day=monday + timedelta(days=4),
            author=made.author,
            today=monday,
            zone=ZONE,
        )
        for count in range(5):
            made.read(day(7 * week + count, hour=10), a=a_day * (5 * week + count + 1))


def test_the_rate_of_a_booked_day_and_the_share_of_a_free_one() -> None:
    made = spray_rig()
    worked(made)
    renew_usage(today=TODAY, zone=ZONE)
    hours, a, b = usage_of(rig=made.rig)
    assert (hours.counter.name, a.counter.name, b.counter.name) == (
        "Generator hours",
        "A strokes",
        "B strokes",
    )
    assert hours.rate is None
    assert b.drift is None
    assert a.rate is not None
    assert a.rate.mean == pytest.approx(500, rel=0.1)
    assert a.share < 0.1
    assert a.rate.own_days == pytest.approx(20, abs=1.5)
    assert a.drift is not None
    # 10,000 strokes from Monday morning to the fourth Friday, 25.4 days later.
    assert a.drift.drift_per_day == pytest.approx(10_000 / 25.4, rel=0.02)


def test_a_rig_without_readings_begins_from_its_fleet() -> None:
    worked(spray_rig(number=1), a_day=400)
    worked(spray_rig(number=2), a_day=600)
    new = spray_rig(number=3)
    renew_usage(today=TODAY, zone=ZONE)
    use = usage_of(rig=new.rig)[1]
    assert use.rate is not None
    assert (use.rate.fleet_rigs, use.rate.own_days) == (2, 0)
    # Two rigs say little of how rigs differ: the mean of what is possible lies above the middle.
    assert 500 < use.rate.mean < 600


def test_what_a_job_ahead_asks() -> None:
    made = spray_rig()
    worked(made)
    book_job(
        rig=made.rig,
        job="Barn",
        first_day=TODAY + timedelta(days=2),
        last_day=TODAY + timedelta(days=5),
        author=made.author,
        today=TODAY,
        zone=ZONE,
        intensity=Decimal("1.5"),
    )
    renew_usage(today=TODAY, zone=ZONE)
    # The shop has planned up to the end of that job, no further.
    assert set(UsageRate.objects.values_list("open_from")) == {(TODAY + timedelta(days=6),)}
    jobs = list(JobBooking.objects.filter(last_day__gte=TODAY))
    use = usage_of(rig=made.rig)[1]
    ask = asked_ahead(use=use, jobs=jobs, start=TODAY, until=TODAY + timedelta(days=6))
    assert ask is not None
    assert ask.use_days == pytest.approx(6, abs=0.3)
    assert ask.mean == pytest.approx(3000, rel=0.15)
    assert ask.low < ask.mean < ask.high
    assert asked_ahead(use=use, jobs=jobs, start=TODAY, until=TODAY) is None
    nothing = usage_of(rig=made.rig)[0]
    assert asked_ahead(use=nothing, jobs=jobs, start=TODAY, until=TODAY + timedelta(9)) is None


def test_it_is_worked_out_once_a_day_and_not_with_each_reading() -> None:
    made = spray_rig()
    worked(made)
    renew_usage(today=TODAY, zone=ZONE)
    before = list(UsageRate.objects.order_by("pk").values())
    made.read(day(7 * WEEKS, hour=8), a=20_000)
    with CaptureQueriesContext(connection) as queries:
        usage_of(rig=made.rig)
    assert not any(each["sql"].startswith(("INSERT", "UPDATE")) for each in queries)
    # Even worked out again it is the day's: readings of today come tomorrow.
    assert renew_usage(today=TODAY, zone=ZONE) == 3
    assert list(UsageRate.objects.order_by("pk").values()) == before
    renew_usage(today=TODAY + timedelta(days=1), zone=ZONE)
    tomorrow = usage_of(rig=made.rig)[1]
    assert tomorrow.as_of == TODAY + timedelta(days=1)
    assert tomorrow.rate is not None
    assert tomorrow.rate.mean > 550


def test_a_new_counter_waits_for_the_turn_of_the_day_and_a_retired_one_is_left_out() -> None:
    made = spray_rig()
    worked(made)
    assert usage_of(rig=made.rig) == []
    renew_usage(today=TODAY, zone=ZONE)
    assert len(usage_of(rig=made.rig)) == 3
    retire_counter(counter=made.counters["b"], at=day(7 * WEEKS), zone=ZONE)
    assert len(usage_of(rig=made.rig)) == 2


def test_the_cost_does_not_grow_with_the_rigs() -> None:
    def queries(number: int) -> int:
        worked(spray_rig(number=number), weeks=1)
        with CaptureQueriesContext(connection) as seen:
            renew_usage(today=TODAY, zone=ZONE)
        return len(seen)

    assert queries(1) == queries(2)


def test_the_command_says_how_many(capsys: pytest.CaptureFixture[str], shop: Shop) -> None:
    made = spray_rig()
    worked(made, weeks=1)
    call_command("turn_day")
    assert capsys.readouterr().out == (
        "Rates of 3 counters worked out. Next stays moved on: 1. Kept rows changed: 0.\n"
    )
    assert UsageRate.objects.count() == 3
