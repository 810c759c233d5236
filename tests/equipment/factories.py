"""Rigs, components and counters with honest defaults, and a small whole rig through the services.

`spray_rig()` is what most tests want: a rig in which everything that drives a wear is there.
"""

from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from functools import partial
from typing import Any
from uuid import uuid4
from zoneinfo import ZoneInfo

import factory
from factory.django import DjangoModelFactory

from equipment.models import (
    Component,
    ComponentKind,
    ComponentType,
    Counter,
    Installation,
    Position,
    Reading,
    Rig,
    Service,
    ServiceVersion,
    UsageRate,
)
from equipment.services import (
    NewReading,
    TriggerPlan,
    add_position,
    create_component,
    create_counter,
    create_kind,
    create_rig,
    create_service,
    create_type,
    install_component,
    record_readings,
)
from shop.models import Person, Role
from tests.copies import once

#: The day on which everything of these rigs begins, 06:00 in Chicago.
START = datetime(2026, 1, 5, 12, 0, tzinfo=UTC)
ZONE = ZoneInfo("America/Chicago")
#: A stroke of this pump is 0.1 US gal: 23.1 in³ / 231 in³.
DISPLACEMENT_IN3 = Decimal("23.1")


class PersonFactory(DjangoModelFactory[Person]):
    class Meta:
        model = Person
        django_get_or_create = ("sign_in",)

    sign_in = "shop-hand"
    name = "S. Hand"
    role = Role.MANAGER
    created_at = START


class RigFactory(DjangoModelFactory[Rig]):
    class Meta:
        model = Rig

    number = factory.Sequence(lambda n: n + 1)
    name = factory.LazyAttribute(lambda rig: f"Trailer {rig.number}")
    created_at = START


class KindFactory(DjangoModelFactory[ComponentKind]):
    class Meta:
        model = ComponentKind
        django_get_or_create = ("name",)

    name = "Proportioning pump"
    flow = ComponentKind.Flow.MATERIAL
    flow_order = 50


class TypeFactory(DjangoModelFactory[ComponentType]):
    class Meta:
        model = ComponentType
        django_get_or_create = ("name",)

    kind = factory.SubFactory(KindFactory)
    name = "Pump, 23.1 in³ a stroke"
    displacement_in3 = DISPLACEMENT_IN3
    max_strokes_per_minute = Decimal(60)


class PumpFactory(DjangoModelFactory[Component]):
    """A pump on the shelf; `fitted=True` puts it in a rig, without wear sources."""

    class Meta:
        model = Component
        skip_postgeneration_save = True

    class Params:
        fitted = factory.Trait(
            installation=factory.RelatedFactory(
                "tests.equipment.factories.InstallationFactory", factory_related_name="component"
            )
        )

    type = factory.SubFactory(TypeFactory)
    tag = factory.Sequence(lambda n: f"PU-{n + 1:02d}")
    in_service_on = date(2026, 1, 5)
    created_at = START


class PositionFactory(DjangoModelFactory[Position]):
    class Meta:
        model = Position

    rig = factory.SubFactory(RigFactory)
    order = factory.Sequence(lambda n: n + 1)
    kind = factory.SubFactory(KindFactory)


class InstallationFactory(DjangoModelFactory[Installation]):
    class Meta:
        model = Installation

    component = factory.SubFactory(PumpFactory)
    position = factory.SubFactory(PositionFactory)
    installed_at = START
    author = factory.SubFactory(PersonFactory)


class CounterFactory(DjangoModelFactory[Counter]):
    class Meta:
        model = Counter

    rig = factory.SubFactory(RigFactory)
    name = factory.Sequence(lambda n: f"Counter {n + 1}")
    counts = Counter.Counts.HOURS
    started_at = START
    last_at = factory.SelfAttribute("started_at")


class ServiceFactory(DjangoModelFactory[Service]):
    class Meta:
        model = Service

    name = factory.Sequence(lambda n: f"Rebuild {n + 1}")
    kind = factory.SubFactory(KindFactory)
    created_at = START


class ServiceVersionFactory(DjangoModelFactory[ServiceVersion]):
    class Meta:
        model = ServiceVersion

    service = factory.SubFactory(ServiceFactory)
    version = 1
    author = factory.SubFactory(PersonFactory)
    published_at = START


@dataclass
class SprayRig:
    """A generator, two pumps and a gun; hours, and strokes of each side."""

    rig: Rig
    author: Person
    positions: dict[str, Position] = field(default_factory=dict)
    components: dict[str, Component] = field(default_factory=dict)
    counters: dict[str, Counter] = field(default_factory=dict)

    def pump(self, side: str) -> Component:
        return self.components[f"pump {side}"]

    def read(self, at: datetime, *, fresh: bool = True, **values: Any) -> list[Reading]:
        """Record readings by counter: hours=12, a=300, b=310; a NewReading goes as it is."""
        readings = [
            value
            if isinstance(value, NewReading)
            else NewReading(self.counters[name], Decimal(value))
            for name, value in values.items()
        ]
        return record_readings(
            rig=self.rig,
            readings=readings,
            at=at,
            recorded_at=at if fresh else at + timedelta(days=400),
            author=self.author,
            request_id=uuid4(),
            zone=ZONE,
        )

    def life(self, name: str, measure: str) -> Decimal:
        return self.components[name].wear.get(measure=measure).life


def day(number: int, *, hour: int = 0) -> datetime:
    """So many days after everything began."""
    return START + timedelta(days=number, hours=hour)


def spray_rig(*, author: Person | None = None, number: int = 1) -> SprayRig:
    """Build a small whole rig through the services, everything fitted at START.

    The first one of an empty shop may be a copy of one that they built before.
    """
    build = partial(_spray_rig, number=number)
    return once(build, key=("spray rig", number, START), author=author or PersonFactory())


def _spray_rig(*, author: Person, number: int) -> SprayRig:
    made = SprayRig(
        rig=create_rig(number=number, name=f"Trailer {number}", at=START), author=author
    )
    for name, counts, most in (
        ("hours", Counter.Counts.HOURS, None),
        ("a", Counter.Counts.STROKES, Decimal(60)),
        ("b", Counter.Counts.STROKES, Decimal(60)),
    ):
        made.counters[name] = create_counter(
            rig=made.rig,
            name="Generator hours" if name == "hours" else f"{name.upper()} strokes",
            counts=counts,
            display_step=Decimal("0.1") if name == "hours" else Decimal(1),
            max_per_minute=most,
            started_at=START,
            order=len(made.counters),
            zone=ZONE,
        )
    generator = _kind("Generator", ComponentKind.Flow.POWER, 10)
    pump = _kind("Proportioning pump", ComponentKind.Flow.MATERIAL, 50)
    gun = _kind("Spray gun", ComponentKind.Flow.NONE, 90)
    for order, (name, kind, side) in enumerate(
        (
            ("generator", generator, ""),
            ("pump A", pump, "A"),
            ("pump B", pump, "B"),
            ("gun", gun, ""),
        ),
        start=1,
    ):
        made.positions[name] = add_position(rig=made.rig, order=order, kind=kind, side=side)
        made.components[name] = shelf_component(kind, tag=f"{number}-{name}")
        install_component(
            component=made.components[name],
            position=made.positions[name],
            at=START,
            author=author,
            zone=ZONE,
        )
    return made


def shelf_component(kind: ComponentKind, *, tag: str, **fields: Any) -> Component:
    """A component of a kind, on the shelf."""
    type_ = ComponentType.objects.filter(name=f"{kind} of ours").first() or create_type(
        kind=kind,
        name=f"{kind} of ours",
        displacement_in3=DISPLACEMENT_IN3 if kind.name == "Proportioning pump" else None,
    )
    return create_component(
        type=type_,
        tag=tag,
        at=START,
        zone=ZONE,
        **{"in_service_on": date(2026, 1, 5), **fields},
    )


def a_hose() -> Component:
    """The heated hose HOS-1, on the shelf; the same when asked again."""
    there = Component.objects.filter(tag="HOS-1").first()
    if there is not None:
        return there
    kind, _ = ComponentKind.objects.get_or_create(name="heated hose", defaults={"icon": "hose"})
    return shelf_component(kind, tag="HOS-1")


def steady(counter: Counter, per_day: float) -> None:
    """A snapshot that is sure of what the counter gains, every day alike, so that a due date is
    what the mean rate gives by hand."""
    shape, alpha = 1e6, 1e6
    UsageRate.objects.create(
        counter=counter,
        as_of=START.date(),
        open_from=START.date(),
        share=1,
        own_days=100,
        fleet_rigs=0,
        shape=shape,
        open_shape=shape,
        day_shape=shape,
        alpha=alpha,
        beta=per_day * (alpha - 1) / shape,
    )


def service_for(
    component: Component, *triggers: tuple[Any, ...], author: Person | None = None, **fields: Any
) -> ServiceVersion:
    """A service of the component's kind with these triggers: ("strokes", 10_000), or with more
    that a `TriggerPlan` says: ("season", 30, {"season": frost})."""
    return create_service(
        kind=component.type.kind,
        author=author or PersonFactory(),
        at=START,
        zone=ZONE,
        triggers=[_plan(*trigger) for trigger in triggers],
        **{"name": "Rebuild", **fields},
    )


def _plan(measure: str, interval: Any, more: dict[str, Any] | None = None) -> TriggerPlan:
    return TriggerPlan(measure, Decimal(interval), **(more or {}))


def _kind(name: str, flow: str, order: int) -> ComponentKind:
    return ComponentKind.objects.filter(name=name).first() or create_kind(
        name=name, flow=flow, flow_order=order
    )
