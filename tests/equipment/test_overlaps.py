"""A component is in one place at a time: held by the database, whatever goes round the services."""

from collections.abc import Callable
from decimal import Decimal
from typing import Any
from uuid import uuid4

import pytest
from django.db import IntegrityError, connection, transaction

from equipment import overlaps
from equipment.models import Installation
from equipment.services import OverlapsAnother, SatThere, add_stay, remove_component
from tests.equipment.factories import (
    ZONE,
    InstallationFactory,
    PositionFactory,
    PumpFactory,
    SprayRig,
    day,
    shelf_component,
    spray_rig,
)
from tests.races import all_meet_in, at_once, refused, without_row_locks

SPANS: list[tuple[int, int | None, bool]] = [
    (1, 3, False),  # before the other
    (1, 5, False),  # up to its first moment
    (1, 6, True),
    (5, 9, True),
    (6, 7, True),
    (1, None, True),
    (8, None, True),
    (9, None, False),  # from its last moment on
    (6, 6, False),  # no time at all
]


@pytest.mark.django_db
@pytest.mark.parametrize("shared", ["component", "position"])
@pytest.mark.parametrize(("since", "until", "overlaps_"), SPANS)
def test_stays_that_share_time(shared: str, since: int, until: int | None, overlaps_: bool) -> None:
    first = InstallationFactory(installed_at=day(5))
    first.removed_at, first.removed_by = day(9), first.author
    first.save()
    fields = {"component": PumpFactory(), "position": PositionFactory()}
    second = Installation(
        installed_at=day(since),
        removed_at=day(until) if until else None,
        removed_by=first.author if until else None,
        author=first.author,
        **{**fields, shared: getattr(first, shared)},
    )
    if not overlaps_:
        second.save()
        return
    with pytest.raises(IntegrityError, match="one place at a time"), transaction.atomic():
        second.save()
    # An update is looked at like a new row.
    second.installed_at, second.removed_at = day(1), day(2)
    second.removed_by = first.author
    second.save()
    with pytest.raises(IntegrityError, match="one place at a time"), transaction.atomic():
        Installation.objects.filter(pk=second.pk).update(removed_at=day(6))
    # The twin: without the guard the database is content.
    overlaps.lift(connection)
    try:
        Installation.objects.filter(pk=second.pk).update(removed_at=day(6))
        (missing,) = overlaps.guards_stand(None, databases=["default"])
        assert missing.id == "equipment.E001"
        Installation.objects.filter(pk=second.pk).update(removed_at=day(2))
    finally:
        overlaps.install(connection)
    assert overlaps.guards_stand(None, databases=["default"]) == []


# --- two people at once ---------------------------------------------------------------------------


def two_stays(rig: SprayRig) -> tuple[Callable[[], Any], Callable[[], Any]]:
    """One gun said to have sat in two rigs in the same days."""
    other = spray_rig(author=rig.author, number=2)
    # A life before ours: its kept row stands, so that the two do not meet over that.
    spare = shelf_component(rig.positions["gun"].kind, tag="G-04", opening_gallons=Decimal(9))
    for each in (rig, other):
        gun = each.components["gun"]
        remove_component(component=gun, at=day(1), author=rig.author, zone=ZONE)

    def into(where: SprayRig) -> Callable[[], Any]:
        return lambda: add_stay(
            position=where.positions["gun"],
            component=spare,
            at=day(5),
            until=day(9),
            author=rig.author,
            recorded_at=day(20),
            reason="told late",
            request_id=uuid4(),
            zone=ZONE,
        )

    return into(rig), into(other)


@pytest.mark.django_db(transaction=True)
def test_one_of_two_stays_at_once_is_refused_in_words() -> None:
    results = at_once(*two_stays(spray_rig()))
    assert refused(results, OverlapsAnother) == 1


@pytest.mark.postgresql
@pytest.mark.django_db(transaction=True)
def test_twin_without_the_locks_only_the_database_stops_the_second(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    acts = two_stays(spray_rig())
    without_row_locks(monkeypatch)
    all_meet_in(monkeypatch, Installation, "save")
    results = at_once(*acts)
    assert not any(isinstance(each, OverlapsAnother | SatThere) for each in results)
    assert sum(isinstance(each, IntegrityError) for each in results) == 1


@pytest.mark.postgresql
@pytest.mark.django_db(transaction=True)
def test_twin_without_the_guard_either_the_gun_is_in_two_rigs(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    acts = two_stays(spray_rig())
    without_row_locks(monkeypatch)
    all_meet_in(monkeypatch, Installation, "save")
    overlaps.lift(connection)
    try:
        results = at_once(*acts)
    finally:
        overlaps.install(connection)
    assert [each for each in results if isinstance(each, Exception)] == []
    assert Installation.objects.filter(installed_at=day(5)).count() == 2
