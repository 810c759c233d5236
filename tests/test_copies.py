"""A copy is what the services made: the same rows, and the same things in hand."""

from collections.abc import Callable
from dataclasses import fields, is_dataclass
from functools import partial
from typing import Any

import pytest
from django.core.management.color import no_style
from django.db import connection, transaction
from django.db.models import Model

from equipment.models import Component
from equipment.services.library import load_library
from inventory.models import Movement
from inventory.services import prove
from shop.models import Person, Shop
from tests import copies
from tests.equipment.factories import START, ZONE, PersonFactory, SprayRig, spray_rig
from tests.equipment.pages.conftest import two_days_in_by_the_library
from tests.inventory.factories import received
from tests.shop.worlds import SheetWorld, sheet_world

pytestmark = pytest.mark.django_db


def library(*, shop: Shop, manager: Person) -> int:
    build = partial(load_library, at=START, zone=ZONE)
    return copies.once(build, key="library", author=manager)


def rig_of_pages(*, shop: Shop, manager: Person) -> SprayRig:
    return copies.once(two_days_in_by_the_library, key="rig", author=PersonFactory())


def world_of_sheets(*, shop: Shop, manager: Person) -> SheetWorld:
    return sheet_world(shop, manager)


def in_hand(made: Any) -> list[Model]:
    """Every row that something made holds."""
    if isinstance(made, Model):
        return [made]
    if isinstance(made, dict):
        return [row for value in made.values() for row in in_hand(value)]
    if is_dataclass(made):
        return [row for field in fields(made) for row in in_hand(getattr(made, field.name))]
    return []


def said(made: Any) -> tuple[Any, ...]:
    """Every row there is and every row in hand, each key told by its place among its table's.

    So that two shops are alike whatever keys their rows were given; somebody goes by the sign-in.
    """
    rows = copies.rows_of_all()
    keys: dict[Any, dict[Any, Any]]
    keys = {model: {row[0]: at for at, row in enumerate(of_it)} for model, of_it in rows.items()}
    keys[Person] = dict(Person.objects.values_list("pk", "sign_in"))

    def told(model: type[Model], row: copies.Row) -> tuple[Any, ...]:
        return model._meta.label, *(
            keys[field.related_model or model][value]
            if value is not None and (field.related_model or field.primary_key)
            else value
            for field, value in zip(copies.fields_of(model), row, strict=True)
            # Drawn anew for each.
            if field.name != "password" and field.get_internal_type() != "UUIDField"
        )

    held = [
        told(type(row), tuple(getattr(row, field.attname) for field in copies.fields_of(type(row))))
        for row in in_hand(made)
    ]
    there = [told(model, row) for model, of_it in rows.items() for row in of_it]
    return sorted(there, key=repr), held


@pytest.mark.parametrize("make", [library, rig_of_pages, world_of_sheets])
def test_a_copy_is_what_the_services_make(
    make: Callable[..., Any],
    shop: Shop,
    person_as: Callable[..., Person],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(copies, "_kept", {})
    seen = []
    # First by the services, then twice as a copy, each time for a manager with another key.
    for _ in range(3):
        with transaction.atomic():
            person_as("owner").delete()
            made = make(shop=shop, manager=person_as("manager"))
            seen.append(said(made))
            transaction.set_rollback(True)
        person_as("owner")
    assert copies._kept
    assert len(seen[0][0]) > 20
    assert seen[0] == seen[1] == seen[2]


def test_what_a_test_does_with_a_copy_does_not_reach_the_next(db: None) -> None:
    for _ in range(3):
        with transaction.atomic():
            made = spray_rig(number=8)
            assert made.rig.name == "Trailer 8"
            made.rig.name = "Another"
            made.rig.save()
            made.components.clear()
            transaction.set_rollback(True)


def test_where_something_is_there_the_services_build(db: None) -> None:
    first, second = spray_rig(number=8), spray_rig(number=9)
    assert Component.objects.count() == len(first.components) + len(second.components)
    assert first.author == second.author


def test_what_comes_after_a_copy_has_later_keys(
    shop: Shop, manager: Person, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Even where the database has begun to count anew, as it does after a flush."""
    monkeypatch.setattr(copies, "_kept", {})
    with transaction.atomic():
        sheet_world(shop, manager)
        transaction.set_rollback(True)
    with connection.cursor() as cursor:
        for statement in connection.ops.sequence_reset_by_name_sql(
            no_style(), [{"table": Movement._meta.db_table, "column": "id"}]
        ):
            cursor.execute(statement)
    world = sheet_world(shop, manager)
    copied = max(Movement.objects.values_list("pk", flat=True))
    received(world.seal, world.bin, 1, 900)
    assert Movement.objects.filter(pk__gt=copied).count() == 1
    assert prove() == []
