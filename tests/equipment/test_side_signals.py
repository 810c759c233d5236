"""The signal of a rig's two sides: from counters and logs, kept, answered, and what is no wear."""

from collections.abc import Sequence
from datetime import datetime, timedelta
from decimal import Decimal
from uuid import uuid4

import numpy as np
import pytest
from django.core.exceptions import ValidationError
from django.db import connection
from django.test.utils import CaptureQueriesContext

from equipment import sides as mathematics
from equipment.models import (
    BroughtForward,
    Compared,
    Counter,
    Due,
    Finding,
    PumpDrive,
    ShiftDay,
    SideAnswer,
    SideSignal,
)
from equipment.services import (
    DayGone,
    NewReading,
    NoSignal,
    NotOfIt,
    TakenOffAlready,
    bring_forward,
    bring_forward_for_signal,
    close_finding,
    create_counter,
    dismiss_signal,
    exchange_component,
    open_work,
    rebuild_all,
    record_renewal,
    reverse_reading,
    set_pump_drive,
    take_off,
)
from equipment.services.sides import compare, refresh
from tests.equipment.factories import ZONE, SprayRig, day, service_for, shelf_component, spray_rig

pytestmark = pytest.mark.django_db

USUAL = 1_500


@pytest.fixture
def rig() -> SprayRig:
    return spray_rig()


def ratios(count: int, *, spread: float = 0.006, drift: float = 0.0, seed: int = 3) -> list[float]:
    """A to B of so many shifts; the last ten run `drift` above the others."""
    drawn = np.exp(np.random.default_rng(seed).standard_normal(count) * spread)
    drawn[-10:] *= 1 + drift
    return [float(each) for each in drawn]


class Spraying:
    """Reads both faces of a rig every evening."""

    def __init__(self, rig: SprayRig) -> None:
        self.rig, self.day = rig, 0
        self.a = self.b = 0

    def shifts(self, given: Sequence[float], *, strokes: int = USUAL) -> datetime:
        for ratio in given:
            self.day += 1
            self.a += round(strokes * ratio)
            self.b += strokes
            self.rig.read(day(self.day), a=self.a, b=self.b)
        return day(self.day)


@pytest.fixture
def spraying(rig: SprayRig) -> Spraying:
    return Spraying(rig)


def signal_of(rig: SprayRig) -> SideSignal | None:
    return SideSignal.objects.filter(rig=rig.rig).first()


@pytest.fixture
def slipping(rig: SprayRig, spraying: Spraying) -> SideSignal:
    """A rig whose A pump has made 5 % more strokes over the last ten of forty days."""
    spraying.shifts(ratios(40, drift=0.05))
    found = signal_of(rig)
    assert found is not None
    return found


# From two counters


def test_a_steady_pair_has_no_signal(rig: SprayRig, spraying: Spraying) -> None:
    spraying.shifts(ratios(60))
    assert signal_of(rig) is None


def test_a_pump_that_slips_is_told_with_its_side(rig: SprayRig, slipping: SideSignal) -> None:
    assert (slipping.more, slipping.compared) == ("A", Compared.STROKES)
    assert float(slipping.size) == pytest.approx(0.05, abs=0.01)
    assert abs((slipping.since - day(31).date()).days) <= 2
    assert slipping.state == SideSignal.State.OPEN


def test_what_the_readings_kept_is_what_a_rebuild_gives(rig: SprayRig, spraying: Spraying) -> None:
    for part in (ratios(12), ratios(40, drift=0.05)):
        spraying.shifts(part)
        assert rebuild_all(zone=ZONE)[1] == 0


def test_a_reading_of_both_faces_costs_two_statements_more_whatever_came_before(
    rig: SprayRig, spraying: Spraying
) -> None:
    counts = []
    for shifts in (3, 50):
        spraying.shifts(ratios(shifts))
        with CaptureQueriesContext(connection) as queries:
            spraying.shifts([1.0])
        counts.append(sum("side" in each["sql"].split("WHERE")[0] for each in queries))
    assert counts[0] == counts[1]


def test_one_face_alone_says_nothing(rig: SprayRig, spraying: Spraying) -> None:
    spraying.shifts(ratios(20))
    for late in range(1, 10):
        rig.read(day(spraying.day + late), a=spraying.a + late * 3_000)
    assert signal_of(rig) is None


def test_a_reset_of_one_or_both_faces_is_no_wear(rig: SprayRig, spraying: Spraying) -> None:
    last = spraying.shifts(ratios(25))
    a, b = rig.counters["a"], rig.counters["b"]
    for later in range(1, 16):
        at = last + timedelta(days=later)
        both = later % 2 == 0
        seen = Decimal(spraying.a if later == 1 else 1_500)
        rig.read(
            at,
            a=NewReading(a, Decimal(USUAL), "reset", seen),
            b=NewReading(b, Decimal(USUAL), "reset", Decimal(spraying.b if later == 1 else 1_500))
            if both or later == 1
            else NewReading(b, Decimal(USUAL), "reset", Decimal(1_500)),
        )
    assert signal_of(rig) is None


def test_a_reset_that_nobody_saw_leaves_its_shift_out(rig: SprayRig, spraying: Spraying) -> None:
    spraying.shifts(ratios(25))
    for later in range(1, 6):
        spraying.b += USUAL
        rig.read(
            day(25 + later), a=NewReading(rig.counters["a"], Decimal(40), "reset"), b=spraying.b
        )
    assert signal_of(rig) is None
    points = compare(rig.rig, zone=ZONE).chart.points
    assert [each.left_out for each in points[-5:]] == [mathematics.AT_LEAST] * 5
    assert rebuild_all(zone=ZONE)[1] == 0


def test_a_face_that_rolls_over_is_no_wear(rig: SprayRig) -> None:
    Counter.objects.filter(pk=rig.counters["a"].pk).update(rollover=10_000)
    a = Counter.objects.get(pk=rig.counters["a"].pk)
    b_shown = 0
    for number, ratio in enumerate(ratios(40), start=1):
        shown = (a.last_value + round(USUAL * ratio)) % 10_000
        step = "rollover" if shown < a.last_value else "continued"
        b_shown += USUAL
        rig.read(day(number), a=NewReading(a, shown, step), b=b_shown)
        a.refresh_from_db()
    assert signal_of(rig) is None
    assert len(compare(rig.rig, zone=ZONE).chart.points) == 40


def test_days_without_a_stroke_are_no_shifts(rig: SprayRig, spraying: Spraying) -> None:
    spraying.shifts(ratios(9))
    for later in range(1, 20):
        rig.read(day(9 + later), a=spraying.a, b=spraying.b)
    assert len(compare(rig.rig, zone=ZONE).chart.points) == 9


def test_a_late_reading_and_one_taken_back_are_followed(
    rig: SprayRig, slipping: SideSignal
) -> None:
    rows = list(rig.counters["a"].readings.order_by("-at")[:12])
    for row in rows:
        reverse_reading(
            reading=row,
            author=rig.author,
            at=day(50),
            reason="wrong face",
            request_id=uuid4(),
            zone=ZONE,
        )
    assert signal_of(rig) is None
    assert rebuild_all(zone=ZONE)[1] == 0


# A pump exchanged or rebuilt


def test_an_exchange_begins_anew(rig: SprayRig, spraying: Spraying, slipping: SideSignal) -> None:
    kind = rig.positions["pump B"].kind
    exchange_component(
        position=rig.positions["pump B"],
        component_in=shelf_component(kind, tag="other B"),
        at=day(40, hour=2),
        author=rig.author,
        zone=ZONE,
    )
    assert signal_of(rig) is None
    spraying.shifts(ratios(30, seed=9))
    assert signal_of(rig) is None
    found = compare(rig.rig, zone=ZONE).chart
    assert found.began_at == day(40, hour=2)
    assert found.baseline is not None
    # The first of them began before the exchange.
    assert len(found.points) == 29


def test_a_rebuild_begins_anew_and_a_lesser_service_does_not(
    rig: SprayRig, slipping: SideSignal
) -> None:
    cup = service_for(rig.pump("A"), ("days", 30), name="wet cup")
    packing = service_for(rig.pump("A"), ("days", 365), name="packing", is_rebuild=True)
    done = {
        "component": rig.pump("A"),
        "done_at": day(41),
        "author": rig.author,
        "recorded_at": day(41),
        "zone": ZONE,
    }
    record_renewal(version=cup, **done)
    assert signal_of(rig) is not None
    record_renewal(version=packing, **done)
    assert signal_of(rig) is None


def test_pumps_of_different_displacement_start_level(rig: SprayRig) -> None:
    pump = rig.pump("A")
    type_ = pump.type
    type_.pk, type_.name, type_.displacement_in3 = None, "half as big", type_.displacement_in3 / 2
    type_.save()
    pump.type = type_
    pump.save()
    Spraying(rig).shifts([each * 2 for each in ratios(20)])
    found = compare(rig.rig, zone=ZONE).chart
    assert found.baseline is not None
    assert found.baseline.centre == pytest.approx(0, abs=0.01)


# Linked pumps, and logs


def log_day(rig: SprayRig, number: int, **figures: object) -> ShiftDay:
    return ShiftDay.objects.create(
        rig=rig.rig,
        date=day(number).date(),
        rows=5_000,
        first_at=day(number),
        last_at=day(number, hour=8),
        **figures,
    )


def test_a_log_wins_over_readings_of_its_day(rig: SprayRig, spraying: Spraying) -> None:
    spraying.shifts(ratios(20))
    for number in (5, 6):
        log_day(rig, number, strokes_a=1_010.0, strokes_b=1_000.0)
    refresh([rig.rig], zone=ZONE)
    found = compare(rig.rig, zone=ZONE)
    assert found.sources == {"logs", "counters"}
    logged = [point.shift for point in found.chart.points if point.shift.ends.hour == 20]
    assert [shift.day for shift in logged] == [day(5).date(), day(6).date()]
    # What was read on the evening of the sixth and seventh began or ended inside a logged day.
    assert len(found.chart.points) == 20 - 2 + 2
    spraying.shifts(ratios(5))
    assert rebuild_all(zone=ZONE)[1] == 0


def test_linked_pumps_are_compared_by_pressure(rig: SprayRig, spraying: Spraying) -> None:
    linked = set_pump_drive(rig=rig.rig, pump_drive=PumpDrive.LINKED, zone=ZONE)
    found = compare(linked, zone=ZONE)
    assert found.compared == ""
    assert found.why_not.startswith("Linked pumps stroke alike whatever leaks.")
    for number, ratio in enumerate(ratios(40, drift=-0.08), start=1):
        log_day(
            rig,
            number,
            strokes_a=1_000.0,
            strokes_b=1_000.0,
            details={
                "extremes": {
                    "pressure_a": {"min": 0, "mean": 1_100 * ratio, "max": 1_400, "rows": 9},
                    "pressure_b": {"min": 0, "mean": 1_100, "max": 1_400, "rows": 9},
                }
            },
        )
    refresh([rig.rig], zone=ZONE)
    signal = signal_of(rig)
    assert signal is not None
    assert (signal.compared, signal.more) == (Compared.PRESSURE, "B")


def test_linked_pumps_are_compared_by_flow_meters_of_their_own(rig: SprayRig) -> None:
    for side in "ab":
        rig.counters[f"flow {side}"] = create_counter(
            rig=rig.rig,
            name=f"{side.upper()} gallons",
            counts=Counter.Counts.GALLONS,
            display_step=Decimal("0.1"),
            started_at=day(0),
            order=9,
            zone=ZONE,
        )
    set_pump_drive(rig=rig.rig, pump_drive=PumpDrive.LINKED, zone=ZONE)
    shown = {"flow a": Decimal(0), "flow b": Decimal(0)}
    for number, ratio in enumerate(ratios(40, drift=-0.06), start=1):
        shown["flow a"] += round(Decimal(150 * ratio), 1)
        shown["flow b"] += 150
        rig.read(day(number), **shown)
    signal = signal_of(rig)
    assert signal is not None
    assert (signal.compared, signal.more) == (Compared.FLOW, "B")
    assert rebuild_all(zone=ZONE)[1] == 0


def test_a_drive_that_is_none_of_ours_is_refused(rig: SprayRig) -> None:
    with pytest.raises(ValidationError):
        set_pump_drive(rig=rig.rig, pump_drive="pedal", zone=ZONE)


# Answers


def test_dismissed_the_pair_is_watched_afresh(
    rig: SprayRig, spraying: Spraying, slipping: SideSignal
) -> None:
    said = {
        "rig": rig.rig,
        "reason": "new resin, catch test is right",
        "author": rig.author,
        "at": day(40, hour=1),
        "request_id": uuid4(),
        "zone": ZONE,
    }
    answer = dismiss_signal(**said)
    assert dismiss_signal(**said) == answer
    assert signal_of(rig) is None
    spraying.shifts([each * 1.05 for each in ratios(30, seed=8)])
    assert signal_of(rig) is None
    with pytest.raises(NoSignal):
        dismiss_signal(**said | {"request_id": uuid4()})


def test_a_signal_is_dismissed_for_a_reason_only(rig: SprayRig, slipping: SideSignal) -> None:
    with pytest.raises(ValidationError):
        dismiss_signal(
            rig=rig.rig, reason="", author=rig.author, at=day(41), request_id=uuid4(), zone=ZONE
        )
    assert signal_of(rig) is not None


def test_found_work_is_opened_once_and_closing_it_begins_anew(
    rig: SprayRig, spraying: Spraying, slipping: SideSignal
) -> None:
    said = {
        "rig": rig.rig,
        "side": "A",
        "text": "A makes 5 % more strokes than its baseline",
        "author": rig.author,
        "at": day(41),
        "request_id": uuid4(),
    }
    answer = open_work(**said)
    assert open_work(**said) == answer
    finding = Finding.objects.get()
    assert finding.component == rig.pump("A")
    kept = signal_of(rig)
    assert kept is not None
    assert kept.state == SideSignal.State.ACTED
    refresh([rig.rig], zone=ZONE)
    kept.refresh_from_db()
    assert kept.state == SideSignal.State.ACTED
    assert rebuild_all(zone=ZONE)[1] == 0
    close_finding(finding=finding, author=rig.author, at=day(42), closing="new inlet ball")
    assert signal_of(rig) is None
    spraying.day = 42
    spraying.shifts(ratios(12, seed=5))
    assert rebuild_all(zone=ZONE)[1] == 0
    assert compare(rig.rig, zone=ZONE).chart.began_at == day(42)


def test_a_service_is_brought_forward_until_it_is_done(rig: SprayRig, slipping: SideSignal) -> None:
    packing = service_for(rig.pump("A"), ("days", 365), name="packing", is_rebuild=True)
    row = Due.objects.get(component=rig.pump("A"))
    usual = row.due_date
    said = {
        "rig": rig.rig,
        "service": packing.service,
        "component": rig.pump("A"),
        "due_on": day(45).date(),
        "reason": "A makes 5 % more strokes than its baseline",
        "author": rig.author,
        "at": day(41),
        "request_id": uuid4(),
        "zone": ZONE,
    }
    assert bring_forward_for_signal(**said) == bring_forward_for_signal(**said)
    row.refresh_from_db()
    assert (row.due_date, row.brought_on) == (day(45).date(), day(45).date())
    assert row.brought_because == said["reason"]
    assert row.late_date > row.due_date
    assert row.state(today=day(46).date(), warning_days=7) == "due"
    record_renewal(
        version=packing,
        component=rig.pump("A"),
        done_at=day(44),
        author=rig.author,
        recorded_at=day(44),
        zone=ZONE,
    )
    row.refresh_from_db()
    assert row.due_date > usual
    assert row.brought_because == ""


def test_taken_off_it_falls_due_as_ever(rig: SprayRig) -> None:
    packing = service_for(rig.pump("A"), ("days", 365), name="packing")
    usual = Due.objects.get(component=rig.pump("A")).due_date
    said = {
        "service": packing.service,
        "component": rig.pump("A"),
        "reason": "slips",
        "author": rig.author,
        "at": day(41),
        "zone": ZONE,
    }
    bring_forward(due_on=day(60).date(), request_id=uuid4(), **said)
    newest = bring_forward(due_on=day(80).date(), request_id=uuid4(), **said)
    assert Due.objects.get(component=rig.pump("A")).due_date == day(80).date()
    assert list(BroughtForward.objects.standing()) == [newest]
    take_off(brought=newest, author=rig.author, at=day(42), zone=ZONE)
    assert Due.objects.get(component=rig.pump("A")).due_date == usual
    with pytest.raises(TakenOffAlready):
        take_off(brought=newest, author=rig.author, at=day(43), zone=ZONE)


def test_it_never_puts_a_service_off(rig: SprayRig) -> None:
    cup = service_for(rig.pump("A"), ("days", 30), name="wet cup")
    usual = Due.objects.get(component=rig.pump("A")).due_date
    bring_forward(
        service=cup.service,
        component=rig.pump("A"),
        due_on=day(90).date(),
        reason="slips",
        author=rig.author,
        at=day(1),
        request_id=uuid4(),
        zone=ZONE,
    )
    assert Due.objects.get(component=rig.pump("A")).due_date == usual


def test_what_cannot_be_brought_forward_is_refused(rig: SprayRig) -> None:
    packing = service_for(rig.pump("A"), ("days", 365), name="packing", side="A")
    said = {
        "service": packing.service,
        "component": rig.pump("A"),
        "due_on": day(45).date(),
        "reason": "slips",
        "author": rig.author,
        "at": day(41),
        "request_id": uuid4(),
        "zone": ZONE,
    }
    with pytest.raises(DayGone):
        bring_forward(**said | {"due_on": day(40).date()})
    with pytest.raises(NotOfIt):
        bring_forward(**said | {"component": rig.components["gun"]})
    with pytest.raises(NotOfIt):
        bring_forward(**said | {"component": rig.pump("B")})
    with pytest.raises(ValidationError):
        bring_forward(**said | {"reason": " "})
    assert not BroughtForward.objects.exists()
    assert not SideAnswer.objects.exists()
