"""Valid parts, places and people as they come; stock comes through the service that brings it."""

from datetime import UTC, datetime
from typing import Any
from uuid import uuid4

import factory
from factory.django import DjangoModelFactory

from inventory.models import Balance, Location, Lot, Movement, Part, RobbedKit
from inventory.services import KitLineSpec, receive, rob_kit, set_kit_lines
from shop.models import Person, Role

AT = datetime(2026, 3, 2, 15, 0, tzinfo=UTC)


class PersonFactory(DjangoModelFactory[Person]):
    class Meta:
        model = Person
        django_get_or_create = ("sign_in",)

    sign_in = "stockkeeper"
    name = "S. Keeper"
    role = Role.MANAGER
    created_at = AT


class PartFactory(DjangoModelFactory[Part]):
    class Meta:
        model = Part

    number = factory.Sequence(lambda n: f"P-{n:04}")
    name = "Packing set"
    usual_cost_cents = 1_250
    changed_by = factory.SubFactory(PersonFactory)
    changed_at = AT

    class Params:
        measured = factory.Trait(name="Pump oil", unit_name="qt", steps_per_unit=100)
        kit = factory.Trait(name="Fluid section kit", is_kit=True)


class BinFactory(DjangoModelFactory[Location]):
    class Meta:
        model = Location

    code = factory.Sequence(lambda n: f"B-{n:03}")
    kind = Location.Kind.BIN
    changed_by = factory.SubFactory(PersonFactory)
    changed_at = AT

    class Params:
        drawer = factory.Trait(
            code=factory.Sequence(lambda n: f"06-D{n}"), kind=Location.Kind.DRAWER
        )
        tray = factory.Trait(
            code=factory.Sequence(lambda n: f"tray-{n:04}"), kind=Location.Kind.TRAY
        )
        quarantine = factory.Trait(
            code=factory.Sequence(lambda n: f"quarantine-{n}"), kind=Location.Kind.QUARANTINE
        )


def received(
    part: Part, location: Location, quantity_steps: int, value_cents: int = 0, **more: Any
) -> Lot:
    """The lot that a receipt brought."""
    given = {"lot_code": "L-1", "author": PersonFactory(), "at": AT, "request_id": uuid4()}
    movement: Movement = receive(
        part=part,
        location=location,
        quantity_steps=quantity_steps,
        value_cents=value_cents,
        **{**given, **more},
    )
    return movement.lot


def kit_of(**quantities: int) -> tuple[Part, list[Part]]:
    """A kit and its parts, named by number: `kit_of(seal=2, spring=1)`."""
    kit = PartFactory(kit=True)
    parts = [PartFactory(number=number) for number in quantities]
    lines = [
        KitLineSpec(part=part, quantity_steps=steps)
        for part, steps in zip(parts, quantities.values(), strict=True)
    ]
    set_kit_lines(kit=kit, lines=lines, author=PersonFactory(), at=AT)
    return kit, parts


def who_and_when(**more: Any) -> dict[str, Any]:
    """Author, moment and a fresh request id, as every service wants them."""
    return {"author": PersonFactory(), "at": AT, "request_id": uuid4(), **more}


def in_place(part: Part, place: Location) -> int:
    """How much of a part lies in a place, by its balances. [steps]"""
    balances = Balance.objects.filter(part=part, location=place)
    return sum(balances.values_list("quantity_steps", flat=True))


class Shelf:
    """Kits of two seals and a spring in a drawer, and a bin for loose parts."""

    def __init__(self, kits: int = 2) -> None:
        self.drawer: Location = BinFactory(drawer=True)
        self.bin: Location = BinFactory(code="K-03")
        self.kit, (self.seal, self.spring) = kit_of(seal=2, spring=1)
        self.lot: Lot = received(self.kit, self.drawer, kits, 2_001, lot_code="K77")
        self.here = in_place

    def rob(self, **given: Any) -> RobbedKit:
        """One of them lacks a seal."""
        usual = {"kit": self.kit, "location": self.drawer, "missing": {self.seal: 1}}
        return rob_kit(**{**usual, **who_and_when(reason="Open bag"), **given})
