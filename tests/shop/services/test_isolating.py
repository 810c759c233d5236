"""The isolation points of a rig: begun from what is fitted, changed by rows that are only added."""

from dataclasses import replace
from datetime import timedelta
from typing import Any

import pytest
from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction

from equipment.models import ComponentKind, Rig
from equipment.services import add_position, install_component
from shop.models import IsolationPoint, Person
from shop.services import isolating
from shop.services.isolating import PointFields, PointRefused
from shop.services.paper import paper_of
from tests.equipment.factories import ZONE, shelf_component
from tests.shop.worlds import NOW, TODAY, SheetWorld

pytestmark = pytest.mark.django_db

LATER = NOW + timedelta(days=1)


@pytest.fixture
def rig(world: SheetWorld) -> Rig:
    return world.fleet.rig


@pytest.fixture
def kept(rig: Rig, manager: Person) -> Rig:
    isolating.keep_beginning(rig=rig, author=manager, at=NOW)
    return rig


def point(rig: Rig, name: str) -> IsolationPoint:
    return IsolationPoint.objects.standing().filter(rig=rig).get(name=name)


def fields(row: IsolationPoint, **more: Any) -> PointFields:
    return replace(isolating._fields(row), **more)


def fit(rig: Rig, name: str, flow: str, author: Person) -> ComponentKind:
    kind = ComponentKind.objects.create(name=name, flow=flow, flow_order=55)
    place = add_position(rig=rig, order=9, kind=kind)
    install_component(
        component=shelf_component(kind, tag=name), position=place, at=NOW, author=author, zone=ZONE
    )
    return kind


def test_a_rig_begins_with_what_is_fitted_and_keeps_it_once(rig: Rig, manager: Person) -> None:
    before = isolating.points_of(rig.pk)
    assert [f"{each.name} {each.side}".strip() for each in before] == [
        "Shore power",
        "Generator",
        "Start battery",
        "Heated fluid A",
        "Heated fluid B",
    ]
    assert isolating.keep_beginning(rig=rig, author=manager, at=NOW) == len(before)
    assert isolating.keep_beginning(rig=rig, author=manager, at=NOW) == 0
    kept = isolating.points_of(rig.pk)
    assert [(each.name, each.isolate, each.unit) for each in kept] == [
        (each.name, each.isolate, each.unit) for each in before
    ]
    assert isolating.questions(rig.pk) == []


def test_a_kind_without_a_point_is_a_question_and_goes_by_what_it_would_begin_with(
    kept: Rig, manager: Person
) -> None:
    fit(kept, "compressor", "air", manager)
    assert isolating.questions(kept.pk) == ["compressor"]
    assert "Air" in [each.name for each in isolating.points_of(kept.pk)]
    row = point(kept, "Shore power")
    isolating.change_point(
        point=row,
        fields=fields(row, kinds=tuple(ComponentKind.objects.filter(name="compressor"))),
        author=manager,
        at=LATER,
    )
    assert isolating.questions(kept.pk) == []
    assert "Air" not in [each.name for each in isolating.points_of(kept.pk)]


def test_a_kind_of_the_shops_own_is_asked_about(kept: Rig, manager: Person) -> None:
    fit(kept, "solar roof", "power", manager)
    assert isolating.questions(kept.pk) == ["solar roof"]


def test_a_change_follows_the_old_row_and_an_old_sheet_prints_what_stood(
    kept: Rig, world: SheetWorld, manager: Person
) -> None:
    sheet = world.draft()
    row = point(kept, "Generator")
    new = isolating.change_point(
        point=row,
        fields=fields(row, name="Main set", place="left of the door"),
        author=manager,
        at=LATER,
    )
    row.refresh_from_db()
    assert (row.ended_by, row.ended_at, new.follows, new.order) == (manager, LATER, row, row.order)
    assert new.source == isolating.OWN_WORDS
    sources = [step.source for step in paper_of(sheet, today=TODAY, system="us").lockout]
    assert "Generator" in sources
    assert "Main set" not in sources
    newer = paper_of(world.draft(*_redraft(world, sheet)), today=TODAY, system="us").lockout
    assert next(each for each in newer if each.source == "Main set").action.endswith(
        "(left of the door)"
    )


def _redraft(world: SheetWorld, sheet: Any) -> list[Any]:
    from uuid import uuid4

    from shop.services.drafting import void_sheet

    void_sheet(sheet=sheet, author=world.manager, at=LATER, reason="again", request_id=uuid4())
    return [world.oil, world.rebuild]


def test_sent_twice_it_counts_once_and_a_second_person_is_told(
    kept: Rig, manager: Person, technician: Person
) -> None:
    row = point(kept, "Generator")
    said = fields(row, place="left of the door")
    once = isolating.change_point(point=row, fields=said, author=manager, at=LATER)
    again = isolating.change_point(point=row, fields=said, author=manager, at=LATER)
    assert once == again
    with pytest.raises(PointRefused, match="changed “Generator” meanwhile"):
        isolating.change_point(
            point=row, fields=fields(row, place="right"), author=technician, at=LATER
        )
    with pytest.raises(PointRefused):
        isolating.take_out_point(point=row, author=technician, at=LATER)


def test_nothing_changed_writes_nothing(kept: Rig, manager: Person) -> None:
    row = point(kept, "Generator")
    assert isolating.change_point(point=row, fields=fields(row), author=manager, at=LATER) == row
    assert IsolationPoint.objects.filter(ended_at__isnull=False).count() == 0


def test_what_is_taken_out_is_kept_and_asked_about(kept: Rig, manager: Person) -> None:
    for name in ("Generator", "Start battery"):
        isolating.take_out_point(point=point(kept, name), author=manager, at=LATER)
    assert isolating.questions(kept.pk) == ["Generator"]
    assert IsolationPoint.objects.filter(rig=kept, ended_at=LATER).count() == 2


def test_two_points_of_a_rig_do_not_share_a_name(kept: Rig, manager: Person) -> None:
    said = fields(point(kept, "Generator"))
    with pytest.raises(ValidationError, match="has a point of that name"):
        isolating.add_point(rig=kept, fields=said, author=manager, at=LATER)


@pytest.mark.parametrize(
    "broken",
    [
        {"unit": "psi"},  # no gauge
        {"verify_by": "gauge"},  # no unit
        {"side": "C"},
        {"ended_at": LATER},  # nobody ended it
    ],
)
def test_the_database_refuses_it(kept: Rig, manager: Person, broken: dict[str, Any]) -> None:
    row = {
        "rig": kept, "name": "x", "energy": "electric", "isolate": "x", "verify": "x",
        "verify_by": "start", "author": manager, "at": NOW,
    }  # fmt: skip
    with pytest.raises(IntegrityError), transaction.atomic():
        IsolationPoint.objects.create(**{**row, **broken})
    IsolationPoint.objects.create(**row)
    with pytest.raises(IntegrityError), transaction.atomic():
        IsolationPoint.objects.create(**row)  # the name stands already
