"""Two people at one thing, with the lock and without it.

With its lock one of them is refused in plain words, or both are done one after the other. In the
twin all row locks are taken away and both are held where each has looked and none has written: then
nobody is refused as they should be. (PostgreSQL; on SQLite the immediate transaction is the lock.)
"""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any
from uuid import uuid4

import pytest
from django.core.exceptions import ValidationError
from django.db import models

from equipment.models import Component, Finding, JobBooking, Reading, Renewal, RoundItem
from equipment.services import (
    AlreadyClosed,
    AlreadyReversed,
    AlreadyUndone,
    BookingOverlaps,
    FittingRefused,
    RoundAlreadyRecorded,
    TriggerPlan,
    book_job,
    close_finding,
    exchange_component,
    open_finding,
    publish_version,
    record_renewal,
    record_round,
    remove_component,
    reverse_reading,
    rounds,
    undo_renewal,
)
from tests.equipment.factories import (
    ZONE,
    SprayRig,
    day,
    service_for,
    shelf_component,
    spray_rig,
)
from tests.races import all_meet_in, at_once, refused, without_row_locks

pytestmark = pytest.mark.django_db(transaction=True)

Acts = tuple[Callable[[], Any], Callable[[], Any]]


@dataclass(frozen=True)
class Race:
    """Two acts, how one of them is refused, and where the twin holds both."""

    acts: Callable[[SprayRig], Acts]
    refusal: type[Exception]
    meet_in: tuple[object, str]


def two_rounds(rig: SprayRig) -> Acts:
    kind = rig.positions["gun"].kind
    item = RoundItem.objects.create(code="R1", kind=kind, text="Clean the screens", every="day")

    def act() -> Any:
        return record_round(
            rig=rig.rig,
            day=date(2026, 1, 12),
            answers=[rounds.NewAnswer(item, "right")],
            author=rig.author,
            at=day(7),
            request_id=uuid4(),
        )

    return act, act


def two_jobs(rig: SprayRig) -> Acts:
    def book(job: str) -> Callable[[], Any]:
        days = {"first_day": date(2026, 2, 2), "last_day": date(2026, 2, 6)}
        return lambda: book_job(
            rig=rig.rig, job=job, author=rig.author, today=day(0).date(), zone=ZONE, **days
        )

    return book("barn roof"), book("crawl space")


def two_undo_one_renewal(rig: SprayRig) -> Acts:
    gun = rig.components["gun"]
    who = {"author": rig.author, "zone": ZONE}
    renewal = record_renewal(
        version=service_for(gun, ("days", 30), author=rig.author),
        component=gun,
        done_at=day(3),
        recorded_at=day(3),
        **who,
    )

    def act() -> Any:
        return undo_renewal(renewal=renewal, at=day(4), reason="not done", **who)

    return act, act


def two_close_one_finding(rig: SprayRig) -> Acts:
    who = {"author": rig.author, "at": day(3)}
    finding = open_finding(rig=rig.rig, text="rubs", request_id=uuid4(), **who)

    def close(how: str) -> Callable[[], Any]:
        return lambda: close_finding(finding=finding, closing=how, **who)

    return close("clamped"), close("new hose")


def two_take_back_one_reading(rig: SprayRig) -> Acts:
    (reading,) = rig.read(day(5), hours=20)

    def act() -> Any:
        return reverse_reading(
            reading=reading,
            author=rig.author,
            at=day(6),
            reason="misread",
            request_id=uuid4(),
            zone=ZONE,
        )

    return act, act


def one_pump_for_two_rigs(rig: SprayRig) -> Acts:
    other = spray_rig(author=rig.author, number=2)
    spare = shelf_component(rig.positions["pump A"].kind, tag="PU-11")
    for each in (rig, other):
        pump = each.components["pump A"]
        remove_component(component=pump, at=day(1), author=rig.author, zone=ZONE)

    def into(where: SprayRig) -> Callable[[], Any]:
        return lambda: exchange_component(
            position=where.positions["pump A"],
            component_in=spare,
            at=day(2),
            author=rig.author,
            zone=ZONE,
        )

    return into(rig), into(other)


RACES = {
    "two rounds of a day": Race(two_rounds, RoundAlreadyRecorded, (rounds, "_check")),
    "two jobs on one day": Race(two_jobs, BookingOverlaps, (JobBooking, "save")),
    "two undo a renewal": Race(two_undo_one_renewal, AlreadyUndone, (Renewal, "save")),
    "two close found work": Race(two_close_one_finding, AlreadyClosed, (Finding, "save")),
    "two take a reading back": Race(two_take_back_one_reading, AlreadyReversed, (Reading, "save")),
    "one pump for two rigs": Race(one_pump_for_two_rigs, FittingRefused, (Component, "save")),
}


@pytest.mark.parametrize("race", RACES.values(), ids=RACES)
def test_one_of_two_is_refused_in_plain_words(race: Race) -> None:
    results = at_once(*race.acts(spray_rig()))
    assert refused(results, race.refusal) == 1


@pytest.mark.postgresql
@pytest.mark.parametrize("race", RACES.values(), ids=RACES)
def test_twin_without_the_locks_nobody_is_refused_so(
    race: Race, monkeypatch: pytest.MonkeyPatch
) -> None:
    acts = race.acts(spray_rig())
    without_row_locks(monkeypatch)
    all_meet_in(monkeypatch, *race.meet_in)
    results = at_once(*acts)
    assert not any(isinstance(each, race.refusal) for each in results), results


def two_versions(rig: SprayRig) -> Acts:
    gun = rig.components["gun"]
    service = service_for(gun, ("days", 30), author=rig.author).service

    def publish(interval: int) -> Callable[[], Any]:
        return lambda: publish_version(
            service=service,
            author=rig.author,
            at=day(3),
            zone=ZONE,
            triggers=[TriggerPlan("days", Decimal(interval))],
        )

    return publish(40), publish(50)


def test_two_versions_published_at_once_have_two_numbers() -> None:
    results = at_once(*two_versions(spray_rig()))
    assert refused(results, Exception) == 0
    assert sorted(version.version for version in results) == [2, 3]


@pytest.mark.postgresql
def test_twin_without_the_lock_two_versions_draw_one_number(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    acts = two_versions(spray_rig())
    without_row_locks(monkeypatch)
    all_meet_in(monkeypatch, models.QuerySet, "update")  # the first: of the version in force
    assert refused(at_once(*acts), ValidationError) == 1
