"""Small worlds for the overview pages, written straight to the kept rows.

The pages read due rows; how those come about is tested where they are made. So a test states the
row it means ("182 of 250 hours, due 13 Dec") instead of a year of readings that would lead there.
"""

from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from typing import Any
from uuid import uuid4

from equipment.due import FAR_DATE
from equipment.models import (
    Component,
    ComponentKind,
    ComponentType,
    Counter,
    Due,
    DueClock,
    Finding,
    Installation,
    JobBooking,
    Position,
    Rig,
    Service,
    ServiceVersion,
    UsageRate,
    Wear,
    WearSource,
)
from inventory.models import Location, Part
from inventory.services import receive
from shop.models import PartsNeed, Person, RigDrawer, Role, ServiceSheet, SheetLine

AT = datetime(2026, 3, 2, 15, 0, tzinfo=UTC)
TODAY = date(2026, 3, 2)
NAMES = ("Heron", "Wren", "Kestrel", "Plover", "Osprey", "Dunlin", "Bittern", "Avocet")


def author() -> Person:
    return Person.objects.get_or_create(
        sign_in="author", defaults={"name": "A. Uthor", "role": Role.MANAGER, "created_at": AT}
    )[0]


def days(count: int) -> date:
    """A day so many days from today."""
    return TODAY + timedelta(days=count)


def make_rig(number: int, **values: Any) -> Rig:
    values = {"name": NAMES[number % len(NAMES)], "created_at": AT} | values
    return Rig.objects.create(number=number, **values)


def make_kind(name: str = "Pump", **values: Any) -> ComponentKind:
    return ComponentKind.objects.get_or_create(name=name, defaults={"icon": name.lower()} | values)[
        0
    ]


def fit(rig: Rig, kind: str = "Pump", side: str = "") -> Component:
    """A component of a kind, fitted in a new position of the rig."""
    of_kind = make_kind(kind)
    made, _ = ComponentType.objects.get_or_create(name=f"Plain {kind}", kind=of_kind)
    order = rig.positions.count() + 1
    component = Component.objects.create(
        type=made,
        tag=f"{kind[:2].upper()}-{rig.number}{order:02}",
        side=side,
        in_service_on=days(-400),
        created_at=AT,
    )
    position = Position.objects.create(rig=rig, order=order, kind=of_kind, side=side)
    Installation.objects.create(
        component=component, position=position, installed_at=AT, author=author()
    )
    return component


def make_service(kind: str = "Pump", name: str = "packing and seals", **values: Any) -> Any:
    """The current version of a service; the same one when asked again."""
    service, is_new = Service.objects.get_or_create(
        kind=make_kind(kind), name=name, side="", defaults={"created_at": AT}
    )
    if is_new:
        values = {"labour_minutes": 60, "published_at": AT} | values
        ServiceVersion.objects.create(service=service, version=1, author=author(), **values)
    return service.versions.get(is_current=True)


def make_due(
    component: Component,
    version: ServiceVersion | None = None,
    *,
    due_date: date = FAR_DATE,
    since: int = 182,
    interval: int = 250,
    **values: Any,
) -> Due:
    """A kept due row; past due and past tolerance are stated by the test."""
    installation = component.installations.filter(removed_at__isnull=True).first()
    position = installation.position if installation else None
    kind = component.type.kind
    version = version or make_service(kind.name)
    values = {
        "measure": "hours",
        "tolerance": Decimal("0.1"),
        "rate_per_day": Decimal(5),
        "read_on": days(-1),
        "renewed_at": AT - timedelta(days=100),
        "late_date": due_date,
        "due_10": due_date,
        "due_90": due_date,
        "is_listed": position is not None and not position.rig.is_laid_up,
    } | values
    return Due.objects.create(
        component=component,
        version=version,
        rig=position.rig if position else None,
        position=position,
        rig_number=position.rig.number if position else 0,
        kind=kind,
        skill=version.skill,
        interval=interval,
        since=since,
        due_date=due_date,
        **values,
    )


def make_clock(due: Due, **values: Any) -> DueClock:
    """The one trigger of a due row, with its figures: what odds for any day are reckoned from."""
    figures = {
        name: getattr(due, name)
        for name in ("measure", "interval", "since", "due_date", "late_date", "is_past_due")
    }
    return DueClock.objects.create(
        due=due, **(figures | {"allowed_of": due.interval, "counted_from": due.read_on} | values)
    )


def make_usage(due: Due) -> UsageRate:
    """What the rig of a due row uses: about 5 h in each day, and a counter that tells."""
    assert due.rig is not None
    installation = due.component.installations.get(removed_at__isnull=True)
    counter = make_counter(due.rig)
    WearSource.objects.create(
        installation=installation, measure=due.measure, counter=counter, began_at=AT
    )
    Wear.objects.create(
        component=due.component, measure=due.measure, life=due.since, read_at=counter.last_at
    )
    return UsageRate.objects.create(
        counter=counter,
        as_of=TODAY,
        open_from=TODAY,
        share=1.0,
        own_days=60.0,
        fleet_rigs=3,
        shape=1.0,
        open_shape=1.0,
        day_shape=1.0,
        alpha=21.0,
        beta=100.0,
    )


def make_overdue(component: Component, version: ServiceVersion | None = None, **values: Any) -> Due:
    return make_due(
        component,
        version,
        **{
            "due_date": days(-16),
            "late_date": days(-6),
            "since": 311,
            "is_past_due": True,
            "is_past_tolerance": True,
        }
        | values,
    )


def make_booking(rig: Rig, first: int, last: int, job: str = "loft job") -> JobBooking:
    return JobBooking.objects.create(
        rig=rig, job=job, first_day=days(first), last_day=days(last), author=author()
    )


def make_finding(rig: Rig, text: str = "hose split at joint 3", **values: Any) -> Finding:
    values = {"opened_by": author(), "opened_at": AT, "request_id": uuid4()} | values
    return Finding.objects.create(rig=rig, text=text, **values)


def make_counter(rig: Rig, *, read_days_ago: int | None = 1, **values: Any) -> Counter:
    """An hour counter; never read where read_days_ago is None."""
    started = AT - timedelta(days=400)
    last = started if read_days_ago is None else AT - timedelta(days=read_days_ago)
    values = {"name": "Rig hours", "counts": "hours", "last_value": Decimal(1182)} | values
    return Counter.objects.create(rig=rig, started_at=started, last_at=last, **values)


def make_part(number: str, **values: Any) -> Part:
    values = {
        "name": f"part {number}",
        "usual_cost_cents": 4_800,
        "changed_by": author(),
        "changed_at": AT,
    } | values
    return Part.objects.create(number=number, **values)


def make_place(code: str, kind: str = Location.Kind.BIN) -> Location:
    return Location.objects.get_or_create(
        code=code, defaults={"kind": kind, "changed_by": author(), "changed_at": AT}
    )[0]


def make_drawer(rig: Rig) -> Location:
    place = make_place(f"{rig.number:02d}-D1", Location.Kind.DRAWER)
    RigDrawer.objects.get_or_create(rig=rig, location=place)
    return place


def stock(part: Part, steps: int, place: Location | None = None, **values: Any) -> None:
    receive(
        part=part,
        location=place or make_place("K-01"),
        quantity_steps=steps,
        lot_code=f"L-{uuid4().hex[:6]}",
        author=author(),
        at=AT,
        request_id=uuid4(),
        **({"value_cents": part.cost_of(steps)} | values),
    )


def need(version: ServiceVersion, part: Part, steps: int = 1) -> PartsNeed:
    return PartsNeed.objects.create(service=version.service, part=part, quantity_steps=steps)


def make_sheet(number: int, *dues: Due, **values: Any) -> ServiceSheet:
    """An open sheet of a rig with a line for each due row."""
    values = {
        "planned_on": TODAY,
        "drafted_by": author(),
        "drafted_at": AT,
        "request_id": uuid4(),
        "rig": dues[0].rig if dues else None,
    } | values
    sheet = ServiceSheet.objects.create(number=number, **values)
    for order, due in enumerate(dues, 1):
        SheetLine.objects.create(
            sheet=sheet,
            order=order,
            version=due.version,
            component=due.component,
            position=due.position,
        )
    return sheet


def make_fleet(count: int, *, first: int = 1) -> list[Rig]:
    """Rigs with everything a list row can show: due rows, kits here and short, a sheet, a hold."""
    rigs = []
    version = make_service()
    kit = Part.objects.filter(number="K-1").first()
    if kit is None:
        kit = make_part("K-1", is_kit=True, name="packing kit")
        need(version, kit)
        stock(kit, 1)
    for number in range(first, first + count):
        rig = make_rig(number)
        pump = fit(rig, side="A")
        make_due(pump, version, due_date=days(number % 28))
        hose = fit(rig, "Heated hose")
        overdue = make_overdue(hose, make_service("Heated hose", "open joints"))
        make_sheet(number + 400, overdue)
        make_booking(rig, 3, 9)
        make_counter(rig)
        make_drawer(rig)
        make_finding(rig, is_grave=number % 2 == 0)
        rigs.append(rig)
    return rigs
