"""Services, versions and renewals, and the due rows that follow from them."""

from datetime import date, timedelta
from decimal import Decimal
from typing import Any
from uuid import uuid4

import pytest
from django.core.exceptions import ValidationError

from equipment.models import Due, DueClock, Renewal, ServiceVersion
from equipment.services import (
    AlreadyUndone,
    CheckPlan,
    DoesNotApply,
    NewReading,
    NotYetDone,
    ServiceRetired,
    TriggerPlan,
    WholeDays,
    create_component,
    install_component,
    publish_version,
    rebuild_all,
    record_renewal,
    remove_component,
    retire_service,
    undo_renewal,
)
from tests.equipment.factories import START, ZONE, SprayRig, day, service_for, spray_rig, steady

pytestmark = pytest.mark.django_db


@pytest.fixture
def rig(db: None) -> SprayRig:
    return spray_rig()


def renew(
    rig: SprayRig, version: ServiceVersion, number: int, *, name: str = "pump A", **more: Any
) -> Renewal:
    done_at = day(number)
    return record_renewal(
        version=version,
        component=rig.components[name],
        done_at=done_at,
        author=rig.author,
        recorded_at=done_at,
        zone=ZONE,
        **more,
    )


def due_of(rig: SprayRig, name: str = "pump A") -> Due:
    return Due.objects.get(component=rig.components[name])


# --- whichever first ----------------------------------------------------------------------------


def test_whichever_trigger_falls_first_leads_worked_by_hand(rig: SprayRig) -> None:
    """Every 250 h, 12,000 strokes or 90 days; tolerance 10 %.

    Read on 25 January, 20 days after the start: 80 h (4 a day), 6,000 strokes (300 a day).
        hours    (250 − 80) / 4        = 42.5 days, from 6 in the morning -> 8 March
        strokes  (12,000 − 6,000) / 300 = 20 days             -> 14 February
        days     5 January + 90                               -> 5 April
    Strokes lead. Tolerance used up: (13,200 − 6,000) / 300 = 24 days -> 18 February.
    """
    steady(rig.counters["hours"], 4)
    steady(rig.counters["a"], 300)
    service_for(
        rig.pump("A"),
        ("hours", 250),
        ("strokes", 12_000),
        ("days", 90),
        tolerance_percent=Decimal(10),
    )
    rig.read(day(20), hours=80, a=6000)
    row = due_of(rig)
    assert (row.measure, row.since, row.rate_per_day) == ("strokes", 6000, 300)
    assert row.read_on == date(2026, 1, 25)
    assert row.due_date == date(2026, 2, 14)
    assert row.late_date == date(2026, 2, 18)
    assert not row.is_past_due
    assert dict(DueClock.objects.filter(due=row).values_list("measure", "due_date")) == {
        "hours": date(2026, 3, 8),
        "strokes": date(2026, 2, 14),
        "days": date(2026, 4, 5),
    }


def test_a_component_never_renewed_counts_its_whole_life(rig: SprayRig) -> None:
    used = create_component(
        type=rig.pump("A").type,
        tag="PU-20",
        in_service_on=date(2025, 6, 1),
        opening_strokes=Decimal(9000),
        at=START,
        zone=ZONE,
    )
    service_for(used, ("strokes", 8000), ("days", 400))
    row = Due.objects.get(component=used)
    assert (row.measure, row.since, row.is_past_due) == ("strokes", 9000, True)
    assert row.clocks.get(measure="days").due_date == date(2026, 7, 6)


def test_where_no_use_is_known_there_is_no_date(rig: SprayRig) -> None:
    service_for(rig.pump("A"), ("strokes", 8000))
    row = due_of(rig)
    assert (row.due_date, row.rate_per_day) == (date(9999, 12, 31), None)


# --- to whom a service applies ------------------------------------------------------------------


def test_a_service_of_a_side_applies_to_that_side_only(rig: SprayRig) -> None:
    service_for(rig.pump("A"), ("days", 28), name="Flush lubricant", side="A")
    assert [row.component for row in Due.objects.all()] == [rig.pump("A")]


def test_a_service_without_trigger_has_no_due_row(rig: SprayRig) -> None:
    version = service_for(rig.pump("A"))
    assert not Due.objects.exists()
    publish_version(
        service=version.service,
        author=rig.author,
        at=day(1),
        zone=ZONE,
        triggers=[TriggerPlan("days", Decimal(30))],
    )
    assert Due.objects.count() == 2


def test_retiring_a_service_removes_its_due_rows(rig: SprayRig) -> None:
    version = service_for(rig.pump("A"), ("days", 28))
    retire_service(service=version.service, zone=ZONE)
    assert not Due.objects.exists()
    with pytest.raises(ServiceRetired):
        publish_version(service=version.service, author=rig.author, at=day(1), zone=ZONE)


# --- versions -----------------------------------------------------------------------------------


def test_a_new_version_moves_due_rows_and_keeps_what_was_renewed(rig: SprayRig) -> None:
    old = service_for(rig.pump("A"), ("strokes", 10_000), ("days", 100))
    rig.read(day(10), a=1000)
    renew(rig, old, 10)
    key = due_of(rig).pk
    new = publish_version(
        service=old.service,
        author=rig.author,
        at=day(11),
        zone=ZONE,
        triggers=[TriggerPlan("days", Decimal(50))],
        checks=[CheckPlan("Rod free of score marks")],
    )
    row = due_of(rig)
    assert (row.pk, row.version, new.version) == (key, new, 2)
    assert row.due_date == date(2026, 1, 15) + timedelta(days=50)
    assert [clock.measure for clock in row.clocks.all()] == ["days"]
    old.refresh_from_db()
    assert not old.is_current
    assert old.triggers.count() == 2
    assert rebuild_all(zone=ZONE)[1] == 0


@pytest.mark.parametrize(
    ("fields", "error"),
    [
        ({"triggers": [TriggerPlan("days", Decimal("1.5"))]}, WholeDays),
        ({"triggers": [TriggerPlan("strokes", Decimal(0))]}, ValidationError),
        ({"tolerance_percent": Decimal(101)}, ValidationError),
        ({"tolerance_percent": Decimal(5), "is_hard_limit": True}, ValidationError),
        ({"checks": [CheckPlan("Ω", low=Decimal(2), high=Decimal(1))]}, ValidationError),
    ],
)
def test_a_version_out_of_range_is_refused_whole(
    rig: SprayRig, fields: dict[str, Any], error: type[Exception]
) -> None:
    version = service_for(rig.pump("A"), ("days", 28))
    with pytest.raises(error):
        publish_version(
            service=version.service,
            author=rig.author,
            at=day(1),
            zone=ZONE,
            **{"triggers": [TriggerPlan("days", Decimal(10))], **fields},
        )
    assert list(version.service.versions.values_list("version", "is_current")) == [(1, True)]


# --- renewals -----------------------------------------------------------------------------------


def test_a_renewal_begins_the_clocks_anew(rig: SprayRig) -> None:
    version = service_for(rig.pump("A"), ("strokes", 10_000))
    rig.read(day(10), a=1000)
    renew(rig, version, 10)
    rig.read(day(20), a=2000)
    assert due_of(rig).since == 1000


def test_a_late_reading_moves_the_life_at_an_older_renewal(rig: SprayRig) -> None:
    version = service_for(rig.pump("A"), ("strokes", 10_000))
    rig.read(day(10), a=1000)
    renew(rig, version, 15)
    rig.read(day(20), a=2000)
    # Half-way between 1,000 and 2,000.
    assert due_of(rig).since == 500
    rig.read(day(15), fresh=False, a=1900)
    assert due_of(rig).since == 100
    assert rebuild_all(zone=ZONE)[1] == 0


def test_what_was_not_seen_before_a_renewal_is_forgotten_by_it(rig: SprayRig) -> None:
    version = service_for(rig.pump("A"), ("strokes", 10_000))

    rig.read(day(10), a=1000)
    rig.read(day(11), a=NewReading(rig.counters["a"], Decimal(5), "reset"))
    assert due_of(rig).is_at_least
    renew(rig, version, 11)
    rig.read(day(12), a=50)
    assert not due_of(rig).is_at_least
    assert rig.pump("A").wear.get(measure="strokes").is_at_least
    assert rebuild_all(zone=ZONE)[1] == 0


def test_a_renewal_undone_brings_the_old_date_back(rig: SprayRig) -> None:
    version = service_for(rig.pump("A"), ("strokes", 10_000), ("days", 100))
    rig.read(day(10), a=1000)
    before = Due.objects.values().get(component=rig.pump("A"))
    renewal = renew(rig, version, 12)
    assert Due.objects.values().get(component=rig.pump("A")) != before
    row = undo_renewal(
        renewal=renewal, author=rig.author, at=day(13), reason="other pump", zone=ZONE
    )
    assert Due.objects.values().get(component=rig.pump("A")) == before
    assert (row.undoes, Renewal.objects.in_force().count()) == (renewal, 0)
    for again in (renewal, row):
        with pytest.raises(AlreadyUndone):
            undo_renewal(renewal=again, author=rig.author, at=day(14), reason="", zone=ZONE)


def test_a_service_done_tomorrow_or_on_another_kind_is_refused(rig: SprayRig) -> None:
    version = service_for(rig.pump("A"), ("days", 28))
    with pytest.raises(DoesNotApply):
        renew(rig, version, 1, name="gun")
    with pytest.raises(NotYetDone):
        record_renewal(
            version=version,
            component=rig.pump("A"),
            done_at=day(2),
            author=rig.author,
            recorded_at=day(1),
            zone=ZONE,
        )
    assert not Renewal.objects.exists()


def test_a_renewal_sent_twice_counts_once_and_without_its_number_twice(rig: SprayRig) -> None:
    version = service_for(rig.pump("A"), ("strokes", 10_000))
    number = uuid4()
    rows = [renew(rig, version, 5, request_id=number) for _ in range(2)]
    assert rows[0] == rows[1]
    assert Renewal.objects.count() == 1
    # Undone in between, what comes once more is still the same, and stays undone.
    undo_renewal(renewal=rows[0], author=rig.author, at=day(6), reason="not done", zone=ZONE)
    renew(rig, version, 5, request_id=number)
    assert not Renewal.objects.in_force().exists()
    for _ in range(2):  # the twin: a fresh number each time
        renew(rig, version, 7, request_id=uuid4())
    assert Renewal.objects.in_force().count() == 2


def test_a_service_done_on_the_bench_counts_from_the_life_it_had(rig: SprayRig) -> None:
    pump = rig.pump("A")
    service_for(pump, ("strokes", 10_000), author=rig.author)
    version = ServiceVersion.objects.get()
    rig.read(day(10), a=3000)
    remove_component(component=pump, at=day(10), author=rig.author, zone=ZONE)
    rig.read(day(15), a=4000)  # the pump lies on the bench
    renew(rig, version, 12)
    clock = DueClock.objects.get(due=due_of(rig))
    assert (clock.life_at_renewal, clock.since) == (3000, 0)
    install_component(
        component=pump,
        position=rig.positions["pump A"],
        at=day(15),
        author=rig.author,
        zone=ZONE,
    )
    rig.read(day(20), a=4600)
    assert due_of(rig).since == 600
    assert rebuild_all(zone=ZONE)[1] == 0
