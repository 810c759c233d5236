"""A small shop in which a sheet can be drafted, worked and signed."""

from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from functools import partial
from uuid import uuid4

from equipment.models import Basis, Caution, Due
from equipment.services import CheckPlan
from inventory.models import Location, Part
from shop.models import Person, RigDrawer, ServiceSheet, Shop
from shop.services.drafting import draft_sheet
from shop.services.needs import set_need
from tests.copies import once
from tests.equipment.factories import SprayRig, day, service_for, spray_rig
from tests.inventory import factories as stock
from tests.inventory.factories import BinFactory, PartFactory, kit_of, received

#: A month after the rigs of the factories began.
NOW = day(30)
TODAY = NOW.date()


@dataclass
class SheetWorld:
    """One rig with two services that are due, their parts, and who is there."""

    shop: Shop
    manager: Person
    fleet: SprayRig
    oil: Due
    rebuild: Due
    filter_part: Part
    kit: Part
    seal: Part
    bin: Location
    drawer: Location

    def draft(self, *dues: Due, **more: object) -> ServiceSheet:
        return draft_sheet(
            **{
                "rig": self.fleet.rig,
                "dues": dues or (self.oil, self.rebuild),
                "planned_on": TODAY,
                "author": self.manager,
                "at": NOW,
                "today": TODAY,
                "request_id": uuid4(),
                **more,
            }
        )


def caution(code: str, hazard: str) -> Caution:
    return Caution.objects.create(
        code=code,
        hazard=hazard,
        text=f"Mind {hazard.lower()}.",
        source="29 CFR 1910.147",
        basis=Basis.PUBLISHED,
    )


def sheet_world(shop: Shop, manager: Person, *, at: datetime = NOW) -> SheetWorld:
    """A generator due an oil change and a gun due a rebuild, with one filter and one whole kit."""
    build = partial(_sheet_world, at=at)
    return once(build, key=("sheet world", at, day(0), stock.AT), shop=shop, manager=manager)


def _sheet_world(*, shop: Shop, manager: Person, at: datetime) -> SheetWorld:
    fleet = spray_rig(author=manager)
    fleet.read(day(10), hours=100, a=4000, b=4000)
    fleet.read(day(20), hours=200, a=8000, b=8000)
    pressure = caution("SC02", "Stored fluid pressure")
    start = caution("SC05", "Unexpected start")
    oil = service_for(
        fleet.components["generator"],
        ("hours", 150),
        name="oil and filter",
        author=manager,
        labour_minutes=45,
        tolerance_percent=Decimal(10),
        cautions=[start],
        checks=[
            CheckPlan(text="Oil and filter changed"),
            CheckPlan(
                text="Volts at rated load",
                kind="value",
                unit="V",
                low=Decimal(228),
                high=Decimal(252),
            ),
        ],
    )
    rebuild = service_for(
        fleet.components["gun"],
        ("gallons", 1000),
        name="full rebuild",
        author=manager,
        labour_minutes=90,
        cautions=[pressure],
        checks=[CheckPlan(text="Side seal", kind="choice", choices=("good", "replaced"))],
    )
    shelf = BinFactory(code="K-03")
    drawer = BinFactory(code="01-D1", kind=Location.Kind.DRAWER)
    RigDrawer.objects.create(rig=fleet.rig, location=drawer)
    filter_part = PartFactory(number="F-09", name="oil filter")
    kit, (seal,) = kit_of(seal=2)
    received(filter_part, shelf, 1, 1800)
    received(kit, shelf, 1, 21200)
    received(seal, drawer, 1, 900)
    set_need(service=oil.service, part=filter_part, quantity_steps=1)
    set_need(service=rebuild.service, part=kit, quantity_steps=1)
    return SheetWorld(
        shop=shop,
        manager=manager,
        fleet=fleet,
        oil=Due.objects.get(version=oil),
        rebuild=Due.objects.get(version=rebuild),
        filter_part=filter_part,
        kit=kit,
        seal=seal,
        bin=shelf,
        drawer=drawer,
    )
