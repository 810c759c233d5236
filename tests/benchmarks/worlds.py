"""Shops of any size, filled by many rows at a time.

The rows that the product keeps (totals, wear, due rows) are worked out by its own `rebuild_all`
and `turn_day`, and `fleet` looks that nothing is then left to change.
"""

import random
from collections.abc import Iterable, Sequence
from datetime import date, datetime, timedelta
from decimal import Decimal
from typing import Any, Final
from uuid import UUID

from django.db import connection
from django.db.models import ForeignKey, Max, Model
from django.test import Client
from django.utils import timezone

from equipment.models import (
    Component,
    ComponentKind,
    ComponentType,
    Counter,
    Due,
    DueClock,
    Installation,
    JobBooking,
    Position,
    Reading,
    Renewal,
    Rig,
    ServiceVersion,
    UsageRate,
    Wear,
    WearSource,
)
from equipment.services.dues import rebuild_all
from equipment.services.turning import turn_day
from equipment.services.wearing import default_plan, displacements_of
from inventory.models import Balance, Location, Lot, Part, Reservation, StockPolicy
from shop.models import Person, Shop
from shop.services.people import open_shop
from tests.benchmarks.measure import must

#: What a rig is made of, in flow order.
ORDINARY: Final = (
    ("trailer", ""),
    ("generator", ""),
    ("transfer switch", ""),
    ("electrical panel", ""),
    ("compressor", ""),
    ("dryer", ""),
    ("hydraulic unit", ""),
    ("feed pump", "A"),
    ("feed pump", "B"),
    ("pump", "A"),
    ("pump", "B"),
    ("preheater", "A"),
    ("preheater", "B"),
    ("heated hose", ""),
    ("whip hose", ""),
    ("gun", ""),
    ("respirator", ""),
    ("safety equipment", ""),
)
#: A rig with everything twice where that can be: with the starting library a hundred services.
LARGE: Final = (
    *ORDINARY,
    ("generator", ""),
    ("compressor", ""),
    ("compressor", ""),
    ("hydraulic unit", ""),
    ("dryer", ""),
    ("gun", ""),
    ("supplied-air system", ""),
    ("supplied-air system", ""),
    ("heated hose", ""),
)
#: Name, what it counts, kind whose hours it counts, side, counted on a day of use.
FACES: Final = (
    ("Rig hours", Counter.Counts.HOURS, "", "", Decimal(6)),
    ("Generator hours", Counter.Counts.HOURS, "generator", "", Decimal(7)),
    ("Compressor hours", Counter.Counts.HOURS, "compressor", "", Decimal(5)),
    ("Strokes A", Counter.Counts.STROKES, "", "A", Decimal(2200)),
    ("Strokes B", Counter.Counts.STROKES, "", "B", Decimal(2210)),
)
DISPLACEMENT_IN3: Final = Decimal("4.2")
LIFE_DAYS: Final = 400
#: Copied in one statement.
RIGS_AT_ONCE: Final = 100
BACKEND: Final = "django.contrib.auth.backends.ModelBackend"


def shop(*, at: datetime) -> tuple[Shop, Person]:
    """A shop with its manager and the starting library of services."""
    return open_shop(
        name="Foam Works",
        time_zone="America/Chicago",
        currency="$",
        units=Shop.Units.US,
        manager_name="M. Bench",
        sign_in="manager",
        password="four holes in a tag",
        at=at,
    )


def client_of(person: Person) -> Client:
    """A browser in which somebody has signed in."""
    client = Client(headers={"host": "127.0.0.1"})
    client.force_login(person, backend=BACKEND)
    return client


def fleet(
    *,
    rigs: int,
    readings: int,
    author: Person,
    at: datetime,
    places: Sequence[tuple[str, str]] = ORDINARY,
) -> int:
    """Fill the shop with rigs, each face read so often; return the due rows of one rig.

    The last reading is of the day before `at`. Rigs differ in how hard they work and in what was
    done on them when, always the same for the same number of rigs.
    """
    chance = random.Random(5)
    began = at - timedelta(days=LIFE_DAYS)
    kinds = {kind.name: kind for kind in ComponentKind.objects.all()}
    types = _types({name for name, _ in places}, kinds)
    made = Rig.objects.bulk_create(
        Rig(number=number, name=f"Trailer {number}", created_at=began)
        for number in range(1, rigs + 1)
    )
    positions = Position.objects.bulk_create(
        Position(rig=rig, order=order, kind=kinds[kind], side=side)
        for rig in made
        for order, (kind, side) in enumerate(places, start=1)
    )
    components = Component.objects.bulk_create(
        Component(
            type=types[position.kind.name],
            tag=f"{position.rig.number}-{position.order}",
            side=position.side,
            in_service_on=began.date(),
            created_at=began,
        )
        for position in positions
    )
    fitted = Installation.objects.bulk_create(
        Installation(component=component, position=position, installed_at=began, author=author)
        for component, position in zip(components, positions, strict=True)
    )
    counters = Counter.objects.bulk_create(
        Counter(
            rig=rig,
            name=name,
            order=order,
            counts=counts,
            kind=kinds.get(kind),
            side=side,
            started_at=began,
            last_at=began,
        )
        for rig in made
        for order, (name, counts, kind, side, _) in enumerate(FACES)
    )
    _sources(made, fitted, counters, began)
    _readings(counters, readings, author, began, at - timedelta(days=1), chance)
    _renewals(components, author, at, chance)
    _jobs(made, author, at.date(), chance)
    zone = Shop.objects.get().zone
    rebuild_all(zone=zone)
    turn_day(today=timezone.localdate(at, zone), zone=zone)
    agrees(zone)
    return Due.objects.count() // rigs


def agrees(zone: Any) -> None:
    """Look that every kept row is what the history says. Raises WrongAnswer."""
    _, changed = rebuild_all(zone=zone)
    must(changed == 0, f"{changed} kept rows are not what their history says")


def _types(names: Iterable[str], kinds: dict[str, ComponentKind]) -> dict[str, ComponentType]:
    return {
        name: ComponentType.objects.create(
            kind=kinds[name],
            name=f"{name} of ours",
            displacement_in3=DISPLACEMENT_IN3 if name == "pump" else None,
        )
        for name in sorted(names)
    }


def _sources(
    rigs: Sequence[Rig],
    fitted: Sequence[Installation],
    counters: Sequence[Counter],
    began: datetime,
) -> None:
    rows = []
    each_rig = len(fitted) // len(rigs)
    for place in range(len(rigs)):
        here = fitted[place * each_rig : (place + 1) * each_rig]
        faces = counters[place * len(FACES) : (place + 1) * len(FACES)]
        moved = displacements_of(here)
        rows += [
            WearSource(
                installation=each,
                measure=plan.measure,
                counter=plan.counter,
                per_count=plan.per_count,
                began_at=began,
            )
            for each in here
            for plan in default_plan(each.component, each.position, faces, moved)
        ]
    WearSource.objects.bulk_create(rows, batch_size=2000)


def _readings(
    counters: Sequence[Counter],
    readings: int,
    author: Person,
    began: datetime,
    last: datetime,
    chance: random.Random,
) -> None:
    apart = (last - began) / readings
    rows = []
    for counter in counters:
        a_day = FACES[counter.order][4] * Decimal(chance.randint(5, 15)) / 20
        apart_days = Decimal(apart.total_seconds()) / 86400
        for number in range(1, readings + 1):
            rows.append(
                Reading(
                    counter=counter,
                    at=began + apart * number,
                    value=(a_day * apart_days * number).quantize(Decimal("0.1")),
                    author=author,
                    recorded_at=last,
                    request_id=UUID(int=chance.getrandbits(128)),
                )
            )
    Reading.objects.bulk_create(rows, batch_size=2000)


def _renewals(
    components: Sequence[Component], author: Person, at: datetime, chance: random.Random
) -> None:
    versions: dict[int, list[ServiceVersion]] = {}
    for version in ServiceVersion.objects.select_related("service").order_by("pk"):
        versions.setdefault(version.service.kind_id, []).append(version)
    rows = []
    for component in components:
        for version in versions.get(component.type.kind_id, []):
            if version.service.side in ("", component.side):
                done = at - timedelta(days=chance.randint(2, LIFE_DAYS - 100))
                rows.append(
                    Renewal(
                        version=version,
                        component=component,
                        done_at=done,
                        counts_from=done.date(),
                        author=author,
                        recorded_at=done,
                    )
                )
    Renewal.objects.bulk_create(rows, batch_size=2000)


def _jobs(rigs: Sequence[Rig], author: Person, today: date, chance: random.Random) -> None:
    """Jobs of one to three weeks with days in the shop between, past and ahead."""
    rows = []
    for rig in rigs:
        day = today - timedelta(days=LIFE_DAYS - chance.randint(1, 20))
        while day < today + timedelta(days=60):
            last = day + timedelta(days=chance.randint(4, 20))
            rows.append(
                JobBooking(rig=rig, job="A job", first_day=day, last_day=last, author=author)
            )
            day = last + timedelta(days=chance.randint(2, 9))
    JobBooking.objects.bulk_create(rows, batch_size=2000)


# --- copies -------------------------------------------------------------------------------------


class Copies:
    """Copies of the rigs there are, with what the due list reads of them: their rows, shifted.

    A shop of ten thousand rigs would take an hour to work out, and says no more than this.
    is_whole: with all that their dates and odds follow from, too.
    """

    LISTED: Final = (Rig, Position, Component, Installation, Due)
    BEHIND: Final = (Counter, UsageRate, JobBooking, WearSource, Wear, DueClock)

    def __init__(self, *, is_whole: bool = False) -> None:
        self.rigs = Rig.objects.count()
        self.made = 1
        self.models = (*self.LISTED, *(self.BEHIND if is_whole else ()))
        self._last: dict[type[Model], int] = {
            model: model._default_manager.aggregate(last=Max("pk"))["last"] for model in self.models
        }

    def grow(self, times: int) -> None:
        """Add copies until there are so many times the rigs there were at first."""
        # PostgreSQL keeps a lock for each stay until its transaction ends, and runs out of them.
        step = max(1, RIGS_AT_ONCE // self.rigs)
        for model in self.models:
            for first in range(self.made, times, step):
                self._copy(model, first, min(first + step, times) - 1)
        self.made = times

    def _copy(self, model: type[Model], first: int, last: int) -> None:
        quote = connection.ops.quote_name
        fields = model._meta.concrete_fields
        # The numbers are ours: parameters would not tell PostgreSQL their type.
        with connection.cursor() as cursor:
            cursor.execute(
                f"INSERT INTO {quote(model._meta.db_table)} "
                f"({', '.join(quote(field.column) for field in fields)}) "
                f"WITH RECURSIVE n(k) AS "
                f"(SELECT {first} UNION ALL SELECT k + 1 FROM n WHERE k < {last}) "
                f"SELECT {', '.join(self._shifted(model, field) for field in fields)} "
                f"FROM {quote(model._meta.db_table)} AS t, n WHERE t.id <= {self._last[model]} "
                f"ORDER BY k, t.id"
            )

    def _shifted(self, model: type[Model], field: Any) -> str:
        column = f"t.{connection.ops.quote_name(field.column)}"
        if field.primary_key:
            return f"{column} + n.k * {self._last[model]}"
        if isinstance(field, ForeignKey) and field.related_model in self._last:
            return f"{column} + n.k * {self._last[field.related_model]}"
        if (model, field.name) in ((Rig, "number"), (Due, "rig_number")):
            return f"{column} + n.k * {self.rigs}"
        if (model, field.name) == (Component, "tag"):
            return f"{column} || '_' || n.k"
        return column


# --- stock --------------------------------------------------------------------------------------


def parts(*, count: int, author: Person, at: datetime) -> None:
    """Parts in bins, with lots, promises and reorder points."""
    chance = random.Random(7)
    bins = Location.objects.bulk_create(
        Location(code=f"S-{number:03d}", changed_by=author, changed_at=at)
        for number in range(1, 41)
    )
    names = ("o-ring", "side seal", "filter element", "packing", "wetting cup", "ball", "seat")
    made = Part.objects.bulk_create(
        (
            Part(
                number=f"P-{number:05d}",
                name=f"{names[number % len(names)]} {number}",
                category=("seals", "filters", "wear parts")[number % 3],
                usual_cost_cents=chance.randint(40, 30_000),
                search_key=f"p-{number:05d} {names[number % len(names)]} {number}",
                changed_by=author,
                changed_at=at,
            )
            for number in range(1, count + 1)
        ),
        batch_size=2000,
    )
    lots = Lot.objects.bulk_create(
        (
            Lot(
                part=part,
                code=f"{place}",
                received_at=at,
                quantity_received_steps=steps,
                value_received_cents=steps * part.usual_cost_cents,
                quantity_left_steps=steps,
                value_left_cents=steps * part.usual_cost_cents,
            )
            for part in made
            for place in range(2)
            for steps in (chance.randint(1, 40),)
        ),
        batch_size=2000,
    )
    Balance.objects.bulk_create(
        (
            Balance(
                part_id=lot.part_id,
                location=bins[lot.pk % len(bins)],
                lot=lot,
                quantity_steps=lot.quantity_left_steps,
            )
            for lot in lots
        ),
        batch_size=2000,
    )
    StockPolicy.objects.bulk_create(
        (
            StockPolicy(
                part=part,
                reorder_point_steps=12,
                order_up_to_steps=40,
                set_by=author,
                set_at=at,
            )
            for part in made
        ),
        batch_size=2000,
    )
    Reservation.objects.bulk_create(
        (
            Reservation(
                part=part,
                location=bins[0],
                quantity_steps=2,
                source_kind="sheet",
                source_number=1,
                author=author,
                created_at=at,
            )
            for part in made[::4]
        ),
        batch_size=2000,
    )
