"""Files of a small shop, and what is wanted to import them."""

from collections.abc import Callable
from datetime import UTC, datetime

import pytest

from equipment.models import ComponentKind
from shop.importing.run import KINDS, Outcome, import_file, try_out
from shop.models import ImportedFile, Person, Shop

#: Monday 2 March 2026, 9 in the morning in Chicago.
NOW = datetime(2026, 3, 2, 15, 0, tzinfo=UTC)

RIGS = "Rig number,Rig name,Description\n4,Kestrel,Trailer\n7,Osprey,Truck\n"
COUNTERS = (
    "Rig number,Counter,Counts,Began on,Most per minute\n"
    "4,Engine hours,hours,2025-01-01,\n"
    "4,A strokes,strokes,2025-01-01,70\n"
    "7,Engine hours,hours,2025-01-01,\n"
)
COMPONENTS = (
    "Tag,Kind,Type,Side,Serial number,In service since,Rig number,Place in the rig,Displacement\n"
    "G-1,generator,Diesel 40 kW,,1042,2025-01-01,4,1,\n"
    "PA-1,pump,Long stem,A,77,2025-01-01,4,2,4.1\n"
    "PA-2,pump,Long stem,A,78,2025-06-01,,,4.1\n"
)
PARTS = (
    "Part number,Part name,Unit,Smallest amount,Kit,Usual cost,Reorder point,Order up to\n"
    "GK-1,Gun kit,,,yes,,1,2\n"
    "SK-1,Side seal,,,,4.50,,\n"
    "OIL,Hydraulic oil,gal,0.01,,22.00,5,20\n"
)
KIT_LINES = "Kit number,Part number,Quantity\nGK-1,SK-1,2\nGK-1,OIL,0.25\n"
STOCK = (
    "Part number,Place,Kind of place,Rig number,Quantity,Cost of one,Lot,Use by\n"
    "SK-1,K-03,,,6,4.25,L7,2028-01-01\n"
    "OIL,K-04,bin,,12.5,,,\n"
    "SK-1,04-D1,rig drawer,4,2,,,\n"
)


@pytest.fixture
def look(shop: Shop, manager: Person) -> Callable[[str, str | bytes], Outcome]:
    """Try a file out."""

    def look(kind: str, content: str | bytes) -> Outcome:
        raw = content.encode() if isinstance(content, str) else content
        return try_out(kind=KINDS[kind], content=raw, author=manager, now=NOW, zone=shop.zone)

    return look


@pytest.fixture
def take(shop: Shop, manager: Person) -> Callable[[str, str], ImportedFile]:
    """Import a file."""

    def take(kind: str, content: str) -> ImportedFile:
        return import_file(
            kind=KINDS[kind],
            content=content.encode(),
            name=f"{kind}.csv",
            author=manager,
            now=NOW,
            zone=shop.zone,
        )

    return take


@pytest.fixture
def fleet(take: Callable[[str, str], ImportedFile]) -> None:
    for name in ("generator", "pump", "gun"):
        ComponentKind.objects.create(name=name)
    take("rigs", RIGS)
    take("counters", COUNTERS)
    take("components", COMPONENTS)


@pytest.fixture
def shelf(fleet: None, take: Callable[[str, str], ImportedFile]) -> None:
    take("parts", PARTS)
    take("kit-lines", KIT_LINES)
    take("stock", STOCK)
