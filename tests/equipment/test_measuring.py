"""Measured values: kept once, and the due rows that watch them follow in the same transaction."""

from datetime import date, datetime, timedelta
from decimal import Decimal
from typing import Any
from uuid import UUID, uuid4

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from equipment import due
from equipment.models import Component, Due, DueClock, Measurement, ServiceVersion
from equipment.services import (
    CheckPlan,
    NewMeasurement,
    NotYetMeasured,
    TriggerPlan,
    create_service,
    dues,
    publish_version,
    rebuild_all,
    record_measurements,
    record_renewal,
    undo_renewal,
)
from equipment.services.measured import Measured, value_due
from tests.equipment.factories import (
    START,
    ZONE,
    PersonFactory,
    SprayRig,
    day,
    service_for,
    shelf_component,
    spray_rig,
)

pytestmark = pytest.mark.django_db

DROP = "Pressure drop"
#: A value a week, one more each: one in 7 days.
WEEKLY = [(10, 30), (17, 31), (24, 32), (31, 33), (38, 34)]


@pytest.fixture
def rig() -> SprayRig:
    return spray_rig()


def watching(component: Component, *, high: int | None = 38, **more: Any) -> ServiceVersion:
    """A change of the gun's filter that watches a drop, measured by another service."""
    if not ServiceVersion.objects.filter(service__name="Look").exists():
        service_for(component, ("days", 900), name="Look", checks=[asking()])
    limits = {"high": None if high is None else Decimal(high), "low": None, **more}
    return service_for(component, ("value", 14, {"watched": DROP, **limits}), name="Change")


def asking(unit: str = "psi") -> CheckPlan:
    return CheckPlan(text=DROP, kind="value", unit=unit)


def measure(
    component: Component,
    *points: tuple[float, Any],
    unit: str = "psi",
    sheet: int = 0,
    name: str = DROP,
    request_id: UUID | None = None,
) -> list[Measurement]:
    return record_measurements(
        measured=[
            NewMeasurement(
                component=component,
                name=name,
                unit=unit,
                value=Decimal(value),
                at=START + timedelta(days=days),
                request_id=request_id or uuid4(),
            )
            for days, value in points
        ],
        author=PersonFactory(),
        recorded_at=START + timedelta(days=max(days for days, _ in points)),
        zone=ZONE,
        source_kind="sheet" if sheet else "hand",
        source_number=sheet,
    )


def renew(version: ServiceVersion, component: Component, at: datetime, *, sheet: int = 0) -> Any:
    return record_renewal(
        version=version,
        component=component,
        done_at=at,
        author=PersonFactory(),
        recorded_at=at,
        zone=ZONE,
        source_kind="sheet" if sheet else "hand",
        source_number=sheet,
    )


def row_of(version: ServiceVersion, component: Component) -> Due:
    return Due.objects.get(component=component, version__service=version.service)


def why(row: Due) -> str:
    return DueClock.objects.get(due=row, measure="value").because


def untouched() -> bool:
    return rebuild_all(zone=ZONE)[1] == 0


def test_before_anything_is_measured_there_is_no_date(rig: SprayRig) -> None:
    gun = rig.components["gun"]
    version = watching(gun)
    row = row_of(version, gun)
    assert (row.measure, row.due_date, row.late_date) == ("value", due.FAR_DATE, due.FAR_DATE)
    assert not row.is_past_due
    assert why(row) == "“Pressure drop” was not measured yet"
    assert untouched()


def test_a_value_past_its_limit_is_due_on_the_day_measured_for_certain(rig: SprayRig) -> None:
    gun = rig.components["gun"]
    version = watching(gun)
    measure(gun, (20, 41))
    row = row_of(version, gun)
    on = date(2026, 1, 25)
    assert (row.due_10, row.due_date, row.due_90, row.read_on) == (on, on, on, on)
    assert row.is_past_due
    assert why(row) == "“Pressure drop” was 41 psi on 25 Jan 2026, past 38 psi"
    assert untouched()


def test_the_last_value_counts_not_the_worst(rig: SprayRig) -> None:
    gun = rig.components["gun"]
    version = watching(gun)
    measure(gun, (20, 41))
    measure(gun, (21, 38))
    row = row_of(version, gun)
    assert (row.due_date, row.is_past_due) == (due.FAR_DATE, False)
    assert why(row) == (
        "“Pressure drop” was 38 psi on 26 Jan 2026; a trend needs 5 values, so far 2"
    )
    # Entered late: it was before that.
    measure(gun, (20.5, 44))
    assert not row_of(version, gun).is_past_due
    assert untouched()


def test_a_sure_trend_is_due_its_days_before_it_meets_the_limit(rig: SprayRig) -> None:
    """34 on day 38, one in 7 days: 38 on day 66, 12 March; 14 days before that, 26 February."""
    gun = rig.components["gun"]
    version = watching(gun)
    measure(gun, *WEEKLY[:4])
    assert row_of(version, gun).due_date == due.FAR_DATE
    measure(gun, WEEKLY[4])
    row = row_of(version, gun)
    on = date(2026, 2, 26)
    assert (row.due_10, row.due_date, row.due_90, row.late_date) == (on, on, on, on)
    assert not row.is_past_due
    assert row.read_on == date(2026, 2, 12)
    assert why(row) == (
        "“Pressure drop” is heading to 38 psi about 12 Mar 2026: 5 values since 15 Jan 2026"
    )
    assert untouched()


def test_one_wild_value_does_not_end_a_trend(rig: SprayRig) -> None:
    gun = rig.components["gun"]
    version = watching(gun)
    wild = [*WEEKLY[:2], (20, 37), *WEEKLY[2:], (45, 35), (52, 36)]
    measure(gun, *wild)
    assert date(2026, 2, 20) < row_of(version, gun).due_date < date(2026, 3, 1)


def test_a_trend_that_leaves_less_than_its_days_is_due_when_it_was_measured(rig: SprayRig) -> None:
    gun = rig.components["gun"]
    version = watching(gun, high=35)
    measure(gun, *WEEKLY)
    row = row_of(version, gun)
    assert (row.due_date, row.is_past_due) == (date(2026, 2, 12), False)


def test_a_cleanliness_code_is_past_its_limit_by_one_of_its_numbers(rig: SprayRig) -> None:
    """19/16/16 is kept as a smaller number than its limit of 20/18/15, and is past it."""
    gun = rig.components["gun"]
    version = watching_codes(gun)
    measure(gun, (20, 191616), unit="ISO 4406")
    row = row_of(version, gun)
    assert (row.due_date, row.is_past_due) == (date(2026, 1, 25), True)
    assert why(row) == "“Pressure drop” was 19/16/16 ISO 4406 on 25 Jan 2026, past 15 at 14 µm"
    measure(gun, (21, 201815), unit="ISO 4406")
    assert not row_of(version, gun).is_past_due
    assert untouched()


def test_each_number_of_a_code_has_a_trend_and_the_first_to_meet_its_limit_leads(
    rig: SprayRig,
) -> None:
    """At 14 µm from 10, one in 7 days: 14 on day 38, 15 on day 45, though oil at 4 µm gets cleaner
    and the number that is kept falls with it.
    """
    gun = rig.components["gun"]
    version = watching_codes(gun)
    measure(
        gun,
        *[(10 + 7 * n, (19 - n) * 10_000 + 1_500 + 10 + n) for n in range(5)],
        unit="ISO 4406",
    )
    row = row_of(version, gun)
    assert why(row) == (
        "“Pressure drop” is heading to 15 at 14 µm about 19 Feb 2026: 5 values since 15 Jan 2026"
    )
    # Two weeks before that is past, so it is due on the day measured.
    assert (row.due_date, row.is_past_due) == (date(2026, 2, 12), False)
    assert untouched()


def watching_codes(component: Component) -> ServiceVersion:
    service_for(component, ("days", 900), name="Look", checks=[asking("ISO 4406")])
    limits = {"high": Decimal(201815), "low": None}
    return service_for(component, ("value", 14, {"watched": DROP, **limits}), name="Change")


@pytest.mark.parametrize(
    ("values", "limits", "words"),
    [
        ([30, 31, 34, 33, 32], {"high": 38}, "5 values since 15 Jan 2026 show no sure trend"),
        ([30, 31, 32, 33, 34], {"high": None, "low": Decimal(20)}, "lead away from its limit"),
        ([34, 33, 32, 31, 30], {"high": None, "low": Decimal(28)}, "is heading to 28 psi about"),
        ([4, 3, 2, 1, 0], {"high": None, "low": Decimal(-2)}, "is heading to −2 psi about 26 Feb"),
        ([30, 29, 28, 27, 26], {"high": None, "low": Decimal(27)}, "was 26 psi on 12 Feb 2026, p"),
    ],
)
def test_what_a_row_says_of_its_values(
    rig: SprayRig, values: list[int], limits: dict[str, Any], words: str
) -> None:
    gun = rig.components["gun"]
    version = watching(gun, **limits)
    measure(gun, *zip([at for at, _ in WEEKLY], values, strict=True))
    assert words in why(row_of(version, gun))


def test_the_longest_name_leaves_room_for_the_reason(rig: SprayRig) -> None:
    gun = rig.components["gun"]
    name = "n" * 200
    version = service_for(gun, ("value", 14, {"watched": name, "high": Decimal("99999999.9999")}))
    points = [(at, value * 2_000_000 + Decimal("0.0001")) for at, value in WEEKLY]
    measure(gun, *points, unit="u" * 20, name=name)
    row = row_of(version, gun)
    assert "…” is heading to 99,999,999.9999 uuuuuuuuuuuuuuuuuuuu about" in why(row)
    row.clocks.get().full_clean()


def test_done_what_was_measured_before_counts_no_longer(rig: SprayRig) -> None:
    gun = rig.components["gun"]
    version = watching(gun)
    measure(gun, *WEEKLY, (40, 41))
    assert row_of(version, gun).is_past_due
    done = renew(version, gun, day(41))
    row = row_of(version, gun)
    assert (row.due_date, row.is_past_due) == (due.FAR_DATE, False)
    assert why(row) == "“Pressure drop” was not measured since this was last done"
    measure(gun, (42, 20))
    assert "so far 1" in why(row_of(version, gun))
    # Entered after the work, but measured before it.
    measure(gun, (40.5, 50))
    assert not row_of(version, gun).is_past_due
    assert untouched()
    undo_renewal(
        renewal=done, author=rig.author, at=day(43), reason="it was another gun", zone=ZONE
    )
    # The values before it count again, and those after it still do: 20 is the last one.
    assert "8 values since" in why(row_of(version, gun))
    assert untouched()


def test_a_value_on_the_very_sheet_was_measured_before_the_work(rig: SprayRig) -> None:
    gun = rig.components["gun"]
    version = watching(gun)
    measure(gun, (20, 41), sheet=7)
    renew(version, gun, day(20, hour=2), sheet=7)
    assert row_of(version, gun).due_date == due.FAR_DATE
    assert untouched()


def test_a_value_that_the_service_itself_asks_for_says_how_the_work_left_it(
    rig: SprayRig,
) -> None:
    """The remedy measures it, too, when it is new."""
    gun = rig.components["gun"]
    service_for(gun, ("days", 900), name="Look", checks=[asking()])
    version = service_for(
        gun, ("value", 14, {"watched": DROP, "high": Decimal(38)}), checks=[asking()]
    )
    measure(gun, (20, 45), (20.01, 41), sheet=7)
    renew(version, gun, day(20, hour=2), sheet=7)
    row = row_of(version, gun)
    assert (row.due_date, row.is_past_due) == (date(2026, 1, 25), True)
    assert "was 41 psi" in why(row)
    # Of the sheet only the last one is of this life.
    measure(gun, (21, 30))
    assert "so far 2" in why(row_of(version, gun))
    # Done again without a value, and by hand: what was measured is of the life before.
    renew(version, gun, day(22))
    assert why(row_of(version, gun)).endswith("not measured since this was last done")
    assert untouched()


def looking(rig: SprayRig) -> ServiceVersion:
    """A look that alone measures what it watches, done once a week on sheets 1 to 5."""
    gun = rig.components["gun"]
    version = service_for(
        gun,
        ("value", 14, {"watched": DROP, "high": Decimal(38)}),
        name="Look",
        checks=[asking()],
    )
    for sheet, (days, value) in enumerate(WEEKLY, start=1):
        measure(gun, (days, value), sheet=sheet)
        renew(version, gun, day(days, hour=2), sheet=sheet)
    return version


def test_what_only_the_service_itself_measures_runs_on_from_one_doing_to_the_next(
    rig: SprayRig,
) -> None:
    """Looking renews nothing: else no trend of it could ever be seen."""
    gun = rig.components["gun"]
    version = looking(rig)
    row = row_of(version, gun)
    assert row.due_date == date(2026, 2, 26)
    assert "5 values since 15 Jan 2026" in why(row)
    assert untouched()
    # Looked at by hand, with no value told: how it stands is not known.
    renew(version, gun, day(40))
    row = row_of(version, gun)
    assert row.due_date == due.FAR_DATE
    assert why(row).endswith("not measured since this was last done")
    measure(gun, (45, 35), sheet=6)
    assert "6 values since" in why(row_of(version, gun))
    assert untouched()


def test_a_rebuild_begins_another_life_of_what_is_looked_at(rig: SprayRig) -> None:
    gun = rig.components["gun"]
    version = looking(rig)
    rebuild = service_for(gun, ("days", 900), name="Rebuild", is_rebuild=True)
    done = renew(rebuild, gun, day(39))
    measure(gun, (40, 20), sheet=6)
    renew(version, gun, day(40, hour=2), sheet=6)
    assert "was 20 psi on 14 Feb 2026; a trend needs 5 values, so far 1" in why(
        row_of(version, gun)
    )
    assert untouched()
    undo_renewal(renewal=done, author=rig.author, at=day(41), reason="another gun", zone=ZONE)
    assert "6 values since" in why(row_of(version, gun))
    assert untouched()


def test_only_values_in_the_unit_asked_for_now_count(rig: SprayRig) -> None:
    gun = rig.components["gun"]
    version = watching(gun)
    measure(gun, (20, 41))
    look = ServiceVersion.objects.get(service__name="Look", is_current=True)
    publish_version(
        service=look.service,
        author=rig.author,
        at=day(21),
        zone=ZONE,
        triggers=[TriggerPlan("days", Decimal(900))],
        checks=[asking("bar")],
    )
    assert why(row_of(version, gun)) == "“Pressure drop” was not measured yet"
    measure(gun, (22, 3), unit="bar")
    assert "was 3 bar" in why(row_of(version, gun))
    assert untouched()


def test_where_nothing_asks_for_it_any_more_the_unit_is_that_of_the_newest(rig: SprayRig) -> None:
    gun = rig.components["gun"]
    version = service_for(gun, ("value", 14, {"watched": DROP, "high": Decimal(38)}))
    measure(gun, (20, 41))
    measure(gun, (21, 40), unit="")
    row = row_of(version, gun)
    assert why(row) == "“Pressure drop” was 40 on 26 Jan 2026, past 38"


def test_another_limit_is_followed_at_once(rig: SprayRig) -> None:
    gun = rig.components["gun"]
    version = watching(gun)
    measure(gun, (20, 41))
    publish_version(
        service=version.service,
        author=rig.author,
        at=day(21),
        zone=ZONE,
        triggers=[TriggerPlan("value", Decimal(14), watched=DROP, high=Decimal(50))],
    )
    assert not row_of(version, gun).is_past_due
    assert untouched()


def test_of_two_values_watched_the_one_that_falls_first_counts(rig: SprayRig) -> None:
    gun = rig.components["gun"]
    other = "Oil temperature"
    version = service_for(
        gun,
        ("value", 14, {"watched": DROP, "high": Decimal(38)}),
        ("value", 14, {"watched": other, "high": Decimal(140)}),
    )
    measure(gun, (20, 41))
    measure(gun, (15, 150), name=other, unit="°F")
    row = row_of(version, gun)
    assert row.due_date == date(2026, 1, 20)
    assert why(row) == "“Oil temperature” was 150 °F on 20 Jan 2026, past 140 °F"
    assert row.clocks.count() == 1
    assert untouched()


def test_it_stands_beside_other_triggers_and_readings_leave_it(rig: SprayRig) -> None:
    gun = rig.components["gun"]
    version = service_for(
        gun, ("gallons", 5000), ("value", 14, {"watched": DROP, "high": Decimal(38)})
    )
    rig.read(day(10), a=2000, b=2000)
    measure(gun, (20, 41))
    rig.read(day(22), a=3000, b=3000)
    row = row_of(version, gun)
    assert (row.measure, row.due_date) == ("value", date(2026, 1, 25))
    assert "past 38" in why(row)
    assert untouched()


def test_sent_twice_a_value_counts_once(rig: SprayRig) -> None:
    gun = rig.components["gun"]
    watching(gun)
    request_id = uuid4()
    first = measure(gun, (20, 41), request_id=request_id)
    again = measure(gun, (20, 41), request_id=request_id)
    assert [row.pk for row in again] == [row.pk for row in first]
    assert Measurement.objects.count() == 1


def test_twin_under_another_id_it_counts_twice(rig: SprayRig) -> None:
    gun = rig.components["gun"]
    measure(gun, (20, 41))
    measure(gun, (20, 41))
    assert Measurement.objects.count() == 2


def test_a_value_of_a_time_to_come_is_refused_with_nothing_written(rig: SprayRig) -> None:
    with pytest.raises(NotYetMeasured, match="has not come yet"):
        record_measurements(
            measured=[
                NewMeasurement(rig.components["gun"], DROP, "psi", Decimal(3), day(21), uuid4())
            ],
            author=rig.author,
            recorded_at=day(20),
            zone=ZONE,
            source_kind="hand",
        )
    assert not Measurement.objects.exists()


def test_what_nobody_watches_moves_no_row(rig: SprayRig, monkeypatch: pytest.MonkeyPatch) -> None:
    gun = rig.components["gun"]
    watching(rig.components["generator"])
    worked_out: list[Component] = []
    monkeypatch.setattr(dues, "recompute", lambda components, **_: worked_out.extend(components))
    measure(gun, (20, 41))
    assert worked_out == []
    measure(rig.components["generator"], (20, 41))
    assert worked_out == [rig.components["generator"]]


def test_values_of_many_components_take_as_many_queries_as_of_one(rig: SprayRig) -> None:
    gun = rig.components["gun"]
    version = watching(gun)
    guns = [gun, *(shelf_component(gun.type.kind, tag=f"G-{each}") for each in range(4))]
    for each in guns:
        measure(each, *WEEKLY)
    current = list(
        ServiceVersion.objects.filter(is_current=True)
        .select_related("service")
        .prefetch_related("triggers")
    )
    (watched,) = version.triggers.all()
    for some in (guns[:1], guns):
        with CaptureQueriesContext(connection) as queries:
            measured = Measured.of([each.pk for each in some], current)
            found = [
                value_due(
                    measured=measured,
                    component=each,
                    version=version,
                    trigger=watched,
                    renewal=None,
                    zone=ZONE,
                )
                for each in some
            ]
        assert len(queries) == 3
        assert {each.meets_on for each in found} == {date(2026, 3, 12)}
    with CaptureQueriesContext(connection) as queries:
        Measured.of([gun.pk], [each for each in current if each.pk != version.pk])
    assert len(queries) == 0


def test_a_value_is_of_its_own_component(rig: SprayRig) -> None:
    version = create_service(
        kind=rig.pump("A").type.kind,
        name="Side A",
        side="",
        author=rig.author,
        at=START,
        zone=ZONE,
        triggers=[TriggerPlan("value", Decimal(14), watched=DROP, high=Decimal(38))],
    )
    measure(rig.pump("A"), (20, 41))
    assert row_of(version, rig.pump("A")).is_past_due
    assert not row_of(version, rig.pump("B")).is_past_due
