"""Two rigs to which things happen at random, through the services that people's forms call."""

import random
from collections.abc import Callable
from datetime import date, datetime, time, timedelta
from decimal import Decimal
from typing import Any
from uuid import UUID

from django.core.exceptions import ValidationError

from equipment.counters import ReadingRefused
from equipment.models import (
    BroughtForward,
    Component,
    Counter,
    Installation,
    JobBooking,
    Postponement,
    Reading,
    Renewal,
    Season,
    Service,
)
from equipment.services import (
    BookingGone,
    BookingOverlaps,
    CareRefused,
    FittingRefused,
    NewReading,
    SidesRefused,
    TriggerPlan,
    book_job,
    bring_forward,
    cancel_booking,
    change_booking,
    correct_reading,
    create_service,
    exchange_component,
    lay_up_rig,
    postpone,
    publish_version,
    record_renewal,
    retire_service,
    return_rig,
    reverse_reading,
    take_off,
    turn_day,
    undo_renewal,
)
from equipment.services.postponing import take_off as stand_again
from tests.equipment.factories import START, ZONE, SprayRig, shelf_component, spray_rig

REFUSALS = (
    ReadingRefused,
    FittingRefused,
    CareRefused,
    SidesRefused,
    BookingOverlaps,
    BookingGone,
    ValidationError,
)
#: What a rig's faces gain at most in an hour.
PACE = {"hours": Decimal("0.4"), "a": Decimal(90), "b": Decimal(85)}

#: How often each thing happens, beside the others.
OFTEN = {
    "read": 10, "late": 2, "reverse": 2, "correct": 2, "reset": 1, "exchange": 4, "renew": 6,
    "undo": 2, "book": 4, "change": 2, "cancel": 2, "postpone": 2, "stand": 1, "forward": 2,
    "forget": 1, "publish": 2, "retire": 1, "lay_up": 1, "come_back": 2, "turn": 6,
}  # fmt: skip


class RandomShop:
    """Everything drawn from one seed; `now` only ever moves on."""

    def __init__(self, seed: int) -> None:
        self.draw = random.Random(seed)
        self.rigs = [spray_rig(number=1), spray_rig(number=2)]
        self.author = self.rigs[0].author
        self.now = START + timedelta(hours=1)
        self.frost = Season.objects.create(name="First frost", month=10, day=15)
        self.leap = Season.objects.create(name="Leap", month=2, day=29)
        self.services: list[Service] = []
        self._spares = 0
        self._begin_services()
        self.turned_on = self.today
        turn_day(today=self.today, zone=ZONE)

    @property
    def today(self) -> date:
        return self.now.astimezone(ZONE).date()

    def _id(self) -> UUID:
        return UUID(int=self.draw.getrandbits(128), version=4)

    # --- services --------------------------------------------------------------------------

    def _begin_services(self) -> None:
        one = self.rigs[0]
        pump, gun = one.pump("A").type.kind, one.components["gun"].type.kind
        generator = one.components["generator"].type.kind
        small = self._create(pump, "Look", [self._use("strokes"), self._days()])
        middle = self._create(pump, "Seal", [self._use("strokes")], includes=[small])
        self._create(pump, "Rebuild", [self._use("strokes"), self._months()], includes=[middle])
        self._create(pump, "By law", [self._months()], is_hard_limit=True, tolerance=0)
        self._create(pump, "Winter", [self._season()])
        self._create(gun, "Clean", [self._use("gallons"), self._idle()])
        self._create(gun, "After", [TriggerPlan("after", Decimal(3), after=middle), self._days()])
        self._create(generator, "Oil", [self._use("hours", first=True)])
        self._create(generator, "Tow", [TriggerPlan("job", Decimal(self.draw.randint(1, 9)))])
        self._create(generator, "Both", [self._use("hours"), self._months()], rule="all")
        self._create(generator, "Second only", [self._days()], only_rigs=[self.rigs[1].rig])

    def _create(self, kind: Any, name: str, triggers: list[TriggerPlan], **fields: Any) -> Service:
        version = create_service(
            kind=kind,
            name=name,
            author=self.author,
            at=self.now,
            zone=ZONE,
            triggers=triggers,
            **self._fields(fields),
        )
        self.services.append(version.service)
        return version.service

    def _fields(self, fields: dict[str, Any]) -> dict[str, Any]:
        tolerance = fields.pop("tolerance", self.draw.choice([0, 5, 10, 25]))
        return {
            "tolerance_percent": Decimal(tolerance),
            "early_percent": Decimal(self.draw.choice([0, 10, 30])),
            "renews": self.draw.choice(["floating", "fixed"]),
            **fields,
        }

    def _use(self, measure: str, *, first: bool = False) -> TriggerPlan:
        most = {"hours": 300, "strokes": 60_000, "gallons": 9_000}[measure]
        interval = Decimal(self.draw.randint(most // 40, most))
        begins = Decimal(self.draw.randint(most // 40, most)) if first else None
        return TriggerPlan(measure, interval, first_at=begins)

    def _days(self) -> TriggerPlan:
        return TriggerPlan("days", Decimal(self.draw.randint(1, 90)))

    def _months(self) -> TriggerPlan:
        return TriggerPlan("months", Decimal(self.draw.randint(1, 13)))

    def _idle(self) -> TriggerPlan:
        return TriggerPlan("idle", Decimal(self.draw.randint(2, 30)))

    def _season(self) -> TriggerPlan:
        season = self.draw.choice([self.frost, self.leap])
        return TriggerPlan("season", Decimal(self.draw.randint(1, 60)), season=season)

    # --- what happens ------------------------------------------------------------------------

    def step(self) -> str:
        """Let one thing happen; return what, and whether it was refused."""
        name = self.draw.choices(list(OFTEN), list(OFTEN.values()))[0]
        act: Callable[[], None] = getattr(self, f"do_{name}")
        try:
            act()
        except REFUSALS as refused:
            return f"{name} refused: {refused}"
        return name

    def later(self, hours: int) -> datetime:
        self.now += timedelta(hours=self.draw.randint(1, hours), minutes=self.draw.randint(0, 59))
        return self.now

    def rig(self) -> SprayRig:
        return self.draw.choice(self.rigs)

    def _read(self, made: SprayRig, at: datetime, names: list[str]) -> None:
        values = {}
        for name in names:
            counter = Counter.objects.get(pk=made.counters[name].pk)
            hours = Decimal(int((at - counter.last_at).total_seconds() // 3600))
            gain = PACE[name] * max(hours, Decimal(0)) * Decimal(self.draw.randint(0, 5)) / 10
            values[name] = (counter.last_value + gain).quantize(
                Decimal("0.1") if name == "hours" else Decimal(1)
            )
        made.read(at, fresh=True, **values)

    def do_read(self) -> None:
        at = self.later(24 * 8)
        names = self.draw.sample(list(PACE), self.draw.randint(1, 3))
        self._read(self.rig(), at, names)

    def do_late(self) -> None:
        made, name = self.rig(), self.draw.choice(list(PACE))
        counter = Counter.objects.get(pk=made.counters[name].pk)
        at = counter.last_at - timedelta(hours=self.draw.randint(1, 100))
        value = max(counter.last_value - self.draw.randint(0, 100), Decimal(0))
        made.read(at, fresh=False, **{name: value})

    def do_reset(self) -> None:
        made, name = self.rig(), self.draw.choice(list(PACE))
        at = self.later(48)
        counter = Counter.objects.get(pk=made.counters[name].pk)
        before = counter.last_value + 1 if self.draw.random() < 0.5 else None
        made.read(at, fresh=True, **{name: NewReading(counter, Decimal(0), "reset", before)})

    def _reading(self) -> Reading | None:
        rows = list(Reading.objects.in_force().order_by("pk"))
        return self.draw.choice(rows[-6:]) if rows else None

    def do_reverse(self) -> None:
        if reading := self._reading():
            reverse_reading(
                reading=reading,
                author=self.author,
                at=self.now,
                reason="wrong face",
                request_id=self._id(),
                zone=ZONE,
            )

    def do_correct(self) -> None:
        if reading := self._reading():
            correct_reading(
                reading=reading,
                new=NewReading(reading.counter, reading.value + self.draw.randint(-3, 3)),
                at=reading.at,
                is_day_only=False,
                author=self.author,
                recorded_at=self.now,
                reason="mistyped",
                request_id=self._id(),
                zone=ZONE,
            )

    def do_exchange(self) -> None:
        made = self.rig()
        place = self.draw.choice(list(made.positions))
        kind = made.positions[place].kind
        side = place[-1] if place.startswith("pump") else ""
        free = list(
            Component.objects.unfitted()
            .filter(type__kind=kind, is_retired=False, side__in={"", side})
            .order_by("pk")
        )
        component = self.draw.choice(free) if free and self.draw.random() < 0.7 else None
        if component is None and self.draw.random() < 0.6:
            self._spares += 1
            component = shelf_component(kind, tag=f"spare-{self._spares}")
        exchange_component(
            position=made.positions[place],
            component_in=component,
            at=self.now - timedelta(hours=self.draw.choice([0, 0, 5, 60])),
            recorded_at=self.now,
            author=self.author,
            zone=ZONE,
        )

    def _pair(self) -> tuple[Service, Component]:
        service = self.draw.choice(self.services)
        fitted = list(
            Installation.objects.filter(
                removed_at=None, component__type__kind=service.kind_id
            ).order_by("pk")
        )
        if not fitted:
            raise CareRefused("Nothing of this kind is fitted.")
        return service, self.draw.choice(fitted).component

    def do_renew(self) -> None:
        service, component = self._pair()
        record_renewal(
            version=service.versions.get(is_current=True),
            component=component,
            done_at=self.now - timedelta(hours=self.draw.choice([0, 0, 0, 30, 200])),
            author=self.author,
            recorded_at=self.now,
            zone=ZONE,
        )

    def do_undo(self) -> None:
        rows = list(Renewal.objects.in_force().order_by("pk"))
        if rows:
            undo_renewal(
                renewal=self.draw.choice(rows),
                author=self.author,
                at=self.now,
                reason="not done",
                zone=ZONE,
            )

    def _days_of_a_job(self) -> tuple[date, date]:
        first = self.today + timedelta(days=self.draw.randint(-3, 60))
        return first, first + timedelta(days=self.draw.randint(0, 20))

    def do_book(self) -> None:
        self.turn()
        first, last = self._days_of_a_job()
        book_job(
            rig=self.rig().rig,
            job=f"Loft {self.draw.randint(1, 99)}",
            first_day=first,
            last_day=last,
            author=self.author,
            intensity=Decimal(self.draw.choice(["0.5", "1", "1.5"])),
            today=self.today,
            zone=ZONE,
        )

    def _booking(self) -> JobBooking | None:
        rows = list(JobBooking.objects.order_by("pk"))
        return self.draw.choice(rows) if rows else None

    def do_change(self) -> None:
        self.turn()
        if booking := self._booking():
            first, last = self._days_of_a_job()
            change_booking(
                booking=booking,
                job=booking.job,
                first_day=first,
                last_day=last,
                author=self.author,
                intensity=booking.intensity,
                today=self.today,
                zone=ZONE,
            )

    def do_cancel(self) -> None:
        self.turn()
        if booking := self._booking():
            cancel_booking(booking=booking, today=self.today, zone=ZONE)

    def do_postpone(self) -> None:
        service, component = self._pair()
        postpone(
            component=component,
            service=service,
            until=self.today + timedelta(days=self.draw.randint(0, 40)),
            reason="waiting for the seal",
            author=self.author,
            at=self.now,
            today=self.today,
            request_id=self._id(),
            zone=ZONE,
        )

    def do_stand(self) -> None:
        rows = list(Postponement.objects.standing().order_by("pk"))
        if rows:
            stand_again(
                postponement=self.draw.choice(rows), author=self.author, at=self.now, zone=ZONE
            )

    def do_forward(self) -> None:
        service, component = self._pair()
        bring_forward(
            service=service,
            component=component,
            due_on=self.today + timedelta(days=self.draw.randint(0, 40)),
            reason="slips",
            author=self.author,
            at=self.now,
            request_id=self._id(),
            zone=ZONE,
        )

    def do_forget(self) -> None:
        rows = list(BroughtForward.objects.standing().order_by("pk"))
        if rows:
            take_off(brought=self.draw.choice(rows), author=self.author, at=self.now, zone=ZONE)

    def do_publish(self) -> None:
        service = self.draw.choice(self.services)
        version = service.versions.get(is_current=True)
        triggers = []
        for row in version.triggers.all():
            interval = max(row.interval * self.draw.choice([1, 1, 2]) // 1, Decimal(1))
            if row.measure == "season":
                interval = min(interval, Decimal(300))
            triggers.append(
                TriggerPlan(
                    row.measure,
                    interval,
                    first_at=row.first_at,
                    season=row.season,
                    after=row.after,
                )
            )
        publish_version(
            service=service,
            author=self.author,
            at=self.now,
            zone=ZONE,
            only_rigs=self.draw.choice([None, None, [], [self.rig().rig]]),
            triggers=triggers,
            includes=list(version.includes.filter(is_retired=False)),
            **self._fields(
                {
                    "rule": version.rule,
                    "is_hard_limit": version.is_hard_limit,
                    **({"tolerance": 0} if version.is_hard_limit else {}),
                }
            ),
        )

    def do_retire(self) -> None:
        # Seldom, or nothing would be left to look at.
        if self.draw.random() < 0.1:
            retire_service(service=self.draw.choice(self.services), zone=ZONE)

    def do_lay_up(self) -> None:
        self.turn()
        lay_up_rig(rig=self.rig().rig, today=self.today, zone=ZONE)

    def do_come_back(self) -> None:
        self.turn()
        for made in self.rigs:
            return_rig(rig=made.rig, today=self.today, zone=ZONE)

    def do_turn(self) -> None:
        self.later(24 * 5)
        self.turn()

    def turn(self) -> None:
        """The first page of the day, whenever that is; a booking is made on some page, too."""
        midnight = datetime.combine(self.today, time(), tzinfo=ZONE)
        if self.now < midnight + timedelta(hours=1):
            self.now = midnight + timedelta(hours=1)
        turn_day(today=self.today, zone=ZONE)
        self.turned_on = self.today
