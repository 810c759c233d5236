"""A phone, as the tests hold one: entries made on it, and sent."""

from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any
from uuid import UUID, uuid4

from equipment.models import Rig
from shop.models import Person, ServiceSheet, SheetStep
from shop.services.arriving import Outcome, arrive, pen_of, read_batch
from tests.shop.worlds import NOW

ZERO = timedelta(0)


@dataclass
class Phone:
    """A browser of one person. clock: how far it runs ahead of ours. rig: sends of its round."""

    who: Person
    sheet: ServiceSheet
    clock: timedelta = ZERO
    id: UUID = field(default_factory=uuid4)
    pen: str = ""
    rig: Rig | None = None

    @property
    def of(self) -> ServiceSheet | Rig:
        return self.rig or self.sheet

    def __post_init__(self) -> None:
        self.pen = self.pen or pen_of(self.who)

    def entry(self, kind: str, *, at: datetime = NOW, **said: Any) -> dict[str, Any]:
        """An entry made at a moment, as our clock has it; the phone writes its own."""
        return {
            "event_id": str(uuid4()),
            "pen": self.pen,
            "at": (at + self.clock).isoformat(),
            "live": False,
            "kind": kind,
            **said,
        }

    def answer(self, step: SheetStep, answer: str = "done", **said: Any) -> dict[str, Any]:
        return self.entry("answer", step=step.pk, answer=answer, **said)

    def batch(self, *entries: dict[str, Any], now: datetime = NOW) -> dict[str, Any]:
        return {
            "phone": str(self.id),
            "now": (now + self.clock).isoformat(),
            "entries": list(entries),
        }

    def send(self, *entries: dict[str, Any], now: datetime = NOW) -> list[Outcome]:
        """What becomes of these entries, in their order."""
        from shop.models import Shop

        arrived = arrive(
            of=self.of,
            batch=read_batch(self.batch(*entries, now=now)),
            recorded_at=now,
            zone=Shop.objects.get().zone,
        )
        return [arrived.outcomes[each["event_id"]] for each in entries]

    def before_the_checks(self, *, at: datetime = NOW) -> list[dict[str, Any]]:
        """Cautions read, sources locked out, gauges at zero, in this order."""
        steps = [
            step
            for section in ("caution", "lockout", "zero")
            for step in self.sheet.steps.filter(section=section).order_by("order")
        ]
        return [
            self.answer(step, "value", value="0", at=at)
            if step.section == "zero"
            else self.answer(step, at=at)
            for step in steps
        ]

    def back_to_service(self, *, at: datetime = NOW) -> list[dict[str, Any]]:
        """What brings the rig back, in its order."""
        steps = self.sheet.steps.filter(section="return").order_by("order")
        return [self.answer(step, at=at) for step in steps]

    def join(self, *, at: datetime = NOW) -> None:
        """A second person reads the cautions and puts on a lock of their own."""
        every = self.sheet.steps.order_by("section", "order")
        steps = [step for step in every if step.is_each_persons]
        self.send(*(self.answer(step, at=at) for step in steps), now=at)


def check(phone: Phone, title: str) -> SheetStep:
    """A check of its sheet as it stands now."""
    return phone.sheet.steps.select_related("entry").get(section="check", title=title)


def states(outcomes: list[Outcome]) -> list[str]:
    """["taken", "refused"]."""
    return [each.state for each in outcomes]
