"""From which day the next one counts: the day done, or the planned day that the doing satisfies."""

from datetime import date, datetime, timedelta
from decimal import Decimal
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from equipment.models import Renewal, Service, ServiceVersion
from equipment.services import (
    OneGrid,
    TriggerPlan,
    publish_version,
    record_renewal,
    undo_renewal,
)
from equipment.services.renewing import counting
from tests.equipment.factories import START, ZONE, SprayRig, service_for, shelf_component, spray_rig

pytestmark = pytest.mark.django_db

FIXED = Service.Renews.FIXED


@pytest.fixture
def rig(db: None) -> SprayRig:
    return spray_rig()


def fixed(rig: SprayRig, *triggers: tuple[Any, ...], **more: Any) -> ServiceVersion:
    return service_for(rig.pump("A"), *triggers, author=rig.author, renews=FIXED, **more)


def renew(rig: SprayRig, version: ServiceVersion, on: date, name: str = "pump A") -> Renewal:
    at = datetime(on.year, on.month, on.day, 10, tzinfo=ZONE)
    return record_renewal(
        version=version,
        component=rig.components[name],
        done_at=at,
        author=rig.author,
        recorded_at=at + timedelta(days=800),
        zone=ZONE,
    )


def test_floating_counts_from_the_day_it_was_done(rig: SprayRig) -> None:
    version = service_for(rig.pump("A"), ("days", 90), author=rig.author)
    row = renew(rig, version, date(2026, 4, 28))
    assert (row.counts_from, row.anchor) == (date(2026, 4, 28), None)


def test_fixed_counts_from_the_planned_day(rig: SprayRig) -> None:
    # worked_examples.json, F08, from the day the pump came: 5 January + 90: 5 April, 4 July.
    version = fixed(rig, ("days", 90))
    assert renew(rig, version, date(2026, 4, 18)).counts_from == date(2026, 4, 5)
    assert renew(rig, version, date(2026, 6, 30)).counts_from == date(2026, 7, 4)
    # Done again within that interval, it is still the same planned day.
    assert renew(rig, version, date(2026, 7, 20)).counts_from == date(2026, 7, 4)


def test_its_early_window_says_when_a_doing_is_too_early(rig: SprayRig) -> None:
    # A tenth of 90 days: from 27 March on it counts for 5 April.
    version = fixed(rig, ("days", 90), early_percent=Decimal(10))
    assert renew(rig, version, date(2026, 3, 26)).counts_from == date(2026, 1, 5)
    assert renew(rig, version, date(2026, 3, 27)).counts_from == date(2026, 4, 5)


def test_planned_months_keep_the_end_of_the_month(rig: SprayRig) -> None:
    rig.components["spare"] = shelf_component(
        rig.pump("A").type.kind, tag="late", in_service_on=date(2026, 1, 31)
    )
    version = fixed(rig, ("months", 1))
    rows = [renew(rig, version, date(2026, *on), "spare") for on in ((2, 27), (4, 2), (4, 29))]
    assert [row.counts_from for row in rows] == [
        date(2026, 2, 28),
        date(2026, 3, 31),
        date(2026, 4, 30),
    ]
    assert {row.anchor for row in rows} == {date(2026, 1, 31)}


def test_without_an_interval_of_time_it_counts_from_the_day_done(rig: SprayRig) -> None:
    row = renew(rig, fixed(rig, ("strokes", 10_000)), date(2026, 4, 18))
    assert (row.counts_from, row.anchor) == (date(2026, 4, 18), None)


def test_a_renewal_undone_is_not_counted_from(rig: SprayRig) -> None:
    version = fixed(rig, ("days", 90))
    wrong = renew(rig, version, date(2026, 4, 5))
    undo_renewal(renewal=wrong, author=rig.author, at=START, reason="other pump", zone=ZONE)
    assert renew(rig, version, date(2026, 2, 1)).counts_from == date(2026, 1, 5)


def test_an_older_one_entered_late_counts_from_what_was_before_it(rig: SprayRig) -> None:
    version = fixed(rig, ("days", 90))
    renew(rig, version, date(2026, 7, 4))
    assert renew(rig, version, date(2026, 4, 6)).counts_from == date(2026, 4, 5)


def test_another_interval_goes_on_from_the_last_planned_day(rig: SprayRig) -> None:
    version = fixed(rig, ("days", 90))
    renew(rig, version, date(2026, 4, 6))
    newer = publish_version(
        service=version.service,
        author=rig.author,
        at=START,
        zone=ZONE,
        renews=FIXED,
        triggers=[TriggerPlan("days", Decimal(365))],
    )
    # From 5 April, not from 5 January: the old planned day was satisfied.
    assert renew(rig, newer, date(2026, 4, 20)).counts_from == date(2026, 4, 5)


def test_two_intervals_of_time_have_no_planned_day(rig: SprayRig) -> None:
    with pytest.raises(OneGrid, match="days or months, not both"):
        fixed(rig, ("days", 90), ("months", 3))
    assert not Service.objects.exists()


days_here = st.dates(date(2024, 1, 1), date(2027, 1, 1))


versions = st.tuples(
    st.sampled_from(["fixed", "floating"]),
    st.tuples(st.just("days"), st.integers(1, 400))
    | st.tuples(st.just("months"), st.integers(1, 18)),
)


@given(
    days_here,
    st.lists(st.tuples(versions, st.integers(0, 300)), min_size=1, max_size=5),
    st.sampled_from([Decimal(0), Decimal(10), Decimal(50)]),
)
def test_no_renewal_counts_from_a_day_before_the_one_before_it(
    came_on: date, doings: list[tuple[tuple[str, tuple[str, int]], int]], early_percent: Decimal
) -> None:
    """Whatever the versions in between asked for: without it, the last one would still count."""
    before: Renewal | None = None
    done_on = came_on
    for (renews, (measure, interval)), later in doings:
        done_on += timedelta(days=later)
        version = ServiceVersion(pk=1, renews=renews, early_percent=early_percent)
        version._prefetched_objects_cache = {  # type: ignore[attr-defined]
            "triggers": [TriggerPlan(measure, Decimal(interval))]
        }
        counts_from, anchor = counting(version, done_on=done_on, before=before, came_on=came_on)
        assert counts_from >= (before.counts_from if before else came_on)
        before = Renewal(counts_from=counts_from, anchor=anchor)
