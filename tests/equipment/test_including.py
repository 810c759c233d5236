"""A bigger service renews the smaller ones that it includes, and its undoing takes them with it."""

from collections.abc import Callable
from datetime import timedelta
from decimal import Decimal
from typing import Any
from uuid import uuid4

import pytest

from equipment.models import Due, Renewal, Service, ServiceVersion
from equipment.services import (
    AlreadyUndone,
    Done,
    IncludesItself,
    OfAnotherKind,
    ServiceRetired,
    TriggerPlan,
    care,
    check_plans,
    publish_version,
    rebuild_all,
    record_renewals,
    remove_component,
    retire_service,
    trigger_plans,
    undo_renewal,
)
from equipment.services.including import applies, covered
from tests.equipment.factories import ZONE, SprayRig, day, service_for, spray_rig
from tests.races import all_meet_in, at_once, refused, without_row_locks

pytestmark = pytest.mark.django_db


@pytest.fixture
def rig(db: None) -> SprayRig:
    return spray_rig()


def pump_service(
    rig: SprayRig, name: str, *includes: ServiceVersion, **more: Any
) -> ServiceVersion:
    return service_for(
        rig.pump("A"),
        ("days", 30),
        name=name,
        author=rig.author,
        includes=[version.service for version in includes],
        **more,
    )


def renew(rig: SprayRig, number: int, *versions: ServiceVersion, **more: Any) -> list[Renewal]:
    return record_renewals(
        done=[Done(version, rig.pump("A")) for version in versions],
        done_at=day(number),
        author=rig.author,
        recorded_at=day(number),
        zone=ZONE,
        **more,
    )


def dues_of(rig: SprayRig) -> dict[str, Any]:
    rows = Due.objects.filter(component=rig.pump("A")).select_related("version__service")
    return {row.version.service.name: row.due_date for row in rows}


def names(renewals: list[Renewal]) -> list[str]:
    return [row.version.service.name for row in renewals]


def republish(rig: SprayRig, version: ServiceVersion, *includes: Service) -> ServiceVersion:
    return publish_version(
        service=version.service,
        author=rig.author,
        at=day(1),
        zone=ZONE,
        triggers=trigger_plans(version),
        checks=check_plans(version),
        includes=includes,
    )


# --- renewing -----------------------------------------------------------------------------------


def test_a_bigger_service_renews_the_smaller_ones_all_the_way_down(rig: SprayRig) -> None:
    seals = pump_service(rig, "seals")
    packing = pump_service(rig, "packing", seals)
    rebuild = pump_service(rig, "rebuild", packing)
    apart = pump_service(rig, "lubricant")
    before = dues_of(rig)
    renewals = renew(rig, 10, rebuild)
    assert names(renewals) == ["rebuild", "packing", "seals"]
    outer, middle, inner = renewals
    assert (outer.within, middle.within, inner.within) == (None, outer, middle)
    assert {row.counts_from for row in renewals} == {day(10).date()}
    after = dues_of(rig)
    moved = timedelta(days=10)
    assert {name: after[name] - before[name] for name in before} == {
        "rebuild": moved,
        "packing": moved,
        "seals": moved,
        apart.service.name: timedelta(0),
    }
    assert rebuild_all(zone=ZONE)[1] == 0


def test_only_on_the_same_component(rig: SprayRig) -> None:
    seals = pump_service(rig, "seals")
    renew(rig, 10, pump_service(rig, "rebuild", seals))
    assert set(Renewal.objects.values_list("component", flat=True)) == {rig.pump("A").pk}


def test_what_two_include_or_was_done_itself_is_renewed_once(rig: SprayRig) -> None:
    seals = pump_service(rig, "seals")
    packing = pump_service(rig, "packing", seals)
    rebuild = pump_service(rig, "rebuild", seals, packing)
    assert sorted(names(renew(rig, 10, rebuild))) == ["packing", "rebuild", "seals"]
    itself = renew(rig, 11, rebuild, seals)
    assert names(itself) == ["rebuild", "seals", "packing"]
    assert [row.within for row in itself] == [None, None, itself[0]]


def test_sent_twice_it_renews_them_once(rig: SprayRig) -> None:
    rebuild = pump_service(rig, "rebuild", pump_service(rig, "seals"))
    number = uuid4()
    first, again = (renew(rig, 10, rebuild, request_id=number) for _ in range(2))
    assert first == again
    assert Renewal.objects.count() == 2
    # The twin: a fresh number each time.
    renew(rig, 10, rebuild, request_id=uuid4())
    assert Renewal.objects.count() == 4


def test_of_the_smaller_ones_the_current_version_counts(rig: SprayRig) -> None:
    seals = pump_service(rig, "seals")
    rebuild = pump_service(rig, "rebuild", seals)
    newer = republish(rig, seals)
    assert [row.version for row in renew(rig, 10, rebuild)] == [rebuild, newer]
    # Of the bigger one the version that was signed: a newer one may include less.
    republish(rig, rebuild)
    assert names(renew(rig, 11, rebuild)) == ["rebuild", "seals"]


def test_a_retired_one_is_included_no_longer(rig: SprayRig) -> None:
    seals = pump_service(rig, "seals")
    rebuild = pump_service(rig, "rebuild", seals)
    retire_service(service=seals.service, zone=ZONE)
    assert names(renew(rig, 10, rebuild)) == ["rebuild"]


def test_one_of_the_other_side_or_of_other_rigs_is_not_renewed(rig: SprayRig) -> None:
    other = spray_rig(author=rig.author, number=2)
    below = pump_service(rig, "below")
    of_b = pump_service(rig, "cup of B", below, side="B")
    elsewhere = pump_service(rig, "elsewhere", only_rigs=[other.rig])
    here = pump_service(rig, "here", only_rigs=[rig.rig, other.rig])
    rebuild = pump_service(rig, "rebuild", of_b, elsewhere, here)
    assert names(renew(rig, 10, rebuild)) == ["rebuild", "here"]
    remove_component(component=rig.pump("A"), at=day(11), author=rig.author, zone=ZONE)
    assert names(renew(rig, 12, rebuild)) == ["rebuild"]


def test_to_whom_a_service_applies(rig: SprayRig) -> None:
    pump, of_b = rig.pump("A"), pump_service(rig, "cup of B", side="B").service
    assert not applies(of_b, pump, rig.rig.pk)
    # The position gave it its side after the factory kept it.
    rig.pump("B").refresh_from_db()
    assert applies(of_b, rig.pump("B"), rig.rig.pk)
    assert not applies(of_b, rig.components["gun"], rig.rig.pk)
    here = pump_service(rig, "here", only_rigs=[rig.rig]).service
    assert applies(here, pump, rig.rig.pk)
    assert not applies(here, pump, None)
    assert not applies(here, pump, rig.rig.pk + 1)


def test_what_is_covered_is_said_for_many_at_once(
    rig: SprayRig, django_assert_max_num_queries: Any
) -> None:
    seals = pump_service(rig, "seals")
    packing = pump_service(rig, "packing", seals)
    rebuild = pump_service(rig, "rebuild", packing, seals)
    pairs = [(version, rig.pump(side)) for version in (rebuild, packing, seals) for side in "AB"]
    with django_assert_max_num_queries(9):
        found = covered(pairs)
    assert found == {
        (rig.pump(side).pk, version.pk): smaller
        for side in "AB"
        for version, smaller in ((rebuild, [seals, packing]), (packing, [seals]))
    }
    with django_assert_max_num_queries(1):
        assert covered([(seals, rig.pump("A"))]) == {}


# --- undoing ------------------------------------------------------------------------------------


def test_undone_it_takes_them_with_it(rig: SprayRig) -> None:
    seals = pump_service(rig, "seals")
    packing = pump_service(rig, "packing", seals)
    rebuild = pump_service(rig, "rebuild", packing)
    renew(rig, 5, packing)
    before = dues_of(rig)
    outer, *_ = renew(rig, 10, rebuild)
    assert dues_of(rig) != before
    row = undo_renewal(renewal=outer, author=rig.author, at=day(11), reason="other pump", zone=ZONE)
    assert row.undoes == outer
    assert dues_of(rig) == before
    assert names(list(Renewal.objects.in_force().order_by("pk"))) == ["packing", "seals"]
    assert rebuild_all(zone=ZONE)[1] == 0


def test_one_within_may_be_undone_alone_and_stays_undone(rig: SprayRig) -> None:
    seals = pump_service(rig, "seals")
    packing = pump_service(rig, "packing", seals)
    rebuild = pump_service(rig, "rebuild", packing)
    outer, middle, inner = renew(rig, 10, rebuild)
    said: dict[str, Any] = {
        "author": rig.author,
        "at": day(11),
        "reason": "packing is as it was",
        "zone": ZONE,
    }
    undo_renewal(renewal=middle, **said)
    assert names(list(Renewal.objects.in_force())) == ["rebuild"]
    for again in (middle, inner):
        with pytest.raises(AlreadyUndone):
            undo_renewal(renewal=again, **said)
    undo_renewal(renewal=outer, **said)
    assert not Renewal.objects.in_force().exists()
    assert Renewal.objects.count() == 6


# --- circles ------------------------------------------------------------------------------------


def test_a_service_includes_neither_itself_nor_what_includes_it(rig: SprayRig) -> None:
    seals = pump_service(rig, "seals")
    packing = pump_service(rig, "packing", seals)
    rebuild = pump_service(rig, "rebuild", packing)
    with pytest.raises(IncludesItself, match="cannot include itself"):
        republish(rig, seals, seals.service)
    with pytest.raises(IncludesItself, match="“packing” includes “seals”"):
        republish(rig, seals, packing.service)
    with pytest.raises(IncludesItself, match="“rebuild” includes “seals”"):
        republish(rig, seals, rebuild.service)
    assert list(seals.service.versions.values_list("version", "is_current")) == [(1, True)]
    # A version that is no longer current includes nothing any more.
    republish(rig, packing)
    republish(rig, seals, packing.service)


def test_nor_one_of_another_kind_or_retired(rig: SprayRig) -> None:
    seals = pump_service(rig, "seals")
    rebuild = pump_service(rig, "rebuild")
    gun = service_for(rig.components["gun"], ("days", 30), name="gun", author=rig.author)
    with pytest.raises(OfAnotherKind, match="“gun”"):
        republish(rig, rebuild, gun.service)
    with pytest.raises(OfAnotherKind):
        pump_service(rig, "overhaul", gun)
    assert not Service.objects.filter(name="overhaul").exists()
    retire_service(service=seals.service, zone=ZONE)
    with pytest.raises(ServiceRetired):
        republish(rig, rebuild, Service.objects.get(pk=seals.service.pk))


def two_make_a_circle(rig: SprayRig) -> tuple[Callable[[], Any], Callable[[], Any]]:
    seals, packing = pump_service(rig, "seals"), pump_service(rig, "packing")

    def include(version: ServiceVersion, other: ServiceVersion) -> Callable[[], Any]:
        return lambda: publish_version(
            service=version.service,
            author=rig.author,
            at=day(3),
            zone=ZONE,
            triggers=[TriggerPlan("days", Decimal(40))],
            includes=[other.service],
        )

    return include(seals, packing), include(packing, seals)


@pytest.mark.django_db(transaction=True)
def test_two_at_once_make_no_circle() -> None:
    assert refused(at_once(*two_make_a_circle(spray_rig())), IncludesItself) == 1


@pytest.mark.postgresql
@pytest.mark.django_db(transaction=True)
def test_twin_without_the_lock_two_make_a_circle(monkeypatch: pytest.MonkeyPatch) -> None:
    acts = two_make_a_circle(spray_rig())
    without_row_locks(monkeypatch)
    all_meet_in(monkeypatch, care, "_publish")
    assert refused(at_once(*acts), IncludesItself) == 0


@pytest.mark.parametrize("verb", ["renew", "undo"])
def test_a_circle_that_stands_all_the_same_ends(rig: SprayRig, verb: str) -> None:
    """Put there round the services, as the twin above does."""
    seals = pump_service(rig, "seals")
    packing = pump_service(rig, "packing", seals)
    seals.includes.add(packing.service)
    renewals = renew(rig, 10, packing)
    assert names(renewals) == ["packing", "seals"]
    if verb == "undo":
        undo_renewal(renewal=renewals[0], author=rig.author, at=day(11), reason="", zone=ZONE)
        assert not Renewal.objects.in_force().exists()
